//! What the server answers to a coach's questions, as far as screens show it. Knows the form of answers, not how
//! they come or how they are drawn.

mod figures;

use backstraight_core::base::day::Day;
use backstraight_core::science::Caution;
use backstraight_core::view::state::State;
use serde::Deserialize;

use crate::chart::days::value_text;
use crate::kit::{WhyParts, dates};
use crate::words::{say, say_with};

pub use figures::{
    Against, Forecast, LoadWeek, Loads, OwnBest, PlannedWeek, Saying, Test, Tests, Trial, Volume,
};

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
