//! Carry files on a device: what was not acknowledged goes out into a file, what others wrote comes in
//! from one, is shown where this phone's person may read it, and goes on to the server with the next
//! exchange. No picture code and no radio: an app brings its own way for the bytes.

use std::collections::{BTreeMap, BTreeSet};

use crate::base::id::{InstallId, PersonId};
use crate::doc::admit::Admitted;
use crate::doc::gate::reject::Rejected;
use crate::doc::thin;
use crate::exchange::access::{Asker, Right, Role};
use crate::exchange::carry::{self, CarryError, MAX_PLAIN, Parcel};
use crate::exchange::device::MAX_SEND_CHANGES;
use crate::exchange::signed::{self, SignedError};
use crate::exchange::wire::{MAX_BODY, Outcome, Refusal, Up, heads_out};
use crate::model::name::{DocName, Kind};
use minicbor::bytes::ByteVec;
use uuid::Uuid;

use super::error::DeviceError;
use super::shelf::{CarriedRow, Shelf};
use super::{Device, Exchanged};

/// Most packed bytes of a file: what one exchange can carry, with some room.
pub const MAX_FILE: usize = MAX_BODY / 2;
/// Most packed bytes of parcels that one request takes along beside the phone's own changes.
const MAX_LOAD: usize = MAX_BODY / 4;

/// A carry file that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CarriedOut {
    /// The file. It is not encrypted: whoever has it can read the training in it.
    pub bytes: Vec<u8>,
    /// Changes of this phone in it, by document.
    pub own: BTreeMap<DocName, usize>,
    /// Parcels of others in it.
    pub others: usize,
    /// Documents that do not travel by files because they tell of health; they wait for an exchange.
    pub kept_back: Vec<DocName>,
    /// Documents that did not go into a file of this size whole.
    pub left: Vec<DocName>,
}

/// What came in from a carry file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CarriedIn {
    /// Parcels that are kept for the server from now on, by document: how many changes, and whether
    /// they are shown here already.
    pub taken: Vec<(DocName, usize, bool)>,
    /// Parcels that were here before.
    pub known: Vec<DocName>,
    /// Parcels that were not taken, and why. Nothing of them is stored.
    pub refused: Vec<(Option<DocName>, ParcelError)>,
}

/// What became of what this phone carried for others.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CarriedOn {
    /// Parcels that are with the server.
    pub arrived: usize,
    /// Parcels that wait because the server lacks what they build on.
    pub waiting: usize,
    /// Parcels that the server refused.
    pub refused: Vec<(DocName, Refusal)>,
    /// Those that were sent in this exchange.
    pub(super) sent: BTreeSet<i64>,
}

/// Why a parcel was not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ParcelError {
    /// Its signatures do not hold.
    #[error(transparent)]
    Signed(#[from] SignedError),
    /// The gate refuses its changes.
    #[error(transparent)]
    Gate(#[from] Rejected),
    /// Nobody takes along what they may not read.
    #[error("this document is not open to the person of this phone")]
    NotReadable,
    /// An install wrote it that may not.
    #[error("install {0} may not write this document")]
    NotTheirs(InstallId),
}

impl ParcelError {
    /// A stable word.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            ParcelError::Signed(e) => e.code(),
            ParcelError::Gate(e) => e.code.word(),
            ParcelError::NotReadable => "not-readable",
            ParcelError::NotTheirs(_) => "not-theirs",
        }
    }
}

impl From<CarryError> for DeviceError {
    fn from(e: CarryError) -> DeviceError {
        DeviceError::Carry { code: e.code(), why: e.to_string() }
    }
}

impl<S: Shelf> Device<S> {
    /// Writes what the server has not acknowledged into a file that somebody else can take there:
    /// this phone's own changes, signed, and what it carries for others. `None` when there is nothing.
    /// Writing it changes nothing here: all of it still goes out with the next exchange.
    ///
    /// # Errors
    /// When the store cannot be read or this install has no key.
    pub fn carry_out(&mut self) -> Result<Option<CarriedOut>, S::Error> {
        let mut out = CarriedOut {
            bytes: Vec::new(),
            own: BTreeMap::new(),
            others: 0,
            kept_back: Vec::new(),
            left: Vec::new(),
        };
        let (mut parcels, mut room) = (Vec::new(), MAX_FILE);
        for name in self.unsent()?.into_iter().map(|(name, _)| name) {
            // Who carries a file can read it, and health is for those alone who were let in.
            if matches!(name.kind(), Kind::Care | Kind::CareNotes) {
                out.kept_back.push(name);
                continue;
            }
            for (parcel, changes) in self.parcels_of(name)? {
                let size = parcel.changes.len();
                if size > room {
                    out.left.push(name);
                    break;
                }
                room -= size;
                *out.own.entry(name).or_default() += changes;
                parcels.push(parcel);
            }
        }
        for row in self.shelf.carried()? {
            let size = row.parcel.changes.len();
            if size > room {
                out.left.extend(row.parcel.document());
                continue;
            }
            room -= size;
            out.others += 1;
            parcels.push(row.parcel);
        }
        if parcels.is_empty() {
            return Ok(None);
        }
        out.bytes = carry::write(parcels);
        Ok(Some(out))
    }

    /// The unacknowledged changes of one document that this install wrote, signed.
    fn parcels_of(&mut self, name: DocName) -> Result<Vec<(Parcel, usize)>, S::Error> {
        let key = self.identity.key.clone().ok_or(DeviceError::NoKey)?;
        let install = self.identity.install;
        let mut base = self.shelf.doc(&name)?.map(|row| row.server_heads).unwrap_or_default();
        let doc = self.document(name)?;
        let mut parcels = Vec::new();
        loop {
            let all = doc.changes_to_send(&base, MAX_SEND_CHANGES);
            let unreadable = |e: Rejected| DeviceError::Answer(format!("{name}: {e}"));
            let changes = signed::changes(&all).map_err(unreadable)?;
            if changes.is_empty() {
                return Ok(parcels);
            }
            base.extend(changes.iter().map(|c| c.hash));
            // What others of the party wrote is theirs to sign.
            let mut plain = Vec::new();
            for own in changes.iter().filter(|c| c.actor.install() == install) {
                plain.extend_from_slice(all.get(own.range.clone()).unwrap_or_default());
            }
            let own = signed::changes(&plain).map_err(unreadable)?;
            if own.is_empty() {
                continue;
            }
            let parcel = Parcel {
                name: ByteVec::from(name.to_bytes().to_vec()),
                heads: heads_out(&doc.heads()),
                changes: ByteVec::from(thin::pack(&plain)),
                signatures: signed::sign(&name, &own, install, &|statement| key.sign(statement)),
            };
            parcels.push((parcel, own.len()));
        }
    }

    /// Takes in a carry file: checks signatures and changes, shows what can be shown, and keeps all of
    /// it for the server. A file that comes twice does no harm.
    ///
    /// # Errors
    /// When it is no sound carry file, or the disk refuses.
    pub fn carry_in(&mut self, bytes: &[u8]) -> Result<CarriedIn, S::Error> {
        let known = Writers::of(self)?;
        let mut report = CarriedIn::default();
        let mut room = MAX_PLAIN;
        for parcel in carry::read(bytes).map_err(DeviceError::from)? {
            let Ok(name) = parcel.document() else { continue };
            match self.take_parcel(name, &parcel, &known, &mut room)? {
                Ok((0, _)) => report.known.push(name),
                Ok((changes, shown)) => report.taken.push((name, changes, shown)),
                Err(why) => report.refused.push((Some(name), why)),
            }
        }
        Ok(report)
    }

    /// Takes one parcel: how many changes it has (0 when it is here already) and whether it is shown.
    fn take_parcel(
        &mut self,
        name: DocName,
        parcel: &Parcel,
        writers: &Writers,
        room: &mut usize,
    ) -> Result<Result<(usize, bool), ParcelError>, S::Error> {
        let me = Asker { person: self.identity.person, club: self.identity.club, role: self.identity.role };
        if self.right_of(me, &name) == Right::None {
            return Ok(Err(ParcelError::NotReadable));
        }
        let read = parcel.plain(room).and_then(|plain| signed::changes(&plain).map(|list| (plain, list)));
        let (plain, changes) = match read {
            Ok(read) => read,
            Err(e) => return Ok(Err(e.into())),
        };
        let key_of = |install| writers.0.get(&install).and_then(|w| w.key);
        if let Err(e) = signed::verify(&name, &changes, &parcel.signatures, &key_of) {
            return Ok(Err(e.into()));
        }
        let club = self.identity.club;
        let may_write = |install: InstallId| {
            writers.0.get(&install).is_some_and(|w| {
                self.right_of(Asker { person: w.person, club, role: w.role }, &name) == Right::Write
            })
        };
        if let Some(foreign) = changes.iter().map(|c| c.actor.install()).find(|i| !may_write(*i)) {
            return Ok(Err(ParcelError::NotTheirs(foreign)));
        }
        let allowed: BTreeSet<InstallId> = changes.iter().map(|c| c.actor.install()).collect();
        self.document(name)?;
        let Some(mut doc) = self.open.remove(&name) else {
            return Err(DeviceError::Answer("document not open".to_owned()).into());
        };
        let admitted = match doc.admit(&plain, &|install| allowed.contains(&install)) {
            Ok(admitted) => admitted,
            Err(e) => {
                self.open.insert(name, doc);
                return Ok(Err(e.into()));
            }
        };
        // What builds on changes that are not here yet is kept and shown after the next exchange.
        let heads = doc.heads();
        let (shown, fresh) = match &admitted {
            Admitted::Merged { fresh, .. } => (true, Some((fresh.as_slice(), heads.as_slice()))),
            Admitted::Need(_) => (false, None),
        };
        // On an error the document in memory is dropped and opened again from the disk.
        let new = self.shelf.keep_carried(&name, parcel, fresh)?;
        self.open.insert(name, doc);
        Ok(Ok((if new { changes.len() } else { 0 }, shown)))
    }

    /// What is carried for others and not yet with the server: which document, and why the server did
    /// not take it, when it said so.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn carried(&self) -> Result<Vec<(DocName, Option<Refusal>)>, S::Error> {
        let rows = self.shelf.carried()?;
        Ok(rows.into_iter().filter_map(|r| Some((r.parcel.document().ok()?, r.refused))).collect())
    }

    /// Puts parcels on a request, each once in an exchange; their numbers.
    pub(super) fn load_up(&mut self, up: &mut Up, report: &Exchanged) -> Result<Vec<i64>, S::Error> {
        let (mut ids, mut parcels, mut room) = (Vec::new(), Vec::new(), MAX_LOAD);
        for row in self.shelf.carried()? {
            let size = row.parcel.changes.len();
            if self.waits(&row, report) && (size <= room || parcels.is_empty()) {
                room = room.saturating_sub(size);
                ids.push(row.id);
                parcels.push(row.parcel);
            }
        }
        up.carried = (!parcels.is_empty()).then_some(parcels);
        Ok(ids)
    }

    /// What the server says of them; whether there are more to send.
    pub(super) fn unload(
        &mut self,
        ids: &[i64],
        said: Option<&[Outcome]>,
        report: &mut Exchanged,
    ) -> Result<bool, S::Error> {
        report.carried.sent.extend(ids);
        let Some(said) = said else {
            // An older server does not know of parcels: they stay here.
            report.carried.waiting += ids.len();
            return Ok(false);
        };
        if said.len() != ids.len() {
            return Err(DeviceError::Answer("not an answer to each parcel".to_owned()).into());
        }
        let rows = self.shelf.carried()?;
        for (id, outcome) in ids.iter().zip(said) {
            match outcome {
                Outcome::Accepted => {
                    self.shelf.carried_done(*id)?;
                    report.carried.arrived += 1;
                }
                Outcome::Need => report.carried.waiting += 1,
                Outcome::Refused(refusal) => {
                    self.shelf.carried_refused(*id, refusal)?;
                    self.refused_parcels.insert(*id);
                    let row = rows.iter().find(|row| row.id == *id);
                    let name = row.and_then(|row| row.parcel.document().ok());
                    report.carried.refused.extend(name.map(|name| (name, refusal.clone())));
                }
            }
        }
        Ok(rows.iter().any(|row| self.waits(row, report)))
    }

    /// Whether a parcel is to be sent in this exchange. What was refused because the server is older, or cannot read
    /// its own copy, is offered again after each start of the app: its writer may have nothing of it left.
    fn waits(&self, row: &CarriedRow, report: &Exchanged) -> bool {
        let again = |refusal: &Refusal| refusal.may_pass_later() && !self.refused_parcels.contains(&row.id);
        !report.carried.sent.contains(&row.id) && row.refused.as_ref().is_none_or(again)
    }
}

/// An install as a writer: whose it is and the key that it signs with.
struct Writer {
    person: PersonId,
    role: Role,
    key: Option<[u8; 32]>,
}

/// The installs of the people whom this phone knows.
struct Writers(BTreeMap<InstallId, Writer>);

impl Writers {
    fn of<S: Shelf>(device: &Device<S>) -> Result<Writers, S::Error> {
        let mut all = BTreeMap::new();
        for known in device.people()? {
            let person = Uuid::from_slice(&known.person).map(PersonId);
            let (Ok(person), Ok(role)) = (person, known.role.parse::<Role>()) else { continue };
            let mut keys = known.keys.unwrap_or_default().into_iter();
            for install in &known.installs {
                let key = keys.next().and_then(|k| k.as_slice().try_into().ok());
                if let Ok(install) = install.as_slice().try_into().map(InstallId) {
                    all.insert(install, Writer { person, role, key });
                }
            }
        }
        Ok(Writers(all))
    }
}
