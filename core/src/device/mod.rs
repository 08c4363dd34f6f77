//! One install at work, whatever keeps its bytes and carries them: commands in, "saved" out, and both
//! halves of a round trip. Shells (phone, page) bring the shelf, the clock and the way to the server.

pub mod aside;
pub mod carry;
pub mod error;
pub mod identity;
pub mod readings;
pub mod rescue;
pub mod session;
pub mod shelf;

use std::collections::{BTreeMap, BTreeSet};

use crate::base::day::Day;
use crate::base::id::{ActorId, ChangeHash, PersonId};
use crate::base::key::{Key, KeyMint};
use crate::base::moment::Moment;
use crate::doc::admit::Admitted;
use crate::doc::command::apply::CommandError;
use crate::doc::command::{Command, Scene};
use crate::doc::open::Document;
use crate::exchange::access::{Asker, Right, Subject, right};
use crate::exchange::device::{Card, MAX_SEND_CHANGES, Standing, Step, compose, read};
use crate::exchange::wire::{Down, Known, Refusal};
use crate::model::name::{DocName, Kind};
use crate::view::library::Library;

use carry::CarriedOn;
use error::DeviceError;
use identity::Identity;
use shelf::{DocRow, RefusedRow, Shelf};

/// Bytes of single changes of a document after which its compact form is written, once there is
/// time for it: with an exchange.
const COMPACT_AFTER_BYTES: i64 = 8_000;
/// Chunks of a document after which that is done at once, where there was no exchange for long.
const COMPACT_AT_ONCE: u64 = 400;
/// Most round trips of one exchange; each leaves a durable state.
pub const MAX_ROUNDS: u32 = 16;

/// The device's clock and place, handed in.
pub trait Clock: Send {
    /// Now.
    fn now(&self) -> Moment;
    /// Minutes that local time is ahead of UTC.
    fn zone_minutes(&self) -> i32;
}

/// What an exchange did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Exchanged {
    /// Round trips.
    pub rounds: u32,
    /// Documents that changed here.
    pub changed: BTreeSet<DocName>,
    /// Changes that came in.
    pub received: usize,
    /// Documents whose changes the server refused, and why. They stay here.
    pub refused: Vec<(DocName, Refusal)>,
    /// Documents whose incoming changes this phone refused.
    pub not_taken: Vec<(DocName, String)>,
    /// Documents that may no longer be read.
    pub withdrawn: Vec<DocName>,
    /// Documents that were erased on request of the person whom they are about, and are gone here.
    pub erased: Vec<DocName>,
    /// Whether the server's store was a new one (restored): everything was offered again.
    pub new_epoch: bool,
    /// How far this phone's clock is ahead of the server's, ms.
    pub clock_ahead: i64,
    /// What became of parcels that this phone carried for others: how many arrived, how many wait
    /// because the server lacks what they build on, and what was refused.
    pub carried: CarriedOn,
}

/// What a request took along, to be remembered until its answer is there.
#[derive(Debug)]
pub struct Flight {
    /// The request, unpacked.
    pub body: Vec<u8>,
    standing: Standing,
    told: BTreeSet<Vec<u8>>,
    carried: Vec<i64>,
    left: bool,
}

/// An install at work on its shelf.
pub struct Device<S> {
    shelf: S,
    identity: Identity,
    actor: ActorId,
    mint: KeyMint,
    clock: Box<dyn Clock>,
    open: BTreeMap<DocName, Document>,
    /// Exercises of the library in that state, so that logging a set does not read it anew.
    exercises: (Vec<ChangeHash>, BTreeSet<Key>),
    /// Parcels that the server refused since the start.
    refused_parcels: BTreeSet<i64>,
}

impl<S> core::fmt::Debug for Device<S> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        // No name, no token.
        f.debug_struct("Device").field("install", &self.identity.install).finish_non_exhaustive()
    }
}

impl<S: Shelf> Device<S> {
    /// An install on its shelf. `random` is new at each start: with it comes a new actor and new keys,
    /// so nothing can be used twice, whatever was restored.
    #[must_use]
    pub fn new(shelf: S, identity: Identity, clock: Box<dyn Clock>, random: [u8; 12]) -> Device<S> {
        let [a, b, c, d, rest @ ..] = random;
        Device {
            shelf,
            actor: ActorId::of(identity.install, rest),
            mint: KeyMint::new([a, b, c, d]),
            identity,
            clock,
            open: BTreeMap::new(),
            exercises: (Vec::new(), BTreeSet::new()),
            refused_parcels: BTreeSet::new(),
        }
    }

    /// Who this install is.
    #[must_use]
    pub const fn identity(&self) -> &Identity {
        &self.identity
    }

    /// Takes the tokens that a renewal brought. Whoever calls has put them on disk already: the old
    /// refresh token ends with the first use of the new.
    pub fn set_identity(&mut self, renewed: Identity) {
        self.identity = renewed;
    }

    /// The shelf, for diagnostics and tests.
    #[must_use]
    pub const fn shelf(&self) -> &S {
        &self.shelf
    }

    /// The shelf, for a shell that has to see to its bytes.
    pub const fn shelf_mut(&mut self) -> &mut S {
        &mut self.shelf
    }

    /// Gives the shelf back, for another install on the same bytes.
    #[must_use]
    pub fn into_shelf(self) -> S {
        self.shelf
    }

    /// The device's time.
    #[must_use]
    pub fn now(&self) -> Moment {
        self.clock.now()
    }

    /// The device's local day.
    ///
    /// # Errors
    /// When its clock is outside the calendar.
    pub fn today(&self) -> Result<Day, S::Error> {
        Day::of(self.clock.now(), self.clock.zone_minutes())
            .map_err(|e| DeviceError::Clock(e.to_string()).into())
    }

    /// A key for a new record.
    pub fn key(&mut self) -> Key {
        self.mint.mint()
    }

    /// A document as it stands here; nothing but its start when nothing is here yet.
    ///
    /// # Errors
    /// When its bytes cannot be read.
    pub fn document(&mut self, name: DocName) -> Result<&Document, S::Error> {
        if !self.open.contains_key(&name) {
            let mut doc = match self.shelf.bytes(&name)? {
                None => Document::create(name).map_err(DeviceError::from)?,
                // A damaged document is set aside and rescued as far as it can be; the phone works on.
                Some(bytes) => Document::open(name, &bytes).or_else(|_| self.shelf.rescue(&name))?,
            };
            doc.write_as(self.actor);
            self.open.insert(name, doc);
        }
        self.open.get(&name).ok_or_else(|| DeviceError::Answer("document not open".to_owned()).into())
    }

    /// Names of the documents that are here and may be read.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn documents(&self) -> Result<Vec<DocName>, S::Error> {
        Ok(self.shelf.docs()?.into_iter().filter(|d| !d.withdrawn).map(|d| d.name).collect())
    }

    /// The club's library, as it stands here.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn library(&mut self) -> Result<Library, S::Error> {
        let name = DocName::Library(self.identity.club);
        Ok(Library::of(self.document(name)?))
    }

    /// Does what a person did. When this returns, it is saved: on disk, whatever happens next.
    ///
    /// # Errors
    /// The list of problems, or why it could not be stored. Nothing was written then.
    pub fn run(&mut self, name: DocName, command: &Command) -> Result<ChangeHash, S::Error> {
        self.write(name, command, &[])
    }

    /// Does one deed that takes several commands, all of them or none: one write, so that neither a refusal nor
    /// the end of the app leaves half of it.
    ///
    /// # Errors
    /// As [`Device::run`].
    pub fn run_all(&mut self, name: DocName, commands: &[Command]) -> Result<(), S::Error> {
        let Some((first, rest)) = commands.split_first() else { return Ok(()) };
        self.write(name, first, rest).map(drop)
    }

    fn write(&mut self, name: DocName, first: &Command, rest: &[Command]) -> Result<ChangeHash, S::Error> {
        self.may_write(&name)?;
        self.read_exercises()?;
        self.document(name)?;
        // Without a library at hand exercises are not checked: logging never needs the network.
        let checked = name.kind() != Kind::Library && !self.exercises.1.is_empty();
        let scene = Scene { now: self.clock.now(), exercises: checked.then_some(&self.exercises.1) };
        let Some(mut doc) = self.open.remove(&name) else {
            return Err(DeviceError::Answer("document not open".to_owned()).into());
        };
        // The document is put back only when memory and disk agree again. After a refusal it is as it was, if
        // nothing of the deed came before; else it is read again from the disk when it is needed.
        let before = doc.heads();
        let mut hash = match doc.apply(first, &scene) {
            Ok(hash) => hash,
            Err(CommandError::Problems(list)) => {
                self.open.insert(name, doc);
                return Err(DeviceError::Invalid(list).into());
            }
            Err(CommandError::Document(e)) => return Err(DeviceError::from(e).into()),
        };
        for command in rest {
            hash = doc.apply(command, &scene).map_err(|e| match e {
                CommandError::Problems(list) => DeviceError::Invalid(list),
                CommandError::Document(e) => DeviceError::from(e),
            })?;
        }
        self.shelf.append(&name, &doc.changes_since(&before), &doc.heads())?;
        if self.shelf.chunk_count(&name)? > COMPACT_AT_ONCE {
            self.compact(name, &doc.save(), &doc.heads())?;
        }
        self.open.insert(name, doc);
        Ok(hash)
    }

    /// Writes the compact form of documents that lie here in many single changes: they open faster
    /// then. An exchange does it by itself; an app may when it has nothing else to do.
    ///
    /// # Errors
    /// When the disk refuses. The single changes are still there then.
    pub fn tidy(&mut self) -> Result<(), S::Error> {
        for name in self.shelf.looser_than(COMPACT_AFTER_BYTES)? {
            let doc = self.document(name)?;
            let (saved, heads) = (doc.save(), doc.heads());
            self.compact(name, &saved, &heads)?;
        }
        Ok(())
    }

    fn read_exercises(&mut self) -> Result<(), S::Error> {
        let heads = self.document(DocName::Library(self.identity.club))?.heads();
        if heads != self.exercises.0 {
            self.exercises = (heads, self.library()?.exercise_keys());
        }
        Ok(())
    }

    fn compact(&mut self, name: DocName, saved: &[u8], heads: &[ChangeHash]) -> Result<(), S::Error> {
        // The compact form replaces the chunks only after it was read back.
        if Document::open(name, saved).map_err(DeviceError::from)?.heads() == heads {
            self.shelf.compact(&name, saved)?;
        }
        Ok(())
    }

    pub(crate) fn may_write(&self, name: &DocName) -> Result<(), S::Error> {
        let (person, club, role) = (self.identity.person, self.identity.club, self.identity.role);
        if self.right_of(Asker { person, club, role }, name) == Right::Write {
            Ok(())
        } else {
            Err(DeviceError::NotAllowed(name.to_string()).into())
        }
    }

    /// What somebody of this club may do with a document, as far as a phone knows: consents are the
    /// server's to know.
    pub(crate) fn right_of(&self, asker: Asker, name: &DocName) -> Right {
        let club = match name {
            DocName::Library(c) => *c,
            DocName::Squad(_)
            | DocName::Plan(..)
            | DocName::Log(..)
            | DocName::Notes(..)
            | DocName::Care(_)
            | DocName::CareNotes(_)
            | DocName::Availability(_) => self.identity.club,
        };
        let subject = Subject { club, athlete: name.athlete(), care_open_to_coaches: false, watched: false };
        right(&asker, name.kind(), &subject)
    }

    /// Documents with changes that the server has not acknowledged, and how many.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn unsent(&mut self) -> Result<Vec<(DocName, usize)>, S::Error> {
        let mut list = Vec::new();
        for row in self.shelf.docs()? {
            // What others write is theirs to send, also when a restored server lacks it.
            if row.agreed && row.heads == row.server_heads || self.may_write(&row.name).is_err() {
                continue;
            }
            let n = self.document(row.name)?.count_since(&row.server_heads);
            // The starting change needs no sending: every side has it.
            let n = if row.server_heads.is_empty() { n.saturating_sub(1) } else { n };
            if n > 0 {
                list.push((row.name, n));
            }
        }
        Ok(list)
    }

    /// Whether the server has acknowledged a change of a document.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn with_server(&mut self, name: DocName, hash: &ChangeHash) -> Result<bool, S::Error> {
        let Some(row) = self.shelf.doc(&name)? else { return Ok(false) };
        let doc = self.document(name)?;
        Ok(doc.holds(hash) && row.agreed && doc.covered(hash, &row.server_heads))
    }

    /// Refusals that stand, for the person to see.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn refusals(&self) -> Result<Vec<RefusedRow>, S::Error> {
        self.shelf.refusals()
    }

    /// People whom this install knows of.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn people(&self) -> Result<Vec<Known>, S::Error> {
        Ok(self.shelf.people()?.1)
    }

    /// The request of the next round trip.
    ///
    /// # Errors
    /// When the shelf cannot be read.
    pub fn ask(&mut self, report: &mut Exchanged) -> Result<Flight, S::Error> {
        report.rounds += 1;
        let standing = Standing {
            epoch: self.shelf.epoch()?,
            people: self.shelf.people()?.0,
            // A phone whose clock is wrong still sends what it has; it is heard of no day then.
            local_day: self.today().ok(),
            clock: self.clock.now(),
            app: concat!("backstraight ", env!("CARGO_PKG_VERSION")).to_owned(),
        };
        let refused: BTreeSet<DocName> = report.refused.iter().map(|(n, _)| *n).collect();
        let mut cards = Vec::new();
        for row in self.shelf.docs()? {
            let agreed = row.agreed && row.heads == row.server_heads;
            let may_write = self.may_write(&row.name).is_ok();
            // A document that was withdrawn with unsent changes is asked about: once it may be written
            // again, the server wants them.
            if row.withdrawn && (agreed || !may_write) {
                continue;
            }
            let unsent = if agreed || refused.contains(&row.name) || row.withdrawn || !may_write {
                Vec::new()
            } else {
                self.document(row.name)?.changes_to_send(&row.server_heads, MAX_SEND_CHANGES)
            };
            cards.push(Card {
                name: row.name,
                cursor: row.cursor,
                heads: row.heads,
                unsent,
                tell_heads: row.tell_heads || row.withdrawn,
            });
        }
        let mut composed = compose(&standing, cards);
        if !refused.is_empty() {
            composed.up.left = Some(true);
        }
        let told: BTreeSet<Vec<u8>> =
            composed.up.docs.iter().filter(|d| !d.heads.is_empty()).map(|d| d.name.to_vec()).collect();
        let carried = self.load_up(&mut composed.up, report)?;
        Ok(Flight { body: composed.up.to_bytes(), standing, told, carried, left: !composed.left.is_empty() })
    }

    /// Takes in the answer; whether another round trip is wanted. Every one leaves a durable state, so
    /// an exchange may be cut at any instant.
    ///
    /// # Errors
    /// When the answer cannot be used or the disk refuses. What was taken in before stays.
    pub fn hear(&mut self, flight: &Flight, answer: &[u8], report: &mut Exchanged) -> Result<bool, S::Error> {
        let Flight { standing, told, carried, left, .. } = flight;
        let down = Down::from_bytes(answer).map_err(|e| DeviceError::Answer(e.to_string()))?;
        let heard = read(&down, standing).map_err(|e| DeviceError::Answer(e.to_string()))?;
        report.clock_ahead = heard.clock_ahead;
        let (erased_before, not_taken_before) = (report.erased.len(), report.not_taken.len());
        let mut again = heard.more || *left;
        again |= self.unload(carried, down.carried.as_deref(), report)?;
        for step in heard.steps {
            match step {
                Step::NewEpoch(epoch) => {
                    report.new_epoch |= standing.epoch.is_some();
                    self.shelf.new_epoch(epoch)?;
                }
                Step::Take { name, changes, cursor, server_heads, send_again } => {
                    again |= self.take(name, &changes, cursor, server_heads, send_again, report)?;
                    // The server is told the heads once, to say what is lacking here. What it lacks
                    // itself of a document that others write is theirs to send.
                    if send_again && !told.contains(name.to_bytes().as_slice()) {
                        again |= self.shelf.doc(&name)?.is_some_and(|row| row.tell_heads);
                    }
                }
                Step::Refused { name, refusal } => {
                    self.shelf.note_refusal(&name, &refusal)?;
                    report.refused.push((name, refusal));
                }
                Step::Withdrawn(name) => {
                    if self.shelf.withdraw(&name)? {
                        report.withdrawn.push(name);
                    }
                    self.open.remove(&name);
                }
                // One's own documents are never taken away by a server.
                Step::Erased(name) if name.athlete() == Some(self.identity.person) => {
                    self.shelf.withdraw(&name)?;
                }
                Step::Erased(name) => {
                    if self.shelf.erase(&name)? {
                        report.erased.push(name);
                    }
                    self.open.remove(&name);
                }
                Step::People { version, list } => self.shelf.set_people(version, list)?,
            }
        }
        if report.erased.len() > erased_before {
            self.shelf.forget()?;
        }
        let not_taken = report.not_taken.iter().skip(not_taken_before);
        self.unread(&not_taken.filter_map(|(name, _)| name.athlete()).collect())?;
        Ok(again)
    }

    /// What came of these athletes was not taken in and may hold any session: until it is, no day of theirs counts as
    /// heard here. The list is asked for again.
    fn unread(&mut self, athletes: &BTreeSet<PersonId>) -> Result<(), S::Error> {
        if athletes.is_empty() {
            return Ok(());
        }
        let (_, mut list) = self.shelf.people()?;
        let of = |known: &&mut Known| {
            athletes.iter().any(|athlete| known.person.as_slice() == athlete.0.as_bytes())
        };
        list.iter_mut().filter(of).for_each(|known| known.heard_day = None);
        self.shelf.set_people(0, list)
    }

    /// Takes in what came for a document; whether there is something to send for it.
    fn take(
        &mut self,
        name: DocName,
        changes: &[u8],
        cursor: u64,
        server_heads: Vec<ChangeHash>,
        send_again: bool,
        report: &mut Exchanged,
    ) -> Result<bool, S::Error> {
        self.document(name)?;
        let Some(mut doc) = self.open.remove(&name) else { return Ok(false) };
        let (fresh, count) = if changes.is_empty() {
            (Vec::new(), 0)
        } else {
            // The server vouches for who wrote; everything else is checked here too.
            match doc.admit(changes, &|_| true) {
                Ok(Admitted::Merged { fresh, count }) => (fresh, count),
                Ok(Admitted::Need(_)) => {
                    // Something is missing here: ask from the start, with our heads.
                    if let Some(mut row) = self.shelf.doc(&name)? {
                        row.cursor = 0;
                        row.tell_heads = true;
                        self.shelf.take(&row, &[])?;
                    }
                    self.open.insert(name, doc);
                    report.not_taken.push((name, "changes before these are missing here".to_owned()));
                    return Ok(false);
                }
                Err(rejected) => {
                    self.open.insert(name, doc);
                    report.not_taken.push((name, rejected.to_string()));
                    return Ok(false);
                }
            }
        };
        let refused = report.refused.iter().any(|(n, _)| *n == name);
        // Asked to send again, but with nothing lacking here, the cursor is right.
        let lacking = send_again && !server_heads.iter().all(|h| doc.holds(h));
        let row = DocRow {
            name,
            cursor: if lacking && changes.is_empty() { 0 } else { cursor },
            heads: doc.heads(),
            agreed: !send_again,
            tell_heads: lacking,
            server_heads,
            withdrawn: false,
        };
        if refused {
            // A refusal stands until the changes are accepted or the person acts.
            let standing = self.shelf.refusals()?;
            self.shelf.take(&row, &fresh)?;
            if let Some(r) = standing.iter().find(|r| r.name == name) {
                self.shelf.note_refusal(&name, &r.refusal)?;
            }
        } else {
            self.shelf.take(&row, &fresh)?;
        }
        if count > 0 {
            report.changed.insert(name);
            report.received += count;
        }
        let unsent = !refused
            && self.may_write(&name).is_ok()
            && !doc.changes_to_send(&row.server_heads, MAX_SEND_CHANGES).is_empty();
        self.open.insert(name, doc);
        Ok(unsent)
    }
}
