//! Carry files at the machine: the real binary shows what is in one without its content, and takes it in.

use std::path::Path;
use std::process::Command;

use backstraight_core::doc::thin;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::carry::{self, Parcel};
use backstraight_core::exchange::signed;
use backstraight_core::exchange::wire::{Outcome, heads_out};
use ed25519_dalek::{Signer as _, SigningKey};
use minicbor::bytes::ByteVec;
use serde_json::Value;

use crate::over;
use crate::support::{Device, Key, Server, about, log};

fn run(args: &[&str], data: &Path) -> (bool, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_backstraight"));
    command.arg("carry").args(args).env_clear();
    over::tell(&mut command, data);
    let out = command.output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (out.status.success(), text(out.stdout), text(out.stderr))
}

#[test]
fn a_file_is_shown_without_its_content_and_taken_in_while_a_server_runs() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("data");
    let server = Server::on(&data);
    let club = server.club("Cinder Lane");
    let mira = club.person(Role::Athlete, "Mira Aalto");
    let key = SigningKey::from_bytes(&[5; 32]);
    let code = server.code(mira, club.id, 15);
    let mut phone = Device::keyed(&server.url, &code, server.now(), Key::of(key.clone()));
    let name = log(mira);
    phone.say(name, "words that nobody prints");
    phone.say(name, "and more of them");
    let doc = &phone.copies[&name].doc;
    let plain = doc.changes_to_send(&[], 100);
    let changes = signed::changes(&plain).unwrap();
    let sign = |statement: &[u8]| key.sign(statement).to_bytes();
    let parcel = Parcel {
        name: ByteVec::from(name.to_bytes().to_vec()),
        heads: heads_out(&doc.heads()),
        changes: ByteVec::from(thin::pack(&plain)),
        signatures: signed::sign(&name, &changes, phone.install, &sign),
    };
    let path = dir.path().join("mira.carry");
    std::fs::write(&path, carry::write(vec![parcel])).unwrap();
    let (file, data) = (path.to_str().unwrap(), data.to_str().unwrap());
    let (fine, shown, why) = run(&["inspect", file], &dir.path().join("data"));
    assert!(fine && shown.contains(&name.to_string()), "{shown} {why}");
    assert!(shown.contains(&phone.install.to_string()) && !shown.contains("words"), "{shown}");
    for fresh in [2, 0] {
        let (fine, told, why) = run(&["accept", file, "--data", data, "--json"], Path::new(data));
        let told: Value = serde_json::from_str(&told).unwrap();
        assert!(fine && told[0]["outcome"] == "accepted" && told[0]["fresh"] == fresh, "{told} {why}");
    }
    // The running server goes on from there, and the phone's own sending of the same is harmless.
    let down = phone.exchange();
    assert_eq!(about(&down, name).unwrap().outcome, Outcome::Accepted);
    assert_eq!(about(&down, name).unwrap().cursor, 1, "nothing was appended twice");
    phone.say(name, "later");
    assert_eq!(about(&phone.exchange(), name).unwrap().outcome, Outcome::Accepted);
    refused(&path, data, "not-a-carry-file", b"something else");
    let good = carry::write(Vec::new());
    refused(&path, data, "carry-checksum", &[&good[..good.len() - 1], &[7]].concat());
}

fn refused(path: &Path, data: &str, code: &str, bytes: &[u8]) {
    std::fs::write(path, bytes).unwrap();
    let file = path.to_str().unwrap();
    for args in [&["inspect", file][..], &["accept", file, "--data", data]] {
        let (fine, shown, why) = run(args, Path::new(data));
        assert!(!fine && shown.is_empty() && why.contains(code) && !why.contains("panicked"), "{why}");
    }
}
