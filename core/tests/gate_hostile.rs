//! The frozen attacks of `fixtures/hostile` are refused with the code in their name, and nothing in
//! `fixtures/crashers` breaks anything again.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::path::PathBuf;

use backstraight_core::doc::chunk;
use backstraight_core::doc::gate::{GateIndex, RejectCode, Verdict};
use backstraight_core::doc::thin::{ThinLimits, pack, unpack};
use backstraight_core::model::name::Kind;

fn files(folder: &str) -> Vec<(String, Vec<u8>)> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures").join(folder);
    let mut out = Vec::new();
    for entry in path.read_dir().unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "bin") {
            use std::io::Read as _;
            let mut bytes = Vec::new();
            let mut file = std::fs::OpenOptions::new().read(true).open(&path).unwrap();
            file.read_to_end(&mut bytes).unwrap();
            out.push((path.file_name().unwrap().to_string_lossy().into_owned(), bytes));
        }
    }
    out.sort();
    out
}

#[test]
fn frozen_attacks_are_refused_with_the_code_in_their_name() {
    let files = files("hostile");
    let base = files.iter().find(|(name, _)| name == "base-log.bin").unwrap();
    let index = GateIndex::from_changes(Kind::Log, &base.1).unwrap();
    let mine = index.hashes().last().and_then(|last| {
        let chunks = chunk::split(&base.1).unwrap();
        chunks
            .into_iter()
            .map(|c| chunk::parse(c).unwrap())
            .find(|c| c.hash == last)
            .map(|c| c.actor.install())
    });
    let mut tried = 0;
    for (name, bytes) in files.iter().filter(|(name, _)| name != "base-log.bin") {
        let code: RejectCode = name.split('.').next().unwrap().parse().unwrap();
        let refused = index.check(bytes, &|install| Some(install) == mine).unwrap_err();
        assert_eq!(refused.code, code, "{name}: {refused}");
        assert_eq!(unpack(&pack(bytes), ThinLimits::default()).as_deref(), Ok(bytes.as_slice()), "{name}");
        tried += 1;
    }
    assert!(tried >= 100, "{tried}");
}

#[test]
fn crashers_stay_fixed() {
    for (name, bytes) in files("crashers") {
        assert_eq!(unpack(&pack(&bytes), ThinLimits::default()).as_deref(), Ok(bytes.as_slice()), "{name}");
        let _ = unpack(&bytes, ThinLimits::default());
        for kind in Kind::ALL {
            let index = GateIndex::new(kind).unwrap();
            let verdict = index.check(&bytes, &|_| true);
            assert!(!matches!(verdict, Ok(Verdict::Accept(a)) if !a.fresh().is_empty()), "{name}");
            let _ = GateIndex::replay(kind, [bytes.as_slice()]);
        }
    }
}
