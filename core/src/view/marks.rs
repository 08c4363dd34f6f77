//! Test results: what a trial comes to in one number, an athlete's results over time, their noise,
//! and whether the last one changed beyond it. Formulas are those of `science`.

use std::collections::BTreeMap;

use super::done::Done;
use super::library::Library;
use super::speed::{Change, line};
use super::why::{Lack, Part, Why, count, float};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::doc::read::Entry;
use crate::model::log::Trial;
use crate::model::number::{Better, Measure};
use crate::model::packed::Times;
use crate::model::plan::Protocol;
use crate::science::trend::RobustTrend;
use crate::science::{Computed, Formula, STANDARD_GRAVITY, jump, reactive, reliability, stats, stiffness};

/// What is read from a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Reading {
    /// The result in the protocol's own unit.
    Result,
    /// Vertical stiffness of hops, N/m.
    Stiffness,
}

/// One trial in one number.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// The trial.
    pub trial: Key,
    /// The day.
    pub day: Day,
    /// The number.
    pub value: f64,
    /// Wind, m/s, where it was measured.
    pub wind: Option<f64>,
    /// Conditions, in the words of whoever took it.
    pub conditions: Option<String>,
    /// Whether a coach took it.
    pub by_coach: bool,
    /// The formula that made the number, when it was not measured as such.
    pub formula: Option<&'static str>,
}

/// Fewest hops that count for the score of five best.
const HOPS: usize = 5;

/// What a trial comes to. `mass_kg` gives the body mass of a day, for a trial that does not hold it.
///
/// # Errors
/// When the trial does not hold what its test measures, or a formula refuses.
pub fn mark(
    trial: &Entry<Trial>,
    protocol: &Protocol,
    mass_kg: &dyn Fn(Day) -> Option<f64>,
    read: Reading,
) -> Result<Mark, Lack> {
    let t = &trial.record;
    let given = t.value.map(|v| v.as_f64() / 1000.0);
    let (value, formula) = match (read, protocol.measure) {
        (Reading::Stiffness, Measure::Hops) => stiffness_of(t, mass_kg)?.mark(),
        (Reading::Stiffness, _) => return Err(Lack::Nothing { what: "hops" }),
        (Reading::Result, Measure::Hops) => match given {
            Some(value) => (value, None),
            None => reactive_of(t)?.mark(),
        },
        (Reading::Result, measure) => {
            let measured = match measure {
                Measure::Load => {
                    t.load.filter(|_| t.reps.is_none_or(|r| r.get() == 1)).map(|l| l.as_f64() / 100.0)
                }
                Measure::Reps => t.reps.map(|r| r.as_f64()),
                Measure::Splits => t.splits.as_ref().and_then(|s| s.0.last()).map(|d| d.as_f64() / 1000.0),
                Measure::Speed => {
                    let fastest = t.speeds.as_ref().and_then(|s| s.mm_s().iter().max().copied());
                    fastest.map(|v| f64::from(v) / 1000.0)
                }
                Measure::Time | Measure::Distance | Measure::Hops => None,
            };
            (given.or(measured).ok_or(Lack::Nothing { what: "result" })?, None)
        }
    };
    Ok(Mark {
        trial: trial.key(),
        day: t.date,
        value,
        wind: t.wind.map(|w| w.as_f64() / 1000.0),
        conditions: t.conditions.as_ref().map(ToString::to_string).filter(|c| !c.is_empty()),
        by_coach: t.by.is_some(),
        formula,
    })
}

/// What a formula made of a trial.
struct Told {
    value: f64,
    formula: &'static Formula,
    notes: Vec<&'static str>,
}

impl Told {
    const fn mark(&self) -> (f64, Option<&'static str>) {
        (self.value, Some(self.formula.id))
    }
}

fn mass_of(t: &Trial, mass_kg: &dyn Fn(Day) -> Option<f64>) -> Option<f64> {
    t.mass.map(|m| m.as_f64() / 100.0).or_else(|| mass_kg(t.date))
}

/// How the number of a trial came about, hop by hop; none where it was measured as such, or where there is no
/// number.
#[must_use]
pub fn reckoned(
    trial: &Entry<Trial>,
    protocol: &Protocol,
    mass_kg: &dyn Fn(Day) -> Option<f64>,
    read: Reading,
) -> Option<Why> {
    let t = &trial.record;
    let told = match (read, protocol.measure) {
        (Reading::Stiffness, Measure::Hops) => stiffness_of(t, mass_kg),
        (Reading::Result, Measure::Hops) if t.value.is_none() => reactive_of(t),
        _ => return None,
    }
    .ok()?;
    let (flights, touches) = hops(t).ok()?;
    let mut parts = Vec::new();
    if read == Reading::Stiffness {
        parts.extend(mass_of(t, mass_kg).map(|m| Part::of("body mass", m, "kg")));
    }
    for (i, (flight, touch)) in flights.into_iter().zip(touches).enumerate() {
        let n = i + 1;
        parts.push(Part::of(format!("hop {n}, flight"), flight, "s"));
        parts.push(Part::of(format!("hop {n}, contact"), touch, "s"));
        let height = jump::height_from_flight(flight, STANDARD_GRAVITY);
        parts.extend(height.ok().map(|h| Part::of(format!("hop {n}, height"), h.value, "m")));
    }
    Some(Why {
        formula: told.formula.id,
        version: told.formula.version,
        rule: told.formula.rule,
        source: told.formula.source,
        parts,
        notes: told.notes,
        caution: told.formula.caution,
    })
}

fn hops(t: &Trial) -> Result<(Vec<f64>, Vec<f64>), Lack> {
    let s = |times: &Option<Times>| -> Vec<f64> {
        times.iter().flat_map(|t| &t.0).map(|d| d.as_f64() / 1000.0).collect()
    };
    let (flights, touches) = (s(&t.flights), s(&t.touches));
    if flights.is_empty() || flights.len() != touches.len() {
        return Err(Lack::Nothing { what: "flight and contact times of the same hops" });
    }
    Ok((flights, touches))
}

/// Height over contact, m/s: the five best of a test with hops enough, else the mean.
fn reactive_of(t: &Trial) -> Result<Told, Lack> {
    let (flights, touches) = hops(t)?;
    if flights.len() >= HOPS {
        let each = flights
            .iter()
            .zip(&touches)
            .map(|(f, c)| reactive::rsi(*f, *c, STANDARD_GRAVITY).map(|r| r.value.rsi))
            .collect::<Result<Vec<f64>, _>>()?;
        let best = reactive::ten_five(&each, Some(&touches), 0.25, "height_over_contact")?;
        return Ok(Told { value: best.value, formula: best.formula, notes: best.notes });
    }
    let mean = reactive::rsi_mean(&flights, &touches, STANDARD_GRAVITY)?;
    Ok(Told { value: mean.value.rsi, formula: mean.formula, notes: mean.notes })
}

/// Each hop first, then the mean.
fn stiffness_of(t: &Trial, mass_kg: &dyn Fn(Day) -> Option<f64>) -> Result<Told, Lack> {
    let mass = mass_of(t, mass_kg).ok_or(Lack::Nothing { what: "body mass" })?;
    let (flights, touches) = hops(t)?;
    let each = flights
        .iter()
        .zip(&touches)
        .map(|(f, c)| stiffness::dalleau(mass, *c, *f).map(|k| k.value))
        .collect::<Result<Vec<f64>, _>>()?;
    let mean = stats::mean(&each).ok_or(Lack::Nothing { what: "hops" })?;
    Ok(Told { value: mean, formula: &stiffness::DALLEAU, notes: Vec::new() })
}

/// The body mass nearest before a day, kg, at most two months old.
#[must_use]
pub fn mass_on(done: &Done, day: Day) -> Option<f64> {
    let weighed = done.checkins.iter().map(|c| (c.record.date, c.record.mass));
    let tested = done.trials.iter().map(|t| (t.record.date, t.record.mass));
    weighed
        .chain(tested)
        .filter_map(|(date, mass)| mass.map(|m| (date, m)))
        .filter(|(date, _)| *date <= day && day.since(*date) <= 60)
        .max_by_key(|(date, mass)| (*date, *mass))
        .map(|(_, mass)| mass.as_f64() / 100.0)
}

/// Whether `a` is the better result.
#[must_use]
pub fn better(direction: Better, a: f64, b: f64) -> bool {
    match direction {
        Better::Higher => a > b,
        Better::Lower => a < b,
    }
}

/// The noise of a test, in its own unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Noise {
    /// Typical error.
    pub error: f64,
    /// Smallest worthwhile change of the squad; absent where it cannot be told.
    pub worthwhile: Option<f64>,
    /// Where it comes from.
    pub why: Why,
}

/// The noise of every test of a club, as far as it is known.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Noises(BTreeMap<(Key, Reading), Result<Noise, Lack>>);

/// Fewest people with two trials on a day, from whom noise is told.
const PEOPLE: usize = 3;

impl Noises {
    /// From the library, and from what the athletes' repeated trials tell. Each athlete gives the two
    /// first trials of the newest day with at least two of the test.
    #[must_use]
    pub fn of<'a>(library: &Library, athletes: impl IntoIterator<Item = &'a Done>) -> Noises {
        let mut pairs: BTreeMap<(Key, Reading), Vec<(f64, f64)>> = BTreeMap::new();
        for done in athletes {
            for (key, marks) in all_marks(done, library) {
                let mut days: BTreeMap<Day, Vec<f64>> = BTreeMap::new();
                marks.iter().for_each(|m| days.entry(m.day).or_default().push(m.value));
                let newest = days.values().rev().find_map(|v| match v.as_slice() {
                    [a, b, ..] => Some((*a, *b)),
                    _ => None,
                });
                if let Some(pair) = newest {
                    pairs.entry(key).or_default().push(pair);
                }
            }
        }
        let mut all = BTreeMap::new();
        for (protocol, entry) in &library.protocols {
            for read in readings(&entry.record) {
                let key = (protocol.clone(), *read);
                let found = pairs.remove(&key).unwrap_or_default();
                all.insert(key, noise(&entry.record, *read, found));
            }
        }
        Noises(all)
    }

    /// The noise of a test.
    ///
    /// # Errors
    /// When neither the club nor enough repeated trials tell it.
    pub fn get(&self, protocol: &Key, read: Reading) -> Result<&Noise, Lack> {
        match self.0.get(&(protocol.clone(), read)) {
            Some(Ok(noise)) => Ok(noise),
            Some(Err(lack)) => Err(lack.clone()),
            None => Err(Lack::Nothing { what: "noise of this test" }),
        }
    }
}

const fn readings(protocol: &Protocol) -> &'static [Reading] {
    match protocol.measure {
        Measure::Hops => &[Reading::Result, Reading::Stiffness],
        _ => &[Reading::Result],
    }
}

fn noise(protocol: &Protocol, read: Reading, mut pairs: Vec<(f64, f64)>) -> Result<Noise, Lack> {
    // In an order that does not depend on the order of the athletes.
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let (first, second): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
    let squad = if first.len() < PEOPLE {
        Err(Lack::TooFew {
            what: "people with two trials on a day",
            have: count(first.len()),
            need: count(PEOPLE),
        })
    } else {
        reliability::two_trials(&first, &second).map_err(Lack::from)
    };
    let own = protocol.noise.filter(|n| read == Reading::Result && n.get() > 0).map(|n| n.as_f64() / 1000.0);
    let error = match (&own, &squad) {
        (Some(own), _) => *own,
        (None, Ok(squad)) if squad.value.te > 0.0 => squad.value.te,
        (None, Ok(_)) => return Err(Lack::Nothing { what: "differences between trials" }),
        (None, Err(lack)) => return Err(lack.clone()),
    };
    let worthwhile = reliability::swc(&first, error, 0.2).ok().map(|c| c.value);
    let people = Part::of("people with two trials", float(first.len()), "");
    let why = match (own, squad) {
        (None, Ok(squad)) => Why::by(&squad, vec![people, Part::of("typical error", error, "")]),
        _ => Why::ours(
            "tests.noise",
            "typical error as the club has set it",
            vec![Part::of("typical error", error, "")],
        ),
    };
    Ok(Noise { error, worthwhile, why })
}

/// An athlete's results in one test.
#[derive(Debug, Clone, PartialEq)]
pub struct TestSeries {
    /// The test.
    pub protocol: Key,
    /// Its name.
    pub name: String,
    /// What is read from it.
    pub read: Reading,
    /// Which way is better.
    pub better: Better,
    /// The unit.
    pub unit: String,
    /// The best mark of each day.
    pub days: Vec<Mark>,
    /// Trials that do not tell a number, with the reason.
    pub unread: Vec<(Key, Lack)>,
    /// The noise of the test.
    pub noise: Result<Noise, Lack>,
    /// The line of results on days.
    pub line: Result<Computed<RobustTrend>, Lack>,
    /// The last day against the day before it.
    pub change: Result<Change, Lack>,
}

/// Results of every test that the athlete did up to `until`, in the order of the library's names.
#[must_use]
pub fn series(done: &Done, library: &Library, noises: &Noises, until: Day) -> Vec<TestSeries> {
    let mut out = Vec::new();
    for (protocol, entry) in &library.protocols {
        let test = &entry.record;
        let trials: Vec<&Entry<Trial>> =
            done.trials.iter().filter(|t| t.record.protocol == *protocol && t.record.date <= until).collect();
        for read in readings(test).iter().filter(|_| !trials.is_empty()) {
            let direction = if *read == Reading::Stiffness { Better::Higher } else { test.better };
            let mut days: BTreeMap<Day, Mark> = BTreeMap::new();
            let mut unread = Vec::new();
            for trial in &trials {
                match mark(trial, test, &|day| mass_on(done, day), *read) {
                    Ok(mark) => match days.get(&mark.day) {
                        Some(kept) if !better(direction, mark.value, kept.value) => {}
                        _ => drop(days.insert(mark.day, mark)),
                    },
                    Err(lack) => unread.push((trial.key(), lack)),
                }
            }
            let days: Vec<Mark> = days.into_values().collect();
            let noise = noises.get(protocol, *read).cloned();
            let points: Vec<(Day, f64)> = days.iter().map(|m| (m.day, m.value)).collect();
            out.push(TestSeries {
                protocol: protocol.clone(),
                name: test.name.to_string(),
                read: *read,
                better: direction,
                unit: unit(test, *read),
                line: line(&points),
                change: change(&days, &noise),
                days,
                unread,
                noise,
            });
        }
    }
    out.sort_by(|a, b| (&a.name, &a.protocol, a.read).cmp(&(&b.name, &b.protocol, b.read)));
    out
}

/// The unit of a test's result.
#[must_use]
pub fn unit(test: &Protocol, read: Reading) -> String {
    let own = test.unit.as_ref().map(ToString::to_string).filter(|u| !u.is_empty());
    match (read, test.measure) {
        (Reading::Stiffness, _) => "N/m".to_owned(),
        (Reading::Result, measure) => own.unwrap_or_else(|| {
            match measure {
                Measure::Load => "kg",
                Measure::Time | Measure::Splits => "s",
                Measure::Distance => "m",
                Measure::Reps => "repetitions",
                Measure::Hops | Measure::Speed => "m/s",
            }
            .to_owned()
        }),
    }
}

fn change(days: &[Mark], noise: &Result<Noise, Lack>) -> Result<Change, Lack> {
    let [.., before, after] = days else {
        return Err(Lack::TooFew { what: "test days", have: count(days.len()), need: 2 });
    };
    if before.formula != after.formula {
        return Err(Lack::Nothing { what: "earlier day that was reckoned by the same formula" });
    }
    against(before, after, noise)
}

/// One mark against another with the noise of the test.
///
/// # Errors
/// When the noise is not known.
pub fn against(before: &Mark, after: &Mark, noise: &Result<Noise, Lack>) -> Result<Change, Lack> {
    let noise = noise.as_ref().map_err(Clone::clone)?;
    let found = reliability::change(before.value, after.value, noise.error)?;
    let mut parts = vec![
        Part::on("before", before.value, "", before.day),
        Part::on("after", after.value, "", after.day),
        Part::of("typical error", noise.error, ""),
    ];
    parts.extend(noise.worthwhile.map(|w| Part::of("smallest worthwhile change", w, "")));
    Ok(Change {
        before: before.value,
        after: after.value,
        noise: noise.error,
        beyond_noise: found.value.beyond_noise,
        reading: found.value.reading,
        on: after.day,
        why: Why::by(&found, parts),
    })
}

/// Every mark of an athlete by test, in the order of the trials.
pub(super) fn all_marks(done: &Done, library: &Library) -> BTreeMap<(Key, Reading), Vec<Mark>> {
    let mut out: BTreeMap<(Key, Reading), Vec<Mark>> = BTreeMap::new();
    for trial in &done.trials {
        let Some(test) = library.protocols.get(&trial.record.protocol).map(|p| &p.record) else { continue };
        for read in readings(test) {
            if let Ok(mark) = mark(trial, test, &|day| mass_on(done, day), *read) {
                out.entry((trial.record.protocol.clone(), *read)).or_default().push(mark);
            }
        }
    }
    out
}
