//! The first start: a link that lets whoever reads the server's output make the first club and become
//! its owner, once. Only a keyed hash of it is kept.

use super::sql::{Db, OptionalExtension};
use backstraight_core::base::id::{ClubId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use data_encoding::BASE64URL_NOPAD;

use super::account::Enrolled;
use super::fault::StoreError;
use super::installs::{self, Device};
use super::{audit, people};
use crate::grant::By;
use crate::secret;

/// Whether nobody has set this server up.
///
/// # Errors
/// When storage fails.
pub fn is_empty(db: &Db) -> Result<bool, StoreError> {
    let clubs: i64 = db.query_row("SELECT count(*) FROM club", [], |r| r.get(0))?;
    Ok(clubs == 0)
}

/// Makes the secret of the owner's link while nobody has set the server up; earlier ones end.
///
/// # Errors
/// When storage fails.
pub fn link(db: &Db, key: &[u8; 32], lifetime_ms: i64, now: Moment) -> Result<Option<String>, StoreError> {
    if !is_empty(db)? {
        return Ok(None);
    }
    let secret = BASE64URL_NOPAD.encode(&secret::random::<16>());
    db.execute("DELETE FROM owner_link", [])?;
    db.execute(
        "INSERT INTO owner_link (mac, created_at, expires_at) VALUES (?1, ?2, ?3)",
        (secret::keyed(key, "owner link", &[secret.as_bytes()]), now.0, now.plus_ms(lifetime_ms).0),
    )?;
    let by = By { club: None, person: None, install: None };
    audit::add(db, &by, "owner link made", "this server", now)?;
    Ok(Some(secret))
}

/// What the owner says at the first start.
#[derive(Debug, Clone)]
pub struct SetUp {
    /// The secret of the link.
    pub secret: String,
    /// Name of the club.
    pub club: String,
    /// The owner's name.
    pub name: String,
    /// Name to sign in with and the hash of the password, where one was chosen.
    pub sign_in: Option<(String, String)>,
    /// The owner's device.
    pub device: Device,
}

/// What became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SetUpOutcome {
    /// There is a club, and its owner.
    Done(Enrolled),
    /// No such link.
    Wrong,
    /// The link was good once.
    Expired,
    /// Somebody set the server up.
    Used,
}

/// Looks at a link without using it; none when it is good.
///
/// # Errors
/// When storage fails.
pub fn look(db: &Db, key: &[u8; 32], secret: &str, now: Moment) -> Result<Option<SetUpOutcome>, StoreError> {
    let mac = secret::keyed(key, "owner link", &[secret.as_bytes()]);
    let found = db
        .prepare_cached("SELECT expires_at, used_at FROM owner_link WHERE mac = ?1")?
        .query_row([mac], |r| Ok((r.get::<_, i64>(0)?, r.get::<_, Option<i64>>(1)?)))
        .optional()?;
    Ok(match found {
        None => Some(SetUpOutcome::Wrong),
        Some((_, Some(_))) => Some(SetUpOutcome::Used),
        Some(_) if !is_empty(db)? => Some(SetUpOutcome::Used),
        Some((expires, None)) if now.0 >= expires => Some(SetUpOutcome::Expired),
        Some(_) => None,
    })
}

/// Makes the first club and its owner, and the owner's install.
///
/// # Errors
/// When storage fails.
pub fn set_up(db: &Db, key: &[u8; 32], ask: &SetUp, now: Moment) -> Result<SetUpOutcome, StoreError> {
    if let Some(no) = look(db, key, &ask.secret, now)? {
        return Ok(no);
    }
    db.execute("UPDATE owner_link SET used_at = ?1", [now.0])?;
    let (club, owner) = (ClubId::new(now, secret::random()), PersonId::new(now, secret::random()));
    db.execute(
        "INSERT INTO club (id, name, created_at) VALUES (?1, ?2, ?3)",
        (club.0.as_bytes(), &ask.club, now.0),
    )?;
    db.execute(
        "INSERT INTO person (id, club, role, name, created_at) VALUES (?1, ?2, ?3, ?4, ?5)",
        (owner.0.as_bytes(), club.0.as_bytes(), Role::Owner.word(), &ask.name, now.0),
    )?;
    let by = By { club: Some(club), person: Some(owner), install: None };
    audit::add(db, &by, "club set up with the owner link", &club.to_string(), now)?;
    if let Some((name, hash)) = &ask.sign_in {
        db.execute(
            "INSERT INTO sign_in (person, name, hash, alone, changed_at) VALUES (?1, ?2, ?3, 1, ?4)",
            (owner.0.as_bytes(), name, hash, now.0),
        )?;
        audit::add(db, &by, "password set", &owner.to_string(), now)?;
    }
    people::changed(db, club)?;
    match installs::add(db, owner, &ask.device, "enrolled", now)? {
        Some(new) => Ok(SetUpOutcome::Done(new)),
        None => Err(StoreError::Damaged("the owner who was just added is not there".to_owned())),
    }
}
