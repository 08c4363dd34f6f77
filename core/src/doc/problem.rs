//! What is wrong with a command: a list for the person who made it, never just the first thing.

use core::fmt;

/// What kind of problem.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Code {
    /// The record does not belong into this kind of document.
    WrongDocument,
    /// The record or what it refers to does not exist.
    NotFound,
    /// The key is in use.
    KeyTaken,
    /// The exercise is not in the library.
    UnknownExercise,
    /// The date lies outside the season.
    OutsideSeason,
    /// The record belongs into another month's document.
    WrongMonth,
    /// A clock that cannot be right.
    WrongClock,
    /// Two values that contradict each other.
    Contradiction,
    /// Nothing would change.
    NoChange,
    /// More than one deed may do.
    TooMuch,
}

impl Code {
    /// A stable word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Code::WrongDocument => "wrong-document",
            Code::NotFound => "not-found",
            Code::KeyTaken => "key-taken",
            Code::UnknownExercise => "unknown-exercise",
            Code::OutsideSeason => "outside-season",
            Code::WrongMonth => "wrong-month",
            Code::WrongClock => "wrong-clock",
            Code::Contradiction => "contradiction",
            Code::NoChange => "no-change",
            Code::TooMuch => "too-much",
        }
    }
}

/// One problem: where, which field, what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The record, as the document places it.
    pub place: String,
    /// The field; empty when it is the whole record.
    pub field: &'static str,
    /// What kind.
    pub code: Code,
    /// In words, naming the limit.
    pub text: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.place)?;
        if !self.field.is_empty() {
            write!(f, ", {}", self.field)?;
        }
        write!(f, ": {}", self.text)
    }
}
