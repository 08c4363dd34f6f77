//! Bytes that were written once are read for ever: messages of the exchange and documents of every
//! kind, as they stand in `fixtures/`.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use backstraight_core::base::id::{ActorId, InstallId};
use backstraight_core::doc::admit::Admitted;
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::wire::{Down, Up};
use backstraight_core::exchange::{carry, signed};
use backstraight_core::model::name::Kind;
use backstraight_tests::frozen;
use backstraight_tests::replica::name;
use serde_json::Value;

/// The files of a folder that end so, with their names and what was written beside them.
fn files(folder: &str) -> Vec<(String, Vec<u8>, Value)> {
    let mut files = Vec::new();
    for entry in fs::read_dir(frozen::folder().join(folder)).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "bin") {
            let readable = fs::read_to_string(path.with_extension("json")).unwrap();
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            files.push((name, fs::read(&path).unwrap(), serde_json::from_str(&readable).unwrap()));
        }
    }
    files.sort_by(|a, b| a.0.cmp(&b.0));
    files
}

#[test]
fn messages_of_the_first_version_read_the_same_for_ever() {
    let files = files("wire/v1");
    for (name, bytes, readable) in &files {
        let (found, again) = if name.starts_with("up-") {
            let up = Up::from_bytes(bytes).unwrap();
            (frozen::up(&up), up.to_bytes())
        } else {
            let down = Down::from_bytes(bytes).unwrap();
            (frozen::down(&down), down.to_bytes())
        };
        assert_eq!(&found, readable, "{name}");
        // What a newer version adds is skipped, so it is not written again.
        assert_eq!(&again == bytes, !name.ends_with("-newer"), "{name}");
    }
    let names: BTreeSet<&str> = files.iter().map(|(name, ..)| name.as_str()).collect();
    let wanted = [
        "down-carried",
        "down-first",
        "down-mixed",
        "down-mixed-newer",
        "down-nothing-new",
        "up-carried",
        "up-deflated",
        "up-first",
        "up-restored",
        "up-sets",
        "up-sets-newer",
    ];
    assert_eq!(names, BTreeSet::from(wanted));
    let forms: BTreeSet<u64> = files
        .iter()
        .filter_map(|(_, _, readable)| readable["documents"].as_array())
        .flatten()
        .filter_map(|d| d["changes"]["form"].as_u64())
        .collect();
    assert_eq!(forms, BTreeSet::from([0, 1, 2]), "every packed form");
}

#[test]
fn documents_of_the_first_version_open_for_ever() {
    let files = files("formats/v1");
    assert_eq!(files.len(), 2 * frozen::KINDS.len());
    for kind in Kind::ALL {
        for ending in ["", "-chunks"] {
            let wanted = format!("{}{ending}", kind.word());
            let (_, bytes, readable) = files.iter().find(|(name, ..)| *name == wanted).unwrap();
            let mut doc = Document::open(name(kind), bytes).unwrap();
            assert_eq!(&frozen::doc(&doc), readable, "{wanted}");
            // Saved by this version it still says the same.
            let again = Document::open(name(kind), &doc.save()).unwrap();
            assert_eq!(&frozen::doc(&again), readable, "{wanted}");
            // And it is taken by way of the gate, on top of the fixed starting change.
            let mut fresh = Document::open(name(kind), genesis::bytes(kind)).unwrap();
            let admitted = fresh.admit(&doc.changes_to_send(&[], usize::MAX), &|_| true).unwrap();
            assert!(matches!(admitted, Admitted::Merged { .. }), "{admitted:?}");
            assert_eq!(&frozen::doc(&fresh), readable, "{wanted}");
            doc.write_as(ActorId([9; 16]));
            assert!(readable["changes"].as_u64().unwrap() > 20, "{wanted} has been lived in");
        }
    }
}

#[test]
fn carry_files_of_the_first_version_are_read_and_believed_for_ever() {
    let files = files("carry/v1");
    assert_eq!(files.iter().map(|(name, ..)| name.as_str()).collect::<Vec<_>>(), ["two-starts"]);
    for (name, bytes, readable) in files {
        let parcels = carry::read(&bytes).unwrap();
        let shown: Vec<Value> = parcels.iter().map(frozen::parcel).collect();
        assert_eq!(readable["parcels"], Value::from(shown), "{name}");
        for parcel in &parcels {
            let (document, mut room) = (parcel.document().unwrap(), carry::MAX_PLAIN);
            let changes = signed::changes(&parcel.plain(&mut room).unwrap()).unwrap();
            let key = |install| (install == InstallId([1; 8])).then(|| frozen::key().public());
            signed::verify(&document, &changes, &parcel.signatures, &key).unwrap();
            assert_eq!(parcel.signatures.len(), 2, "two starts of one install");
        }
        assert_eq!(carry::write(parcels), bytes, "{name}");
    }
}

#[test]
fn the_frozen_documents_hold_what_is_hard_to_read() {
    let text: String = files("formats/v1").iter().map(|(_, _, readable)| readable.to_string()).collect();
    for hard in ["\"(met)\"", "\"gone\"", "\"hex\"", "\"ms\""] {
        assert!(text.contains(hard), "{hard}");
    }
    assert!(Path::new(&frozen::folder()).join("README.md").exists());
}
