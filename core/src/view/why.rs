//! Why a figure is what it is: the rule, its source and the parts; or why there is no figure.
//! Knows no document.

use crate::base::day::Day;
use crate::science::{Caution, Computed, NotComputable, Reason};

/// One number that went into a figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// What it is.
    pub name: String,
    /// The number, in `unit`.
    pub value: f64,
    /// Its unit; empty for a mere number.
    pub unit: &'static str,
    /// The day of which it tells.
    pub on: Option<Day>,
}

impl Part {
    /// A part of no particular day.
    #[must_use]
    pub fn of(name: impl Into<String>, value: f64, unit: &'static str) -> Part {
        Part { name: name.into(), value, unit, on: None }
    }

    /// A part of a day.
    #[must_use]
    pub fn on(name: impl Into<String>, value: f64, unit: &'static str, day: Day) -> Part {
        Part { on: Some(day), ..Part::of(name, value, unit) }
    }
}

/// Where a rule of the review that no publication gives says that it comes from.
pub const OURS: &str = "common practice, no source";

/// The rule behind a figure and what went into it.
#[derive(Debug, Clone, PartialEq)]
pub struct Why {
    /// Stable name of the formula or of the rule of the review.
    pub formula: &'static str,
    /// Its version; goes up when the same parts would give another number.
    pub version: u16,
    /// The rule in a line.
    pub rule: &'static str,
    /// Its source.
    pub source: &'static str,
    /// What went in.
    pub parts: Vec<Part>,
    /// Remarks on this result.
    pub notes: Vec<&'static str>,
    /// The caution to show beside it, where the figure could steer a body.
    pub caution: Option<Caution>,
}

impl Why {
    /// A rule of the review itself, described in `docs/meanings.md`.
    #[must_use]
    pub const fn ours(formula: &'static str, rule: &'static str, parts: Vec<Part>) -> Why {
        Why { formula, version: 1, rule, source: OURS, parts, notes: Vec::new(), caution: None }
    }

    /// The same with a caution.
    #[must_use]
    pub fn with(self, caution: Caution) -> Why {
        Why { caution: Some(caution), ..self }
    }

    /// What a formula says about its answer, with the parts in the words of the review.
    #[must_use]
    pub fn by<T>(computed: &Computed<T>, parts: Vec<Part>) -> Why {
        Why {
            formula: computed.id(),
            version: computed.version(),
            rule: computed.formula.rule,
            source: computed.formula.source,
            parts,
            notes: computed.notes.clone(),
            caution: computed.caution(),
        }
    }
}

/// A number with its unit and why.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// The number; always finite.
    pub value: f64,
    /// Its unit; empty for a mere number.
    pub unit: &'static str,
    /// Why it is what it is.
    pub why: Why,
}

/// Why there is no figure. Never a made-up number, never a silent zero.
#[derive(Debug, Clone, PartialEq)]
pub enum Lack {
    /// Days of which nothing is known lie in it.
    Unheard {
        /// How many.
        days: u32,
    },
    /// Sessions were done whose effort or minutes nobody gave.
    NoEffort {
        /// How many.
        sessions: u32,
    },
    /// Days are still to come.
    StillToCome {
        /// How many.
        days: u32,
    },
    /// Too little to tell from.
    TooFew {
        /// Of what.
        what: &'static str,
        /// How many there are.
        have: u32,
        /// How many are needed.
        need: u32,
    },
    /// Nothing of the kind is known.
    Nothing {
        /// Of what.
        what: &'static str,
    },
    /// A formula refused.
    Refused {
        /// Which.
        formula: &'static str,
        /// Why.
        reason: Reason,
    },
}

impl Lack {
    /// A stable word for machines.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Lack::Unheard { .. } => "unheard",
            Lack::NoEffort { .. } => "no-effort",
            Lack::StillToCome { .. } => "still-to-come",
            Lack::TooFew { .. } => "too-few",
            Lack::Nothing { .. } => "nothing",
            Lack::Refused { .. } => "refused",
        }
    }

    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        let some = |n: u32, one: &str| if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") };
        match self {
            Lack::Unheard { days } => format!("{} unheard", some(*days, "day")),
            Lack::NoEffort { sessions } => {
                format!("{} without effort or minutes", some(*sessions, "session"))
            }
            Lack::StillToCome { days } => format!("{} still to come", some(*days, "day")),
            Lack::TooFew { what, have, need } => format!("{have} {what}, {need} needed"),
            Lack::Nothing { what } => format!("no {what}"),
            Lack::Refused { reason, .. } => reason.to_string(),
        }
    }
}

impl From<NotComputable> for Lack {
    fn from(refusal: NotComputable) -> Lack {
        Lack::Refused { formula: refusal.formula.id, reason: refusal.reason }
    }
}

/// A figure, or why there is none.
pub type Outcome = Result<Figure, Lack>;

/// A count as a float.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "counts of days, sets and sessions")]
pub const fn float(n: usize) -> f64 {
    n as f64
}

/// A count that is shown.
#[must_use]
pub fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
