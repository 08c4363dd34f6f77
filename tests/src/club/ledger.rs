//! What the invented athletes did, kept in a plain list beside the product: the independent tally
//! against which everything that the product shows is checked.

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;

/// One thing that a phone said is saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saved {
    /// Which athlete, by place in the list.
    pub athlete: usize,
    /// The day.
    pub day: Day,
    /// The planned session.
    pub session: Key,
    /// The prescription; none for work that nobody asked.
    pub item: Option<Key>,
    /// The key of the set.
    pub set: Key,
    /// The exercise done.
    pub ex: Key,
    /// Load in 10 g.
    pub load: Option<i64>,
    /// Repetitions, contacts, ms held or mm covered: whatever the dose counts.
    pub amount: Option<i64>,
    /// The set that this one corrects.
    pub amends: Option<Key>,
}

/// What an athlete did with a planned session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    /// All of it.
    All,
    /// Some of it.
    Some,
    /// Another exercise in place of one, not among those allowed.
    Other,
    /// Said to leave it out.
    LeftOut,
    /// Nothing, and nothing said.
    Nothing,
}

/// One planned session and what became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// Which athlete.
    pub athlete: usize,
    /// The planned session.
    pub session: Key,
    /// The day for which it was planned.
    pub day: Day,
    /// What the athlete did.
    pub deed: Deed,
}

/// A test trial that a phone said is saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trialled {
    /// Which athlete, by place in the list.
    pub athlete: usize,
    /// The day.
    pub day: Day,
    /// The short word of the test.
    pub test: &'static str,
    /// Thousandths of its unit.
    pub value: i64,
    /// Wind in mm/s, where it was measured.
    pub wind: Option<i64>,
    /// Whether it was withdrawn.
    pub withdrawn: bool,
    /// Whether a coach took it.
    pub by_coach: bool,
}

impl Trialled {
    /// Whether the wind was over the limit of two metres a second.
    #[must_use]
    pub fn windy(&self) -> bool {
        self.wind.is_some_and(|w| w > 2_000)
    }
}

/// The tally.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ledger {
    /// Every set that was called saved.
    pub saved: Vec<Saved>,
    /// Every planned session up to the day.
    pub outcomes: Vec<Outcome>,
    /// Every test trial.
    pub trials: Vec<Trialled>,
}
