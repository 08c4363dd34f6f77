//! Tests of one session for many: against documents, through their commands.

use super::*;
use backstraight_core::base::id::{ActorId, InstallId, PersonId};
use backstraight_core::base::key::KeyMint;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::Scene;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Count, Rest, SeasonNo, Text};

use crate::desk::deeds;

const NOW: Moment = Moment(1_795_600_800_000);

struct One {
    doc: Document,
    mint: KeyMint,
}

impl One {
    fn new(n: u8) -> One {
        let person = PersonId(uuid::Uuid::from_bytes([n; 16]));
        let mut doc = Document::create(DocName::Plan(person, SeasonNo::new(2027).unwrap())).unwrap();
        doc.write_as(ActorId::of(InstallId([n; 8]), [2; 8]));
        One { doc, mint: KeyMint::new([n, 2, 3, 4]) }
    }

    fn run(&mut self, command: &Command) {
        self.doc.apply(command, &Scene { now: NOW, exercises: None }).unwrap();
    }

    fn plan(&self) -> Plan {
        Plan::of(&self.doc)
    }

    fn only(&self) -> PlannedSession {
        let plan = self.plan();
        assert_eq!(plan.sessions.len(), 1);
        plan.sessions[0].clone()
    }

    fn edit_item(&mut self, at: usize, f: impl FnOnce(&mut Prescription)) {
        let item = self.only().groups[at].items[0].clone();
        let mut to = item.record.clone();
        f(&mut to);
        self.run(&deeds::edit(&item, to).unwrap());
    }

    /// Takes what the first gives.
    fn take(&mut self, first: &One) -> Outcome {
        let outcome = self.look(first);
        outcome.commands.iter().for_each(|c| self.run(c));
        outcome
    }

    fn look(&mut self, first: &One) -> Outcome {
        let (session, past) = (first.only(), Past::of(&first.doc));
        let groups = self.doc.records::<Group>("groups").entries;
        let items = self.doc.records::<Prescription>("items").entries;
        let plan = self.plan();
        let target = Target { plan: &plan, groups: &groups, items: &items };
        give(&[&session], &past, target, &mut || self.mint.mint())
    }
}

/// An athlete with a session of two exercises.
fn first() -> One {
    let mut one = One::new(1);
    let day = "2026-11-23".parse().unwrap();
    let (key, command) =
        deeds::add_session(&one.plan(), day, Text::new("Legs").unwrap(), &mut || one.mint.mint());
    one.run(&command);
    for ex in ["aaaaaa-1", "bbbbbb-1"] {
        let plan = one.plan();
        let command =
            deeds::add_exercise(plan.session(&key).unwrap(), &ex.parse().unwrap(), &mut || one.mint.mint());
        one.run(&command);
    }
    one
}

fn sets(one: &One, at: usize) -> i64 {
    one.only().groups[at].items[0].record.sets.get()
}

fn count(n: i64) -> Count {
    Count::new(n).unwrap()
}

#[test]
fn a_session_is_given_once() {
    let (first, mut other) = (first(), One::new(2));
    let outcome = other.take(&first);
    assert_eq!((outcome.new, outcome.set, outcome.kept), (1, 0, 0));
    assert_eq!(other.only().groups.len(), 2);
    let again = other.look(&first);
    assert_eq!(again, Outcome::default());
    // Nor does the first get one of its own by way of the copy.
    let mut own = first;
    assert_eq!(own.look(&other).new, 0);
}

#[test]
fn what_follows_goes_along_and_what_is_ones_own_stays() {
    let (mut first, mut other) = (first(), One::new(2));
    other.take(&first);
    // Four sets are this athlete's own; the rest was never said.
    other.edit_item(0, |p| p.sets = count(4));
    first.edit_item(0, |p| p.sets = count(6));
    first.edit_item(0, |p| p.rest = Rest::new(120).ok());
    first.edit_item(1, |p| p.sets = count(5));
    let outcome = other.take(&first);
    assert_eq!((outcome.new, outcome.set, outcome.kept, outcome.added), (0, 2, 1, 0));
    assert_eq!((sets(&other, 0), sets(&other, 1)), (4, 5));
    assert_eq!(other.only().groups[0].items[0].record.rest.map(|r| r.get()), Some(120));
    // The second time there is only what is kept.
    let again = other.look(&first);
    assert_eq!((again.set, again.kept, again.commands.len()), (0, 1, 0));
    // A value from any earlier time of the first follows, too.
    first.edit_item(1, |p| p.sets = count(2));
    first.edit_item(1, |p| p.sets = count(8));
    other.take(&first);
    assert_eq!(sets(&other, 1), 8);
}

#[test]
fn what_is_new_comes_and_what_was_taken_away_stays_away() {
    let (mut first, mut other) = (first(), One::new(2));
    other.take(&first);
    let session = other.only();
    let withdraw = deeds::withdraw_item(&session.groups[0], &session.groups[0].items[0]);
    other.run(&withdraw);
    let own = first.only();
    let more = deeds::add_exercise(&own, &"cccccc-1".parse().unwrap(), &mut || first.mint.mint());
    first.run(&more);
    let outcome = other.take(&first);
    assert_eq!((outcome.added, outcome.away), (1, 1));
    let exercises: Vec<String> = other.only().items().map(|(_, i)| i.record.ex.to_string()).collect();
    assert_eq!(exercises, ["bbbbbb-1", "cccccc-1"]);
}

#[test]
fn a_session_that_was_moved_for_one_stays_moved() {
    let (mut first, mut other) = (first(), One::new(2));
    other.take(&first);
    let step = |one: &mut One, day: &str| {
        let session = one.only();
        let command = deeds::move_to(&one.plan(), &session, day.parse().unwrap()).unwrap();
        one.run(&command);
    };
    step(&mut first, "2026-11-24");
    assert_eq!(other.take(&first).set, 1);
    assert_eq!(other.only().session.record.date.to_string(), "2026-11-24");
    step(&mut other, "2026-11-27");
    step(&mut first, "2026-11-25");
    assert_eq!(other.take(&first).kept, 1);
    assert_eq!(other.only().session.record.date.to_string(), "2026-11-27");
}

#[test]
fn sessions_beside_it_are_counted() {
    let (first, mut other) = (first(), One::new(2));
    let day = "2026-11-23".parse().unwrap();
    let (_, command) =
        deeds::add_session(&other.plan(), day, Text::new("Swim").unwrap(), &mut || other.mint.mint());
    other.run(&command);
    assert_eq!(other.take(&first).beside, 1);
}
