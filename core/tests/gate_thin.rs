//! The thin form gives back what was packed, whatever it was, and unpacks nothing without limit.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod gate_support;

use backstraight_core::base::key::KeyMint;
use backstraight_core::doc::gate::{GateIndex, RejectCode, Verdict, limits};
use backstraight_core::doc::genesis;
use backstraight_core::doc::thin::{ThinLimits, pack, unpack};
use backstraight_core::model::name::Kind;
use gate_support::honest::{Writer, log, open, plain};
use gate_support::{Rng, actor, anyone, raw};
use proptest::prelude::*;

fn two_weeks() -> Vec<u8> {
    let mut rng = Rng(1);
    let mut doc = open(Kind::Log, actor(0, [7; 8]));
    let mut mint = KeyMint::new(rng.bytes());
    let before = doc.get_heads();
    log(&mut doc, &mut mint, &mut rng, 12, 22, 1_795_000_000_000);
    plain(&mut doc, &before)
}

fn there_and_back(bytes: &[u8]) -> Vec<u8> {
    let packed = pack(bytes);
    assert_eq!(unpack(&packed, ThinLimits::default()).unwrap(), bytes);
    assert!(packed.len() <= bytes.len() + 1);
    packed
}

#[test]
fn two_weeks_of_sets_shrink_below_the_budget() {
    let bytes = two_weeks();
    let packed = there_and_back(&bytes);
    println!("{} bytes of chunks, {} thin", bytes.len(), packed.len());
    assert!(packed.len() <= 18_000, "{}", packed.len());
    // And they are still what the gate takes.
    let index = GateIndex::new(Kind::Log).unwrap();
    let back = unpack(&packed, ThinLimits::default()).unwrap();
    let Verdict::Accept(a) = index.check(&back, &anyone).unwrap() else { panic!() };
    assert_eq!(a.fresh().len(), 264);
}

#[test]
fn honest_documents_of_every_kind_come_back() {
    for seed in 0..60 {
        let mut rng = Rng(1_000 + seed);
        let kind = Kind::ALL[usize::try_from(seed % 8).unwrap()];
        let (mut a, mut b) = (Writer::new(kind, 0, &mut rng), Writer::new(kind, 1, &mut rng));
        for _ in 0..30 {
            match rng.below(6) {
                0 => a.doc.merge(&mut b.doc).map(|_| ()).unwrap(),
                1 => b.doc.merge(&mut a.doc).map(|_| ()).unwrap(),
                2 => a.restart(0, &mut rng),
                3 => b.step(&mut rng),
                _ => a.step(&mut rng),
            }
        }
        let all = plain(&mut a.doc, &[]);
        let packed = there_and_back(&all);
        assert_eq!(packed[0], 2, "thin, not carried whole");
    }
}

#[test]
fn odd_bytes_are_carried_as_they_are() {
    there_and_back(&[]);
    there_and_back(&[0x85]);
    there_and_back(&[0; 5_000]);
    there_and_back(genesis::bytes(Kind::Plan));
    there_and_back(&raw::chunk(1, &[9; 40]));
    let mut twice = two_weeks();
    twice.extend(raw::chunk(1, &[0; 70]));
    twice.extend(two_weeks());
    twice.push(1);
    there_and_back(&twice);
    twice.pop();
    assert_eq!(there_and_back(&twice)[0], 2, "one chunk carried whole among thin ones");
}

#[test]
fn limits_hold() {
    let bytes = two_weeks();
    let packed = pack(&bytes);
    let small = ThinLimits { bytes: bytes.len() - 1, ..ThinLimits::default() };
    assert_eq!(unpack(&packed, small).unwrap_err().code, RejectCode::TooLarge);
    assert!(unpack(&packed, ThinLimits { bytes: bytes.len(), changes: 264 }).is_ok());
    let few = ThinLimits { changes: 263, ..ThinLimits::default() };
    assert_eq!(unpack(&packed, few).unwrap_err().code, RejectCode::TooManyChanges);
    let mut whole = vec![0];
    whole.extend(&bytes);
    assert_eq!(unpack(&whole, small).unwrap_err().code, RejectCode::TooLarge);
    assert_eq!(unpack(&[], small).unwrap_err().code, RejectCode::Thin);
    assert_eq!(unpack(&[9], small).unwrap_err().code, RejectCode::Thin);
    // A thousand to one: no honest upload.
    use std::io::Write as _;
    let mut encoder = flate2::write::DeflateEncoder::new(vec![1], flate2::Compression::best());
    encoder.write_all(&vec![0; limits::UPLOAD_BYTES]).unwrap();
    let bomb = encoder.finish().unwrap();
    assert!(bomb.len() < 20_000);
    there_and_back(&vec![0; 1 << 20]);
    assert_eq!(unpack(&bomb, ThinLimits::default()).unwrap_err().code, RejectCode::TooLarge);
}

#[test]
fn a_flipped_bit_is_noticed() {
    let bytes = two_weeks();
    let packed = pack(&bytes);
    let mut rng = Rng(3);
    let mut refused = 0;
    for _ in 0..2_000 {
        let mut bad = packed.clone();
        let at = 1 + rng.index(bad.len() - 1);
        bad[at] ^= 1 << rng.below(8);
        match unpack(&bad, ThinLimits::default()) {
            Err(_) => refused += 1,
            Ok(same) => assert_eq!(same, bytes, "only if nothing changed"),
        }
    }
    assert!(refused > 1_990, "{refused}");
}

/// Deflated streams that an attacker writes: no panic, no more than the limits.
#[test]
fn hostile_streams_are_refused_or_bounded() {
    use std::io::{Read as _, Write as _};
    let packed = pack(&two_weeks());
    let mut streams = Vec::new();
    flate2::read::DeflateDecoder::new(&packed[1..]).read_to_end(&mut streams).unwrap();
    let mut rng = Rng(4);
    for _ in 0..5_000 {
        let mut bad = streams.clone();
        for _ in 0..=rng.below(4) {
            let at = rng.index(bad.len());
            bad[at] = rng.bytes::<1>()[0];
        }
        if rng.one_in(4) {
            bad.truncate(rng.index(bad.len()));
        }
        let mut encoder = flate2::write::DeflateEncoder::new(vec![2], flate2::Compression::fast());
        encoder.write_all(&bad).unwrap();
        if let Ok(out) = unpack(&encoder.finish().unwrap(), ThinLimits::default()) {
            assert!(out.len() <= limits::UPLOAD_BYTES);
        }
    }
}

proptest! {
    #[test]
    fn any_bytes_come_back(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        there_and_back(&bytes);
    }

    #[test]
    fn any_bytes_unpack_or_are_refused(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = unpack(&bytes, ThinLimits::default());
    }
}
