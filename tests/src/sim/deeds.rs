//! What people of a simulated world do: athletes train and report pain, coaches plan and write the library. Each deed
//! is noted in the book as its device told of it. Knows nothing of what goes wrong.

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::device::Device;
use backstraight_core::doc::command::{Command, New, WorkOf};
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::log::{Report, SessionDone, Work};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Complaint, Intent, Pattern, Text};
use backstraight_core::model::plan::{Exercise, Session};

use super::Found;
use super::book::{self, What};
use super::disk::DiskError;
use super::world::World;
use crate::rng::Rng;
use crate::stand::numbered;

impl World {
    /// Something that the person of a device does.
    pub(super) fn deed(&mut self, d: usize, rng: &mut Rng) -> Result<(), Found> {
        match self.phones[d].identity.role {
            Role::Athlete if rng.once_in(12) => self.pain(d),
            // Half the time a whole session in one go, as sets come to be; or a single one, with more going wrong
            // around it than a set has around it in use.
            Role::Athlete if rng.once_in(2) => self.session(d, rng),
            Role::Athlete => self.train(d, rng),
            Role::HeadCoach if rng.once_in(8) => self.exercise(d),
            Role::HeadCoach => self.coach(d, rng),
            _ => Ok(()),
        }
    }

    /// Runs a command and notes what it says, at the record of that key; the number of the fact, when the device said
    /// that it is saved.
    fn run(
        &mut self,
        (d, name, key): (usize, DocName, &Key),
        command: &Command,
        what: What,
    ) -> Result<Option<usize>, Found> {
        self.tally.deeds += 1;
        let Some(device) = &mut self.phones[d].device else { return Ok(None) };
        match device.run(name, command) {
            Ok(hash) => {
                // Not everything that a newer app writes is new.
                if self.formats.device(d) && self.tally.deeds.is_multiple_of(5) {
                    self.formats.note(hash);
                }
                Ok(Some(self.book.add(d, name, key, hash, what)))
            }
            Err(DiskError::Full) => Ok(None),
            Err(DiskError::Died) => {
                self.tally.crashes += 1;
                self.book.add_unsure(d, name, key, what);
                Ok(None)
            }
            Err(DiskError::Device(error)) => {
                Err(Found(format!("device {d} refused an honest deed: {error}")))
            }
        }
    }

    fn key(&mut self, d: usize) -> Option<Key> {
        self.phones[d].device.as_mut().map(Device::key)
    }

    /// So many sets in one go, or as many as there are until the app dies.
    fn session(&mut self, d: usize, rng: &mut Rng) -> Result<(), Found> {
        for _ in 0..rng.range(8, 40) {
            self.train(d, rng)?;
            if self.phones[d].disk.dead() {
                break;
            }
        }
        Ok(())
    }

    fn train(&mut self, d: usize, rng: &mut Rng) -> Result<(), Found> {
        let person = self.phones[d].identity.person;
        let now = Moment(self.server.now().0 + self.phones[d].ahead);
        let today = Day::of(now, 0).unwrap();
        let name = DocName::Log(person, today.month());
        let open = self.phones[d].session.clone().filter(|(log, ..)| *log == name && !rng.once_in(6));
        let (name, session, work, open) = match open {
            Some(open) => open,
            None => {
                let (Some(key), Some(work)) = (self.key(d), self.key(d)) else { return Ok(()) };
                let planned = self.due(d, today, rng);
                // Not every writer says of which season the session is.
                let season = (planned.is_some() && rng.once_in(2)).then_some(self.season);
                let record = SessionDone { session: planned.clone(), season, ..SessionDone::new(today, now) };
                let new = New { place: Place::of("sessions", &key), record: record.into() };
                let command = Command::Add(vec![new]);
                let said = self.run((d, name, &key), &command, What::Begun(planned))?;
                if said.is_none() {
                    return Ok(());
                }
                let begun = (name, key, work, false);
                self.phones[d].session = Some(begun.clone());
                begun
            }
        };
        let Some(key) = self.key(d) else { return Ok(()) };
        self.sets += 1;
        let n = self.sets;
        let of = if open {
            WorkOf::Open(work.clone())
        } else {
            let Some(exercise) = self.known_exercise(d) else { return Ok(()) };
            WorkOf::New(work.clone(), Box::new(Work::new(exercise)))
        };
        let set = Box::new(numbered(n));
        let command = Command::LogSet { session: session.clone(), work: of, key: key.clone(), set };
        if self.run((d, name, &key), &command, What::Set(n))?.is_some() {
            self.phones[d].session = Some((name, session, work, true));
        }
        Ok(())
    }

    /// An exercise of the library on this device; any before there is a library.
    fn known_exercise(&mut self, d: usize) -> Option<Key> {
        if let Some(known) = &self.phones[d].exercise {
            return Some(known.clone());
        }
        let library = DocName::Library(self.server.club);
        let doc = self.phones[d].device.as_mut()?.document(library).ok()?;
        let known = doc.records::<Exercise>("exercises").entries.first().map(|e| e.key());
        // Nothing leaves a library again, unless the phone is set back, and then its app is opened anew.
        self.phones[d].exercise.clone_from(&known);
        Some(known.unwrap_or_else(|| "abcdef-1".parse().unwrap()))
    }

    /// A session that the plan on this device has for today.
    fn due(&mut self, d: usize, today: Day, rng: &mut Rng) -> Option<Key> {
        let name = DocName::Plan(self.phones[d].identity.person, self.season);
        let device = self.phones[d].device.as_mut()?;
        let planned = device.document(name).ok()?.records::<Session>("sessions").entries;
        let due: Vec<Key> = planned.iter().filter(|e| e.record.date == today).map(|e| e.key()).collect();
        let n = rng.range(0, i64::try_from(due.len()).unwrap());
        due.get(usize::try_from(n).unwrap()).cloned()
    }

    fn pain(&mut self, d: usize) -> Result<(), Found> {
        let person = self.phones[d].identity.person;
        let Some(key) = self.key(d) else { return Ok(()) };
        self.words += 1;
        let text = format!("left knee {}", self.words);
        let now = Moment(self.server.now().0 + self.phones[d].ahead);
        let report = Report { text: Text::new(text.as_str()).ok(), ..Report::new(now, Complaint::Pain) };
        let new = New { place: Place::of("reports", &key), record: report.into() };
        self.run((d, DocName::Care(person), &key), &Command::Add(vec![new]), What::Pain(text)).map(drop)
    }

    fn exercise(&mut self, d: usize) -> Result<(), Found> {
        let name = DocName::Library(self.server.club);
        let Some(key) = self.key(d) else { return Ok(()) };
        self.words += 1;
        let text = format!("jump {}", self.words);
        let exercise = exercise_called(&text);
        let new = New { place: Place::of("exercises", &key), record: exercise.into() };
        self.run((d, name, &key), &Command::Add(vec![new]), What::Exercise(text)).map(drop)
    }

    /// Plans a session, or gives one another title.
    fn coach(&mut self, d: usize, rng: &mut Rng) -> Result<(), Found> {
        let athlete = self.athletes[usize::try_from(rng.range(0, 1)).unwrap()];
        let name = DocName::Plan(athlete, self.season);
        self.words += 1;
        let title = format!("title {}", self.words);
        let text = Text::new(title.as_str()).unwrap();
        let Some(device) = &mut self.phones[d].device else { return Ok(()) };
        let Ok(doc) = device.document(name) else { return Ok(()) };
        let mut planned = doc.records::<Session>("sessions").entries;
        if planned.is_empty() || rng.once_in(3) {
            let today = Day::of(self.server.now(), 0).unwrap();
            let day = today.plus(i32::try_from(rng.range(-2, 4)).unwrap());
            let Some(key) = self.key(d) else { return Ok(()) };
            let new = New { place: Place::of("sessions", &key), record: Session::new(day, text).into() };
            let said = self.run((d, name, &key), &Command::Add(vec![new]), What::Planned(day))?;
            match said.and_then(|said| self.book.facts.get(said)).map(|fact| fact.hash) {
                Some(hash) => self.book.add(d, name, &key, hash, What::Title(title)),
                None => self.book.add_unsure(d, name, &key, What::Title(title)),
            };
            return Ok(());
        }
        let last = i64::try_from(planned.len()).unwrap() - 1;
        // The newest are edited most, so that edits meet.
        let at = usize::try_from(last - rng.range(0, last.min(2))).unwrap();
        let entry = planned.swap_remove(at);
        let seen = book::titles(&entry);
        let to = Session { title: text, ..entry.record.clone() };
        let (key, place) = (entry.key(), entry.place);
        let edit = Command::Edit { place, from: entry.record.into(), to: to.into() };
        let before = self.book.facts.len();
        self.run((d, name, &key), &edit, What::Title(title))?;
        // Whether it was said to be saved or may be: what its writer saw is replaced by it then.
        if self.book.facts.len() > before {
            for fact in &mut self.book.facts[..before] {
                let is = |text: &String| fact.name == name && fact.key == key && seen.contains(text);
                if matches!(&fact.what, What::Title(text) if is(text)) {
                    fact.over = Some(before);
                }
            }
        }
        Ok(())
    }
}

/// An exercise of a library.
pub(super) fn exercise_called(name: &str) -> Exercise {
    crate::deed::record::<Exercise>(&[
        ("name", crate::deed::text(name)),
        ("intent", crate::deed::word(Intent::Strength)),
        ("pattern", crate::deed::word(Pattern::Squat)),
    ])
}
