//! Mends a stored document that does not hold: what can be read up to the first damage stays, the rest
//! is set aside in a file, and devices that have it send it again at their next exchange, as after a
//! restore. Numbers of chunks are never used twice, so that no device takes its place for another one.

use std::fs::OpenOptions;
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use backstraight_core::base::moment::Moment;
use backstraight_core::doc::gate::{GateIndex, Verdict};
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;
use data_encoding::BASE64;
use serde_json::json;

use super::check::{self, Report};
use crate::folder::{file_error, sync_folder};
use crate::store::document::{self, Doc, Stored};
use crate::store::snapshot::{self, Snapshot};
use crate::store::{Store, StoreError};

/// What became of a document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Repaired {
    /// It holds.
    Sound,
    /// So many changes stay; what was stored before is in this file.
    Kept {
        /// Changes, the starting one included.
        changes: usize,
        /// Everything that was stored.
        aside: PathBuf,
    },
    /// It moved on meanwhile: nothing was done.
    MovedOn,
}

/// Looks at a document and mends it when it does not hold. Blocks.
///
/// # Errors
/// When storage fails, or what was stored cannot be set aside: then nothing was changed.
pub fn one(store: &Store, id: i64, now: Moment) -> Result<Repaired, StoreError> {
    let found = store.read_blocking(|db| {
        let Some(doc) = document::by_id(db, id)? else { return Ok(None) };
        let mut report = Report::default();
        check::one(db, &doc, &mut report)?;
        if report.trouble.is_empty() {
            return Ok(None);
        }
        let stored = document::stored(db, id)?;
        Ok(Some((doc, stored)))
    })?;
    let Some((doc, stored)) = found else { return Ok(Repaired::Sound) };
    let Left { whole, index, in_order } = longest(&doc, &stored)?;
    let folder = store.path().parent().unwrap_or(Path::new(".")).join("damaged");
    let aside = set_aside(&folder, &doc, &stored, now)?;
    let mended = Snapshot { doc: id, upto_n: doc.max_n + 1, body: whole.save(), delta: index.whole_delta() };
    let (heads, was, changes) = (whole.heads(), doc.max_n, whole.change_count());
    let done = store.write_blocking(move |db| snapshot::mend(db, &mended, was, &heads, in_order, now))?;
    Ok(if done { Repaired::Kept { changes, aside } } else { Repaired::MovedOn })
}

/// What can be read of a document.
struct Left {
    whole: Document,
    index: GateIndex,
    /// Whether its changes stand in the index in the order in which they came.
    in_order: bool,
}

/// The most that can be read without a gap: from the chunks, or from the snapshot and what follows it.
fn longest(doc: &Doc, stored: &Stored) -> Result<Left, StoreError> {
    let kind = doc.name.kind();
    let odd = |e: &dyn std::fmt::Display| StoreError::Damaged(e.to_string());
    let nothing = || GateIndex::new(kind).map_err(|e| odd(&e));
    let start = Document::create(doc.name).map_err(|e| odd(&e))?;
    let mut best = Left { whole: start, index: nothing()?, in_order: true };
    let mut from = Vec::new();
    if stored.chunks.first().is_some_and(|c| c.n == 1) {
        from.push((genesis::bytes(kind).to_vec(), nothing()?, true, 0));
    }
    if let Some(s) = &stored.snapshot
        && let Ok(whole) = Document::open(doc.name, &s.body)
    {
        // Whatever rotted in what was kept beside it follows from the changes, but for their order.
        let told = GateIndex::replay(kind, [s.delta.as_slice()]).ok();
        let same = told.and_then(|told| whole.index_in_order(told.hashes()));
        let in_order = same.is_some();
        if let Some(index) = same.or_else(|| whole.index().ok()) {
            from.push((s.body.clone(), index, in_order, s.upto_n));
        }
    }
    for (mut bytes, mut index, in_order, upto) in from {
        for (part, n) in stored.chunks.iter().filter(|c| c.n > upto).zip(upto + 1..) {
            // The first that is missing or does not fit is the end.
            let Some(Ok(Verdict::Accept(accepted))) =
                (part.n == n).then(|| index.check(&part.body, &|_| true))
            else {
                break;
            };
            if index.admit(&accepted).is_err() {
                break;
            }
            bytes.extend_from_slice(&part.body);
        }
        if let Ok(whole) = Document::open(doc.name, &bytes)
            && whole.heads() == index.heads()
            && whole.change_count() > best.whole.change_count()
        {
            best = Left { whole, index, in_order };
        }
    }
    Ok(best)
}

fn set_aside(folder: &Path, doc: &Doc, stored: &Stored, now: Moment) -> Result<PathBuf, StoreError> {
    let name: String = doc.name.to_string().replace('/', "-");
    let path = folder.join(format!("{name}-{}.json", now.0));
    let chunks: Vec<_> = stored
        .chunks
        .iter()
        .map(|c| json!({ "n": c.n, "body": BASE64.encode(&c.body), "delta": BASE64.encode(&c.delta) }))
        .collect();
    let snapshot = stored.snapshot.as_ref().map(
        |s| json!({ "upto": s.upto_n, "body": BASE64.encode(&s.body), "delta": BASE64.encode(&s.delta) }),
    );
    let text =
        json!({ "document": doc.name.to_string(), "chunks": chunks, "snapshot": snapshot }).to_string();
    let write = || {
        std::fs::create_dir_all(folder)?;
        let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&path)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        sync_folder(folder)
    };
    write().map_err(|e| file_error(&path, e))?;
    Ok(path)
}
