//! `docs/exchange.md` says what the code does: its codes, limits and the bytes of its example.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use backstraight_core::doc::gate::{RejectCode, limits};
use backstraight_core::exchange::wire::{Down, DownDoc, MAX_BODY, MAX_DOCS, MAX_HEADS, Outcome, Up, UpDoc};
use backstraight_core::model::name::Kind;
use backstraight_tests::replica::name;
use minicbor::bytes::ByteVec;

fn text() -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/exchange.md")).unwrap()
}

fn bytes(b: &[u8]) -> ByteVec {
    ByteVec::from(b.to_vec())
}

fn hex(b: &[u8]) -> String {
    let mut out = String::new();
    for line in b.chunks(40) {
        line.iter().for_each(|b| write!(out, "{b:02x}").unwrap());
        out.push('\n');
    }
    out
}

#[test]
fn the_example_is_what_the_code_writes_and_reads() {
    let (log, plan) = (name(Kind::Log).to_bytes(), name(Kind::Plan).to_bytes());
    let up = Up {
        protocol: 1,
        epoch: Some(bytes(&[7; 16])),
        local_day: "2026-11-25".to_owned(),
        clock: 1_795_600_000_000,
        docs: vec![UpDoc {
            name: bytes(&log),
            cursor: 3,
            heads: vec![bytes(&[0xab; 32])],
            changes: Some(bytes(&[0, 0x85, 0x6f, 0x4a, 0x83])),
        }],
        people: 2,
        app: "phone 1.0".to_owned(),
        carried: None,
        left: None,
    };
    let doc = |name: &[u8], changes, cursor, head| DownDoc {
        name: bytes(name),
        outcome: Outcome::Accepted,
        changes,
        cursor,
        heads: vec![bytes(&[head; 32])],
    };
    let down = Down {
        protocol: 1,
        epoch: bytes(&[7; 16]),
        docs: vec![doc(&log, None, 4, 0xab), doc(&plan, Some(bytes(&[0, 0x85, 0x6f, 0x4a, 0x83])), 12, 0xcd)],
        withdrawn: Vec::new(),
        people: None,
        more: false,
        clock: 1_795_600_000_417,
        carried: None,
        erased: None,
    };
    let text = text();
    for (what, written) in [("request", up.to_bytes()), ("answer", down.to_bytes())] {
        let wanted = format!("```\n{}```", hex(&written));
        assert!(text.contains(&wanted), "{what}:\n{wanted}");
    }
    assert_eq!(Up::from_bytes(&up.to_bytes()), Ok(up));
    assert_eq!(Down::from_bytes(&down.to_bytes()), Ok(down));
}

#[test]
fn every_code_of_refusal_is_listed_with_its_meaning() {
    let text = text();
    let mut table = "| code | means |\n|---|---|\n".to_owned();
    for code in RejectCode::ALL {
        let _ = writeln!(table, "| `{}` | {} |", code.word(), code.text());
    }
    assert!(text.contains(&table), "{table}");
}

#[test]
fn the_limits_are_those_of_the_code() {
    let text = text();
    let grouped = |n: usize| {
        let digits = n.to_string();
        let (head, tail) = digits.split_at(digits.len().saturating_sub(3));
        if head.is_empty() { tail.to_owned() } else { format!("{head},{tail}") }
    };
    for line in [
        format!("| body, unpacked | {} MiB |", MAX_BODY >> 20),
        format!("| documents in a request | {} |", grouped(MAX_DOCS)),
        format!("| heads of a document | {} |", grouped(MAX_HEADS)),
        format!(
            "| changes of one document that the gate takes at once | {}, {} MiB |",
            grouped(limits::UPLOAD_CHANGES),
            limits::UPLOAD_BYTES >> 20
        ),
        format!(
            "| one change | {} KiB, {} operations |",
            limits::CHUNK_BYTES >> 10,
            grouped(limits::CHANGE_OPS)
        ),
    ] {
        assert!(text.contains(&line), "{line}");
    }
}
