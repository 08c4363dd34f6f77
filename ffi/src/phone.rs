//! One install at work: commands in, "saved" out, and the exchange when there is a signal.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ActorId, ChangeHash};
use backstraight_core::base::key::{Key, KeyMint};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::admit::Admitted;
use backstraight_core::doc::command::{Command, Scene};
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::access::{Asker, Right, Subject, right};
use backstraight_core::exchange::device::{Card, MAX_SEND_CHANGES, Standing, Step, compose, read};
use backstraight_core::exchange::wire::{Down, Known, Refusal};
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::view::library::Library;

use crate::carry::CarriedOn;
use crate::error::PhoneError;
use crate::identity::Identity;
use crate::store::{DocRow, RefusedRow, Store};
use crate::transport::{Renewal, Transport};

/// Bytes of single changes of a document after which its compact form is written, once there is
/// time for it: with an exchange.
const COMPACT_AFTER_BYTES: i64 = 8_000;
/// Chunks of a document after which that is done at once, where there was no exchange for long.
const COMPACT_AT_ONCE: u64 = 400;
/// Seconds before its end at which an access token is no longer used.
const TOKEN_MARGIN_S: i64 = 30;
/// Most round trips of one call of [`Phone::exchange`]; each leaves a durable state.
const MAX_ROUNDS: u32 = 16;

/// The phone's clock and place, handed in.
pub trait Clock: Send {
    /// Now.
    fn now(&self) -> Moment;
    /// Minutes that local time is ahead of UTC.
    fn zone_minutes(&self) -> i32;
}

/// The clock of the machine.
#[derive(Debug, Clone, Copy)]
pub struct SystemClock {
    /// Minutes that local time is ahead of UTC; the app knows, Rust does not.
    pub zone_minutes: i32,
}

impl Clock for SystemClock {
    fn now(&self) -> Moment {
        let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
        Moment(since.ok().and_then(|d| i64::try_from(d.as_millis()).ok()).unwrap_or(0))
    }

    fn zone_minutes(&self) -> i32 {
        self.zone_minutes
    }
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

/// An install at work on its folder.
pub struct Phone {
    dir: std::path::PathBuf,
    pub(crate) store: Store,
    pub(crate) identity: Identity,
    actor: ActorId,
    mint: KeyMint,
    clock: Box<dyn Clock>,
    pub(crate) open: BTreeMap<DocName, Document>,
    /// Exercises of the library in that state, so that logging a set does not read it anew.
    exercises: (Vec<ChangeHash>, BTreeSet<Key>),
}

impl core::fmt::Debug for Phone {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        // No name, no token.
        f.debug_struct("Phone").field("install", &self.identity.install).finish_non_exhaustive()
    }
}

impl Phone {
    /// Opens the folder of an enrolled install. `None` when it was never enrolled.
    ///
    /// # Errors
    /// When the store cannot be opened.
    pub fn open(dir: &Path, clock: Box<dyn Clock>) -> Result<Option<Phone>, PhoneError> {
        match Identity::load(dir)? {
            Some(identity) => Phone::start(dir, identity, clock).map(Some),
            None => Ok(None),
        }
    }

    /// Makes an install of a folder, with the identity that enrolment gave.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn enrolled(dir: &Path, identity: Identity, clock: Box<dyn Clock>) -> Result<Phone, PhoneError> {
        std::fs::create_dir_all(dir).map_err(|e| PhoneError::Storage { why: e.to_string(), full: false })?;
        identity.store(dir)?;
        Phone::start(dir, identity, clock)
    }

    fn start(dir: &Path, identity: Identity, clock: Box<dyn Clock>) -> Result<Phone, PhoneError> {
        // A new actor and new keys at each start: nothing can be used twice, whatever was restored.
        let mut random = [0; 12];
        getrandom::fill(&mut random)
            .map_err(|e| PhoneError::Storage { why: format!("no randomness: {e}"), full: false })?;
        let [a, b, c, d, rest @ ..] = random;
        Ok(Phone {
            dir: dir.to_owned(),
            store: Store::open(dir)?,
            actor: ActorId::of(identity.install, rest),
            mint: KeyMint::new([a, b, c, d]),
            identity,
            clock,
            open: BTreeMap::new(),
            exercises: (Vec::new(), BTreeSet::new()),
        })
    }

    /// Who this install is.
    #[must_use]
    pub const fn identity(&self) -> &Identity {
        &self.identity
    }

    /// The store, for diagnostics and tests.
    #[must_use]
    pub const fn store(&self) -> &Store {
        &self.store
    }

    /// The store, to be written. For tests.
    #[doc(hidden)]
    pub const fn store_mut(&mut self) -> &mut Store {
        &mut self.store
    }

    /// The phone's time.
    #[must_use]
    pub fn now(&self) -> Moment {
        self.clock.now()
    }

    /// The phone's local day.
    ///
    /// # Errors
    /// When its clock is outside the calendar.
    pub fn today(&self) -> Result<Day, PhoneError> {
        Day::of(self.clock.now(), self.clock.zone_minutes()).map_err(|e| PhoneError::Clock(e.to_string()))
    }

    /// A key for a new record.
    pub fn key(&mut self) -> Key {
        self.mint.mint()
    }

    /// A document as it stands here; nothing but its start when nothing is here yet.
    ///
    /// # Errors
    /// When its bytes cannot be read.
    pub fn document(&mut self, name: DocName) -> Result<&Document, PhoneError> {
        if !self.open.contains_key(&name) {
            let mut doc = match self.store.bytes(&name)? {
                None => Document::create(name)?,
                // A damaged document is set aside and rescued as far as it can be; the phone works on.
                Some(bytes) => Document::open(name, &bytes).or_else(|_| self.store.rescue(&name))?,
            };
            doc.write_as(self.actor);
            self.open.insert(name, doc);
        }
        self.open.get(&name).ok_or_else(|| PhoneError::Answer("document not open".to_owned()))
    }

    /// Names of the documents that are here and may be read.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn documents(&self) -> Result<Vec<DocName>, PhoneError> {
        Ok(self.store.docs()?.into_iter().filter(|d| !d.withdrawn).map(|d| d.name).collect())
    }

    /// The club's library, as it stands here.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn library(&mut self) -> Result<Library, PhoneError> {
        let name = DocName::Library(self.identity.club);
        Ok(Library::of(self.document(name)?))
    }

    /// Does what a person did. When this returns, it is saved: on disk, whatever happens next.
    ///
    /// # Errors
    /// The list of problems, or why it could not be stored. Nothing was written then.
    pub fn run(&mut self, name: DocName, command: &Command) -> Result<ChangeHash, PhoneError> {
        self.may_write(&name)?;
        self.read_exercises()?;
        self.document(name)?;
        // Without a library at hand exercises are not checked: logging never needs the network.
        let checked = name.kind() != Kind::Library && !self.exercises.1.is_empty();
        let scene = Scene { now: self.clock.now(), exercises: checked.then_some(&self.exercises.1) };
        let Some(mut doc) = self.open.remove(&name) else {
            return Err(PhoneError::Answer("document not open".to_owned()));
        };
        // The document is put back only when memory and disk agree again.
        let before = doc.heads();
        let hash = match doc.apply(command, &scene) {
            Ok(hash) => hash,
            Err(backstraight_core::doc::command::apply::CommandError::Problems(list)) => {
                self.open.insert(name, doc);
                return Err(PhoneError::Invalid(list));
            }
            Err(e) => return Err(e.into()),
        };
        self.store.append(&name, &doc.changes_since(&before), &doc.heads())?;
        if self.store.chunk_count(&name)? > COMPACT_AT_ONCE {
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
    pub fn tidy(&mut self) -> Result<(), PhoneError> {
        for name in self.store.looser_than(COMPACT_AFTER_BYTES)? {
            let doc = self.document(name)?;
            let (saved, heads) = (doc.save(), doc.heads());
            self.compact(name, &saved, &heads)?;
        }
        Ok(())
    }

    fn read_exercises(&mut self) -> Result<(), PhoneError> {
        let heads = self.document(DocName::Library(self.identity.club))?.heads();
        if heads != self.exercises.0 {
            self.exercises = (heads, self.library()?.exercise_keys());
        }
        Ok(())
    }

    fn compact(&mut self, name: DocName, saved: &[u8], heads: &[ChangeHash]) -> Result<(), PhoneError> {
        // The compact form replaces the chunks only after it was read back.
        if Document::open(name, saved)?.heads() == heads {
            self.store.compact(&name, saved)?;
        }
        Ok(())
    }

    pub(crate) fn may_write(&self, name: &DocName) -> Result<(), PhoneError> {
        let (person, club, role) = (self.identity.person, self.identity.club, self.identity.role);
        if self.right_of(Asker { person, club, role }, name) == Right::Write {
            Ok(())
        } else {
            Err(PhoneError::NotAllowed(name.to_string()))
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
    pub fn unsent(&mut self) -> Result<Vec<(DocName, usize)>, PhoneError> {
        let mut list = Vec::new();
        for row in self.store.docs()? {
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
    pub fn with_server(&mut self, name: DocName, hash: &ChangeHash) -> Result<bool, PhoneError> {
        let Some(row) = self.store.doc(&name)? else { return Ok(false) };
        let doc = self.document(name)?;
        Ok(doc.holds(hash) && row.agreed && doc.covered(hash, &row.server_heads))
    }

    /// Refusals that stand, for the person to see.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn refusals(&self) -> Result<Vec<RefusedRow>, PhoneError> {
        self.store.refusals()
    }

    /// People whom this install knows of.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn people(&self) -> Result<Vec<Known>, PhoneError> {
        Ok(self.store.people()?.1)
    }

    /// Sends and receives until both sides agree, or the server cannot be reached. Every round
    /// leaves a durable state, so it may be cut at any instant.
    ///
    /// # Errors
    /// Why it stopped early. Whatever was received before is stored, whatever is here stays.
    pub fn exchange(&mut self, transport: &mut dyn Transport) -> Result<Exchanged, PhoneError> {
        let mut report = Exchanged::default();
        while report.rounds < MAX_ROUNDS {
            report.rounds += 1;
            if !self.round(transport, &mut report)? {
                break;
            }
        }
        // Without a compact form, on a full disk for instance, the exchange was still made.
        let _tidied = self.tidy();
        Ok(report)
    }

    /// One round trip; whether another one is wanted.
    fn round(&mut self, transport: &mut dyn Transport, report: &mut Exchanged) -> Result<bool, PhoneError> {
        let standing = Standing {
            epoch: self.store.epoch()?,
            people: self.store.people()?.0,
            // A phone whose clock is wrong still sends what it has; it is heard of no day then.
            local_day: self.today().ok(),
            clock: self.clock.now(),
            app: concat!("backstraight ", env!("CARGO_PKG_VERSION")).to_owned(),
        };
        let refused: BTreeSet<DocName> = report.refused.iter().map(|(n, _)| *n).collect();
        let mut cards = Vec::new();
        for row in self.store.docs()? {
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
        let told: BTreeSet<Vec<u8>> =
            composed.up.docs.iter().filter(|d| !d.heads.is_empty()).map(|d| d.name.to_vec()).collect();
        let carried = self.load_up(&mut composed.up, report)?;
        let answer = self.send(transport, &composed.up.to_bytes())?;
        let down = Down::from_bytes(&answer).map_err(|e| PhoneError::Answer(e.to_string()))?;
        let heard = read(&down, &standing).map_err(|e| PhoneError::Answer(e.to_string()))?;
        report.clock_ahead = heard.clock_ahead;
        let erased_before = report.erased.len();
        let mut again = heard.more || !composed.left.is_empty();
        again |= self.unload(&carried, down.carried.as_deref(), report)?;
        for step in heard.steps {
            match step {
                Step::NewEpoch(epoch) => {
                    report.new_epoch |= standing.epoch.is_some();
                    self.store.new_epoch(epoch)?;
                }
                Step::Take { name, changes, cursor, server_heads, send_again } => {
                    again |= self.take(name, &changes, cursor, server_heads, send_again, report)?;
                    // The server is told the heads once, to say what is lacking here. What it lacks
                    // itself of a document that others write is theirs to send.
                    if send_again && !told.contains(name.to_bytes().as_slice()) {
                        again |= self.store.doc(&name)?.is_some_and(|row| row.tell_heads);
                    }
                }
                Step::Refused { name, refusal } => {
                    self.store.note_refusal(&name, &refusal)?;
                    report.refused.push((name, refusal));
                }
                Step::Withdrawn(name) => {
                    if self.store.withdraw(&name)? {
                        report.withdrawn.push(name);
                    }
                    self.open.remove(&name);
                }
                // One's own documents are never taken away by a server.
                Step::Erased(name) if name.athlete() == Some(self.identity.person) => {
                    self.store.withdraw(&name)?;
                }
                Step::Erased(name) => {
                    if self.store.erase(&name)? {
                        report.erased.push(name);
                    }
                    self.open.remove(&name);
                }
                Step::People { version, list } => self.store.set_people(version, list)?,
            }
        }
        if report.erased.len() > erased_before {
            self.store.empty_log()?;
        }
        Ok(again)
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
    ) -> Result<bool, PhoneError> {
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
                    if let Some(mut row) = self.store.doc(&name)? {
                        row.cursor = 0;
                        row.tell_heads = true;
                        self.store.take(&row, &[])?;
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
            let standing = self.store.refusals()?;
            self.store.take(&row, &fresh)?;
            if let Some(r) = standing.iter().find(|r| r.name == name) {
                self.store.note_refusal(&name, &r.refusal)?;
            }
        } else {
            self.store.take(&row, &fresh)?;
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

    fn send(&mut self, transport: &mut dyn Transport, body: &[u8]) -> Result<Vec<u8>, PhoneError> {
        // A token known to be old is renewed first, so that the body is not sent in vain.
        if self.identity.access_until.is_some_and(|until| self.clock.now() >= until) {
            self.renew(transport)?;
        }
        match transport.exchange(&self.identity.access, body) {
            Err(PhoneError::SignedOut(_)) => {
                self.renew(transport)?;
                transport.exchange(&self.identity.access, body)
            }
            other => other,
        }
    }

    fn renew(&mut self, transport: &mut dyn Transport) -> Result<(), PhoneError> {
        let signed = |at: Moment| Renewal::of(&self.identity.refresh, at, self.identity.key.as_ref());
        let tokens = match transport.renew(&signed(self.clock.now())) {
            // A phone's clock may be anywhere; for the proof the server's time will do.
            Err(PhoneError::ClockApart(server)) => transport.renew(&signed(server))?,
            other => other?,
        };
        let good_for_ms = tokens.good_for.saturating_sub(TOKEN_MARGIN_S).saturating_mul(1000);
        let renewed = Identity {
            access: tokens.access,
            refresh: tokens.refresh,
            access_until: Some(Moment(self.clock.now().0.saturating_add(good_for_ms))),
            ..self.identity.clone()
        };
        // On disk before it is used: the old refresh token ends with the first use of the new.
        renewed.store(&self.dir)?;
        self.identity = renewed;
        Ok(())
    }
}
