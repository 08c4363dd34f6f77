//! The append-only list of everything that changes access.

use super::sql::Db;
use backstraight_core::base::moment::Moment;

use super::fault::StoreError;
use crate::grant::By;

/// Adds a line. `subject` is an identity in words, never a name.
///
/// # Errors
/// When storage fails.
pub fn add(db: &Db, by: &By, what: &str, subject: &str, now: Moment) -> Result<(), StoreError> {
    db.prepare_cached(
        "INSERT INTO audit (at, club, person, install, what, subject) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute((
        now.0,
        by.club.map(|c| c.0.into_bytes()),
        by.person.map(|p| p.0.into_bytes()),
        by.install.map(|i| i.0),
        what,
        subject,
    ))?;
    Ok(())
}

/// One line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// When, ms.
    pub at: i64,
    /// What was done.
    pub what: String,
    /// Whom or what it concerns.
    pub subject: String,
    /// Whether it was done at the machine.
    pub at_the_machine: bool,
}

/// The newest lines, newest first.
///
/// # Errors
/// When storage fails.
pub fn newest(db: &Db, most: u32) -> Result<Vec<Line>, StoreError> {
    let mut ask =
        db.prepare_cached("SELECT at, what, subject, person IS NULL FROM audit ORDER BY id DESC LIMIT ?1")?;
    let lines = ask.query_map([most], |r| {
        Ok(Line { at: r.get(0)?, what: r.get(1)?, subject: r.get(2)?, at_the_machine: r.get(3)? })
    })?;
    Ok(lines.collect::<Result<_, _>>()?)
}
