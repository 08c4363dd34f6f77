//! A simulated world: a club, its devices, a server, the way between them and all their clocks, moved on step by step
//! by a seed alone. Knows what may go wrong, not what ought to come of it.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::device::identity::Identity;
use backstraight_core::device::{Device, Exchanged, MAX_ROUNDS};
use backstraight_core::doc::command::{Command, New, WorkOf};
use backstraight_core::doc::place::Place;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::log::{Report, SessionDone, Work};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Complaint, SeasonNo, Text};
use backstraight_core::model::plan::{Exercise, Session};

use super::book::{self, Book, What};
use super::disk::{Disk, DiskError, Fault, Image};
use super::planted::Planted;
use super::server::{NoAnswer, Server};
use super::{Chaos, DEVICES, Found, One, Plan, Tally};
use crate::clock::SetClock;
use crate::rng::Rng;
use crate::stand::{DAY, MINUTE, START, numbered};

/// A device of somebody.
#[derive(Debug)]
pub(super) struct Phone {
    pub(super) identity: Identity,
    pub(super) disk: Disk,
    /// None while the app is not open.
    pub(super) device: Option<Device<Disk>>,
    pub(super) clock: SetClock,
    /// How far its clock is ahead, ms.
    ahead: i64,
    /// Whether it ever was hours off.
    pub(super) was_wrong: bool,
    pub(super) withdrawn: bool,
    /// The day of which it told the server last.
    pub(super) heard: Option<Day>,
    /// A backup of the phone, and how many facts there were then.
    image: Option<(Image, usize)>,
    session: Option<(DocName, Key, Key, bool)>,
}

/// A backup of the server, and what was true when it was made.
#[derive(Debug)]
struct Kept {
    file: std::path::PathBuf,
    had: std::collections::BTreeSet<usize>,
    phones: Vec<(bool, Option<Day>)>,
}

/// The world.
#[derive(Debug)]
pub(super) struct World {
    plan: Plan,
    pub(super) server: Server,
    clock: SetClock,
    pub(super) phones: Vec<Phone>,
    pub(super) athletes: Vec<PersonId>,
    season: SeasonNo,
    pub(super) book: Book,
    backups: Vec<Kept>,
    /// Requests that are still somewhere on their way.
    underway: Vec<(usize, Vec<u8>, Day)>,
    /// An answer that was not heard, and whose it was.
    astray: Option<(usize, Vec<u8>)>,
    sets: i64,
    words: i64,
    pub(super) tally: Tally,
}

/// What a seed decides in a step.
fn dice(plan: &Plan, step: u64) -> Rng {
    let mut mixed = Rng::new(plan.seed ^ step.wrapping_mul(0xd6e8_feb8_6659_fd93));
    Rng::new(mixed.next())
}

impl World {
    pub(super) fn new(plan: Plan) -> World {
        let clock = SetClock::at(START);
        let mut server = Server::new(clock.clone(), plan.planted);
        let people: Vec<PersonId> = [
            (Role::Athlete, "Mira Aalto"),
            (Role::Athlete, "Noor Brandt"),
            (Role::HeadCoach, "Ruth Adeyemi"),
            (Role::Care, "Ines Falk"),
        ]
        .map(|(role, name)| server.person(role, name))
        .to_vec();
        let mut phones = Vec::new();
        // Two athletes with a phone, the first with a tablet too; a coach with a desk and a phone; care staff.
        let whose: [usize; DEVICES] = [0, 0, 1, 2, 2, 3];
        for n in whose {
            let identity = server.enrol(people[n]);
            phones.push(Phone {
                identity,
                disk: Disk::new(plan.planted),
                device: None,
                clock: SetClock::at(START),
                ahead: 0,
                was_wrong: false,
                withdrawn: false,
                heard: None,
                image: None,
                session: None,
            });
        }
        let season = SeasonNo::new(2027).unwrap();
        let athletes = people[..2].to_vec();
        let mut world = World {
            plan,
            server,
            clock,
            phones,
            athletes,
            season,
            book: Book::default(),
            backups: Vec::new(),
            underway: Vec::new(),
            astray: None,
            sets: 0,
            words: 0,
            tally: Tally::default(),
        };
        let mut rng = dice(&world.plan, u64::MAX);
        (0..world.phones.len()).for_each(|d| world.open(d, &mut rng));
        match world.plan.one {
            Some(One::OnDevice(d, nth, fault)) => world.phones[d].disk.plan(nth, fault),
            Some(One::OnServer(nth)) => world.server.lose_a_write(nth),
            None => {}
        }
        world
    }

    fn may(&self, chaos: Chaos) -> bool {
        !self.plan.without.contains(&chaos)
    }

    /// Opens an app, with new random bits.
    pub(super) fn open(&mut self, d: usize, rng: &mut Rng) {
        let alike = self.plan.planted == Some(Planted::StartsAlike);
        let phone = &mut self.phones[d];
        let mut random = [0; 12];
        random[..8].copy_from_slice(&rng.next().to_be_bytes());
        random[8..].copy_from_slice(&rng.next().to_be_bytes()[..4]);
        if alike {
            random = [u8::try_from(d).unwrap(); 12];
        }
        phone.disk.heal();
        phone.session = None;
        let clock = Box::new(phone.clock.clone());
        phone.device = Some(Device::new(phone.disk.clone(), phone.identity.clone(), clock, random));
    }

    /// A step, and now and then a look at the board, while most are still without a signal.
    pub(super) fn step(&mut self, n: u64) -> Result<(), Found> {
        self.go_on(n)?;
        if n % 20 == 19 && self.server.runs() && !self.server.about_to_lose() {
            self.on_the_board()?;
        }
        Ok(())
    }

    fn go_on(&mut self, n: u64) -> Result<(), Found> {
        let mut rng = dice(&self.plan, n);
        let jump = if rng.once_in(25) { rng.range(4, 20) * 60 } else { rng.range(0, 30) };
        let now = Moment(self.server.now().0).plus_ms(jump * MINUTE + rng.range(1, 59) * 1000);
        self.clock.set(now);
        for phone in &self.phones {
            phone.clock.set(now.plus_ms(phone.ahead));
        }
        let d = usize::try_from(rng.range(0, i64::try_from(self.phones.len()).unwrap() - 1)).unwrap();
        if self.phones[d].disk.dead() || self.phones[d].device.is_none() {
            self.open(d, &mut rng);
        }
        self.tally.steps += 1;
        match rng.range(0, 99) {
            0..=51 => self.deed(d, &mut rng),
            52..=75 => self.exchange(d, &mut rng, true).map(drop),
            76..=79 if self.may(Chaos::Crash) => {
                self.tally.crashes += 1;
                self.open(d, &mut rng);
                Ok(())
            }
            80..=83 if self.may(Chaos::Disk) => {
                let after = u32::try_from(rng.range(0, 5)).unwrap();
                let fault = [Fault::Full, Fault::DiesBefore, Fault::DiesAfter]
                    [usize::try_from(rng.range(0, 2)).unwrap()];
                self.phones[d].disk.plan(after, fault);
                Ok(())
            }
            84..=85 if self.may(Chaos::PhoneRestore) => {
                self.set_phone_back(d, &mut rng);
                Ok(())
            }
            86..=88 if self.may(Chaos::Replay) => self.replay(&mut rng),
            89..=90 if self.may(Chaos::ServerRestart) => {
                self.server.start();
                Ok(())
            }
            91 if self.may(Chaos::ServerLoss) => {
                self.server.lose_a_write(0);
                Ok(())
            }
            92..=93 if self.may(Chaos::ServerRestore) => {
                self.keep_or_set_back(&mut rng);
                Ok(())
            }
            94..=95 if self.may(Chaos::Clock) => {
                let minutes = if rng.once_in(3) { rng.range(-1440, 1440) } else { rng.range(-9, 9) };
                self.phones[d].ahead = minutes * MINUTE;
                self.phones[d].was_wrong |= minutes.abs() > 9;
                Ok(())
            }
            96 if self.may(Chaos::Withdraw) => {
                self.withdraw();
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn deed(&mut self, d: usize, rng: &mut Rng) -> Result<(), Found> {
        match self.phones[d].identity.role {
            Role::Athlete if rng.once_in(12) => self.pain(d),
            // A whole session in one go, now and then.
            Role::Athlete if rng.once_in(10) => (0..40).try_for_each(|_| self.train(d, rng)),
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
            Ok(hash) => Ok(Some(self.book.add(d, name, key, hash, what))),
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
        let library = DocName::Library(self.server.club);
        let doc = self.phones[d].device.as_mut()?.document(library).ok()?;
        let known = doc.records::<Exercise>("exercises").entries;
        Some(known.first().map_or_else(|| "abcdef-1".parse().unwrap(), |e| e.key()))
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
        let exercise = crate::deed::record::<Exercise>(&[
            ("name", crate::deed::text(text.as_str())),
            ("intent", crate::deed::word(backstraight_core::model::number::Intent::Strength)),
            ("pattern", crate::deed::word(backstraight_core::model::number::Pattern::Squat)),
        ]);
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

    /// An exchange; whether it came to its end.
    pub(super) fn exchange(&mut self, d: usize, rng: &mut Rng, faulty: bool) -> Result<bool, Found> {
        let faulty = faulty && self.may(Chaos::Network);
        if !self.server.runs() && !rng.once_in(2) {
            return Ok(false);
        }
        if !self.server.runs() {
            self.server.start();
        }
        let mut report = Exchanged::default();
        while report.rounds < MAX_ROUNDS {
            let today = Day::of(Moment(self.server.now().0 + self.phones[d].ahead), 0).unwrap();
            let Some(device) = &mut self.phones[d].device else { return Ok(false) };
            let Ok(flight) = device.ask(&mut report) else { return Ok(false) };
            let fate = if faulty { rng.range(0, 9) } else { 9 };
            self.tally.requests += 1;
            if fate == 0 {
                self.underway.push((d, flight.body.clone(), today));
                return Ok(false);
            }
            if fate == 1 {
                self.request(d, flight.body.clone(), today)?.ok();
                self.underway.push((d, flight.body.clone(), today));
            }
            let answer = match self.request(d, flight.body.clone(), today)? {
                Ok(answer) => answer,
                Err(NoAnswer::Unknown) => return Ok(false),
                Err(_) => return Ok(false),
            };
            if fate == 2 {
                self.astray = Some((d, answer));
                return Ok(false);
            }
            let answer = match self.astray.take_if(|(whose, _)| *whose != d) {
                Some((_, other)) if self.plan.planted == Some(Planted::AnswerGoesAstray) => other,
                _ => answer,
            };
            let Some(device) = &mut self.phones[d].device else { return Ok(false) };
            match device.hear(&flight, &answer, &mut report) {
                Ok(true) => {}
                Ok(false) => break,
                Err(DiskError::Full | DiskError::Died) => return Ok(false),
                Err(DiskError::Device(error)) => {
                    return Err(Found(format!("device {d} could not use an answer: {error}")));
                }
            }
        }
        if let Some((name, refusal)) = report.refused.first() {
            return Err(Found(format!("honest changes of {name} were refused: {refusal:?}")));
        }
        if let Some((name, why)) = report.not_taken.first() {
            return Err(Found(format!("device {d} did not take {name}: {why}")));
        }
        let Some(device) = &mut self.phones[d].device else { return Ok(false) };
        if device.tidy().is_err() {
            return Ok(false);
        }
        self.arrived(d);
        Ok(true)
    }

    /// Which facts the device now says are with the server; what the server had is on the device again.
    fn arrived(&mut self, d: usize) {
        let Some(device) = &mut self.phones[d].device else { return };
        for fact in self.book.facts.iter_mut().filter(|f| f.device == d && !f.lost) {
            if !fact.server {
                fact.server = device.with_server(fact.name, &fact.hash).unwrap_or(false);
            } else {
                fact.here = true;
            }
        }
    }

    fn request(&mut self, d: usize, body: Vec<u8>, today: Day) -> Result<Result<Vec<u8>, NoAnswer>, Found> {
        let whole = self.server.hears_all(&body);
        let phone = &mut self.phones[d];
        let answer = self.server.exchange(&phone.identity, body);
        if answer.is_ok() && phone.withdrawn {
            return Err(Found(format!("device {d} was withdrawn and answered all the same")));
        }
        if answer.is_ok() && whole && phone.identity.role == Role::Athlete {
            phone.heard = Some(today);
        }
        Ok(answer)
    }

    /// A request that was thought lost, or was carried out already, arrives.
    fn replay(&mut self, rng: &mut Rng) -> Result<(), Found> {
        if self.underway.is_empty() || !self.server.runs() {
            return Ok(());
        }
        let last = i64::try_from(self.underway.len()).unwrap() - 1;
        let (d, body, today) = self.underway.swap_remove(usize::try_from(rng.range(0, last)).unwrap());
        self.tally.requests += 1;
        let server = Day::of(self.server.now(), 0).unwrap();
        let heard = self.phones[d].heard;
        self.request(d, body, today)?.ok();
        // A day too far from the server's is not believed.
        if today.since(server).abs() > 2 {
            self.phones[d].heard = heard;
        }
        Ok(())
    }

    fn set_phone_back(&mut self, d: usize, rng: &mut Rng) {
        match self.phones[d].image.take() {
            Some((image, mark)) => {
                self.tally.phones_set_back += 1;
                self.phones[d].disk.put_back(image);
                self.book.device_set_back(d, mark);
                self.open(d, rng);
            }
            None => {
                let mark = self.book.facts.len();
                self.phones[d].image = Some((self.phones[d].disk.image(), mark));
            }
        }
    }

    fn keep_or_set_back(&mut self, rng: &mut Rng) {
        if !self.server.runs() {
            return;
        }
        if self.backups.is_empty() || rng.once_in(2) {
            let Some(file) = self.server.backup(self.backups.len()) else { return };
            let phones = self.phones.iter().map(|p| (p.withdrawn, p.heard)).collect();
            self.backups.push(Kept { file, had: self.book.with_server(), phones });
            return;
        }
        self.tally.servers_set_back += 1;
        let last = i64::try_from(self.backups.len()).unwrap() - 1;
        let kept = &self.backups[usize::try_from(rng.range(0, last)).unwrap()];
        self.server.restore(&kept.file);
        self.book.server_set_back(&kept.had);
        for (phone, (withdrawn, heard)) in self.phones.iter_mut().zip(&kept.phones) {
            (phone.withdrawn, phone.heard) = (*withdrawn, *heard);
        }
    }

    /// The first athlete's tablet is shut out.
    fn withdraw(&mut self) {
        let tablet = 1;
        if self.phones[tablet].withdrawn || !self.server.runs() {
            return;
        }
        let (person, install): (PersonId, InstallId) =
            (self.phones[tablet].identity.person, self.phones[tablet].identity.install);
        self.phones[tablet].withdrawn = self.server.withdraw(person, install);
    }

    /// Lets everything heal, and everybody exchange until nothing is left to do.
    pub(super) fn quiet(&mut self) -> Result<(), Found> {
        self.tally.reached = match self.plan.one {
            Some(One::OnDevice(d, ..)) => !self.phones[d].disk.waits(),
            Some(One::OnServer(_)) => !self.server.about_to_lose(),
            None => false,
        };
        self.server.heal();
        self.server.start();
        let now = self.server.now().plus_ms(DAY);
        self.clock.set(now);
        let mut rng = dice(&self.plan, u64::MAX - 1);
        for d in 0..self.phones.len() {
            self.phones[d].ahead = 0;
            self.phones[d].clock.set(now);
            self.open(d, &mut rng);
        }
        for _ in 0..4 {
            for d in 0..self.phones.len() {
                if !self.exchange(d, &mut rng, false)? && !self.phones[d].withdrawn {
                    return Err(Found(format!("device {d} cannot exchange although nothing is wrong")));
                }
            }
        }
        // What counts is what is on the disks.
        (0..self.phones.len()).for_each(|d| self.open(d, &mut rng));
        Ok(())
    }
}
