//! Invented athletes at work: they open their phone, do what it shows (more or less) and log it.

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, WorkOf};
use backstraight_core::doc::place::Place;
use backstraight_core::model::log::{CheckIn, SetDone, Trial};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{
    Duration, Effort, Load, Minutes, Rating, Reps, SeasonNo, Skip, Speeds, Value, Wind,
};
use backstraight_core::model::packed::{Dose, Intensity, Target};
use backstraight_core::view::planned::Plan;
use backstraight_core::view::today::{Shown, shown};
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::phone::Phone;

use super::ledger::{Deed, Ledger, Outcome, Saved, Trialled};
use crate::clock::SetClock;
use crate::rng::Rng;

/// An athlete's phone in the story.
#[derive(Debug)]
pub struct Athlete {
    /// Place in the list of athletes.
    pub index: usize,
    /// The phone.
    pub phone: Phone,
    /// Its clock, set by the story.
    pub clock: SetClock,
    /// The season.
    pub season: SeasonNo,
}

/// A set as an athlete would do it: near the target, with a little noise.
pub fn set_near(target: &Target, nth: usize, item_waves: Option<Dose>, at: Moment, rng: &mut Rng) -> SetDone {
    let dose = item_waves.or(target.dose);
    let mut set = SetDone::new(at);
    set.load = target.load;
    match dose {
        Some(Dose::Reps(_, n)) => set.reps = Some(n),
        Some(Dose::RepsPerSide(n)) => set.reps = Some(n),
        Some(Dose::Contacts(n)) => set.contacts = Some(n),
        Some(Dose::Hold(t) | Dose::HoldPerSide(t)) => set.hold = Some(t),
        Some(Dose::Distance(d)) => {
            set.dist = Some(d);
            // Around 8 m/s, and a little slower each time.
            let ms = d.get() / 8 + rng.range(-90, 120) + i64::try_from(nth).unwrap_or(0) * 40;
            set.time = Duration::new(ms.max(0)).ok();
        }
        Some(Dose::ToLimit) | None => set.reps = Reps::new(rng.range(8, 12)).ok(),
    }
    if set.load.is_some() {
        let n = set.reps.map_or(3, |r| r.get());
        let first = u16::try_from(rng.range(520, 680)).unwrap_or(600);
        let fall = u16::try_from(rng.range(8, 22)).unwrap_or(10);
        let speeds: Vec<u16> = (0..n)
            .map(|i| first.saturating_sub(fall.saturating_mul(u16::try_from(i).unwrap_or(0))))
            .collect();
        set.speeds = Speeds::new(speeds).ok();
        set.effort =
            Effort::new((65 + 5 * i64::try_from(nth).unwrap_or(0) + rng.range(-3, 3)).clamp(0, 100)).ok();
    }
    set
}

fn amount(set: &SetDone) -> Option<i64> {
    set.reps
        .map(|n| n.get())
        .or(set.contacts.map(|n| n.get()))
        .or(set.hold.map(|n| n.get()))
        .or(set.dist.map(|n| n.get()))
}

/// Numbers of a day's training.
#[derive(Debug, Clone, Copy)]
pub struct Day1 {
    /// The day.
    pub day: Day,
    /// When the athlete opens the phone.
    pub opens: Moment,
}

impl Athlete {
    /// The log document of a day.
    #[must_use]
    pub fn log(&self, day: Day) -> DocName {
        DocName::Log(self.phone.identity().person, day.month())
    }

    /// The plan as it stands on this phone.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn plan(&mut self) -> Result<Plan, PhoneError> {
        let name = DocName::Plan(self.phone.identity().person, self.season);
        Ok(Plan::of(self.phone.document(name)?))
    }

    /// Logs one set and enters it in the ledger once the phone said that it is saved.
    ///
    /// # Errors
    /// What the phone said.
    #[expect(clippy::too_many_arguments, reason = "one line of a story")]
    pub fn log_set(
        &mut self,
        ledger: &mut Ledger,
        day: Day,
        done: &Key,
        planned: &Key,
        work: WorkOf,
        item: Option<&Key>,
        ex: &Key,
        set: SetDone,
    ) -> Result<Key, PhoneError> {
        let key = self.phone.key();
        let entry = Saved {
            athlete: self.index,
            day,
            session: planned.clone(),
            item: item.cloned(),
            set: key.clone(),
            ex: ex.clone(),
            load: set.load.map(|l| l.get()),
            amount: amount(&set),
            amends: None,
        };
        let log = self.log(day);
        let command = Command::LogSet { session: done.clone(), work, key: key.clone(), set: Box::new(set) };
        self.phone.run(log, &command)?;
        ledger.saved.push(entry);
        Ok(key)
    }

    /// Opens the session of a day as the screen shows it.
    ///
    /// # Errors
    /// What the phone said.
    pub fn begin(&mut self, planned: &Key, on: Day1) -> Result<(Key, Vec<Shown>), PhoneError> {
        self.clock.set(on.opens);
        let plan = self.plan()?;
        let library = self.phone.library()?;
        let Some(session) = plan.session(planned) else {
            return Err(PhoneError::Answer("the session is not on this phone".to_owned()));
        };
        let screen = shown(&plan, session, on.day, &library, &|_, _| None);
        let record = screen.begin(self.season, on.day, on.opens);
        let items: Vec<Shown> = screen.items().cloned().collect();
        let key = self.phone.key();
        let log = self.log(on.day);
        self.phone.run(
            log,
            &Command::Add(vec![New { place: Place::of("sessions", &key), record: record.into() }]),
        )?;
        Ok((key, items))
    }

    /// Does a planned session, as much of it as `deed` says, and closes it.
    ///
    /// # Errors
    /// What the phone said.
    pub fn train(
        &mut self,
        ledger: &mut Ledger,
        planned: &Key,
        on: Day1,
        deed: Deed,
        rng: &mut Rng,
    ) -> Result<(), PhoneError> {
        ledger.outcomes.push(Outcome { athlete: self.index, session: planned.clone(), day: on.day, deed });
        if deed == Deed::Nothing {
            return Ok(());
        }
        let (done, items) = self.begin(planned, on)?;
        let log = self.log(on.day);
        if deed == Deed::LeftOut {
            let place = Place::of("sessions", &done);
            let entry =
                self.phone.document(log)?.record::<backstraight_core::model::log::SessionDone>(&place);
            let Ok(Some(entry)) = entry else { return Ok(()) };
            let mut to = entry.record.clone();
            to.skipped = Some(Skip::Life);
            self.phone.run(log, &Command::Edit { place, from: entry.record.into(), to: to.into() })?;
            return Ok(());
        }
        let plan = self.plan()?;
        let mut now = on.opens;
        let take = if deed == Deed::Some { items.len().div_ceil(2) } else { items.len() };
        for item in items.iter().take(take) {
            let work = self.phone.key();
            let mut sets = 0..item.target.sets.get();
            let waves = plan.session(planned).and_then(|s| {
                s.items().find(|(_, i)| i.key() == item.item).and_then(|(_, i)| i.record.waves.clone())
            });
            let mut of = None;
            for nth in sets.by_ref() {
                let nth = usize::try_from(nth).unwrap_or(0);
                now = now.plus_ms(item.target.rest.map_or(60, |r| r.get().max(30)) * 1000 + 25_000);
                self.clock.set(now);
                let own = waves.as_ref().and_then(|w| w.0.get(nth));
                let mut set = set_near(&item.target, nth, own.and_then(|w| w.dose), now, rng);
                if let Some(Intensity::SpeedBand(slow, fast)) = own.and_then(|w| w.intensity.as_ref()) {
                    let v = u16::try_from(i64::midpoint(slow.get(), fast.get())).unwrap_or(600);
                    let n = usize::try_from(set.reps.map_or(3, |r| r.get())).unwrap_or(3);
                    set.speeds = Speeds::new(
                        (0..n).map(|i| v.saturating_sub(u16::try_from(i * 12).unwrap_or(0))).collect(),
                    )
                    .ok();
                    set.load = Load::new(6000).ok();
                }
                let work_of = match &of {
                    None => {
                        let shown_work = backstraight_core::model::log::Work {
                            item: Some(item.item.clone()),
                            shown: Some(item.target.clone()),
                            ..backstraight_core::model::log::Work::new(item.ex.clone())
                        };
                        WorkOf::New(work.clone(), Box::new(shown_work))
                    }
                    Some(key) => WorkOf::Open(Key::clone(key)),
                };
                self.log_set(ledger, on.day, &done, planned, work_of, Some(&item.item), &item.ex, set)?;
                of = Some(work.clone());
            }
        }
        now = now.plus_ms(300_000);
        self.clock.set(now);
        let close = Command::Close {
            session: done,
            ended: now,
            minutes: Minutes::new((now.0 - on.opens.0) / 60_000).ok(),
            effort: Effort::new(rng.range(50, 85)).ok(),
            comment: None,
        };
        self.phone.run(log, &close)?;
        Ok(())
    }

    /// Answers the morning's questions.
    ///
    /// # Errors
    /// What the phone said.
    pub fn check_in(&mut self, on: Day1, rng: &mut Rng) -> Result<(), PhoneError> {
        self.clock.set(on.opens);
        let mut rate = || Rating::new(rng.range(3, 7)).ok();
        let answers = CheckIn {
            sleep: rate(),
            fresh: rate(),
            muscles: rate(),
            calm: rate(),
            mood: rate(),
            ..CheckIn::new(on.day, on.opens)
        };
        let key = self.phone.key();
        let log = self.log(on.day);
        self.phone.run(
            log,
            &Command::Add(vec![New { place: Place::of("checkins", &key), record: answers.into() }]),
        )?;
        Ok(())
    }

    /// Logs a test trial, and withdraws it when it was a slip.
    ///
    /// # Errors
    /// What the phone said.
    pub fn trial(
        &mut self,
        ledger: &mut Ledger,
        protocol: &Key,
        trial: Trialled,
        at: Moment,
    ) -> Result<(), PhoneError> {
        self.clock.set(at);
        let record = Trial {
            value: Value::new(trial.value).ok(),
            wind: trial.wind.and_then(|w| Wind::new(w).ok()),
            ..Trial::new(trial.day, at, protocol.clone())
        };
        let key = self.phone.key();
        let (log, place) = (self.log(trial.day), Place::of("trials", &key));
        self.phone.run(log, &Command::Add(vec![New { place: place.clone(), record: record.into() }]))?;
        if trial.withdrawn {
            self.phone.run(log, &Command::Withdraw(vec![place]))?;
        }
        ledger.trials.push(trial);
        Ok(())
    }
}
