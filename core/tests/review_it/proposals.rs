//! Rules of progression: what each proposes from what was done, and what becomes of a proposal.

use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::Command;
use backstraight_core::doc::command::apply::CommandError;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::problem::Code;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::number::*;
use backstraight_core::model::packed::Dose;
use backstraight_core::model::plan::*;
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::Plan;
use backstraight_core::view::proposal::{
    Hand, Proposal, Proposals, Quiet, Stale, Way, gone, proposals, undo,
};

use crate::world::*;

const TODAY: &str = "2026-11-25";

fn look(w: &World, today: &str) -> Proposals {
    let (plans, done) = (w.plans(), w.done());
    proposals(w.athlete(&plans, &done), &Library::of(&w.library), day(today))
}

fn hand(w: &mut World) -> Hand {
    let at = noon(day(TODAY));
    Hand { key: w.mint.mint(), by: COACH, at, note: None }
}

/// One lift with a rule on two days, done on the first.
struct Case {
    w: World,
    items: Vec<backstraight_core::base::key::Key>,
    squat: backstraight_core::base::key::Key,
}

fn case(days: &[&str], dose: &str, at: &str, rule: &str, done: Vec<SetDone>) -> Case {
    let mut w = World::new();
    let squat = w.squat();
    let mut items = Vec::new();
    let mut sessions = Vec::new();
    for date in days {
        let s = w.session(date, 60, 6);
        items.push(w.item(&s, &squat, 3, dose, at, rule));
        sessions.push(s);
    }
    let s = w.begin(&sessions[0], days[0], 6, 60);
    w.sets(days[0], &s, Some(&items[0]), &squat, done);
    Case { w, items, squat }
}

fn only(found: &Proposals) -> &Proposal {
    assert_eq!(found.open.len(), 1, "{found:?}");
    &found.open[0]
}

const WEEKS: [&str; 2] = ["2026-11-18", "2026-11-25"];

#[test]
fn the_example_of_a_load_added_each_week() {
    let c = case(&WEEKS, "reps 5", "load 10000", "load 250", vec![set(100, 5); 3]);
    let found = look(&c.w, TODAY);
    let p = only(&found);
    assert_eq!((p.way, &p.id.item, p.done_on), (Way::More, &c.items[1], day(WEEKS[0])));
    assert_eq!(p.to.intensity, Some("load 10250".parse().unwrap()));
    assert!(p.words.ends_with("102.5 kg, more than the last time; the plan asks 100 kg"), "{}", p.words);
    assert_eq!(p.why.formula, "proposal.rule");
    assert!(p.why.parts.iter().any(|part| part.name == "step" && (part.value - 2.5).abs() < 1e-9));
    assert!(p.why.caution.is_some());
    // The next session is in the same week: the step is a week's, so nothing is to change.
    let c = case(&["2026-11-23", "2026-11-25"], "reps 5", "load 10000", "load 250", vec![set(100, 5); 3]);
    assert_eq!(look(&c.w, TODAY).quiet, [(c.squat, Quiet::AsPlanned)]);
}

#[test]
fn nothing_is_added_to_what_was_not_reached() {
    let same = |sets: Vec<SetDone>| {
        let c = case(&WEEKS, "reps 5", "load 10000", "load 250", sets);
        let found = look(&c.w, TODAY);
        assert_eq!(found.quiet, [(c.squat, Quiet::AsPlanned)], "the same again is what the plan asks");
    };
    same(vec![set(100, 5); 2]);
    same(vec![set(100, 3); 3]);
    same(vec![SetDone { failed: Some(true), ..set(100, 5) }; 3]);
    same(vec![SetDone { effort: Effort::new(95).ok(), ..set(100, 5) }; 3]);
    // Another exercise says nothing about this one.
    let mut c = case(&WEEKS, "reps 5", "load 10000", "load 250", vec![]);
    let other = c.w.squat();
    let s = c.w.free("2026-11-18", 5, 60);
    assert_eq!(look(&c.w, TODAY).quiet[0].1, Quiet::NothingDone);
    let planned = Plan::of(&c.w.plan).sessions[0].key();
    let s2 = c.w.begin(&planned, "2026-11-18", 5, 60);
    c.w.sets("2026-11-18", &s2, Some(&c.items[0]), &other, vec![set(100, 5); 3]);
    let _ = s;
    assert_eq!(look(&c.w, TODAY).quiet[0].1, Quiet::OtherExercise);
    // After four weeks a coach decides anew.
    let c = case(&["2026-10-27", "2026-11-25"], "reps 5", "load 10000", "load 250", vec![set(100, 5); 3]);
    assert_eq!(look(&c.w, TODAY).quiet[0].1, Quiet::NothingDone);
    let c = case(&["2026-10-28", "2026-11-25"], "reps 5", "load 10000", "load 250", vec![set(100, 5); 3]);
    assert_eq!(look(&c.w, TODAY).open.len(), 1);
}

#[test]
fn an_easy_week_and_the_week_after_it() {
    let days = ["2026-11-04", "2026-11-11", "2026-11-18", "2026-11-25"];
    let mut c = case(&days, "reps 5", "load 10000", "load 250 easy 3 900", vec![set(100, 5); 3]);
    let sessions: Vec<_> = Plan::of(&c.w.plan).sessions.iter().map(|s| s.key()).collect();
    let s = c.w.begin(&sessions[1], days[1], 6, 60);
    let (item, squat) = (c.items[1].clone(), c.squat.clone());
    c.w.sets(days[1], &s, Some(&item), &squat, vec![set(102, 5); 3]);
    // The third week is easy: 0.9 of 102 is 91.8, to the half kilogram below 91.5.
    let found = look(&c.w, "2026-11-16");
    let p = only(&found);
    assert_eq!((p.way, p.to.intensity.clone()), (Way::Easy, Some("load 9150".parse().unwrap())));
    // Done easy, the fourth goes on from the second.
    let s = c.w.begin(&sessions[2], days[2], 6, 60);
    let item = c.items[2].clone();
    c.w.sets(days[2], &s, Some(&item), &squat, vec![set(91, 5); 3]);
    let found = look(&c.w, TODAY);
    let p = only(&found);
    assert_eq!((p.way, p.to.intensity.clone()), (Way::More, Some("load 10450".parse().unwrap())));
    assert_eq!(p.done_on, day(days[1]));
}

#[test]
fn a_share_of_the_maximum_never_passes_it() {
    let c = case(&WEEKS, "reps 2", "max 900", "share 25", vec![set(100, 2); 3]);
    assert_eq!(only(&look(&c.w, TODAY)).to.intensity, Some("max 925".parse().unwrap()));
    let c = case(&WEEKS, "reps 1", "max 990", "share 25", vec![set(100, 1); 3]);
    assert_eq!(only(&look(&c.w, TODAY)).to.intensity, Some("max 1000".parse().unwrap()));
    let c = case(&WEEKS, "reps 1", "max 1000", "share 25", vec![set(100, 1); 3]);
    assert_eq!(look(&c.w, TODAY).quiet[0].1, Quiet::AsPlanned);
    let c = case(&WEEKS, "reps 2", "load 9000", "share 25", vec![set(90, 2); 3]);
    assert_eq!(look(&c.w, TODAY).quiet[0].1, Quiet::NoShare);
}

#[test]
fn a_table_goes_line_by_line_and_begins_again() {
    let rule = "table reps 5@max 750;reps 3@max 825;reps 2@max 900";
    for (dose, at, next) in [
        ("reps 5", "max 750", Some(("reps 3", "max 825"))),
        ("reps 2", "max 900", Some(("reps 5", "max 750"))),
        // No line of the table: it begins with the first.
        ("reps 4", "max 800", Some(("reps 5", "max 750"))),
    ] {
        let reps = dose.split(' ').nth(1).unwrap().parse().unwrap();
        let c = case(&WEEKS, dose, at, rule, vec![set(90, reps); 3]);
        let found = look(&c.w, TODAY);
        let (dose, at) = next.unwrap();
        let p = only(&found);
        assert_eq!(p.to.dose, Some(dose.parse().unwrap()));
        assert_eq!(p.to.intensity, Some(at.parse().unwrap()));
        assert_eq!(p.way, Way::NextLine);
    }
    // Not reached: the same line again, which the plan asks for already.
    let c = case(&WEEKS, "reps 5", "max 750", rule, vec![set(90, 5)]);
    assert_eq!(look(&c.w, TODAY).quiet[0].1, Quiet::AsPlanned);
}

#[test]
fn repetitions_first_then_load() {
    let step = |reps: i64, dose: &str| {
        let c = case(&WEEKS, dose, "load 6000", "reps 6-10 load 250", vec![set(60, reps); 3]);
        let found = look(&c.w, TODAY);
        found
            .open
            .first()
            .map(|p| (p.to.dose.unwrap().to_string(), p.to.intensity.clone().unwrap().to_string()))
    };
    assert_eq!(step(8, "reps 8"), Some(("reps 9".into(), "load 6000".into())));
    assert_eq!(step(10, "reps 10"), Some(("reps 6".into(), "load 6250".into())));
    assert_eq!(step(7, "reps 8"), None, "eight again, as planned");
}

#[test]
fn by_the_days_bar_speed() {
    let step = |mm_s: Option<u16>| {
        let speeds = mm_s.and_then(|v| Speeds::new(vec![v - 80, v, v - 40]).ok());
        let c = case(
            &WEEKS,
            "reps 3",
            "load 8000",
            "speed 500-650 load 250",
            vec![SetDone { speeds, ..set(80, 3) }; 3],
        );
        let found = look(&c.w, TODAY);
        match found.open.first() {
            Some(p) => Ok((p.way, p.to.intensity.clone().unwrap().to_string())),
            None => Err(found.quiet[0].1),
        }
    };
    assert_eq!(step(Some(651)), Ok((Way::More, "load 8250".into())));
    assert_eq!(step(Some(499)), Ok((Way::Less, "load 7750".into())));
    assert_eq!(step(Some(650)), Err(Quiet::AsPlanned));
    assert_eq!(step(Some(500)), Err(Quiet::AsPlanned));
    assert_eq!(step(None), Err(Quiet::NoSpeed));
}

#[test]
fn accepting_is_one_change_that_can_be_taken_back() {
    let mut c = case(&WEEKS, "reps 5", "load 10000", "load 250", vec![set(100, 5); 3]);
    let before = Plan::of(&c.w.plan).item(&c.items[1]).unwrap().record.clone();
    let proposal = only(&look(&c.w, TODAY)).clone();
    assert_eq!(Plan::of(&c.w.plan).item(&c.items[1]).unwrap().record, before, "nothing changes by itself");
    let hand1 = hand(&mut c.w);
    let heads = c.w.plan.heads();
    let accept = proposal.accept(hand1);
    c.w.plan.apply(&accept, &World::scene()).unwrap();
    assert_eq!(c.w.plan.heads().len(), 1);
    assert_ne!(c.w.plan.heads(), heads);
    let plan = Plan::of(&c.w.plan);
    assert_eq!(plan.item(&c.items[1]).unwrap().record, proposal.to);
    assert_eq!((plan.decisions.len(), plan.decisions[0].record.ruling), (1, Ruling::Accepted));
    assert_eq!(look(&c.w, TODAY).quiet[0].1, Quiet::Decided);
    assert_eq!(proposal.stale(&plan, day(TODAY)), Some(Stale::Decided));
    assert_eq!(gone(&proposal.id, &proposal.session, &plan, day(TODAY)), Stale::Decided);
    // Accepting twice is refused: the prescription is not as it was seen.
    let again = proposal.accept(hand(&mut c.w));
    match c.w.plan.apply(&again, &World::scene()) {
        Err(CommandError::Problems(list)) => assert_eq!(list[0].code, Code::Contradiction),
        other => assert!(other.is_err(), "{other:?}"),
    }
    // Taken back, later and without the command at hand.
    let decision = Plan::of(&c.w.plan).decisions[0].clone();
    let back = undo(&decision, &Plan::of(&c.w.plan)).unwrap();
    c.w.plan.apply(&back, &World::scene()).unwrap();
    let plan = Plan::of(&c.w.plan);
    assert_eq!((plan.item(&c.items[1]).unwrap().record.clone(), plan.decisions.len()), (before.clone(), 0));
    assert_eq!(only(&look(&c.w, TODAY)).id, proposal.id, "it is open again");
    // And with it.
    let hand2 = hand(&mut c.w);
    let accept = proposal.accept(hand2);
    c.w.plan.apply(&accept, &World::scene()).unwrap();
    c.w.plan.apply(&accept.inverse(&c.w.mint.mint(), noon(day(TODAY))).unwrap(), &World::scene()).unwrap();
    assert_eq!(Plan::of(&c.w.plan).item(&c.items[1]).unwrap().record, before);
}

#[test]
fn edited_and_dismissed() {
    let mut c = case(&WEEKS, "reps 5", "load 10000", "load 250", vec![set(100, 5); 3]);
    let proposal = only(&look(&c.w, TODAY)).clone();
    let hand1 = hand(&mut c.w);
    c.w.plan.apply(&proposal.dismiss(hand1), &World::scene()).unwrap();
    for today in [TODAY, "2026-11-24"] {
        assert_eq!(look(&c.w, today).quiet[0].1, Quiet::Decided, "it stays dismissed");
    }
    let decision = Plan::of(&c.w.plan).decisions[0].clone();
    let back = undo(&decision, &Plan::of(&c.w.plan)).unwrap();
    c.w.plan.apply(&back, &World::scene()).unwrap();
    assert_eq!(look(&c.w, TODAY).open.len(), 1);
    let to = Prescription { intensity: Some("load 10100".parse().unwrap()), ..proposal.to.clone() };
    let hand2 = hand(&mut c.w);
    c.w.plan.apply(&proposal.edit(to.clone(), hand2), &World::scene()).unwrap();
    let plan = Plan::of(&c.w.plan);
    assert_eq!(plan.item(&c.items[1]).unwrap().record, to);
    assert_eq!(plan.decisions[0].record.ruling, Ruling::Edited);
    // Somebody edits the same prescription afterwards: taking back would lose that.
    let after = Prescription { sets: Count::new(4).unwrap(), ..to.clone() };
    let edit = Command::Edit { place: Place::of("items", &c.items[1]), from: to.into(), to: after.into() };
    c.w.plan.apply(&edit, &World::scene()).unwrap();
    let plan = Plan::of(&c.w.plan);
    assert_eq!(undo(&plan.decisions[0], &plan), Err(Stale::Changed));
}

#[test]
fn a_stale_proposal_expires() {
    let mut c = case(&WEEKS, "reps 5", "load 10000", "load 250", vec![set(100, 5); 3]);
    let proposal = only(&look(&c.w, TODAY)).clone();
    let plan = Plan::of(&c.w.plan);
    assert_eq!(proposal.stale(&plan, day(TODAY)), None);
    assert_eq!(proposal.stale(&plan, day("2026-11-26")), Some(Stale::Past));
    let elsewhere = |plan: &Plan, on: &str| gone(&proposal.id, &proposal.session, plan, day(on));
    assert_eq!(elsewhere(&plan, "2026-11-26"), Stale::Past);
    assert_eq!(look(&c.w, "2026-11-26").quiet[0].1, Quiet::NoneAhead);
    // Changed meanwhile: the command is refused and nothing is written.
    let from = proposal.from.clone();
    let to = Prescription { intensity: Some("load 11000".parse().unwrap()), ..from.clone() };
    let edit = Command::Edit { place: Place::of("items", &c.items[1]), from: from.into(), to: to.into() };
    c.w.plan.apply(&edit, &World::scene()).unwrap();
    assert_eq!(proposal.stale(&Plan::of(&c.w.plan), day(TODAY)), Some(Stale::Changed));
    assert_eq!(elsewhere(&Plan::of(&c.w.plan), TODAY), Stale::Changed);
    let (saved, hand1) = (c.w.plan.save(), hand(&mut c.w));
    match c.w.plan.apply(&proposal.accept(hand1), &World::scene()) {
        Err(CommandError::Problems(list)) => assert_eq!(list[0].code, Code::Contradiction),
        other => assert!(other.is_err(), "{other:?}"),
    }
    assert_eq!(c.w.plan.save(), saved);
    // Withdrawn.
    let withdraw = Command::Withdraw(vec![Place::of("items", &c.items[1])]);
    c.w.plan.apply(&withdraw, &World::scene()).unwrap();
    assert_eq!(proposal.stale(&Plan::of(&c.w.plan), day(TODAY)), Some(Stale::Withdrawn));
    assert_eq!(elsewhere(&Plan::of(&c.w.plan), TODAY), Stale::Withdrawn);
    // Begun by the athlete: too late to change.
    let mut c = case(&WEEKS, "reps 5", "load 10000", "load 250", vec![set(100, 5); 3]);
    let second = Plan::of(&c.w.plan).sessions[1].key();
    c.w.begin(&second, WEEKS[1], 0, 0);
    assert_eq!(look(&c.w, TODAY).quiet[0].1, Quiet::NoneAhead);
}

#[test]
fn wrong_decisions_are_refused() {
    let mut c = case(&WEEKS, "reps 5", "load 10000", "load 250", vec![set(100, 5); 3]);
    let proposal = only(&look(&c.w, TODAY)).clone();
    let codes = |c: &Case, command: &Command| -> Vec<Code> {
        c.w.plan.problems(command, &World::scene()).iter().map(|p| p.code).collect()
    };
    let hand1 = hand(&mut c.w);
    let good = proposal.accept(hand1);
    assert!(codes(&c, &good).is_empty());
    let Command::Decide { item, from, to, key, decision } = good else { return };
    let decide = |to: &Prescription, decision: Decision| Command::Decide {
        item: item.clone(),
        from: from.clone(),
        to: Box::new(to.clone()),
        key: key.clone(),
        decision: Box::new(decision),
    };
    let d = (*decision).clone();
    assert_eq!(codes(&c, &decide(&from, d.clone())), [Code::NoChange]);
    let dismissed = Decision { ruling: Ruling::Dismissed, ..d.clone() };
    assert_eq!(codes(&c, &decide(&to, dismissed)), [Code::Contradiction]);
    let early = Decision { at: Moment(0), ..d.clone() };
    assert_eq!(codes(&c, &decide(&to, early)), [Code::WrongClock]);
    let other = Decision { item: c.items[0].clone(), ..d };
    assert_eq!(codes(&c, &decide(&to, other)), [Code::Contradiction, Code::Contradiction]);
    assert!(matches!(to.dose, Some(Dose::Reps(..))));
    let undone = Command::Undecide { item: item.clone(), from: to, to: from, key };
    assert_eq!(codes(&c, &undone), [Code::Contradiction, Code::NotFound], "nothing was decided yet");
}
