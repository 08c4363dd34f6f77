//! Tests of what a coach does to a plan: against a document, through its commands.

use super::*;
use backstraight_core::base::id::{ActorId, InstallId, PersonId};
use backstraight_core::base::key::KeyMint;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::Scene;
use backstraight_core::doc::open::Document;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::SeasonNo;

const NOW: Moment = Moment(1_795_600_800_000);

struct Desk {
    doc: Document,
    mint: KeyMint,
}

fn day(n: i8) -> Day {
    Day::new(2026, 11, n).unwrap()
}

fn text(t: &str) -> Name {
    Text::new(t).unwrap()
}

impl Desk {
    fn new() -> Desk {
        let person = PersonId(uuid::Uuid::from_bytes([7; 16]));
        let mut doc = Document::create(DocName::Plan(person, SeasonNo::new(2027).unwrap())).unwrap();
        doc.write_as(ActorId::of(InstallId([1; 8]), [2; 8]));
        Desk { doc, mint: KeyMint::new([1, 2, 3, 4]) }
    }

    fn plan(&self) -> Plan {
        Plan::of(&self.doc)
    }

    fn run(&mut self, command: &Command) {
        self.doc.apply(command, &Scene { now: NOW, exercises: None }).unwrap();
    }

    fn make(&mut self, f: impl FnOnce(&Plan, &mut dyn FnMut() -> Key) -> Vec<Command>) {
        let plan = self.plan();
        let commands = f(&plan, &mut || self.mint.mint());
        assert!(!commands.is_empty());
        commands.iter().for_each(|c| self.run(c));
    }

    fn session(&mut self, on: i8, title: &str, exercises: &[&str]) -> Key {
        let plan = self.plan();
        let (key, command) = add_session(&plan, day(on), text(title), &mut || self.mint.mint());
        self.run(&command);
        for ex in exercises {
            let ex: Key = ex.parse().unwrap();
            let of = key.clone();
            self.make(|plan, key| vec![add_exercise(plan.session(&of).unwrap(), &ex, key)]);
        }
        key
    }

    fn titles(&self, on: i8) -> Vec<String> {
        self.plan().on(day(on)).map(|s| s.session.record.title.to_string()).collect()
    }

    fn exercises(&self, of: &Key) -> Vec<Vec<String>> {
        let plan = self.plan();
        let groups = &plan.session(of).unwrap().groups;
        groups.iter().map(|g| g.items.iter().map(|i| i.record.ex.to_string()).collect()).collect()
    }
}

const A: &str = "aaaaaa-1";
const B: &str = "bbbbbb-1";
const C: &str = "cccccc-1";

#[test]
fn a_session_is_copied_with_all_that_is_in_it() {
    let mut desk = Desk::new();
    let own = desk.session(23, "Strength", &[A, B]);
    desk.session(24, "Speed", &[]);
    desk.make(|plan, key| copy_by(plan, &[plan.session(&own).unwrap()], &[1], key));
    assert_eq!(desk.titles(24), ["Speed", "Strength"]);
    let copy = desk.plan().on(day(24)).nth(1).unwrap().key();
    assert_ne!(copy, own);
    assert_eq!(desk.exercises(&copy), desk.exercises(&own));
    // What is changed in the copy stays out of the first.
    let plan = desk.plan();
    let item = plan.session(&copy).unwrap().groups[0].items[0].clone();
    let to = Prescription { sets: Count::new(5).unwrap(), ..item.record.clone() };
    desk.run(&edit(&item, to).unwrap());
    assert_eq!(desk.plan().session(&own).unwrap().groups[0].items[0].record.sets.get(), 3);
}

#[test]
fn weeks_are_copied_in_their_order_and_in_commands_that_fit() {
    let mut desk = Desk::new();
    let many: Vec<&str> = std::iter::repeat_n(A, 20).collect();
    let own = desk.session(2, "Morning", &many);
    desk.session(2, "Evening", &[]);
    desk.make(|plan, key| {
        let week: Vec<&PlannedSession> = plan.on(day(2)).collect();
        copy_by(plan, &week, &[7, 14], key)
    });
    assert_eq!(desk.titles(9), ["Morning", "Evening"]);
    assert_eq!(desk.titles(16), ["Morning", "Evening"]);
    let plan = desk.plan();
    let commands = repeat(&plan, plan.session(&own).unwrap(), 40, &mut || desk.mint.mint());
    assert!(commands.len() > 1);
    for command in &commands {
        assert!(matches!(command, Command::Add(news) if news.len() <= AT_ONCE));
        desk.run(command);
    }
    assert_eq!(desk.plan().sessions.iter().filter(|s| s.groups.len() == 20).count(), 43);
}

#[test]
fn a_session_moves_by_one_edit() {
    let mut desk = Desk::new();
    let own = desk.session(23, "Strength", &[A]);
    let plan = desk.plan();
    let session = plan.session(&own).unwrap();
    assert_eq!(move_to(&plan, session, day(23)), None);
    desk.run(&move_to(&plan, session, day(25)).unwrap());
    assert!(desk.titles(23).is_empty());
    assert_eq!(desk.exercises(&own).len(), 1);
    let late = desk.session(25, "Late", &[]);
    let plan = desk.plan();
    assert_eq!(shift_session(&plan, plan.session(&late).unwrap(), Way::Down), None);
    desk.run(&shift_session(&plan, plan.session(&late).unwrap(), Way::Up).unwrap());
    assert_eq!(desk.titles(25), ["Late", "Strength"]);
}

#[test]
fn groups_and_prescriptions_change_places() {
    let mut desk = Desk::new();
    let own = desk.session(23, "Strength", &[A, B, C]);
    let group = |desk: &Desk, i: usize| desk.plan().session(&own).unwrap().groups[i].group.key();
    let shift = |desk: &Desk, key: &Key, way| shift_group(desk.plan().session(&own).unwrap(), key, way);
    let last = group(&desk, 2);
    assert_eq!(shift(&desk, &last, Way::Down), None);
    let up = shift(&desk, &last, Way::Up).unwrap();
    desk.run(&up);
    assert_eq!(desk.exercises(&own), [[A], [C], [B]]);
    let first = group(&desk, 0);
    let down = shift(&desk, &first, Way::Down).unwrap();
    desk.run(&down);
    assert_eq!(desk.exercises(&own), [[C], [A], [B]]);

    // From the edge of its group into the next.
    let item = desk.plan().session(&own).unwrap().groups[0].items[0].key();
    let step = shift_item(desk.plan().session(&own).unwrap(), &item, Way::Down).unwrap();
    desk.run(&step);
    assert_eq!(desk.exercises(&own), [vec![], vec![C, A], vec![B]]);
    let step = shift_item(desk.plan().session(&own).unwrap(), &item, Way::Down).unwrap();
    desk.run(&step);
    assert_eq!(desk.exercises(&own), [vec![], vec![A, C], vec![B]]);
    let step = shift_item(desk.plan().session(&own).unwrap(), &item, Way::Up).unwrap();
    desk.run(&step);
    let step = shift_item(desk.plan().session(&own).unwrap(), &item, Way::Up).unwrap();
    desk.run(&step);
    assert_eq!(desk.exercises(&own), [vec![C], vec![A], vec![B]]);
    assert_eq!(shift_item(desk.plan().session(&own).unwrap(), &item, Way::Up), None);
}

#[test]
fn a_single_with_two_is_in_turn_and_an_empty_group_goes() {
    let mut desk = Desk::new();
    let own = desk.session(23, "Strength", &[A]);
    let ex: Key = B.parse().unwrap();
    desk.make(|plan, key| add_to_group(&plan.session(&own).unwrap().groups[0], &ex, key));
    let plan = desk.plan();
    let group = &plan.session(&own).unwrap().groups[0];
    assert_eq!(group.group.record.form, Form::Superset);
    let double = double_item(group, &group.items[0].key(), &mut || desk.mint.mint()).unwrap();
    desk.run(&double);
    assert_eq!(desk.exercises(&own), [[A, A, B]]);
    for left in [2, 1] {
        let plan = desk.plan();
        let group = &plan.session(&own).unwrap().groups[0];
        desk.run(&withdraw_item(group, &group.items[0]));
        assert_eq!(desk.exercises(&own)[0].len(), left);
    }
    let plan = desk.plan();
    let group = &plan.session(&own).unwrap().groups[0];
    desk.run(&withdraw_item(group, &group.items[0]));
    assert!(desk.exercises(&own).is_empty());
}

#[test]
fn phases_are_planned_back_from_a_meet() {
    let weeks = [
        (Aim::General, text("Build"), 8),
        (Aim::Specific, text("Sharpen"), 0),
        (Aim::Taper, text("Ease"), 2),
    ];
    let phases = back_from(day(30), &weeks);
    let spans: Vec<_> = phases.iter().map(|p| (p.aim, p.from.to_string(), p.to.to_string())).collect();
    assert_eq!(
        spans,
        [
            (Aim::General, "2026-09-21".to_owned(), "2026-11-15".to_owned()),
            (Aim::Taper, "2026-11-16".to_owned(), "2026-11-29".to_owned()),
        ]
    );
}
