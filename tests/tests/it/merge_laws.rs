//! The laws of merging: whatever two or three people did, in whatever order and however often the
//! bytes arrive, all copies end equal and nothing that was said is missing.

use std::collections::BTreeMap;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::doc::command::Command;
use backstraight_core::doc::command::apply::CommandError;
use backstraight_core::doc::open::Document;
use backstraight_core::model::name::Kind;
use backstraight_tests::content::content;
use backstraight_tests::deed::{Deed, any_deed, command};
use backstraight_tests::replica::{Replica, chunks, name};
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::TestRunner;

/// One thing that happens.
#[derive(Debug, Clone, Copy)]
enum Event {
    /// A writer does something, with a clock that is so many seconds off.
    Do(usize, Deed, i16),
    /// All that one has and the other lacks is brought over.
    Send(usize, usize),
}

fn event() -> impl Strategy<Value = Event> {
    prop_oneof![
        4 => (0usize..3, any_deed(), any::<i16>()).prop_map(|(who, deed, off)| Event::Do(who, deed, off)),
        1 => (0usize..3, 0usize..3).prop_map(|(from, to)| Event::Send(from, to)),
    ]
}

/// Plays a story and gives the three copies, and the names of all changes made.
fn play(kind: Kind, story: &[Event]) -> (Vec<Replica>, Vec<ChangeHash>) {
    let mut copies: Vec<Replica> = (1..=3).map(|n| Replica::new(kind, n)).collect();
    let mut made = Vec::new();
    for event in story {
        match *event {
            Event::Do(who, deed, off) => {
                let writer = &mut copies[who];
                writer.now = writer.now.plus_ms(i64::from(off) * 1000);
                let Some(command) = command(writer, deed) else { continue };
                let before = writer.doc.heads();
                match writer.try_do(&command) {
                    Ok(hash) => made.push(hash),
                    // Refused: then nothing may have been written.
                    Err(CommandError::Problems(_)) => {
                        assert_eq!(writer.doc.heads(), before, "{command:?}");
                    }
                    Err(e) => panic!("{command:?}: {e}"),
                }
            }
            Event::Send(from, to) if from != to => {
                let bytes = copies[from].doc.changes_since(&copies[to].doc.heads());
                copies[to].receive(&bytes);
            }
            Event::Send(..) => {}
        }
    }
    (copies, made)
}

/// Every change that anybody made, one piece each.
fn pieces(copies: &[Replica]) -> Vec<Vec<u8>> {
    let start = Document::create(copies[0].doc.name()).unwrap().heads();
    let mut all: Vec<Vec<u8>> = copies.iter().flat_map(|c| chunks(&c.doc.changes_since(&start))).collect();
    all.sort();
    all.dedup();
    all
}

fn any_kind() -> impl Strategy<Value = Kind> {
    // Logs and plans are where most is written.
    prop_oneof![3 => Just(Kind::Log), 3 => Just(Kind::Plan), 1 => prop::sample::select(&Kind::ALL)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, ..ProptestConfig::default() })]

    #[test]
    fn any_order_any_doubling_and_any_parcels_give_equal_documents(
        kind in any_kind(),
        story in prop::collection::vec(event(), 1..40),
        order in prop::collection::vec(any::<prop::sample::Index>(), 120),
        parcel in 1usize..6,
    ) {
        let (mut copies, made) = play(kind, &story);
        let all = pieces(&copies);
        prop_assert_eq!(all.len(), made.len(), "each deed is one change");
        for (i, copy) in copies.iter_mut().enumerate() {
            // Every copy gets every piece, some twice, in an order and in parcels of its own.
            let mut deliveries: Vec<&Vec<u8>> = all.iter().chain(all.iter().skip(i).step_by(3)).collect();
            for (at, to) in order.iter().enumerate().skip(i * 31) {
                if !deliveries.is_empty() {
                    let (at, to) = (at % deliveries.len(), to.index(deliveries.len()));
                    deliveries.swap(at, to);
                }
            }
            for parcel in deliveries.chunks(parcel + i) {
                copy.receive(&parcel.iter().flat_map(|p| p.iter().copied()).collect::<Vec<u8>>());
            }
            prop_assert_eq!(copy.waiting(), 0, "nothing waits once all has arrived");
        }
        let first = content(&copies[0].doc);
        for copy in &copies {
            prop_assert_eq!(copy.doc.heads(), copies[0].doc.heads());
            prop_assert_eq!(content(&copy.doc), first.clone());
            for hash in &made {
                prop_assert!(copy.doc.holds(hash), "a change that was made is in every copy");
            }
            // What is saved and opened again says the same.
            let again = Document::open(name(kind), &copy.doc.save()).unwrap();
            prop_assert_eq!(again.heads(), copy.doc.heads());
            prop_assert_eq!(content(&again), first.clone());
        }
    }

    #[test]
    fn a_merge_with_oneself_or_with_the_past_changes_nothing(
        kind in any_kind(),
        story in prop::collection::vec(event(), 1..30),
    ) {
        let (copies, _) = play(kind, &story);
        for mut copy in copies {
            let (heads, shown) = (copy.doc.heads(), content(&copy.doc));
            let own = copy.doc.changes_since(&[]);
            copy.receive(&own);
            for piece in pieces(std::slice::from_ref(&copy)) {
                copy.receive(&piece);
            }
            prop_assert_eq!(copy.doc.heads(), heads);
            prop_assert_eq!(content(&copy.doc), shown);
        }
    }

    #[test]
    fn no_record_ever_vanishes_and_no_withdrawn_one_is_unreadable(
        kind in any_kind(),
        story in prop::collection::vec(event(), 1..40),
    ) {
        let (mut copies, _) = play(kind, &story);
        let before: Vec<serde_json::Value> = copies.iter().map(|c| content(&c.doc)).collect();
        for from in 0..3 {
            for to in 0..3 {
                if from != to {
                    let bytes = copies[from].doc.changes_since(&copies[to].doc.heads());
                    copies[to].receive(&bytes);
                }
            }
        }
        let after = content(&copies[2].doc);
        for seen in &before {
            holds_all(&after, seen)?;
        }
    }

    #[test]
    fn what_changes_touch_is_told_by_the_changes(
        kind in any_kind(),
        story in prop::collection::vec(event(), 1..40),
    ) {
        let (mut copies, _) = play(kind, &story);
        let mut copy = copies.remove(0);
        for other in &copies {
            let (heads, before) = (copy.doc.heads(), content(&copy.doc));
            copy.receive(&other.doc.changes_since(&heads));
            let after = content(&copy.doc);
            let touched = copy.doc.touched(&copy.doc.changes_since(&heads)).expect("all can be placed");
            for (root, keys) in &touched {
                for key in keys {
                    prop_assert!(!after[*root][key.as_str()].is_null(), "{root} {key} is there");
                }
            }
            let roots = after.as_object().unwrap();
            for (root, records) in roots {
                for (key, record) in records.as_object().unwrap() {
                    let same = before[root].get(key) == Some(record);
                    let told = touched.iter().any(|(r, k)| *r == root && k.iter().any(|k| k.as_str() == key));
                    prop_assert!(same || told, "{root} {key} reads otherwise and was not touched");
                }
            }
        }
        // Of the whole story every record is told, and nothing else.
        let all = copy.doc.changes_to_send(&[], usize::MAX);
        let touched = copy.doc.touched(&all).expect("all can be placed");
        let told: usize = touched.values().map(std::collections::BTreeSet::len).sum();
        let roots = content(&copy.doc);
        let there = roots.as_object().unwrap().values();
        prop_assert!(told <= there.map(|r| r.as_object().unwrap().len()).sum());
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn new_records_read_apart_are_those_of_the_document(
        kind in any_kind(),
        story in prop::collection::vec(event(), 1..40),
        cut in any::<prop::sample::Index>(),
    ) {
        // One copy's whole history, cut in two at a place that another copy may never have seen.
        let (copies, _) = play(kind, &story);
        let all = chunks(&copies[0].doc.changes_to_send(&[], usize::MAX));
        let (known, fresh) = all.split_at(cut.index(all.len() + 1));
        let mut before = Document::create(name(kind)).unwrap();
        if !known.is_empty() {
            before.admit(&known.concat(), &|_| true).unwrap();
        }
        if let Some((apart, made)) = Document::of_new_records(name(kind), &fresh.concat()) {
            let start = content(&Document::create(name(kind)).unwrap());
            let (then, now, apart) = (content(&before), content(&copies[0].doc), content(&apart));
            prop_assert_eq!(&copies[0].doc.touched(&fresh.concat()).unwrap(), &made);
            for (root, records) in apart.as_object().unwrap() {
                for (key, record) in records.as_object().unwrap() {
                    let told = made.iter().any(|(r, k)| *r == root && k.iter().any(|k| k.as_str() == key));
                    prop_assert!(told || start[root].get(key) == Some(record), "{root} {key} is told");
                    // A key that is there already is the caller's to find.
                    if then[root].get(key).is_none() {
                        prop_assert_eq!(record, &now[root][key], "{} {}", root, key);
                    }
                }
            }
        }
    }
}

#[test]
fn a_history_of_whole_records_can_be_read_apart() {
    let mut runner = TestRunner::deterministic();
    let deeds = prop::collection::vec((any_deed(), any::<i16>()), 20..40);
    let (mut read, mut refused) = (0, 0);
    for _ in 0..40 {
        let deeds = deeds.new_tree(&mut runner).unwrap().current();
        let story: Vec<Event> = deeds.into_iter().map(|(deed, off)| Event::Do(0, deed, off)).collect();
        let (copies, made) = play(Kind::Log, &story);
        let all = copies[0].doc.changes_to_send(&[], usize::MAX);
        // Nobody else wrote: all that is there was made by these changes.
        let apart = Document::of_new_records(name(Kind::Log), &all).expect("all of it can be read");
        assert_eq!(content(&apart.0), content(&copies[0].doc));
        read += made.len();
        // Half of a record cannot be.
        let half = chunks(&all).split_off(1).concat();
        refused += usize::from(Document::of_new_records(name(Kind::Log), &half).is_none());
    }
    assert!(read > 200 && refused > 20, "{read} {refused}");
}

/// Whether every record in `seen` is in `after` too, at every depth.
fn holds_all(after: &serde_json::Value, seen: &serde_json::Value) -> Result<(), TestCaseError> {
    let Some(map) = seen.as_object() else { return Ok(()) };
    for (key, value) in map {
        if value.is_object()
            && !key.starts_with('(')
            && value.get("hex").is_none()
            && value.get("ms").is_none()
        {
            let there = after.get(key);
            prop_assert!(there.is_some_and(serde_json::Value::is_object), "{} is gone", key);
            holds_all(there.unwrap_or(&serde_json::Value::Null), value)?;
        }
    }
    Ok(())
}

/// The generators are worth something only when their stories reach every deed and make edits meet.
#[test]
fn stories_reach_every_deed_and_make_edits_meet() {
    let mut runner = TestRunner::deterministic();
    let mut reached: BTreeMap<&'static str, usize> = BTreeMap::new();
    for _ in 0..150 {
        let kind = any_kind().new_tree(&mut runner).unwrap().current();
        let story = prop::collection::vec(event(), 20..60).new_tree(&mut runner).unwrap().current();
        let mut copies: Vec<Replica> = (1..=3).map(|n| Replica::new(kind, n)).collect();
        for event in story {
            match event {
                Event::Do(who, deed, _) => {
                    let Some(command) = command(&mut copies[who], deed) else { continue };
                    let word = match &command {
                        Command::Add(_) => "add",
                        Command::Edit { .. } => "edit",
                        Command::Withdraw(_) => "withdraw",
                        Command::Restore(_) => "restore",
                        Command::Pick { .. } => "pick",
                        Command::LogSet { .. } => "log a set",
                        Command::Skip { .. } => "leave out",
                        Command::CorrectSet { .. } => "correct a set",
                        Command::StrikeSet { .. } => "strike a set",
                        Command::Decide { .. } => "decide",
                        Command::Undecide { .. } => "undecide",
                        Command::Close { .. } => "close",
                    };
                    if copies[who].try_do(&command).is_ok() {
                        *reached.entry(word).or_default() += 1;
                    }
                }
                Event::Send(from, to) => {
                    let bytes = copies[from].doc.changes_since(&copies[to].doc.heads());
                    copies[to].receive(&bytes);
                }
            }
        }
        if copies.iter().any(|c| content(&c.doc).to_string().contains("(met)")) {
            *reached.entry("edits met").or_default() += 1;
        }
    }
    for word in [
        "add",
        "edit",
        "withdraw",
        "restore",
        "pick",
        "log a set",
        "leave out",
        "correct a set",
        "strike a set",
        "decide",
        "undecide",
        "close",
        "edits met",
    ] {
        assert!(reached.get(word).is_some_and(|n| *n >= 10), "{word}: {reached:?}");
    }
}
