//! What people type into fields, as numbers of the model, and the same numbers back as text for a field.
//! Takes "." and "," for the decimal sign, knows kilograms and pounds; knows no screen and no rule of training.
//! Works on whole numbers throughout, so that what was typed is what is kept.

use backstraight_core::base::day::Day;
use backstraight_core::model::number::{
    BodyMass, Count, Duration, Effort, Length, Load, MinuteOfDay, Minutes, Rating, Reps, Reserve, Rest,
    Share, Speed, Speeds, Value, Wind,
};

use crate::words::{say, say_with};

/// Why a text is no such number.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Mistake {
    /// Nothing was typed.
    #[error("empty")]
    Empty,
    /// No number in it.
    #[error("not a number")]
    NotANumber,
    /// More places after the decimal sign than are kept.
    #[error("more than {0} decimals")]
    TooFine(u32),
    /// Outside what there can be.
    #[error("outside {least} to {most} {unit}")]
    Outside {
        /// Least, as a person would type it.
        least: String,
        /// Most, as a person would type it.
        most: String,
        /// The unit.
        unit: &'static str,
    },
    /// Neither whole nor a half.
    #[error("not in halves")]
    NotHalf,
    /// Not the form that is wanted.
    #[error("not like {0}")]
    Form(&'static str),
}

impl Mistake {
    /// What to do, for the line under a field.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Mistake::Empty => say("parse.empty").to_owned(),
            Mistake::NotANumber => say("parse.not-a-number").to_owned(),
            Mistake::TooFine(0) => say("parse.whole").to_owned(),
            Mistake::TooFine(places) => say_with("parse.too-fine", &[("places", &places.to_string())]),
            Mistake::Outside { least, most, unit } => {
                let text = say_with("parse.outside", &[("least", least), ("most", most), ("unit", unit)]);
                text.trim_end().to_owned()
            }
            Mistake::NotHalf => say("parse.not-half").to_owned(),
            Mistake::Form(example) => say_with("parse.form", &[("example", example)]),
        }
    }
}

/// A number, or what to do about the text.
pub type Typed<T> = Result<T, Mistake>;

/// In which unit loads and body masses are typed and shown. Kept is always 10 g.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Masses {
    /// Kilograms.
    #[default]
    Kilograms,
    /// Pounds.
    Pounds,
}

impl Masses {
    /// "kg" or "lb".
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Masses::Kilograms => "kg",
            Masses::Pounds => "lb",
        }
    }
}

/// 10 g in one pound, times 10^6: 1 lb = 0.45359237 kg by definition.
const POUND: i128 = 45_359_237;
/// Longest text that is looked at.
const LONGEST: usize = 40;

/// What may be left out: none for an empty field, else what `read` makes of it.
///
/// # Errors
/// What is wrong with it, in words.
pub fn optional<T>(text: &str, read: impl FnOnce(&str) -> Typed<T>) -> Result<Option<T>, String> {
    let text = text.trim();
    if text.is_empty() { Ok(None) } else { read(text).map(Some).map_err(|mistake| mistake.words()) }
}

/// A signed decimal number as a whole number of 10^-`places`.
///
/// # Errors
/// When it is no number, or finer than `places`.
pub fn decimal(text: &str, places: u32) -> Typed<i64> {
    let text = text.trim();
    if text.is_empty() {
        return Err(Mistake::Empty);
    }
    // U+2212 is what some keyboards and our own texts have for minus.
    let (negative, digits) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, part) = digits.split_once(['.', ',']).unwrap_or((digits, ""));
    let all_digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if digits.len() > LONGEST
        || (whole.is_empty() && part.is_empty())
        || !all_digits(whole)
        || !all_digits(part)
    {
        return Err(Mistake::NotANumber);
    }
    let part = part.trim_end_matches('0');
    let wanted = usize::try_from(places).unwrap_or(0);
    if part.len() > wanted {
        return Err(Mistake::TooFine(places));
    }
    let mut n: i64 = 0;
    for b in whole.bytes().chain(part.bytes()).chain(std::iter::repeat_n(b'0', wanted - part.len())) {
        let digit = i64::from(b - b'0');
        n = n.checked_mul(10).and_then(|n| n.checked_add(digit)).ok_or(Mistake::NotANumber)?;
    }
    Ok(if negative { -n } else { n })
}

/// A whole number of 10^-`places` as text without needless zeros.
#[must_use]
pub fn plain(n: i64, places: u32) -> String {
    let unit = 10_u64.pow(places.min(9));
    let (whole, part) = (n.unsigned_abs() / unit, n.unsigned_abs() % unit);
    let sign = if n < 0 { "-" } else { "" };
    if part == 0 {
        return format!("{sign}{whole}");
    }
    let width = usize::try_from(places.min(9)).unwrap_or(0);
    let part = format!("{part:0width$}");
    format!("{sign}{whole}.{}", part.trim_end_matches('0'))
}

/// A text without one of the units that people write behind a number.
fn without<'a>(text: &'a str, units: &[&str]) -> &'a str {
    let text = text.trim();
    units.iter().find_map(|u| text.strip_suffix(u)).map_or(text, str::trim_end)
}

/// The limits of a kind of number as people would type them.
fn outside(least: i64, most: i64, places: u32, unit: &'static str) -> Mistake {
    Mistake::Outside { least: plain(least, places), most: plain(most, places), unit }
}

macro_rules! within {
    ($kind:ident, $n:expr, $places:expr, $unit:expr) => {
        $kind::new($n).map_err(|_| outside($kind::MIN, $kind::MAX, $places, $unit))
    };
}

/// 10 g from what was typed in a unit of mass.
fn mass(text: &str, masses: Masses) -> Typed<i64> {
    match masses {
        Masses::Kilograms => decimal(without(text, &["kg"]), 2),
        Masses::Pounds => {
            let thousandths = i128::from(decimal(without(text, &["lbs", "lb"]), 3)?);
            let scaled = thousandths * POUND;
            let half = 500_000_000 * scaled.signum();
            i64::try_from((scaled + half) / 1_000_000_000).map_err(|_| Mistake::NotANumber)
        }
    }
}

/// 10 g in a unit of mass. Pounds go to the nearest twentieth: kept in steps of 10 g, every load that was
/// typed in twentieths of a pound comes back as it was typed.
fn mass_text(n: i64, masses: Masses) -> String {
    match masses {
        Masses::Kilograms => plain(n, 2),
        Masses::Pounds => {
            let scaled = i128::from(n) * 20 * 1_000_000;
            let half = POUND / 2 * scaled.signum();
            plain(i64::try_from((scaled + half) / POUND * 5).unwrap_or(i64::MAX), 2)
        }
    }
}

fn mass_outside(least: i64, most: i64, masses: Masses) -> Mistake {
    Mistake::Outside { least: mass_text(least, masses), most: mass_text(most, masses), unit: masses.unit() }
}

/// "82.5", "82,5 kg", "185 lb".
///
/// # Errors
/// When it is no load.
pub fn load(text: &str, masses: Masses) -> Typed<Load> {
    Load::new(mass(text, masses)?).map_err(|_| mass_outside(Load::MIN, Load::MAX, masses))
}

/// A load for a field, without its unit.
#[must_use]
pub fn load_text(load: Load, masses: Masses) -> String {
    mass_text(load.get(), masses)
}

/// As [`load`], for a person.
///
/// # Errors
/// When it is no body mass.
pub fn body_mass(text: &str, masses: Masses) -> Typed<BodyMass> {
    BodyMass::new(mass(text, masses)?).map_err(|_| mass_outside(BodyMass::MIN, BodyMass::MAX, masses))
}

/// A body mass for a field, without its unit.
#[must_use]
pub fn body_mass_text(mass: BodyMass, masses: Masses) -> String {
    mass_text(mass.get(), masses)
}

/// Repetitions or contacts.
///
/// # Errors
/// When it is no whole number of them.
pub fn reps(text: &str) -> Typed<Reps> {
    within!(Reps, decimal(text, 0)?, 0, "")
}

/// Sets or rounds.
///
/// # Errors
/// When it is no whole number of them.
pub fn count(text: &str) -> Typed<Count> {
    within!(Count, decimal(text, 0)?, 0, "")
}

/// A rating of 1 to 7.
///
/// # Errors
/// When it is none.
pub fn rating(text: &str) -> Typed<Rating> {
    within!(Rating, decimal(text, 0)?, 0, "")
}

/// Tenths from a whole number or a half: "7", "7.5", "7,5", "7½".
fn halves(text: &str) -> Typed<i64> {
    let text = text.trim();
    let tenths = match text.strip_suffix('½') {
        Some("") => 5,
        Some(whole) => decimal(whole, 0)?.checked_mul(10).ok_or(Mistake::NotANumber)? + 5,
        None => match decimal(text, 1) {
            Err(Mistake::TooFine(_)) => return Err(Mistake::NotHalf),
            other => other?,
        },
    };
    if tenths % 5 == 0 { Ok(tenths) } else { Err(Mistake::NotHalf) }
}

/// How hard it was, 0 to 10 in halves.
///
/// # Errors
/// When it is none.
pub fn effort(text: &str) -> Typed<Effort> {
    within!(Effort, halves(text)?, 1, "")
}

/// Repetitions kept in reserve, 0 to 10 in halves.
///
/// # Errors
/// When it is none.
pub fn reserve(text: &str) -> Typed<Reserve> {
    within!(Reserve, halves(text)?, 1, "")
}

/// A share: "82.5" or "82,5 %".
///
/// # Errors
/// When it is none.
pub fn share(text: &str) -> Typed<Share> {
    within!(Share, decimal(without(text, &["%"]), 1)?, 1, "%")
}

/// Thousandths of a unit from "h:mm:ss.fff", "m:ss.fff" or "s.fff".
fn sexagesimal(text: &str, example: &'static str) -> Typed<i64> {
    let parts: Vec<&str> = text.trim().split(':').collect();
    let Some((last, before)) = parts.split_last() else { return Err(Mistake::Empty) };
    if before.is_empty() {
        return decimal(last, 3);
    }
    let form = || Mistake::Form(example);
    let two_digits = |s: &str| s.split(['.', ',']).next().is_some_and(|whole| whole.len() == 2);
    let mut n: i64 = 0;
    for (i, part) in before.iter().enumerate() {
        let value = decimal(part, 0).map_err(|_| form())?;
        let small = i == 0 || (part.len() == 2 && value < 60);
        if before.len() > 2 || !small || !part.bytes().all(|b| b.is_ascii_digit()) {
            return Err(form());
        }
        n = n.checked_mul(60).and_then(|n| n.checked_add(value)).ok_or_else(form)?;
    }
    if !two_digits(last) {
        return Err(form());
    }
    let seconds = decimal(last, 3).map_err(|e| if e == Mistake::NotANumber { form() } else { e })?;
    if !(0..60_000).contains(&seconds) {
        return Err(form());
    }
    n.checked_mul(60_000).and_then(|n| n.checked_add(seconds)).ok_or_else(form)
}

/// A time: "10.84", "1:23.45", "1:02:03".
///
/// # Errors
/// When it is none.
pub fn time(text: &str) -> Typed<Duration> {
    let ms = sexagesimal(without(text, &["s"]), "1:23.45")?;
    Duration::new(ms).map_err(|_| Mistake::Outside {
        least: "0".to_owned(),
        most: "24:00:00".to_owned(),
        unit: "",
    })
}

/// A time for a field: "10.84", "1:23.45", "1:02:03".
#[must_use]
pub fn time_text(time: Duration) -> String {
    let ms = time.get();
    let (hours, minutes, rest) = (ms / 3_600_000, ms / 60_000 % 60, ms % 60_000);
    let seconds = plain(rest, 3);
    let wide = if rest < 10_000 { format!("0{seconds}") } else { seconds.clone() };
    match (hours, minutes) {
        (0, 0) => seconds,
        (0, m) => format!("{m}:{wide}"),
        (h, m) => format!("{h}:{m:02}:{wide}"),
    }
}

/// A rest: "90", "90 s", "1:30", "2 min".
///
/// # Errors
/// When it is none.
pub fn rest(text: &str) -> Typed<Rest> {
    let seconds = match text.trim().strip_suffix("min") {
        Some(minutes) => decimal(minutes, 1)?.checked_mul(6).ok_or(Mistake::NotANumber)?,
        None => {
            let ms = sexagesimal(without(text, &["s"]), "1:30")?;
            if ms % 1000 != 0 {
                return Err(Mistake::TooFine(0));
            }
            ms / 1000
        }
    };
    within!(Rest, seconds, 0, "s")
}

/// A rest for a field: "45", "1:30".
#[must_use]
pub fn rest_text(rest: Rest) -> String {
    let s = rest.get();
    if s < 60 { s.to_string() } else { format!("{}:{:02}", s / 60, s % 60) }
}

/// Minutes of a session: "75", "75 min", "1:15".
///
/// # Errors
/// When it is none.
pub fn minutes(text: &str) -> Typed<Minutes> {
    let text = without(text, &["min"]);
    let n = match text.split_once(':') {
        Some((hours, minutes)) => {
            let (h, m) = (decimal(hours, 0), decimal(minutes, 0));
            match (h, m) {
                (Ok(h), Ok(m)) if minutes.len() == 2 && (0..60).contains(&m) && (0..=12).contains(&h) => {
                    h * 60 + m
                }
                _ => return Err(Mistake::Form("1:15")),
            }
        }
        None => decimal(text, 0)?,
    };
    within!(Minutes, n, 0, "min")
}

/// A length: millimetres from metres, or from centimetres where the field or the text says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lengths {
    /// Metres: throws, runs, long jumps.
    Metres,
    /// Centimetres: boxes, hurdles, vertical jumps.
    Centimetres,
}

impl Lengths {
    /// "m" or "cm".
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Lengths::Metres => "m",
            Lengths::Centimetres => "cm",
        }
    }

    const fn places(self) -> u32 {
        match self {
            Lengths::Metres => 3,
            Lengths::Centimetres => 1,
        }
    }
}

/// "7.42", "7,42 m", "84 cm". A unit that was typed beats the field's.
///
/// # Errors
/// When it is no length.
pub fn length(text: &str, field: Lengths) -> Typed<Length> {
    let text = text.trim();
    let (digits, unit) = if let Some(rest) = text.strip_suffix("cm") {
        (rest, Lengths::Centimetres)
    } else if let Some(rest) = text.strip_suffix('m') {
        (rest, Lengths::Metres)
    } else {
        (text, field)
    };
    within!(Length, decimal(digits, unit.places())?, unit.places(), unit.unit())
}

/// A length for a field, without its unit.
#[must_use]
pub fn length_text(length: Length, field: Lengths) -> String {
    plain(length.get(), field.places())
}

/// A speed in m/s.
///
/// # Errors
/// When it is none.
pub fn speed(text: &str) -> Typed<Speed> {
    within!(Speed, decimal(without(text, &["m/s"]), 3)?, 3, "m/s")
}

/// Wind along the run in m/s, negative against.
///
/// # Errors
/// When it is none.
pub fn wind(text: &str) -> Typed<Wind> {
    within!(Wind, decimal(without(text, &["m/s"]), 3)?, 3, "m/s")
}

/// A measured value in the unit of its protocol.
///
/// # Errors
/// When it is none.
pub fn value(text: &str) -> Typed<Value> {
    within!(Value, decimal(text, 3)?, 3, "")
}

/// Bar speeds of a set in m/s, repetition by repetition: "0.52 0.50 0,48", "0.52, 0.50; 0.48 m/s".
///
/// A comma is a decimal sign between digits, unless the same piece has a point or the comma is followed by
/// a space; "0,52,0,50" can be read in two ways and is refused.
///
/// # Errors
/// When it is no such list.
pub fn speeds(text: &str) -> Typed<Speeds> {
    const EXAMPLE: &str = "0.52 0.50 0.48";
    let text = without(text, &["m/s"]);
    if text.is_empty() {
        return Err(Mistake::Empty);
    }
    let mut all = Vec::new();
    for piece in text.split([' ', '\t', '\n', ';', '/']) {
        let piece = piece.trim_matches(',');
        let numbers: Vec<&str> = if piece.contains('.') { piece.split(',').collect() } else { vec![piece] };
        if numbers.iter().any(|n| n.matches(',').count() > 1) {
            return Err(Mistake::Form(EXAMPLE));
        }
        for number in numbers.into_iter().filter(|n| !n.is_empty()) {
            let mm_s = decimal(number, 3)?;
            let most = i64::from(Speeds::MAX_MM_S);
            all.push(
                u16::try_from(mm_s)
                    .ok()
                    .filter(|v| *v <= Speeds::MAX_MM_S)
                    .ok_or_else(|| outside(0, most, 3, "m/s"))?,
            );
        }
    }
    if all.is_empty() {
        return Err(Mistake::Form(EXAMPLE));
    }
    Speeds::new(all).map_err(|_| Mistake::Form(EXAMPLE))
}

/// Bar speeds for a field.
#[must_use]
pub fn speeds_text(speeds: &Speeds) -> String {
    let all: Vec<String> = speeds.mm_s().iter().map(|v| plain(i64::from(*v), 3)).collect();
    all.join(" ")
}

/// A day as date fields give it.
///
/// # Errors
/// When it is none.
pub fn day(text: &str) -> Typed<Day> {
    match text.trim() {
        "" => Err(Mistake::Empty),
        text => text.parse().map_err(|_| Mistake::Form("2026-11-23")),
    }
}

/// A time of day: "18:30".
///
/// # Errors
/// When it is none.
pub fn minute_of_day(text: &str) -> Typed<MinuteOfDay> {
    let form = || Mistake::Form("18:30");
    let text = text.trim();
    if text.is_empty() {
        return Err(Mistake::Empty);
    }
    let (hours, minutes) = text.split_once(':').ok_or_else(form)?;
    let digits =
        |s: &str, most: usize| (1..=most).contains(&s.len()) && s.bytes().all(|b| b.is_ascii_digit());
    if !digits(hours, 2) || !digits(minutes, 2) || minutes.len() != 2 {
        return Err(form());
    }
    let (h, m) = (decimal(hours, 0).map_err(|_| form())?, decimal(minutes, 0).map_err(|_| form())?);
    if h > 23 || m > 59 {
        return Err(form());
    }
    MinuteOfDay::new(h * 60 + m).map_err(|_| form())
}

#[cfg(test)]
#[path = "parse_tests.rs"]
mod tests;
