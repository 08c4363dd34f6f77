//! Looks at everything that is stored and says what does not hold. The database's own check sees
//! only its pages; a changed byte inside a change is found by the change's name.

use std::collections::HashSet;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::doc::gate::{self, GateIndex, Verdict};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::{chunk, genesis};
use serde::Serialize;

use crate::store::document::{self, Doc, Stored};
use crate::store::snapshot::Snapshot;
use crate::store::{Db, StoreError, audit, broken, version};

/// What was looked at, and what was found.
#[derive(Debug, Default, Serialize)]
pub struct Report {
    /// Documents loaded.
    pub documents: u64,
    /// Chunks read.
    pub chunks: u64,
    /// Snapshots loaded.
    pub snapshots: u64,
    /// Changes whose names were computed again.
    pub changes: u64,
    /// Lines of the audit list that were followed from the first one.
    pub audit_lines: u64,
    /// The link of the newest of them, to be noted elsewhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub audit_link: Option<String>,
    /// What does not hold, in words.
    pub trouble: Vec<String>,
}

/// Checks a whole database.
///
/// # Errors
/// When it cannot even be read.
pub fn whole(db: &Db) -> Result<Report, StoreError> {
    let version = version(db)?;
    let mut report = documents(db)?;
    // A file of an older version is looked at as it is.
    if version >= audit::SINCE {
        let list = audit::follow(db)?;
        (report.audit_lines, report.audit_link) = (list.lines, list.newest());
        report.trouble.extend(list.trouble);
    }
    let pages = broken(db)?.into_iter().map(|line| format!("database: {line}"));
    report.trouble.splice(0..0, pages);
    Ok(report)
}

/// Checks every document, but not the database's own pages.
///
/// # Errors
/// When it cannot even be read.
pub fn documents(db: &Db) -> Result<Report, StoreError> {
    let mut report = Report::default();
    for doc in document::all(db)? {
        one(db, &doc, &mut report)?;
    }
    Ok(report)
}

/// Checks one document.
///
/// # Errors
/// When it cannot even be read.
pub fn one(db: &Db, doc: &Doc, report: &mut Report) -> Result<(), StoreError> {
    report.documents += 1;
    let stored = document::stored(db, doc.id)?;
    report.chunks += stored.chunks.len() as u64;
    report.snapshots += u64::from(stored.snapshot.is_some());
    let found = look(doc, &stored, &mut report.changes);
    report
        .trouble
        .extend(found.into_iter().map(|text| format!("document {} ({}): {text}", doc.id, doc.name)));
    Ok(())
}

/// Everything that must hold of one document.
fn look(doc: &Doc, stored: &Stored, changes: &mut u64) -> Vec<String> {
    let mut trouble = Vec::new();
    let kind = doc.name.kind();
    let upto = stored.snapshot.as_ref().map_or(0, |s| s.upto_n);
    let first = stored.chunks.first().map_or(upto + 1, |c| c.n);
    if first > upto + 1 {
        trouble.push(format!("chunks {} to {} are missing", upto + 1, first - 1));
    }
    let last = stored.chunks.last().map_or(upto, |c| c.n).max(upto);
    if last != doc.max_n || stored.chunks.iter().zip(first..).any(|(c, n)| c.n != n) {
        trouble.push(format!("chunks do not run to {} without a gap", doc.max_n));
    }
    // With all chunks still there everything is followed from the start; else from the snapshot.
    let from_start = first == 1;
    let index = match &stored.snapshot {
        Some(s) if !from_start => GateIndex::replay(kind, [s.delta.as_slice()]),
        _ => GateIndex::new(kind),
    };
    let mut index = match index {
        Ok(index) => index,
        Err(error) => {
            trouble.push(format!("index of the snapshot: {error}"));
            return trouble;
        }
    };
    for part in &stored.chunks {
        match names(&part.body) {
            Err(error) => trouble.push(format!("chunk {}: {error}", part.n)),
            Ok(names) => {
                *changes += names.len() as u64;
                if from_start || part.n > upto {
                    if let Err(text) = follow(&mut index, &part.body, &part.delta) {
                        trouble.push(format!("chunk {}: {text}", part.n));
                    }
                } else if !names.iter().all(|n| index.knows(n)) {
                    trouble.push(format!("chunk {} holds changes that the snapshot lacks", part.n));
                }
            }
        }
        if let Some(snapshot) = stored.snapshot.as_ref().filter(|s| from_start && s.upto_n == part.n)
            && index.whole_delta() != snapshot.delta
        {
            trouble.push("the index of the snapshot is another one than that of the chunks".to_owned());
        }
    }
    if let Some(snapshot) = &stored.snapshot {
        let found = in_snapshot(doc, snapshot, changes);
        trouble.extend(found.err());
    }
    if index.heads() != doc.heads {
        trouble.push("the heads noted are others than those of the changes".to_owned());
    }
    match Document::open(doc.name, &stored.whole(genesis::bytes(kind))) {
        Err(error) => trouble.push(format!("loading: {error}")),
        Ok(whole) if whole.heads() != doc.heads => {
            trouble.push("the loaded document has other heads than noted".to_owned());
        }
        Ok(_) => {}
    }
    trouble
}

/// A snapshot and its index must hold the same changes.
fn in_snapshot(doc: &Doc, snapshot: &Snapshot, changes: &mut u64) -> Result<(), String> {
    let index = GateIndex::replay(doc.name.kind(), [snapshot.delta.as_slice()])
        .map_err(|e| format!("index of the snapshot: {e}"))?;
    let whole = Document::open(doc.name, &snapshot.body).map_err(|e| format!("snapshot: {e}"))?;
    *changes += whole.change_count() as u64;
    // Every byte of it, not only its names: with a wrong one honest changes are refused.
    let again = whole.index_in_order(index.hashes());
    if again.is_some_and(|again| again.whole_delta() == snapshot.delta) {
        Ok(())
    } else {
        Err("the index of the snapshot is another one than the snapshot's".to_owned())
    }
}

fn names(body: &[u8]) -> Result<HashSet<ChangeHash>, gate::Rejected> {
    chunk::split_up_to(body, usize::MAX)?.into_iter().map(chunk::name).collect()
}

/// Lets a stored chunk through the gate again and compares what it adds to the index.
fn follow(index: &mut GateIndex, body: &[u8], delta: &[u8]) -> Result<(), String> {
    match index.check(body, &|_| true).map_err(|e| e.to_string())? {
        Verdict::Need { .. } => Err("ancestors are missing".to_owned()),
        Verdict::Accept(accepted) => {
            let same = gate::delta_bytes(&accepted) == delta;
            index.admit(&accepted).map_err(|e| e.to_string())?;
            if same { Ok(()) } else { Err("its part of the index is another one than computed".to_owned()) }
        }
    }
}
