//! Messages of the exchange and documents that were written once and are read for ever: what is in
//! them, readable, and how they were made. Files that are there are never written again.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use backstraight_core::base::id::{ChangeHash, InstallId};
use backstraight_core::doc::command::{Command, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::thin::{self, ThinLimits};
use backstraight_core::doc::{chunk, genesis};
use backstraight_core::exchange::carry::{self, Parcel};
use backstraight_core::exchange::signed;
use backstraight_core::exchange::wire::{
    Down, DownDoc, Known, Outcome, PROTOCOL, People, Refusal, Up, UpDoc, heads_out,
};
use backstraight_core::model::log::{SetDone, Work};
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::model::spec::Scalar;
use backstraight_ffi::identity::InstallKey;
use minicbor::bytes::ByteVec;
use serde_json::{Value, json};

use crate::club::library::library;
use crate::content::content;
use crate::deed::{Deed, add, command, int, record, session_done, text};
use crate::replica::{ATHLETE, Replica, START, exchange, name};
use crate::rng::Rng;

/// The folder of fixtures.
#[must_use]
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures")
}

/// Every kind of document.
pub const KINDS: [Kind; 8] = Kind::ALL;

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn hashes(list: &[ByteVec]) -> Value {
    list.iter().map(|h| Value::from(hex(h))).collect()
}

fn document(name: &[u8]) -> String {
    DocName::from_bytes(name).map_or_else(|e| e.to_string(), |n| n.to_string())
}

/// The changes inside a packed form, by name.
fn packed(changes: Option<&ByteVec>) -> Value {
    let Some(bytes) = changes else { return Value::Null };
    let plain = thin::unpack(bytes, ThinLimits::default()).unwrap();
    let names = chunk::split(&plain).unwrap().into_iter().map(|c| hex(&chunk::name(c).unwrap().0));
    json!({ "form": bytes.first(), "plain_bytes": plain.len(), "changes": names.collect::<Vec<_>>() })
}

/// A parcel, readable.
///
/// # Panics
/// When its changes cannot be unpacked.
#[must_use]
pub fn parcel(parcel: &Parcel) -> Value {
    let signatures = parcel
        .signatures
        .iter()
        .map(|s| json!({ "actor": hex(&s.actor), "change": hex(&s.change), "signature": hex(&s.bytes) }));
    json!({
        "document": document(&parcel.name), "heads": hashes(&parcel.heads),
        "changes": packed(Some(&parcel.changes)), "signatures": signatures.collect::<Vec<_>>(),
    })
}

/// Adds what older messages do not have.
fn added(mut to: Value, name: &str, value: Option<Value>) -> Value {
    if let (Some(map), Some(value)) = (to.as_object_mut(), value) {
        map.insert(name.to_owned(), value);
    }
    to
}

/// A request, readable.
///
/// # Panics
/// When its changes cannot be unpacked.
#[must_use]
pub fn up(up: &Up) -> Value {
    let docs = up.docs.iter().map(|d| {
        json!({
            "document": document(&d.name), "cursor": d.cursor, "heads": hashes(&d.heads),
            "changes": packed(d.changes.as_ref()),
        })
    });
    let carried = up.carried.as_ref().map(|list| list.iter().map(parcel).collect());
    let all = json!({
        "protocol": up.protocol, "epoch": up.epoch.as_ref().map(|e| hex(e)), "local_day": up.local_day,
        "clock": up.clock, "documents": docs.collect::<Vec<_>>(), "people": up.people, "app": up.app,
    });
    added(all, "carried", carried)
}

/// An answer, readable.
///
/// # Panics
/// When its changes cannot be unpacked.
#[must_use]
pub fn down(down: &Down) -> Value {
    let outcome = |o: &Outcome| match o {
        Outcome::Accepted => json!("accepted"),
        Outcome::Need => json!("need"),
        Outcome::Refused(r) => {
            json!({ "code": r.code, "change": r.change.as_ref().map(|c| hex(c)), "text": r.text })
        }
    };
    let docs = down.docs.iter().map(|d| {
        json!({
            "document": document(&d.name), "outcome": outcome(&d.outcome), "cursor": d.cursor,
            "heads": hashes(&d.heads), "changes": packed(d.changes.as_ref()),
        })
    });
    let person = |k: &Known| {
        let one = json!({
            "person": hex(&k.person), "name": k.name, "role": k.role, "installs": hashes(&k.installs),
            "heard_day": k.heard_day, "heard_at": k.heard_at,
        });
        added(one, "keys", k.keys.as_deref().map(hashes))
    };
    let people = down.people.as_ref();
    let carried = down.carried.as_ref().map(|list| list.iter().map(outcome).collect());
    let all = json!({
        "protocol": down.protocol, "epoch": hex(&down.epoch), "documents": docs.collect::<Vec<_>>(),
        "withdrawn": down.withdrawn.iter().map(|n| document(n)).collect::<Vec<_>>(),
        "people": people.map(|p| json!({ "version": p.version, "list": p.list.iter().map(person).collect::<Vec<_>>() })),
        "more": down.more, "clock": down.clock,
    });
    added(all, "carried", carried)
}

/// A document, readable, with its heads and how many changes it holds.
#[must_use]
pub fn doc(doc: &Document) -> Value {
    let heads: Vec<String> = doc.heads().iter().map(|h| hex(&h.0)).collect();
    json!({ "document": doc.name().to_string(), "changes": doc.change_count(), "heads": heads, "content": content(doc) })
}

/// A document of two installs that wrote at the same time, with everything that can come of it.
fn lived_in(kind: Kind) -> Document {
    let mut rng = Rng::new(2026 + kind.word().len() as u64);
    let (mut one, mut two) = (Replica::new(kind, 1), Replica::new(kind, 2));
    if kind == Kind::Library {
        let mut keys = Vec::new();
        keys.resize_with(400, || one.key());
        let mut keys = keys.into_iter();
        one.done(&library(|| keys.next().unwrap()).0);
        exchange(&mut one, &mut two);
    }
    if kind == Kind::Log {
        measured(&mut one);
        exchange(&mut one, &mut two);
    }
    for turn in 1..=120 {
        let replica = if rng.once_in(2) { &mut one } else { &mut two };
        let deed = Deed {
            what: u8::try_from(rng.range(0, 255)).unwrap(),
            which: u16::try_from(rng.range(0, 65_535)).unwrap(),
            value: u16::try_from(rng.range(0, 399)).unwrap(),
        };
        if let Some(command) = command(replica, deed) {
            // What does not fit the document is refused, as it should be.
            let _ = replica.try_do(&command);
        }
        if turn % 24 == 0 {
            exchange(&mut one, &mut two);
        }
    }
    one.doc
}

/// A session with everything that a set can hold, and the target as it was shown.
fn measured(replica: &mut Replica) {
    let [session, work, key] = [(); 3].map(|()| replica.key());
    replica.done(&add("sessions", &session, session_done(replica.now)));
    let shown: Work = record(&[
        ("ex", text("abcdef-7")),
        ("item", text("abcdef-8")),
        ("shown", text("sets 3|dose reps 5|load 9000|rest 180")),
        ("plan", Scalar::Bytes(vec![0xab; 8])),
        ("instead_of", text("abcdef-9")),
        ("note", text("the rack was taken")),
    ]);
    let set: SetDone = record(&[
        ("at", Scalar::Time(replica.now.0)),
        ("load", int(9_000)),
        ("reps", int(3)),
        ("effort", int(75)),
        ("speeds", Scalar::Bytes(vec![0x58, 0x02, 0x44, 0x02, 0x30, 0x02])),
        ("failed", Scalar::Bool(true)),
        ("note", text("slow from the second on")),
    ]);
    replica.done(&Command::LogSet {
        session,
        work: WorkOf::New(work, Box::new(shown)),
        key,
        set: Box::new(set),
    });
}

/// Deflated, as a device may always send.
fn deflated(plain: &[u8]) -> Vec<u8> {
    let mut out = vec![1];
    let mut encoder = flate2::write::DeflateEncoder::new(&mut out, flate2::Compression::best());
    encoder.write_all(plain).unwrap();
    encoder.finish().unwrap();
    out
}

fn bytes(b: &[u8]) -> ByteVec {
    ByteVec::from(b.to_vec())
}

fn raw(kind: Kind) -> ByteVec {
    bytes(&name(kind).to_bytes())
}

/// The key with which install 1 signs in frozen files.
#[must_use]
pub fn key() -> InstallKey {
    InstallKey::of([0x5a; 32])
}

/// A parcel of what one install wrote in two starts.
fn signed_parcel() -> Parcel {
    let mut first = Replica::new(Kind::Log, 1);
    measured(&mut first);
    let mut second = Replica::started(first.doc, 1, 1);
    second.now = START.plus_ms(86_400_000);
    measured(&mut second);
    let plain = second.doc.changes_to_send(&[], 100);
    let changes = signed::changes(&plain).unwrap();
    let sign = |statement: &[u8]| key().sign(statement);
    Parcel {
        name: raw(Kind::Log),
        heads: heads_out(&second.doc.heads()),
        changes: ByteVec::from(thin::pack(&plain)),
        signatures: signed::sign(&name(Kind::Log), &changes, InstallId([1; 8]), &sign),
    }
}

fn requests() -> Vec<(&'static str, Up)> {
    let (log, care) = (lived_in(Kind::Log), lived_in(Kind::Care));
    let start: Vec<ChangeHash> = Document::create(name(Kind::Log)).unwrap().heads();
    let plain = log.changes_to_send(&start, 40);
    let mut plainly = vec![0];
    plainly.extend_from_slice(&care.changes_to_send(&[], 9));
    let blank = Up {
        protocol: PROTOCOL,
        epoch: None,
        local_day: "2026-11-25".to_owned(),
        clock: START.0,
        docs: Vec::new(),
        people: 0,
        app: "backstraight 0.1.0".to_owned(),
        carried: None,
        left: None,
    };
    let card = |kind: Kind, cursor: u64, heads: &[ChangeHash], changes: Option<Vec<u8>>| UpDoc {
        name: raw(kind),
        cursor,
        heads: heads_out(heads),
        changes: changes.map(ByteVec::from),
    };
    let sets = Up {
        epoch: Some(bytes(&[7; 16])),
        people: 12,
        docs: vec![
            card(Kind::Care, 0, &care.heads(), Some(plainly)),
            card(Kind::Log, 3, &log.heads(), Some(thin::pack(&plain))),
            card(Kind::Plan, 281_474_976_710_700, &[], None),
            card(Kind::Notes, 12, &[], None),
        ],
        ..blank.clone()
    };
    let deflated =
        Up { docs: vec![card(Kind::Log, 0, &log.heads(), Some(deflated(&plain)))], ..sets.clone() };
    let restored = Up {
        docs: KINDS.map(|kind| card(kind, 0, &lived_in(kind).heads(), None)).to_vec(),
        local_day: String::new(),
        ..sets.clone()
    };
    let carried = Up { carried: Some(vec![signed_parcel()]), ..blank.clone() };
    vec![
        ("first", blank),
        ("sets", sets),
        ("deflated", deflated),
        ("restored", restored),
        ("carried", carried),
    ]
}

fn answers() -> Vec<(&'static str, Down)> {
    let (plan, log) = (lived_in(Kind::Plan), lived_in(Kind::Log));
    let known = |n: u8, name: &str, role: &str, heard: bool| Known {
        person: bytes(ATHLETE.0.as_bytes()),
        name: name.to_owned(),
        role: role.to_owned(),
        installs: vec![bytes(&[n; 8]), bytes(&[n + 1; 8])],
        heard_day: heard.then(|| "2026-11-24".to_owned()),
        heard_at: heard.then_some(START.0),
        keys: None,
    };
    let answer = |kind: Kind, outcome, changes: Option<Vec<u8>>, cursor, heads: &[ChangeHash]| DownDoc {
        name: raw(kind),
        outcome,
        changes: changes.map(ByteVec::from),
        cursor,
        heads: heads_out(heads),
    };
    let refused = |code: &str, change: Option<ChangeHash>, text: &str| {
        Outcome::Refused(Refusal {
            code: code.to_owned(),
            change: change.map(|h| bytes(&h.0)),
            text: text.to_owned(),
        })
    };
    let blank = Down {
        protocol: PROTOCOL,
        epoch: bytes(&[7; 16]),
        docs: Vec::new(),
        withdrawn: Vec::new(),
        people: None,
        more: false,
        clock: START.0 + 417,
        carried: None,
        erased: None,
    };
    let first = Down {
        docs: vec![
            answer(
                Kind::Plan,
                Outcome::Accepted,
                Some(thin::pack(&plan.changes_to_send(&[], 200))),
                9,
                &plan.heads(),
            ),
            answer(
                Kind::Log,
                Outcome::Accepted,
                Some(deflated(&log.changes_to_send(&[], 200))),
                4,
                &log.heads(),
            ),
        ],
        people: Some(People {
            version: 31,
            list: vec![known(3, "Ruth Adeyemi", "coach", false), known(5, "Mira Aalto", "athlete", true)],
        }),
        ..blank.clone()
    };
    let mixed = Down {
        docs: vec![
            answer(Kind::Log, Outcome::Need, None, 0, &log.heads()),
            answer(
                Kind::Notes,
                refused("not-yours", None, "this document is not yours to write"),
                None,
                0,
                &[],
            ),
            answer(
                Kind::Care,
                refused("checksum", log.heads().first().copied(), "the checksum does not match"),
                None,
                2,
                &log.heads(),
            ),
            answer(Kind::Library, Outcome::Accepted, None, 281_474_976_710_700, &plan.heads()),
        ],
        withdrawn: vec![raw(Kind::Care), raw(Kind::Squad)],
        more: true,
        ..blank.clone()
    };
    let text = "what was written after its install was withdrawn was left out, the rest is stored";
    let mut keyed = known(5, "Mira Aalto", "athlete", true);
    keyed.keys = Some(vec![bytes(&key().public()), bytes(&[])]);
    let carried = Down {
        people: Some(People { version: 33, list: vec![keyed] }),
        carried: Some(vec![Outcome::Accepted, Outcome::Need, refused("withdrawn", None, text)]),
        ..blank.clone()
    };
    vec![("nothing-new", blank), ("first", first), ("mixed", mixed), ("carried", carried)]
}

/// A message as a newer version may send it: with one key more, number 99.
fn newer(message: &[u8]) -> Vec<u8> {
    let mut out = message.to_vec();
    // A CBOR map of fewer than 23 pairs has their number in its first byte.
    if let Some(first) = out.first_mut() {
        *first += 1;
    }
    out.extend_from_slice(&[0x18, 99, 0x65, b'l', b'a', b't', b'e', b'r']);
    out
}

/// Writes the files that are not there yet; their names.
///
/// # Panics
/// When the disk refuses.
#[must_use]
pub fn write_missing(folder: &Path) -> Vec<PathBuf> {
    let mut wanted: Vec<(PathBuf, Vec<u8>, Value)> = Vec::new();
    let wire = folder.join("wire/v1");
    for (what, request) in requests() {
        wanted.push((wire.join(format!("up-{what}.bin")), request.to_bytes(), up(&request)));
    }
    for (what, answer) in answers() {
        wanted.push((wire.join(format!("down-{what}.bin")), answer.to_bytes(), down(&answer)));
    }
    for (what, request) in requests().into_iter().filter(|(what, _)| *what == "sets") {
        wanted.push((wire.join(format!("up-{what}-newer.bin")), newer(&request.to_bytes()), up(&request)));
    }
    for (what, answer) in answers().into_iter().filter(|(what, _)| *what == "mixed") {
        wanted.push((wire.join(format!("down-{what}-newer.bin")), newer(&answer.to_bytes()), down(&answer)));
    }
    for kind in KINDS {
        let lived = lived_in(kind);
        let formats = folder.join("formats/v1");
        let mut chunks = genesis::bytes(kind).to_vec();
        chunks.extend_from_slice(&lived.changes_to_send(&[], usize::MAX));
        wanted.push((formats.join(format!("{}.bin", kind.word())), lived.save(), doc(&lived)));
        wanted.push((formats.join(format!("{}-chunks.bin", kind.word())), chunks, doc(&lived)));
    }
    let one = signed_parcel();
    let readable = json!({ "public_key": hex(&key().public()), "parcels": [parcel(&one)] });
    wanted.push((folder.join("carry/v1/two-starts.bin"), carry::write(vec![one]), readable));
    let mut written = Vec::new();
    for (path, bytes, readable) in wanted.into_iter().filter(|(path, ..)| !path.exists()) {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        fs::write(path.with_extension("json"), serde_json::to_string_pretty(&readable).unwrap() + "\n")
            .unwrap();
        written.push(path);
    }
    written
}
