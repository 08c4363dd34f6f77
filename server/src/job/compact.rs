//! Compaction: load, save, load again, compare, and only then swap in one transaction. The chunks of
//! a snapshot stay until the next one has been verified.

use std::time::Duration;

use backstraight_core::base::moment::Moment;
use backstraight_core::doc::gate::GateIndex;
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;

use crate::app::Shared;
use crate::exchange::index;
use crate::store::document::{self, Doc};
use crate::store::snapshot::{self, Snapshot};
use crate::store::{Store, StoreError};

/// How long the background waits between two looks.
const PAUSE: Duration = Duration::from_secs(20);
/// Documents of one look.
const AT_ONCE: u32 = 16;

/// What one compaction did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Compacted {
    /// The snapshot is in place; bytes of the saved form.
    Done(usize),
    /// There was nothing after the snapshot.
    Nothing,
    /// The document did not come back the same, or cannot be read: everything stays as it was.
    Refused,
}

/// Compacts one document. Blocks.
///
/// # Errors
/// When storage fails.
pub fn one(store: &Store, id: i64, now: Moment) -> Result<Compacted, StoreError> {
    let made = store.read_blocking(|db| {
        let Some(doc) = document::by_id(db, id)? else { return Ok(None) };
        if snapshot::upto(db, id)? >= doc.max_n {
            return Ok(None);
        }
        let bytes = document::whole(db, id, genesis::bytes(doc.name.kind()))?;
        let (index, sound) = index::build(db, &doc)?;
        Ok(Some(make(&doc, &bytes, &index).filter(|_| sound)))
    });
    let made = match made {
        Err(StoreError::Damaged(text)) => {
            tracing::error!(doc = id, text, "a document cannot be compacted");
            return Ok(Compacted::Refused);
        }
        made => made?,
    };
    let Some(snapshot) = made else { return Ok(Compacted::Nothing) };
    let Some(snapshot) = snapshot else {
        tracing::error!(doc = id, "a compacted document did not come back the same");
        return Ok(Compacted::Refused);
    };
    let size = snapshot.body.len();
    let swapped = store.write_beside_blocking(move |db| snapshot::swap(db, &snapshot, now))?;
    Ok(if swapped { Compacted::Done(size) } else { Compacted::Nothing })
}

/// The snapshot of a document, when it gives back exactly what went in.
fn make(doc: &Doc, bytes: &[u8], index: &GateIndex) -> Option<Snapshot> {
    let whole = Document::open(doc.name, bytes).ok()?;
    let body = whole.save();
    let again = Document::open(doc.name, &body).ok()?;
    let delta = index.whole_delta();
    let replayed = GateIndex::replay(doc.name.kind(), [delta.as_slice()]).ok()?;
    let same = whole.heads() == doc.heads
        && again.heads() == doc.heads
        && replayed.heads() == doc.heads
        && again.change_count() == whole.change_count()
        && replayed.len() == whole.change_count()
        && replayed.hashes().all(|name| again.holds(&name));
    same.then_some(Snapshot { doc: doc.id, upto_n: doc.max_n, body, delta })
}

/// Compacts what is due, now and then, until it is dropped.
pub async fn in_the_background(app: Shared) {
    let least = u64::from(app.config.compact_after);
    loop {
        tokio::time::sleep(PAUSE).await;
        if app.store.stopped() {
            return;
        }
        let due = app.store.read(move |db| snapshot::due(db, least, AT_ONCE)).await.unwrap_or_default();
        for id in due {
            let (store, now) = (std::sync::Arc::clone(&app.store), app.clock.now());
            let Ok(_permit) = app.work.acquire().await else { return };
            match tokio::task::spawn_blocking(move || one(&store, id, now)).await {
                Ok(Ok(Compacted::Done(size))) => tracing::info!(doc = id, size, "compacted"),
                Ok(Ok(_)) => {}
                Ok(Err(error)) => tracing::warn!(doc = id, %error, "not compacted"),
                Err(_) => tracing::error!(doc = id, "compaction panicked"),
            }
        }
    }
}
