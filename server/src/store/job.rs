//! Work for the projector: whose board rows no longer follow from the documents. A job is one row per
//! athlete, squad or library; whoever works on it holds a lease, and only the holder may finish it.
//! Knows nothing of what the work is.

use super::sql::{Db, OptionalExtension};
use backstraight_core::base::id::ClubId;
use backstraight_core::base::moment::Moment;

use super::fault::StoreError;
use super::{heard, value};
use crate::grant::MayReview;

/// How long a lease lasts, ms. Work takes milliseconds; a worker that died is waited for this long.
pub const LEASE: i64 = 30_000;

/// A lease that ends further away than this was given under another clock. Twice as long as any lasts,
/// because two workers that look at the clock one after the other may come here the other way round.
const BELIEVED: i64 = 2 * LEASE;

/// A job that somebody works on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    /// Athlete, squad or club.
    pub owner: [u8; 16],
    /// The club.
    pub club: ClubId,
    /// Its version when it was claimed.
    pub version: u64,
    /// Whether everything is to be read again.
    pub whole: bool,
    /// The lease.
    pub by: [u8; 8],
}

/// Marks that rows of `owner` have to be made anew. In the transaction that makes them stale.
///
/// # Errors
/// When storage fails.
pub fn mark(db: &Db, owner: [u8; 16], club: ClubId, now: Moment) -> Result<(), StoreError> {
    db.prepare_cached(
        "INSERT INTO job (owner, club, marked_at) VALUES (?1, ?2, ?3)
         ON CONFLICT (owner) DO UPDATE SET version = job.version + 1",
    )?
    .execute((owner, club.0.as_bytes(), now.0))?;
    Ok(())
}

/// Marks everybody whose documents are here, of one club or of all, for a rebuild; how many.
///
/// # Errors
/// When storage fails.
pub fn mark_all(db: &Db, club: Option<ClubId>, now: Moment) -> Result<usize, StoreError> {
    Ok(db
        .prepare_cached(
            "INSERT INTO job (owner, club, marked_at, whole)
             SELECT DISTINCT owner, club, CAST(?2 AS BIGINT), 1 FROM doc WHERE club = ?1 OR ?1 IS NULL
             ON CONFLICT (owner) DO UPDATE SET version = job.version + 1, whole = 1",
        )?
        .execute((club.map(|c| c.0.into_bytes()), now.0))?)
}

/// Whether anything can be claimed.
///
/// # Errors
/// When storage fails.
pub fn waiting(db: &Db, now: Moment) -> Result<bool, StoreError> {
    Ok(db
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM job WHERE lease_until <= ?1 OR lease_until > ?2)")?
        .query_row((now.0, now.0.saturating_add(BELIEVED)), |r| r.get(0))?)
}

/// Takes the oldest jobs that nobody works on; those that another process is just taking or writing are
/// passed over. A lease that ends far further away than any lease lasts is none: the clock was set back.
///
/// # Errors
/// When storage fails.
pub fn claim(db: &Db, most: u32, by: [u8; 8], now: Moment) -> Result<Vec<Claim>, StoreError> {
    let until = now.0.saturating_add(LEASE);
    let mut ask = db.prepare_cached(
        "UPDATE job SET lease_until = ?2, lease_by = ?3, tries = tries + 1
         WHERE owner IN (SELECT owner FROM job WHERE lease_until <= ?1 OR lease_until > ?5
                         ORDER BY marked_at, owner LIMIT ?4 /*pg FOR UPDATE SKIP LOCKED */)
         RETURNING owner, club, version, whole",
    )?;
    let rows = ask.query_map((now.0, until, by, most, now.0.saturating_add(BELIEVED)), |r| {
        Ok(Claim {
            owner: value::bytes(r, 0)?,
            club: value::club(r, 1)?,
            version: value::count(r, 2)?,
            whole: r.get(3)?,
            by,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Whether the job is still this worker's. Rows are only written when it is, in the same transaction.
///
/// # Errors
/// When storage fails.
pub fn held(db: &Db, claim: &Claim) -> Result<bool, StoreError> {
    let by: Option<Vec<u8>> = db
        .prepare_cached("SELECT lease_by FROM job WHERE owner = ?1 /*pg FOR UPDATE */")?
        .query_row([claim.owner], |r| r.get(0))
        .optional()?
        .flatten();
    Ok(by.is_some_and(|b| b == claim.by))
}

/// Ends a job, or leaves it to be claimed again when it was marked meanwhile.
///
/// # Errors
/// When storage fails.
pub fn finish(db: &Db, claim: &Claim) -> Result<(), StoreError> {
    let tries: Option<i64> = db
        .prepare_cached("SELECT tries FROM job WHERE owner = ?1")?
        .query_row([claim.owner], |r| r.get(0))
        .optional()?;
    if tries.is_some_and(|tries| tries > 1) {
        // It could not be done before: their day counts as heard again.
        heard::tell(db, claim.club)?;
    }
    let ended = db
        .prepare_cached("DELETE FROM job WHERE owner = ?1 AND version = ?2")?
        .execute((claim.owner, value::stored(claim.version)))?;
    if ended == 0 {
        db.prepare_cached(
            "UPDATE job SET lease_until = 0, lease_by = NULL, tries = 0 WHERE owner = ?1 AND lease_by = ?2",
        )?
        .execute((claim.owner, claim.by))?;
    }
    Ok(())
}

/// Puts a job off that failed: at first a second, at most a lease. Until it is done no day of its athlete counts as heard.
///
/// # Errors
/// When storage fails.
pub fn put_off(db: &Db, claim: &Claim, now: Moment) -> Result<(), StoreError> {
    let tries: Option<i64> = db
        .prepare_cached(
            "UPDATE job SET lease_until = CAST(?3 AS BIGINT) + CASE tries WHEN 0 THEN 1000 WHEN 1 THEN 2000 WHEN 2 THEN 4000
                                           WHEN 3 THEN 8000 WHEN 4 THEN 16000 ELSE CAST(?4 AS BIGINT) END, lease_by = NULL
             WHERE owner = ?1 AND lease_by = ?2 RETURNING tries",
        )?
        .query_row((claim.owner, claim.by, now.0, LEASE), |r| r.get(0))
        .optional()?;
    if tries == Some(1) {
        heard::tell(db, claim.club)?;
    }
    Ok(())
}

/// What was put off is done as soon as anybody looks: what stood in its way is mended.
///
/// # Errors
/// When storage fails.
pub fn hurry(db: &Db, club: ClubId) -> Result<(), StoreError> {
    db.prepare_cached("UPDATE job SET lease_until = 0 WHERE club = ?1 AND lease_by IS NULL")?
        .execute([club.0.as_bytes()])?;
    Ok(())
}

/// Lets go of every lease: their holders died with the process that served before.
///
/// # Errors
/// When storage fails.
pub fn release_all(db: &Db) -> Result<(), StoreError> {
    db.execute("UPDATE job SET lease_until = 0, lease_by = NULL, tries = 0", [])?;
    Ok(())
}

/// How many rows of what a reader may see are older than what was acknowledged: of athletes, squads, the library.
///
/// # Errors
/// When storage fails.
pub fn pending(db: &Db, grant: &MayReview) -> Result<u64, StoreError> {
    let mut ask = db.prepare_cached(&format!("SELECT count(*) FROM job WHERE {SEEN}"))?;
    Ok(ask.query_row(seen(grant), |r| value::count(r, 0))?)
}

/// Whose rows they are, of those that did not fail yet and so may soon be done; at most so many.
///
/// # Errors
/// When storage fails.
pub fn soon(db: &Db, grant: &MayReview, most: u32) -> Result<Vec<[u8; 16]>, StoreError> {
    let mut ask = db.prepare_cached(&format!("SELECT owner FROM job WHERE tries < 2 AND {SEEN} LIMIT ?3"))?;
    let (club, only) = seen(grant);
    let rows = ask.query_map((club, only, most), |r| value::bytes(r, 0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Whether one of these is still waited for.
///
/// # Errors
/// When storage fails.
pub fn left(db: &Db, owners: &[[u8; 16]]) -> Result<bool, StoreError> {
    let mut ask = db.prepare_cached("SELECT EXISTS (SELECT 1 FROM job WHERE owner = ?1 AND tries < 2)")?;
    for owner in owners {
        if ask.query_row([*owner], |r| r.get(0))? {
            return Ok(true);
        }
    }
    Ok(false)
}

/// What concerns a reader's answers: everybody of the club, or one athlete and the library.
const SEEN: &str = "club = ?1 AND (owner = ?2 OR ?2 IS NULL OR owner = club)";

/// What [`SEEN`] asks for.
fn seen(grant: &MayReview) -> ([u8; 16], Option<[u8; 16]>) {
    (grant.club().0.into_bytes(), grant.only().map(|p| p.0.into_bytes()))
}

/// All jobs, for progress.
///
/// # Errors
/// When storage fails.
pub fn count(db: &Db) -> Result<u64, StoreError> {
    Ok(db.query_row("SELECT count(*) FROM job", [], |r| value::count(r, 0))?)
}

/// Jobs that did not fail yet: worth waiting for whoever works on them.
///
/// # Errors
/// When storage fails.
pub fn count_soon(db: &Db) -> Result<u64, StoreError> {
    Ok(db.query_row("SELECT count(*) FROM job WHERE tries < 2", [], |r| value::count(r, 0))?)
}
