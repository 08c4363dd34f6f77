//! Documents that the background leaves alone, and why. They are served as far as they can be.

use super::sql::Db;
use backstraight_core::base::moment::Moment;

use super::fault::StoreError;

/// One of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Row of the document.
    pub doc: i64,
    /// What was tried.
    pub work: String,
    /// Why it is left alone.
    pub why: String,
}

/// Puts a document into quarantine; one that is there stays for its first reason.
///
/// # Errors
/// When storage fails.
pub fn put(db: &Db, doc: i64, work: &str, why: &str, now: Moment) -> Result<(), StoreError> {
    db.prepare_cached(
        "INSERT INTO quarantine (doc, work, why, at) SELECT id, ?2, ?3, ?4 FROM doc WHERE id = ?1
         ON CONFLICT (doc) DO NOTHING",
    )?
    .execute((doc, work, why, now.0))?;
    Ok(())
}

/// Lets a document out that was put there by this work.
///
/// # Errors
/// When storage fails.
pub fn release(db: &Db, doc: i64, work: &str) -> Result<(), StoreError> {
    db.prepare_cached("DELETE FROM quarantine WHERE doc = ?1 AND work = ?2")?.execute((doc, work))?;
    Ok(())
}

/// All of them.
///
/// # Errors
/// When storage fails.
pub fn all(db: &Db) -> Result<Vec<Kept>, StoreError> {
    let mut ask = db.prepare_cached("SELECT doc, work, why FROM quarantine ORDER BY doc")?;
    let rows = ask.query_map([], |r| Ok(Kept { doc: r.get(0)?, work: r.get(1)?, why: r.get(2)? }))?;
    Ok(rows.collect::<Result<_, _>>()?)
}
