//! Everything that reads documents, called one after the other: whatever passed the gate must be readable by all of
//! it, and no number on the way is NaN or infinite.

use std::fmt::Debug;
use std::sync::OnceLock;

use backstraight_core::base::day::Day;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::open::Document;
use backstraight_core::model::care::Availability;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::name::Kind;
use backstraight_core::model::number::SeasonNo;
use backstraight_core::model::plan::Prescription;
use backstraight_core::view::attention::{Look, attention, reports};
use backstraight_core::view::availability::{limits, said};
use backstraight_core::view::board::{Athlete, row};
use backstraight_core::view::caution;
use backstraight_core::view::done::Done;
use backstraight_core::view::forecast::forecast;
use backstraight_core::view::library::Library;
use backstraight_core::view::load::{latest_ratios, weeks};
use backstraight_core::view::marks::{Noises, series};
use backstraight_core::view::maxima::Maxima;
use backstraight_core::view::met::in_words;
use backstraight_core::view::planned::Plan;
use backstraight_core::view::plans::Plans;
use backstraight_core::view::proposal::proposals;
use backstraight_core::view::records::{Person, personal_by_season, records};
use backstraight_core::view::screen::{Scene, SessionScreen};
use backstraight_core::view::show;
use backstraight_core::view::speed::trends;

use crate::content::content;
use crate::fuzz::corpus::told;
use crate::replica::{ATHLETE, START};

/// The documents beside the one that is looked at.
struct Beside {
    library: Document,
    plan: Document,
    log: Document,
    notes: Document,
    availability: Document,
}

fn beside() -> &'static Beside {
    static ONCE: OnceLock<Beside> = OnceLock::new();
    ONCE.get_or_init(|| Beside {
        library: told(Kind::Library, 3, 16),
        plan: told(Kind::Plan, 3, 16),
        log: told(Kind::Log, 3, 24),
        notes: told(Kind::Notes, 3, 12),
        availability: told(Kind::Availability, 3, 4),
    })
}

/// Reads a document in every way.
pub(crate) fn everything(doc: &Document) {
    let _ = content(doc);
    let history = doc.history().unwrap_or_else(|e| panic!("what was let through cannot be read back: {e}"));
    let _ = doc.all_records();
    let beside = beside();
    let or = |kind, other| if doc.name().kind() == kind { doc } else { other };
    let library = Library::of(or(Kind::Library, &beside.library));
    let done = Done::of([
        or(Kind::Log, &beside.log),
        or(Kind::Notes, &beside.notes),
        or(Kind::Availability, &beside.availability),
    ]);
    for written in &history {
        let field = written.path.rsplit('/').next().unwrap_or_default();
        if let Some(value) = &written.value {
            let _ = show::scalar(field, value, &library);
        }
    }
    let care = (doc.name().kind() == Kind::Care).then(|| reports(doc));
    let today: Day = "2026-11-20".parse().unwrap();
    let season = SeasonNo::new(2027).unwrap();
    let plans = Plans::one(season, Plan::of(or(Kind::Plan, &beside.plan)));
    let athlete = Athlete {
        person: ATHLETE,
        name: "Invented",
        events: "",
        plans: &plans,
        done: &done,
        heard_through: Some(today),
    };
    let (from, to) = (today.plus(-20), today.plus(10));
    let board = row(athlete, &library, from, to, today);
    sound("row", &board.sessions.iter().map(|s| (&s.share, s.state)).collect::<Vec<_>>());
    sound("figure", &board.figure);
    sound("weeks", &weeks(&board, &library, from, to, today));
    sound("ratios", &latest_ratios(&athlete, today).ok().map(|r| r.0.value));
    sound("proposals", &proposals(athlete, &library, today));
    sound("forecast", &forecast(athlete, &library, today, 3));
    let noises = Noises::of(&library, [&done]);
    let look = Look { athlete, born: None, care: care.as_deref(), library: &library, noises: &noises, today };
    sound("attention", &attention(&look));
    sound("series", &series(&done, &library, &noises, today));
    sound("trends", &trends(&done, today));
    let person = Person { person: ATHLETE, name: "Invented", sex: None, born: None, done: &done };
    sound("records", &records(&[person], &library, &|_| true, today));
    sound("bests", &personal_by_season(&done, &library, &noises, today));
    sound("maxima", &Maxima::of(&done, &library, today));
    for (_, plan) in plans.iter() {
        let _ = in_words(&plan.met, &library, &|_| None);
    }
    screens(&plans, &done, &library, today);
    let _ = in_words(&done.met, &library, &|_| None);
    if doc.name().kind() == Kind::Availability {
        let read = doc.records::<Availability>("availability");
        let all = said(&read.entries);
        let _ = limits(&all, today).map(|s| s.words());
    }
}

fn screens(plans: &Plans, done: &Done, library: &Library, day: Day) {
    let scene = Scene { plans, done, library, venue: None, day };
    for session in plans.sessions().map(|s| s.planned).take(8) {
        let _ = caution::planned(session, library, None);
        for (_, item) in session.items() {
            let record: &Prescription = &item.record;
            let _ = show::variation(record);
        }
        let Some(screen) = SessionScreen::planned(&scene, &session.key(), START) else { continue };
        for item in screen.items() {
            sound("screen", &item.resolved);
            let _ = show::set(&screen.next_set(item, START));
        }
    }
    let free = SessionScreen::unasked(&scene, None, Moment(0));
    let _ = free.progress();
    for set in done.sessions.iter().flat_map(|s| &s.works).flat_map(|w| &w.sets) {
        let record: &SetDone = &set.set.record;
        let _ = show::set(record);
    }
}

/// No number in what was made is NaN or infinite.
#[track_caller]
pub(crate) fn sound(what: &str, made: &impl Debug) {
    let text = format!("{made:?}");
    for wrong in [": NaN", "(NaN", " NaN,", ": inf", "(inf", " inf,", ": -inf", "(-inf", " -inf,"] {
        assert!(!text.contains(wrong), "{what} holds a number that is none");
    }
}
