//! Indexes of documents that were used lately, so that the next upload is checked without reading
//! the deltas again. Only a cache: every use compares it with the database.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use backstraight_core::doc::gate::{GateIndex, Rejected};
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;
use backstraight_core::model::name::DocName;

use crate::store::document::{self, Doc};
use crate::store::{Db, StoreError};

/// Most changes in all cached indexes together: 250 to 400 bytes each, and a month that is not here is read from
/// its deltas in less than a millisecond.
const MOST_CHANGES: usize = 50_000;

#[derive(Debug)]
struct Kept {
    /// Rows of erased documents are used again for others.
    name: DocName,
    max_n: u64,
    index: GateIndex,
    used: u64,
}

#[derive(Debug, Default)]
struct Shelf {
    by_doc: HashMap<i64, Kept>,
    changes: usize,
    tick: u64,
}

/// The cache.
#[derive(Debug, Default)]
pub struct Indexes {
    shelf: Mutex<Shelf>,
}

impl Indexes {
    /// Takes the index of a document out of the cache, or builds it. Whoever takes it puts it back
    /// as it then is; whoever fails simply does not.
    ///
    /// # Errors
    /// When storage fails or the stored changes themselves are damaged.
    pub fn take(&self, db: &Db, doc: &Doc) -> Result<GateIndex, StoreError> {
        if let Some(kept) = self.shelf().remove(doc.id)
            && kept.name == doc.name
            && kept.max_n == doc.max_n
        {
            return Ok(kept.index);
        }
        build(db, doc).map(|(index, _)| index)
    }

    /// Puts an index back that holds all changes of the document as it is.
    pub fn put(&self, doc: &Doc, index: GateIndex) {
        let mut shelf = self.shelf();
        shelf.remove(doc.id);
        shelf.tick += 1;
        let used = shelf.tick;
        shelf.changes += index.len();
        shelf.by_doc.insert(doc.id, Kept { name: doc.name, max_n: doc.max_n, index, used });
        while shelf.changes > MOST_CHANGES
            && let Some(oldest) = shelf.by_doc.iter().min_by_key(|(_, k)| k.used).map(|(id, _)| *id)
        {
            shelf.remove(oldest);
        }
    }

    fn shelf(&self) -> std::sync::MutexGuard<'_, Shelf> {
        self.shelf.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Shelf {
    fn remove(&mut self, doc: i64) -> Option<Kept> {
        let kept = self.by_doc.remove(&doc)?;
        self.changes = self.changes.saturating_sub(kept.index.len());
        Some(kept)
    }
}

/// Builds the index from the stored deltas; from the changes themselves when the deltas are damaged
/// (then the answer's second part is false).
///
/// # Errors
/// When storage fails or the stored changes are damaged too.
pub fn build(db: &Db, doc: &Doc) -> Result<(GateIndex, bool), StoreError> {
    let kind = doc.name.kind();
    let deltas = document::deltas(db, doc.id, 0)?;
    match GateIndex::replay(kind, deltas.iter().map(Vec::as_slice)) {
        Ok(index) if index.heads() == doc.heads => return Ok((index, true)),
        Ok(_) => tracing::error!(doc = doc.id, "the stored index has other heads than the document"),
        Err(error) => tracing::error!(doc = doc.id, %error, "the stored index is damaged"),
    }
    from_document(db, doc).map(|index| (index, false))
}

/// Builds the index from the loaded document, without looking at the deltas.
///
/// # Errors
/// When storage fails or the stored changes are damaged.
pub fn from_document(db: &Db, doc: &Doc) -> Result<GateIndex, StoreError> {
    let damaged = |e: &dyn std::fmt::Display| StoreError::Damaged(format!("document {}: {e}", doc.id));
    let whole = open(db, doc)?;
    GateIndex::from_changes(doc.name.kind(), &whole.changes_since(&[])).map_err(|e: Rejected| damaged(&e))
}

/// The index as it follows from the changes, where the stored one does not follow from them: in the order in which they
/// were admitted, as far as that can be read.
///
/// # Errors
/// When storage fails or the stored changes are damaged.
pub fn anew(db: &Db, doc: &Doc) -> Result<Option<GateIndex>, StoreError> {
    let deltas = document::deltas(db, doc.id, 0)?;
    let told = GateIndex::replay(doc.name.kind(), deltas.iter().map(Vec::as_slice)).ok();
    let whole = open(db, doc)?;
    let same = told.as_ref().and_then(|told| whole.index_in_order(told.hashes()));
    if let (Some(told), Some(same)) = (&told, &same)
        && told.whole_delta() == same.whole_delta()
    {
        return Ok(None);
    }
    tracing::error!(doc = doc.id, "the stored index is not that of the stored changes");
    match same {
        Some(same) => Ok(Some(same)),
        None => from_document(db, doc).map(Some),
    }
}

/// Loads a stored document.
///
/// # Errors
/// When storage fails or the stored changes are damaged.
pub fn open(db: &Db, doc: &Doc) -> Result<Document, StoreError> {
    let bytes = document::whole(db, doc.id, genesis::bytes(doc.name.kind()))?;
    Document::open(doc.name, &bytes).map_err(|e| StoreError::Damaged(format!("document {}: {e}", doc.id)))
}
