//! Two plans of one athlete: what is asked stands in any of them.

use backstraight_core::model::number::*;
use backstraight_core::view::board::Row;
use backstraight_core::view::library::Library;
use backstraight_core::view::proposal::{Quiet, proposals};
use backstraight_core::view::screen::{Scene, SessionScreen};
use backstraight_core::view::state::State;

use super::world::*;

fn said(row: &Row<'_>) -> Vec<(String, State, bool)> {
    row.sessions.iter().map(|s| (s.date.to_string(), s.state, s.planned.is_some())).collect()
}

/// A season that ended with a session done and one not, and the next one with one before and one after today.
fn turn() -> (World, [backstraight_core::base::key::Key; 4]) {
    let mut w = World::new();
    let squat = w.squat();
    let (done, silent) = (w.session("2026-11-16", 60, 6), w.session("2026-11-18", 60, 6));
    let item = w.item(&done, &squat, 1, "reps 5", "load 10000", "load 250");
    let log = w.begin(&done, "2026-11-16", 6, 60);
    w.sets("2026-11-16", &log, Some(&item), &squat, vec![set(100, 5)]);
    w.next_season();
    let (first, ahead) = (w.session("2026-11-23", 60, 6), w.session("2026-11-27", 60, 6));
    let item = w.item(&first, &squat, 1, "reps 5", "load 9000", "load 250");
    let log = w.begin(&first, "2026-11-23", 6, 60);
    w.sets("2026-11-23", &log, Some(&item), &squat, vec![set(90, 5)]);
    w.heard = Some(day("2026-11-24"));
    (w, [done, silent, first, ahead])
}

#[test]
fn sessions_of_both_seasons_are_asked_and_judged() {
    let (w, _) = turn();
    let want = [
        ("2026-11-16", State::Done),
        ("2026-11-18", State::Missed),
        ("2026-11-23", State::Done),
        ("2026-11-27", State::Coming),
    ];
    let want: Vec<_> = want.into_iter().map(|(date, state)| (date.to_owned(), state, true)).collect();
    w.row("2026-11-16", "2026-11-29", "2026-11-25", |row| assert_eq!(said(row), want));
}

#[test]
fn a_screen_opens_a_session_of_either_season_and_begins_it_in_its_own() {
    let (w, [_, silent, _, ahead]) = turn();
    let (plans, done, library) = (w.plans(), w.done(), Library::of(&w.library));
    let scene = Scene { plans: &plans, done: &done, library: &library, venue: None, day: day("2026-11-25") };
    let mut mint = backstraight_core::base::key::KeyMint::new([9; 4]);
    for (session, season) in [(silent, 2027), (ahead, 2028)] {
        let screen = SessionScreen::of(&scene, &session, noon(day("2026-11-25"))).unwrap();
        let command = screen.close(None, None, None, noon(day("2026-11-25")), &mut || mint.mint());
        let text = format!("{command:?}");
        assert!(text.contains(&format!("SeasonNo({season})")), "{text}");
    }
}

#[test]
fn a_season_that_is_over_proposes_nothing_once_another_began() {
    let (mut w, _) = turn();
    let rules = |w: &World| {
        let (plans, done) = (w.plans(), w.done());
        let found = proposals(w.athlete(&plans, &done), &Library::of(&w.library), day("2026-11-25"));
        (found.open.len(), found.quiet.into_iter().map(|(_, why)| why).collect::<Vec<_>>())
    };
    // Only the new season's rule speaks, and finds nothing ahead.
    assert_eq!(rules(&w), (0, vec![Quiet::NoneAhead]));
    let squat = w.plans().sessions().flat_map(|s| s.planned.items()).next().unwrap().1.record.ex.clone();
    let next = w.session("2026-11-30", 60, 6);
    w.item(&next, &squat, 1, "reps 5", "load 9000", "load 250");
    let (plans, done) = (w.plans(), w.done());
    let found = proposals(w.athlete(&plans, &done), &Library::of(&w.library), day("2026-11-25"));
    let open: Vec<_> = found.open.iter().map(|p| (p.season.get(), p.done_on, p.date)).collect();
    assert_eq!(open, [(2028, day("2026-11-23"), day("2026-11-30"))]);
}

#[test]
fn the_season_of_a_day_is_the_one_that_holds_it() {
    let (w, _) = turn();
    let plans = w.plans();
    let of = |date: &str| plans.season_of(day(date), day(date)).map(SeasonNo::get);
    // Neither says its days: the first and the last session do.
    assert_eq!(
        [of("2026-11-15"), of("2026-11-17"), of("2026-11-25"), of("2026-11-28")],
        [None, Some(2027), Some(2028), None]
    );
    assert_eq!(plans.last_day(), Some(day("2026-11-27")));
    let next = |date: &str| plans.next_after(day(date)).map(|s| (s.season.get(), s.day().to_string()));
    assert_eq!(next("2026-11-16"), Some((2027, "2026-11-18".to_owned())));
    assert_eq!(next("2026-11-18"), Some((2028, "2026-11-23".to_owned())));
    assert_eq!(next("2026-11-27"), None);
}
