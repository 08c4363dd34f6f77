//! Writes one document of each kind, with edits that met and withdrawn records, and what our readers
//! make of them, into a folder. Run by `cargo xtask interop`.

use std::fs;
use std::path::PathBuf;

use backstraight_core::doc::command::{Command, WorkOf};
use backstraight_core::doc::place::Place;
use backstraight_core::model::log::{SessionDone, SetDone};
use backstraight_core::model::name::Kind;
use backstraight_core::model::number::Speeds;
use backstraight_core::model::plan::Venue;
use backstraight_core::model::spec::{Field as _, FieldKind, Record as _};
use backstraight_tests::content::content;
use backstraight_tests::deed::{Deed, add, command, edit, record, session_done, text, time, work};
use backstraight_tests::replica::{Replica, START, exchange};
use serde_json::{Map, Value, json};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("usage: export_docs FOLDER")?);
    fs::create_dir_all(&folder)?;
    let mut expected = Map::new();
    for kind in Kind::ALL {
        let mut replica = written(kind);
        if kind == Kind::Log {
            by_hand(&mut replica);
        }
        if kind == Kind::Library {
            let key = replica.key();
            let fields =
                [("name", text("Hall, ééé 跑")), ("bars", text("2000,1500")), ("plates", text("2500x2"))];
            replica.done(&add("venues", &key, record::<Venue>(&fields)));
        }
        let content = content(&replica.doc);
        fs::write(folder.join(format!("{}.automerge", kind.word())), replica.doc.save())?;
        let heads: Vec<String> = replica.doc.heads().iter().map(ToString::to_string).collect();
        expected.insert(kind.word().to_owned(), json!({ "heads": heads, "content": content }));
    }
    let whole: Vec<Value> = SetDone::SPEC
        .fields
        .iter()
        .map(|f| json!({ "name": f.name, "moment": f.kind == FieldKind::Time }))
        .collect();
    let expected = json!({ "documents": expected, "whole": whole });
    fs::write(folder.join("expected.json"), serde_json::to_string_pretty(&expected)?)?;
    println!("{} documents in {}", Kind::ALL.len(), folder.display());
    Ok(())
}

/// A document that two writers filled, mostly apart, by a fixed row of numbers.
fn written(kind: Kind) -> Replica {
    let (mut a, mut b) = (Replica::new(kind, 1), Replica::new(kind, 2));
    let mut seed = 7_u32;
    let mut next = || {
        // Any row of well mixed numbers will do; this one is a linear congruence.
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        seed >> 16
    };
    for step in 0..160 {
        let writer = if step % 3 == 0 { &mut b } else { &mut a };
        let number = |n: u32| u16::try_from(n).unwrap_or(0);
        let what = u8::try_from(next() % 256).unwrap_or(0);
        let deed = Deed { what, which: number(next()), value: number(next() % 400) };
        if let Some(command) = command(writer, deed) {
            // A deed that its writer's document refuses is not done.
            let _refused = writer.try_do(&command);
        }
        if step % 29 == 28 {
            exchange(&mut a, &mut b);
        }
    }
    exchange(&mut a, &mut b);
    a
}

/// Each type of value that a log holds, and a field at which edits met.
fn by_hand(replica: &mut Replica) {
    let [session, work_key, set_key, exercise] = [(); 4].map(|()| replica.key());
    replica.done(&add("sessions", &session, session_done(START)));
    let Ok(speeds) = Speeds::new(vec![620, 588, 541, 0]) else { return };
    let set: SetDone = record(&[
        ("at", time(START)),
        ("speeds", speeds.to_scalar()),
        ("failed", true.to_scalar()),
        ("wind", backstraight_core::model::spec::Scalar::Int(-1_200)),
        ("splits", text("1520,2610,3590")),
    ]);
    replica.done(&Command::LogSet {
        session: session.clone(),
        work: WorkOf::New(work_key, work(&exercise)),
        key: set_key,
        set: Box::new(set),
    });
    let mut other = Replica::started(replica.doc.clone(), 3, 0);
    let place = Place::of("sessions", &session);
    for (writer, words, wait) in [(&mut *replica, "hot", 0), (&mut other, "hot, wind from the side", 90_000)]
    {
        writer.now = writer.now.plus_ms(wait);
        if let Some(edit) = edit::<SessionDone>(&writer.doc, &place, "comment", Some(text(words))) {
            writer.done(&edit);
        }
    }
    exchange(replica, &mut other);
}
