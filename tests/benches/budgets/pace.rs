//! How fast this machine is beside the one on which the budgets were measured: a plan in plain nested
//! maps, made with the document library alone as it was made there, is opened again. Knows nothing of
//! our own documents.

use automerge::transaction::{CommitOptions, Transactable as _};
use automerge::{AutoCommit, Automerge, ObjId, ObjType, ROOT};
use backstraight_tests::rng::Rng;

use crate::measure::{Row, cpu, set_pace};

/// What opening that plan took where the budgets come from, ms of CPU.
const THERE: f64 = 8.7;

/// Opens it, sets the pace by which budgets of CPU time are read, and says so.
pub(crate) fn figures() -> Vec<Row> {
    let saved = plan();
    let here = cpu(31, || (), |()| Automerge::load(&saved).unwrap());
    let pace = (here / THERE).max(1.0);
    set_pace(pace);
    vec![
        Row::beside("a plan as it was opened where the budgets come from", here, "ms CPU")
            .note(format!("{THERE} ms there: budgets of CPU time are {pace:.2} times as long here")),
    ]
}

/// 40 weeks of 5 sessions of 9 exercises of 9 fields, random keys of 22 letters, a change for each.
fn plan() -> Vec<u8> {
    let mut rng = Rng::new(1);
    let mut key = move || -> String {
        const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
        let last = i64::try_from(LETTERS.len()).unwrap() - 1;
        (0..22).map(|_| char::from(LETTERS[usize::try_from(rng.range(0, last)).unwrap()])).collect()
    };
    let mut rng = Rng::new(2);
    let mut doc = AutoCommit::new();
    let map = |doc: &mut AutoCommit, of: &ObjId, key: &str| doc.put_object(of, key, ObjType::Map).unwrap();
    let weeks = map(&mut doc, &ROOT, "weeks");
    doc.put(ROOT, "v", 1).unwrap();
    doc.put(ROOT, "name", "season").unwrap();
    let mut at = 1_790_000_000;
    for w in 0..40 {
        let week = map(&mut doc, &weeks, &key());
        doc.put(&week, "pos", format!("a{w}")).unwrap();
        doc.put(&week, "start", format!("2026-{:02}-{:02}", w / 4 + 1, w % 28 + 1)).unwrap();
        let sessions = map(&mut doc, &week, "sessions");
        for title in ["Strength", "Power", "Speed", "Jumps", "Trunk"] {
            let session = map(&mut doc, &sessions, &key());
            doc.put(&session, "pos", "a0").unwrap();
            doc.put(&session, "day", rng.range(0, 6)).unwrap();
            doc.put(&session, "title", title).unwrap();
            let slots = map(&mut doc, &session, "slots");
            for n in 0..9 {
                let slot = map(&mut doc, &slots, &key());
                for (field, text) in [
                    ("pos", format!("a{n}")),
                    ("ex", format!("exercise-{}", rng.range(0, 39))),
                    ("cue", "chest up".to_owned()),
                    ("group", format!("{}", n / 2)),
                ] {
                    doc.put(&slot, field, text).unwrap();
                }
                for (field, least, most) in
                    [("sets", 2, 5), ("reps", 1, 8), ("pct", 600, 900), ("vmin", 300, 800), ("rest", 60, 240)]
                {
                    doc.put(&slot, field, rng.range(least, most)).unwrap();
                }
                at += 60;
                doc.commit_with(CommitOptions::default().with_time(at));
            }
        }
    }
    doc.save()
}
