//! Every way in which a merging document can lose or garble what somebody wrote, each as a test
//! that ours does not. Each case is merged both ways round and must end the same.

use automerge::transaction::Transactable;
use automerge::{AutoCommit, ObjType, ReadDoc, ScalarValue};
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::apply::CommandError;
use backstraight_core::doc::command::{Command, Scene, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::problem::Code;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::log::{CheckIn, SessionDone, SetDone, Work};
use backstraight_core::model::name::Kind;
use backstraight_core::model::order::between;
use backstraight_core::model::plan::{Group, Prescription, Session};
use backstraight_core::model::spec::{Record, Scalar};
use backstraight_tests::content::content;
use backstraight_tests::deed::{add, edit, int, record, session_done, set, text, time, word, work};
use backstraight_tests::replica::{Replica, START, exchange, name};

/// Two copies that know of each other's past, with one session in the log and its key.
fn two_phones() -> (Replica, Replica, Key) {
    let (mut a, mut b) = (Replica::new(Kind::Log, 1), Replica::new(Kind::Log, 2));
    let key = a.key();
    a.done(&add("sessions", &key, session_done(START)));
    exchange(&mut a, &mut b);
    (a, b, key)
}

/// Two coaches' copies of a plan with one session, two groups and one prescription in the first.
fn two_desks() -> (Replica, Replica, [Key; 4]) {
    let (mut a, mut b) = (Replica::new(Kind::Plan, 1), Replica::new(Kind::Plan, 2));
    let keys = [a.key(), a.key(), a.key(), a.key()];
    let [session, one, two, item] = &keys;
    let date = text("2026-11-12");
    a.done(&add("sessions", session, record::<Session>(&[("date", date), ("title", text("Hill"))])));
    for (key, pos) in [(one, "i"), (two, "r")] {
        let form = word(backstraight_core::model::number::Form::Single);
        let fields = [("of", text(session.as_str())), ("pos", text(pos)), ("form", form)];
        a.done(&add("groups", key, record::<Group>(&fields)));
    }
    a.done(&add("items", item, prescription(one, "i")));
    exchange(&mut a, &mut b);
    (a, b, keys)
}

fn prescription(group: &Key, pos: &str) -> Prescription {
    let of = text(group.as_str());
    record(&[("of", of), ("pos", text(pos)), ("ex", text("aaaaaa-0")), ("sets", int(3))])
}

/// Sets one field, as this writer sees the record.
fn set_field<R>(replica: &mut Replica, place: &Place, field: &'static str, value: Option<Scalar>)
where
    R: Record + Into<backstraight_core::model::any::AnyRecord>,
{
    let command = edit::<R>(&replica.doc, place, field, value).unwrap();
    replica.done(&command);
}

/// Brings both to the same state and checks that it is the same.
#[track_caller]
fn meet(a: &mut Replica, b: &mut Replica) {
    exchange(a, b);
    assert_eq!((a.waiting(), b.waiting()), (0, 0));
    assert_eq!(a.doc.heads(), b.doc.heads());
    assert_eq!(content(&a.doc), content(&b.doc));
}

#[track_caller]
fn one<R: Record>(replica: &Replica, place: &Place) -> Entry<R> {
    replica.doc.record::<R>(place).unwrap().unwrap()
}

#[track_caller]
fn refused(replica: &mut Replica, command: &Command) -> Vec<Code> {
    match replica.try_do(command) {
        Err(CommandError::Problems(problems)) => problems.into_iter().map(|p| p.code).collect(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn two_first_starts_without_a_signal_are_one_document() {
    let (mut a, mut b) = (Replica::new(Kind::Log, 1), Replica::new(Kind::Log, 2));
    assert_eq!(a.doc.heads(), b.doc.heads());
    let (ka, kb) = (a.key(), b.key());
    a.done(&add("sessions", &ka, session_done(START)));
    b.done(&add("sessions", &kb, session_done(START)));
    meet(&mut a, &mut b);
    assert_eq!(a.doc.records::<SessionDone>("sessions").live().count(), 2);
}

#[test]
fn nobody_writes_in_the_name_of_the_starting_change() {
    // Even a shell that forgets to say who writes must not use the actor that everybody shares.
    let mut a = Replica::new(Kind::Log, 1);
    let mut forgot = Document::create(name(Kind::Log)).unwrap();
    let key: Key = "zzzzzz-0".parse().unwrap();
    forgot
        .apply(&add("sessions", &key, session_done(START)), &Scene { now: START, exercises: None })
        .unwrap();
    let own = a.key();
    a.done(&add("sessions", &own, session_done(START)));
    a.receive(&forgot.changes_since(&a.doc.heads()));
    assert_eq!(a.waiting(), 0, "a shared actor would make the merge fail");
    assert_eq!(a.doc.records::<SessionDone>("sessions").live().count(), 2);
}

#[test]
fn two_starts_never_make_the_same_key_and_a_key_in_use_is_refused() {
    let (mut a, mut b, session) = two_phones();
    let mut keys: Vec<Key> = (0..50).flat_map(|_| [a.key(), b.key()]).collect();
    let mut again = Replica::started(a.doc, 1, 1);
    keys.extend((0..50).map(|_| again.key()));
    let made = keys.len();
    keys.sort();
    keys.dedup();
    assert_eq!(keys.len(), made);
    assert!(refused(&mut b, &add("sessions", &session, session_done(START))).contains(&Code::KeyTaken));
}

#[test]
fn a_withdrawal_and_an_edit_inside_are_both_kept() {
    let (mut a, mut b, session) = two_phones();
    let place = Place::of("sessions", &session);
    a.done(&Command::Withdraw(vec![place.clone()]));
    let (exercise, work_key, set_key) = (b.key(), b.key(), b.key());
    b.done(&Command::LogSet {
        session,
        work: WorkOf::New(work_key.clone(), work(&exercise)),
        key: set_key.clone(),
        set: set(b.now, 8000, 5),
    });
    set_field::<SessionDone>(&mut b, &place, "comment", Some(text("good")));
    meet(&mut a, &mut b);
    let session = one::<SessionDone>(&a, &place);
    assert!(session.gone.is_some());
    assert_eq!(session.record.comment.unwrap().as_str(), "good");
    let set = one::<SetDone>(&a, &place.inner(&work_key).inner(&set_key));
    assert_eq!(set.record.reps.unwrap().get(), 5);
    // And an undo brings all of it back.
    a.done(&Command::Restore(vec![place.clone()]));
    meet(&mut a, &mut b);
    assert!(one::<SessionDone>(&b, &place).live());
}

#[test]
fn a_withdrawal_and_its_undo_that_met_are_both_told() {
    let (mut a, mut b, session) = two_phones();
    let place = Place::of("sessions", &session);
    a.done(&Command::Withdraw(vec![place.clone()]));
    exchange(&mut a, &mut b);
    a.now = a.now.plus_ms(60_000);
    a.done(&Command::Restore(vec![place.clone()]));
    b.done(&Command::Withdraw(vec![place.clone()]));
    meet(&mut a, &mut b);
    let met = one::<SessionDone>(&b, &place).met;
    assert_eq!(met.len(), 1);
    assert_eq!((met[0].field, met[0].told.len()), ("gone", 2));
    assert!(one::<SessionDone>(&b, &place).live(), "the later word is shown first");
}

#[test]
fn no_deed_replaces_a_record_and_two_edits_of_one_record_are_both_kept() {
    let (mut a, mut b, [session, ..]) = two_desks();
    let place = Place::of("sessions", &session);
    let other: Session = record(&[("date", text("2026-11-13")), ("title", text("Other"))]);
    assert!(refused(&mut a, &add("sessions", &session, other)).contains(&Code::KeyTaken));
    set_field::<Session>(&mut a, &place, "date", Some(text("2026-11-14")));
    set_field::<Session>(&mut b, &place, "title", Some(text("Hills")));
    meet(&mut a, &mut b);
    let shown = one::<Session>(&a, &place);
    assert_eq!(shown.record.date.to_string(), "2026-11-14");
    assert_eq!(shown.record.title.as_str(), "Hills");
    assert!(shown.met.is_empty());
}

#[test]
fn a_move_that_two_people_made_leaves_the_record_once_and_tells_both() {
    let (mut a, mut b, [_, one_group, two, item]) = two_desks();
    let place = Place::of("items", &item);
    for (who, pos) in [(&mut a, "3"), (&mut b, "7")] {
        let from = one::<Prescription>(who, &place).record;
        let mut to = from.clone();
        to.of = two.clone();
        to.pos = record::<Group>(&[
            ("of", text("aaaaaa-1")),
            ("pos", text(pos)),
            ("form", word(backstraight_core::model::number::Form::Single)),
        ])
        .pos;
        who.done(&Command::Edit { place: place.clone(), from: from.into(), to: to.into() });
        who.now = who.now.plus_ms(5000);
    }
    meet(&mut a, &mut b);
    let all = a.doc.records::<Prescription>("items").entries;
    assert_eq!(all.len(), 1, "nothing is there twice");
    assert_eq!(all[0].record.of, two, "where both agree nothing met");
    assert_ne!(all[0].record.of, one_group);
    assert_eq!(all[0].met.len(), 1);
    assert_eq!((all[0].met[0].field, all[0].met[0].told.len()), ("pos", 2));
}

#[test]
fn a_move_and_an_edit_of_the_same_record_are_both_kept() {
    let (mut a, mut b, [_, _, two, item]) = two_desks();
    let place = Place::of("items", &item);
    set_field::<Prescription>(&mut a, &place, "of", Some(text(two.as_str())));
    set_field::<Prescription>(&mut b, &place, "sets", Some(int(5)));
    meet(&mut a, &mut b);
    let shown = one::<Prescription>(&b, &place);
    assert_eq!((shown.record.of, shown.record.sets.get()), (two, 5));
    assert!(shown.met.is_empty());
}

#[test]
fn two_records_put_at_one_place_are_both_there_and_in_the_same_order_for_all() {
    let (mut a, mut b, [_, group, _, first]) = two_desks();
    let pos = between(Some("i"), None);
    for who in [&mut a, &mut b] {
        let key = who.key();
        who.done(&add("items", &key, prescription(&group, pos.as_str())));
    }
    meet(&mut a, &mut b);
    let order = |r: &Replica| {
        let mut all = r.doc.records::<Prescription>("items").entries;
        all.sort_by_key(|e| (e.record.pos.clone(), e.key()));
        all.into_iter().map(|e| e.key()).collect::<Vec<_>>()
    };
    assert_eq!(order(&a), order(&b));
    assert_eq!(order(&a).len(), 3);
    assert_eq!(order(&a)[0], first);
}

#[test]
fn sets_are_counted_as_records_so_that_none_is_lost() {
    let (mut a, mut b, session) = two_phones();
    let (exercise, work_key) = (a.key(), a.key());
    let first = a.key();
    a.done(&Command::LogSet {
        session: session.clone(),
        work: WorkOf::New(work_key.clone(), work(&exercise)),
        key: first,
        set: set(START, 8000, 5),
    });
    exchange(&mut a, &mut b);
    for who in [&mut a, &mut b] {
        for _ in 0..3 {
            let (key, now) = (who.key(), who.now);
            let work = WorkOf::Open(work_key.clone());
            who.done(&Command::LogSet { session: session.clone(), work, key, set: set(now, 8000, 5) });
        }
    }
    meet(&mut a, &mut b);
    let place = Place::of("sessions", &session).inner(&work_key);
    assert_eq!(a.doc.inner_records::<SetDone>(&place).live().count(), 7);
    assert_eq!(a.doc.inner_records::<Work>(&Place::of("sessions", &session)).live().count(), 1);
}

#[test]
fn two_corrections_of_one_set_are_both_kept_with_the_set() {
    let (mut a, mut b, session) = two_phones();
    let (exercise, work_key, first) = (a.key(), a.key(), a.key());
    a.done(&Command::LogSet {
        session: session.clone(),
        work: WorkOf::New(work_key.clone(), work(&exercise)),
        key: first.clone(),
        set: set(START, 8000, 5),
    });
    exchange(&mut a, &mut b);
    for (who, load) in [(&mut a, 8250), (&mut b, 8500)] {
        let (key, mut new) = (who.key(), set(who.now, load, 5));
        new.amends = Some(first.clone());
        who.done(&Command::CorrectSet {
            session: session.clone(),
            work: work_key.clone(),
            earlier: first.clone(),
            key,
            set: new,
        });
    }
    meet(&mut a, &mut b);
    let place = Place::of("sessions", &session).inner(&work_key);
    let mut loads: Vec<i64> =
        a.doc.inner_records::<SetDone>(&place).entries.iter().map(|e| e.record.load.unwrap().get()).collect();
    loads.sort_unstable();
    assert_eq!(loads, [8000, 8250, 8500]);
}

#[test]
fn texts_are_never_mixed_letter_by_letter() {
    let (mut a, mut b, session) = two_phones();
    let place = Place::of("sessions", &session);
    set_field::<SessionDone>(&mut a, &place, "comment", Some(text("3x5 at 80")));
    exchange(&mut a, &mut b);
    set_field::<SessionDone>(&mut a, &place, "comment", Some(text("3x5 at 82")));
    set_field::<SessionDone>(&mut b, &place, "comment", Some(text("4x5 at 80")));
    meet(&mut a, &mut b);
    let met = one::<SessionDone>(&a, &place).met;
    let mut told: Vec<_> = met[0].told.iter().map(|t| t.value.clone().unwrap()).collect();
    told.sort();
    assert_eq!(told, [text("3x5 at 82"), text("4x5 at 80")]);
}

#[test]
fn the_later_by_its_own_clock_is_shown_first_whoever_wrote_more() {
    let (mut a, mut b, session) = two_phones();
    let place = Place::of("sessions", &session);
    // `b` writes much and early, `a` once and late.
    for n in 0..20 {
        set_field::<SessionDone>(&mut b, &place, "minutes", Some(int(60 + n)));
    }
    a.now = b.now.plus_ms(3_600_000);
    set_field::<SessionDone>(&mut a, &place, "minutes", Some(int(45)));
    meet(&mut a, &mut b);
    for copy in [&a, &b] {
        let shown = one::<SessionDone>(copy, &place);
        assert_eq!(shown.record.minutes.unwrap().get(), 45);
        let told: Vec<_> = shown.met[0].told.iter().map(|t| t.value.clone().unwrap()).collect();
        assert_eq!(told, [int(45), int(79)]);
        assert!(shown.met[0].told[0].at > shown.met[0].told[1].at);
        assert_ne!(shown.met[0].told[0].by, shown.met[0].told[1].by);
    }
}

#[test]
fn two_who_say_the_same_do_not_disagree() {
    let (mut a, mut b, session) = two_phones();
    let place = Place::of("sessions", &session);
    for who in [&mut a, &mut b] {
        set_field::<SessionDone>(who, &place, "minutes", Some(int(50)));
    }
    meet(&mut a, &mut b);
    let shown = one::<SessionDone>(&a, &place);
    assert!(shown.met.is_empty());
    assert_eq!(shown.record.minutes.unwrap().get(), 50);
}

#[test]
fn a_pick_ends_the_disagreement_and_a_pick_that_met_an_edit_is_told_again() {
    let (mut a, mut b, session) = two_phones();
    let place = Place::of("sessions", &session);
    set_field::<SessionDone>(&mut a, &place, "minutes", Some(int(50)));
    set_field::<SessionDone>(&mut b, &place, "minutes", Some(int(60)));
    meet(&mut a, &mut b);
    // Picking the value that is shown already is a pick too.
    let shown = one::<SessionDone>(&a, &place).met.remove(0).told.remove(0).value;
    a.done(&Command::Pick { place: place.clone(), field: "minutes", value: shown.clone() });
    set_field::<SessionDone>(&mut b, &place, "effort", Some(int(70)));
    meet(&mut a, &mut b);
    assert!(one::<SessionDone>(&b, &place).met.is_empty());
    assert_eq!(one::<SessionDone>(&b, &place).record.minutes.map(|m| int(m.get())), shown);

    set_field::<SessionDone>(&mut a, &place, "minutes", Some(int(55)));
    set_field::<SessionDone>(&mut b, &place, "minutes", Some(int(65)));
    exchange(&mut a, &mut b);
    a.done(&Command::Pick { place: place.clone(), field: "minutes", value: Some(int(55)) });
    set_field::<SessionDone>(&mut b, &place, "minutes", Some(int(66)));
    meet(&mut a, &mut b);
    assert_eq!(one::<SessionDone>(&a, &place).met[0].told.len(), 2);
}

#[test]
fn every_value_that_met_can_be_picked_and_what_that_writes_passes_the_gate() {
    // Whichever the engine ranks first: writing that one again must not come out as a deletion.
    for picked in [Some(int(50)), Some(int(60)), None] {
        let (mut a, mut b, session) = two_phones();
        let place = Place::of("sessions", &session);
        set_field::<SessionDone>(&mut a, &place, "minutes", Some(int(50)));
        set_field::<SessionDone>(&mut b, &place, "minutes", Some(int(60)));
        meet(&mut a, &mut b);
        a.done(&Command::Pick { place: place.clone(), field: "minutes", value: picked.clone() });
        meet(&mut a, &mut b);
        let shown = one::<SessionDone>(&b, &place);
        assert!(shown.met.is_empty());
        assert_eq!(shown.record.minutes.map(|m| int(m.get())), picked);
    }
}

#[test]
fn what_changes_nothing_is_a_problem_and_no_broken_document() {
    let (mut a, _, session) = two_phones();
    let place = Place::of("sessions", &session);
    a.done(&Command::Pick { place: place.clone(), field: "minutes", value: Some(int(50)) });
    let heads = a.doc.heads();
    let again = Command::Pick { place, field: "minutes", value: Some(int(50)) };
    assert!(refused(&mut a, &again).contains(&Code::NoChange));
    assert_eq!(a.doc.heads(), heads);
}

#[test]
fn clearing_a_field_and_setting_it_are_both_told() {
    let (mut a, mut b, session) = two_phones();
    let place = Place::of("sessions", &session);
    set_field::<SessionDone>(&mut a, &place, "comment", Some(text("sore")));
    exchange(&mut a, &mut b);
    set_field::<SessionDone>(&mut a, &place, "comment", None);
    set_field::<SessionDone>(&mut b, &place, "comment", Some(text("sore calf")));
    meet(&mut a, &mut b);
    let met = one::<SessionDone>(&a, &place).met;
    let told: Vec<_> = met[0].told.iter().map(|t| t.value.clone()).collect();
    assert!(told.contains(&None) && told.contains(&Some(text("sore calf"))), "{told:?}");
}

#[test]
fn a_phone_restored_from_a_backup_loses_nothing_and_blocks_nobody() {
    let (mut phone, mut server, session) = two_phones();
    let backup = phone.doc.save();
    let log = |who: &mut Replica, n: u16| {
        let (exercise, work_key, key) = (who.key(), who.key(), who.key());
        let work = WorkOf::New(work_key, work(&exercise));
        who.done(&Command::LogSet { session: session.clone(), work, key, set: set(START, n, 5) });
    };
    log(&mut phone, 8000);
    phone.send(&mut server);
    // The backup does not know of that set; the next start is another actor with other keys.
    let old = Document::open(name(Kind::Log), &backup).unwrap();
    let mut restored = Replica::started(old, 1, 1);
    log(&mut restored, 9000);
    meet(&mut restored, &mut server);
    let place = Place::of("sessions", &session);
    assert_eq!(restored.doc.inner_records::<Work>(&place).live().count(), 2);
}

#[test]
fn only_whole_numbers_of_a_declared_range_are_written() {
    let (mut a, _, session) = two_phones();
    let place = Place::of("sessions", &session);
    let pick = |value| Command::Pick { place: place.clone(), field: "minutes", value: Some(value) };
    for wrong in [int(721), int(-1), text("50"), Scalar::Bool(true), time(START), Scalar::Bytes(vec![50])] {
        assert!(refused(&mut a, &pick(wrong)).contains(&Code::Contradiction));
    }
    a.done(&pick(int(720)));
}

#[test]
fn numbers_of_another_type_spoil_one_field_or_record_and_nothing_else() {
    let mut a = Replica::new(Kind::Log, 1);
    let (good, bad, spoilt) = (a.key(), a.key(), a.key());
    for key in [&good, &bad, &spoilt] {
        let fields = [("date", text("2026-11-10")), ("at", time(START)), ("sleep", int(5))];
        a.done(&add("checkins", key, record::<CheckIn>(&fields)));
    }
    let mut other = AutoCommit::load(&a.doc.save()).unwrap();
    let (_, map) = other.get(automerge::ROOT, "checkins").unwrap().unwrap();
    let (_, one_bad) = other.get(&map, bad.as_str()).unwrap().unwrap();
    other.put(&one_bad, "sleep", 5.0).unwrap();
    other.put(&one_bad, "fresh", ScalarValue::Uint(5)).unwrap();
    other.put(&one_bad, "mood", ScalarValue::counter(5)).unwrap();
    let (_, one_spoilt) = other.get(&map, spoilt.as_str()).unwrap().unwrap();
    other.put(&one_spoilt, "date", 20_261_110).unwrap();
    other.put_object(&map, "no key of ours", ObjType::List).unwrap();
    let doc = Document::open(name(Kind::Log), &other.save()).unwrap();
    let read = doc.records::<CheckIn>("checkins");
    let keys: Vec<Key> = read.entries.iter().map(Entry::key).collect();
    assert_eq!(keys, [good, bad]);
    assert_eq!(read.unreadable.len(), 1);
    assert_eq!(
        (&read.unreadable[0].place, read.unreadable[0].field),
        (&Place::of("checkins", &spoilt), "date")
    );
    assert_eq!(read.entries[0].record.sleep.unwrap().get(), 5);
    let wrong = &read.entries[1].record;
    assert_eq!((wrong.sleep, wrong.fresh, wrong.mood), (None, None, None));
}
