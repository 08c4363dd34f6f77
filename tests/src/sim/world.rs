//! A simulated world: a club, its devices, a server, the way between them and all their clocks, moved on step by step
//! by a seed alone. Knows what may go wrong, not what ought to come of it.

use std::collections::BTreeSet;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::device::identity::Identity;
use backstraight_core::device::{Device, Exchanged, MAX_ROUNDS};
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::{Down, Outcome, Refusal, SERVER_DAMAGED, Up};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::SeasonNo;
use backstraight_server::problem::Problem;

use super::book::Book;
use super::carry::Load;
use super::disk::{Disk, DiskError, Fault, Image};
use super::planted::Planted;
use super::rot::Rotten;
use super::server::{NoAnswer, Server};
use super::upgrade::{Formats, is_unknown};
use super::{Chaos, DEVICES, Found, One, Plan, Tally};
use crate::clock::SetClock;
use crate::rng::Rng;
use crate::stand::{DAY, MINUTE, START};

/// A device of somebody.
#[derive(Debug)]
pub(super) struct Phone {
    pub(super) identity: Identity,
    pub(super) disk: Disk,
    /// None while the app is not open.
    pub(super) device: Option<Device<Disk>>,
    pub(super) clock: SetClock,
    /// How far its clock is ahead, ms.
    pub(super) ahead: i64,
    /// Whether it ever was hours off.
    pub(super) was_wrong: bool,
    pub(super) withdrawn: bool,
    /// The day of which it told the server last.
    pub(super) heard: Option<Day>,
    /// Whether the day of which it told last was not believed.
    pub(super) doubted: bool,
    /// A backup of the phone, and which facts it had then.
    image: Option<(Image, BTreeSet<usize>)>,
    /// The session that is open: its log, its key, the exercise's, and whether that was begun.
    pub(super) session: Option<(DocName, Key, Key, bool)>,
    /// An exercise of the library that the app, since it was opened, knows to be there.
    pub(super) exercise: Option<Key>,
}

/// A backup of the server, and what was true when it was made.
#[derive(Debug)]
struct Kept {
    file: std::path::PathBuf,
    had: BTreeSet<usize>,
    phones: Vec<(bool, Option<Day>, bool)>,
}

/// The world.
#[derive(Debug)]
pub(super) struct World {
    plan: Plan,
    pub(super) server: Server,
    clock: SetClock,
    pub(super) phones: Vec<Phone>,
    pub(super) athletes: Vec<PersonId>,
    pub(super) season: SeasonNo,
    pub(super) book: Book,
    pub(super) formats: Formats,
    /// What rotted on the server and was not found yet.
    pub(super) rotten: Option<Rotten>,
    backups: Vec<Kept>,
    /// What carriers have taken along.
    pub(super) loads: Vec<Load>,
    /// Requests that are still somewhere on their way.
    underway: Vec<(usize, Vec<u8>, Day)>,
    /// The last request of a device that somebody might have seen.
    pub(super) overheard: Option<Vec<u8>>,
    /// An answer that was not heard, and whose it was.
    astray: Option<(usize, Vec<u8>)>,
    pub(super) sets: i64,
    pub(super) words: i64,
    pub(super) tally: Tally,
    /// How much exchanges brought to devices, or left there to be sent.
    news: usize,
}

/// In how many rounds of exchanges everybody has everything, once nothing goes wrong any more.
const MOST_ROUNDS: u32 = 4;

/// What a seed decides in a step.
fn dice(plan: &Plan, step: u64) -> Rng {
    let mut mixed = Rng::new(plan.seed ^ step.wrapping_mul(0xd6e8_feb8_6659_fd93));
    Rng::new(mixed.next())
}

impl World {
    pub(super) fn new(plan: Plan) -> World {
        let clock = SetClock::at(START);
        let server = Server::new(clock.clone(), plan.planted);
        let (people, installs) = Server::everybody();
        let mut phones = Vec::new();
        for identity in &installs[..DEVICES] {
            phones.push(Phone {
                identity: identity.clone(),
                disk: Disk::new(plan.planted),
                device: None,
                clock: SetClock::at(START),
                ahead: 0,
                was_wrong: false,
                withdrawn: false,
                heard: None,
                doubted: false,
                image: None,
                session: None,
                exercise: None,
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
            formats: Formats::default(),
            rotten: None,
            backups: Vec::new(),
            loads: Vec::new(),
            underway: Vec::new(),
            overheard: None,
            astray: None,
            sets: 0,
            words: 0,
            tally: Tally::default(),
            news: 0,
        };
        let mut rng = dice(&world.plan, u64::MAX);
        (0..world.phones.len()).for_each(|d| world.open(d, &mut rng));
        if !world.may(Chaos::Upgrade) {
            world.formats.all_newer();
        }
        match world.plan.one {
            Some(One::OnDevice(d, nth, fault)) => world.phones[d].disk.plan(nth, fault),
            Some(One::OnServer(nth)) => world.server.lose_a_write(nth),
            None => {}
        }
        world
    }

    pub(super) fn may(&self, chaos: Chaos) -> bool {
        !self.plan.without.contains(&chaos)
    }

    pub(super) fn planted(&self, fault: Planted) -> bool {
        self.plan.planted == Some(fault)
    }

    /// Opens an app, with new random bits.
    pub(super) fn open(&mut self, d: usize, rng: &mut Rng) {
        let alike = self.planted(Planted::StartsAlike);
        let phone = &mut self.phones[d];
        let mut random = [0; 12];
        random[..8].copy_from_slice(&rng.next().to_be_bytes());
        random[8..].copy_from_slice(&rng.next().to_be_bytes()[..4]);
        if alike {
            random = [u8::try_from(d).unwrap(); 12];
        }
        phone.disk.heal();
        (phone.session, phone.exercise) = (None, None);
        let clock = Box::new(phone.clock.clone());
        phone.device = Some(Device::new(phone.disk.clone(), phone.identity.clone(), clock, random));
    }

    /// A step, and now and then a look at the board, while most are still without a signal.
    pub(super) fn step(&mut self, n: u64) -> Result<(), Found> {
        // By dice of its own, so that it moves nothing else.
        self.upgrade(&mut dice(&self.plan, n | 1 << 40));
        self.go_on(n)?;
        if n % 20 == 19 && self.server.is_well() {
            self.on_the_board(n % 80 == 79)?;
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
            80..=82 if self.may(Chaos::Disk) => {
                // Soon, or somewhere in a session.
                let most = if rng.once_in(4) { 40 } else { 5 };
                let after = u32::try_from(rng.range(0, most)).unwrap();
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
            89 if self.may(Chaos::ServerRestart) => {
                self.tally.servers_started += 1;
                if self.server.is_well() {
                    self.compact(&mut rng)?;
                }
                self.server.start();
                Ok(())
            }
            91 if self.may(Chaos::ServerLoss) => {
                self.server.lose_a_write(0);
                Ok(())
            }
            // Either takes as long as some hundred deeds. Whoever does it looks first whether all holds.
            92 if self.may(Chaos::ServerRestore) => {
                self.mend()?;
                self.keep_or_set_back(&mut rng);
                Ok(())
            }
            94..=95 if self.may(Chaos::Clock) => {
                let minutes = if rng.once_in(3) { rng.range(-1440, 1440) } else { rng.range(-9, 9) };
                self.phones[d].ahead = minutes * MINUTE;
                self.phones[d].was_wrong |= minutes.abs() > 9;
                Ok(())
            }
            93 if self.may(Chaos::Hostile) => self.harm(&mut rng),
            97..=98 => self.hand_over(&mut rng),
            99 if self.may(Chaos::Rot) => self.rot(d, &mut rng),
            // A server that is secretly set back at its start has nothing rotten then.
            83 | 90 if self.may(Chaos::ServerRot) && !self.planted(Planted::AcknowledgesTooEarly) => {
                self.rot_on_the_server(&mut rng)
            }
            96 if self.may(Chaos::Withdraw) => {
                self.withdraw();
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// An exchange; whether it came to its end.
    pub(super) fn exchange(&mut self, d: usize, rng: &mut Rng, faulty: bool) -> Result<bool, Found> {
        let faulty = faulty && self.may(Chaos::Network);
        if !self.server.runs() && !rng.once_in(2) {
            return Ok(false);
        }
        if !self.server.runs() {
            self.tally.servers_started += 1;
            self.server.start();
        }
        let mut report = Exchanged::default();
        let mut unknown = BTreeSet::new();
        while report.rounds < MAX_ROUNDS {
            let today = Day::of(Moment(self.server.now().0 + self.phones[d].ahead), 0).unwrap();
            let Some(device) = &mut self.phones[d].device else { return Ok(false) };
            let Ok(flight) = device.ask(&mut report) else { return Ok(false) };
            self.overheard = Some(flight.body.clone());
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
                Err(NoAnswer::Said(Problem::Internal)) => {
                    return Err(Found(format!("an honest request of device {d} made the server stumble")));
                }
                Err(_) => return Ok(false),
            };
            if fate == 2 {
                self.astray = Some((d, answer));
                return Ok(false);
            }
            let answer = match self.astray.take_if(|(whose, _)| *whose != d) {
                Some((_, other)) if self.planted(Planted::AnswerGoesAstray) => other,
                _ => answer,
            };
            let (answer, of_newer) = self.as_read_by(d, answer);
            unknown.extend(of_newer);
            let Some(device) = &mut self.phones[d].device else { return Ok(false) };
            let heard = device.hear(&flight, &answer, &mut report);
            // At once: a server that is set back later may have it no more.
            self.handed_in(d)?;
            match heard {
                Ok(true) => {}
                Ok(false) => break,
                Err(DiskError::Full | DiskError::Died) => return Ok(false),
                Err(DiskError::Device(error)) => {
                    return Err(Found(format!("device {d} could not use an answer: {error}")));
                }
            }
        }
        let older = !self.formats.servers();
        let by_older = |refusal: &Refusal| older && is_unknown(refusal);
        // What cannot be read there may be refused for that, and for nothing else.
        let excused = |(name, why): &&(DocName, Refusal)| {
            by_older(why) || why.code == SERVER_DAMAGED && self.rotten() == Some(*name)
        };
        if let Some((name, refusal)) = report.refused.iter().find(|refused| !excused(refused)) {
            return Err(Found(format!("honest changes of {name} were refused: {refusal:?}")));
        }
        let shut_out = self.phones.iter().any(|p| p.withdrawn);
        let parcels = report.carried.refused.iter();
        if let Some((name, refusal)) = parcels.filter(|_| !shut_out).find(|refused| !excused(refused)) {
            return Err(Found(format!("an honest parcel of {name} was refused: {refusal:?}")));
        }
        self.tally.unknown += u64::from(!unknown.is_empty() || !report.refused.is_empty());
        let damaged = |name: &DocName| unknown.contains(name) || self.rotten() == Some(*name);
        if let Some((name, why)) = report.not_taken.iter().find(|(name, _)| !damaged(name)) {
            return Err(Found(format!("device {d} did not take {name}: {why}")));
        }
        // Whoever has exchanged puts the phone away: the app may end while it tidies up.
        if faulty && self.may(Chaos::Disk) && rng.once_in(8) {
            self.phones[d].disk.plan(u32::try_from(rng.range(0, 1)).unwrap(), Fault::DiesBefore);
        }
        let Some(device) = &mut self.phones[d].device else { return Ok(false) };
        if device.tidy().is_err() {
            return Ok(false);
        }
        self.news += report.received + device.unsent().map_or(1, |left| left.len());
        self.arrived(d, &unknown);
        self.heard_with_it(d)?;
        Ok(true)
    }

    /// Which facts the device now says are with the server; what the server had is on the device again.
    fn arrived(&mut self, d: usize, unknown: &BTreeSet<DocName>) {
        let rotten = self.rotten();
        let Some(device) = &mut self.phones[d].device else { return };
        for fact in self.book.facts.iter_mut().filter(|f| f.device == d && !f.lost) {
            if fact.server {
                fact.here |= !unknown.contains(&fact.name) && rotten != Some(fact.name);
            } else if !fact.unsure {
                fact.server = device.with_server(fact.name, &fact.hash).unwrap_or(false);
            }
        }
    }

    fn request(&mut self, d: usize, body: Vec<u8>, today: Day) -> Result<Result<Vec<u8>, NoAnswer>, Found> {
        let whole = self.server.hears_all(&body);
        let up = Up::from_bytes(&body).ok().filter(|up| up.carried.is_some());
        let phone = &mut self.phones[d];
        let answer = self.server.exchange(&phone.identity, body, &self.formats);
        let down = answer.as_ref().ok().and_then(|answer| Down::from_bytes(answer).ok());
        let refused = |down: &Down| down.docs.iter().any(|doc| matches!(doc.outcome, Outcome::Refused(_)));
        let whole = whole && !down.as_ref().is_some_and(refused);
        if answer.is_ok() && phone.withdrawn {
            return Err(Found(format!("device {d} was withdrawn and answered all the same")));
        }
        if answer.is_ok() && whole && phone.identity.role == Role::Athlete {
            let server = Day::of(self.server.now(), 0).unwrap();
            // A day too far from the server's is not believed, nor is what others bring of that device until it is.
            phone.doubted = today.since(server).abs() > 2;
            if !phone.doubted {
                phone.heard = Some(today);
            }
        }
        if let (Ok(answer), Some(up)) = (&answer, &up) {
            self.heard_by_parcels(up, answer);
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
        self.request(d, body, today)?.ok();
        Ok(())
    }

    fn set_phone_back(&mut self, d: usize, rng: &mut Rng) {
        match self.phones[d].image.take() {
            Some((image, had)) => {
                self.tally.phones_set_back += 1;
                self.phones[d].disk.put_back(image);
                self.loads.retain(|load| load.by != d);
                self.book.device_set_back(d, &had);
                self.open(d, rng);
            }
            None => {
                self.phones[d].image = Some((self.phones[d].disk.image(), self.book.on(d)));
            }
        }
    }

    fn keep_or_set_back(&mut self, rng: &mut Rng) {
        if !self.server.runs() || self.rotten.is_some() {
            return;
        }
        if self.backups.is_empty() || rng.once_in(3) {
            let Some(file) = self.server.backup(self.backups.len()) else { return };
            let phones = self.phones.iter().map(|p| (p.withdrawn, p.heard, p.doubted)).collect();
            self.backups.push(Kept { file, had: self.book.with_server(), phones });
            return;
        }
        self.tally.servers_set_back += 1;
        let last = i64::try_from(self.backups.len()).unwrap() - 1;
        let kept = &self.backups[usize::try_from(rng.range(0, last)).unwrap()];
        self.server.restore(&kept.file);
        self.book.server_set_back(&kept.had);
        for (phone, was) in self.phones.iter_mut().zip(&kept.phones) {
            (phone.withdrawn, phone.heard, phone.doubted) = *was;
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
        self.mend()?;
        self.formats.all_newer();
        let now = self.server.now().plus_ms(DAY);
        self.clock.set(now);
        let mut rng = dice(&self.plan, u64::MAX - 1);
        for d in 0..self.phones.len() {
            self.phones[d].ahead = 0;
            self.phones[d].clock.set(now);
            self.open(d, &mut rng);
        }
        for round in 0..MOST_ROUNDS {
            self.news = 0;
            for d in 0..self.phones.len() {
                if !self.exchange(d, &mut rng, false)? && !self.phones[d].withdrawn {
                    return Err(Found(format!("device {d} cannot exchange although nothing is wrong")));
                }
            }
            // In the first round who comes early misses what others bring later.
            if round > 0 && self.news == 0 {
                break;
            }
        }
        // What counts is what is on the disks.
        (0..self.phones.len()).for_each(|d| self.open(d, &mut rng));
        Ok(())
    }
}
