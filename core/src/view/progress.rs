//! What a rule of progression comes to, step by step, from what was done last. Knows no plan and no
//! coach: who proposes it to whom is `view::proposal`. Common practice, no source.

use super::judge::ItemShare;
use super::proposal::{HARD, Quiet, Way};
use super::why::{Part, float};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::model::log::SetDone;
use crate::model::number::{Load, Reps, Share};
use crate::model::packed::{Dose, Intensity, Target, WaveSet};
use crate::model::plan::Prescription;
use crate::model::rule::{Easy, Rule};

/// What was done last with a rule.
pub(super) struct Last<'a> {
    pub(super) log: Key,
    pub(super) on: Day,
    pub(super) share: &'a ItemShare,
    pub(super) sets: Vec<&'a SetDone>,
}

impl Last<'_> {
    /// Whether what was asked was done, with something left.
    pub(super) fn reached(&self, done_from: f64) -> bool {
        self.share.share >= done_from && self.all_sets() && !self.hard()
    }

    fn asked_sets(&self) -> usize {
        usize::try_from(self.share.sets).unwrap_or(usize::MAX)
    }

    fn all_sets(&self) -> bool {
        self.share.each.len() >= self.asked_sets()
    }

    /// Whether a set failed or was as hard as it could be.
    fn hard(&self) -> bool {
        self.sets.iter().any(|s| s.failed == Some(true) || rated(s).is_some_and(|e| e >= HARD))
    }

    /// The load to go on from, in 10 g: the least that was lifted in the sets asked where they were
    /// done as asked, else what was asked.
    fn base(&self, as_done: bool) -> Option<i64> {
        let asked = self.share.target.as_ref().and_then(|t| t.load);
        let least = self.sets.iter().take(self.asked_sets()).filter_map(|s| s.load).min();
        let (first, second) = if as_done { (least, asked) } else { (asked, least) };
        first.or(second).map(Load::get)
    }
}

/// Effort of a set, of 10.
pub(super) fn rated(set: &SetDone) -> Option<f64> {
    let effort = set.effort.map(|e| e.as_f64() / 10.0);
    effort.or_else(|| set.reserve.map(|r| 10.0 - r.as_f64() / 10.0))
}

/// Whose turn it is.
pub(super) struct Turn {
    /// Whether what was asked was done, and a week has passed.
    pub(super) on: bool,
    /// Whether what was asked was done.
    pub(super) reached: bool,
    /// When the week to come is an easy one.
    pub(super) easy: Option<Easy>,
    /// Weeks since the first with the rule.
    pub(super) weeks: usize,
}

/// What a rule makes of it: intensity, dose, way, and its own numbers.
pub(super) struct Step {
    pub(super) intensity: Option<Intensity>,
    pub(super) dose: Option<Dose>,
    pub(super) way: Way,
    pub(super) parts: Vec<Part>,
}

/// What a rule makes of what was done last, for the prescription `next`.
pub(super) fn step(rule: &Rule, last: &Last<'_>, next: &Prescription, turn: &Turn) -> Result<Step, Quiet> {
    let target = last.share.target.as_ref();
    let by_load = matches!(rule, Rule::AddLoad { .. } | Rule::RepsThenLoad { .. } | Rule::BySpeed { .. });
    if by_load && (next.waves.is_some() || target.is_some_and(|t| t.waves.is_some())) {
        return Err(Quiet::SetsDiffer);
    }
    let Turn { on, reached, easy, weeks } = *turn;
    match rule {
        Rule::AddLoad { step, .. } => {
            let base = last.base(reached).ok_or(Quiet::NoLoad)?;
            let (units, way) = match easy {
                // To the half kilogram below: an easy week is not to be rounded up.
                Some(e) => (base * e.share.get() / 1000 / 50 * 50, Way::Easy),
                None if on => (base + step.get(), Way::More),
                None => (base, Way::Same),
            };
            let mut parts = vec![kg("load to go on from", base), kg("step", step.get())];
            parts.extend(easy.map(|e| Part::of("share of an easy week", e.share.as_f64() / 1000.0, "")));
            Ok(Step { intensity: Some(load(units)?), dose: None, way, parts })
        }
        Rule::AddShare { step, .. } => {
            let Some(Intensity::OfMax(share, of)) = target.and_then(|t| t.intensity.clone()) else {
                return Err(Quiet::NoShare);
            };
            let (units, way) = match easy {
                Some(e) => (share.get() * e.share.get() / 1000, Way::Easy),
                // Never more than the maximum.
                None if on && share.get() < 1000 => ((share.get() + step.get()).min(1000), Way::More),
                None => (share.get(), Way::Same),
            };
            let intensity = Intensity::OfMax(Share::new(units).map_err(|_| Quiet::OutOfRange)?, of);
            let parts = vec![
                Part::of("share to go on from", share.as_f64() / 1000.0, ""),
                Part::of("step", step.as_f64() / 1000.0, ""),
            ];
            Ok(Step { intensity: Some(intensity), dose: None, way, parts })
        }
        Rule::Table(lines) => table(&lines.0, target, on, weeks),
        Rule::RepsThenLoad { low, high, step } => reps_then_load((*low, *high), *step, last),
        Rule::BySpeed { slow, fast, step } => {
            let best = |s: &&SetDone| s.speeds.as_ref().and_then(|v| v.mm_s().iter().max().copied());
            let speeds: Vec<f64> = last.sets.iter().filter_map(best).map(f64::from).collect();
            let mean = crate::science::stats::mean(&speeds).ok_or(Quiet::NoSpeed)?;
            let base = last.base(true).ok_or(Quiet::NoLoad)?;
            let failed = last.sets.iter().any(|s| s.failed == Some(true));
            let (units, way) = if failed || mean < slow.as_f64() {
                ((base - step.get()).max(0), Way::Less)
            } else if mean > fast.as_f64() && reached {
                (base + step.get(), Way::More)
            } else {
                (base, Way::Same)
            };
            let parts = vec![
                kg("load to go on from", base),
                Part::of("mean of the sets' fastest repetitions", mean / 1000.0, "m/s"),
                Part::of("band from", slow.as_f64() / 1000.0, "m/s"),
                Part::of("band to", fast.as_f64() / 1000.0, "m/s"),
                kg("step", step.get()),
            ];
            Ok(Step { intensity: Some(load(units)?), dose: None, way, parts })
        }
    }
}

fn reps_then_load((low, high): (Reps, Reps), step: Load, last: &Last<'_>) -> Result<Step, Quiet> {
    let base = last.base(true).ok_or(Quiet::NoLoad)?;
    let asked = match last.share.target.as_ref().and_then(|t| t.dose) {
        Some(Dose::Reps(n, _)) => n,
        _ => low,
    };
    // A number that was not logged counts as done as asked.
    let least = last.sets.iter().map(|s| s.reps.unwrap_or(asked)).min().unwrap_or(asked);
    let (reps, units, way) = if !last.all_sets() || last.hard() || least < asked {
        (asked.clamp(low, high), base, Way::Same)
    } else if least >= high {
        (low, base + step.get(), Way::More)
    } else {
        let more = Reps::new(least.get() + 1).map_err(|_| Quiet::OutOfRange)?;
        (more.clamp(low, high), base, Way::More)
    };
    let parts = vec![
        kg("load to go on from", base),
        Part::of("fewest repetitions of a set", least.as_f64(), ""),
        Part::of("repetitions from", low.as_f64(), ""),
        Part::of("repetitions to", high.as_f64(), ""),
        kg("step", step.get()),
    ];
    Ok(Step { intensity: Some(load(units)?), dose: Some(Dose::Reps(reps, reps)), way, parts })
}

fn load(units: i64) -> Result<Intensity, Quiet> {
    Load::new(units).map(Intensity::Load).map_err(|_| Quiet::OutOfRange)
}

fn kg(name: &str, units: i64) -> Part {
    #[expect(clippy::cast_precision_loss, reason = "at most 100,000")]
    Part::of(name, units as f64 / 100.0, "kg")
}

/// The line of a table to take: the one after the line that was asked last, or that line again.
fn table(lines: &[WaveSet], target: Option<&Target>, on: bool, weeks: usize) -> Result<Step, Quiet> {
    if lines.is_empty() {
        return Err(Quiet::AsPlanned);
    }
    let asked = |i: usize| {
        lines.get(i).is_some_and(|l| {
            target.is_some_and(|t| {
                l.dose.is_none_or(|d| t.dose == Some(d))
                    && l.intensity.as_ref().is_none_or(|x| t.intensity.as_ref() == Some(x))
            })
        })
    };
    let found: Vec<usize> = (0..lines.len()).filter(|i| asked(*i)).collect();
    // Where several lines read the same, the one whose turn it was by the count of weeks.
    let turn = (weeks + lines.len() - 1) % lines.len();
    let last = found.iter().find(|i| **i == turn).or_else(|| found.first()).copied();
    let next = match last {
        Some(i) if on => (i + 1) % lines.len(),
        Some(i) => i,
        None => 0,
    };
    let line = lines.get(next).ok_or(Quiet::AsPlanned)?;
    let parts =
        vec![Part::of("line of the table", float(next + 1), ""), Part::of("lines", float(lines.len()), "")];
    let way = if last == Some(next) { Way::Same } else { Way::NextLine };
    Ok(Step { intensity: line.intensity.clone(), dose: line.dose, way, parts })
}
