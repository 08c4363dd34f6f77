//! Bounded whole numbers with their unit, words of the trade, bounded texts and lists.
//! Every limit here is checked when writing, when reading and by the gate.

use core::fmt;
use core::str::FromStr;

use super::spec::{Field, FieldKind, Scalar};
use crate::base::leb128;

/// A number outside what a person, a bar or a track can be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what} must be {min} to {max} {unit}, not {got}")]
pub struct OutOfRange {
    what: &'static str,
    unit: &'static str,
    min: i64,
    max: i64,
    got: i64,
}

macro_rules! bounded {
    ($( $(#[$doc:meta])* $name:ident, $what:literal, $unit:literal, $min:literal ..= $max:literal; )*) => { $(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(i64);

        impl $name {
            /// Least value.
            pub const MIN: i64 = $min;
            /// Greatest value.
            pub const MAX: i64 = $max;

            /// From a whole number in the unit named above.
            ///
            /// # Errors
            /// When outside the range.
            pub const fn new(n: i64) -> Result<Self, OutOfRange> {
                if n < $min || n > $max {
                    return Err(OutOfRange { what: $what, unit: $unit, min: $min, max: $max, got: n });
                }
                Ok(Self(n))
            }

            /// The whole number.
            #[must_use]
            pub const fn get(self) -> i64 {
                self.0
            }

            /// The number as a float, for formulas.
            #[must_use]
            #[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
            pub const fn as_f64(self) -> f64 {
                self.0 as f64
            }
        }

        impl Field for $name {
            const KIND: FieldKind = FieldKind::Int { min: $min, max: $max };
            fn to_scalar(&self) -> Scalar {
                Scalar::Int(self.0)
            }
            fn from_scalar(value: &Scalar) -> Option<Self> {
                match value {
                    Scalar::Int(n) => Self::new(*n).ok(),
                    _ => None,
                }
            }
        }
    )* };
}

bounded! {
    /// A load on the bar or in the hands, in 10 g: 0 to 1,000 kg.
    Load, "load", "x 10 g", 0..=100_000;
    /// A person's mass, in 10 g: 10 to 400 kg.
    BodyMass, "body mass", "x 10 g", 1_000..=40_000;
    /// Repetitions or contacts of one set.
    Reps, "repetitions", "", 0..=300;
    /// Sets asked or rounds of a group.
    Count, "count", "", 1..=60;
    /// How hard it was, in tenths of a 0 to 10 rating.
    Effort, "effort", "tenths", 0..=100;
    /// Repetitions kept in reserve, in tenths.
    Reserve, "repetitions in reserve", "tenths", 0..=100;
    /// A duration in milliseconds, up to a day.
    Duration, "duration", "ms", 0..=86_400_000;
    /// A rest in whole seconds, up to two hours.
    Rest, "rest", "s", 0..=7_200;
    /// Whole minutes of a session.
    Minutes, "minutes", "min", 0..=720;
    /// A length in millimetres, up to 100 km.
    Length, "length", "mm", 0..=100_000_000;
    /// A sideways offset in millimetres, negative to the left.
    Offset, "offset", "mm", -100_000..=100_000;
    /// A share in thousandths (of a maximum, of body mass, of a best speed).
    Share, "share", "thousandths", 0..=3_000;
    /// A speed in mm/s, up to 13 m/s.
    Speed, "speed", "mm/s", 0..=13_000;
    /// Wind along the run in mm/s, negative is a headwind.
    Wind, "wind", "mm/s", -20_000..=20_000;
    /// A rating of how the day feels, 1 to 7.
    Rating, "rating", "", 1..=7;
    /// A small count of steps, trials or places, from 0.
    Small, "number", "", 0..=200;
    /// A measured value in thousandths of the unit that its protocol names.
    Value, "value", "thousandths", -1_000_000_000..=1_000_000_000;
    /// Minutes that local time is ahead of UTC.
    ZoneOffset, "zone offset", "min", -900..=900;
    /// A minute of the day.
    MinuteOfDay, "minute of the day", "min", 0..=1_439;
    /// A season's number, by custom the year in which it ends.
    SeasonNo, "season", "", 2_000..=2_199;
    /// Tolerances and weights that a club may edit, in thousandths.
    Thousandths, "setting", "thousandths", 0..=100_000;
}

/// A text longer than its field, or one that holds control characters.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TextError {
    /// Too long.
    #[error("text of {got} bytes is over the limit of {max}")]
    TooLong {
        /// Most bytes.
        max: usize,
        /// Bytes found.
        got: usize,
    },
    /// A control character other than a line break or tab.
    #[error("text holds a control character at byte {0}")]
    Control(usize),
}

/// Text of at most `MAX` bytes, without control characters but line breaks and tabs.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Text<const MAX: usize>(String);

impl<const MAX: usize> Text<MAX> {
    /// A checked text.
    ///
    /// # Errors
    /// When too long or with control characters.
    pub fn new(text: impl Into<String>) -> Result<Self, TextError> {
        let text = text.into();
        if text.len() > MAX {
            return Err(TextError::TooLong { max: MAX, got: text.len() });
        }
        match text.char_indices().find(|(_, c)| c.is_control() && !matches!(c, '\n' | '\t')) {
            Some((at, _)) => Err(TextError::Control(at)),
            None => Ok(Self(text)),
        }
    }

    /// As text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl<const MAX: usize> fmt::Display for Text<MAX> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl<const MAX: usize> Field for Text<MAX> {
    const KIND: FieldKind = FieldKind::Text { max: MAX };
    fn to_scalar(&self) -> Scalar {
        Scalar::Text(self.0.clone())
    }
    fn from_scalar(value: &Scalar) -> Option<Self> {
        match value {
            Scalar::Text(t) => Self::new(t.as_str()).ok(),
            _ => None,
        }
    }
}

/// A title or name.
pub type Name = Text<120>;
/// A sentence or two.
pub type Note = Text<2000>;

/// Bar speed of each repetition, in order, mm/s. At most 300. Stored as the first in two bytes,
/// little-endian, then the difference of each to the one before, signed LEB128.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Speeds(Vec<u16>);

impl Speeds {
    /// Fastest bar speed that is believed: 10 m/s.
    pub const MAX_MM_S: u16 = 10_000;
    /// Most repetitions.
    pub const MAX_REPS: usize = 300;

    /// From mm/s per repetition.
    ///
    /// # Errors
    /// When one is over 10 m/s, or there are more than 300.
    pub fn new(mm_s: Vec<u16>) -> Result<Self, OutOfRange> {
        let range = |what, max, got| OutOfRange { what, unit: "", min: 0, max, got };
        if mm_s.len() > Self::MAX_REPS {
            return Err(range("bar speeds of a set", 300, i64::try_from(mm_s.len()).unwrap_or(i64::MAX)));
        }
        match mm_s.iter().find(|v| **v > Self::MAX_MM_S) {
            Some(v) => Err(range("bar speed in mm/s", i64::from(Self::MAX_MM_S), i64::from(*v))),
            None => Ok(Self(mm_s)),
        }
    }

    /// mm/s per repetition.
    #[must_use]
    pub fn mm_s(&self) -> &[u16] {
        &self.0
    }

    /// m/s per repetition.
    #[must_use]
    pub fn m_s(&self) -> Vec<f64> {
        self.0.iter().map(|v| f64::from(*v) / 1000.0).collect()
    }
}

impl Field for Speeds {
    // A difference of at most 10,000 takes three bytes.
    const KIND: FieldKind = FieldKind::Bytes { max: 3 * Self::MAX_REPS };
    fn to_scalar(&self) -> Scalar {
        let mut out = Vec::with_capacity(self.0.len() + 1);
        if let Some(first) = self.0.first() {
            out.extend_from_slice(&first.to_le_bytes());
        }
        for pair in self.0.windows(2) {
            if let [before, now] = pair {
                leb128::sleb(&mut out, i64::from(*now) - i64::from(*before));
            }
        }
        Scalar::Bytes(out)
    }
    fn from_scalar(value: &Scalar) -> Option<Self> {
        let Scalar::Bytes(b) = value else { return None };
        let Some((first, mut rest)) = b.split_first_chunk() else {
            return b.is_empty().then(|| Self(Vec::new()));
        };
        let mut last = u16::from_le_bytes(*first);
        let mut speeds = vec![last];
        while !rest.is_empty() {
            let difference = leb128::take_sleb(&mut rest)?;
            last = u16::try_from(i64::from(last).checked_add(difference)?).ok()?;
            speeds.push(last);
        }
        Self::new(speeds).ok()
    }
}

/// The first eight bytes of the hash that names a plan's state: what the athlete saw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlanMark(pub [u8; 8]);

impl Field for PlanMark {
    const KIND: FieldKind = FieldKind::Bytes { max: 8 };
    fn to_scalar(&self) -> Scalar {
        Scalar::Bytes(self.0.to_vec())
    }
    fn from_scalar(value: &Scalar) -> Option<Self> {
        match value {
            Scalar::Bytes(b) => Some(PlanMark(b.as_slice().try_into().ok()?)),
            _ => None,
        }
    }
}

/// A word that is not in a list of words.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{got:?} is no {what}")]
pub struct WordError {
    /// The list.
    pub what: &'static str,
    /// The word found.
    pub got: String,
}

macro_rules! words {
    ($( $(#[$doc:meta])* $name:ident, $what:literal { $( $(#[$vdoc:meta])* $variant:ident = $word:literal, )+ } )*) => { $(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $( $(#[$vdoc])* $variant, )+ }

        impl $name {
            /// All of them, in order.
            pub const ALL: &'static [$name] = &[ $( $name::$variant, )+ ];

            /// The word that documents hold and people read.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $( $name::$variant => $word, )+ }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(self.word())
            }
        }

        impl FromStr for $name {
            type Err = WordError;
            fn from_str(text: &str) -> Result<Self, WordError> {
                match text {
                    $( $word => Ok($name::$variant), )+
                    _ => Err(WordError { what: $what, got: text.chars().take(40).collect() }),
                }
            }
        }

        impl Field for $name {
            const KIND: FieldKind = FieldKind::Text { max: 24 };
            fn to_scalar(&self) -> Scalar {
                Scalar::Text(self.word().to_owned())
            }
            fn from_scalar(value: &Scalar) -> Option<Self> {
                match value {
                    Scalar::Text(t) => t.parse().ok(),
                    _ => None,
                }
            }
        }
    )* };
}

words! {
    /// How a body moves in an exercise.
    Pattern, "movement pattern" {
        /// Knee-dominant.
        Squat = "squat",
        /// Hip-dominant.
        Hinge = "hinge",
        /// One leg at a time under load.
        Lunge = "lunge",
        /// Pressing.
        Push = "push",
        /// Pulling.
        Pull = "pull",
        /// Clean, snatch, jerk and their parts.
        Olympic = "olympic",
        /// Two-footed jump.
        Jump = "jump",
        /// Repeated or single-leg rebound.
        Hop = "hop",
        /// Alternating leaps.
        Bound = "bound",
        /// Throwing an implement or ball.
        Throw = "throw",
        /// Running flat.
        Sprint = "sprint",
        /// Running over hurdles.
        Hurdle = "hurdle",
        /// Carrying.
        Carry = "carry",
        /// Trunk work.
        Trunk = "trunk",
        /// Mobility and range.
        Mobility = "mobility",
        /// Warm-up drill.
        Drill = "drill",
    }
    /// What an exercise is for.
    Intent, "intent" {
        /// Maximal or general strength.
        Strength = "strength",
        /// Power under load.
        Power = "power",
        /// Stretch-shortening work.
        Plyometric = "plyometric",
        /// Running speed.
        Speed = "speed",
        /// Endurance of speed or strength.
        Endurance = "endurance",
        /// Trunk.
        Trunk = "trunk",
        /// Preparation: warm-up, mobility.
        Prepare = "prepare",
    }
    /// How sides are worked.
    Sides, "way of working sides" {
        /// Both at once.
        Both = "both",
        /// One side, then the other.
        Each = "each",
        /// Left and right in turn.
        InTurn = "in turn",
    }
    /// A side of the body.
    Side, "side" {
        /// Left.
        Left = "left",
        /// Right.
        Right = "right",
        /// Both.
        Both = "both",
    }
    /// How hard a contact with the ground is.
    Impact, "impact" {
        /// In place, small.
        Low = "low",
        /// Over low hurdles, bounds.
        Medium = "medium",
        /// From height, single leg at speed.
        High = "high",
    }
    /// How the exercises of a group follow each other.
    Form, "form of a group" {
        /// One exercise.
        Single = "single",
        /// Two or more in turn, set by set.
        Superset = "superset",
        /// A heavy set followed by a fast one of the same pattern.
        Contrast = "contrast pair",
        /// Stations, round by round.
        Circuit = "circuit",
    }
    /// How hurdles, cones or boxes stand.
    Spacing, "spacing" {
        /// The same distance throughout.
        Even = "even",
        /// Close and far in turn.
        CloseFar = "close and far",
        /// As listed.
        Listed = "listed",
    }
    /// What happens at the landing.
    Landing, "landing" {
        /// Stopped and held.
        Held = "held",
        /// Straight into the next take-off.
        Rebound = "rebound",
    }
    /// Which way a measure is better.
    Better, "direction" {
        /// Higher is better.
        Higher = "higher",
        /// Lower is better.
        Lower = "lower",
    }
    /// What a test measures.
    Measure, "measure" {
        /// A load lifted, kg.
        Load = "load",
        /// A time, s.
        Time = "time",
        /// A distance or height, m.
        Distance = "distance",
        /// Repetitions.
        Reps = "repetitions",
        /// Flight and contact times of hops.
        Hops = "hops",
        /// Split times of a run.
        Splits = "splits",
        /// A bar speed, m/s.
        Speed = "speed",
    }
    /// How much a meet matters to the season.
    Priority, "priority of a meet" {
        /// The season is built for it.
        Main = "main",
        /// Matters, with a short easing before it.
        Second = "second",
        /// Trained through.
        Minor = "minor",
    }
    /// Why work was left out.
    Skip, "reason to skip" {
        /// No time.
        Time = "no time",
        /// Kit or venue missing.
        Kit = "no kit",
        /// Pain or illness; what it is stays in the athlete's own care document.
        Body = "pain or illness",
        /// Too tired.
        Tired = "too tired",
        /// Weather.
        Weather = "weather",
        /// School, work, travel.
        Life = "school, work or travel",
        /// Said by the coach on the spot.
        Coach = "coach said so",
        /// Something else, in the note.
        Other = "other",
    }
    /// What a coach says about a session that was not logged.
    Verdict, "verdict" {
        /// Does not count.
        Excused = "excused",
        /// The coach knows that it was not done.
        Missed = "missed",
    }
    /// In which class an athlete competes. Never inferred from anything else.
    Sex, "class of competition" {
        /// Women's and girls' events.
        Women = "f",
        /// Men's and boys' events.
        Men = "m",
        /// Neither, or not said.
        Open = "x",
    }
    /// What a coach made of a proposed change.
    Ruling, "ruling on a proposal" {
        /// Taken as proposed.
        Accepted = "accepted",
        /// Taken with other numbers.
        Edited = "edited",
        /// Not taken, and not to be proposed again.
        Dismissed = "dismissed",
    }
    /// A report of pain or of illness.
    Complaint, "kind of report" {
        /// Pain.
        Pain = "pain",
        /// Illness.
        Illness = "illness",
    }
    /// How much of training is open to an athlete.
    Available, "availability" {
        /// All of it.
        Full = "full",
        /// All but what is to be avoided.
        Modified = "modified",
        /// None of it.
        No = "none",
    }
    /// What a phase of the season is for.
    Aim, "aim of a phase" {
        /// General preparation.
        General = "general preparation",
        /// Specific preparation.
        Specific = "specific preparation",
        /// Meets.
        Meets = "meets",
        /// Easing before a main meet.
        Taper = "taper",
        /// Rest and other sport.
        Transition = "transition",
    }
}
