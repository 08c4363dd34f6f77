//! Plan against done on whole documents: the worked session of `docs/meanings.md`, judged as shown,
//! corrections, swaps, extras. Common practice, no source.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ActorId, PersonId};
use backstraight_core::base::key::{Key, KeyMint};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, Scene, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::care::Availability;
use backstraight_core::model::log::*;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::*;
use backstraight_core::model::packed::{Dose, Keys};
use backstraight_core::model::plan::*;
use backstraight_core::view::availability;
use backstraight_core::view::board::{Athlete, row};
use backstraight_core::view::done::Done;
use backstraight_core::view::judge::{self, How, Tolerance};
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::Plan;
use backstraight_core::view::plans::Plans;
use backstraight_core::view::state::State;
use backstraight_core::view::today::shown;
use uuid::Uuid;

/// Noon of 2026-11-25 in UTC.
const NOW: Moment = Moment(1_795_608_000_000);
const WHO: PersonId = PersonId(Uuid::from_u128(7));

struct World {
    plan: Document,
    log: Document,
    mint: KeyMint,
    session: Key,
    items: Vec<Key>,
    exercises: [Key; 4],
    done: Key,
    clock: i64,
}

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn scene() -> Scene<'static> {
    Scene { now: NOW, exercises: None }
}

fn season() -> SeasonNo {
    SeasonNo::new(2027).unwrap()
}

fn open(name: DocName, actor: u8) -> Document {
    let mut doc = Document::create(name).unwrap();
    doc.write_as(ActorId([actor; 16]));
    doc
}

fn add(doc: &mut Document, place: Place, record: impl Into<AnyRecord>) {
    doc.apply(&Command::Add(vec![New { place, record: record.into() }]), &scene()).unwrap();
}

impl World {
    /// Squat 4 x 5 and pull-up 2 x 6, today; the first swap is allowed.
    fn new() -> World {
        let mut mint = KeyMint::new([1, 2, 3, 4]);
        let exercises = [mint.mint(), mint.mint(), mint.mint(), mint.mint()];
        let (session, group, squat, pull) = (mint.mint(), mint.mint(), mint.mint(), mint.mint());
        let mut plan = open(DocName::Plan(WHO, season()), 1);
        let title = Text::new("Strength").unwrap();
        add(&mut plan, Place::of("sessions", &session), Session::new(day("2026-11-25"), title));
        let pos = |t: &str| Text::new(t).unwrap();
        add(&mut plan, Place::of("groups", &group), Group::new(session.clone(), pos("a"), Form::Superset));
        let reps = |n| Reps::new(n).ok().map(|r| Dose::Reps(r, r));
        let item = |ex: &Key, p: &str, sets, n| Prescription {
            dose: reps(n),
            ..Prescription::new(group.clone(), pos(p), ex.clone(), Count::new(sets).unwrap())
        };
        let first =
            Prescription { swaps: Some(Keys(vec![exercises[2].clone()])), ..item(&exercises[0], "a", 4, 5) };
        add(&mut plan, Place::of("items", &squat), first);
        add(&mut plan, Place::of("items", &pull), item(&exercises[1], "b", 2, 6));
        let log = open(DocName::Log(WHO, Month::new(2026, 11).unwrap()), 2);
        let done = mint.mint();
        World { plan, log, mint, session, items: vec![squat, pull], exercises, done, clock: 0 }
    }

    /// The athlete opens the session as it stands.
    fn begin(&mut self) {
        let plan = Plan::of(&self.plan);
        let library = Library::default();
        let screen =
            shown(&plan, plan.session(&self.session).unwrap(), day("2026-11-25"), &library, &|_, _| None);
        let record = screen.begin(season(), day("2026-11-25"), NOW);
        add(&mut self.log, Place::of("sessions", &self.done), record);
    }

    /// Does `sets` of a prescription, with another exercise where one is given. Gives the sets' keys.
    fn work(&mut self, item: usize, instead: Option<usize>, sets: usize, reps: i64) -> (Key, Vec<Key>) {
        let plan = Plan::of(&self.plan);
        let library = Library::default();
        let screen =
            shown(&plan, plan.session(&self.session).unwrap(), day("2026-11-25"), &library, &|_, _| None);
        let on_screen = screen.item(&self.items[item]).unwrap();
        let begun =
            self.log.record::<SessionDone>(&Place::of("sessions", &self.done)).unwrap().unwrap().record;
        let record = on_screen.work(instead.map(|i| &self.exercises[i]), &begun);
        let work = self.mint.mint();
        let keys: Vec<Key> = (0..sets).map(|_| self.mint.mint()).collect();
        for (i, key) in keys.iter().enumerate() {
            let of = if i == 0 {
                WorkOf::New(work.clone(), Box::new(record.clone()))
            } else {
                WorkOf::Open(work.clone())
            };
            self.clock += 60_000;
            let set = SetDone { reps: Reps::new(reps).ok(), ..SetDone::new(NOW.plus_ms(self.clock)) };
            let command = Command::LogSet {
                session: self.done.clone(),
                work: of,
                key: key.clone(),
                set: Box::new(set),
            };
            self.log.apply(&command, &scene()).unwrap();
        }
        (work, keys)
    }

    fn look<T>(
        &self,
        today: &str,
        heard: Option<&str>,
        see: impl FnOnce(&backstraight_core::view::board::Row<'_>) -> T,
    ) -> T {
        let (plans, done) = (Plans::one(season(), Plan::of(&self.plan)), Done::of([&self.log]));
        let athlete = Athlete {
            person: WHO,
            name: "Invented",
            events: "",
            plans: &plans,
            done: &done,
            heard_through: heard.map(day),
        };
        let row = row(athlete, &Library::default(), day("2026-11-23"), day("2026-11-29"), day(today));
        see(&row)
    }
}

#[test]
fn the_example_of_a_session() {
    let mut w = World::new();
    w.begin();
    w.work(0, None, 3, 5);
    w.work(1, None, 2, 6);
    w.look("2026-11-25", None, |row| {
        let r = &row.sessions[0];
        let share = r.share.as_ref().unwrap();
        assert!((share.share.unwrap() - 5.0 / 6.0).abs() < 1e-12);
        assert!((share.items[0].share - 0.75).abs() < 1e-12 && (share.items[1].share - 1.0).abs() < 1e-12);
        assert_eq!((r.state, r.sets()), (State::Part, (5, 6)));
        assert!(!share.earlier_version);
        assert_eq!((row.heard, row.unheard), (1, 0));
    });
}

#[test]
fn done_is_judged_as_shown_whatever_happened_to_the_plan() {
    let mut w = World::new();
    w.begin();
    w.work(0, None, 4, 5);
    w.work(1, None, 2, 6);
    let before = w.look("2026-11-25", None, |row| row.sessions[0].share.as_ref().unwrap().share);
    assert_eq!(before, Some(1.0));
    // At home the coach asks eight repetitions instead of five, and adds an exercise.
    let place = Place::of("items", &w.items[0]);
    let from = w.plan.record::<Prescription>(&place).unwrap().unwrap().record;
    let eight = Reps::new(8).unwrap();
    let to = Prescription { dose: Some(Dose::Reps(eight, eight)), ..from.clone() };
    w.plan.apply(&Command::Edit { place, from: from.clone().into(), to: to.into() }, &scene()).unwrap();
    let key = w.mint.mint();
    let extra =
        Prescription::new(from.of, Text::new("c").unwrap(), w.exercises[3].clone(), Count::new(5).unwrap());
    add(&mut w.plan, Place::of("items", &key), extra);
    w.look("2026-11-25", None, |row| {
        let share = row.sessions[0].share.as_ref().unwrap();
        assert_eq!(share.share, before, "nothing changes in what was done");
        assert!(share.earlier_version);
        assert_eq!(row.sessions[0].state, State::Done);
        assert_eq!(share.items.len(), 2, "what was never asked is not left out");
    });
}

#[test]
fn an_allowed_swap_counts_and_another_exercise_is_a_change() {
    for (other, how, state) in [(2, How::Swapped, State::Done), (3, How::Changed, State::Changed)] {
        let mut w = World::new();
        w.begin();
        w.work(0, Some(other), 4, 5);
        w.work(1, None, 2, 6);
        w.look("2026-11-25", None, |row| {
            let share = row.sessions[0].share.as_ref().unwrap();
            assert_eq!(share.items[0].how, how);
            assert_eq!(share.share, Some(1.0));
            assert_eq!(row.sessions[0].state, state);
        });
    }
}

#[test]
fn a_corrected_set_reads_as_corrected_and_keeps_its_earlier_value() {
    let mut w = World::new();
    w.begin();
    let (work, keys) = w.work(0, None, 4, 2);
    let correct = |w: &mut World, reps: i64, later: i64| {
        let key = w.mint.mint();
        let set = SetDone {
            reps: Reps::new(reps).ok(),
            amends: Some(keys[1].clone()),
            ..SetDone::new(NOW.plus_ms(900_000 + later))
        };
        let command = Command::CorrectSet {
            session: w.done.clone(),
            work: work.clone(),
            earlier: keys[1].clone(),
            key: key.clone(),
            set: Box::new(set),
        };
        w.log.apply(&command, &scene()).unwrap();
        key
    };
    let first = correct(&mut w, 5, 0);
    let reading = |w: &World| {
        let done = Done::of([&w.log]);
        let sets = &done.sessions[0].works[0].sets;
        assert_eq!(sets.len(), 4, "a correction is no set more");
        let s = &sets[1];
        (s.set.record.reps.unwrap().get(), s.earlier.len(), s.others.len())
    };
    assert_eq!(reading(&w), (5, 1, 0));
    // A second correction of the same set, made without knowing of the first: both are shown.
    correct(&mut w, 4, 5_000);
    assert_eq!(reading(&w), (4, 1, 1));
    // Striking a correction takes it back, and the strike can be taken back too.
    let strike = |w: &mut World, set: &Key| {
        let key = w.mint.mint();
        let (session, work, set) = (w.done.clone(), work.clone(), set.clone());
        let command = Command::StrikeSet { session, work, set, key: key.clone(), at: NOW };
        w.log.apply(&command, &scene()).unwrap();
        (key, command)
    };
    let (_, taken_back) = strike(&mut w, &first);
    assert_eq!(reading(&w), (4, 1, 0));
    let undo = taken_back.inverse(&w.mint.mint(), NOW).unwrap();
    w.log.apply(&undo, &scene()).unwrap();
    assert_eq!(reading(&w), (4, 1, 1));
    // A set is neither withdrawn nor edited.
    let place = Place::of("sessions", &w.done).inner(&work).inner(&first);
    assert!(w.log.apply(&Command::Withdraw(vec![place.clone()]), &scene()).is_err());
    let from = w.log.record::<SetDone>(&place).unwrap().unwrap().record;
    let to = SetDone { failed: Some(true), ..from.clone() };
    let edit = Command::Edit { place, from: from.into(), to: to.into() };
    assert!(w.log.apply(&edit, &scene()).is_err());
    // Struck, it is gone from the list; nothing else is.
    strike(&mut w, &keys[0]);
    assert_eq!(Done::of([&w.log]).sessions[0].works[0].sets.len(), 3);
}

#[test]
fn silence_becomes_a_miss_only_when_the_phone_was_heard_after_the_day() {
    let w = World::new();
    let state =
        |today: &str, heard| w.look(today, heard, |row| (row.sessions[0].state, row.figure, row.unheard));
    assert_eq!(state("2026-11-24", None), (State::Coming, None, 0));
    assert_eq!(state("2026-11-25", None), (State::Due, None, 0));
    assert_eq!(state("2026-11-27", None), (State::Unheard, None, 1));
    assert_eq!(state("2026-11-27", Some("2026-11-25")), (State::Unheard, None, 1));
    assert_eq!(state("2026-11-27", Some("2026-11-26")), (State::Missed, Some(0.0), 0));
}

#[test]
fn work_that_nobody_asked_is_extra_and_a_session_left_out_is_the_athletes_word() {
    let mut w = World::new();
    let key = w.mint.mint();
    add(
        &mut w.log,
        Place::of("sessions", &key),
        SessionDone::new(day("2026-11-24"), NOW.plus_ms(-86_400_000)),
    );
    let left_out = SessionDone {
        season: Some(season()),
        session: Some(w.session.clone()),
        skipped: Some(Skip::Life),
        ..SessionDone::new(day("2026-11-25"), NOW)
    };
    add(&mut w.log, Place::of("sessions", &w.done.clone()), left_out);
    w.look("2026-11-25", None, |row| {
        let states: Vec<State> = row.sessions.iter().map(|s| s.state).collect();
        assert_eq!(states, [State::Extra, State::Missed]);
    });
}

#[test]
fn the_screen_of_the_day_says_what_to_avoid_and_of_another_day_it_does_not() {
    let world = World::new();
    let mut doc = open(DocName::Availability(WHO), 4);
    let said = Availability {
        until: Some(day("2026-11-25")),
        avoid: Text::new("deep squats").ok(),
        ..Availability::new(NOW, WHO, day("2026-11-20"), Available::Modified)
    };
    let mut mint = KeyMint::new([6; 4]);
    add(&mut doc, Place::of("availability", &mint.mint()), said);
    let (plan, library) = (Plan::of(&world.plan), Library::default());
    let said = availability::said(&Done::of([&doc]).availability);
    let limits = |date: &str| {
        let planned = plan.session(&world.session).unwrap();
        let screen = shown(&plan, planned, day(date), &library, &|_, _| None).with(&said, day(date));
        screen.limits.map(|s| s.words())
    };
    let want = "modified training from 2026-11-20 until 2026-11-25: avoid deep squats";
    assert_eq!(limits("2026-11-25").as_deref(), Some(want));
    assert_eq!(limits("2026-11-26"), None);
    assert_eq!(limits("2026-11-19"), None);
}

/// Each part of what a prescription asks, changed at home after it was done.
#[test]
fn whatever_the_plan_asks_otherwise_now_makes_what_was_shown_an_earlier_version() {
    let edits: [fn(Prescription) -> Prescription; 5] = [
        |p| p,
        |p| Prescription { dose: "reps 3".parse().ok(), ..p },
        |p| Prescription { intensity: "effort 80".parse().ok(), ..p },
        |p| Prescription { rest: Rest::new(90).ok(), ..p },
        |p| Prescription { waves: "reps 5@;reps 5@;reps 5@;reps 4@".parse().ok(), ..p },
    ];
    for (n, edit) in edits.into_iter().enumerate() {
        let mut w = World::new();
        w.begin();
        w.work(0, None, 4, 5);
        let place = Place::of("items", &w.items[0]);
        let from = w.plan.record::<Prescription>(&place).unwrap().unwrap().record;
        let to = edit(from.clone());
        assert_eq!(to != from, n > 0, "{n}");
        if n > 0 {
            w.plan.apply(&Command::Edit { place, from: from.into(), to: to.into() }, &scene()).unwrap();
        }
        w.look("2026-11-25", None, |row| {
            let share = row.sessions[0].share.as_ref().unwrap();
            assert_eq!(share.earlier_version, n > 0, "{n}");
            assert_eq!(share.unasked, 0);
            // Nothing of the second was done: a share of zero, and not below it.
            assert!(share.items[1].share == 0.0 && share.items[1].share.is_sign_positive());
        });
    }
}

#[test]
fn sets_of_what_nobody_asked_are_counted_apart() {
    let mut w = World::new();
    w.begin();
    w.work(0, None, 4, 5);
    w.work(1, None, 2, 6);
    // Of no prescription, and of one that was not among those asked.
    let (work, other) = (w.mint.mint(), w.mint.mint());
    let gone = Work { item: Some(w.mint.mint()), ..Work::new(w.exercises[2].clone()) };
    for n in 0..4 {
        let of = if n == 0 {
            WorkOf::New(work.clone(), Box::new(Work::new(w.exercises[3].clone())))
        } else if n == 3 {
            WorkOf::New(other.clone(), Box::new(gone.clone()))
        } else {
            WorkOf::Open(work.clone())
        };
        let set = SetDone { reps: Reps::new(5).ok(), ..SetDone::new(NOW.plus_ms(900_000 + n)) };
        let key = w.mint.mint();
        let log = Command::LogSet { session: w.done.clone(), work: of, key, set: Box::new(set) };
        w.log.apply(&log, &scene()).unwrap();
    }
    w.look("2026-11-25", None, |row| {
        let share = row.sessions[0].share.as_ref().unwrap();
        assert_eq!((share.unasked, share.share, share.items.len()), (4, Some(1.0), 2));
    });
}

/// A set that a coach entered counts for the prescription that it names, by every number in it.
#[test]
fn what_a_coach_entered_is_judged_like_what_was_logged() {
    let w = World::new();
    let coach = PersonId(Uuid::from_u128(9));
    let entered = |item: usize, change: fn(Entered) -> Entered| {
        change(Entered {
            session: Some(w.session.clone()),
            item: Some(w.items[item].clone()),
            ..Entered::new(NOW, coach, day("2026-11-25"), w.exercises[item].clone())
        })
    };
    let plan = Plan::of(&w.plan);
    let planned = plan.session(&w.session).unwrap();
    let judged = |entered: &[&Entered]| {
        judge::session(planned, &|p| p.ex.clone(), &[], entered, Tolerance::default(), &|_| 1.0)
    };
    let half = entered(1, |e| Entered { reps: Reps::new(3).ok(), ..e });
    let share = judged(&[&half, &half]);
    let items: Vec<(How, usize, f64)> = share.items.iter().map(|i| (i.how, i.each.len(), i.share)).collect();
    assert_eq!(items, [(How::Nothing, 0, 0.0), (How::AsAsked, 2, 0.5)]);
    // Each number that a coach enters is one that is compared.
    let one = |dose: &str, intensity: &str, set: Entered| {
        let mut plan = w.plan.clone();
        let place = Place::of("items", &w.items[0]);
        let from = plan.record::<Prescription>(&place).unwrap().unwrap().record;
        let to = Prescription { dose: dose.parse().ok(), intensity: intensity.parse().ok(), ..from.clone() };
        plan.apply(&Command::Edit { place, from: from.into(), to: to.into() }, &scene()).unwrap();
        let plan = Plan::of(&plan);
        let planned = plan.session(&w.session).unwrap();
        let share = judge::session(planned, &|p| p.ex.clone(), &[], &[&set], Tolerance::default(), &|_| 1.0);
        share.items[0].each[0].share()
    };
    let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-9, "{got} for {want}");
    near(one("reps 5", "load 10000", entered(0, |e| Entered { load: Load::new(9_000).ok(), ..e })), 0.75);
    near(one("reps 5", "effort 80", entered(0, |e| Entered { effort: Effort::new(60).ok(), ..e })), 0.75);
    near(
        one("hold 40000", "effort 80", entered(0, |e| Entered { hold: Duration::new(10_000).ok(), ..e })),
        0.25,
    );
    near(
        one("dist 30000", "effort 80", entered(0, |e| Entered { dist: Length::new(15_000).ok(), ..e })),
        0.5,
    );
    near(
        one("contacts 40", "effort 80", entered(0, |e| Entered { contacts: Reps::new(30).ok(), ..e })),
        0.75,
    );
    near(
        one("dist 30000", "within 4000", entered(0, |e| Entered { time: Duration::new(4_400).ok(), ..e })),
        0.75,
    );
    let fast = entered(0, |e| Entered { speeds: Speeds::new(vec![450]).ok(), ..e });
    near(one("reps 5", "speed 500-650", fast), 0.75);
}
