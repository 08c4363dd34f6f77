//! A device's disk in memory, which fails and forgets as disks do: a shelf whose every write is whole or not at all,
//! unless a planted fault says otherwise. Knows no server and no story.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::device::error::DeviceError;
use backstraight_core::device::rescue;
use backstraight_core::device::shelf::{CarriedRow, DocRow, Fresh, RefusedRow, Shelf};
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::carry::Parcel;
use backstraight_core::exchange::wire::{Known, Refusal};
use backstraight_core::model::name::DocName;

use sha2::{Digest as _, Sha256};

use super::planted::Planted;
use crate::rng::Rng;

/// Why a disk did not do what it was asked.
#[derive(Debug, thiserror::Error)]
pub(crate) enum DiskError {
    /// Nothing was stored, and nothing else is wrong.
    #[error("no room")]
    Full,
    /// The app is dead: of the write that killed it nobody knows whether it was stored.
    #[error("the app died")]
    Died,
    /// The device's own rules.
    #[error(transparent)]
    Device(#[from] DeviceError),
}

/// What happens to a write.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// There is no room for it.
    Full,
    /// There is no room for it, nor for any later one.
    StaysFull,
    /// The app dies before it.
    DiesBefore,
    /// The app dies when it is stored, before it hears so.
    DiesAfter,
}

#[derive(Debug, Clone)]
struct Kept {
    row: DocRow,
    saved: Option<Vec<u8>>,
    chunks: Vec<Vec<u8>>,
}

/// What is on the disk.
#[derive(Debug, Clone, Default)]
pub(super) struct Image {
    docs: BTreeMap<DocName, Kept>,
    refused: BTreeMap<DocName, Refusal>,
    epoch: Option<[u8; 16]>,
    people: (u64, Vec<Known>),
    carried: Vec<CarriedRow>,
    numbers: i64,
}

#[derive(Debug, Default)]
struct Inside {
    image: Image,
    /// In how many writes something happens, and what.
    next: Option<(u32, Fault)>,
    dead: bool,
    full: bool,
    writes: u64,
    /// How often a document that did not open was rescued.
    rescued: u64,
    planted: Option<Planted>,
}

/// The disk. Clones are the same disk.
#[derive(Debug, Clone, Default)]
pub(crate) struct Disk(Rc<RefCell<Inside>>);

impl Disk {
    /// An empty one, with a planted fault or none.
    #[must_use]
    pub(crate) fn new(planted: Option<Planted>) -> Disk {
        Disk(Rc::new(RefCell::new(Inside { planted, ..Inside::default() })))
    }

    /// After so many more writes, something happens.
    pub(super) fn plan(&self, after: u32, fault: Fault) {
        self.0.borrow_mut().next = Some((after, fault));
    }

    /// Nothing happens any more, and a dead app may be opened again.
    pub(super) fn heal(&self) {
        let mut inside = self.0.borrow_mut();
        inside.next = None;
        inside.dead = false;
        inside.full = false;
    }

    /// Whether what was planned has not happened yet.
    #[must_use]
    pub(super) fn waits(&self) -> bool {
        self.0.borrow().next.is_some()
    }

    /// Whether the app died.
    #[must_use]
    pub(super) fn dead(&self) -> bool {
        self.0.borrow().dead
    }

    /// Whether it keeps that parcel for somebody.
    #[must_use]
    pub(super) fn carries(&self, parcel: &Parcel) -> bool {
        self.0.borrow().image.carried.iter().any(|row| row.parcel == *parcel)
    }

    /// A document that it keeps.
    #[must_use]
    pub(super) fn some_document(&self, rng: &mut Rng) -> Option<DocName> {
        let inside = self.0.borrow();
        inside.image.docs.keys().nth(rng.below(inside.image.docs.len())).copied()
    }

    /// How often a document was rescued.
    #[must_use]
    pub(super) fn rescued(&self) -> u64 {
        self.0.borrow().rescued
    }

    /// A bit of a document is not what it was; whether there was one.
    pub(super) fn rot(&self, name: &DocName, rng: &mut Rng) -> bool {
        let mut inside = self.0.borrow_mut();
        let unchecked = inside.planted == Some(Planted::RotIsOverlooked);
        let Some(kept) = inside.image.docs.get_mut(name) else { return false };
        let parts = kept.chunks.len() + usize::from(kept.saved.is_some());
        // The newest is read by nothing that would notice otherwise.
        let at = if unchecked { parts.saturating_sub(1) } else { rng.below(parts) };
        let Some(part) = kept.saved.iter_mut().chain(&mut kept.chunks).nth(at) else { return false };
        let byte = rng.below(part.len());
        part.iter_mut().skip(byte).take(1).for_each(|b| *b ^= 1 << rng.range(0, 7));
        if unchecked && byte >= 8 {
            let sum = Sha256::digest(&part[8..]);
            part[4..8].copy_from_slice(&sum[..4]);
        }
        true
    }

    /// How many writes there were.
    #[must_use]
    pub(super) fn writes(&self) -> u64 {
        self.0.borrow().writes
    }

    /// A copy, as a backup of the phone takes it.
    #[must_use]
    pub(super) fn image(&self) -> Image {
        self.0.borrow().image.clone()
    }

    /// Puts a copy in place of what is there.
    pub(super) fn put_back(&self, image: Image) {
        self.0.borrow_mut().image = image;
    }

    fn is(&self, planted: Planted) -> bool {
        self.0.borrow().planted == Some(planted)
    }

    fn read<T>(&self, read: impl FnOnce(&Image) -> T) -> Result<T, DiskError> {
        let inside = self.0.borrow();
        if inside.dead { Err(DiskError::Died) } else { Ok(read(&inside.image)) }
    }

    fn write<T>(&mut self, write: impl FnOnce(&mut Image) -> T) -> Result<T, DiskError> {
        let mut inside = self.0.borrow_mut();
        if inside.dead {
            return Err(DiskError::Died);
        }
        inside.writes += 1;
        let fault = match inside.next {
            Some((0, fault)) => {
                inside.next = None;
                Some(fault)
            }
            Some((n, fault)) => {
                inside.next = Some((n - 1, fault));
                None
            }
            None => inside.full.then_some(Fault::Full),
        };
        inside.full |= fault == Some(Fault::StaysFull);
        inside.dead = matches!(fault, Some(Fault::DiesBefore | Fault::DiesAfter));
        match fault {
            Some(Fault::Full) if inside.planted == Some(Planted::FullSaysSaved) => {
                // The writer hears what it would have heard, of a copy that goes nowhere.
                return Ok(write(&mut inside.image.clone()));
            }
            Some(Fault::Full | Fault::StaysFull) => return Err(DiskError::Full),
            Some(Fault::DiesBefore) => return Err(DiskError::Died),
            Some(Fault::DiesAfter) | None => {}
        }
        let done = write(&mut inside.image);
        if fault.is_some() { Err(DiskError::Died) } else { Ok(done) }
    }
}

impl Kept {
    fn new(name: DocName) -> Kept {
        let row = DocRow {
            name,
            cursor: 0,
            heads: Vec::new(),
            server_heads: Vec::new(),
            agreed: false,
            tell_heads: false,
            withdrawn: false,
        };
        Kept { row, saved: None, chunks: Vec::new() }
    }
}

impl Image {
    fn doc(&mut self, name: DocName) -> &mut Kept {
        self.docs.entry(name).or_insert_with(|| Kept::new(name))
    }

    fn push(&mut self, name: DocName, chunk: &[u8], heads: &[ChangeHash]) {
        let kept = self.doc(name);
        kept.row.heads = heads.to_vec();
        kept.chunks.push(chunk.to_vec());
    }

    /// Goes on with a saved form and a row.
    fn replace(&mut self, row: &DocRow, saved: &[u8]) {
        let withdrawn = self.docs.get(&row.name).is_some_and(|kept| kept.row.withdrawn);
        let row = DocRow { withdrawn, ..row.clone() };
        self.docs.insert(row.name, Kept { row, saved: Some(saved.to_vec()), chunks: Vec::new() });
    }
}

impl Shelf for Disk {
    type Error = DiskError;

    fn docs(&self) -> Result<Vec<DocRow>, DiskError> {
        self.read(|image| image.docs.values().map(|kept| kept.row.clone()).collect())
    }

    fn doc(&self, name: &DocName) -> Result<Option<DocRow>, DiskError> {
        self.read(|image| image.docs.get(name).map(|kept| kept.row.clone()))
    }

    fn bytes(&self, name: &DocName) -> Result<Option<Vec<u8>>, DiskError> {
        self.read(|image| {
            let kept = image.docs.get(name)?;
            let mut bytes = kept.saved.clone().unwrap_or_else(|| genesis::bytes(name.kind()).to_vec());
            kept.chunks.iter().for_each(|chunk| bytes.extend_from_slice(chunk));
            Some(bytes)
        })
    }

    fn append(&mut self, name: &DocName, chunk: &[u8], heads: &[ChangeHash]) -> Result<(), DiskError> {
        if self.is(Planted::AppendForgets) && self.writes() % 16 == 7 {
            return self.write(|_| ());
        }
        self.write(|image| image.push(*name, chunk, heads))
    }

    fn take(&mut self, row: &DocRow, chunks: &[u8]) -> Result<(), DiskError> {
        if self.is(Planted::TakeIsTorn) {
            // The row first, in a write of its own.
            self.write(|image| image.doc(row.name).row = row.clone())?;
        }
        let drops = self.is(Planted::TakeForgetsChanges) && self.writes() % 8 == 3;
        self.write(|image| {
            let kept = image.doc(row.name);
            kept.row = row.clone();
            if !chunks.is_empty() && !drops {
                kept.chunks.push(chunks.to_vec());
            }
            image.refused.remove(&row.name);
        })
    }

    fn withdraw(&mut self, name: &DocName) -> Result<bool, DiskError> {
        self.write(|image| {
            let Some(kept) = image.docs.get_mut(name) else { return false };
            !std::mem::replace(&mut kept.row.withdrawn, true)
        })
    }

    fn erase(&mut self, name: &DocName) -> Result<bool, DiskError> {
        self.write(|image| {
            image.refused.remove(name);
            image.docs.remove(name).is_some()
        })
    }

    fn forget(&mut self) -> Result<(), DiskError> {
        self.write(|_| ())
    }

    fn compact(&mut self, name: &DocName, saved: &[u8]) -> Result<(), DiskError> {
        if self.is(Planted::CompactIsTorn) {
            // The chunks go before what covers them is there.
            self.write(|image| image.doc(*name).chunks.clear())?;
        }
        self.write(|image| {
            let kept = image.doc(*name);
            kept.saved = Some(saved.to_vec());
            kept.chunks.clear();
        })
    }

    fn rescue(&mut self, name: &DocName) -> Result<Document, DiskError> {
        let (saved, chunks) = self.read(|image| {
            let kept = image.docs.get(name);
            (kept.and_then(|k| k.saved.clone()), kept.map_or_else(Vec::new, |k| k.chunks.clone()))
        })?;
        let doc = rescue::longest(*name, saved.as_deref().unwrap_or_default(), &chunks)
            .ok_or_else(|| DeviceError::Answer(format!("{name} cannot be rescued")))?;
        let (row, bytes) = (rescue::unsure(&doc), doc.save());
        self.0.borrow_mut().rescued += 1;
        self.write(|image| image.replace(&row, &bytes))?;
        Ok(doc)
    }

    fn set_aside(&mut self, row: &DocRow, saved: &[u8]) -> Result<(), DiskError> {
        self.write(|image| {
            image.replace(row, saved);
            image.refused.remove(&row.name);
        })
    }

    fn chunk_count(&self, name: &DocName) -> Result<u64, DiskError> {
        self.read(|image| image.docs.get(name).map_or(0, |kept| kept.chunks.len() as u64))
    }

    fn looser_than(&self, bytes: i64) -> Result<Vec<DocName>, DiskError> {
        let size = |kept: &Kept| kept.chunks.iter().map(Vec::len).sum::<usize>();
        let most = usize::try_from(bytes).unwrap_or(0);
        self.read(|image| {
            image.docs.values().filter(|kept| size(kept) > most).map(|kept| kept.row.name).collect()
        })
    }

    fn note_refusal(&mut self, name: &DocName, refusal: &Refusal) -> Result<(), DiskError> {
        self.write(|image| {
            image.refused.insert(*name, refusal.clone());
        })
    }

    fn refusals(&self) -> Result<Vec<RefusedRow>, DiskError> {
        self.read(|image| {
            let row =
                |(name, refusal): (&DocName, &Refusal)| RefusedRow { name: *name, refusal: refusal.clone() };
            image.refused.iter().map(row).collect()
        })
    }

    fn epoch(&self) -> Result<Option<[u8; 16]>, DiskError> {
        self.read(|image| image.epoch)
    }

    fn new_epoch(&mut self, epoch: [u8; 16]) -> Result<(), DiskError> {
        self.write(|image| {
            image.epoch = Some(epoch);
            for kept in image.docs.values_mut() {
                kept.row.cursor = 0;
                kept.row.server_heads.clear();
                kept.row.agreed = false;
                kept.row.tell_heads = true;
            }
        })
    }

    fn people(&self) -> Result<(u64, Vec<Known>), DiskError> {
        self.read(|image| image.people.clone())
    }

    fn set_people(&mut self, version: u64, list: Vec<Known>) -> Result<(), DiskError> {
        self.write(|image| image.people = (version, list))
    }

    fn keep_carried(&mut self, name: &DocName, parcel: &Parcel, fresh: Fresh<'_>) -> Result<bool, DiskError> {
        let drops = self.is(Planted::ParcelIsDropped);
        self.write(|image| {
            let known = image.carried.iter().any(|row| row.parcel == *parcel);
            if !known && !drops {
                image.numbers += 1;
                image.carried.push(CarriedRow { id: image.numbers, parcel: parcel.clone(), refused: None });
            }
            if let Some((chunks, heads)) = fresh.filter(|(chunks, _)| !chunks.is_empty()) {
                image.push(*name, chunks, heads);
            }
            !known
        })
    }

    fn carried(&self) -> Result<Vec<CarriedRow>, DiskError> {
        self.read(|image| image.carried.clone())
    }

    fn carried_done(&mut self, id: i64) -> Result<(), DiskError> {
        self.write(|image| image.carried.retain(|row| row.id != id))
    }

    fn carried_refused(&mut self, id: i64, refusal: &Refusal) -> Result<(), DiskError> {
        if self.is(Planted::RefusedParcelIsDropped) {
            return self.carried_done(id);
        }
        self.write(|image| {
            for row in image.carried.iter_mut().filter(|row| row.id == id) {
                row.refused = Some(refusal.clone());
            }
        })
    }
}
