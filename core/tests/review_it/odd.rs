//! Plans and logs that are not as one would wish, each as `docs/meanings.md` says.

use backstraight_core::base::day::Day;
use backstraight_core::model::log::*;
use backstraight_core::model::number::*;
use backstraight_core::view::library::Library;
use backstraight_core::view::load::Known;
use backstraight_core::view::plans::Plans;
use backstraight_core::view::proposal::proposals;
use backstraight_core::view::state::State;
use backstraight_core::view::why::Lack;

use crate::world::*;
use backstraight_core::base::moment::Moment;

fn states(w: &World, from: &str, to: &str, today: &str) -> Vec<State> {
    w.row(from, to, today, |row| row.sessions.iter().map(|s| s.state).collect())
}

#[test]
fn a_plan_without_sessions_and_an_athlete_without_a_plan() {
    let mut w = World::new();
    w.heard = Some(day("2026-11-25"));
    w.row("2026-11-23", "2026-11-29", "2026-11-25", |row| {
        assert_eq!((row.figure, row.heard, row.unheard), (None, 0, 0), "no session is no figure, not a zero");
        assert!(row.sessions.is_empty());
    });
    // What is done all the same is extra and counts in the load.
    w.free("2026-11-23", 5, 60);
    assert_eq!(states(&w, "2026-11-23", "2026-11-29", "2026-11-25"), [State::Extra]);
    let week = &w.weeks("2026-11-23", "2026-11-29", "2026-11-25")[0];
    assert!((week.load.value - 300.0).abs() < 1e-9);
    let (plans, done) = (Plans::default(), w.done());
    assert_eq!(proposals(w.athlete(&plans, &done), &Library::default(), day("2026-11-25")).open, []);
}

#[test]
fn a_session_without_sets() {
    let mut w = World::new();
    let empty = w.session("2026-11-23", 60, 5);
    let opened = w.session("2026-11-24", 60, 5);
    w.heard = Some(day("2026-11-26"));
    // Planned without prescriptions and closed with effort and minutes: nothing was asked, so it has
    // no share and is done; opened and left is part done, and its load is not known.
    w.begin(&empty, "2026-11-23", 5, 60);
    w.begin(&opened, "2026-11-24", 0, 0);
    w.row("2026-11-23", "2026-11-29", "2026-11-26", |row| {
        let shares: Vec<_> = row.sessions.iter().map(|s| s.share.as_ref().and_then(|s| s.share)).collect();
        assert_eq!(shares, [None, None]);
        assert_eq!(row.sessions.iter().map(|s| s.state).collect::<Vec<_>>(), [State::Done, State::Part]);
        assert_eq!((row.figure, row.heard), (Some(0.5), 2));
    });
    let week = &w.weeks("2026-11-23", "2026-11-29", "2026-11-30")[0];
    assert_eq!((week.load.value, week.without_effort), (300.0, 1));
}

#[test]
fn half_a_year_of_silence() {
    let mut w = World::new();
    w.free("2026-05-25", 5, 60);
    w.heard = Some(day("2026-05-26"));
    let monday = day("2026-06-01");
    for i in 0..25 {
        w.session(&monday.plus(i * 7).to_string(), 60, 5);
    }
    w.row("2026-06-01", "2026-11-24", "2026-11-25", |row| {
        assert_eq!((row.figure, row.heard, row.unheard), (None, 0, 25));
    });
    let weeks = w.weeks("2026-06-01", "2026-11-22", "2026-11-25");
    assert_eq!(weeks.len(), 25);
    for week in &weeks {
        assert_eq!((week.complete, week.unheard_days, week.unheard_sessions), (false, 7, 1));
        assert_eq!(week.monotony, Err(Lack::Unheard { days: 7 }));
        assert!(week.ratios.is_err() && week.fading_28.is_err());
    }
    // Then a phone is heard: the days were days without training.
    w.heard = Some(day("2026-11-25"));
    let weeks = w.weeks("2026-06-01", "2026-11-22", "2026-11-25");
    assert!(weeks.iter().all(|w| w.complete && w.load.value == 0.0));
    assert!(matches!(weeks[24].monotony, Err(Lack::Refused { .. })), "a week of zeros does not vary");
}

#[test]
fn a_time_zone_change_in_mid_week() {
    let mut w = World::new();
    // Sunday 23:30 at home (UTC+1) is Sunday; the same instant is Monday in Tokyo (UTC+9). The day
    // is the one on the athlete's own calendar when the session began.
    let instant = Moment(1_795_386_600_000); // 2026-11-22T22:30:00Z
    for (offset, date) in [(60, "2026-11-22"), (540, "2026-11-23")] {
        let date = day(date);
        assert_eq!(Day::of(instant, offset).unwrap(), date);
        let session = SessionDone {
            zone: ZoneOffset::new(i64::from(offset)).ok(),
            effort: Effort::new(50).ok(),
            minutes: Minutes::new(60).ok(),
            ..SessionDone::new(date, instant)
        };
        w.log_record("sessions", date, session);
    }
    let weeks = w.weeks("2026-11-16", "2026-11-29", "2026-11-30");
    assert_eq!(weeks.iter().map(|w| w.load.value).collect::<Vec<_>>(), [300.0, 300.0]);
}

#[test]
fn a_session_that_crosses_midnight_and_month() {
    let mut w = World::new();
    let squat = w.squat();
    let date = day("2026-11-30");
    let began = noon(date).plus_ms(11 * 3_600_000 + 1_800_000); // 23:30
    let session = SessionDone {
        ended: Some(began.plus_ms(3_600_000)),
        effort: Effort::new(50).ok(),
        ..SessionDone::new(date, began)
    };
    let s = w.log_record("sessions", date, session);
    w.sets("2026-11-30", &s, None, &squat, vec![set(100, 5)]);
    w.heard = Some(day("2026-12-07"));
    // It belongs whole to the day and month on which it began; its minutes come from its ends.
    assert_eq!((w.logs.len(), w.done().sessions.len()), (1, 1));
    let week = &w.weeks("2026-11-30", "2026-12-06", "2026-12-08")[0];
    let days: Vec<f64> = week.days.iter().map(|d| d.at_least()).collect();
    assert_eq!(days, [300.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
    assert!((week.volume.kg() - 500.0).abs() < 1e-9);
}

#[test]
fn a_leap_day() {
    let mut w = World::new();
    let s = w.session("2028-02-29", 60, 5);
    w.begin(&s, "2028-02-29", 5, 60);
    w.heard = Some(day("2028-03-06"));
    let week = &w.weeks("2028-02-28", "2028-03-05", "2028-03-07")[0];
    let days: Vec<String> = week.days.iter().map(|d| d.day.to_string()).collect();
    assert_eq!((days[1].as_str(), days[2].as_str()), ("2028-02-29", "2028-03-01"));
    assert!((week.days[1].at_least() - 300.0).abs() < 1e-9);
    assert_eq!(week.days[0].known, Known::Before);
}

#[test]
fn two_sessions_in_a_day() {
    let mut w = World::new();
    let squat = w.squat();
    let morning = w.session("2026-11-23", 60, 5);
    let evening = w.session("2026-11-23", 60, 5);
    let (a, b) =
        (w.item(&morning, &squat, 1, "reps 5", "", ""), w.item(&evening, &squat, 1, "reps 5", "", ""));
    for (planned, item) in [(&morning, &a), (&evening, &b)] {
        let s = w.begin(planned, "2026-11-23", 5, 60);
        w.sets("2026-11-23", &s, Some(item), &squat, vec![set(100, 5)]);
    }
    assert_eq!(states(&w, "2026-11-23", "2026-11-29", "2026-11-25"), [State::Done, State::Done]);
    let week = &w.weeks("2026-11-23", "2026-11-29", "2026-11-25")[0];
    assert_eq!((week.days[0].at_least(), week.days[0].sessions.len()), (600.0, 2));
}

#[test]
fn a_session_done_a_day_early_or_late() {
    for (planned, done) in
        [("2026-11-24", "2026-11-23"), ("2026-11-24", "2026-11-25"), ("2026-11-29", "2026-11-30")]
    {
        let mut w = World::new();
        let squat = w.squat();
        let s = w.session(planned, 60, 5);
        let item = w.item(&s, &squat, 1, "reps 5", "", "");
        let log = w.begin(&s, done, 5, 60);
        w.sets(done, &log, Some(&item), &squat, vec![set(100, 5)]);
        w.heard = Some(day("2026-12-07"));
        // Done, on the day for which it was planned; the load lies on the day on which it was done.
        w.row("2026-11-23", "2026-11-29", "2026-12-08", |row| {
            assert_eq!(row.sessions.len(), 1, "no extra beside it");
            let review = &row.sessions[0];
            assert_eq!((review.state, review.date), (State::Done, day(planned)));
            assert_eq!(review.done_on(), Some(day(done)));
        });
        let weeks = w.weeks("2026-11-23", "2026-12-06", "2026-12-08");
        let on: Vec<Day> =
            weeks.iter().flat_map(|w| &w.days).filter(|d| d.at_least() > 0.0).map(|d| d.day).collect();
        assert_eq!(on, [day(done)]);
    }
}

#[test]
fn sets_without_a_plan() {
    let mut w = World::new();
    let squat = w.squat();
    let s = w.free("2026-11-23", 5, 60);
    w.sets("2026-11-23", &s, None, &squat, vec![set(100, 5)]);
    // A set of a prescription that no plan holds.
    let lost = w.mint.mint();
    let date = day("2026-11-24");
    let gone =
        SessionDone { season: Some(season()), session: Some(lost), ..SessionDone::new(date, noon(date)) };
    let s = w.log_record("sessions", date, gone);
    w.sets("2026-11-24", &s, None, &squat, vec![set(80, 5)]);
    // And one that a coach entered for no session.
    let entered = Entered {
        load: Load::new(6_000).ok(),
        reps: Reps::new(5).ok(),
        ..Entered::new(noon(date), COACH, date, squat)
    };
    w.note_record("entered", date, entered);
    assert_eq!(states(&w, "2026-11-23", "2026-11-29", "2026-11-30"), [State::Extra, State::Extra]);
    let week = &w.weeks("2026-11-23", "2026-11-29", "2026-11-30")[0];
    assert!((week.volume.kg() - 1200.0).abs() < 1e-9);
    assert_eq!(week.without_effort, 2, "how hard and how long is not known");
}

#[test]
fn one_session_on_two_devices_counts_once() {
    let mut w = World::new();
    let s = w.session("2026-11-23", 60, 5);
    w.begin(&s, "2026-11-23", 5, 60);
    w.begin(&s, "2026-11-23", 6, 60);
    let week = &w.weeks("2026-11-23", "2026-11-29", "2026-11-30")[0];
    assert_eq!((week.load.value, week.days[0].sessions.len()), (360.0, 1));
    // In two parts, hours apart, it is two.
    let date = day("2026-11-23");
    let later = SessionDone {
        season: Some(season()),
        session: Some(s),
        effort: Effort::new(30).ok(),
        minutes: Minutes::new(20).ok(),
        ..SessionDone::new(date, noon(date).plus_ms(3 * 3_600_000))
    };
    w.log_record("sessions", date, later);
    let week = &w.weeks("2026-11-23", "2026-11-29", "2026-11-30")[0];
    assert!((week.load.value - 420.0).abs() < 1e-9);
}
