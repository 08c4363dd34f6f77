//! A value with its provenance, or the reason why there is none. Knows no formula by name.

use super::{Caution, Formula};

/// What a typed function of this module answers.
pub type Computation<T> = Result<Computed<T>, NotComputable>;

/// A finite value and where it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct Computed<T> {
    /// The result; every number in it is finite.
    pub value: T,
    /// The formula that made it.
    pub formula: &'static Formula,
    /// What went in, in the order of the formula's declaration.
    pub inputs: Vec<Given>,
    /// Remarks that belong to this result, in words for a person.
    pub notes: Vec<&'static str>,
}

impl<T> Computed<T> {
    /// Stable id of the formula.
    #[must_use]
    pub fn id(&self) -> &'static str {
        self.formula.id
    }

    /// Version of the formula; goes up when the same inputs would give another number.
    #[must_use]
    pub fn version(&self) -> u16 {
        self.formula.version
    }

    /// The caution to show beside the value, if the value could steer a body.
    #[must_use]
    pub fn caution(&self) -> Option<Caution> {
        self.formula.caution
    }
}

/// Why a formula gave no value.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}: {reason}", formula.id)]
pub struct NotComputable {
    /// The formula that was asked.
    pub formula: &'static Formula,
    /// The reason.
    pub reason: Reason,
}

/// Every reason that a formula can have for giving no value.
///
/// Messages name the input and the limit, never the measurement.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Reason {
    /// The formula is off until the person (or the guardian) consents.
    #[error("needs consent")]
    NeedsConsent,
    /// NaN or infinity came in.
    #[error("{input} is not a finite number")]
    NotFinite {
        /// Name of the input.
        input: &'static str,
    },
    /// Outside the declared hard limits.
    #[error("{input} is outside {lowest} to {highest}")]
    OutOfRange {
        /// Name of the input.
        input: &'static str,
        /// Smallest allowed value.
        lowest: f64,
        /// Largest allowed value.
        highest: f64,
    },
    /// A count was not a whole number.
    #[error("{input} is not a whole number")]
    NotWhole {
        /// Name of the input.
        input: &'static str,
    },
    /// Not one of the declared words.
    #[error("{input} is not one of {allowed}")]
    UnknownWord {
        /// Name of the input.
        input: &'static str,
        /// The allowed words.
        allowed: String,
    },
    /// Fewer values than the formula needs.
    #[error("{input} needs at least {needed} values")]
    TooFew {
        /// Name of the input.
        input: &'static str,
        /// Smallest number of values.
        needed: usize,
    },
    /// More values than the formula takes.
    #[error("{input} takes at most {limit} values")]
    TooMany {
        /// Name of the input.
        input: &'static str,
        /// Largest number of values.
        limit: usize,
    },
    /// Two lists that belong together differ in length.
    #[error("{left} and {right} differ in length")]
    UnequalLengths {
        /// Name of one list.
        left: &'static str,
        /// Name of the other list.
        right: &'static str,
    },
    /// A table with a missing cell or unequal rows.
    #[error("{input} must be complete: every row as long as the first")]
    NotRectangular {
        /// Name of the input.
        input: &'static str,
    },
    /// All values are the same, so a spread of zero would divide.
    #[error("no variation in {input}")]
    NoVariation {
        /// Name of the input.
        input: &'static str,
    },
    /// Values that must rise strictly do not.
    #[error("{input} must rise strictly")]
    NotRising {
        /// Name of the input.
        input: &'static str,
    },
    /// Days were not heard of; a missing day is not a rest day.
    #[error("{input} has missing days")]
    MissingDays {
        /// Name of the input.
        input: &'static str,
    },
    /// An item was left open; a missing answer is not a zero.
    #[error("{input} has unanswered items")]
    Unanswered {
        /// Name of the input.
        input: &'static str,
    },
    /// Two inputs contradict each other or the model.
    #[error("{rule}")]
    Contradiction {
        /// The rule that was broken, in words.
        rule: &'static str,
    },
    /// The formula was never validated for this kind of exercise.
    #[error("not for this kind of lift: {rule}")]
    NotForThisLift {
        /// Why, in words.
        rule: &'static str,
    },
    /// The result would be guesswork.
    #[error("cannot be told: {rule}")]
    CannotBeTold {
        /// Why, in words.
        rule: &'static str,
    },
    /// Nothing is stored under that name or combination.
    #[error("no entry for this {what}")]
    NoEntry {
        /// What was looked for.
        what: &'static str,
    },
    /// The arithmetic left the range of finite numbers.
    #[error("the result is not a finite number")]
    ResultNotFinite,
}

/// A named input as it went into a formula.
#[derive(Debug, Clone, PartialEq)]
pub struct Given {
    /// Name as declared by the formula.
    pub name: &'static str,
    /// What was given.
    pub value: Value,
}

/// One input or output in a form that every formula shares.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number.
    Number(f64),
    /// Yes or no.
    Flag(bool),
    /// A word from a closed list, or a sentence of ours.
    Word(&'static str),
    /// Free text.
    Text(String),
    /// A list of numbers.
    List(Vec<f64>),
    /// A list with gaps: `None` is "not heard of".
    Gaps(Vec<Option<f64>>),
    /// Rows of numbers.
    Table(Vec<Vec<f64>>),
    /// A stock: mass (kg) and how many pairs.
    Stock(Vec<(f64, u32)>),
    /// Not given, or not computable while the rest is.
    Nothing,
}

impl Value {
    /// True if no NaN or infinity is inside.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        self.all(f64::is_finite)
    }

    /// True if every number inside passes; no allocation, for range checks.
    pub(super) fn all(&self, pass: impl Fn(f64) -> bool) -> bool {
        match self {
            Self::Number(n) => pass(*n),
            Self::List(list) => list.iter().all(|n| pass(*n)),
            Self::Gaps(list) => list.iter().flatten().all(|n| pass(*n)),
            Self::Table(rows) => rows.iter().flatten().all(|n| pass(*n)),
            Self::Stock(stock) => stock.iter().all(|(n, _)| pass(*n)),
            Self::Flag(_) | Self::Word(_) | Self::Text(_) | Self::Nothing => true,
        }
    }

    /// Number of items of a list-like value.
    pub(super) fn count(&self) -> Option<usize> {
        match self {
            Self::List(list) => Some(list.len()),
            Self::Gaps(list) => Some(list.len()),
            Self::Table(rows) => Some(rows.len()),
            Self::Stock(stock) => Some(stock.len()),
            _ => None,
        }
    }
}

macro_rules! value_from {
    ($($from:ty => |$v:ident| $to:expr;)*) => {$(
        impl From<$from> for Value {
            fn from($v: $from) -> Self {
                $to
            }
        }
    )*};
}

value_from! {
    f64 => |v| Self::Number(v);
    u32 => |v| Self::Number(f64::from(v));
    bool => |v| Self::Flag(v);
    &'static str => |v| Self::Word(v);
    String => |v| Self::Text(v);
    Vec<f64> => |v| Self::List(v);
    &[f64] => |v| Self::List(v.to_vec());
    Vec<Option<f64>> => |v| Self::Gaps(v);
    &[Option<f64>] => |v| Self::Gaps(v.to_vec());
    Vec<Vec<f64>> => |v| Self::Table(v);
    &[Vec<f64>] => |v| Self::Table(v.to_vec());
    &[(f64, u32)] => |v| Self::Stock(v.to_vec());
    Option<f64> => |v| v.map_or(Self::Nothing, Self::Number);
    Option<bool> => |v| v.map_or(Self::Nothing, Self::Flag);
    Option<&'static str> => |v| v.map_or(Self::Nothing, Self::Word);
    Option<&[f64]> => |v| v.map_or(Self::Nothing, |list| Self::List(list.to_vec()));
}

/// The named numbers of a result. A single one is called `value`.
pub trait Outputs {
    /// Name and value of each part, in the order of the declaration.
    fn outputs(&self) -> Vec<(&'static str, Value)>;
}

impl Outputs for f64 {
    fn outputs(&self) -> Vec<(&'static str, Value)> {
        vec![("value", Value::Number(*self))]
    }
}

impl Outputs for Vec<f64> {
    fn outputs(&self) -> Vec<(&'static str, Value)> {
        vec![("value", Value::List(self.clone()))]
    }
}

/// Makes a result struct whose fields are its named outputs.
macro_rules! outputs {
    ($(#[$meta:meta])* $name:ident { $($(#[$fmeta:meta])* $field:ident: $ty:ty,)* }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $name {
            $($(#[$fmeta])* pub $field: $ty,)*
        }

        impl $crate::science::Outputs for $name {
            fn outputs(&self) -> Vec<(&'static str, $crate::science::Value)> {
                vec![$((stringify!($field), $crate::science::Value::from(self.$field.clone())),)*]
            }
        }
    };
}

/// Names the inputs of a computation: `given![w, r]` or `given!["L" => leg]`.
macro_rules! given {
    ($($name:ident),* $(,)?) => {
        vec![$($crate::science::Given {
            name: stringify!($name),
            value: $crate::science::Value::from($name),
        },)*]
    };
    ($($name:literal => $value:expr),* $(,)?) => {
        vec![$($crate::science::Given {
            name: $name,
            value: $crate::science::Value::from($value),
        },)*]
    };
}

pub(crate) use {given, outputs};
