//! Tests of an athlete: the series with its noise, own bests and whether the last change is beyond the noise.

use backstraight_core::base::day::Day;
use leptos::prelude::*;

use super::super::answers::{OwnBest, Test, Tests, Trial, day, day_text};
use super::super::asked::ask;
use super::super::parts::why_of;
use super::At;
use crate::chart::days::value_text;
use crate::chart::{Band, DayChart, Point, Series};
use crate::kit::{Column, DataTable, EmptyState};
use crate::trend::{against_noise, wind_aided, wind_words};
use crate::words::{say, say_n, say_with};

/// Days back that are asked for: the most that one answer spans.
const BACK: i32 = 399;
/// What the parts of a change call the noise.
const ERROR: &str = "typical error";

/// The part.
pub fn tests(at: At) -> impl IntoView {
    let asked = ask::<Tests>(
        at.hub,
        Signal::derive(move || {
            at.path(
                "/tests",
                &[
                    ("from", &at.today.plus(-BACK).to_string()),
                    ("to", &at.today.to_string()),
                    ("today", &at.today.to_string()),
                ],
            )
        }),
    );
    asked.shown(|all| {
        if all.tests.is_empty() {
            return view! { <EmptyState title=say("tests.none") text=say("tests.none.text") /> }.into_any();
        }
        all.tests.iter().map(test).collect_view().into_any()
    })
}

/// The number of a trial: its result, else its load, else its repetitions.
#[must_use]
pub fn number(trial: &Trial) -> Option<f64> {
    #[expect(clippy::cast_precision_loss, reason = "repetitions of a set")]
    let reps = trial.reps.map(|n| n as f64);
    trial.value.or(trial.load_kg).or(reps)
}

/// The noise of a test around what was best before, where the server told both.
fn band(test: &Test) -> Option<Band> {
    test.bests.iter().find_map(|b| {
        let error = b.why.as_ref()?.parts.iter().find(|p| p.name.starts_with(ERROR))?.value;
        let (around, first) = (b.before?, test.trials.iter().filter_map(|t| day(&t.date)).min()?);
        Some(Band {
            name: say("trends.band").to_owned(),
            edges: vec![(first, around - error, around + error)],
        })
    })
}

/// A trial's remarks: repetitions with a load, wind, conditions, who took it.
#[must_use]
pub fn remarks(trial: &Trial) -> String {
    let mut out = Vec::new();
    if let (Some(reps), true) = (trial.reps, trial.load_kg.is_some() || trial.value.is_some()) {
        out.push(say_n("tests.reps", u64::try_from(reps).unwrap_or(0), &[]));
    }
    if let Some(wind) = trial.wind_m_s {
        out.push(wind_words(wind));
    }
    out.extend(trial.conditions.clone().filter(|c| !c.is_empty()));
    if trial.by_coach {
        out.push(say("tests.by-coach").to_owned());
    }
    out.join(", ")
}

fn points(test: &Test) -> Vec<Point> {
    let mut all: Vec<Point> = test
        .trials
        .iter()
        .filter_map(|t| Some(Point { on: day(&t.date)?, value: number(t)?, note: remarks(t) }))
        .collect();
    all.sort_by_key(|p: &Point| -> Day { p.on });
    all
}

fn test(test: &Test) -> impl IntoView + use<> {
    let unit = test.unit.clone().unwrap_or_default();
    let series =
        vec![Series { name: test.name.clone(), points: points(test), joined: false, break_after: None }];
    let columns = vec![
        Column::words(say("tests.best")),
        Column::words(say("tests.on")),
        Column::words(say("tests.before")),
        Column::words(say("tests.change")),
    ];
    let rows: Vec<Vec<AnyView>> = test.bests.iter().map(|b| best(b, test, &unit)).collect();
    let bests = (!rows.is_empty()).then(|| {
        let caption = say_with("tests.bests", &[("name", &test.name)]);
        view! { <DataTable caption=caption columns=columns rows=rows /> }
    });
    view! {
        <section class="stack">
            <h2>{test.name.clone()}</h2>
            <DayChart title=say("tests.series") unit=unit series=series band=band(test) />
            {bests}
        </section>
    }
}

fn best(b: &OwnBest, test: &Test, unit: &str) -> Vec<AnyView> {
    let mark = |v: f64| format!("{} {unit}", value_text(v)).trim_end().to_owned();
    let before = match (b.before, &b.before_day) {
        (Some(v), Some(on)) => say_with("tests.value-on", &[("value", &mark(v)), ("day", &day_text(on))]),
        (Some(v), None) => mark(v),
        (None, _) => say("coach.none").to_owned(),
    };
    let told = b.lack.as_ref().map(|l| l.words.clone()).or_else(|| b.reading.clone()).unwrap_or_default();
    vec![
        view! { <span class="value">{mark(b.value)}</span> {wind_aided(b.wind_aided)} }.into_any(),
        day_text(&b.day).into_any(),
        before.into_any(),
        view! { <span>{b.beyond_noise.map(against_noise)} {told}</span> {why_of(&test.name, b.why.as_ref())} }.into_any(),
    ]
}

#[cfg(test)]
mod checks {
    use super::*;
    use crate::coach::answers::{Part, Why};

    #[test]
    fn a_trial_without_a_result_counts_by_its_load() {
        let trial = Trial { load_kg: Some(122.5), reps: Some(1), ..Trial::default() };
        assert_eq!(number(&trial), Some(122.5));
        assert_eq!(remarks(&trial), "1 repetition");
        assert_eq!(number(&Trial { reps: Some(12), ..Trial::default() }), Some(12.0));
        assert_eq!(number(&Trial::default()), None);
    }

    #[test]
    fn the_band_is_the_noise_around_the_best_before() {
        let part = Part { name: "typical error".into(), value: 0.03, unit: String::new(), on: None };
        let why = Why { parts: vec![part], ..Why::default() };
        let best = OwnBest { before: Some(2.5), why: Some(why), ..OwnBest::default() };
        let trial = Trial { date: "2026-10-01".into(), value: Some(2.4), ..Trial::default() };
        let test = Test { bests: vec![best], trials: vec![trial], ..Test::default() };
        let (low, high) = band(&test).map(|b| (b.edges[0].1, b.edges[0].2)).unwrap();
        assert!((low - 2.47).abs() < 1e-9 && (high - 2.53).abs() < 1e-9);
        assert_eq!(band(&Test::default()), None);
    }
}
