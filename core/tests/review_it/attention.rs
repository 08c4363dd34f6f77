//! The list of reasons to look: each reason on both sides of its threshold, the order, what could
//! not be looked at.

use backstraight_core::base::day::Day;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::care::Availability;
use backstraight_core::model::log::*;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::*;
use backstraight_core::model::plan::*;
use backstraight_core::view::attention::{Attention, Look, Topic, attention, reports};
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::marks::Noises;
use backstraight_core::view::plans::Plans;
use backstraight_core::view::state::State;

use crate::world::*;
use backstraight_core::base::id::ActorId;

const TODAY: &str = "2026-11-25";

fn look_with(w: &World, care: Option<&[Entry<Report>]>, born: Option<Day>, today: &str) -> Attention {
    look_at(w, w.done(), care, born, today)
}

fn look_at(
    w: &World,
    done: Done,
    care: Option<&[Entry<Report>]>,
    born: Option<Day>,
    today: &str,
) -> Attention {
    let (plans, library) = (w.plans(), Library::of(&w.library));
    let noises = Noises::of(&library, [&done]);
    attention(&Look {
        athlete: w.athlete(&plans, &done),
        born,
        care,
        library: &library,
        noises: &noises,
        today: day(today),
    })
}

fn look(w: &World) -> Attention {
    look_with(w, Some(&[]), Some(day("2000-01-01")), TODAY)
}

fn words(found: &Attention, topic: Topic) -> Vec<String> {
    found.reasons.iter().filter(|r| r.topic == topic).map(|r| r.words.clone()).collect()
}

/// A world in which there is nothing to say: heard, and planned far ahead.
fn calm() -> World {
    let mut w = World::new();
    w.session("2027-01-15", 60, 6);
    w.heard = Some(day(TODAY));
    w
}

#[test]
fn nothing_to_say() {
    let found = look(&calm());
    assert!(found.reasons.is_empty(), "{found:?}");
}

#[test]
fn pain_is_read_only_by_those_who_may() {
    let w = calm();
    let mut care = Document::create(DocName::Care(WHO)).unwrap();
    care.write_as(ActorId([5; 16]));
    let mut mint = backstraight_core::base::key::KeyMint::new([9; 4]);
    let mut report = |date: &str, over: Option<&str>| {
        let record = Report {
            area: Text::new("hamstring").ok(),
            side: Some(Side::Left),
            level: Effort::new(40).ok(),
            over: over.map(day),
            ..Report::new(noon(day(date)), Complaint::Pain)
        };
        let place = Place::of("reports", &mint.mint());
        care.apply(&Command::Add(vec![New { place, record: record.into() }]), &World::scene()).unwrap();
    };
    report("2026-11-23", None);
    report("2026-11-20", Some("2026-11-24"));
    report("2026-10-28", None);
    report("2026-10-27", None);
    let list = reports(&care);
    let found = look_with(&w, Some(&list), None, TODAY);
    assert_eq!(words(&found, Topic::Pain), ["pain reported, hamstring, left, 4 of 10"; 2]);
    assert_eq!(found.reasons[0].on, Some(day("2026-11-23")), "the newest first");
    assert!(found.reasons[0].why.caution.is_some());
    let closed = look_with(&w, None, None, TODAY);
    assert!(words(&closed, Topic::Pain).is_empty());
    assert!(closed.not_looked.iter().any(|(t, w)| *t == Topic::Pain && w.contains("not open")));
}

#[test]
fn what_care_staff_said_stands_as_long_as_it_holds_and_as_news() {
    let w = calm();
    let mut doc = Document::create(DocName::Availability(WHO)).unwrap();
    doc.write_as(ActorId([6; 16]));
    let mut mint = backstraight_core::base::key::KeyMint::new([8; 4]);
    let mut say = |at: &str, from: &str, until: Option<&str>, level: Available| {
        let record = Availability {
            until: until.map(day),
            avoid: (level == Available::Modified).then(|| Text::new("jumps").unwrap()),
            ..Availability::new(noon(day(at)), COACH, day(from), level)
        };
        let place = Place::of("availability", &mint.mint());
        doc.apply(&Command::Add(vec![New { place, record: record.into() }]), &World::scene()).unwrap();
        doc.clone()
    };
    let found = |doc: &Document, today: &str| {
        let list = look_at(&w, Done::join([w.done(), Done::of([doc])]), Some(&[]), None, today);
        assert!(list.reasons.iter().all(|r| r.topic != Topic::Availability || r.why.caution.is_some()));
        words(&list, Topic::Availability)
    };
    let doc = say("2026-11-01", "2026-11-02", Some("2026-11-20"), Available::Modified);
    assert_eq!(
        found(&doc, "2026-11-20"),
        ["modified training from 2026-11-02 until 2026-11-20: avoid jumps"]
    );
    assert!(found(&doc, "2026-11-21").is_empty(), "its last day is past");
    // Said ahead.
    let doc = say("2026-11-21", "2026-11-24", None, Available::No);
    assert_eq!(found(&doc, "2026-11-22"), ["no training from 2026-11-24"]);
    assert_eq!(found(&doc, "2027-01-20"), ["no training from 2026-11-24"], "as long as it holds");
    // Full again is news, and then no more.
    let doc = say("2026-11-28", "2026-11-28", None, Available::Full);
    assert_eq!(found(&doc, "2026-11-29"), ["full training from 2026-11-28"]);
    assert!(found(&doc, "2026-12-06").is_empty());
}

#[test]
fn left_out_and_excused() {
    let mut w = calm();
    let s = w.session("2026-11-24", 60, 6);
    let date = day("2026-11-23");
    let left = SessionDone { skipped: Some(Skip::Body), ..SessionDone::new(date, noon(date)) };
    w.log_record("sessions", date, left);
    let old = day("2026-11-17");
    let left = SessionDone { skipped: Some(Skip::Life), ..SessionDone::new(old, noon(old)) };
    w.log_record("sessions", old, left);
    let date = day("2026-11-24");
    w.note_record("excuses", date, Excuse::new(noon(date), COACH, s, Verdict::Excused));
    let found = look(&w);
    assert_eq!(words(&found, Topic::Availability), ["Session excused", "session left out: pain or illness"]);
}

#[test]
fn silence_is_pointed_out_and_is_no_miss() {
    let mut w = calm();
    w.heard = Some(day("2026-11-22"));
    assert!(words(&look(&w), Topic::Unheard).is_empty(), "three days");
    w.heard = Some(day("2026-11-21"));
    w.session("2026-11-20", 60, 6);
    w.session("2026-11-21", 60, 6);
    w.session("2026-11-24", 60, 6);
    let found = look(&w);
    assert_eq!(words(&found, Topic::Unheard), ["unheard for 4 days; not a miss"]);
    // The session of the 21st is open too: heard on the day says nothing about its evening.
    assert!((found.reasons[0].why.parts[1].value - 2.0).abs() < 1e-9);
    w.heard = None;
    assert_eq!(words(&look(&w), Topic::Unheard), ["no phone of this athlete was ever heard"]);
    w.settings(Settings { silent_days: Small::new(5).ok(), ..Settings::new() });
    w.heard = Some(day("2026-11-21"));
    assert!(words(&look(&w), Topic::Unheard).is_empty(), "the club's own threshold");
}

#[test]
fn effort_far_from_asked() {
    let mut w = calm();
    let squat = w.squat();
    let s = w.session("2026-11-23", 60, 5);
    let item = w.item(&s, &squat, 2, "reps 5", "reserve 30", "");
    let done = w.begin(&s, "2026-11-23", 7, 60);
    let hard = SetDone { effort: Effort::new(90).ok(), ..set(100, 5) };
    w.sets("2026-11-23", &done, Some(&item), &squat, vec![hard.clone(), hard]);
    let found = look(&w);
    assert_eq!(
        words(&found, Topic::Effort),
        [
            "Session: effort 7.0 where 5.0 was asked, harder than asked",
            "Back squat: effort 9.0 where 7.0 was asked, harder than asked",
        ]
    );
    w.settings(Settings { effort_gap: Thousandths::new(2_001).ok(), ..Settings::new() });
    assert!(words(&look(&w), Topic::Effort).is_empty());
}

#[test]
fn a_jump_of_load() {
    let run = |last: i64| {
        let mut w = calm();
        let first = day("2026-10-28");
        for i in 0..28 {
            w.free(&first.plus(i).to_string(), 5, if i < 21 { 60 } else { last });
        }
        w
    };
    let found = look(&run(90));
    assert_eq!(
        words(&found, Topic::Load),
        ["the last seven days' load is 1.5 times the three weeks' before"]
    );
    assert_eq!(found.reasons[0].why.formula, "load.acwr");
    assert!(words(&look(&run(89)), Topic::Load).is_empty());
    // A day that was not heard of: no ratio, and it is said.
    let mut w = run(90);
    w.heard = Some(day("2026-11-24"));
    let found = look(&w);
    assert!(words(&found, Topic::Load).is_empty());
    assert!(found.not_looked.iter().any(|(t, _)| *t == Topic::Load), "{:?}", found.not_looked);
}

#[test]
fn a_test_that_changed_and_bar_speed_that_fell() {
    let mut w = calm();
    let test = w.protocol(Protocol {
        noise: Value::new(20).ok(),
        ..Protocol::new(name("Jump"), Measure::Distance, Better::Higher)
    });
    for (date, mm) in [("2026-11-03", 400), ("2026-11-24", 340)] {
        let trial =
            Trial { value: Value::new(mm).ok(), ..Trial::new(day(date), noon(day(date)), test.clone()) };
        w.log_record("trials", day(date), trial);
    }
    let squat = w.squat();
    for (date, v) in [
        ("2026-11-02", 700),
        ("2026-11-05", 720),
        ("2026-11-09", 690),
        ("2026-11-12", 710),
        ("2026-11-23", 640),
    ] {
        let s = w.free(date, 0, 0);
        let speeds = Speeds::new(vec![v]).ok();
        w.sets(date, &s, None, &squat, vec![SetDone { speeds, ..set(80, 2) }]);
    }
    let found = look(&w);
    assert_eq!(words(&found, Topic::Test), ["Jump: 0.34 m, before 0.4 m; lower, beyond noise"]);
    assert_eq!(words(&found, Topic::Speed), ["Back squat at 80 kg: 0.64 m/s, before 0.70 m/s, beyond noise"]);
    let topics: Vec<Topic> = found.reasons.iter().map(|r| r.topic).collect();
    assert_eq!(topics, [Topic::Speed, Topic::Test], "in the fixed order");
}

#[test]
fn a_juniors_contacts() {
    let mut w = calm();
    let hop = w.exercise(Exercise {
        contacts: Small::new(1).ok(),
        ..Exercise::new(name("Hop"), Pattern::Hop, Intent::Plyometric)
    });
    let s = w.session("2026-11-26", 60, 6);
    w.item(&s, &hop, 9, "contacts 9", "", "");
    let done = w.free("2026-11-24", 5, 60);
    w.sets("2026-11-24", &done, None, &hop, vec![SetDone { load: None, ..set(0, 40) }; 2]);
    let junior = Some(day("2009-11-27"));
    let found = look_with(&w, Some(&[]), junior, TODAY);
    // 9 x 9 = 81 planned; 80 done are not more than 80.
    assert_eq!(
        words(&found, Topic::JuniorContacts),
        ["81 contacts planned; the guideline for juniors is 80 in a session"]
    );
    assert!(found.reasons[0].why.caution.is_some());
    // Of age on the day of the session.
    let found = look_with(&w, Some(&[]), Some(day("2008-11-26")), TODAY);
    assert!(words(&found, Topic::JuniorContacts).is_empty());
    let found = look_with(&w, Some(&[]), None, TODAY);
    assert!(found.not_looked.iter().any(|(t, _)| *t == Topic::JuniorContacts));
}

#[test]
fn maxima_that_are_old_and_a_plan_that_ends() {
    let mut w = World::new();
    w.heard = Some(day(TODAY));
    let squat = w.squat();
    let test = w.protocol(Protocol {
        ex: Some(squat.clone()),
        ..Protocol::new(name("Squat max"), Measure::Load, Better::Higher)
    });
    assert_eq!(words(&look(&w), Topic::PlanEnds), ["no session is planned"]);
    let s = w.session("2026-12-01", 60, 6);
    w.item(&s, &squat, 3, "reps 5", "max 800", "");
    let second = w.session("2026-12-02", 60, 6);
    w.item(&second, &squat, 3, "reps 5", "max 850", "");
    let found = look(&w);
    assert_eq!(words(&found, Topic::Maximum), ["Back squat: no maximum is known for this exercise"]);
    assert_eq!(words(&found, Topic::PlanEnds), ["the last planned session is in 7 days"]);
    for (tested, old) in [("2026-10-06", false), ("2026-10-05", true)] {
        let date = day(tested);
        let trial = Trial { value: Value::new(120_000).ok(), ..Trial::new(date, noon(date), test.clone()) };
        let key = w.log_record("trials", date, trial);
        // 56 days before the 1st of December are the 6th of October; the second session, a day
        // later, is pointed out then.
        let found = look(&w);
        let said = words(&found, Topic::Maximum);
        assert_eq!(said, ["Back squat: the newest maximum is 57 days old"], "{tested}");
        let on = found.reasons.iter().find(|r| r.topic == Topic::Maximum).unwrap().on;
        assert_eq!(on == Some(day("2026-12-01")), old);
        let gone = Command::Withdraw(vec![Place::of("trials", &key)]);
        w.log(date).apply(&gone, &World::scene()).unwrap();
    }
}

#[test]
fn weights_and_the_share_that_counts_as_done_are_the_clubs() {
    let share = |weight: Option<i64>, done_from: Option<i64>| {
        let mut w = calm();
        let squat = w.exercise(Exercise {
            weight: weight.and_then(|n| Thousandths::new(n).ok()),
            ..Exercise::new(name("Back squat"), Pattern::Squat, Intent::Strength)
        });
        let pull = w.exercise(Exercise::new(name("Pull-up"), Pattern::Pull, Intent::Strength));
        w.settings(Settings {
            name: Text::new("Club").ok(),
            done_from: done_from.and_then(|n| Share::new(n).ok()),
            ..Settings::new()
        });
        let s = w.session("2026-11-24", 60, 6);
        let item = w.item(&s, &squat, 4, "reps 5", "", "");
        w.item(&s, &pull, 2, "reps 6", "", "");
        let log = w.begin(&s, "2026-11-24", 6, 60);
        w.sets("2026-11-24", &log, Some(&item), &squat, vec![set(100, 5); 4]);
        w.row("2026-11-23", "2026-11-29", TODAY, |row| {
            (row.sessions[0].share.as_ref().and_then(|s| s.share).unwrap(), row.sessions[0].state)
        })
    };
    // 4 of 6 sets; with the squat counting twice, 8 of 10; not at all, 0 of 2.
    assert!((share(None, None).0 - 4.0 / 6.0).abs() < 1e-12);
    assert_eq!(share(Some(2_000), None), (0.8, State::Part));
    assert_eq!(share(Some(2_000), Some(800)), (0.8, State::Done));
    assert_eq!(share(Some(0), None), (0.0, State::Part));
}

#[test]
fn two_edits_that_met() {
    let mut w = calm();
    let s = w.session("2027-01-10", 60, 6);
    let place = Place::of("sessions", &s);
    let mut other = Document::open(w.plan.name(), &w.plan.save()).unwrap();
    other.write_as(ActorId([77; 16]));
    let from = w.plan.record::<Session>(&place).unwrap().unwrap().record;
    let edit = |minutes: i64| {
        let to = Session { minutes: Minutes::new(minutes).ok(), ..from.clone() };
        Command::Edit { place: place.clone(), from: from.clone().into(), to: to.into() }
    };
    let heads = w.plan.heads();
    w.plan.apply(&edit(70), &World::scene()).unwrap();
    other.apply(&edit(80), &World::scene()).unwrap();
    w.plan.admit(&other.changes_since(&heads), &|_| true).unwrap();
    assert_eq!(words(&look(&w), Topic::Met), ["two edits met in one field: minutes"]);
}

#[test]
fn an_athlete_without_a_plan_or_a_log() {
    let (plans, done, library) = (Plans::default(), Done::default(), Library::default());
    let w = World::new();
    let noises = Noises::default();
    let found = attention(&Look {
        athlete: w.athlete(&plans, &done),
        born: None,
        care: None,
        library: &library,
        noises: &noises,
        today: day(TODAY),
    });
    let said: Vec<&str> = found.reasons.iter().map(|r| r.words.as_str()).collect();
    assert_eq!(said, ["no session is planned"]);
}
