//! Compact forms of documents, each standing for all chunks up to a number.

use super::sql::{Db, OptionalExtension};
use backstraight_core::base::id::ChangeHash;
use backstraight_core::base::moment::Moment;
use backstraight_core::model::name::DocName;

use super::fault::StoreError;
use super::{document, heard, job, value};

/// A verified compact form.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// Whose.
    pub doc: i64,
    /// The newest chunk that it holds.
    pub upto_n: u64,
    /// The saved document.
    pub body: Vec<u8>,
    /// The index of all that it holds.
    pub delta: Vec<u8>,
}

/// Documents with at least `least` chunks after their snapshot that are not to be left alone.
///
/// # Errors
/// When storage fails.
pub fn due(db: &Db, least: u64, most: u32) -> Result<Vec<i64>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT d.id FROM doc d LEFT JOIN snapshot s ON s.doc = d.id
         WHERE d.max_n - coalesce(s.upto_n, 0) >= ?1
           AND NOT EXISTS (SELECT 1 FROM quarantine q WHERE q.doc = d.id) ORDER BY d.max_n - coalesce(s.upto_n, 0) DESC LIMIT ?2",
    )?;
    let rows = ask.query_map((value::stored(least), most), |r| r.get(0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Up to which chunk the snapshot of a document reaches; 0 when there is none.
///
/// # Errors
/// When storage fails.
pub fn upto(db: &Db, doc: i64) -> Result<u64, StoreError> {
    Ok(db
        .prepare_cached("SELECT upto_n FROM snapshot WHERE doc = ?1")?
        .query_row([doc], |r| value::count(r, 0))
        .optional()?
        .unwrap_or(0))
}

/// Puts a snapshot that was loaded again and compared in the place of the one before, in one
/// transaction with dropping the chunks that the snapshot **before** held: those of the newest
/// compaction stay until the next one, so each change is kept in two forms for a while.
///
/// # Errors
/// When storage fails.
pub fn swap(db: &Db, new: &Snapshot, now: Moment) -> Result<bool, StoreError> {
    // Another process may be compacting the same document.
    let mut hold = db.prepare_cached("SELECT id FROM doc WHERE id = ?1 /*pg FOR NO KEY UPDATE */")?;
    if !hold.exists([new.doc])? {
        return Ok(false);
    }
    let before = upto(db, new.doc)?;
    if before >= new.upto_n {
        return Ok(false);
    }
    db.execute(
        "INSERT INTO snapshot (doc, upto_n, body, delta, at) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (doc) DO UPDATE SET upto_n = ?2, body = ?3, delta = ?4, at = ?5",
        (new.doc, value::stored(new.upto_n), &new.body, &new.delta, now.0),
    )?;
    db.execute("DELETE FROM chunk WHERE doc = ?1 AND n <= ?2", (new.doc, value::stored(before)))?;
    Ok(true)
}

/// Puts what could be read of a damaged document in the place of all that was stored, when it still is
/// at chunk `was`; whether it was. `in_order` when its changes stand in the order in which they were admitted:
/// cursors count on it.
///
/// # Errors
/// When storage fails.
pub fn mend(
    db: &Db,
    new: &Snapshot,
    was: u64,
    heads: &[ChangeHash],
    in_order: bool,
    now: Moment,
) -> Result<bool, StoreError> {
    let Some(doc) = document::by_id(db, new.doc)?.filter(|d| d.max_n == was) else { return Ok(false) };
    let lost = doc.heads != heads;
    let heads: Vec<u8> = heads.iter().flat_map(|h| h.0).collect();
    db.execute("DELETE FROM chunk WHERE doc = ?1", [new.doc])?;
    db.execute(
        "INSERT INTO snapshot (doc, upto_n, body, delta, at) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (doc) DO UPDATE SET upto_n = ?2, body = ?3, delta = ?4, at = ?5",
        (new.doc, value::stored(new.upto_n), &new.body, &new.delta, now.0),
    )?;
    db.execute(
        "UPDATE doc SET max_n = ?2, heads = ?3 WHERE id = ?1",
        (new.doc, value::stored(new.upto_n), heads),
    )?;
    db.execute("DELETE FROM quarantine WHERE doc = ?1", [new.doc])?;
    let club = db.query_row("SELECT club FROM doc WHERE id = ?1", [new.doc], |r| value::club(r, 0))?;
    if let DocName::Log(athlete, month) = doc.name
        && lost
    {
        heard::lost(db, club, (athlete, month))?;
    }
    if lost || !in_order {
        // As after a restore: devices offer again what this store lost, and are heard when they have.
        value::begin_epoch(db)?;
    }
    job::mark(db, doc.name.owner().into_bytes(), club, now)?;
    job::hurry(db, club)?;
    Ok(true)
}
