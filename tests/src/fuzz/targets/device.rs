//! A phone that is told things: any answer of a server, any carry file. It refuses or takes in, goes on working, and
//! every document that it has can be read.

use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::device::identity::{Identity, InstallKey};
use backstraight_core::device::shelf::Shelf as _;
use backstraight_core::device::{Device, Exchanged};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::thin::{ThinLimits, pack, unpack};
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::carry::{self, Parcel};
use backstraight_core::exchange::frames::{Collector, split};
use backstraight_core::exchange::signed;
use backstraight_core::exchange::wire::{Down, Known};
use minicbor::bytes::ByteVec;
use sha2::{Digest as _, Sha256};

use super::mend;
use super::readers::everything;
use super::wire;
use crate::clock::SetClock;
use crate::fuzz::feed::Feed;
use crate::replica::{ATHLETE, START};
use crate::sim::disk::Disk;

/// A coach beside the one athlete.
const COACH: PersonId = PersonId(uuid::Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0002));

/// The key of an install, known to these targets alone.
pub(crate) fn key_of(install: InstallId) -> InstallKey {
    InstallKey::of(Sha256::digest(install.0).into())
}

fn phone(role: Role) -> Device<Disk> {
    let install = InstallId([9; 8]);
    let identity = Identity {
        install,
        person: if role == Role::Athlete { ATHLETE } else { COACH },
        club: ClubId(ATHLETE.0),
        role,
        name: "Invented".to_owned(),
        server: "https://club.example".to_owned(),
        access: String::new(),
        refresh: String::new(),
        access_until: None,
        key: Some(key_of(install)),
    };
    let mut disk = Disk::new(None);
    let installs = [1, 2, 3].map(|n| InstallId([n; 8]));
    let known = |person: PersonId, role: &str, installs: &[InstallId]| Known {
        person: ByteVec::from(person.0.as_bytes().to_vec()),
        name: "Invented".to_owned(),
        role: role.to_owned(),
        installs: installs.iter().map(|i| ByteVec::from(i.0.to_vec())).collect(),
        heard_day: None,
        heard_at: None,
        keys: Some(installs.iter().map(|i| ByteVec::from(key_of(*i).public().to_vec())).collect()),
    };
    let people = vec![known(ATHLETE, "athlete", &installs[..2]), known(COACH, "coach", &installs[2..])];
    disk.set_people(1, people).unwrap();
    Device::new(disk, identity, Box::new(SetClock::at(START)), [5; 12])
}

fn role(byte: u8) -> Role {
    if byte.is_multiple_of(2) { Role::Athlete } else { Role::Coach }
}

/// Everything on a phone can still be read, and it can still ask.
fn works(device: &mut Device<Disk>) -> usize {
    let mut changes = 0;
    for name in device.documents().unwrap() {
        let doc: &Document = device.document(name).unwrap();
        everything(doc);
        changes += doc.change_count() - 1;
    }
    let flight = device.ask(&mut Exchanged::default()).unwrap();
    assert!(wire::exchange(&[&[0], flight.body.as_slice()].concat()), "what a phone asks can be read");
    changes
}

/// An answer of any bytes; the changes in it are repaired where the first byte says so.
pub(crate) fn answer(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let how = feed.byte();
    let mut device = phone(role(how));
    let mut bytes = feed.rest().to_vec();
    if how & 2 != 0
        && let Ok(mut down) = Down::from_bytes(&bytes)
    {
        for doc in &mut down.docs {
            let Some(packed) = &doc.changes else { continue };
            if let Ok(plain) = unpack(packed, ThinLimits::default()) {
                doc.changes = Some(ByteVec::from(pack(&mend::chunks(&plain).concat())));
            }
        }
        bytes = down.to_bytes();
    }
    // The same twice, as after an answer that was lost.
    for _ in 0..2 {
        let mut report = Exchanged::default();
        let flight = device.ask(&mut report).unwrap();
        let _ = device.hear(&flight, &bytes, &mut report);
    }
    works(&mut device) > 0
}

/// Carry files and the frames by which they go over a screen.
pub(crate) fn carry(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let how = feed.byte();
    match how % 4 {
        0 => file(feed.rest(), how),
        1 => file(&sealed(feed.rest()), how),
        2 => frames(feed.rest()),
        _ => whole_in_frames(feed.byte(), feed.rest()),
    }
}

/// A file around a body, with a right checksum.
fn sealed(body: &[u8]) -> Vec<u8> {
    let mut out = carry::MAGIC.to_vec();
    out.push(carry::VERSION);
    out.extend_from_slice(&Sha256::digest(body));
    out.extend_from_slice(body);
    out
}

fn file(bytes: &[u8], how: u8) -> bool {
    let Ok(mut parcels) = carry::read(bytes) else { return false };
    assert_eq!(carry::read(&carry::write(parcels.clone())).as_ref(), Ok(&parcels), "a file reads back");
    wire::parcels(&parcels);
    if how & 4 != 0 {
        parcels.iter_mut().for_each(sign_anew);
    }
    let mut device = phone(role(how >> 3));
    let file = carry::write(parcels);
    let first = device.carry_in(&file);
    if let Ok(report) = &first {
        let again = device.carry_in(&file).unwrap();
        assert!(
            again.taken.iter().all(|(name, ..)| report.refused.iter().any(|(n, _)| *n == Some(*name)))
                || again.taken.is_empty(),
            "a file that comes twice does no harm"
        );
    }
    works(&mut device) > 0
}

/// Repairs the changes of a parcel and signs them with the keys of the installs that their actors name.
fn sign_anew(parcel: &mut Parcel) {
    let Ok(name) = parcel.document() else { return };
    let Ok(plain) = unpack(&parcel.changes, ThinLimits::default()) else { return };
    let plain = mend::chunks(&plain).concat();
    let Ok(changes) = signed::changes(&plain) else { return };
    let mut installs: Vec<InstallId> = changes.iter().map(|c| c.actor.install()).collect();
    installs.sort_unstable();
    installs.dedup();
    let sign = |install| {
        let key = key_of(install);
        signed::sign(&name, &changes, install, &|statement| key.sign(statement))
    };
    parcel.signatures = installs.into_iter().take(8).flat_map(sign).collect();
    parcel.changes = ByteVec::from(pack(&plain));
    let key = |install| Some(key_of(install).public());
    if parcel.signatures.len() <= 8 {
        let _ = signed::verify(&name, &changes, &parcel.signatures, &key);
    }
}

/// Frames of any bytes, each with its length before it; the lowest bit of the length repairs the checksum.
fn frames(bytes: &[u8]) -> bool {
    let mut feed = Feed::new(bytes);
    let (mut collector, mut got) = (Collector::default(), false);
    while !feed.is_empty() {
        let mend = feed.byte() % 2 == 1;
        let mut frame = feed.piece().to_vec();
        if mend && let Some(named) = frame.len().checked_sub(4) {
            let sum = Sha256::digest(&frame[..named]);
            frame[named..].copy_from_slice(&sum[..4]);
        }
        if let Ok(Some(whole)) = collector.take(&frame) {
            assert!(collector.missing().is_empty() && !whole.is_empty());
            got = true;
        }
    }
    got
}

/// A file in frames is the file again.
fn whole_in_frames(part: u8, bytes: &[u8]) -> bool {
    let Ok(frames) = split(bytes, usize::from(part)) else { return false };
    let mut collector = Collector::default();
    let mut got = None;
    for frame in frames.iter().rev() {
        got = collector.take(frame).unwrap();
    }
    assert_eq!(got.as_deref(), Some(bytes));
    true
}
