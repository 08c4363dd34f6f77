//! What an athlete can lift, as far as it is known: from a test, from a coach, from sets with an
//! effort, from a load-velocity profile. Each with date and source; the newest valid one counts.

use std::collections::{BTreeMap, BTreeSet};

use super::done::Done;
use super::library::Library;
use crate::base::day::Day;
use crate::base::key::Key;
use crate::model::number::{Measure, Pattern};
use crate::science::{effort, velocity};

/// Where a maximum comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum Source {
    /// A trial of a test.
    Test,
    /// A trial that a coach took.
    Coach,
    /// A set with an effort: the lower end of the range that the formulas give.
    Set {
        /// Upper end of that range, kg.
        high_kg: f64,
    },
    /// The athlete's load-velocity profile.
    Profile {
        /// Loads on the line.
        points: usize,
    },
}

impl Source {
    /// In words.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Source::Test => "test",
            Source::Coach => "taken by a coach",
            Source::Set { .. } => "estimated from a set",
            Source::Profile { .. } => "estimated from bar speed",
        }
    }
}

/// A maximum.
#[derive(Debug, Clone, PartialEq)]
pub struct Maximum {
    /// kg, for one repetition.
    pub kg: f64,
    /// The day on which it was lifted or estimated from.
    pub date: Day,
    /// Where it comes from.
    pub source: Source,
    /// The formula by which it was estimated, if it was.
    pub formula: Option<&'static str>,
}

/// All maxima of an athlete by exercise, newest first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Maxima(pub BTreeMap<Key, Vec<Maximum>>);

/// Days over which the sets of one profile may lie. A rule of this project.
const PROFILE_DAYS: i32 = 28;
/// Least effort of a set from which a maximum is estimated: below, the rating says little.
const LEAST_EFFORT: f64 = 7.0;
/// How far beyond the heaviest load a profile may foretell, as a share of it.
const REACH: f64 = 0.25;

impl Maxima {
    /// What is known by the end of `until`.
    #[must_use]
    pub fn of(done: &Done, library: &Library, until: Day) -> Maxima {
        let mut all: BTreeMap<Key, Vec<Maximum>> = BTreeMap::new();
        tests(done, library, until, &mut all);
        sets(done, library, until, &mut all);
        profiles(done, library, until, &mut all);
        for list in all.values_mut() {
            // Newest first; on one day a lift that was done counts before an estimate.
            list.sort_by_key(|m| (core::cmp::Reverse(m.date), rank(&m.source)));
        }
        Maxima(all)
    }

    /// The newest one of an exercise.
    #[must_use]
    pub fn newest(&self, ex: &Key) -> Option<&Maximum> {
        self.0.get(ex)?.first()
    }
}

const fn rank(source: &Source) -> u8 {
    match source {
        Source::Test => 0,
        Source::Coach => 1,
        Source::Set { .. } => 2,
        Source::Profile { .. } => 3,
    }
}

fn tests(done: &Done, library: &Library, until: Day, all: &mut BTreeMap<Key, Vec<Maximum>>) {
    for trial in done.trials.iter().map(|t| &t.record).filter(|t| t.date <= until) {
        let Some(protocol) = library.protocols.get(&trial.protocol) else { continue };
        let (Measure::Load, Some(ex)) = (protocol.record.measure, &protocol.record.ex) else { continue };
        let kg = match (trial.value, trial.load, trial.reps.map(|r| r.get())) {
            (Some(value), _, _) => value.as_f64() / 1000.0,
            (None, Some(load), None | Some(1)) => load.as_f64() / 100.0,
            _ => continue,
        };
        if kg > 0.0 {
            let source = if trial.by.is_some() { Source::Coach } else { Source::Test };
            all.entry(ex.clone()).or_default().push(Maximum { kg, date: trial.date, source, formula: None });
        }
    }
}

/// Whether formulas from repetitions were validated for such a lift.
fn strength(library: &Library, ex: &Key) -> bool {
    library.exercises.get(ex).is_some_and(|e| {
        matches!(
            e.record.pattern,
            Pattern::Squat | Pattern::Hinge | Pattern::Lunge | Pattern::Push | Pattern::Pull
        )
    })
}

fn sets(done: &Done, library: &Library, until: Day, all: &mut BTreeMap<Key, Vec<Maximum>>) {
    // The best estimate of a day stands for the day.
    let mut best: BTreeMap<(Key, Day), Maximum> = BTreeMap::new();
    for session in done.sessions.iter().filter(|s| s.session.record.date <= until) {
        let date = session.session.record.date;
        for work in &session.works {
            let ex = &work.work.record.ex;
            if !strength(library, ex) {
                continue;
            }
            for set in work.sets.iter().map(|s| &s.set.record) {
                let (Some(load), Some(reps)) = (set.load, set.reps) else { continue };
                let rated = set.effort.map(|e| e.as_f64() / 10.0);
                let rated = rated.or_else(|| set.reserve.map(|r| 10.0 - r.as_f64() / 10.0));
                // The scale goes in half steps; a rating between them is taken as the lower one.
                let Some(rating) = rated.map(|r| (r * 2.0).floor() / 2.0) else { continue };
                if rating < LEAST_EFFORT || set.failed == Some(true) {
                    continue;
                }
                let Ok(estimate) =
                    effort::with_reserve(load.as_f64() / 100.0, reps.as_f64(), rating, "strength")
                else {
                    continue;
                };
                let found = Maximum {
                    kg: estimate.value.low,
                    date,
                    source: Source::Set { high_kg: estimate.value.high },
                    formula: Some(estimate.id()),
                };
                let slot = best.entry((ex.clone(), date)).or_insert_with(|| found.clone());
                if found.kg > slot.kg {
                    *slot = found;
                }
            }
        }
    }
    for ((ex, _), maximum) in best {
        all.entry(ex).or_default().push(maximum);
    }
}

/// Speed of a maximum for a movement, where one was published that may stand in for the athlete's.
fn slowest(pattern: Pattern) -> Option<f64> {
    let lift = match pattern {
        Pattern::Squat => "squat_general",
        Pattern::Push => "bench_general",
        _ => return None,
    };
    velocity::threshold(lift).ok().map(|t| t.value.mvt)
}

/// The fastest repetition at each load within the last weeks, and the day of the newest.
pub(super) fn points(done: &Done, ex: &Key, until: Day) -> Option<(Vec<f64>, Vec<f64>, Day)> {
    let mut by_load: BTreeMap<i64, f64> = BTreeMap::new();
    let mut newest: Option<Day> = None;
    for session in &done.sessions {
        let date = session.session.record.date;
        if date > until || until.since(date) > PROFILE_DAYS {
            continue;
        }
        for work in session.works.iter().filter(|w| w.work.record.ex == *ex) {
            for set in work.sets.iter().map(|s| &s.set.record) {
                let fastest = set.speeds.as_ref().and_then(|s| s.mm_s().iter().max().copied()).unwrap_or(0);
                let (Some(load), true) = (set.load, fastest > 0) else { continue };
                let slot = by_load.entry(load.get()).or_insert(0.0);
                *slot = slot.max(f64::from(fastest) / 1000.0);
                newest = newest.max(Some(date));
            }
        }
    }
    let loads = by_load.keys().filter_map(|l| i32::try_from(*l).ok()).map(|l| f64::from(l) / 100.0).collect();
    Some((loads, by_load.values().copied().collect(), newest?))
}

fn profiles(done: &Done, library: &Library, until: Day, all: &mut BTreeMap<Key, Vec<Maximum>>) {
    let used: BTreeSet<&Key> =
        done.sessions.iter().flat_map(|s| &s.works).map(|w| &w.work.record.ex).collect();
    for ex in used {
        let Some(mvt) = library.exercises.get(ex).and_then(|e| slowest(e.record.pattern)) else { continue };
        let Some((loads, speeds, date)) = points(done, ex, until) else { continue };
        let conditions = velocity::Conditions { mvt, reach: REACH, speed: "mean", lift: "strength" };
        let Ok(profile) = velocity::profile(&loads, &speeds, conditions) else { continue };
        all.entry(ex.clone()).or_default().push(Maximum {
            kg: profile.value.one_rm,
            date,
            source: Source::Profile { points: loads.len() },
            formula: Some(profile.id()),
        });
    }
}
