//! The append-only list of everything that changes access.

use super::sql::{self, Db};
use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::base::moment::Moment;

use super::fault::StoreError;
use super::value;
use crate::grant::{By, MayAudit};

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

/// One line as an owner reads it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its number; they grow.
    pub id: u64,
    /// When.
    pub at: Moment,
    /// Who did it; none when it was done at the machine or by itself.
    pub person: Option<PersonId>,
    /// That person's name.
    pub name: Option<String>,
    /// With which install.
    pub install: Option<InstallId>,
    /// What was done.
    pub what: String,
    /// Whom or what it concerns: an identity.
    pub subject: String,
}

/// A page of a club's lines, the newest first, those before number `before` only.
///
/// # Errors
/// When storage fails.
pub fn page(db: &Db, grant: &MayAudit, before: Option<u64>, most: usize) -> Result<Vec<Entry>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT a.id, a.at, a.person, p.name, a.install, a.what, a.subject
         FROM audit a LEFT JOIN person p ON p.id = a.person
         WHERE a.club = ?1 AND a.id < ?2 ORDER BY a.id DESC LIMIT ?3",
    )?;
    let before = before.map_or(i64::MAX, value::stored);
    let most = i64::try_from(most).unwrap_or(i64::MAX);
    let some = |r: &sql::Row<'_>, n: usize| Ok::<_, sql::Error>(r.get::<_, Option<Vec<u8>>>(n)?.is_some());
    let rows = ask.query_map((grant.club().0.as_bytes(), before, most), |r| {
        Ok(Entry {
            id: value::count(r, 0)?,
            at: Moment(r.get(1)?),
            person: if some(r, 2)? { Some(value::person(r, 2)?) } else { None },
            name: r.get(3)?,
            install: if some(r, 4)? { Some(value::install(r, 4)?) } else { None },
            what: r.get(5)?,
            subject: r.get(6)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}
