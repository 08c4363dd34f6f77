//! A session's screen on whole documents: what its buttons do to the log, and what it shows of that.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ActorId, PersonId};
use backstraight_core::base::key::{Key, KeyMint};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, Scene as Check};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::touched::keys_in;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::*;
use backstraight_core::model::packed::{Dose, Intensity, Loads, Plates, WaveSet, Waves};
use backstraight_core::model::plan::*;
use backstraight_core::view::board::{Athlete, row};
use backstraight_core::view::done::Done;
use backstraight_core::view::judge::How;
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::Plan;
use backstraight_core::view::plans::Plans;
use backstraight_core::view::screen::{Scene, SessionScreen};
use backstraight_core::view::state::State;
use uuid::Uuid;

/// Noon of 2026-11-25 in UTC.
const NOW: Moment = Moment(1_795_608_000_000);
const WHO: PersonId = PersonId(Uuid::from_u128(7));

struct World {
    plan: Document,
    log: Document,
    library: Document,
    mint: KeyMint,
    session: Key,
    items: [Key; 2],
    exercises: [Key; 3],
    venue: Key,
    clock: i64,
}

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn season() -> SeasonNo {
    SeasonNo::new(2027).unwrap()
}

fn open(name: DocName, actor: u8) -> Document {
    let mut doc = Document::create(name).unwrap();
    doc.write_as(ActorId([actor; 16]));
    doc
}

fn run(doc: &mut Document, command: &Command) {
    doc.apply(command, &Check { now: NOW, exercises: None }).unwrap();
}

fn add(doc: &mut Document, place: Place, record: impl Into<AnyRecord>) {
    run(doc, &Command::Add(vec![New { place, record: record.into() }]));
}

fn text<const N: usize>(t: &str) -> Text<N> {
    Text::new(t).unwrap()
}

impl World {
    /// Squat in a wave of 5, 3 and 1 at 101 kg, and three pull-ups beside it, in a cellar with few discs.
    fn new() -> World {
        let mut mint = KeyMint::new([1, 2, 3, 4]);
        let mut library = open(DocName::Library(backstraight_core::base::id::ClubId(Uuid::from_u128(1))), 3);
        let exercises = [mint.mint(), mint.mint(), mint.mint()];
        for (key, name) in exercises.iter().zip(["Back squat", "Pull-up", "Front squat"]) {
            let record = Exercise::new(text(name), Pattern::Squat, Intent::Strength);
            add(&mut library, Place::of("exercises", key), record);
        }
        let venue = mint.mint();
        let load = |n| Load::new(n).unwrap();
        let cellar = Venue {
            bars: Some(Loads(vec![load(2_000)])),
            plates: Some(Plates(vec![(load(2_000), 2), (load(500), 1)])),
            ..Venue::new(text("Cellar"))
        };
        add(&mut library, Place::of("venues", &venue), cellar);
        let (session, group, squat, pull) = (mint.mint(), mint.mint(), mint.mint(), mint.mint());
        let mut plan = open(DocName::Plan(WHO, season()), 1);
        let record =
            Session { venue: Some(venue.clone()), ..Session::new(day("2026-11-25"), text("Strength")) };
        add(&mut plan, Place::of("sessions", &session), record);
        add(&mut plan, Place::of("groups", &group), Group::new(session.clone(), text("a"), Form::Superset));
        let reps = |n| Reps::new(n).ok().map(|r| Dose::Reps(r, r));
        let wave = |n| WaveSet { dose: reps(n), intensity: None };
        let item = |ex: &Key, pos: &str| {
            Prescription::new(group.clone(), text(pos), ex.clone(), Count::new(3).unwrap())
        };
        let first = Prescription {
            intensity: Some(Intensity::Load(load(10_100))),
            waves: Some(Waves(vec![wave(5), wave(3), wave(1)])),
            rest: Rest::new(180).ok(),
            ..item(&exercises[0], "a")
        };
        add(&mut plan, Place::of("items", &squat), first);
        add(&mut plan, Place::of("items", &pull), Prescription { dose: reps(6), ..item(&exercises[1], "b") });
        let log = open(DocName::Log(WHO, Month::new(2026, 11).unwrap()), 2);
        World { plan, log, library, mint, session, items: [squat, pull], exercises, venue, clock: 0 }
    }

    fn screen(&self) -> SessionScreen {
        let plans = Plans::one(season(), Plan::of(&self.plan));
        let (done, library) = (Done::of([&self.log]), Library::of(&self.library));
        let scene =
            Scene { plans: &plans, done: &done, library: &library, venue: None, day: day("2026-11-25") };
        SessionScreen::planned(&scene, &self.session, NOW.plus_ms(self.clock)).unwrap()
    }

    fn run(&mut self, commands: &[Command]) {
        for command in commands {
            run(&mut self.log, command);
        }
        self.clock += 60_000;
    }

    /// Logs the next set as it is filled in.
    fn tap(&mut self, item: usize, instead: Option<usize>) {
        let screen = self.screen();
        let found = screen.item(&self.items[item]).unwrap();
        let set = screen.next_set(found, NOW.plus_ms(self.clock));
        let mint = &mut self.mint;
        let commands = screen.log(found, instead.map(|i| &self.exercises[i]), set, &mut || mint.mint());
        self.run(&commands);
    }

    fn judged(&self) -> (State, Vec<How>, Option<f64>) {
        let plans = Plans::one(season(), Plan::of(&self.plan));
        let (done, library) = (Done::of([&self.log]), Library::of(&self.library));
        let athlete = Athlete {
            person: WHO,
            name: "Invented",
            events: "",
            plans: &plans,
            done: &done,
            heard_through: None,
        };
        let today = day("2026-11-25");
        let row = row(athlete, &library, today, today, today);
        let review = row.sessions.first().unwrap();
        let share = review.share.as_ref().unwrap();
        (review.state, share.items.iter().map(|i| i.how).collect(), share.share)
    }
}

#[test]
fn one_tap_a_set_does_what_is_asked() {
    let mut w = World::new();
    assert_eq!(w.screen().progress(), (0, 6));
    assert!(w.screen().begun.is_none());
    for _ in 0..3 {
        w.tap(0, None);
        w.tap(1, None);
    }
    let screen = w.screen();
    assert_eq!(screen.progress(), (6, 6));
    let squats = &screen.item(&w.items[0]).unwrap().doing;
    let done: Vec<_> =
        squats.sets.iter().map(|s| (s.done.set.record.reps.unwrap().get(), s.done.set.record.load)).collect();
    // 101 kg was asked; what the cellar makes is shown beside it (20 + 2 x (20 + 20 + 5) is 110, without
    // the small ones 100), and the load that was asked is what is filled in.
    assert_eq!(done.iter().map(|d| d.0).collect::<Vec<_>>(), [5, 3, 1]);
    let resolved = &screen.item(&w.items[0]).unwrap().resolved;
    assert_eq!(resolved.on_the_bar.as_ref().map(|b| b.total_kg), Some(100.0));
    assert_eq!(squats.sets.iter().map(|s| &s.work).collect::<std::collections::BTreeSet<_>>().len(), 1);
    assert_eq!(w.judged().0, State::Done);
    assert_eq!(Done::of([&w.log]).sessions.len(), 1);
}

#[test]
fn a_chosen_load_stays_for_the_next_set() {
    let mut w = World::new();
    let screen = w.screen();
    let found = screen.item(&w.items[1]).unwrap();
    let set = SetDone { load: Load::new(500).ok(), ..screen.next_set(found, NOW) };
    let mint = &mut w.mint;
    let commands = screen.log(found, None, set, &mut || mint.mint());
    w.run(&commands);
    let screen = w.screen();
    assert_eq!(screen.next_set(screen.item(&w.items[1]).unwrap(), NOW).load, Load::new(500).ok());
}

#[test]
fn another_exercise_goes_on_and_the_way_back_is_open() {
    let mut w = World::new();
    w.tap(0, Some(2));
    let screen = w.screen();
    let doing = &screen.item(&w.items[0]).unwrap().doing;
    assert_eq!((doing.name.as_str(), doing.sets.len()), ("Front squat", 1));
    // The next tap goes on with it.
    w.tap(0, None);
    assert_eq!(w.screen().item(&w.items[0]).unwrap().doing.name, "Front squat");
    w.tap(0, Some(0));
    let screen = w.screen();
    let doing = &screen.item(&w.items[0]).unwrap().doing;
    assert_eq!((doing.name.as_str(), doing.sets.len()), ("Back squat", 3));
    let works: Vec<Option<Key>> =
        Done::of([&w.log]).sessions[0].works.iter().map(|x| x.work.record.instead_of.clone()).collect();
    assert_eq!(works, [Some(w.exercises[0].clone()), None]);
}

#[test]
fn a_correction_a_strike_and_a_reason() {
    let mut w = World::new();
    w.tap(0, None);
    let screen = w.screen();
    let here = screen.item(&w.items[0]).unwrap().doing.sets[0].clone();
    let better = SetDone { reps: Reps::new(4).ok(), ..here.done.set.record.clone() };
    let key = w.mint.mint();
    let command = screen.correct(&here.work, &here.done.set.key(), better, key).unwrap();
    w.run(&[command]);
    let screen = w.screen();
    let here = screen.item(&w.items[0]).unwrap().doing.sets[0].clone();
    assert_eq!((here.done.set.record.reps, here.done.earlier.len()), (Reps::new(4).ok(), 1));
    let key = w.mint.mint();
    let first = here.done.earlier[0].key();
    let command = screen.strike(&here.work, &first, NOW.plus_ms(w.clock), key).unwrap();
    w.run(&[command]);
    assert_eq!(w.screen().progress().0, 0);
    let screen = w.screen();
    let mint = &mut w.mint;
    let pull = screen.item(&w.items[1]).unwrap();
    let commands = screen.skip(pull, Skip::Kit, None, NOW, &mut || mint.mint());
    w.run(&commands);
    assert_eq!(w.screen().item(&w.items[1]).unwrap().doing.skipped, Some(Skip::Kit));
    assert_eq!(w.judged().1[1], How::Skipped(Skip::Kit));
}

#[test]
fn a_session_may_be_closed_or_left_out_without_a_set() {
    let mut w = World::new();
    let screen = w.screen();
    let mint = &mut w.mint;
    let commands = screen.close(Minutes::new(40).ok(), Effort::new(55).ok(), None, NOW, &mut || mint.mint());
    w.run(&commands);
    let begun = w.screen().begun.unwrap();
    assert_eq!((begun.record.minutes, begun.record.effort), (Minutes::new(40).ok(), Effort::new(55).ok()));
    let mut w = World::new();
    let screen = w.screen();
    let mint = &mut w.mint;
    let command = screen.leave_out(Skip::Weather, None, NOW, &mut || mint.mint());
    w.run(&[command]);
    assert_eq!(w.screen().begun.unwrap().record.skipped, Some(Skip::Weather));
    assert_eq!(w.judged().0, State::Missed);
}

#[test]
fn a_plan_that_changed_after_the_begin_is_told_and_changes_nothing_done() {
    let mut w = World::new();
    w.tap(0, None);
    let place = Place::of("items", &w.items[1]);
    let from = w.plan.record::<Prescription>(&place).unwrap().unwrap().record;
    let to = Prescription { sets: Count::new(5).unwrap(), ..from.clone() };
    run(&mut w.plan, &Command::Edit { place, from: from.into(), to: to.into() });
    let screen = w.screen();
    assert!(screen.changed_since);
    assert_eq!(screen.item(&w.items[0]).unwrap().doing.sets.len(), 1);
    assert_eq!(screen.begun.unwrap().record.venue, Some(w.venue.clone()));
}

#[test]
fn what_nobody_asked_is_beside_the_plan_and_goes_on_in_one_record() {
    let mut w = World::new();
    for _ in 0..2 {
        let screen = w.screen();
        let mint = &mut w.mint;
        let set = SetDone { reps: Reps::new(10).ok(), ..SetDone::new(NOW.plus_ms(w.clock)) };
        let commands = screen.log_extra(&w.exercises[2], set, &mut || mint.mint());
        w.run(&commands);
    }
    let screen = w.screen();
    assert_eq!(screen.extra.len(), 1);
    assert_eq!((screen.extra[0].name.as_str(), screen.extra[0].sets.len()), ("Front squat", 2));
}

#[test]
fn unsent_sets_are_told_one_by_one() {
    let mut w = World::new();
    w.tap(0, None);
    let there = w.log.heads();
    w.tap(0, None);
    let screen = w.screen();
    let sets = &screen.item(&w.items[0]).unwrap().doing.sets;
    let unsent = keys_in(&w.log.changes_since(&there)).unwrap();
    let told: Vec<bool> = sets.iter().map(|s| unsent.contains(&s.done.set.key())).collect();
    assert_eq!(told, [false, true]);
}
