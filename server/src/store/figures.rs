//! Counts for those who watch the server, and the write that shows that writing works.

use super::sql::Db;
use backstraight_core::base::moment::Moment;

use super::fault::StoreError;
use super::{erased, value};

/// What stands in the database.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rows {
    /// Documents.
    pub documents: u64,
    /// Bytes of changes that are kept one by one.
    pub chunk_bytes: u64,
    /// Documents that the background leaves alone.
    pub quarantined: u64,
    /// Jobs of the projector.
    pub jobs: u64,
    /// When the oldest of them was marked.
    pub oldest_job: Option<Moment>,
    /// Withdrawn people beyond their club's limit.
    pub due: u64,
}

/// Counts.
///
/// # Errors
/// When storage fails.
pub fn rows(db: &Db, now: Moment) -> Result<Rows, StoreError> {
    let due = erased::due(db, now)?.len() as u64;
    Ok(db
        .prepare_cached(
            "SELECT (SELECT count(*) FROM doc), (SELECT coalesce(sum(length(body)), 0) FROM chunk),
                    (SELECT count(*) FROM quarantine), (SELECT count(*) FROM job),
                    (SELECT min(marked_at) FROM job)",
        )?
        .query_row([], |r| {
            Ok(Rows {
                documents: value::count(r, 0)?,
                chunk_bytes: value::count(r, 1)?,
                quarantined: value::count(r, 2)?,
                jobs: value::count(r, 3)?,
                oldest_job: r.get::<_, Option<i64>>(4)?.map(Moment),
                due,
            })
        })?)
}

/// Writes something that is of no account.
///
/// # Errors
/// When it was not made durable.
pub fn probe(db: &Db, now: Moment) -> Result<(), StoreError> {
    db.execute(
        "INSERT INTO meta (key, value) VALUES ('probe', ?1) ON CONFLICT (key) DO UPDATE SET value = ?1",
        [now.0.to_be_bytes()],
    )?;
    Ok(())
}
