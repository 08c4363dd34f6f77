//! Installs: added to a person, listed, withdrawn; and how long their sessions last.

use super::sql::{self, Db, OptionalExtension};
use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::base::moment::Moment;

use super::account::Enrolled;
use super::fault::StoreError;
use super::{audit, people, value};
use crate::grant::{By, MayInstalls};
use crate::secret;

/// What a device tells of itself to become an install.
#[derive(Debug, Clone)]
pub struct Device {
    /// What it calls itself.
    pub name: String,
    /// Its own Ed25519 key.
    pub public_key: [u8; 32],
}

/// Adds an install to a person who is not withdrawn; none when there is no such person.
///
/// # Errors
/// When storage fails.
pub(super) fn add(
    db: &Db,
    person: PersonId,
    device: &Device,
    how: &str,
    now: Moment,
) -> Result<Option<Enrolled>, StoreError> {
    let found = db
        .prepare_cached("SELECT club, role, name FROM person WHERE id = ?1 AND withdrawn_at IS NULL")?
        .query_row([person.0.as_bytes()], |r| {
            Ok((value::club(r, 0)?, value::role(r, 1)?, r.get::<_, String>(2)?))
        })
        .optional()?;
    let Some((club, role, name)) = found else { return Ok(None) };
    let (install, salt) = (InstallId(secret::random()), secret::random::<16>());
    db.prepare_cached(
        "INSERT INTO install (id, person, public_key, device, created_at, refresh_salt, refresh_generation)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, 1)",
    )?
    .execute((install.0, person.0.as_bytes(), device.public_key, &device.name, now.0, salt))?;
    people::changed(db, club)?;
    let by = By { club: Some(club), person: Some(person), install: Some(install) };
    audit::add(db, &by, how, &install.to_string(), now)?;
    Ok(Some(Enrolled { install, person, club, role, name, salt }))
}

/// One install as it is listed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Install {
    /// Identity.
    pub id: InstallId,
    /// What the device calls itself.
    pub device: String,
    /// When it was enrolled.
    pub created: Moment,
    /// When it last exchanged.
    pub heard: Option<Moment>,
    /// When its session was last refreshed.
    pub refreshed: Option<Moment>,
    /// When it was withdrawn.
    pub withdrawn: Option<Moment>,
    /// When its session ended because an old token came back.
    pub ended: Option<Moment>,
}

/// The installs of a person, the newest first.
///
/// # Errors
/// When storage fails.
pub fn list(db: &Db, grant: &MayInstalls) -> Result<Vec<Install>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT id, device, created_at, heard_at, refreshed_at, withdrawn_at, refresh_killed_at
         FROM install WHERE person = ?1 ORDER BY created_at DESC, id",
    )?;
    let moment = |r: &sql::Row<'_>, n| Ok::<_, sql::Error>(r.get::<_, Option<i64>>(n)?.map(Moment));
    let rows = ask.query_map([grant.person().0.as_bytes()], |r| {
        Ok(Install {
            id: value::install(r, 0)?,
            device: r.get(1)?,
            created: Moment(r.get(2)?),
            heard: moment(r, 3)?,
            refreshed: moment(r, 4)?,
            withdrawn: moment(r, 5)?,
            ended: moment(r, 6)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Withdraws an install: its next request is refused. What it wrote stays. Whether it is one of the
/// person's; an install that is withdrawn already stays so.
///
/// # Errors
/// When storage fails.
pub fn withdraw(db: &Db, grant: &MayInstalls, install: InstallId, now: Moment) -> Result<bool, StoreError> {
    let own = db
        .prepare_cached("SELECT withdrawn_at FROM install WHERE id = ?1 AND person = ?2")?
        .query_row((install.0, grant.person().0.as_bytes()), |r| r.get::<_, Option<i64>>(0))
        .optional()?;
    match own {
        None => Ok(false),
        Some(Some(_)) => Ok(true),
        Some(None) => {
            db.prepare_cached("UPDATE install SET withdrawn_at = ?2 WHERE id = ?1")?
                .execute((install.0, now.0))?;
            people::changed(db, grant.club())?;
            audit::add(db, &grant.by(), "install withdrawn", &install.to_string(), now)?;
            Ok(true)
        }
    }
}

/// Withdraws all installs of a person: a phone was lost, or somebody leaves. How many there were.
///
/// # Errors
/// When storage fails.
pub fn withdraw_all(db: &Db, grant: &MayInstalls, now: Moment) -> Result<usize, StoreError> {
    let open: Vec<InstallId> =
        list(db, grant)?.into_iter().filter(|i| i.withdrawn.is_none()).map(|i| i.id).collect();
    for install in &open {
        withdraw(db, grant, *install, now)?;
    }
    Ok(open.len())
}

/// What a refresh has to know of an install.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    /// The key that proves whose request it is; none for installs of a time before there were any.
    pub public_key: Option<[u8; 32]>,
    /// When the session began.
    pub began: Moment,
    /// When it was last refreshed, or began.
    pub refreshed: Moment,
}

/// How long sessions last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lasting {
    /// Without a refresh, ms.
    pub idle: i64,
    /// In all, ms.
    pub whole: i64,
}

impl Standing {
    /// Whether the session has ended with time.
    #[must_use]
    pub const fn over(&self, lasting: Lasting, now: Moment) -> bool {
        now.0.saturating_sub(self.refreshed.0) >= lasting.idle
            || now.0.saturating_sub(self.began.0) >= lasting.whole
    }
}

/// What a refresh has to know; none when there is no such install. The row is locked: of two refreshes
/// the later one judges what the earlier one left.
///
/// # Errors
/// When storage fails.
pub fn standing(db: &Db, install: InstallId) -> Result<Option<Standing>, StoreError> {
    let found = db
        .prepare_cached("SELECT public_key, created_at, refreshed_at, heard_at FROM install WHERE id = ?1 /*pg FOR NO KEY UPDATE */")?
        .query_row([install.0], |r| {
            let key: Option<Vec<u8>> = r.get(0)?;
            let public_key = if key.is_some() { Some(value::bytes(r, 0)?) } else { None };
            let began: i64 = r.get(1)?;
            let last = r.get::<_, Option<i64>>(2)?.max(r.get::<_, Option<i64>>(3)?).unwrap_or(began);
            Ok(Standing { public_key, began: Moment(began), refreshed: Moment(last) })
        })
        .optional()?;
    let Some(mut standing) = found else { return Ok(None) };
    // A restored database does not know who refreshed after the backup was made.
    let restored = db
        .prepare_cached("SELECT value FROM meta WHERE key = 'restored_at'")?
        .query_row([], |r| value::bytes::<8>(r, 0))
        .optional()?;
    if let Some(at) = restored {
        standing.refreshed = Moment(standing.refreshed.0.max(i64::from_be_bytes(at)));
    }
    Ok(Some(standing))
}

/// Remembers that a session was refreshed.
///
/// # Errors
/// When storage fails.
pub fn refreshed(db: &Db, install: InstallId, now: Moment) -> Result<(), StoreError> {
    db.prepare_cached("UPDATE install SET refreshed_at = ?2 WHERE id = ?1")?.execute((install.0, now.0))?;
    Ok(())
}
