//! Compaction: load, save, load again, compare, and only then swap in one transaction. The chunks of
//! a snapshot stay until the next one has been verified.

use std::path::Path;
use std::time::Duration;

use backstraight_core::base::moment::Moment;
use backstraight_core::doc::genesis;

use crate::app::Shared;
use crate::exchange::index;
use crate::job::apart::{ApartError, Ask};
use crate::store::document;
use crate::store::snapshot::{self, Snapshot};
use crate::store::{Store, StoreError, quarantine};

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

/// Compacts one document, by `program` in a process of its own or else in this one. Blocks.
///
/// # Errors
/// When storage fails.
pub fn one(store: &Store, program: Option<&Path>, id: i64, now: Moment) -> Result<Compacted, StoreError> {
    let asked = store.read_blocking(|db| {
        let Some(doc) = document::by_id(db, id)? else { return Ok(None) };
        if snapshot::upto(db, id)? >= doc.max_n {
            return Ok(None);
        }
        let bytes = document::whole(db, id, genesis::bytes(doc.name.kind()))?;
        let (index, sound) = index::build(db, &doc)?;
        Ok(Some((doc, index.whole_delta(), sound, bytes)))
    });
    let asked = match asked {
        Err(StoreError::Damaged(text)) => return refused(store, id, text, now),
        asked => asked?,
    };
    let Some((doc, delta, sound, bytes)) = asked else { return Ok(Compacted::Nothing) };
    if !sound {
        return refused(store, id, "its index does not fit to it".to_owned(), now);
    }
    let ask = Ask::new(&doc.name, &doc.heads, delta.clone(), bytes);
    let body = match program {
        Some(program) => ask.apart(program),
        None => ask.here(),
    };
    let body = match body {
        Ok(body) => body,
        Err(ApartError::NoProcess(text)) => {
            tracing::warn!(doc = id, text, "compaction could not be started");
            return Ok(Compacted::Nothing);
        }
        Err(error) => return refused(store, id, error.to_string(), now),
    };
    let size = body.len();
    let snapshot = Snapshot { doc: doc.id, upto_n: doc.max_n, body, delta };
    let swapped = store.write_beside_blocking(move |db| {
        quarantine::release(db, id, "compact")?;
        snapshot::swap(db, &snapshot, now)
    })?;
    Ok(if swapped { Compacted::Done(size) } else { Compacted::Nothing })
}

/// Leaves a document alone from now on, and says why.
fn refused(store: &Store, id: i64, why: String, now: Moment) -> Result<Compacted, StoreError> {
    tracing::error!(doc = id, why, "a document cannot be compacted: it is left alone and served as it is");
    store.write_blocking(move |db| quarantine::put(db, id, "compact", &why, now))?;
    Ok(Compacted::Refused)
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
            let program = app.config.program.clone();
            let done = tokio::task::spawn_blocking(move || one(&store, program.as_deref(), id, now)).await;
            let outcome = match done {
                Ok(Ok(Compacted::Done(size))) => {
                    tracing::info!(doc = id, size, "compacted");
                    "done"
                }
                Ok(Ok(Compacted::Nothing)) => "nothing",
                Ok(Ok(Compacted::Refused)) => "refused",
                Ok(Err(error)) => {
                    tracing::warn!(doc = id, %error, "not compacted");
                    "failed"
                }
                Err(_) => {
                    tracing::error!(doc = id, "compaction panicked");
                    let why = "compaction panicked";
                    let put = app.store.write(move |db| quarantine::put(db, id, "compact", why, now)).await;
                    if let Err(error) = put {
                        tracing::warn!(doc = id, %error, "what was found could not be noted");
                    }
                    "refused"
                }
            };
            app.figures.compacted(outcome);
        }
    }
}
