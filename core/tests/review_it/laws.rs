//! Laws of the review, over random plans and logs: shares stay within 0 and 1 and grow with the work
//! done, silence never counts, the order of arrival changes nothing, nothing counts twice.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::ActorId;
use backstraight_core::doc::open::Document;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::number::*;
use backstraight_core::view::attention::{Look, attention};
use backstraight_core::view::board::row;
use backstraight_core::view::done::Done;
use backstraight_core::view::forecast::forecast;
use backstraight_core::view::library::Library;
use backstraight_core::view::load::weeks;
use backstraight_core::view::marks::Noises;
use backstraight_core::view::proposal::proposals;
use proptest::prelude::*;

use crate::world::*;

const TODAY: &str = "2026-11-28";

/// A planned session with a lift: the day of November, sets asked, sets done, repetitions, load.
type Piece = (i8, i64, i64, i64, i64);

fn pieces(most: usize) -> impl Strategy<Value = Vec<Piece>> {
    prop::collection::vec((2i8..28, 1i64..6, 0i64..7, 0i64..9, 40i64..130), 1..most)
}

/// A world with those sessions; each is done by the install of its number, odd or even.
fn world(pieces: &[Piece], heard: Option<i8>) -> World {
    let mut w = World::new();
    let squat = w.squat();
    for (n, (date, asked, done, reps, kg)) in pieces.iter().enumerate() {
        let date = Day::new(2026, 11, *date).unwrap().to_string();
        let s = w.session(&date, 60, 6);
        let item = w.item(&s, &squat, *asked, "reps 5", "load 10000", "load 250");
        if *done > 0 {
            w.log(day(&date)).write_as(ActorId([u8::try_from(n % 2).unwrap() + 10; 16]));
            let log = w.begin(&s, &date, *reps, 30 + kg);
            let set = SetDone { speeds: Speeds::new(vec![500]).ok(), ..set(*kg, *reps) };
            w.sets(&date, &log, Some(&item), &squat, vec![set; usize::try_from(*done).unwrap()]);
        }
    }
    w.heard = heard.map(|d| Day::new(2026, 11, d).unwrap());
    w
}

/// Every figure of the review, as text.
fn figures(w: &World, docs: &[&Document]) -> String {
    let (plans, library, done) = (w.plans(), Library::of(&w.library), Done::of(docs.iter().copied()));
    let (from, to, today) = (day("2026-11-02"), day("2026-11-29"), day(TODAY));
    let athlete = w.athlete(&plans, &done);
    let row = row(athlete, &library, from, to, today);
    let noises = Noises::of(&library, [&done]);
    let look = Look { athlete, born: None, care: None, library: &library, noises: &noises, today };
    let shares: Vec<_> = row.sessions.iter().map(|s| (s.date, s.state, s.share.clone())).collect();
    format!(
        "{:?} {:?} {:?} {shares:?} {:?} {:?} {:?} {:?}",
        row.figure,
        row.heard,
        row.unheard,
        weeks(&row, &library, from, to, today),
        attention(&look),
        proposals(athlete, &library, today),
        forecast(athlete, &library, today, 4),
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn shares_stay_within_and_grow_with_the_work(
        asked in prop::collection::vec((1i64..6, 1i64..10), 1..4), done in 0usize..12, reps in 0i64..12,
    ) {
        let share = |done: usize, reps: i64| {
            let mut w = World::new();
            let squat = w.squat();
            let s = w.session("2026-11-24", 60, 6);
            let items: Vec<_> =
                asked.iter().map(|(sets, n)| w.item(&s, &squat, *sets, &format!("reps {n}"), "", "")).collect();
            let log = w.begin(&s, "2026-11-24", 5, 60);
            w.sets("2026-11-24", &log, Some(&items[0]), &squat, vec![set(50, reps); done]);
            w.row("2026-11-23", "2026-11-29", TODAY, |row| {
                (row.sessions[0].share.as_ref().and_then(|s| s.share).unwrap(), row.figure)
            })
        };
        let (now, figure) = share(done, reps);
        prop_assert!((0.0..=1.0).contains(&now));
        prop_assert_eq!(figure, Some(now));
        prop_assert!(share(done + 1, reps).0 >= now, "one set more");
        prop_assert!(share(done, reps + 1).0 >= now, "one repetition more in each");
    }

    #[test]
    fn unheard_never_counts(pieces in pieces(8), heard in 2i8..28, silent in prop::collection::vec(2i8..28, 1..5)) {
        let look = |w: &World| w.row("2026-11-02", "2026-11-29", TODAY, |row| (row.figure, row.heard, row.unheard));
        let mut w = world(&pieces, Some(heard));
        let (figure, counted, unheard) = look(&w);
        // Planned sessions of which nothing is known, on days from the last that was heard on.
        let more = silent.iter().filter(|d| **d >= heard).count();
        for d in silent.iter().filter(|d| **d >= heard) {
            w.session(&Day::new(2026, 11, *d).unwrap().to_string(), 60, 6);
        }
        prop_assert_eq!(look(&w), (figure, counted, unheard + more));
        // Weeks: no day that was not heard of is ever a number, and no figure is over such days.
        for week in w.weeks("2026-11-02", "2026-11-29", TODAY) {
            let silent = week.days.iter().any(|d| d.whole().is_none());
            prop_assert_eq!(week.complete, !silent);
            if silent {
                prop_assert!(week.monotony.is_err() && week.strain.is_err());
            }
            prop_assert!(week.load.value.is_finite());
        }
    }

    #[test]
    fn the_order_of_arrival_changes_no_figure_and_nothing_counts_twice(pieces in pieces(8), heard in 2i8..28) {
        let w = world(&pieces, Some(heard));
        let Some(log) = w.logs.values().next() else { return Ok(()) };
        let one = figures(&w, &[log]);
        // The same changes, by way of gates: all at once; one by one with each sent twice.
        let all = log.changes_since(&[]);
        let mut whole = Document::create(log.name()).unwrap();
        whole.admit(&all, &|_| true).unwrap();
        let mut drops = Document::create(log.name()).unwrap();
        for change in changes(&all) {
            drops.admit(change, &|_| true).unwrap();
            drops.admit(change, &|_| true).unwrap();
        }
        prop_assert_eq!(&figures(&w, &[&whole]), &one);
        prop_assert_eq!(&figures(&w, &[&drops]), &one);
        // A document that is handed in twice.
        prop_assert_eq!(&figures(&w, &[log, &whole]), &one);
        // Two installs wrote apart and met in either order.
        let (mut left, mut right) = (apart(log, 31), apart(log, 32));
        write_apart(&mut left, &w, 1);
        write_apart(&mut right, &w, 2);
        let (of_left, of_right) = (left.changes_since(&log.heads()), right.changes_since(&log.heads()));
        left.admit(&of_right, &|_| true).unwrap();
        right.admit(&of_left, &|_| true).unwrap();
        prop_assert_eq!(figures(&w, &[&left]), figures(&w, &[&right]));
    }
}

fn changes(all: &[u8]) -> Vec<&[u8]> {
    backstraight_core::doc::chunk::split_up_to(all, usize::MAX).unwrap()
}

fn apart(log: &Document, actor: u8) -> Document {
    let mut copy = Document::open(log.name(), &log.save()).unwrap();
    copy.write_as(ActorId([actor; 16]));
    copy
}

/// The athlete's two devices each log something into the same session, and rate it differently.
fn write_apart(log: &mut Document, w: &World, n: u8) {
    use backstraight_core::base::key::KeyMint;
    use backstraight_core::doc::command::{Command, WorkOf};
    use backstraight_core::doc::place::Place;
    use backstraight_core::model::log::{SessionDone, Work};
    let Some(session) = log.records::<SessionDone>("sessions").entries.into_iter().next() else { return };
    let squat = Library::of(&w.library).exercises.keys().next().cloned().unwrap();
    let mut mint = KeyMint::new([n, 7, 7, 7]);
    let at = noon(session.record.date).plus_ms(i64::from(n) * 7_000);
    let command = Command::LogSet {
        session: session.key(),
        work: WorkOf::New(mint.mint(), Box::new(Work::new(squat))),
        key: mint.mint(),
        set: Box::new(SetDone { at, ..set(60, i64::from(n)) }),
    };
    log.apply(&command, &World::scene()).unwrap();
    let to = SessionDone { effort: Effort::new(i64::from(n) * 10 + 5).ok(), ..session.record.clone() };
    let edit = Command::Edit {
        place: Place::of("sessions", &session.key()),
        from: session.record.into(),
        to: to.into(),
    };
    log.apply(&edit, &World::scene()).unwrap();
}
