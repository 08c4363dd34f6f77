//! Small values that are read and changed as one: doses, intensities, waves, targets, lists.
//! A document holds them as words and whole numbers (`docs/formats.md`), so that any reader of the
//! open document format can show them. A form that is not known here is left as it is, unread.

use core::fmt;
use core::str::FromStr;

use super::number::{Count, Effort, Text};
use super::number::{Duration, Length, Load, Offset, Reps, Reserve, Rest, Share, Speed};
use super::spec::{Field, FieldKind, Scalar};
use crate::base::key::Key;

/// A packed text that is not understood: what it should have been, and the text.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("not {what}: {got:?}")]
pub struct PackError {
    what: &'static str,
    got: String,
}

pub(super) fn bad(what: &'static str, got: &str) -> PackError {
    PackError { what, got: got.chars().take(80).collect() }
}

pub(super) fn number<T>(
    text: &str,
    what: &'static str,
    make: fn(i64) -> Result<T, super::number::OutOfRange>,
) -> Result<T, PackError> {
    text.parse().ok().and_then(|n| make(n).ok()).ok_or_else(|| bad(what, text))
}

macro_rules! packed_field {
    ($name:ty, $max:literal) => {
        impl Field for $name {
            const KIND: FieldKind = FieldKind::Text { max: $max };
            fn to_scalar(&self) -> Scalar {
                Scalar::Text(self.to_string())
            }
            fn from_scalar(value: &Scalar) -> Option<Self> {
                match value {
                    Scalar::Text(t) if t.len() <= $max => t.parse().ok(),
                    _ => None,
                }
            }
        }
    };
}
pub(super) use packed_field;

/// How much of an exercise one set asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dose {
    /// Repetitions, from and to (equal when not a range).
    Reps(Reps, Reps),
    /// Repetitions on each side.
    RepsPerSide(Reps),
    /// Held for a time.
    Hold(Duration),
    /// Held for a time on each side.
    HoldPerSide(Duration),
    /// A distance: a run, a carry.
    Distance(Length),
    /// Ground contacts.
    Contacts(Reps),
    /// As many good repetitions as there are.
    ToLimit,
}

impl fmt::Display for Dose {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Dose::Reps(a, b) if a == b => write!(f, "reps {}", a.get()),
            Dose::Reps(a, b) => write!(f, "reps {}-{}", a.get(), b.get()),
            Dose::RepsPerSide(n) => write!(f, "each {}", n.get()),
            Dose::Hold(t) => write!(f, "hold {}", t.get()),
            Dose::HoldPerSide(t) => write!(f, "hold-each {}", t.get()),
            Dose::Distance(d) => write!(f, "dist {}", d.get()),
            Dose::Contacts(n) => write!(f, "contacts {}", n.get()),
            Dose::ToLimit => f.write_str("limit"),
        }
    }
}

impl FromStr for Dose {
    type Err = PackError;
    fn from_str(text: &str) -> Result<Dose, PackError> {
        const WHAT: &str = "a dose";
        if text == "limit" {
            return Ok(Dose::ToLimit);
        }
        let (word, n) = text.split_once(' ').ok_or_else(|| bad(WHAT, text))?;
        match word {
            "reps" => {
                let (a, b) = n.split_once('-').unwrap_or((n, n));
                let (a, b) = (number(a, WHAT, Reps::new)?, number(b, WHAT, Reps::new)?);
                if a <= b { Ok(Dose::Reps(a, b)) } else { Err(bad(WHAT, text)) }
            }
            "each" => Ok(Dose::RepsPerSide(number(n, WHAT, Reps::new)?)),
            "hold" => Ok(Dose::Hold(number(n, WHAT, Duration::new)?)),
            "hold-each" => Ok(Dose::HoldPerSide(number(n, WHAT, Duration::new)?)),
            "dist" => Ok(Dose::Distance(number(n, WHAT, Length::new)?)),
            "contacts" => Ok(Dose::Contacts(number(n, WHAT, Reps::new)?)),
            _ => Err(bad(WHAT, text)),
        }
    }
}
packed_field!(Dose, 32);

/// How hard a set is asked to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Intensity {
    /// A load.
    Load(Load),
    /// A share of a maximum; of another exercise's when a key is given.
    OfMax(Share, Option<Key>),
    /// A share of body mass.
    OfMass(Share),
    /// An effort on the 0 to 10 rating.
    Effort(Effort),
    /// Repetitions left in reserve.
    Reserve(Reserve),
    /// A band of bar speed, slowest and fastest.
    SpeedBand(Speed, Speed),
    /// A time to run or move in.
    Within(Duration),
    /// A share of best speed.
    OfBest(Share),
}

impl fmt::Display for Intensity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Intensity::Load(n) => write!(f, "load {}", n.get()),
            Intensity::OfMax(s, None) => write!(f, "max {}", s.get()),
            Intensity::OfMax(s, Some(k)) => write!(f, "max {} {k}", s.get()),
            Intensity::OfMass(s) => write!(f, "mass {}", s.get()),
            Intensity::Effort(e) => write!(f, "effort {}", e.get()),
            Intensity::Reserve(r) => write!(f, "reserve {}", r.get()),
            Intensity::SpeedBand(a, b) => write!(f, "speed {}-{}", a.get(), b.get()),
            Intensity::Within(t) => write!(f, "within {}", t.get()),
            Intensity::OfBest(s) => write!(f, "best {}", s.get()),
        }
    }
}

impl FromStr for Intensity {
    type Err = PackError;
    fn from_str(text: &str) -> Result<Intensity, PackError> {
        const WHAT: &str = "an intensity";
        let (word, rest) = text.split_once(' ').ok_or_else(|| bad(WHAT, text))?;
        Ok(match word {
            "load" => Intensity::Load(number(rest, WHAT, Load::new)?),
            "max" => match rest.split_once(' ') {
                None => Intensity::OfMax(number(rest, WHAT, Share::new)?, None),
                Some((n, key)) => Intensity::OfMax(
                    number(n, WHAT, Share::new)?,
                    Some(key.parse().map_err(|_| bad(WHAT, text))?),
                ),
            },
            "mass" => Intensity::OfMass(number(rest, WHAT, Share::new)?),
            "effort" => Intensity::Effort(number(rest, WHAT, Effort::new)?),
            "reserve" => Intensity::Reserve(number(rest, WHAT, Reserve::new)?),
            "speed" => {
                let (a, b) = rest.split_once('-').ok_or_else(|| bad(WHAT, text))?;
                let (a, b) = (number(a, WHAT, Speed::new)?, number(b, WHAT, Speed::new)?);
                if a > b {
                    return Err(bad(WHAT, text));
                }
                Intensity::SpeedBand(a, b)
            }
            "within" => Intensity::Within(number(rest, WHAT, Duration::new)?),
            "best" => Intensity::OfBest(number(rest, WHAT, Share::new)?),
            _ => return Err(bad(WHAT, text)),
        })
    }
}
packed_field!(Intensity, 48);

/// One set of a wave: what differs from the prescription.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WaveSet {
    /// Its own dose.
    pub dose: Option<Dose>,
    /// Its own intensity.
    pub intensity: Option<Intensity>,
}

/// Sets that differ from each other, in order. At most twenty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Waves(pub Vec<WaveSet>);

impl fmt::Display for Waves {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, set) in self.0.iter().enumerate() {
            if i > 0 {
                f.write_str(";")?;
            }
            if let Some(d) = &set.dose {
                write!(f, "{d}")?;
            }
            f.write_str("@")?;
            if let Some(x) = &set.intensity {
                write!(f, "{x}")?;
            }
        }
        Ok(())
    }
}

impl FromStr for Waves {
    type Err = PackError;
    fn from_str(text: &str) -> Result<Waves, PackError> {
        let sets: Result<Vec<WaveSet>, PackError> = text
            .split(';')
            .map(|part| {
                let (dose, intensity) = part.split_once('@').ok_or_else(|| bad("a wave", part))?;
                let dose = if dose.is_empty() { None } else { Some(dose.parse()?) };
                let intensity = if intensity.is_empty() { None } else { Some(intensity.parse()?) };
                Ok(WaveSet { dose, intensity })
            })
            .collect();
        let sets = sets?;
        if sets.len() > 20 { Err(bad("a wave of at most twenty sets", text)) } else { Ok(Waves(sets)) }
    }
}
packed_field!(Waves, 1000);

/// What the athlete's screen asked for when the work was logged. Done is judged against this,
/// whatever happened to the plan meanwhile.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Target {
    /// Sets asked.
    pub sets: Count,
    /// Dose of each.
    pub dose: Option<Dose>,
    /// Intensity as prescribed.
    pub intensity: Option<Intensity>,
    /// The load that it came to, when it came to one.
    pub load: Option<Load>,
    /// Rest after each set.
    pub rest: Option<Rest>,
    /// Sets that differ, in order.
    pub waves: Option<Waves>,
    /// Variation and cues in a line, as shown.
    pub how: Text<200>,
}

impl fmt::Display for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "sets {}", self.sets.get())?;
        if let Some(d) = &self.dose {
            write!(f, "|dose {d}")?;
        }
        if let Some(x) = &self.intensity {
            write!(f, "|at {x}")?;
        }
        if let Some(l) = &self.load {
            write!(f, "|load {}", l.get())?;
        }
        if let Some(r) = &self.rest {
            write!(f, "|rest {}", r.get())?;
        }
        if let Some(w) = &self.waves {
            write!(f, "|waves {w}")?;
        }
        if !self.how.as_str().is_empty() {
            write!(f, "|how {}", self.how)?;
        }
        Ok(())
    }
}

impl FromStr for Target {
    type Err = PackError;
    fn from_str(text: &str) -> Result<Target, PackError> {
        const WHAT: &str = "a shown target";
        let mut rest = text;
        let mut sets = None;
        let (mut dose, mut intensity, mut load, mut pause, mut waves) = (None, None, None, None, None);
        let mut how = Text::default();
        loop {
            // `how` is free text and comes last, so that it may hold the separator.
            if let Some(line) = rest.strip_prefix("how ") {
                how = Text::new(line).map_err(|_| bad(WHAT, text))?;
                break;
            }
            let (part, more) = match rest.split_once('|') {
                Some((part, more)) => (part, Some(more)),
                None => (rest, None),
            };
            let (word, value) = part.split_once(' ').ok_or_else(|| bad(WHAT, text))?;
            match word {
                "sets" => sets = Some(number(value, WHAT, Count::new)?),
                "dose" => dose = Some(value.parse()?),
                "at" => intensity = Some(value.parse()?),
                "load" => load = Some(number(value, WHAT, Load::new)?),
                "rest" => pause = Some(number(value, WHAT, Rest::new)?),
                "waves" => waves = Some(value.parse()?),
                _ => return Err(bad(WHAT, text)),
            }
            match more {
                Some(more) => rest = more,
                None => break,
            }
        }
        let sets = sets.ok_or_else(|| bad(WHAT, text))?;
        Ok(Target { sets, dose, intensity, load, rest: pause, waves, how })
    }
}
packed_field!(Target, 1400);

macro_rules! list_of {
    ($( $(#[$doc:meta])* $name:ident of $item:ty, $what:literal, most $most:literal, bytes $max:literal,
        $show:expr, $read:expr; )*) => { $(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, Default)]
        pub struct $name(pub Vec<$item>);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                let show: fn(&$item) -> String = $show;
                f.write_str(&self.0.iter().map(show).collect::<Vec<_>>().join(","))
            }
        }

        impl FromStr for $name {
            type Err = PackError;
            fn from_str(text: &str) -> Result<$name, PackError> {
                if text.is_empty() {
                    return Ok($name(Vec::new()));
                }
                let read: fn(&str) -> Result<$item, PackError> = $read;
                let items: Vec<$item> = text.split(',').map(read).collect::<Result<_, _>>()?;
                if items.len() > $most { Err(bad($what, text)) } else { Ok($name(items)) }
            }
        }
        packed_field!($name, $max);
    )* };
}

list_of! {
    /// Lengths in mm, such as the gaps between hurdles.
    Lengths of Length, "a list of at most 40 lengths", most 40, bytes 400,
        |v| v.get().to_string(), |t| number(t, "a list of lengths", Length::new);
    /// Sideways offsets in mm.
    Offsets of Offset, "a list of at most 40 offsets", most 40, bytes 320,
        |v| v.get().to_string(), |t| number(t, "a list of offsets", Offset::new);
    /// Loads in 10 g, such as the bars or dumbbells of a venue.
    Loads of Load, "a list of at most 80 loads", most 80, bytes 600,
        |v| v.get().to_string(), |t| number(t, "a list of loads", Load::new);
    /// Times in ms, such as flight times or splits.
    Times of Duration, "a list of at most 120 times", most 120, bytes 1000,
        |v| v.get().to_string(), |t| number(t, "a list of times", Duration::new);
    /// Keys of records.
    Keys of Key, "a list of at most 30 keys", most 30, bytes 512,
        |k| k.to_string(), |t| t.parse().map_err(|_| bad("a list of keys", t));
    /// What a session asked when it began: each prescription and its sets. So work that was never
    /// shown is never counted as left out, however the plan changed meanwhile.
    Asked of (Key, Count), "a list of at most 40 prescriptions", most 40, bytes 900,
        |(k, n)| format!("{k}x{}", n.get()),
        |t| {
            let (k, n) = t.rsplit_once('x').ok_or_else(|| bad("a list of prescriptions", t))?;
            let key = k.parse().map_err(|_| bad("a list of prescriptions", t))?;
            Ok((key, number(n, "a list of prescriptions", Count::new)?))
        };
    /// Plates that a venue owns: mass in 10 g and how many pairs.
    Plates of (Load, u8), "a list of at most 30 plates", most 30, bytes 400,
        |(m, n)| format!("{}x{n}", m.get()),
        |t| {
            let (m, n) = t.split_once('x').ok_or_else(|| bad("a list of plates", t))?;
            let pairs = n.parse().map_err(|_| bad("a list of plates", t))?;
            Ok((number(m, "a list of plates", Load::new)?, pairs))
        };
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn same<T: FromStr<Err = PackError> + fmt::Display + PartialEq + fmt::Debug>(text: &str) {
        let value: T = text.parse().unwrap();
        assert_eq!(value.to_string(), text);
    }

    #[test]
    fn packed_texts_read_back() {
        for t in [
            "reps 5",
            "reps 8-10",
            "each 6",
            "hold 30000",
            "hold-each 20000",
            "dist 60000",
            "contacts 10",
            "limit",
        ] {
            same::<Dose>(t);
        }
        for t in [
            "load 8000",
            "max 825",
            "max 825 abcdef-1",
            "mass 500",
            "effort 80",
            "reserve 20",
            "speed 500-650",
            "within 3200",
            "best 950",
        ] {
            same::<Intensity>(t);
        }
        same::<Waves>("reps 5@max 750;reps 3@max 825;@max 900;reps 1@");
        same::<Target>("sets 3|dose reps 5|at max 825|load 10000|rest 180|how pause 2 s | chest up");
        same::<Target>("sets 2|rest 60|waves reps 5@max 750;reps 3@|how |");
        same::<Target>("sets 1");
        same::<Plates>("2500x2,125x1");
        same::<Offsets>("-300,300");
        same::<Asked>("xxxxxx-1x3,abcdef-12x60");
    }

    #[test]
    fn unknown_forms_are_errors_and_not_guesses() {
        for t in ["", "reps", "reps x", "reps 10-8", "reps 301", "sets 5", "limit 3", "hold -1"] {
            assert!(t.parse::<Dose>().is_err(), "{t}");
        }
        for t in ["", "max", "load -1", "load 100001", "speed 600-500", "speed 600", "max 825 nokey"] {
            assert!(t.parse::<Intensity>().is_err(), "{t}");
        }
        for t in ["", "dose reps 5", "sets 3|what 4", "sets 0", "sets 3|"] {
            assert!(t.parse::<Target>().is_err(), "{t}");
        }
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused_without_panic(t in "\\PC*") {
            let _ = t.parse::<Dose>();
            let _ = t.parse::<Intensity>();
            let _ = t.parse::<Waves>();
            let _ = t.parse::<Plates>();
            if let Ok(x) = t.parse::<Target>() {
                prop_assert_eq!(x.to_string().parse::<Target>().unwrap(), x);
            }
        }
    }
}
