//! Kilograms moved, ground contacts, seconds held and metres run, of what was done or of what is
//! planned: the same count for both. Sums come from `science::volume`; knows no week.

use std::collections::BTreeMap;

use super::done::{DoneSession, DoneWork};
use super::judge::{as_set, set_asked};
use super::library::Library;
use super::why::{Part, Why, count};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::model::log::{Entered, SetDone};
use crate::model::number::{Impact, Intent, Load, Pattern, Side, Sides};
use crate::model::packed::{Dose, Target};
use crate::model::plan::{Exercise, Prescription};
use crate::science::volume as sums;

/// Some equal sets of one exercise, done or planned.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The day.
    pub day: Day,
    /// The exercise.
    pub ex: Key,
    /// How many such sets.
    pub sets: u32,
    /// Repetitions of a set, of both sides together.
    pub reps: Option<f64>,
    /// kg.
    pub load: Option<f64>,
    /// Seconds held.
    pub hold: Option<f64>,
    /// Metres.
    pub metres: Option<f64>,
    /// Ground contacts of a set, when they were said.
    pub contacts: Option<f64>,
}

/// Kilograms of one movement pattern.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tonnage {
    /// kg, over sets with a load and repetitions.
    pub kg: f64,
    /// Repetitions, of both sides together.
    pub reps: f64,
    /// Sets.
    pub sets: u32,
    /// Sets of which the load or the repetitions are not known: not in `kg`.
    pub without_load: u32,
    /// kg by exercise.
    pub by_exercise: BTreeMap<Key, f64>,
}

/// Ground contacts by how hard they are.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Contacts {
    /// In place, small.
    pub low: f64,
    /// Over low hurdles, bounds.
    pub medium: f64,
    /// From height, single leg at speed.
    pub high: f64,
    /// Of exercises that the library does not class.
    pub unclassed: f64,
    /// Sets of exercises with contacts whose number is not known: in none of the above.
    pub unknown_sets: u32,
}

impl Contacts {
    /// All of them.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.low + self.medium + self.high + self.unclassed
    }
}

/// The volume of some days.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Volume {
    /// By movement pattern.
    pub tonnage: BTreeMap<Pattern, Tonnage>,
    /// Ground contacts.
    pub contacts: Contacts,
    /// Contacts of each day that has some: the exposure to jumps.
    pub contacts_by_day: BTreeMap<Day, f64>,
    /// Seconds held.
    pub hold_s: f64,
    /// Metres of sprints and hurdle runs for speed.
    pub sprint_m: f64,
    /// Metres of other runs.
    pub run_m: f64,
    /// Days with sprints.
    pub sprint_days: u32,
    /// Sets of exercises that the library does not have: in nothing of the above.
    pub unknown_exercises: u32,
}

impl Volume {
    /// The volume of some sets.
    #[must_use]
    pub fn of(lines: &[Line], library: &Library) -> Volume {
        let mut out = Volume::default();
        let mut sprints: Vec<Day> = Vec::new();
        let mut lifts: BTreeMap<(Pattern, &Key), Vec<&Line>> = BTreeMap::new();
        for line in lines {
            let Some(ex) = library.exercises.get(&line.ex).map(|e| &e.record) else {
                out.unknown_exercises += line.sets;
                continue;
            };
            let sets = f64::from(line.sets);
            out.hold_s += line.hold.unwrap_or(0.0) * sets;
            let metres = line.metres.unwrap_or(0.0) * sets;
            match (ex.pattern, ex.intent) {
                (Pattern::Sprint | Pattern::Hurdle, Intent::Speed) => {
                    out.sprint_m += metres;
                    if metres > 0.0 {
                        sprints.push(line.day);
                    }
                }
                (Pattern::Sprint | Pattern::Hurdle, _) => out.run_m += metres,
                _ => {}
            }
            out.contact(line, ex);
            if lifted(ex.pattern) {
                lifts.entry((ex.pattern, &line.ex)).or_default().push(line);
            }
        }
        sprints.sort_unstable();
        sprints.dedup();
        out.sprint_days = count(sprints.len());
        for ((pattern, ex), lines) in lifts {
            out.tonnage.entry(pattern).or_default().take(ex, &lines);
        }
        out
    }

    fn contact(&mut self, line: &Line, ex: &Exercise) {
        let per_rep = ex.contacts.map(|c| c.as_f64()).filter(|c| *c > 0.0);
        let each = match (line.contacts, per_rep, line.reps) {
            (Some(said), ..) => Some(said),
            (None, None, _) => return,
            // Repetitions are of both sides together, so each side is counted already.
            (None, Some(per_rep), Some(reps)) => {
                sums::contacts(&[1.0], &[reps], &[per_rep], &[1.0]).ok().map(|c| c.value)
            }
            (None, Some(_), None) => None,
        };
        let Some(each) = each else {
            self.contacts.unknown_sets += line.sets;
            return;
        };
        let all = each * f64::from(line.sets);
        if all <= 0.0 {
            return;
        }
        let class = match ex.impact {
            Some(Impact::Low) => &mut self.contacts.low,
            Some(Impact::Medium) => &mut self.contacts.medium,
            Some(Impact::High) => &mut self.contacts.high,
            None => &mut self.contacts.unclassed,
        };
        *class += all;
        *self.contacts_by_day.entry(line.day).or_default() += all;
    }

    /// Kilograms over all patterns.
    #[must_use]
    pub fn kg(&self) -> f64 {
        self.tonnage.values().map(|t| t.kg).sum::<f64>() + 0.0
    }

    /// Most contacts of one day, and on how many days there were some.
    #[must_use]
    pub fn jump_exposure(&self) -> (f64, u32) {
        let most = self.contacts_by_day.values().copied().fold(0.0, f64::max);
        (most, count(self.contacts_by_day.len()))
    }

    /// Why the kilograms of a pattern are what they are: each exercise's part.
    #[must_use]
    pub fn why_kg(&self, pattern: Pattern, library: &Library) -> Why {
        let of = self.tonnage.get(&pattern);
        let mut parts: Vec<Part> = of
            .iter()
            .flat_map(|t| &t.by_exercise)
            .map(|(ex, kg)| Part::of(library.exercise_name(ex), *kg, "kg"))
            .collect();
        if let Some(missing) = of.map(|t| t.without_load).filter(|n| *n > 0) {
            parts.push(Part::of("sets without a known load", f64::from(missing), ""));
        }
        of_formula(&sums::LOAD, parts)
    }

    /// Why the contacts are what they are: each class, and sets of which the number is not known.
    #[must_use]
    pub fn why_contacts(&self) -> Why {
        let c = &self.contacts;
        let mut parts = vec![
            Part::of("low", c.low, "contacts"),
            Part::of("medium", c.medium, "contacts"),
            Part::of("high", c.high, "contacts"),
            Part::of("not classed", c.unclassed, "contacts"),
        ];
        if c.unknown_sets > 0 {
            parts.push(Part::of("sets without a known number", f64::from(c.unknown_sets), ""));
        }
        of_formula(&sums::CONTACTS, parts)
    }
}

fn of_formula(formula: &'static crate::science::Formula, parts: Vec<Part>) -> Why {
    Why {
        formula: formula.id,
        version: formula.version,
        rule: formula.rule,
        source: formula.source,
        parts,
        notes: Vec::new(),
        caution: formula.caution,
    }
}

impl Tonnage {
    fn take(&mut self, ex: &Key, lines: &[&Line]) {
        let (mut sets, mut reps, mut loads) = (Vec::new(), Vec::new(), Vec::new());
        for line in lines {
            self.sets += line.sets;
            let all = line.reps.map(|r| r * f64::from(line.sets));
            self.reps += all.unwrap_or(0.0);
            match (line.reps, line.load) {
                (Some(r), Some(load)) => {
                    sets.push(f64::from(line.sets));
                    reps.push(r);
                    loads.push(load);
                }
                // A hold or a carry has no repetitions: seconds and metres are units of their own.
                (None, _) if line.hold.is_some() || line.metres.is_some() => {}
                _ => self.without_load += line.sets,
            }
        }
        // The formula takes so many lines at once.
        const AT_ONCE: usize = 200;
        let chunks = sets.chunks(AT_ONCE).zip(reps.chunks(AT_ONCE)).zip(loads.chunks(AT_ONCE));
        for ((sets, reps), loads) in chunks {
            match sums::load_volume(sets, reps, loads, None) {
                Ok(volume) => {
                    self.kg += volume.value.total;
                    *self.by_exercise.entry(ex.clone()).or_default() += volume.value.total;
                }
                Err(_) => self.without_load += count(sets.len()),
            }
        }
    }
}

/// Patterns whose kilograms are counted: those with something in the hands or on the back.
#[must_use]
pub const fn lifted(pattern: Pattern) -> bool {
    matches!(
        pattern,
        Pattern::Squat
            | Pattern::Hinge
            | Pattern::Lunge
            | Pattern::Push
            | Pattern::Pull
            | Pattern::Olympic
            | Pattern::Throw
            | Pattern::Carry
            | Pattern::Trunk
    )
}

/// Sets of a session as lines. A number that was not logged counts as done as asked, as in the share
/// of a set; what was neither logged nor asked is not known.
#[must_use]
pub fn done(session: &DoneSession, library: &Library) -> Vec<Line> {
    let day = session.session.record.date;
    let of = |work: &DoneWork| -> Vec<Line> {
        let record = &work.work.record;
        let each =
            |(i, set): (usize, &SetDone)| line(day, &record.ex, i, set, record.shown.as_ref(), library);
        work.sets.iter().map(|s| &s.set.record).enumerate().map(each).collect()
    };
    session.works.iter().flat_map(of).collect()
}

/// A set that a coach entered, as a line.
#[must_use]
pub fn entered(set: &Entered, library: &Library) -> Line {
    line(set.date, &set.ex, 0, &as_set(set), None, library)
}

fn line(day: Day, ex: &Key, i: usize, set: &SetDone, shown: Option<&Target>, library: &Library) -> Line {
    let asked = set_asked(i, shown);
    let exercise = library.exercises.get(ex).map(|e| &e.record);
    let planned = dose(asked.dose, exercise);
    let sides = sides(exercise, set.side, asked.dose);
    let kg = |l: Load| l.as_f64() / 100.0;
    let touches = set.touches.as_ref().map(|t| super::why::float(t.0.len())).filter(|n| *n > 0.0);
    Line {
        day,
        ex: ex.clone(),
        sets: 1,
        reps: set.reps.map(|r| r.as_f64() * sides).or(planned.reps),
        load: set.load.or(asked.load).map(kg),
        hold: set.hold.map(|t| t.as_f64() / 1000.0 * sides).or(planned.hold),
        metres: set.dist.map(|d| d.as_f64() / 1000.0).or(planned.metres),
        contacts: set.contacts.map(|c| c.as_f64()).or(touches).or(planned.contacts),
    }
}

/// The sets of a prescription as lines: those of a wave apart. `load_of` gives the load of the
/// `i`th set where one is known.
#[must_use]
pub fn planned(
    day: Day,
    ex: &Key,
    item: &Prescription,
    target: &Target,
    load_of: &dyn Fn(usize) -> Option<Load>,
    library: &Library,
) -> Vec<Line> {
    let exercise = library.exercises.get(ex).map(|e| &e.record);
    let waves = target.waves.as_ref().map_or(0, |w| w.0.len());
    let all = usize::try_from(target.sets.get()).unwrap_or(1);
    let one = |i: usize, sets: u32| {
        let planned = dose(set_asked(i, Some(target)).dose, exercise);
        Line {
            day,
            ex: ex.clone(),
            sets,
            reps: planned.reps,
            load: load_of(i).map(|l| l.as_f64() / 100.0),
            hold: planned.hold,
            metres: planned.metres,
            contacts: item.contacts.map(|c| c.as_f64()).or(planned.contacts),
        }
    };
    if waves == 0 { vec![one(0, count(all))] } else { (0..all).map(|i| one(i, 1)).collect() }
}

#[derive(Default)]
struct Numbers {
    reps: Option<f64>,
    hold: Option<f64>,
    metres: Option<f64>,
    contacts: Option<f64>,
}

/// What a dose comes to, of both sides together. Of a range its upper end: a plan is not to be
/// thought lighter than it may turn out.
fn dose(dose: Option<Dose>, ex: Option<&Exercise>) -> Numbers {
    let sides = sides(ex, None, dose);
    match dose {
        Some(Dose::Reps(_, n)) => Numbers { reps: Some(n.as_f64() * sides), ..Numbers::default() },
        Some(Dose::RepsPerSide(n)) => Numbers { reps: Some(n.as_f64() * 2.0), ..Numbers::default() },
        Some(Dose::Hold(t)) => Numbers { hold: Some(t.as_f64() / 1000.0 * sides), ..Numbers::default() },
        Some(Dose::HoldPerSide(t)) => Numbers { hold: Some(t.as_f64() / 500.0), ..Numbers::default() },
        Some(Dose::Distance(d)) => Numbers { metres: Some(d.as_f64() / 1000.0), ..Numbers::default() },
        Some(Dose::Contacts(n)) => Numbers { contacts: Some(n.as_f64()), ..Numbers::default() },
        Some(Dose::ToLimit) | None => Numbers::default(),
    }
}

/// How many sides a logged number counts for: two where each side does the repetitions and the set
/// names no side.
fn sides(ex: Option<&Exercise>, side: Option<Side>, dose: Option<Dose>) -> f64 {
    let each = matches!(dose, Some(Dose::RepsPerSide(_) | Dose::HoldPerSide(_)))
        || ex.is_some_and(|e| e.sides == Some(Sides::Each));
    match side {
        Some(Side::Left | Side::Right) => 1.0,
        _ if each => 2.0,
        _ => 1.0,
    }
}
