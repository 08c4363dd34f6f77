//! Tables for a spreadsheet: the board of a week, loads and tests of an athlete. RFC 4180; no cell of text reads as a
//! formula.

use backstraight_core::base::csv::{Cell as C, Csv};
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::super::answers::{Board, Figure, Loads, Tests};
use super::super::asked::question;
use super::{At, download};
use crate::kit::Button;
use crate::words::say;

fn number(n: Option<f64>) -> C {
    n.filter(|n| n.is_finite()).map_or(C::Empty, |n| C::Number(n.to_string()))
}

fn count(n: impl ToString) -> C {
    C::Number(n.to_string())
}

fn text(t: &str) -> C {
    if t.is_empty() { C::Empty } else { C::Text(t.to_owned()) }
}

fn maybe(t: Option<&str>) -> C {
    t.map_or(C::Empty, text)
}

/// The board, a row for each session; an athlete without one has a row of its own.
#[must_use]
pub fn board_csv(board: &Board) -> String {
    let mut csv = Csv::new([
        "athlete",
        "events",
        "heard_through",
        "day",
        "session",
        "state",
        "share",
        "sets_done",
        "sets_asked",
        "minutes",
        "effort",
        "done_on",
        "earlier_version",
        "swapped",
        "availability",
    ]);
    for a in &board.athletes {
        let who = || [text(&a.name), text(&a.events), maybe(a.heard_through.as_deref())];
        if a.sessions.is_empty() {
            csv.row(who().into_iter().chain((0..12).map(|_| C::Empty)));
        }
        for s in &a.sessions {
            csv.row(who().into_iter().chain([
                text(&s.date),
                text(&s.title),
                text(&s.state),
                number(s.share),
                count(s.sets_done),
                count(s.sets_asked),
                s.minutes.map_or(C::Empty, count),
                number(s.effort),
                maybe(s.done_on.as_deref()),
                count(s.earlier_version),
                count(s.swapped),
                maybe(s.availability.as_deref()),
            ]));
        }
    }
    csv.finish()
}

/// Loads, a row for each week. What is missing is an empty cell, never a zero.
#[must_use]
pub fn loads_csv(loads: &Loads) -> String {
    let mut csv = Csv::new([
        "athlete",
        "week",
        "load_units",
        "complete",
        "monotony",
        "strain",
        "fading_7",
        "fading_28",
        "against_fading",
        "against_28_with",
        "against_21_before",
        "unheard_days",
        "unheard_sessions",
        "without_effort",
        "kg",
        "contacts_low",
        "contacts_medium",
        "contacts_high",
        "contacts_unclassed",
        "sprint_m",
        "run_m",
        "hold_s",
    ]);
    let value = |f: &Figure| number(f.value);
    for w in &loads.weeks {
        let (a, v) = (&w.against_before, &w.volume);
        csv.row([
            text(&loads.name),
            text(&w.start),
            value(&w.load),
            count(w.complete),
            value(&w.monotony),
            value(&w.strain),
            value(&w.fading_7),
            value(&w.fading_28),
            number(a.fading),
            number(a.of_28_with),
            number(a.of_21_before),
            count(w.unheard_days),
            count(w.unheard_sessions),
            count(w.without_effort),
            number(Some(v.all_kg())),
            number(Some(v.contacts_low)),
            number(Some(v.contacts_medium)),
            number(Some(v.contacts_high)),
            number(Some(v.contacts_unclassed)),
            number(Some(v.sprint_m)),
            number(Some(v.run_m)),
            number(Some(v.hold_s)),
        ]);
    }
    csv.finish()
}

/// Test trials, a row for each.
#[must_use]
pub fn tests_csv(tests: &Tests) -> String {
    let mut csv = Csv::new([
        "athlete",
        "test",
        "unit",
        "day",
        "value",
        "load_kg",
        "reps",
        "wind_m_s",
        "conditions",
        "by_coach",
    ]);
    for t in &tests.tests {
        for trial in &t.trials {
            csv.row([
                text(&tests.name),
                text(&t.name),
                maybe(t.unit.as_deref()),
                text(&trial.date),
                number(trial.value),
                number(trial.load_kg),
                trial.reps.map_or(C::Empty, count),
                number(trial.wind_m_s),
                maybe(trial.conditions.as_deref()),
                count(trial.by_coach),
            ]);
        }
    }
    csv.finish()
}

/// Days back of loads and tests: the most that one answer spans.
const BACK: i32 = 393;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Which {
    Loads,
    Tests,
}

fn fetch(at: At, which: Which) {
    let id = at.athlete.get_untracked();
    if id.is_empty() {
        at.toaster.say(say("reports.nobody"));
        return;
    }
    let last = at.monday.get_untracked().plus(6);
    let what = if which == Which::Loads { "loads" } else { "tests" };
    let path = question(
        &format!("/v1/athletes/{id}/{what}"),
        &[
            ("from", &last.plus(-BACK).to_string()),
            ("to", &last.to_string()),
            ("today", &at.today.to_string()),
        ],
    );
    spawn_local(async move {
        let made = match which {
            Which::Loads => at.hub.get::<Loads>(&path).await.map(|l| loads_csv(&l)),
            Which::Tests => at.hub.get::<Tests>(&path).await.map(|t| tests_csv(&t)),
        };
        match made {
            Ok(text) => download(at.toaster, &format!("{what}-{last}.csv"), &text),
            Err(error) => at.toaster.say(error.to_string()),
        }
    });
}

/// The part.
pub fn tables(at: At) -> impl IntoView {
    let board = move || match at.board.get() {
        Some(board) => {
            download(at.toaster, &format!("board-{}.csv", at.monday.get_untracked()), &board_csv(&board));
        }
        None => at.toaster.say(say("coach.no-answer")),
    };
    view! {
        <section class="stack no-print">
            <p>{say("reports.tables.text")}</p>
            <div class="row">
                <Button label=say("reports.csv.board").to_owned() on_press=board />
                <Button label=say("reports.csv.loads").to_owned() on_press=move || fetch(at, Which::Loads) />
                <Button label=say("reports.csv.tests").to_owned() on_press=move || fetch(at, Which::Tests) />
            </div>
        </section>
    }
}

#[cfg(test)]
mod checks {
    use super::*;
    use crate::coach::answers::{Cell, Line, LoadWeek, Test, Trial};

    #[test]
    fn every_row_has_a_cell_for_each_column() {
        let cell = Cell { date: "2026-11-25".into(), title: "a, b".into(), ..Cell::default() };
        let board = Board {
            athletes: vec![
                Line { name: "=1".into(), sessions: vec![cell], ..Line::default() },
                Line { name: "Nobody".into(), ..Line::default() },
            ],
            ..Board::default()
        };
        let loads = Loads { name: "I".into(), weeks: vec![LoadWeek::default()] };
        let trial = Trial { date: "2026-11-20".into(), ..Trial::default() };
        let tests = Tests { name: "I".into(), tests: vec![Test { trials: vec![trial], ..Test::default() }] };
        for text in [board_csv(&board), loads_csv(&loads), tests_csv(&tests)] {
            // Commas inside quotes are no separators.
            let counts: Vec<usize> = text
                .lines()
                .map(|l| l.split('"').step_by(2).map(|plain| plain.matches(',').count()).sum())
                .collect();
            assert!(counts.len() > 1 && counts.windows(2).all(|w| w[0] == w[1]), "{text}");
        }
        assert!(board_csv(&board).contains("\"'=1\""));
    }

    #[test]
    fn what_is_not_known_is_empty_and_no_zero() {
        let loads = Loads { name: "I".into(), weeks: vec![LoadWeek::default()] };
        assert!(loads_csv(&loads).lines().nth(1).unwrap().starts_with("\"I\",,,false,,,"));
    }
}
