//! The written formats are what the code does.

use std::fs;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::doc::open::Document;
use backstraight_core::model::name::Kind;
use backstraight_core::model::packed::*;
use backstraight_core::model::rule::{ProposalId, Rule};
use backstraight_tests::formats;
use backstraight_tests::replica::name;

#[test]
fn tables_of_the_formats_are_current() {
    let text = fs::read_to_string(formats::path()).unwrap();
    assert!(formats::renewed(&text) == text, "run `cargo xtask formats --write` and read what changed");
}

#[test]
fn every_type_in_the_tables_is_explained() {
    let text = fs::read_to_string(formats::path()).unwrap();
    let types = text.split_once("### Types of fields").unwrap().1.split_once(formats::END).unwrap().0;
    let rows: Vec<&str> =
        types.lines().filter(|l| l.starts_with("| ") && !l.starts_with("| type ")).collect();
    assert!(rows.len() > 40, "{}", rows.len());
    for row in rows {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        assert!(cells[2].len() > 3, "{row}");
    }
}

#[test]
fn the_document_names_the_starting_changes_and_the_bytes_of_names() {
    let text = fs::read_to_string(formats::path()).unwrap();
    for kind in Kind::ALL {
        let [ChangeHash(hash)] = Document::create(name(kind)).unwrap().heads()[..] else {
            panic!("one head")
        };
        let hex: String = hash.iter().map(|b| format!("{b:02x}")).collect();
        assert!(text.contains(&format!("| {} | `{hex}` |", kind.word())), "{kind:?} {hex}");
        let bytes: String = name(kind).to_bytes().iter().map(|b| format!("{b:02x}")).collect();
        assert!(text.contains(&format!("`{bytes}`")), "{kind:?} {bytes}");
    }
}

#[test]
fn the_examples_of_packed_texts_are_read_and_written_as_they_stand() {
    let text = fs::read_to_string(formats::path()).unwrap();
    let table = text.split_once("## Packed texts").unwrap().1.split_once("\nBytes: ").unwrap().0;
    let mut types: Vec<String> = Vec::new();
    let mut read = 0;
    for row in table.lines().filter(|l| l.starts_with("| `") || l.starts_with("| | ")) {
        // A stroke inside a cell is written with a backslash before it.
        let row = row.replace("\\|", "\u{1}");
        let cells: Vec<String> = row.split('|').map(|c| c.trim().replace('\u{1}', "|")).collect();
        if !cells[1].is_empty() {
            types = cells[1].split(", ").map(|t| t.trim_matches('`').to_owned()).collect();
        }
        let example = cells[3].trim_matches('`');
        for ty in &types {
            let again = match ty.as_str() {
                "Dose" => example.parse::<Dose>().map(|v| v.to_string()),
                "Intensity" => example.parse::<Intensity>().map(|v| v.to_string()),
                "Waves" => example.parse::<Waves>().map(|v| v.to_string()),
                "Target" => example.parse::<Target>().map(|v| v.to_string()),
                "Asked" => example.parse::<Asked>().map(|v| v.to_string()),
                "Rule" => example.parse::<Rule>().map(|v| v.to_string()),
                "ProposalId" => example.parse::<ProposalId>().map(|v| v.to_string()),
                "Plates" => example.parse::<Plates>().map(|v| v.to_string()),
                "Lengths" => example.parse::<Lengths>().map(|v| v.to_string()),
                "Loads" => example.parse::<Loads>().map(|v| v.to_string()),
                "Times" => example.parse::<Times>().map(|v| v.to_string()),
                "Offsets" => example.parse::<Offsets>().map(|v| v.to_string()),
                "Keys" => example.parse::<Keys>().map(|v| v.to_string()),
                other => panic!("no reader for {other}"),
            };
            assert_eq!(again.as_deref(), Ok(example), "{ty}");
            read += 1;
        }
    }
    assert!(read >= 20, "{read}");
}
