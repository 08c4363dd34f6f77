//! An athlete's test trials, by test.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::model::log::Trial;
use backstraight_core::view::library::Library;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::text::table;
use crate::review::Review;

/// The trials of one athlete.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Tests {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// Tests of which there are trials, by name.
    pub tests: Vec<Test>,
}

/// The trials of one test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Test {
    /// Key of the test in the library.
    pub test: String,
    /// Its name.
    pub name: String,
    /// What it measures, in words; missing when the library does not have the test.
    pub measure: Option<String>,
    /// Which way is better, in words.
    pub better: Option<String>,
    /// Unit of the value.
    pub unit: Option<String>,
    /// Trials, oldest first.
    pub trials: Vec<TrialReport>,
}

/// One trial.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TrialReport {
    /// Key.
    pub trial: String,
    /// Day.
    pub date: String,
    /// The result in the test's unit.
    pub value: Option<f64>,
    /// Load in kg, for loaded tests.
    pub load_kg: Option<f64>,
    /// Repetitions, for repetition tests.
    pub reps: Option<i64>,
    /// Wind in m/s, positive from behind.
    pub wind_m_s: Option<f64>,
    /// Whatever may change the result.
    pub conditions: Option<String>,
    /// Whether a coach took it.
    pub by_coach: bool,
}

/// The trials of the (one) athlete that was gathered; none when there is no such athlete.
#[must_use]
pub fn of(gathered: &Review, (from, to, _): (Day, Day, Day)) -> Option<Tests> {
    let row = gathered.rows().into_iter().next()?;
    let mut by_test: BTreeMap<Key, Vec<TrialReport>> = BTreeMap::new();
    for entry in &row.athlete.done.trials {
        let date = entry.record.date;
        if from <= date && date <= to {
            let report = trial(&entry.key(), &entry.record);
            by_test.entry(entry.record.protocol.clone()).or_default().push(report);
        }
    }
    let mut tests: Vec<Test> =
        by_test.into_iter().map(|(key, trials)| test(&key, trials, &gathered.library)).collect();
    tests.sort_by(|a, b| (&a.name, &a.test).cmp(&(&b.name, &b.test)));
    Some(Tests { id: row.athlete.person.to_string(), name: row.athlete.name.to_owned(), tests })
}

fn test(key: &Key, trials: Vec<TrialReport>, library: &Library) -> Test {
    let known = library.protocols.get(key).map(|p| &p.record);
    Test {
        test: key.to_string(),
        name: known.map_or_else(|| key.to_string(), |p| p.name.to_string()),
        measure: known.map(|p| p.measure.word().to_owned()),
        better: known.map(|p| p.better.word().to_owned()),
        unit: known.and_then(|p| p.unit.as_ref()).map(ToString::to_string),
        trials,
    }
}

fn trial(key: &Key, t: &Trial) -> TrialReport {
    TrialReport {
        trial: key.to_string(),
        date: t.date.to_string(),
        value: t.value.map(|v| v.as_f64() / 1000.0),
        load_kg: t.load.map(|l| l.as_f64() / 100.0),
        reps: t.reps.map(|n| n.get()),
        wind_m_s: t.wind.map(|w| w.as_f64() / 1000.0),
        conditions: t.conditions.as_ref().map(ToString::to_string),
        by_coach: t.by.is_some(),
    }
}

impl Tests {
    /// As a table, one line per trial.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut rows = Vec::new();
        for test in &self.tests {
            for t in &test.trials {
                let unit = test.unit.as_deref().unwrap_or_default();
                let mut words: Vec<String> = Vec::new();
                words.extend(t.value.map(|v| format!("{v} {unit}").trim_end().to_owned()));
                words.extend(t.reps.map(|n| format!("{n} reps")));
                words.extend(t.load_kg.map(|l| format!("{l} kg")));
                words.extend(t.wind_m_s.map(|w| format!("wind {w:+.1} m/s")));
                let by = if t.by_coach { "coach" } else { "athlete" };
                let conditions = t.conditions.clone().unwrap_or_default();
                rows.push(vec![
                    t.date.clone(),
                    test.name.clone(),
                    words.join(", "),
                    by.to_owned(),
                    conditions,
                ]);
            }
        }
        table(&["day", "test", "result", "taken by", "conditions"], &rows)
    }
}
