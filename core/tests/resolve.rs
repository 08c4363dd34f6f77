//! From prescription to bar: each fallback, each source of a maximum, worked by hand.
//! Rules of this project; formulas are checked against their sources beside the formulas.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::log::*;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::*;
use backstraight_core::model::packed::{Dose, Intensity};
use backstraight_core::model::plan::*;
use backstraight_core::science::cautions::Caution;
use backstraight_core::view::done::{Done, DoneSession, DoneSet, DoneWork};
use backstraight_core::view::library::Library;
use backstraight_core::view::maxima::{Maxima, Source};
use backstraight_core::view::resolve::{Known, Missing, Resolved, resolve};

fn key(n: u32) -> Key {
    format!("aaaaaa-{n}").parse().unwrap()
}

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn entry<R>(root: &'static str, n: u32, record: R) -> Entry<R> {
    Entry { place: Place::of(root, &key(n)), record, gone: None, unread: vec![], met: vec![] }
}

const SQUAT: u32 = 1;
const PAUSE: u32 = 2;
const CLEAN: u32 = 3;
const PRESS: u32 = 4;
const RUN: u32 = 5;

fn name(text: &str) -> Name {
    Text::new(text).unwrap()
}

fn library() -> Library {
    let mut exercises = BTreeMap::new();
    let mut put = |n, e: Exercise| exercises.insert(key(n), entry("exercises", n, e));
    put(SQUAT, Exercise::new(name("Back squat"), Pattern::Squat, Intent::Strength));
    put(
        PAUSE,
        Exercise {
            ref_max: Some(key(SQUAT)),
            ..Exercise::new(name("Pause squat"), Pattern::Squat, Intent::Strength)
        },
    );
    put(CLEAN, Exercise::new(name("Power clean"), Pattern::Olympic, Intent::Power));
    put(
        PRESS,
        Exercise {
            implement: Some(name("two dumbbells")),
            ..Exercise::new(name("Press"), Pattern::Push, Intent::Strength)
        },
    );
    put(RUN, Exercise::new(name("Run"), Pattern::Sprint, Intent::Speed));
    let protocol =
        Protocol { ex: Some(key(SQUAT)), ..Protocol::new(name("Squat max"), Measure::Load, Better::Higher) };
    let protocols = BTreeMap::from([(key(50), entry("protocols", 50, protocol))]);
    Library { exercises, protocols, ..Library::default() }
}

fn venue() -> Venue {
    Venue {
        bars: Some("2000,1500".parse().unwrap()),
        plates: Some("2500x1,1500x2,500x2,250x1".parse().unwrap()),
        dumbbells: Some("1000,1250,1500".parse().unwrap()),
        ..Venue::new(name("Basement"))
    }
}

fn trial(date: &str, kg: i64) -> Entry<Trial> {
    entry(
        "trials",
        90,
        Trial { value: Some(Value::new(kg * 1000).unwrap()), ..Trial::new(day(date), Moment(0), key(50)) },
    )
}

fn session(date: &str, ex: u32, sets: Vec<SetDone>) -> DoneSession {
    let sets = sets
        .into_iter()
        .enumerate()
        .map(|(i, s)| DoneSet {
            set: entry("sessions", 200 + u32::try_from(i).unwrap(), s),
            earlier: vec![],
            others: vec![],
        })
        .collect();
    DoneSession {
        session: entry("sessions", 100, SessionDone::new(day(date), Moment(0))),
        works: vec![DoneWork { work: entry("sessions", 101, Work::new(key(ex))), sets }],
        doc: DocName::Care(backstraight_core::base::id::PersonId(uuid::Uuid::nil())),
    }
}

fn lifted(kg: i64, reps: i64, effort: i64) -> SetDone {
    SetDone {
        load: Load::new(kg * 100).ok(),
        reps: Reps::new(reps).ok(),
        effort: Effort::new(effort).ok(),
        ..SetDone::new(Moment(0))
    }
}

fn asked(ex: u32, intensity: &str, dose: &str) -> Prescription {
    Prescription {
        intensity: Some(intensity.parse::<Intensity>().unwrap()),
        dose: Some(dose.parse::<Dose>().unwrap()),
        ..Prescription::new(key(60), Text::new("a").unwrap(), key(ex), Count::new(3).unwrap())
    }
}

fn run(item: &Prescription, done: &Done, venue: Option<&Venue>, on: &str) -> Resolved {
    let library = library();
    let maxima = Maxima::of(done, &library, day(on));
    resolve(item, &item.ex, &Known { done, maxima: &maxima, library: &library, venue, day: day(on) })
}

fn kg(r: &Resolved) -> Option<f64> {
    r.load.map(|l| l.as_f64() / 100.0)
}

#[test]
fn a_share_of_a_tested_maximum_rounded_to_what_the_venue_owns() {
    let done = Done { trials: vec![trial("2026-11-01", 120)], ..Done::default() };
    let place = venue();
    // 0.75 x 120 = 90: bar 20 leaves 35 a side, which 25 + 5 + 5 makes.
    let r = run(&asked(SQUAT, "max 750", "reps 5"), &done, Some(&place), "2026-11-25");
    assert_eq!(kg(&r), Some(90.0));
    let on = r.on_the_bar.unwrap();
    assert_eq!((on.bar_kg, on.per_side_kg), (Some(20.0), vec![25.0, 5.0, 5.0]));
    assert_eq!(r.age_days, Some(24));
    assert_eq!(r.maximum.unwrap().source, Source::Test);
    assert_eq!(r.caution, Some(Caution::MaximalTest));
    // Another exercise's maximum, as the library or the prescription says.
    assert_eq!(kg(&run(&asked(PAUSE, "max 500", "reps 3"), &done, None, "2026-11-25")), Some(60.0));
    let other = asked(PRESS, "max 250 aaaaaa-1", "reps 3");
    assert_eq!(kg(&run(&other, &done, None, "2026-11-25")), Some(30.0));
}

#[test]
fn ties_go_down() {
    // Bar 20 or 15; per side in steps of 2.5 here, so 72.5 lies between 70 and 75 with bar 20,
    // and bar 15 makes 70 or 75 too: the lower one, with the heavier bar.
    let place = Venue { plates: Some("2500x2,250x0".parse().unwrap()), ..venue() };
    let r = run(&asked(SQUAT, "load 9500", "reps 5"), &Done::default(), Some(&place), "2026-11-25");
    // Loadable: 20, 70, 120 and 15, 65, 115. 95 is 25 from 70 and from 120, 20 from 115.
    assert_eq!(kg(&r), Some(115.0));
    let place = Venue { bars: Some("2000".parse().unwrap()), ..place };
    let r = run(&asked(SQUAT, "load 9500", "reps 5"), &Done::default(), Some(&place), "2026-11-25");
    assert_eq!(kg(&r), Some(70.0));
    let r = run(&asked(PRESS, "load 1375", "reps 5"), &Done::default(), Some(&venue()), "2026-11-25");
    assert_eq!(kg(&r), Some(12.5), "dumbbells too");
}

#[test]
fn a_missing_or_old_maximum_gives_the_reason_and_words() {
    let r = run(&asked(SQUAT, "max 800", "reps 5"), &Done::default(), None, "2026-11-25");
    assert_eq!((r.load, r.missing), (None, Some(Missing::NoMaximum)));
    // The chart (NSCA, published) gives 8 repetitions at 80 %: 3 more than the 5 asked.
    assert_eq!(r.fallback.as_deref(), Some("choose a load that you could lift 3 times more"));
    let done = Done { trials: vec![trial("2026-09-30", 120)], ..Done::default() };
    assert!(run(&asked(SQUAT, "max 800", "reps 5"), &done, None, "2026-11-25").load.is_some(), "56 days");
    let r = run(&asked(SQUAT, "max 800", "reps 5"), &done, None, "2026-11-26");
    assert_eq!(r.missing, Some(Missing::OldMaximum { days: 57 }));
    assert_eq!(r.maximum.unwrap().kg, 120.0, "the old one is shown with its age");
    let r = run(&asked(SQUAT, "max 930", "reps 5"), &done, None, "2026-11-26");
    assert_eq!(r.fallback.as_deref(), Some("the heaviest load with which every repetition stays clean"));
}

#[test]
fn the_newest_valid_source_wins() {
    let done = Done {
        trials: vec![trial("2026-11-01", 120)],
        sessions: vec![session("2026-11-20", SQUAT, vec![lifted(100, 5, 80), lifted(100, 5, 60)])],
        ..Done::default()
    };
    let maxima = Maxima::of(&done, &library(), day("2026-11-25"));
    let list = maxima.0.get(&key(SQUAT)).unwrap();
    assert_eq!(list.len(), 2);
    // 100 kg x 5 with two left: seven repetitions. The lowest of the formulas (published, O'Conner
    // 1989) gives 100 x (1 + 0.025 x 7) = 117.5.
    let newest = &list[0];
    assert!((newest.kg - 117.5).abs() < 1e-9, "{}", newest.kg);
    assert!(matches!(newest.source, Source::Set { high_kg } if high_kg > newest.kg));
    assert_eq!(newest.formula, Some("e1rm.with_reserve"));
    // An effort below 7 says too little; nothing is known before the day.
    let easy =
        Done { sessions: vec![session("2026-11-20", SQUAT, vec![lifted(100, 5, 60)])], ..Done::default() };
    assert!(Maxima::of(&easy, &library(), day("2026-11-25")).0.is_empty());
    assert!(Maxima::of(&done, &library(), day("2026-10-31")).0.is_empty());
    // No formula from repetitions for the clean.
    let clean =
        Done { sessions: vec![session("2026-11-20", CLEAN, vec![lifted(80, 3, 90)])], ..Done::default() };
    assert!(Maxima::of(&clean, &library(), day("2026-11-25")).0.is_empty());
}

#[test]
fn a_band_of_bar_speed_comes_from_the_athletes_own_line() {
    let at = |kg: i64, mm_s: u16| SetDone {
        load: Load::new(kg * 100).ok(),
        speeds: Speeds::new(vec![mm_s, mm_s - 40]).ok(),
        ..SetDone::new(Moment(0))
    };
    // The published example line: v = 1.77 - 0.01225 load.
    let sets = vec![at(40, 1280), at(60, 1030), at(80, 800), at(100, 540)];
    let done = Done { sessions: vec![session("2026-11-20", SQUAT, sets)], ..Done::default() };
    let r = run(&asked(SQUAT, "speed 700-800", "reps 3"), &done, None, "2026-11-25");
    // (0.75 - 1.77) / -0.01225 = 83.27 kg.
    assert_eq!(kg(&r), Some(83.27));
    let r = run(&asked(SQUAT, "speed 700-800", "reps 3"), &done, None, "2026-12-25");
    assert_eq!((r.load, r.missing), (None, Some(Missing::NoProfile)), "older than four weeks");
    assert_eq!(r.fallback.as_deref(), Some("begin light and add until the bar moves at 0.70 to 0.80 m/s"));
    // The profile is a source of the maximum too: at 0.30 m/s, 120 kg.
    let maxima = Maxima::of(&done, &library(), day("2026-11-25"));
    let newest = maxima.newest(&key(SQUAT)).unwrap();
    assert_eq!(newest.source, Source::Profile { points: 4 });
    assert!((newest.kg - 120.0).abs() < 1e-9);
}

#[test]
fn body_mass_effort_reserve_and_times() {
    let weighed = CheckIn { mass: BodyMass::new(7000).ok(), ..CheckIn::new(day("2026-11-01"), Moment(0)) };
    let done = Done { checkins: vec![entry("checkins", 80, weighed)], ..Done::default() };
    assert_eq!(kg(&run(&asked(SQUAT, "mass 500", "reps 5"), &done, None, "2026-11-25")), Some(35.0));
    let r = run(&asked(SQUAT, "mass 500", "reps 5"), &done, None, "2027-02-25");
    assert_eq!((r.load, r.missing), (None, Some(Missing::NoBodyMass)));
    let r = run(&asked(SQUAT, "reserve 20", "reps 5"), &done, None, "2026-11-25");
    assert_eq!(r.fallback.as_deref(), Some("choose a load that you could lift 2 times more"));
    let r = run(&asked(SQUAT, "effort 80", "reps 5"), &done, None, "2026-11-25");
    assert_eq!((r.missing, r.load), (Some(Missing::ByFeel), None));
    let sprint = |ms: i64| SetDone {
        dist: Length::new(60_000).ok(),
        time: Duration::new(ms).ok(),
        ..SetDone::new(Moment(0))
    };
    let done = Done {
        sessions: vec![session("2026-11-20", RUN, vec![sprint(7600), sprint(7500)])],
        ..Done::default()
    };
    let r = run(&asked(RUN, "best 950", "dist 60000"), &done, None, "2026-11-25");
    // 7.50 s / 0.95 = 7.895 s.
    assert_eq!(r.time.map(|t| t.get()), Some(7895));
    let r = run(&asked(RUN, "best 950", "dist 30000"), &done, None, "2026-11-25");
    assert_eq!((r.time, r.missing), (None, Some(Missing::NoBest)));
    assert_eq!(
        run(&asked(RUN, "within 7600", "dist 60000"), &done, None, "2026-11-25").time.map(|t| t.get()),
        Some(7600)
    );
}
