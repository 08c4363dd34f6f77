//! Between columns and values. A value that this program never wrote is damage, not a guess.

use std::str::FromStr;

use super::sql::{self, Db, OptionalExtension, Row, odd};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ClubId, InstallId, PersonId, SquadId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use uuid::Uuid;

use super::fault::StoreError;
use crate::secret;

/// What tells a store apart from what it was before something was lost.
pub type Epoch = [u8; 16];

pub(super) fn bytes<const N: usize>(row: &Row<'_>, column: usize) -> sql::Result<[u8; N]> {
    row.get(column)
}

pub(super) fn person(row: &Row<'_>, column: usize) -> sql::Result<PersonId> {
    bytes(row, column).map(|b| PersonId(Uuid::from_bytes(b)))
}

pub(super) fn club(row: &Row<'_>, column: usize) -> sql::Result<ClubId> {
    bytes(row, column).map(|b| ClubId(Uuid::from_bytes(b)))
}

pub(super) fn squad(row: &Row<'_>, column: usize) -> sql::Result<SquadId> {
    bytes(row, column).map(|b| SquadId(Uuid::from_bytes(b)))
}

pub(super) fn install(row: &Row<'_>, column: usize) -> sql::Result<InstallId> {
    bytes(row, column).map(InstallId)
}

pub(super) fn role(row: &Row<'_>, column: usize) -> sql::Result<Role> {
    let text = row.get_ref(column)?.as_str().map_err(|e| odd(column, e))?;
    Role::from_str(text).map_err(|_| odd(column, "no role"))
}

/// A day as it is written in RFC 3339; none where it is empty.
pub(super) fn day(row: &Row<'_>, column: usize) -> sql::Result<Option<Day>> {
    let text: Option<String> = row.get(column)?;
    text.map(|t| t.parse().map_err(|_| odd(column, "no day"))).transpose()
}

/// The server's day, in UTC.
pub(super) fn today(now: Moment) -> Result<Day, StoreError> {
    Day::of(now, 0).map_err(|e| StoreError::Damaged(format!("the clock: {e}")))
}

/// A number of versions or rows, which is never negative.
pub(super) fn count(row: &Row<'_>, column: usize) -> sql::Result<u64> {
    let n: i64 = row.get(column)?;
    u64::try_from(n).map_err(|e| odd(column, e))
}

/// A count as the database keeps it. Counts stay far below the limit: one grows by one a request.
pub(super) fn stored(n: u64) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

/// The epoch: another one after each restore, and after a repair that lost something. Asked for anew by each request: a
/// repair goes on beside servers that run.
///
/// # Errors
/// When storage fails.
pub fn epoch(db: &Db) -> Result<Epoch, StoreError> {
    meta(db, "epoch")
}

/// Begins a new epoch: to devices it is another store, to which they offer again what it may have lost.
pub(super) fn begin_epoch(db: &Db) -> Result<(), StoreError> {
    db.execute("UPDATE meta SET value = ?1 WHERE key = 'epoch'", [secret::random::<16>()])?;
    Ok(())
}

pub(super) fn meta<const N: usize>(db: &Db, key: &str) -> Result<[u8; N], StoreError> {
    db.prepare_cached("SELECT value FROM meta WHERE key = ?1")?
        .query_row([key], |r| bytes(r, 0))
        .optional()?
        .ok_or_else(|| StoreError::Damaged(format!("no {key}")))
}
