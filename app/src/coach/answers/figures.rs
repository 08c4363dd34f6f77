//! Answers that are figures over time: load by week, the weeks to come, tests.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::{CautionAnswer, Figure, Lack, Why};

/// The load of an athlete's weeks.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Loads {
    /// Name shown.
    #[serde(default)]
    pub name: String,
    /// The weeks, oldest first.
    pub weeks: Vec<LoadWeek>,
}

/// A week of load.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct LoadWeek {
    /// Its Monday.
    pub start: String,
    /// Effort times minutes.
    pub load: Figure,
    /// Whether nothing is missing in it.
    #[serde(default)]
    pub complete: bool,
    /// Days of which nothing was heard.
    #[serde(default)]
    pub unheard_days: u32,
    /// Sessions of which nothing was heard.
    #[serde(default)]
    pub unheard_sessions: u32,
    /// Sessions without an effort.
    #[serde(default)]
    pub without_effort: u32,
    /// Monotony.
    pub monotony: Figure,
    /// Strain.
    pub strain: Figure,
    /// Fading average over a week.
    pub fading_7: Figure,
    /// Fading average over four weeks.
    pub fading_28: Figure,
    /// Against the weeks before, three ways.
    pub against_before: Against,
    /// What was moved.
    pub volume: Volume,
}

/// Against the weeks before.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Against {
    /// Fading averages.
    #[serde(default)]
    pub fading: Option<f64>,
    /// Of the 28 days with the week.
    #[serde(default)]
    pub of_28_with: Option<f64>,
    /// Of the 21 days before it.
    #[serde(default)]
    pub of_21_before: Option<f64>,
    /// What it rests on.
    #[serde(default)]
    pub why: Option<Why>,
    /// Why there is none.
    #[serde(default)]
    pub lack: Option<Lack>,
}

/// What was moved in a week.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Volume {
    /// Kilograms by pattern.
    #[serde(default)]
    pub kg: BTreeMap<String, f64>,
    /// Ground contacts.
    #[serde(default)]
    pub contacts_low: f64,
    /// Ground contacts.
    #[serde(default)]
    pub contacts_medium: f64,
    /// Ground contacts.
    #[serde(default)]
    pub contacts_high: f64,
    /// Ground contacts without a class.
    #[serde(default)]
    pub contacts_unclassed: f64,
    /// Metres sprinted.
    #[serde(default)]
    pub sprint_m: f64,
    /// Metres run.
    #[serde(default)]
    pub run_m: f64,
    /// Seconds held.
    #[serde(default)]
    pub hold_s: f64,
}

impl Volume {
    /// All kilograms.
    #[must_use]
    pub fn all_kg(&self) -> f64 {
        // An empty sum is −0.
        self.kg.values().sum::<f64>() + 0.0
    }

    /// All ground contacts.
    #[must_use]
    pub fn contacts(&self) -> f64 {
        self.contacts_low + self.contacts_medium + self.contacts_high + self.contacts_unclassed
    }
}

/// The plan as written beside the last weeks.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Forecast {
    /// The last weeks.
    pub last: Vec<LoadWeek>,
    /// The weeks from this one on.
    pub next: Vec<PlannedWeek>,
    /// What there is to say.
    #[serde(default)]
    pub says: Vec<Saying>,
}

/// A planned week.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct PlannedWeek {
    /// Its Monday.
    pub start: String,
    /// Sessions.
    #[serde(default)]
    pub sessions: u32,
    /// The load asked.
    pub load: Figure,
    /// Against the last weeks.
    pub against_last: Figure,
    /// What it aims at.
    #[serde(default)]
    pub aims: Vec<String>,
    /// What is asked.
    pub volume: Volume,
}

/// Something to say about the weeks to come.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Saying {
    /// In words.
    pub words: String,
    /// What it rests on.
    #[serde(default)]
    pub why: Option<Why>,
    /// Why nothing more is known.
    #[serde(default)]
    pub lack: Option<Lack>,
    /// The caution to show beside it.
    pub caution: CautionAnswer,
}

/// Test trials of an athlete.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Tests {
    /// Name shown.
    #[serde(default)]
    pub name: String,
    /// By test.
    pub tests: Vec<Test>,
}

/// One test.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Test {
    /// Its name.
    pub name: String,
    /// Its unit.
    #[serde(default)]
    pub unit: Option<String>,
    /// The trials.
    #[serde(default)]
    pub trials: Vec<Trial>,
    /// Own bests.
    #[serde(default)]
    pub bests: Vec<OwnBest>,
}

/// A trial.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Trial {
    /// Its day.
    pub date: String,
    /// The result.
    #[serde(default)]
    pub value: Option<f64>,
    /// A load, in kg.
    #[serde(default)]
    pub load_kg: Option<f64>,
    /// Repetitions.
    #[serde(default)]
    pub reps: Option<i64>,
    /// Wind, in m/s.
    #[serde(default)]
    pub wind_m_s: Option<f64>,
    /// Conditions.
    #[serde(default)]
    pub conditions: Option<String>,
    /// Whether a coach took it.
    #[serde(default)]
    pub by_coach: bool,
}

/// An athlete's own best.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct OwnBest {
    /// Whether the wind was too strong to count.
    #[serde(default)]
    pub wind_aided: bool,
    /// The number.
    pub value: f64,
    /// The day.
    pub day: String,
    /// The one before.
    #[serde(default)]
    pub before: Option<f64>,
    /// Its day.
    #[serde(default)]
    pub before_day: Option<String>,
    /// Whether the change is beyond the noise.
    #[serde(default)]
    pub beyond_noise: Option<bool>,
    /// In words.
    #[serde(default)]
    pub reading: Option<String>,
    /// What it rests on.
    #[serde(default)]
    pub why: Option<Why>,
    /// Why nothing is said.
    #[serde(default)]
    pub lack: Option<Lack>,
}
