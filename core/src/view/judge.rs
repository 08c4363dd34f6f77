//! Done against asked: the share of a set, of an exercise, of a session (`docs/meanings.md`).
//! Common practice, no source; tolerances are the club's to edit. Always between 0 and 1.

use std::collections::BTreeMap;

use super::done::{DoneSession, DoneSet, DoneWork};
use super::planned::{PlannedSession, sets_asked};
use crate::base::key::Key;
use crate::model::log::{Entered, SetDone};
use crate::model::number::{Count, Skip};
use crate::model::packed::{Dose, Intensity, Target};
use crate::model::plan::{Prescription, Settings};

/// How far done may be from asked without being called different.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    /// Share of the load (or speed, or time) asked.
    pub load: f64,
    /// Points on the 0 to 10 effort rating, or repetitions in reserve.
    pub effort: f64,
}

impl Default for Tolerance {
    /// Five hundredths of the load, one point of effort.
    fn default() -> Self {
        Tolerance { load: 0.05, effort: 1.0 }
    }
}

impl Tolerance {
    /// The club's tolerances, the usual ones where the club set none.
    #[must_use]
    pub fn of(settings: Option<&Settings>) -> Tolerance {
        let usual = Tolerance::default();
        let Some(s) = settings else { return usual };
        // A tolerance of nothing would divide by it; a thousandth is as good as none.
        Tolerance {
            load: s.load_tolerance.map_or(usual.load, |t| (t.as_f64() / 1000.0).max(0.001)),
            effort: s.effort_tolerance.map_or(usual.effort, |t| (t.as_f64() / 1000.0).max(0.001)),
        }
    }
}

/// What one set asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAsked {
    /// How much.
    pub dose: Option<Dose>,
    /// How hard.
    pub intensity: Option<Intensity>,
    /// The load that it came to, when it came to one.
    pub load: Option<crate::model::number::Load>,
}

/// How a set that was done compares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SetShare {
    /// Dose done over dose asked, at most 1.
    pub dose: f64,
    /// 1 inside tolerance, falling to 0.5 at three tolerances, never below.
    pub intensity: f64,
    /// Whether more was done than asked, beyond tolerance.
    pub over: bool,
}

impl SetShare {
    /// The share of the set.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.dose * self.intensity
    }
}

/// How a prescription was met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// With the exercise asked.
    AsAsked,
    /// With one that the coach allowed instead.
    Swapped,
    /// With another one.
    Changed,
    /// Left out with a reason.
    Skipped(Skip),
    /// Nothing logged.
    Nothing,
}

/// One prescription, judged.
#[derive(Debug, Clone, PartialEq)]
pub struct ItemShare {
    /// The prescription.
    pub item: Key,
    /// The exercise asked, as far as it is known.
    pub asked: Option<Key>,
    /// The exercise done.
    pub done: Option<Key>,
    /// How.
    pub how: How,
    /// Sets asked.
    pub sets: u32,
    /// How much it counts in the session: sets asked, times the exercise's weight in the library.
    pub weight: f64,
    /// What was asked, as judged: as shown when it was done, else as planned now.
    pub target: Option<Target>,
    /// Each set done, in order, with how it compares; extra sets at the end.
    pub each: Vec<SetShare>,
    /// Share done, 0 to 1.
    pub share: f64,
    /// Sets beyond those asked.
    pub extra: u32,
}

/// A session, judged.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionShare {
    /// Its prescriptions, in order.
    pub items: Vec<ItemShare>,
    /// Share done, 0 to 1; `None` when nothing was asked.
    pub share: Option<f64>,
    /// Sets logged for work that nobody asked.
    pub unasked: u32,
    /// Whether the athlete saw another version than the one that stands now.
    pub earlier_version: bool,
}

/// Judges what was logged for a planned session. `logs` are all sessions done that refer to it,
/// `entered` the sets that a coach entered for it, `weight_of` what a set of an exercise counts.
#[must_use]
pub fn session(
    planned: &PlannedSession,
    exercise_now: &dyn Fn(&Prescription) -> Key,
    logs: &[&DoneSession],
    entered: &[&Entered],
    tolerance: Tolerance,
    weight_of: &dyn Fn(&Key) -> f64,
) -> SessionShare {
    // What was shown when it began; without it, the plan as it stands.
    let shown: Option<&Vec<(Key, Count)>> =
        logs.iter().find_map(|l| l.session.record.asked.as_ref()).map(|a| &a.0).filter(|a| !a.is_empty());
    let now: Vec<(Key, Count)> = planned.asked().0;
    let asked = shown.unwrap_or(&now);
    let prescriptions: BTreeMap<Key, (&Prescription, Count)> = planned
        .items()
        .map(|(g, i)| (i.key(), (&i.record, sets_asked(&g.group.record, &i.record))))
        .collect();

    let mut items = Vec::new();
    for (key, count) in asked {
        let works: Vec<&DoneWork> =
            logs.iter().flat_map(|l| &l.works).filter(|w| w.work.record.item.as_ref() == Some(key)).collect();
        let coach: Vec<&Entered> = entered.iter().copied().filter(|e| e.item.as_ref() == Some(key)).collect();
        let mut judged =
            item(key, *count, prescriptions.get(key).map(|p| p.0), exercise_now, &works, &coach, tolerance);
        judged.weight *= judged.asked.as_ref().map_or(1.0, weight_of);
        items.push(judged);
    }
    let weight: f64 = items.iter().map(|i| i.weight).sum();
    let done: f64 = items.iter().map(|i| i.weight * i.share).sum();
    let unasked = logs
        .iter()
        .flat_map(|l| &l.works)
        .filter(|w| w.work.record.item.as_ref().is_none_or(|k| !asked.iter().any(|(a, _)| a == k)))
        .map(|w| u32::try_from(w.sets.len()).unwrap_or(u32::MAX))
        .sum();
    let earlier_version = shown.is_some_and(|s| *s != now)
        || items.iter().any(|i| {
            let Some((p, sets)) = prescriptions.get(&i.item) else { return true };
            i.how != How::Nothing && i.target.as_ref().is_some_and(|t| differs(t, p, *sets))
        });
    SessionShare {
        items,
        share: (weight > 0.0).then(|| (done / weight).clamp(0.0, 1.0)),
        unasked,
        earlier_version,
    }
}

/// Whether a shown target is another one than the prescription asks now.
fn differs(shown: &Target, now: &Prescription, sets: Count) -> bool {
    shown.sets != sets
        || shown.dose != now.dose
        || shown.intensity != now.intensity
        || shown.rest != now.rest
        || shown.waves != now.waves
}

fn item(
    key: &Key,
    count: Count,
    prescription: Option<&Prescription>,
    exercise_now: &dyn Fn(&Prescription) -> Key,
    works: &[&DoneWork],
    coach: &[&Entered],
    tolerance: Tolerance,
) -> ItemShare {
    let target = works
        .iter()
        .find_map(|w| w.work.record.shown.clone())
        .or_else(|| prescription.map(|p| target_now(p, count)));
    let sets = u32::try_from(target.as_ref().map_or(count, |t| t.sets).get().max(count.get())).unwrap_or(1);
    let first = works.first().map(|w| &w.work.record);
    // What stood on the screen: the log says so when another exercise was done in its place.
    let asked = first
        .map(|w| w.instead_of.clone().unwrap_or_else(|| w.ex.clone()))
        .or_else(|| prescription.map(exercise_now));
    let done = first.map(|w| w.ex.clone()).or_else(|| coach.first().map(|e| e.ex.clone()));

    let entered: Vec<SetDone> = coach.iter().map(|e| as_set(e)).collect();
    let all: Vec<&SetDone> =
        works.iter().flat_map(|w| &w.sets).map(|s: &DoneSet| &s.set.record).chain(entered.iter()).collect();
    let each: Vec<SetShare> = all
        .iter()
        .enumerate()
        .map(|(i, set)| compare(&set_asked(i, target.as_ref()), set, tolerance))
        .collect();
    let counted = usize::try_from(sets).unwrap_or(usize::MAX);
    let sum: f64 = each.iter().take(counted).map(SetShare::share).sum();
    let skipped = works.iter().find_map(|w| w.work.record.skipped);
    let how = if all.is_empty() {
        skipped.map_or(How::Nothing, How::Skipped)
    } else if done == asked {
        How::AsAsked
    } else {
        let allowed = prescription
            .and_then(|p| p.swaps.as_ref())
            .is_some_and(|s| done.as_ref().is_some_and(|d| s.0.contains(d)));
        if allowed { How::Swapped } else { How::Changed }
    };
    ItemShare {
        item: key.clone(),
        asked,
        done,
        how,
        sets,
        weight: f64::from(sets),
        target,
        // Adding zero turns the negative zero of an empty sum into zero.
        share: (sum / f64::from(sets.max(1))).clamp(0.0, 1.0) + 0.0,
        extra: u32::try_from(each.len().saturating_sub(counted)).unwrap_or(u32::MAX),
        each,
    }
}

/// What a prescription asks now, as a screen would remember it, without the line on variation.
#[must_use]
pub fn target_now(p: &Prescription, sets: Count) -> Target {
    let load = match p.intensity {
        Some(Intensity::Load(load)) => Some(load),
        _ => None,
    };
    Target {
        sets,
        dose: p.dose,
        intensity: p.intensity.clone(),
        load,
        rest: p.rest,
        waves: p.waves.clone(),
        how: crate::model::number::Text::default(),
    }
}

/// What the `i`th set of a target asks.
#[must_use]
pub fn set_asked(i: usize, target: Option<&Target>) -> SetAsked {
    let Some(target) = target else { return SetAsked { dose: None, intensity: None, load: None } };
    let wave = target.waves.as_ref().and_then(|w| w.0.get(i));
    let own = wave.and_then(|w| w.intensity.clone());
    let load = if own.is_some() { None } else { target.load };
    SetAsked {
        dose: wave.and_then(|w| w.dose).or(target.dose),
        intensity: own.or_else(|| target.intensity.clone()),
        load,
    }
}

/// A set that a coach entered, as if it had been logged.
pub(super) fn as_set(e: &Entered) -> SetDone {
    SetDone {
        load: e.load,
        reps: e.reps,
        hold: e.hold,
        dist: e.dist,
        contacts: e.contacts,
        time: e.time,
        effort: e.effort,
        speeds: e.speeds.clone(),
        ..SetDone::new(e.at)
    }
}

/// Compares one set. A set that was logged without a number counts as done as asked in that number.
#[must_use]
pub fn compare(asked: &SetAsked, done: &SetDone, tolerance: Tolerance) -> SetShare {
    let (dose, over_dose) = dose_ratio(asked.dose, done);
    let (intensity, over_intensity) = intensity_factor(asked, done, tolerance);
    SetShare { dose, intensity, over: over_dose > 1.0 + tolerance.load || over_intensity }
}

/// Done over asked: capped at 1, and uncapped.
fn dose_ratio(asked: Option<Dose>, done: &SetDone) -> (f64, f64) {
    let ratio = |asked: f64, done: Option<f64>| match done {
        Some(done) if asked > 0.0 => done / asked,
        _ => 1.0,
    };
    let reps = done.reps.map(|r| r.as_f64());
    let raw = match asked {
        None | Some(Dose::ToLimit) => return (1.0, 1.0),
        Some(Dose::Reps(low, high)) => {
            // Anything inside the range is all that was asked.
            let raw = ratio(low.as_f64(), reps);
            let over = ratio(high.as_f64(), reps);
            return (raw.clamp(0.0, 1.0), over);
        }
        Some(Dose::RepsPerSide(n)) => ratio(n.as_f64(), reps),
        Some(Dose::Hold(t) | Dose::HoldPerSide(t)) => {
            ratio(t.as_f64(), done.hold.or(done.time).map(|t| t.as_f64()))
        }
        Some(Dose::Distance(d)) => ratio(d.as_f64(), done.dist.map(|d| d.as_f64())),
        Some(Dose::Contacts(n)) => ratio(n.as_f64(), done.contacts.or(done.reps).map(|c| c.as_f64())),
    };
    (raw.clamp(0.0, 1.0), raw)
}

fn intensity_factor(asked: &SetAsked, done: &SetDone, tolerance: Tolerance) -> (f64, bool) {
    // Difference in tolerances, positive when harder than asked.
    let relative =
        |asked: f64, done: f64| if asked > 0.0 { (done - asked) / asked / tolerance.load } else { 0.0 };
    let load = |load: Option<crate::model::number::Load>| {
        load.zip(done.load).map(|(a, d)| relative(a.as_f64(), d.as_f64()))
    };
    let fastest = done.speeds.as_ref().and_then(|s| s.mm_s().iter().max().copied()).map(f64::from);
    let off = match &asked.intensity {
        None => load(asked.load),
        Some(Intensity::Load(l)) => load(Some(*l)),
        Some(Intensity::OfMax(..) | Intensity::OfMass(_)) => load(asked.load),
        Some(Intensity::Effort(e)) => {
            done.effort.map(|d| (d.as_f64() - e.as_f64()) / 10.0 / tolerance.effort)
        }
        Some(Intensity::Reserve(r)) => {
            done.reserve.map(|d| (r.as_f64() - d.as_f64()) / 10.0 / tolerance.effort)
        }
        Some(Intensity::SpeedBand(slow, fast)) => fastest.map(|v| {
            // Slower than the band is harder than asked.
            if v < slow.as_f64() {
                -relative(slow.as_f64(), v)
            } else if v > fast.as_f64() {
                -relative(fast.as_f64(), v)
            } else {
                0.0
            }
        }),
        // Faster than asked is harder than asked.
        Some(Intensity::Within(t)) => done.time.map(|d| -relative(t.as_f64(), d.as_f64())),
        Some(Intensity::OfBest(_)) => None,
    };
    let off = off.unwrap_or(0.0);
    let beyond = (off.abs() - 1.0).clamp(0.0, 2.0);
    (1.0 - beyond / 4.0, off > 1.0)
}
