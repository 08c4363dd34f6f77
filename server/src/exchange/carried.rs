//! Changes that come by way of somebody else: with signatures of the installs that wrote them, from a
//! device that carried them here or from a file at this machine. Who carries needs no right to write;
//! the writers do. Checks, appends and says what became of each parcel.

use std::collections::{BTreeMap, BTreeSet};
use std::panic::{AssertUnwindSafe, catch_unwind};

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ChangeHash, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::gate::{RejectCode, Rejected};
use backstraight_core::exchange::access::{Right, right};
use backstraight_core::exchange::carry::{MAX_PLAIN, Parcel};
use backstraight_core::exchange::signed::{self, Carried, SignedError};
use backstraight_core::exchange::wire::Outcome;
use backstraight_core::model::name::DocName;

use super::ATTEMPTS;
use super::index::Indexes;
use super::upload::{self, Case, Checked, refused, rejected};
use crate::grant::{self, AtTheMachine, By, Caller, MayWrite};
use crate::store::document::{self, Signer};
use crate::store::{Db, Store, StoreError, audit, heard};

/// Who hands parcels in.
#[derive(Debug, Clone, Copy)]
pub enum Carrier<'a> {
    /// A device, at its exchange.
    Device(&'a Caller),
    /// Whoever has the data folder.
    Machine(AtTheMachine),
}

/// What became of one parcel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandedIn {
    /// The document; none when the parcel does not name one.
    pub name: Option<DocName>,
    /// How many changes were new here.
    pub fresh: u64,
    /// What the carrier is told.
    pub outcome: Outcome,
}

/// A parcel whose signatures hold.
struct Sound {
    grant: MayWrite,
    /// The changes that may be taken.
    plain: Vec<u8>,
    writers: BTreeSet<InstallId>,
    /// When each install made its newest change in it, by its own clock.
    newest: BTreeMap<InstallId, Moment>,
    /// What was left out because its writer was withdrawn before.
    cut: Option<ChangeHash>,
}

/// Takes parcels, each by itself: one that is refused holds up no other. Blocks.
///
/// # Errors
/// Only when storage fails; parcels before were taken then and may be handed in again without harm.
pub fn take(
    store: &Store,
    indexes: &Indexes,
    carrier: Carrier<'_>,
    parcels: &[Parcel],
    now: Moment,
) -> Result<Vec<HandedIn>, StoreError> {
    let mut room = MAX_PLAIN;
    parcels.iter().map(|parcel| one(store, indexes, carrier, parcel, &mut room, now)).collect()
}

fn one(
    store: &Store,
    indexes: &Indexes,
    carrier: Carrier<'_>,
    parcel: &Parcel,
    room: &mut usize,
    now: Moment,
) -> Result<HandedIn, StoreError> {
    let Ok(name) = parcel.document() else {
        return Ok(HandedIn { name: None, fresh: 0, outcome: refused("malformed", None, "no document") });
    };
    let done = |fresh, outcome| Ok(HandedIn { name: Some(name), fresh, outcome });
    let sound = match store.read_blocking(|db| sound(db, carrier, name, parcel, (room, now)))? {
        Ok(sound) => sound,
        Err(outcome) => return done(0, outcome),
    };
    let end = |outcome| match (outcome, sound.cut) {
        (Outcome::Accepted, Some(change)) => {
            let text = "what was written after its install was withdrawn was left out, the rest is stored";
            refused("withdrawn", Some(change), text)
        }
        (outcome, _) => outcome,
    };
    if sound.plain.is_empty() {
        return done(0, end(Outcome::Accepted));
    }
    for _ in 0..ATTEMPTS {
        let checked = store.read_blocking(|db| {
            let doc = document::find(db, &name)?;
            let may = |install| Ok(sound.writers.contains(&install));
            let case =
                Case { db, may: &may, grant: sound.grant, doc: doc.as_ref(), plain: sound.plain.as_slice() };
            upload::check(&case, indexes)
        })?;
        let (appends, index) = match checked {
            Checked::Done(outcome) => {
                if outcome == Outcome::Accepted {
                    let heard = sound.heard(name);
                    store.write_blocking(move |db| note(db, &heard, now))?;
                }
                return done(0, end(outcome));
            }
            Checked::Fresh(appends, index) => (appends, index),
        };
        let fresh = appends.iter().map(|a| a.changes).sum();
        let (by, writers, heard) = (by(carrier), sound.writers.clone(), sound.heard(name));
        let written = store.write_blocking(move |db| {
            let appended = document::append_all(db, &appends, now)?;
            if appended.is_some() {
                for writer in &writers {
                    audit::add(db, &by, "changes carried here", &writer.to_string(), now)?;
                }
                note(db, &heard, now)?;
            }
            Ok(appended)
        })?;
        if let Some((doc, _)) = written {
            indexes.put(&doc, *index);
            return done(fresh, end(Outcome::Accepted));
        }
        // Somebody else wrote to it meanwhile.
    }
    Err(StoreError::Busy)
}

/// Whose log of a month was brought whole, by which install, and when that wrote last.
type Heard = Vec<(InstallId, (PersonId, Month), Moment)>;

impl Sound {
    /// Of whom it tells through which day they were heard.
    fn heard(&self, name: DocName) -> Heard {
        let DocName::Log(athlete, month) = name else { return Vec::new() };
        if self.cut.is_some() {
            return Vec::new();
        }
        self.newest.iter().map(|(install, at)| (*install, (athlete, month), *at)).collect()
    }
}

fn note(db: &Db, heard: &Heard, now: Moment) -> Result<(), StoreError> {
    heard.iter().try_for_each(|(install, log, newest)| heard::note_carried(db, *install, *log, *newest, now))
}

fn by(carrier: Carrier<'_>) -> By {
    match carrier {
        Carrier::Device(caller) => caller.by(),
        Carrier::Machine(machine) => machine.by(),
    }
}

/// Looks up whose changes these are and whether their signatures hold, and cuts off what may not be
/// taken any more.
fn sound(
    db: &Db,
    carrier: Carrier<'_>,
    name: DocName,
    parcel: &Parcel,
    (room, now): (&mut usize, Moment),
) -> Result<Result<Sound, Outcome>, StoreError> {
    let today = Day::of(now, 0).map_err(|e| StoreError::Damaged(format!("the clock: {e}")))?;
    let asker = match carrier {
        Carrier::Device(caller) => Some(&caller.asker),
        Carrier::Machine(_) => None,
    };
    let Some(subject) = document::subject(db, &name, asker, today)? else {
        return Ok(Err(upload::not_yours()));
    };
    let grant = match carrier {
        Carrier::Device(caller) => grant::to_hand_in(caller, name, &subject),
        Carrier::Machine(machine) => Some(machine.to_write(name, subject.club)),
    };
    // Another club's documents do not exist for the carrier.
    let Some(grant) = grant else { return Ok(Err(upload::not_yours())) };
    let unpacked = catch_unwind(AssertUnwindSafe(|| {
        let plain = parcel.plain(room)?;
        let changes = signed::changes(&plain)?;
        Ok((plain, changes))
    }));
    let gave_up = |_| Err(Rejected::new(RejectCode::Thin, "it panicked"));
    let (plain, changes) = match unpacked.unwrap_or_else(gave_up) {
        Ok(unpacked) => unpacked,
        Err(error) => return Ok(Err(rejected(&error))),
    };
    let mut signers: BTreeMap<InstallId, Signer> = BTreeMap::new();
    for install in signed::signers(&parcel.signatures) {
        if let Some(signer) = document::signer(db, install)? {
            signers.insert(install, signer);
        }
    }
    let key_of = |install| signers.get(&install).and_then(|s| s.key);
    if let Err(error) = signed::verify(&name, &changes, &parcel.signatures, &key_of) {
        return Ok(Err(refused_signature(&error)));
    }
    let may = |s: &Signer| right(&s.asker, name.kind(), &subject) == Right::Write;
    let writers = signers.iter().filter(|(_, s)| may(s)).map(|(install, _)| *install).collect();
    let mut newest = BTreeMap::new();
    for change in &changes {
        let at = Moment(change.time.saturating_mul(1_000));
        let known = newest.entry(change.actor.install()).or_insert(at);
        *known = at.max(*known);
    }
    let (plain, cut) = before_withdrawal(plain, &changes, &signers);
    Ok(Ok(Sound { grant, plain, writers, newest, cut }))
}

fn refused_signature(error: &SignedError) -> Outcome {
    refused(error.code(), error.change(), &error.to_string())
}

/// Leaves out what an install wrote after it was withdrawn, by its own clock, and what builds on it.
fn before_withdrawal(
    plain: Vec<u8>,
    changes: &[Carried],
    signers: &BTreeMap<InstallId, Signer>,
) -> (Vec<u8>, Option<ChangeHash>) {
    let mut left_out: BTreeSet<ChangeHash> = BTreeSet::new();
    let mut first = None;
    let mut kept = Vec::new();
    for change in changes {
        let ended = signers.get(&change.actor.install()).and_then(|s| s.ended);
        let late = ended.is_some_and(|ended| change.time > ended.seconds());
        if late || change.deps.iter().any(|d| left_out.contains(d)) {
            left_out.insert(change.hash);
            first.get_or_insert(change.hash);
        } else {
            kept.extend_from_slice(plain.get(change.range.clone()).unwrap_or_default());
        }
    }
    (kept, first)
}
