//! Bar speed at the same load over time: its line, and whether the last session differs beyond the
//! athlete's own noise. Formulas are those of `science`; knows no board.

use std::collections::BTreeMap;

use super::done::Done;
use super::why::{Lack, Part, Why, count};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::model::number::Load;
use crate::science::trend::RobustTrend;
use crate::science::{Computed, reliability, stats, trend};

/// Days over which the line goes. A rule of this project.
pub const DAYS: i32 = 84;
/// Earlier days at the same load that are needed to know the noise.
pub const EARLIER: usize = 4;
/// Least noise that is believed of a bar speed, m/s: devices do not resolve less.
pub const LEAST_NOISE: f64 = 0.02;

/// Bar speed of one exercise at one load.
#[derive(Debug, Clone, PartialEq)]
pub struct SpeedTrend {
    /// The exercise.
    pub ex: Key,
    /// The load.
    pub load: Load,
    /// The fastest repetition of each day, m/s.
    pub days: Vec<(Day, f64)>,
    /// The line of speed (m/s) on days.
    pub line: Result<Computed<RobustTrend>, Lack>,
    /// The last day against the days before it.
    pub change: Result<Change, Lack>,
}

/// A change with the noise that it stands against.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Before.
    pub before: f64,
    /// After.
    pub after: f64,
    /// Typical error.
    pub noise: f64,
    /// Whether it is beyond noise.
    pub beyond_noise: bool,
    /// In words.
    pub reading: &'static str,
    /// The day of `after`.
    pub on: Day,
    /// Why.
    pub why: Why,
}

/// All exercises and loads that were lifted with a bar speed on at least two days up to `until`.
#[must_use]
pub fn trends(done: &Done, until: Day) -> Vec<SpeedTrend> {
    let mut all: BTreeMap<(&Key, Load), BTreeMap<Day, f64>> = BTreeMap::new();
    for session in &done.sessions {
        let day = session.session.record.date;
        if day > until || until.since(day) >= DAYS {
            continue;
        }
        for work in &session.works {
            for set in work.sets.iter().map(|s| &s.set.record) {
                let fastest = set.speeds.as_ref().and_then(|s| s.mm_s().iter().max().copied()).unwrap_or(0);
                let (Some(load), true) = (set.load, fastest > 0) else { continue };
                let slot = all.entry((&work.work.record.ex, load)).or_default().entry(day).or_insert(0.0);
                *slot = slot.max(f64::from(fastest) / 1000.0);
            }
        }
    }
    all.into_iter()
        .filter(|(_, days)| days.len() > 1)
        .map(|((ex, load), days)| {
            let days: Vec<(Day, f64)> = days.into_iter().collect();
            SpeedTrend { ex: ex.clone(), load, line: line(&days), change: change(&days), days }
        })
        .collect()
}

/// A robust line of values on days.
///
/// # Errors
/// Fewer than four days, or no variation in them.
pub fn line(days: &[(Day, f64)]) -> Result<Computed<RobustTrend>, Lack> {
    let first = days.first().ok_or(Lack::Nothing { what: "days" })?.0;
    if days.len() < 4 {
        return Err(Lack::TooFew { what: "days", have: count(days.len()), need: 4 });
    }
    let x: Vec<f64> = days.iter().map(|(d, _)| f64::from(d.since(first))).collect();
    let y: Vec<f64> = days.iter().map(|(_, v)| *v).collect();
    Ok(trend::theil_sen(&x, &y, 0.95)?)
}

/// The last day against the median of the days before, with the noise of following days.
fn change(days: &[(Day, f64)]) -> Result<Change, Lack> {
    let Some(((on, after), earlier)) = days.split_last().map(|(l, e)| (*l, e)) else {
        return Err(Lack::Nothing { what: "days" });
    };
    let few =
        Lack::TooFew { what: "earlier days at this load", have: count(earlier.len()), need: count(EARLIER) };
    if earlier.len() < EARLIER {
        return Err(few);
    }
    let values: Vec<f64> = earlier.iter().map(|(_, v)| *v).collect();
    let following: Vec<f64> = values.iter().skip(1).copied().collect();
    let leading: Vec<f64> = values.iter().take(following.len()).copied().collect();
    let noise = reliability::two_trials(&leading, &following)?.value.te.max(LEAST_NOISE);
    let before = stats::median(&values).ok_or(few)?;
    let found = reliability::change(before, after, noise)?;
    let mut parts: Vec<Part> = earlier.iter().map(|(d, v)| Part::on("earlier", *v, "m/s", *d)).collect();
    parts.push(Part::of("median of the earlier days", before, "m/s"));
    parts.push(Part::on("last", after, "m/s", on));
    parts.push(Part::of("typical error of following days", noise, "m/s"));
    Ok(Change {
        before,
        after,
        noise,
        beyond_noise: found.value.beyond_noise,
        reading: found.value.reading,
        on,
        why: Why::by(&found, parts),
    })
}
