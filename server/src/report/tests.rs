//! An athlete's test trials, by test.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::model::log::Trial;
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::marks::Noises;
use backstraight_core::view::records::{self, Personal};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::text::table;
use super::why::{LackReport, WhyReport};
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
    /// Trials of the days, oldest first.
    pub trials: Vec<TrialReport>,
    /// The athlete's own best up to today, whatever the days; too much wind has a best of its own.
    pub bests: Vec<OwnBest>,
}

/// An athlete's own best mark in a test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OwnBest {
    /// Whether the wind was too strong for it to count.
    pub wind_aided: bool,
    /// The number, in the test's unit; of equal ones the earliest.
    pub value: f64,
    /// The day.
    pub day: String,
    /// Wind in m/s, where it was measured.
    pub wind_m_s: Option<f64>,
    /// The best before that day.
    pub before: Option<f64>,
    /// Its day.
    pub before_day: Option<String>,
    /// Whether the two differ by more than the noise of the test; missing when it cannot be told.
    pub beyond_noise: Option<bool>,
    /// The same in words.
    pub reading: Option<String>,
    /// The numbers behind it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<WhyReport>,
    /// Why it cannot be told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lack: Option<LackReport>,
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

/// The trials of the (one) athlete that was gathered; none when there is no such athlete. `marks` holds
/// all trials of everybody who may be reviewed, from which the noise of a test is told.
#[must_use]
pub fn of(
    gathered: &Review,
    marks: &BTreeMap<PersonId, Done>,
    (from, to, today): (Day, Day, Day),
) -> Option<Tests> {
    let row = gathered.rows().into_iter().next()?;
    let mut by_test: BTreeMap<Key, Test> = BTreeMap::new();
    let library = &gathered.library;
    for entry in &row.athlete.done.trials {
        let date = entry.record.date;
        if from <= date && date <= to {
            let key = &entry.record.protocol;
            let of = by_test.entry(key.clone()).or_insert_with(|| test(key, library));
            of.trials.push(trial(&entry.key(), &entry.record));
        }
    }
    let noises = Noises::of(library, marks.values());
    let own = marks.get(&row.athlete.person);
    for best in own.into_iter().flat_map(|done| records::personal(done, library, &noises, today)) {
        let of = by_test.entry(best.protocol.clone()).or_insert_with(|| test(&best.protocol, library));
        of.bests.push(own_best(&best));
    }
    let mut tests: Vec<Test> = by_test.into_values().collect();
    tests.sort_by(|a, b| (&a.name, &a.test).cmp(&(&b.name, &b.test)));
    Some(Tests { id: row.athlete.person.to_string(), name: row.athlete.name.to_owned(), tests })
}

fn test(key: &Key, library: &Library) -> Test {
    let known = library.protocols.get(key).map(|p| &p.record);
    Test {
        test: key.to_string(),
        name: known.map_or_else(|| key.to_string(), |p| p.name.to_string()),
        measure: known.map(|p| p.measure.word().to_owned()),
        better: known.map(|p| p.better.word().to_owned()),
        unit: known.and_then(|p| p.unit.as_ref()).map(ToString::to_string),
        trials: Vec::new(),
        bests: Vec::new(),
    }
}

fn own_best(p: &Personal) -> OwnBest {
    let change = p.change.as_ref();
    OwnBest {
        wind_aided: p.wind_aided,
        value: p.best.value,
        day: p.best.day.to_string(),
        wind_m_s: p.best.wind,
        before: p.before.as_ref().map(|m| m.value),
        before_day: p.before.as_ref().map(|m| m.day.to_string()),
        beyond_noise: change.ok().map(|c| c.beyond_noise),
        reading: change.ok().map(|c| c.reading.to_owned()),
        why: change.ok().map(|c| WhyReport::of(&c.why)),
        lack: change.err().map(LackReport::of),
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
        let mut bests = Vec::new();
        for test in &self.tests {
            for b in &test.bests {
                let unit = test.unit.as_deref().unwrap_or_default();
                let before = b.before.map_or_else(String::new, |v| format!("{v} {unit}"));
                let told = b.lack.as_ref().map(|l| l.words.clone()).or_else(|| b.reading.clone());
                let wind = if b.wind_aided { " (wind-aided)" } else { "" };
                bests.push(vec![
                    format!("{}{wind}", test.name),
                    format!("{} {unit}", b.value),
                    b.day.clone(),
                    before,
                    told.unwrap_or_default(),
                ]);
            }
        }
        format!(
            "{}\n\nOwn bests\n\n{}",
            table(&["day", "test", "result", "taken by", "conditions"], &rows),
            table(&["test", "best", "on", "before that", "the change"], &bests)
        )
    }
}
