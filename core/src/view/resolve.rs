//! From a prescription to what to put on the bar: the athlete's dated maxima, bar speeds and body
//! mass, and what the venue owns. Where there is no number there is a reason, and words to go by.

use super::done::Done;
use super::library::Library;
use super::maxima::{Maxima, Maximum, points};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::model::number::{Duration, Load, Reserve};
use crate::model::packed::{Dose, Intensity};
use crate::model::plan::{Prescription, Venue};
use crate::science::cautions::Caution;
use crate::science::{effort, plates, rep_tables, velocity};

/// Days after which a maximum is old, unless the club set another number.
pub const MAX_AGE_DAYS: i32 = 56;
/// Days after which a body mass is old.
const MASS_AGE_DAYS: i32 = 60;
/// Days over which a best time counts.
const BEST_AGE_DAYS: i32 = 180;

/// Why there is no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Missing {
    /// No maximum is known.
    NoMaximum,
    /// The newest maximum is older than the club allows.
    OldMaximum {
        /// Its age in days.
        days: i32,
    },
    /// No line of bar speeds, or one from which nothing can be told.
    NoProfile,
    /// No body mass of the last weeks.
    NoBodyMass,
    /// No time over that distance.
    NoBest,
    /// The prescription says how it should feel, not how much it should weigh.
    ByFeel,
}

impl Missing {
    /// In words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Missing::NoMaximum => "no maximum is known for this exercise".to_owned(),
            Missing::OldMaximum { days } => format!("the newest maximum is {days} days old"),
            Missing::NoProfile => "no line of bar speeds from the last four weeks".to_owned(),
            Missing::NoBodyMass => "no body mass from the last two months".to_owned(),
            Missing::NoBest => "no time over this distance from the last half year".to_owned(),
            Missing::ByFeel => "asked by effort".to_owned(),
        }
    }
}

/// A load as the venue can make it.
#[derive(Debug, Clone, PartialEq)]
pub struct OnTheBar {
    /// The bar, kg; none for dumbbells.
    pub bar_kg: Option<f64>,
    /// Discs of one side, heaviest first, kg.
    pub per_side_kg: Vec<f64>,
    /// All of it, kg (one dumbbell, for dumbbells).
    pub total_kg: f64,
}

/// What a prescription comes to.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Resolved {
    /// The load, as the venue can make it.
    pub load: Option<Load>,
    /// The load before it was rounded to what the venue owns, kg.
    pub exact_kg: Option<f64>,
    /// How to load it.
    pub on_the_bar: Option<OnTheBar>,
    /// A time to run in.
    pub time: Option<Duration>,
    /// The maximum from which it comes.
    pub maximum: Option<Maximum>,
    /// Age of that maximum in days.
    pub age_days: Option<i32>,
    /// Why there is no number, when there is none though one was asked.
    pub missing: Option<Missing>,
    /// Words to go by when there is no number.
    pub fallback: Option<String>,
    /// What was reckoned, step by step, in words.
    pub why: Vec<String>,
    /// The caution to show beside it.
    pub caution: Option<Caution>,
}

/// What is known about the athlete and the place.
#[derive(Debug, Clone, Copy)]
pub struct Known<'a> {
    /// What was done so far.
    pub done: &'a Done,
    /// Maxima by that day.
    pub maxima: &'a Maxima,
    /// The library.
    pub library: &'a Library,
    /// Where it is done.
    pub venue: Option<&'a Venue>,
    /// The day.
    pub day: Day,
}

/// Resolves a prescription for the exercise that is to be done.
#[must_use]
pub fn resolve(item: &Prescription, ex: &Key, known: &Known<'_>) -> Resolved {
    let mut out = Resolved::default();
    match &item.intensity {
        None => {}
        Some(Intensity::Load(load)) => {
            out.why.push("a load set by the coach".to_owned());
            place(&mut out, load.as_f64() / 100.0, ex, known);
        }
        Some(Intensity::OfMax(share, of)) => {
            of_max(&mut out, item, ex, share.as_f64() / 1000.0, of.as_ref(), known);
        }
        Some(Intensity::OfMass(share)) => of_mass(&mut out, share.as_f64() / 1000.0, ex, known),
        Some(Intensity::Effort(e)) => {
            out.missing = Some(Missing::ByFeel);
            let left = effort::reserve(e.as_f64() / 10.0).ok().map(|r| r.value.low);
            out.fallback = Some(left.map_or_else(
                || format!("a load that feels like {} of 10", e.as_f64() / 10.0),
                reserve_words,
            ));
        }
        Some(Intensity::Reserve(r)) => {
            out.missing = Some(Missing::ByFeel);
            out.fallback = Some(reserve_words(reserve_of(*r)));
        }
        Some(Intensity::SpeedBand(slow, fast)) => {
            by_speed(&mut out, slow.as_f64() / 1000.0, fast.as_f64() / 1000.0, ex, known);
        }
        Some(Intensity::Within(time)) => out.time = Some(*time),
        Some(Intensity::OfBest(share)) => of_best(&mut out, item, ex, share.as_f64() / 1000.0, known),
    }
    out
}

fn reserve_of(r: Reserve) -> f64 {
    r.as_f64() / 10.0
}

fn reserve_words(left: f64) -> String {
    if left < 0.5 {
        "the heaviest load with which every repetition stays clean".to_owned()
    } else {
        let times = if left < 1.5 { "once".to_owned() } else { format!("{left:.0} times") };
        format!("choose a load that you could lift {times} more")
    }
}

fn of_max(
    out: &mut Resolved,
    item: &Prescription,
    ex: &Key,
    share: f64,
    of: Option<&Key>,
    known: &Known<'_>,
) {
    out.caution = Some(Caution::MaximalTest);
    let own = known.library.exercises.get(ex).and_then(|e| e.record.ref_max.as_ref());
    let lift = of.or(own).unwrap_or(ex);
    let limit = known
        .library
        .settings
        .as_ref()
        .and_then(|s| s.max_age_days)
        .map_or(MAX_AGE_DAYS, |d| i32::try_from(d.get()).unwrap_or(MAX_AGE_DAYS));
    let newest = known.maxima.newest(lift);
    let age = newest.map(|m| known.day.since(m.date));
    out.maximum = newest.cloned();
    out.age_days = age;
    match (newest, age) {
        (Some(m), Some(days)) if days <= limit => {
            out.why.push(format!(
                "{} maximum {:.1} kg, {}, {days} days old",
                known.library.exercise_name(lift),
                m.kg,
                m.source.word()
            ));
            out.why.push(format!("{:.1} % of it", share * 100.0));
            place(out, m.kg * share, ex, known);
        }
        (found, days) => {
            out.missing = Some(if found.is_some() {
                Missing::OldMaximum { days: days.unwrap_or(0) }
            } else {
                Missing::NoMaximum
            });
            out.fallback = Some(share_words(item.dose, share));
        }
    }
}

/// A share of an unknown maximum, in repetitions that should be left.
fn share_words(dose: Option<Dose>, share: f64) -> String {
    let asked = match dose {
        Some(Dose::Reps(_, n) | Dose::RepsPerSide(n)) => n.as_f64(),
        _ => 1.0,
    };
    // How many repetitions are usually possible at that share: the most whose chart entry is above it.
    let possible = (1..=12).rev().map(f64::from).find(|r| {
        rep_tables::percent_range(*r)
            .ok()
            .and_then(|p| p.value.chart)
            .is_some_and(|percent| percent >= share * 100.0)
    });
    match possible {
        Some(n) => reserve_words((n - asked).max(0.0)),
        None => "a light load, well within reach".to_owned(),
    }
}

fn of_mass(out: &mut Resolved, share: f64, ex: &Key, known: &Known<'_>) {
    let weighed = known.done.checkins.iter().map(|c| (c.record.date, c.record.mass));
    let tested = known.done.trials.iter().map(|t| (t.record.date, t.record.mass));
    let newest = weighed
        .chain(tested)
        .filter_map(|(date, mass)| mass.map(|m| (date, m)))
        .filter(|(date, _)| *date <= known.day && known.day.since(*date) <= MASS_AGE_DAYS)
        .max_by_key(|(date, _)| *date);
    match newest {
        Some((date, mass)) => {
            out.why.push(format!("body mass {:.1} kg of {date}", mass.as_f64() / 100.0));
            out.why.push(format!("{:.1} % of it", share * 100.0));
            place(out, mass.as_f64() / 100.0 * share, ex, known);
        }
        None => {
            out.missing = Some(Missing::NoBodyMass);
            out.fallback = Some(format!("{:.0} % of what you weigh today", share * 100.0));
        }
    }
}

fn by_speed(out: &mut Resolved, slow: f64, fast: f64, ex: &Key, known: &Known<'_>) {
    let middle = f64::midpoint(slow, fast);
    let load = points(known.done, ex, known.day).and_then(|(loads, speeds, date)| {
        Some((velocity::load_for_speed(&loads, &speeds, middle, 0.25).ok()?, date))
    });
    match load {
        Some((load, date)) => {
            out.why.push(format!("bar speeds of the last four weeks, newest {date}: {middle:.2} m/s"));
            out.why.push(format!("formula {}", load.id()));
            place(out, load.value, ex, known);
        }
        None => {
            out.missing = Some(Missing::NoProfile);
            out.fallback =
                Some(format!("begin light and add until the bar moves at {slow:.2} to {fast:.2} m/s"));
        }
    }
}

fn of_best(out: &mut Resolved, item: &Prescription, ex: &Key, share: f64, known: &Known<'_>) {
    let Some(Dose::Distance(dist)) = item.dose else { return };
    let best = known
        .done
        .sessions
        .iter()
        .filter(|s| {
            s.session.record.date <= known.day && known.day.since(s.session.record.date) <= BEST_AGE_DAYS
        })
        .flat_map(|s| &s.works)
        .filter(|w| w.work.record.ex == *ex)
        .flat_map(|w| &w.sets)
        .filter(|s| s.set.record.dist == Some(dist))
        .filter_map(|s| s.set.record.time)
        .filter(|t| t.get() > 0)
        .min();
    match best {
        Some(best) if share > 0.0 => {
            out.why.push(format!("best time {:.2} s over this distance", best.as_f64() / 1000.0));
            out.why.push(format!("{:.1} % of that speed", share * 100.0));
            #[expect(clippy::cast_possible_truncation, reason = "checked by the type's range")]
            let ms = (best.as_f64() / share).round() as i64;
            out.time = Duration::new(ms).ok();
        }
        _ => {
            out.missing = Some(Missing::NoBest);
            out.fallback = Some(format!("{:.0} % of how fast it would feel today", share * 100.0));
        }
    }
}

/// Rounds a load to what the venue owns.
fn place(out: &mut Resolved, kg: f64, ex: &Key, known: &Known<'_>) {
    out.exact_kg = Some(kg);
    let made = known.venue.and_then(|v| if dumbbells(ex, known) { one_dumbbell(kg, v) } else { bar(kg, v) });
    let total = match made {
        Some(made) => {
            if (made.total_kg - kg).abs() > 0.005 {
                out.why.push(format!("nearest that the venue can make, ties down: {} kg", made.total_kg));
            }
            let total = made.total_kg;
            out.on_the_bar = Some(made);
            total
        }
        // Without kit at hand nothing is rounded but to the unit of the documents.
        None => kg,
    };
    #[expect(clippy::cast_possible_truncation, reason = "checked by the type's range")]
    let units = (total * 100.0).round() as i64;
    out.load = Load::new(units).ok();
}

fn dumbbells(ex: &Key, known: &Known<'_>) -> bool {
    known.library.exercises.get(ex).is_some_and(|e| {
        e.record.implement.as_ref().is_some_and(|i| i.as_str().to_lowercase().contains("dumbbell"))
    })
}

fn one_dumbbell(kg: f64, venue: &Venue) -> Option<OnTheBar> {
    let owned = venue.dumbbells.as_ref()?.0.iter().map(|l| l.as_f64() / 100.0);
    let best = owned.min_by(|a, b| (a - kg).abs().total_cmp(&(b - kg).abs()).then(a.total_cmp(b)))?;
    Some(OnTheBar { bar_kg: None, per_side_kg: Vec::new(), total_kg: best })
}

fn bar(kg: f64, venue: &Venue) -> Option<OnTheBar> {
    let discs: Vec<(f64, u32)> =
        venue.plates.iter().flat_map(|p| &p.0).map(|(m, n)| (m.as_f64() / 100.0, u32::from(*n))).collect();
    let collar = venue.collar.map_or(0.0, |c| c.as_f64() / 100.0);
    let bars = venue.bars.as_ref()?.0.iter().map(|b| b.as_f64() / 100.0);
    bars.filter_map(|bar| {
        let loaded = plates::load(kg, bar, collar, &discs).ok()?.value;
        Some(OnTheBar { bar_kg: Some(bar), per_side_kg: loaded.per_side, total_kg: loaded.total })
    })
    // Nearest first, ties down; of equals the heavier bar, which leaves fewer discs.
    .min_by(|a, b| {
        let off = |m: &OnTheBar| (m.total_kg - kg).abs();
        off(a)
            .total_cmp(&off(b))
            .then(a.total_kg.total_cmp(&b.total_kg))
            .then(b.bar_kg.unwrap_or(0.0).total_cmp(&a.bar_kg.unwrap_or(0.0)))
    })
}
