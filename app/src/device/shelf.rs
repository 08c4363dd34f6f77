//! The shelf of the page: everything in memory, every change also a write that waits for the browser's
//! storage. Whoever holds the device takes the writes, stores them in one transaction, and only then
//! says "saved"; when the browser refuses, they come back and go with the next.

use std::collections::BTreeMap;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::device::error::DeviceError;
use backstraight_core::device::rescue;
use backstraight_core::device::shelf::{CarriedRow, DocRow, Fresh, RefusedRow, Shelf};
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::carry::Parcel;
use backstraight_core::exchange::wire::{Known, People, Refusal};
use backstraight_core::model::name::DocName;
use minicbor::{Decode, Encode};

use super::kept::{EPOCH, PEOPLE, Slot, Write};
use crate::error::AppError;

/// One document.
#[derive(Debug, Clone)]
struct Held {
    row: DocRow,
    saved: Option<Vec<u8>>,
    chunks: BTreeMap<u32, Vec<u8>>,
}

/// The shelf.
#[derive(Debug, Default)]
pub struct MemoryShelf {
    docs: BTreeMap<DocName, Held>,
    refused: BTreeMap<DocName, Refusal>,
    carried: BTreeMap<u32, CarriedRow>,
    epoch: Option<[u8; 16]>,
    people: Option<People>,
    aside: u32,
    waiting: Vec<Write>,
}

/// A row as it is kept.
#[derive(Encode, Decode)]
#[cbor(map)]
struct KeptRow {
    #[n(0)]
    cursor: u64,
    #[n(1)]
    #[cbor(with = "minicbor::bytes")]
    heads: Vec<u8>,
    #[n(2)]
    #[cbor(with = "minicbor::bytes")]
    server_heads: Vec<u8>,
    #[n(3)]
    agreed: bool,
    #[n(4)]
    tell_heads: bool,
    #[n(5)]
    withdrawn: bool,
}

#[derive(Encode, Decode)]
#[cbor(map)]
struct KeptRefusal {
    #[n(0)]
    code: String,
    #[n(1)]
    text: String,
}

#[derive(Encode, Decode)]
#[cbor(map)]
struct KeptParcel {
    #[n(0)]
    parcel: Parcel,
    #[n(1)]
    refused: Option<KeptRefusal>,
}

fn join(heads: &[ChangeHash]) -> Vec<u8> {
    heads.iter().flat_map(|h| h.0).collect()
}

fn split(bytes: &[u8]) -> Vec<ChangeHash> {
    bytes.chunks_exact(32).filter_map(|c| c.try_into().ok().map(ChangeHash)).collect()
}

/// Writing into memory cannot fail.
fn pack<T: Encode<()>>(value: &T) -> Vec<u8> {
    minicbor::to_vec(value).unwrap_or_default()
}

fn blank(name: DocName) -> DocRow {
    DocRow {
        name,
        cursor: 0,
        heads: Vec::new(),
        server_heads: Vec::new(),
        agreed: false,
        tell_heads: false,
        withdrawn: false,
    }
}

impl MemoryShelf {
    /// The shelf from everything that the storage holds. What cannot be read is set aside as it is,
    /// never thrown away.
    #[must_use]
    pub fn of(entries: Vec<(String, Vec<u8>)>) -> MemoryShelf {
        let mut shelf = MemoryShelf::default();
        let mut odd = Vec::new();
        for (key, value) in entries {
            let Some(slot) = Slot::of(&key) else { continue };
            if !shelf.place(&slot, &value) {
                odd.push((key, value));
            }
        }
        for (key, value) in odd {
            shelf.put_aside(value);
            shelf.waiting.push(Write::remove(key));
        }
        // Bytes whose row was lost: what the server has of them is not known.
        for held in shelf.docs.values_mut().filter(|h| h.row.heads.is_empty()) {
            held.row.tell_heads = true;
        }
        shelf
    }

    fn place(&mut self, slot: &Slot, value: &[u8]) -> bool {
        match slot {
            Slot::Row(name) => {
                let Ok(kept) = minicbor::decode::<KeptRow>(value) else { return false };
                self.held(*name).row = DocRow {
                    name: *name,
                    cursor: kept.cursor,
                    heads: split(&kept.heads),
                    server_heads: split(&kept.server_heads),
                    agreed: kept.agreed,
                    tell_heads: kept.tell_heads,
                    withdrawn: kept.withdrawn,
                };
            }
            Slot::Saved(name) => self.held(*name).saved = Some(value.to_vec()),
            Slot::Chunk(name, n) => {
                self.held(*name).chunks.insert(*n, value.to_vec());
            }
            Slot::Refused(name) => {
                let Ok(kept) = minicbor::decode::<KeptRefusal>(value) else { return false };
                self.refused.insert(*name, Refusal { code: kept.code, change: None, text: kept.text });
            }
            Slot::Parcel(n) => {
                let Ok(kept) = minicbor::decode::<KeptParcel>(value) else { return false };
                let refused = kept.refused.map(|r| Refusal { code: r.code, change: None, text: r.text });
                let row = CarriedRow { id: i64::from(*n), parcel: kept.parcel, refused };
                self.carried.insert(*n, row);
            }
            Slot::Aside(n) => self.aside = self.aside.max(n.saturating_add(1)),
            Slot::Fact(what) if what == EPOCH => {
                let Ok(epoch) = value.try_into() else { return false };
                self.epoch = Some(epoch);
            }
            Slot::Fact(what) if what == PEOPLE => {
                // A list that cannot be read is asked for anew.
                self.people = minicbor::decode(value).ok();
            }
            Slot::Fact(_) => {}
        }
        true
    }

    fn held(&mut self, name: DocName) -> &mut Held {
        self.docs.entry(name).or_insert_with(|| Held {
            row: blank(name),
            saved: None,
            chunks: BTreeMap::new(),
        })
    }

    fn put_aside(&mut self, value: Vec<u8>) {
        self.waiting.push(Write::put(Slot::Aside(self.aside).key(), value));
        self.aside = self.aside.saturating_add(1);
    }

    /// How many pieces were put aside: what could not be read, and what was set aside after a refusal.
    #[must_use]
    pub const fn put_by(&self) -> u32 {
        self.aside
    }

    /// The writes that wait for the storage, in order. They count as under way until they come back.
    pub fn take_writes(&mut self) -> Vec<Write> {
        core::mem::take(&mut self.waiting)
    }

    /// Writes that the storage refused: they go again, before everything that came since.
    pub fn give_back(&mut self, mut refused: Vec<Write>) {
        refused.append(&mut self.waiting);
        self.waiting = refused;
    }

    /// Whether something waits for the storage.
    #[must_use]
    pub fn has_writes(&self) -> bool {
        !self.waiting.is_empty()
    }

    fn write_row(&mut self, name: &DocName) {
        let Some(held) = self.docs.get(name) else { return };
        let kept = KeptRow {
            cursor: held.row.cursor,
            heads: join(&held.row.heads),
            server_heads: join(&held.row.server_heads),
            agreed: held.row.agreed,
            tell_heads: held.row.tell_heads,
            withdrawn: held.row.withdrawn,
        };
        self.waiting.push(Write::put(Slot::Row(*name).key(), pack(&kept)));
    }

    fn push_chunk(&mut self, name: &DocName, chunk: &[u8]) {
        let chunks = &mut self.held(*name).chunks;
        let n = chunks.last_key_value().map_or(1, |(n, _)| n.saturating_add(1));
        chunks.insert(n, chunk.to_vec());
        self.waiting.push(Write::put(Slot::Chunk(*name, n).key(), chunk.to_vec()));
    }

    fn drop_chunks(&mut self, name: &DocName) {
        let chunks = self.docs.get_mut(name).map(|held| core::mem::take(&mut held.chunks));
        for n in chunks.unwrap_or_default().into_keys() {
            self.waiting.push(Write::remove(Slot::Chunk(*name, n).key()));
        }
    }

    /// Goes on with `saved` and that row; the bytes as they were are put aside.
    fn replace(&mut self, row: &DocRow, saved: &[u8]) -> Result<(), AppError> {
        let held = self.held(row.name);
        let old: Vec<Vec<u8>> = held.saved.take().into_iter().chain(held.chunks.values().cloned()).collect();
        held.row = row.clone();
        old.into_iter().for_each(|piece| self.put_aside(piece));
        self.write_row(&row.name);
        self.compact(&row.name, saved)
    }

    fn write_parcel(&mut self, n: u32) {
        let Some(row) = self.carried.get(&n) else { return };
        let refused = row.refused.as_ref();
        let kept = KeptParcel {
            parcel: row.parcel.clone(),
            refused: refused.map(|r| KeptRefusal { code: r.code.clone(), text: r.text.clone() }),
        };
        self.waiting.push(Write::put(Slot::Parcel(n).key(), pack(&kept)));
    }
}

impl Shelf for MemoryShelf {
    type Error = AppError;

    fn docs(&self) -> Result<Vec<DocRow>, AppError> {
        Ok(self.docs.values().map(|h| h.row.clone()).collect())
    }

    fn doc(&self, name: &DocName) -> Result<Option<DocRow>, AppError> {
        Ok(self.docs.get(name).map(|h| h.row.clone()))
    }

    fn bytes(&self, name: &DocName) -> Result<Option<Vec<u8>>, AppError> {
        let Some(held) = self.docs.get(name) else { return Ok(None) };
        let start = held.saved.as_deref().unwrap_or_else(|| genesis::bytes(name.kind()));
        let mut bytes = start.to_vec();
        for chunk in held.chunks.values() {
            bytes.extend_from_slice(chunk);
        }
        Ok(Some(bytes))
    }

    fn append(&mut self, name: &DocName, chunk: &[u8], heads: &[ChangeHash]) -> Result<(), AppError> {
        self.held(*name).row.heads = heads.to_vec();
        self.write_row(name);
        self.push_chunk(name, chunk);
        Ok(())
    }

    fn take(&mut self, row: &DocRow, chunks: &[u8]) -> Result<(), AppError> {
        self.held(row.name).row = row.clone();
        self.write_row(&row.name);
        if !chunks.is_empty() {
            self.push_chunk(&row.name, chunks);
        }
        if self.refused.remove(&row.name).is_some() {
            self.waiting.push(Write::remove(Slot::Refused(row.name).key()));
        }
        Ok(())
    }

    fn withdraw(&mut self, name: &DocName) -> Result<bool, AppError> {
        let Some(held) = self.docs.get_mut(name).filter(|h| !h.row.withdrawn) else { return Ok(false) };
        held.row.withdrawn = true;
        self.write_row(name);
        Ok(true)
    }

    fn erase(&mut self, name: &DocName) -> Result<bool, AppError> {
        self.drop_chunks(name);
        let there = self.docs.remove(name).is_some();
        self.refused.remove(name);
        for slot in [Slot::Row(*name), Slot::Saved(*name), Slot::Refused(*name)] {
            self.waiting.push(Write::remove(slot.key()));
        }
        Ok(there)
    }

    /// A browser keeps no log of its own that a page could empty.
    fn forget(&mut self) -> Result<(), AppError> {
        Ok(())
    }

    fn compact(&mut self, name: &DocName, saved: &[u8]) -> Result<(), AppError> {
        self.drop_chunks(name);
        self.held(*name).saved = Some(saved.to_vec());
        self.waiting.push(Write::put(Slot::Saved(*name).key(), saved.to_vec()));
        Ok(())
    }

    fn rescue(&mut self, name: &DocName) -> Result<Document, AppError> {
        let held = self.held(*name);
        let chunks: Vec<Vec<u8>> = held.chunks.values().cloned().collect();
        let doc = rescue::longest(*name, held.saved.as_deref().unwrap_or_default(), &chunks)
            .ok_or_else(|| DeviceError::Answer(format!("{name} cannot be rescued")))?;
        self.replace(&rescue::unsure(&doc), &doc.save())?;
        Ok(doc)
    }

    fn set_aside(&mut self, row: &DocRow, saved: &[u8]) -> Result<(), AppError> {
        self.replace(row, saved)?;
        if self.refused.remove(&row.name).is_some() {
            self.waiting.push(Write::remove(Slot::Refused(row.name).key()));
        }
        Ok(())
    }

    fn chunk_count(&self, name: &DocName) -> Result<u64, AppError> {
        Ok(self.docs.get(name).map_or(0, |h| h.chunks.len() as u64))
    }

    fn looser_than(&self, bytes: i64) -> Result<Vec<DocName>, AppError> {
        let limit = usize::try_from(bytes).unwrap_or(0);
        let loose = |h: &&Held| h.chunks.values().map(Vec::len).sum::<usize>() > limit;
        Ok(self.docs.values().filter(loose).map(|h| h.row.name).collect())
    }

    fn note_refusal(&mut self, name: &DocName, refusal: &Refusal) -> Result<(), AppError> {
        self.refused.insert(*name, refusal.clone());
        let kept = KeptRefusal { code: refusal.code.clone(), text: refusal.text.clone() };
        self.waiting.push(Write::put(Slot::Refused(*name).key(), pack(&kept)));
        Ok(())
    }

    fn refusals(&self) -> Result<Vec<RefusedRow>, AppError> {
        let rows = self.refused.iter();
        Ok(rows.map(|(name, refusal)| RefusedRow { name: *name, refusal: refusal.clone() }).collect())
    }

    fn epoch(&self) -> Result<Option<[u8; 16]>, AppError> {
        Ok(self.epoch)
    }

    fn new_epoch(&mut self, epoch: [u8; 16]) -> Result<(), AppError> {
        let names: Vec<DocName> = self.docs.keys().copied().collect();
        for name in names {
            let row = &mut self.held(name).row;
            (row.cursor, row.agreed, row.tell_heads) = (0, false, true);
            row.server_heads.clear();
            self.write_row(&name);
        }
        self.epoch = Some(epoch);
        self.waiting.push(Write::put(Slot::Fact(EPOCH.to_owned()).key(), epoch.to_vec()));
        Ok(())
    }

    fn people(&self) -> Result<(u64, Vec<Known>), AppError> {
        Ok(self.people.as_ref().map_or((0, Vec::new()), |p| (p.version, p.list.clone())))
    }

    fn set_people(&mut self, version: u64, list: Vec<Known>) -> Result<(), AppError> {
        let people = People { version, list };
        self.waiting.push(Write::put(Slot::Fact(PEOPLE.to_owned()).key(), pack(&people)));
        self.people = Some(people);
        Ok(())
    }

    fn keep_carried(&mut self, name: &DocName, parcel: &Parcel, fresh: Fresh<'_>) -> Result<bool, AppError> {
        let known = self.carried.values().any(|row| row.parcel == *parcel);
        if !known {
            let n = self.carried.last_key_value().map_or(1, |(n, _)| n.saturating_add(1));
            let row = CarriedRow { id: i64::from(n), parcel: parcel.clone(), refused: None };
            self.carried.insert(n, row);
            self.write_parcel(n);
        }
        if let Some((chunks, heads)) = fresh.filter(|(chunks, _)| !chunks.is_empty()) {
            self.append(name, chunks, heads)?;
        }
        Ok(!known)
    }

    fn carried(&self) -> Result<Vec<CarriedRow>, AppError> {
        Ok(self.carried.values().cloned().collect())
    }

    fn carried_done(&mut self, id: i64) -> Result<(), AppError> {
        if let Some((n, _)) = u32::try_from(id).ok().and_then(|n| self.carried.remove_entry(&n)) {
            self.waiting.push(Write::remove(Slot::Parcel(n).key()));
        }
        Ok(())
    }

    fn carried_refused(&mut self, id: i64, refusal: &Refusal) -> Result<(), AppError> {
        let Ok(n) = u32::try_from(id) else { return Ok(()) };
        if let Some(row) = self.carried.get_mut(&n) {
            row.refused = Some(refusal.clone());
            self.write_parcel(n);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
