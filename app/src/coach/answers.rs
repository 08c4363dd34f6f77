//! What the server answers to a coach's questions, as far as screens show it. Knows the form of answers, not how
//! they come or how they are drawn.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::science::Caution;
use backstraight_core::view::state::State;
use serde::Deserialize;

use crate::chart::days::value_text;
use crate::kit::{WhyParts, dates};
use crate::words::{say, say_with};

/// The rule behind a figure and what went into it.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Why {
    /// The rule in a line.
    #[serde(default)]
    pub rule: String,
    /// Its source.
    #[serde(default)]
    pub source: String,
    /// What went in.
    #[serde(default)]
    pub parts: Vec<Part>,
    /// Remarks.
    #[serde(default)]
    pub notes: Vec<String>,
    /// The caution to show beside it.
    #[serde(default)]
    pub caution: Option<CautionAnswer>,
}

/// One number that went into a figure.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Part {
    /// What it is.
    pub name: String,
    /// The number.
    pub value: f64,
    /// Its unit.
    #[serde(default)]
    pub unit: String,
    /// The day of which it tells.
    #[serde(default)]
    pub on: Option<String>,
}

/// A caution.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct CautionAnswer {
    /// A stable word.
    #[serde(default)]
    pub code: String,
    /// For a person.
    pub words: String,
}

impl CautionAnswer {
    /// The caution that core has under that word.
    #[must_use]
    pub fn known(&self) -> Option<Caution> {
        Caution::ALL.into_iter().find(|c| c.code() == self.code)
    }
}

impl From<&Why> for WhyParts {
    fn from(why: &Why) -> WhyParts {
        let row = |part: &Part| {
            let value = format!("{} {}", value_text(part.value), part.unit).trim_end().to_owned();
            let value = match part.on.as_deref().and_then(day) {
                Some(on) => say_with("kit.why.on", &[("value", &value), ("day", &dates::full(on))]),
                None => value,
            };
            (part.name.clone(), value)
        };
        WhyParts {
            rule: why.rule.clone(),
            source: why.source.clone(),
            rows: why.parts.iter().map(row).collect(),
            notes: why.notes.clone(),
            caution: why.caution.as_ref().and_then(CautionAnswer::known),
        }
    }
}

/// Why there is no figure.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Lack {
    /// In words.
    pub words: String,
}

/// A figure, or why there is none.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Figure {
    /// The number.
    #[serde(default)]
    pub value: Option<f64>,
    /// Its unit.
    #[serde(default)]
    pub unit: String,
    /// What it rests on.
    #[serde(default)]
    pub why: Option<Why>,
    /// Why there is no number.
    #[serde(default)]
    pub lack: Option<Lack>,
}

/// A page of the board.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Board {
    /// How many rows are older than what was acknowledged.
    #[serde(default)]
    pub pending: u64,
    /// For the next page.
    #[serde(default)]
    pub next: Option<String>,
    /// A line for each athlete.
    pub athletes: Vec<Line>,
}

/// One athlete's line.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Line {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// Event group.
    #[serde(default)]
    pub events: String,
    /// The last local day through which the phone was heard.
    #[serde(default)]
    pub heard_through: Option<String>,
    /// Why nothing is heard.
    #[serde(default)]
    pub silence: Option<String>,
    /// Mean share of the sessions heard of.
    #[serde(default)]
    pub share: Option<f64>,
    /// How many sessions that counts.
    #[serde(default)]
    pub heard: u64,
    /// Sessions of which nothing is known.
    #[serde(default)]
    pub unheard: u64,
    /// Fields at which two edits met.
    #[serde(default)]
    pub met: u64,
    /// The last day for which there is a session.
    #[serde(default)]
    pub plan_to: Option<String>,
    /// What care staff said that holds today.
    #[serde(default)]
    pub availability: Option<Availability>,
    /// Sessions by day.
    #[serde(default)]
    pub sessions: Vec<Cell>,
}

/// What care staff said.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Availability {
    /// How much.
    pub level: String,
    /// In words.
    pub words: String,
    /// The caution to show beside it.
    #[serde(default)]
    pub caution: String,
}

/// A session as a cell.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Cell {
    /// Its day.
    pub date: String,
    /// Its key.
    #[serde(default)]
    pub session: Option<String>,
    /// Its title.
    #[serde(default)]
    pub title: String,
    /// The word of its state.
    pub state: String,
    /// The share done.
    #[serde(default)]
    pub share: Option<f64>,
    /// Sets done.
    #[serde(default)]
    pub sets_done: u64,
    /// Sets asked.
    #[serde(default)]
    pub sets_asked: u64,
    /// Whether an earlier version was done.
    #[serde(default)]
    pub earlier_version: bool,
    /// How many exercises were swapped as allowed.
    #[serde(default)]
    pub swapped: u64,
    /// The day on which it was done, when another.
    #[serde(default)]
    pub done_on: Option<String>,
    /// How long it took.
    #[serde(default)]
    pub minutes: Option<i64>,
    /// How hard it was.
    #[serde(default)]
    pub effort: Option<f64>,
    /// What care staff said of that day, when less than all.
    #[serde(default)]
    pub availability: Option<String>,
}

impl Cell {
    /// Its state; a word that is not known reads as unheard: nothing is claimed.
    #[must_use]
    pub fn state(&self) -> State {
        State::ALL.into_iter().find(|s| s.word() == self.state).unwrap_or(State::Unheard)
    }

    /// Its day.
    #[must_use]
    pub fn day(&self) -> Option<Day> {
        day(&self.date)
    }
}

/// One athlete in full.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Athlete {
    /// What the board says.
    #[serde(flatten)]
    pub line: Line,
    /// Sessions in full.
    #[serde(default)]
    pub reviews: Vec<Session>,
    /// Where two edits met.
    #[serde(default)]
    pub met_here: Vec<Met>,
}

/// A field at which two edits met.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Met {
    /// What it is about.
    pub about: String,
    /// The field.
    pub field: String,
    /// The values; the first is shown meanwhile.
    pub choices: Vec<Choice>,
}

/// One of the values.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Choice {
    /// In words.
    pub value: String,
    /// Who wrote it.
    pub who: String,
}

/// A session in full.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Session {
    /// What the board says.
    #[serde(flatten)]
    pub cell: Cell,
    /// Exercises asked.
    #[serde(default)]
    pub items: Vec<Item>,
    /// Sets that nobody asked.
    #[serde(default)]
    pub unasked: Vec<Set>,
    /// Words of the athlete.
    #[serde(default)]
    pub comment: Option<String>,
    /// Why it was left out.
    #[serde(default)]
    pub left_out: Option<String>,
}

/// An exercise: asked and done.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Item {
    /// What was asked.
    pub asked_exercise: String,
    /// As it was shown.
    pub asked: String,
    /// What the plan asks now, when it differs.
    #[serde(default)]
    pub asks_now: Option<String>,
    /// What was done.
    #[serde(default)]
    pub done_exercise: Option<String>,
    /// How it was done.
    pub how: String,
    /// The share done.
    pub share: f64,
    /// The sets.
    #[serde(default)]
    pub sets: Vec<Set>,
}

/// A set.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Set {
    /// In words.
    pub done: String,
    /// Earlier values.
    #[serde(default)]
    pub corrected_from: Vec<String>,
    /// Other corrections.
    #[serde(default)]
    pub also_corrected_to: Vec<String>,
}

/// A page of reasons to look.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Attention {
    /// For the next page.
    #[serde(default)]
    pub next: Option<String>,
    /// Athletes by name.
    pub athletes: Vec<Reasons>,
}

/// One athlete's reasons.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Reasons {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// The reasons, in their order.
    pub reasons: Vec<Reason>,
    /// What could not be looked at.
    #[serde(default)]
    pub not_looked: Vec<NotLooked>,
}

/// A reason to look.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Reason {
    /// About what.
    pub topic: String,
    /// In words.
    pub words: String,
    /// The day.
    #[serde(default)]
    pub on: Option<String>,
    /// Its numbers and the rule.
    pub why: Why,
}

/// What could not be looked at.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct NotLooked {
    /// The topic.
    pub topic: String,
    /// Why.
    pub why: String,
}

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

/// The squads of the club.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
pub struct Squads {
    /// By name.
    pub squads: Vec<Squad>,
}

/// A squad.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
pub struct Squad {
    /// Identity.
    pub squad: String,
    /// Name shown.
    pub name: String,
}

/// A day of an answer.
#[must_use]
pub fn day(text: &str) -> Option<Day> {
    text.parse().ok()
}

/// A day of an answer as people read it; as it came when it is none.
#[must_use]
pub fn day_text(text: &str) -> String {
    day(text).map_or_else(|| text.to_owned(), dates::named)
}

/// A share as whole percent; a dash when nothing is known.
#[must_use]
pub fn percent(share: Option<f64>) -> String {
    share
        .filter(|s| s.is_finite())
        .map_or_else(|| say("coach.none").to_owned(), |s| format!("{:.0} %", s * 100.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_the_board_is_read_with_what_may_be_missing() {
        let line: Line = serde_json::from_str(
            r#"{"id":"a","name":"Ines","events":"","heard_through":null,"share":0.88,"heard":3,"unheard":1,
            "met":0,"unreadable":0,"sessions":[{"date":"2026-11-25","title":"Lower","state":"part done",
            "share":0.5,"sets_done":3,"sets_asked":6},{"date":"2026-11-26","title":"","state":"new word",
            "sets_done":0,"sets_asked":0}]}"#,
        )
        .unwrap();
        let states: Vec<State> = line.sessions.iter().map(Cell::state).collect();
        assert_eq!(states, [State::Part, State::Unheard]);
        assert_eq!(percent(line.share), "88 %");
        assert_eq!(percent(Some(f64::NAN)), "–");
    }

    #[test]
    fn a_session_and_its_cell_are_one_object() {
        let session: Session = serde_json::from_str(
            r#"{"date":"2026-11-25","title":"Lower","state":"done","sets_done":1,"sets_asked":1,
            "items":[{"item":"k","asked_exercise":"Squat","asked":"1 x 5","asks_now":null,"done_exercise":null,
            "how":"as asked","share":1.0,"sets":[{"set":"s","done":"5 reps","load_kg":null,"reps":5,"share":1.0,
            "corrected_from":["4 reps"],"also_corrected_to":[]}]}],"unasked":[],"comment":null,"left_out":null}"#,
        )
        .unwrap();
        assert_eq!(session.cell.state(), State::Done);
        assert_eq!(session.items.first().map(|i| i.sets.len()), Some(1));
    }

    #[test]
    fn a_caution_is_known_by_its_word() {
        let why: Why = serde_json::from_str(
            r#"{"rule":"r","parts":[{"name":"n","value":7.5,"unit":"kg","on":"2026-11-02"}],
            "caution":{"code":"load","words":"w"}}"#,
        )
        .unwrap();
        let parts = WhyParts::from(&why);
        assert_eq!(parts.caution, Some(Caution::Load));
        assert_eq!(parts.rows, [("n".to_owned(), "7.5 kg, Mon 2 Nov 2026".to_owned())]);
    }
}
