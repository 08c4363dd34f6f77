//! Test days: which tests the club has, trials, and what they come to. Numbers and bests are core's.

use backstraight_core::base::id::PersonId;
use backstraight_core::device::Clock as _;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::model::log::Trial;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Better, Reps, Value, Wind};
use backstraight_core::view::marks::{self, Noises, Reading};
use backstraight_core::view::records;

use super::clock::Now;
use super::error::DoorError;
use super::install::Install;
use super::sheet::Fields;
use super::work::{Deed, Receipt, What, Work, day, key};

/// A test of the club.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct TestKind {
    /// Which.
    pub test: String,
    /// Its name.
    pub name: String,
    /// What it measures, a stable word: `load`, `time`, `distance`, `repetitions`, `hops`, `splits`, `speed`.
    pub measure: String,
    /// Unit of its result.
    pub unit: String,
    /// Whether higher is better.
    pub higher_is_better: bool,
}

/// A trial to record: one of the three numbers, as the test measures.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct TrialEntry {
    /// Which test.
    pub test: String,
    /// The athlete whose trial it is, when a coach took it.
    #[uniffi(default = None)]
    pub athlete: Option<String>,
    /// Its day; today when missing.
    #[uniffi(default = None)]
    pub day: Option<String>,
    /// The result, thousandths of the test's unit.
    #[uniffi(default = None)]
    pub thousandths: Option<i64>,
    /// The load, g; whole tens.
    #[uniffi(default = None)]
    pub load_g: Option<u32>,
    /// Repetitions.
    #[uniffi(default = None)]
    pub reps: Option<u32>,
    /// Wind along the run, mm/s; negative is a headwind.
    #[uniffi(default = None)]
    pub wind_mm_s: Option<i32>,
    /// Surface, shoes, device: whatever may change the result.
    #[uniffi(default = None)]
    pub conditions: Option<String>,
    /// The deed's name.
    pub once: String,
}

/// A trial as it stands.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct TrialLine {
    /// Which.
    pub trial: String,
    /// The test.
    pub test: String,
    /// Its day.
    pub day: String,
    /// What it comes to, thousandths of the unit; none where it does not hold what the test measures.
    pub thousandths: Option<i64>,
    /// Wind along the run, mm/s.
    pub wind_mm_s: Option<i32>,
    /// Whether a coach took it.
    pub by_coach: bool,
}

/// The best mark in a test.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct BestLine {
    /// The test.
    pub test: String,
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// The mark, thousandths of the unit.
    pub thousandths: i64,
    /// Its day.
    pub day: String,
    /// Whether the wind was too strong to count: such marks have a best of their own.
    pub wind_aided: bool,
}

#[uniffi::export]
impl Install {
    /// The tests of the club, by name.
    ///
    /// # Errors
    /// What the store says.
    pub fn test_kinds(&self) -> Result<Vec<TestKind>, DoorError> {
        self.read(|work| {
            let library = work.library()?;
            let live = library.protocols.iter().filter(|(_, p)| p.live());
            let mut all: Vec<_> = live
                .map(|(key, p)| TestKind {
                    test: key.to_string(),
                    name: p.record.name.to_string(),
                    measure: p.record.measure.to_string(),
                    unit: marks::unit(&p.record, Reading::Result),
                    higher_is_better: p.record.better == Better::Higher,
                })
                .collect();
            all.sort_by(|a, b| (&a.name, &a.test).cmp(&(&b.name, &b.test)));
            Ok(all)
        })
    }

    /// Records a trial: one's own, or an athlete's that a coach took.
    ///
    /// # Errors
    /// `BadValue`, `NotThere`, `NotAllowed`, and what the store says.
    pub fn record_trial(&self, trial: TrialEntry, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("record_trial"), now, &trial.once, |work| {
            let test = key("test", &trial.test)?;
            if !work.library()?.protocols.contains_key(&test) {
                return Err(DoorError::missing("test", &trial.test));
            }
            let date = trial.day.as_deref().map_or_else(|| work.today(), |d| day("day", d))?;
            let mut f = Fields::default();
            let record = Trial {
                value: f.take("thousandths", trial.thousandths, Value::new),
                load: f.load("load_g", trial.load_g),
                reps: f.number("reps", trial.reps, Reps::new),
                wind: f.take("wind_mm_s", trial.wind_mm_s, |n| Wind::new(i64::from(n))),
                conditions: f.note("conditions", trial.conditions.clone()),
                ..Trial::new(date, self.clock.now(), test)
            };
            if record.value.is_none() && record.load.is_none() && record.reps.is_none() {
                f.wrong("thousandths", "missing", "a trial has a result");
            }
            f.check()?;
            let me = work.device.identity().person;
            let whose = work.person(trial.athlete.as_deref())?;
            let (doc, by) = if whose == me {
                (DocName::Log(me, date.month()), None)
            } else {
                (DocName::Notes(whose, date.month()), Some(me))
            };
            let own = work.device.key();
            let record = Trial { by, ..record };
            let add = New { place: Place::of("trials", &own), record: record.into() };
            Ok(Deed { doc, commands: vec![Command::Add(vec![add])], id: own.to_string() })
        })
    }

    /// Trials, newest first; of one test where it is named, of another athlete for a coach.
    ///
    /// # Errors
    /// `NotThere`, and what the store says.
    pub fn trials(&self, test: Option<String>, athlete: Option<String>) -> Result<Vec<TrialLine>, DoorError> {
        let test = test.as_deref().map(|t| key("test", t)).transpose()?;
        self.read(|work| {
            let whose = work.person(athlete.as_deref())?;
            let library = work.library()?;
            let done = work.readings.all_done(&mut work.device, whose)?;
            let wanted = done.trials.iter().filter(|t| test.as_ref().is_none_or(|k| t.record.protocol == *k));
            let mut lines: Vec<_> = wanted
                .map(|t| {
                    let protocol = library.protocols.get(&t.record.protocol);
                    let mark = protocol.and_then(|p| {
                        let mass = |day| marks::mass_on(&done, day);
                        marks::mark(t, &p.record, &mass, Reading::Result).ok()
                    });
                    TrialLine {
                        trial: t.key().to_string(),
                        test: t.record.protocol.to_string(),
                        day: t.record.date.to_string(),
                        thousandths: mark.map(|m| thousandths(m.value)),
                        wind_mm_s: t.record.wind.and_then(|w| i32::try_from(w.get()).ok()),
                        by_coach: t.record.by.is_some(),
                    }
                })
                .collect();
            lines.reverse();
            Ok(lines)
        })
    }

    /// The best marks of all seasons; of another athlete for a coach.
    ///
    /// # Errors
    /// `NotThere`, and what the store says.
    pub fn bests(&self, athlete: Option<String>, now: Now) -> Result<Vec<BestLine>, DoorError> {
        self.clock.tell(now);
        self.read(|work| {
            let whose = work.person(athlete.as_deref())?;
            bests(work, whose)
        })
    }
}

fn bests(work: &mut Work, whose: PersonId) -> Result<Vec<BestLine>, DoorError> {
    let library = work.library()?;
    let done = work.readings.all_done(&mut work.device, whose)?;
    let noises = Noises::of(&library, [&done]);
    let best = records::personal(&done, &library, &noises, work.today()?).into_iter();
    Ok(best
        .map(|p| BestLine {
            test: p.protocol.to_string(),
            name: p.test,
            unit: p.unit,
            thousandths: thousandths(p.best.value),
            day: p.best.day.to_string(),
            wind_aided: p.wind_aided,
        })
        .collect())
}

/// A mark as a whole number: what core measured has no more than three places.
fn thousandths(value: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "marks are far below 2^53 thousandths")]
    let n = (value * 1000.0).round() as i64;
    n
}
