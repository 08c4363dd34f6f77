//! Signatures and carry files by themselves: what is signed, what is believed, limits on both sides,
//! and any bytes at all.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use backstraight_core::base::id::{ActorId, ChangeHash, InstallId, PersonId};
use backstraight_core::base::key::KeyMint;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::chunk;
use backstraight_core::doc::command::{Command, New, Scene};
use backstraight_core::doc::gate::Rejected;
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::thin;
use backstraight_core::exchange::carry::{self, CarryError, MAX_PLAIN, Parcel};
use backstraight_core::exchange::signed::{self, Carried, MAX_SIGNATURES, Signature, SignedError};
use backstraight_core::exchange::wire::{MAX_BODY, MAX_DOCS, MAX_HEADS, heads_out};
use backstraight_core::model::log::Report;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Complaint;
use ed25519_dalek::{Signer as _, SigningKey};
use minicbor::bytes::ByteVec;
use proptest::prelude::*;
use uuid::Uuid;

const NOW: Moment = Moment(1_795_608_000_000);

fn name() -> DocName {
    DocName::Care(PersonId(Uuid::from_u128(7)))
}

fn key(n: u8) -> SigningKey {
    SigningKey::from_bytes(&[n; 32])
}

/// Reports of two installs in turns, each on top of the other's, one of them in two starts.
fn document() -> Document {
    let mut doc = Document::create(name()).unwrap();
    for turn in 0..6u8 {
        let (install, start) = (InstallId([turn % 2 + 1; 8]), turn / 4);
        doc.write_as(ActorId::of(install, [start; 8]));
        let mut mint = KeyMint::new([turn, 1, 2, 3]);
        let place = Place::of("reports", &mint.mint());
        let record = Report::new(NOW, Complaint::Pain).into();
        let add = Command::Add(vec![New { place, record }]);
        doc.apply(&add, &Scene { now: NOW, exercises: None }).unwrap();
    }
    doc
}

fn parcel(doc: &Document) -> (Parcel, Vec<Carried>) {
    let plain = doc.changes_to_send(&[], 100);
    let changes = signed::changes(&plain).unwrap();
    let signatures = [1, 2].into_iter().flat_map(|n| {
        signed::sign(&name(), &changes, InstallId([n; 8]), &|statement| key(n).sign(statement).to_bytes())
    });
    let parcel = Parcel {
        name: ByteVec::from(name().to_bytes().to_vec()),
        heads: heads_out(&doc.heads()),
        changes: ByteVec::from(thin::pack(&plain)),
        signatures: signatures.collect(),
    };
    (parcel, changes)
}

fn keys(install: InstallId) -> Option<[u8; 32]> {
    let [n, ..] = install.0;
    (1..=2).contains(&n).then(|| key(n).verifying_key().to_bytes())
}

#[test]
fn one_signature_covers_the_line_of_one_actor_and_nobody_elses() {
    let (parcel, changes) = parcel(&document());
    assert_eq!((changes.len(), parcel.signatures.len()), (6, 4), "two installs, two starts each");
    assert_eq!(signed::verify(&name(), &changes, &parcel.signatures, &keys), Ok(()));
    // Without the signature of one actor exactly that actor's changes are not believed, though others
    // that are signed build on them.
    for n in 0..parcel.signatures.len() {
        let mut some = parcel.signatures.clone();
        let gone = some.remove(n);
        let Err(SignedError::Unsigned(hash)) = signed::verify(&name(), &changes, &some, &keys) else {
            panic!("signature {n} was not missed");
        };
        let change = changes.iter().find(|c| c.hash == hash).unwrap();
        assert_eq!(change.actor.0, gone.actor.as_slice());
    }
    // A signature of another install's key, and one for another document.
    let swapped = |install: InstallId| keys(InstallId([3 - install.0[0]; 8]));
    let told = signed::verify(&name(), &changes, &parcel.signatures, &swapped);
    assert!(matches!(told, Err(SignedError::Forged(_))), "{told:?}");
    let other = DocName::CareNotes(PersonId(Uuid::from_u128(7)));
    let told = signed::verify(&other, &changes, &parcel.signatures, &keys);
    assert!(matches!(told, Err(SignedError::Forged(_))), "{told:?}");
    let told = signed::verify(&name(), &changes, &parcel.signatures, &|_| None);
    assert!(matches!(told, Err(SignedError::UnknownInstall(_))), "{told:?}");
    // A key of low order verifies much; it is refused, as it is at enrolment.
    let weak = |_| Some([0; 32]);
    let told = signed::verify(&name(), &changes, &parcel.signatures, &weak);
    assert!(matches!(told, Err(SignedError::Forged(_))), "{told:?}");
}

#[test]
fn changes_of_a_parcel_are_named_in_its_bytes_one_behind_the_other() {
    let plain = document().changes_to_send(&[], 100);
    let changes = signed::changes(&plain).unwrap();
    let mut end = 0;
    for change in &changes {
        assert_eq!(change.range.start, end);
        end = change.range.end;
        assert_eq!(chunk::name(&plain[change.range.clone()]).unwrap(), change.hash);
    }
    assert_eq!(end, plain.len());
    let signers: Vec<InstallId> = signed::signers(&parcel(&document()).0.signatures).collect();
    assert_eq!(signers, [1, 1, 2, 2].map(|n| InstallId([n; 8])));
}

/// The words go to other devices and into their notes: they never change.
#[test]
fn every_refusal_of_signatures_has_its_word_and_the_change_at_fault() {
    let (actor, install, hash) = (ActorId([1; 16]), InstallId([1; 8]), ChangeHash([3; 32]));
    let rejected = signed::changes(b"no change").unwrap_err();
    let within = Rejected { hash: Some(hash), ..rejected.clone() };
    for (error, word, change) in [
        (SignedError::Form(0), "signature-form", None),
        (SignedError::TooMany(9), "too-many-signatures", None),
        (SignedError::Doubled(actor), "doubled-signature", None),
        (SignedError::Elsewhere(actor), "signature-elsewhere", None),
        (SignedError::UnknownInstall(install), "unknown-install", None),
        (SignedError::Forged(install), "forged-signature", None),
        (SignedError::Unsigned(hash), "unsigned", Some(hash)),
        (SignedError::Changes(rejected.clone()), rejected.code.word(), None),
        (SignedError::Changes(within), rejected.code.word(), Some(hash)),
    ] {
        assert_eq!((error.code(), error.change()), (word, change), "{error}");
    }
}

#[test]
fn what_is_signed_stays_what_it_is() {
    let actor = ActorId::of(InstallId([1; 8]), [2; 8]);
    let statement = signed::statement(&name(), actor, &ChangeHash([3; 32]));
    let domain = b"backstraight: the changes of one actor up to this one, version 1\0";
    let parts: [&[u8]; 4] = [domain, &name().to_bytes(), &actor.0, &[3; 32]];
    assert_eq!(statement, parts.concat());
}

#[test]
fn every_limit_has_two_sides() {
    let (good, changes) = parcel(&document());
    let read = |parcels: Vec<Parcel>| carry::read(&carry::write(parcels)).map(|p| p.len());
    let small =
        Parcel { changes: ByteVec::from(vec![0]), signatures: Vec::new(), heads: Vec::new(), ..good.clone() };
    assert_eq!(read(vec![small.clone(); MAX_DOCS]), Ok(MAX_DOCS));
    assert_eq!(read(vec![small.clone(); MAX_DOCS + 1]).map_err(|e| e.code()), Err("too-many"));
    let heads = |n| Parcel { heads: vec![ByteVec::from(vec![1; 32]); n], ..small.clone() };
    assert_eq!(read(vec![heads(MAX_HEADS)]), Ok(1));
    assert_eq!(read(vec![heads(MAX_HEADS + 1)]).map_err(|e| e.code()), Err("too-many"));
    let one = good.signatures[0].clone();
    let signatures = |n| Parcel { signatures: vec![one.clone(); n], ..small.clone() };
    assert_eq!(read(vec![signatures(MAX_SIGNATURES)]), Ok(1));
    assert_eq!(read(vec![signatures(MAX_SIGNATURES + 1)]).map_err(|e| e.code()), Err("too-many"));
    let many = vec![one; MAX_SIGNATURES + 1];
    assert_eq!(
        signed::verify(&name(), &changes, &many, &keys),
        Err(SignedError::TooMany(MAX_SIGNATURES + 1))
    );
    // As many are looked at, and seen to be one over and over.
    let full = vec![good.signatures[0].clone(); MAX_SIGNATURES];
    assert!(matches!(signed::verify(&name(), &changes, &full, &keys), Err(SignedError::Doubled(_))));
    // A file as large as a request may be, and one byte more.
    let sized = |n: usize| carry::write(vec![Parcel { changes: ByteVec::from(vec![0; n]), ..small.clone() }]);
    let beside = sized(MAX_BODY / 2).len() - MAX_BODY / 2;
    let head = carry::MAGIC.len() + 1 + 32;
    assert!(carry::read(&sized(MAX_BODY + head - beside)).is_ok());
    assert_eq!(carry::read(&sized(MAX_BODY + head - beside + 1)).map_err(|e| e.code()), Err("too-large"));
    let named = |bytes: &[u8]| Parcel { name: ByteVec::from(bytes.to_vec()), ..small.clone() };
    assert_eq!(read(vec![named(&[9; 20])]).map_err(|e| e.code()), Err("malformed"));
    // Room for unpacked changes is that of the whole file.
    let plain = good.plain(&mut { MAX_PLAIN }).unwrap().len();
    assert!(good.plain(&mut { plain }).is_ok() && good.plain(&mut { plain - 1 }).is_err());
    let mut room = plain + 5;
    assert!(good.plain(&mut room).is_ok() && room == 5 && good.plain(&mut room).is_err());
    let mut file = carry::write(vec![good]);
    file[8] = 2;
    assert_eq!(carry::read(&file), Err(CarryError::Version(2)));
    file[0] = 0;
    assert_eq!(carry::read(&file), Err(CarryError::NotOne));
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        prop_assert!(carry::read(&bytes).is_err());
        let _ = signed::changes(&bytes);
    }

    #[test]
    fn no_signature_of_chance_is_believed(
        which in 0usize..4,
        bytes in proptest::collection::vec(any::<u8>(), 64),
        flip in 0usize..512,
    ) {
        let (parcel, changes) = parcel(&document());
        let with = |raw: Vec<u8>| {
            let mut all = parcel.signatures.clone();
            all[which] = Signature { bytes: ByteVec::from(raw), ..all[which].clone() };
            signed::verify(&name(), &changes, &all, &keys)
        };
        prop_assert!(with(bytes).is_err());
        let mut flipped = parcel.signatures[which].bytes.to_vec();
        flipped[flip / 8] ^= 1 << (flip % 8);
        prop_assert!(with(flipped).is_err());
    }
}
