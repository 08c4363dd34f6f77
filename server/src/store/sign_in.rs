//! Names and hashed passwords of those who sign in, their passkeys, and the challenges that were
//! answered. Knows no password in clear and checks no signature.

use super::sql::{self, Db, OptionalExtension};
use backstraight_core::base::id::{ClubId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;

use super::account::Enrolled;
use super::fault::StoreError;
use super::installs::{self, Device};
use super::{audit, value};
use crate::grant::{MayKeep, MaySignIn};

/// Most passkeys of one person.
pub const MOST_PASSKEYS: usize = 10;

/// What is kept of somebody who signs in with a password.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Who.
    pub person: PersonId,
    /// The hash with its parameters.
    pub hash: String,
    /// Whether the password is long enough to stand alone.
    pub alone: bool,
}

/// What is kept under a name; none when there is no such name, its person is withdrawn, or an athlete.
///
/// # Errors
/// When storage fails.
pub fn find(db: &Db, name: &str) -> Result<Option<Kept>, StoreError> {
    Ok(db
        .prepare_cached(
            "SELECT s.person, s.hash, s.alone FROM sign_in s JOIN person p ON p.id = s.person
             WHERE s.name = ?1 AND p.withdrawn_at IS NULL AND p.role <> 'athlete'",
        )?
        .query_row([name], |r| {
            Ok(Kept { person: value::person(r, 0)?, hash: r.get(1)?, alone: r.get::<_, i64>(2)? == 1 })
        })
        .optional()?)
}

/// The own name and hash, when there are any.
///
/// # Errors
/// When storage fails.
pub fn own(db: &Db, grant: &MaySignIn) -> Result<Option<(String, Kept)>, StoreError> {
    let person = grant.person();
    Ok(db
        .prepare_cached("SELECT name, hash, alone FROM sign_in WHERE person = ?1")?
        .query_row([person.0.as_bytes()], |r| {
            Ok((r.get(0)?, Kept { person, hash: r.get(1)?, alone: r.get::<_, i64>(2)? == 1 }))
        })
        .optional()?)
}

/// What became of a new password.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Put {
    /// It is stored.
    Done,
    /// Somebody else signs in with that name.
    NameTaken,
    /// A password that cannot stand alone needs a passkey first.
    PasskeyNeeded,
}

/// Stores name and hash of somebody.
///
/// # Errors
/// When storage fails.
pub fn put(
    db: &Db,
    grant: &MaySignIn,
    name: &str,
    hash: &str,
    alone: bool,
    now: Moment,
) -> Result<Put, StoreError> {
    if !alone && passkeys(db, grant.person())?.is_empty() {
        return Ok(Put::PasskeyNeeded);
    }
    let holder = db
        .prepare_cached("SELECT person FROM sign_in WHERE name = ?1")?
        .query_row([name], |r| value::person(r, 0))
        .optional()?;
    if holder.is_some_and(|h| h != grant.person()) {
        return Ok(Put::NameTaken);
    }
    db.prepare_cached(
        "INSERT INTO sign_in (person, name, hash, alone, changed_at) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (person) DO UPDATE SET name = ?2, hash = ?3, alone = ?4, changed_at = ?5",
    )?
    .execute((grant.person().0.as_bytes(), name, hash, i64::from(alone), now.0))?;
    audit::add(db, &grant.by(), "password set", &grant.person().to_string(), now)?;
    Ok(Put::Done)
}

/// Puts a hash with today's parameters in the place of an older one of the same password.
///
/// # Errors
/// When storage fails.
pub fn rehash(db: &Db, old: &Kept, hash: &str) -> Result<(), StoreError> {
    db.prepare_cached("UPDATE sign_in SET hash = ?3 WHERE person = ?1 AND hash = ?2")?.execute((
        old.person.0.as_bytes(),
        &old.hash,
        hash,
    ))?;
    Ok(())
}

/// Takes password and passkeys away: a new invitation is the way in. Whether there were any.
///
/// # Errors
/// When storage fails.
pub fn reset(db: &Db, grant: &MayKeep, now: Moment) -> Result<bool, StoreError> {
    let id = grant.person().0.into_bytes();
    let gone = db.prepare_cached("DELETE FROM sign_in WHERE person = ?1")?.execute([id])?
        + db.prepare_cached("DELETE FROM passkey WHERE person = ?1")?.execute([id])?;
    if gone > 0 {
        audit::add(db, &grant.by(), "sign-in reset", &grant.person().to_string(), now)?;
    }
    Ok(gone > 0)
}

/// Makes an install for somebody who has signed in; none when the person is withdrawn meanwhile.
///
/// # Errors
/// When storage fails.
pub fn signed_in(
    db: &Db,
    person: PersonId,
    device: &Device,
    now: Moment,
) -> Result<Option<Enrolled>, StoreError> {
    let added = installs::add(db, person, device, "signed in", now)?;
    Ok(added.filter(|new| new.role != Role::Athlete))
}

/// A passkey as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Passkey {
    /// Its identity, given by the authenticator.
    pub credential: Vec<u8>,
    /// Whose.
    pub person: PersonId,
    /// Its public key (COSE).
    pub public_key: Vec<u8>,
    /// How often it was used, where the authenticator counts.
    pub counter: u32,
    /// What its owner calls it.
    pub name: String,
    /// When it was registered.
    pub created: Moment,
    /// When it was last used.
    pub used: Option<Moment>,
}

const PASSKEY: &str = "credential, person, public_key, counter, name, created_at, used_at";

fn passkey_row(r: &sql::Row<'_>) -> sql::Result<Passkey> {
    Ok(Passkey {
        credential: r.get(0)?,
        person: value::person(r, 1)?,
        public_key: r.get(2)?,
        counter: r.get(3)?,
        name: r.get(4)?,
        created: Moment(r.get(5)?),
        used: r.get::<_, Option<i64>>(6)?.map(Moment),
    })
}

/// The passkeys of a person, the oldest first.
///
/// # Errors
/// When storage fails.
fn passkeys(db: &Db, person: PersonId) -> Result<Vec<Passkey>, StoreError> {
    let mut ask =
        db.prepare_cached(&format!("SELECT {PASSKEY} FROM passkey WHERE person = ?1 ORDER BY created_at"))?;
    let rows = ask.query_map([person.0.as_bytes()], passkey_row)?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The own passkeys, the oldest first.
///
/// # Errors
/// When storage fails.
pub fn own_passkeys(db: &Db, grant: &MaySignIn) -> Result<Vec<Passkey>, StoreError> {
    passkeys(db, grant.person())
}

/// The passkey with an identity, of somebody who is not withdrawn and no athlete.
///
/// # Errors
/// When storage fails.
pub fn passkey(db: &Db, credential: &[u8]) -> Result<Option<Passkey>, StoreError> {
    let found = db
        .prepare_cached(&format!("SELECT {PASSKEY} FROM passkey WHERE credential = ?1"))?
        .query_row([credential], passkey_row)
        .optional()?;
    let Some(found) = found else { return Ok(None) };
    let whole = super::people::find(db, found.person)?.filter(|p| p.role != Role::Athlete);
    Ok(whole.map(|_| found))
}

/// What became of a new passkey.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PutPasskey {
    /// It is stored.
    Done,
    /// It is registered already.
    Known,
    /// The person has too many.
    TooMany,
    /// The challenge was answered before.
    Replayed,
}

/// Stores a passkey; `nonce` is that of the challenge that it answers.
///
/// # Errors
/// When storage fails.
pub fn put_passkey(
    db: &Db,
    grant: &MaySignIn,
    new: &Passkey,
    nonce: &Nonce,
    now: Moment,
) -> Result<PutPasskey, StoreError> {
    if passkeys(db, grant.person())?.len() >= MOST_PASSKEYS {
        return Ok(PutPasskey::TooMany);
    }
    if !spend(db, nonce, now)? {
        return Ok(PutPasskey::Replayed);
    }
    let done = db
        .prepare_cached(
            "INSERT INTO passkey (credential, person, public_key, counter, name, created_at)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT (credential) DO NOTHING",
        )?
        .execute((
            &new.credential,
            grant.person().0.as_bytes(),
            &new.public_key,
            new.counter,
            &new.name,
            now.0,
        ))?;
    if done == 0 {
        return Ok(PutPasskey::Known);
    }
    audit::add(db, &grant.by(), "passkey added", &grant.person().to_string(), now)?;
    Ok(PutPasskey::Done)
}

/// What became of a passkey that was to go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Removed {
    /// It is gone.
    Done,
    /// There was none.
    Unknown,
    /// It is the last one, and the password cannot stand alone.
    Needed,
}

/// Takes one of the own passkeys away.
///
/// # Errors
/// When storage fails.
pub fn remove_passkey(
    db: &Db,
    grant: &MaySignIn,
    credential: &[u8],
    now: Moment,
) -> Result<Removed, StoreError> {
    let all = passkeys(db, grant.person())?;
    if !all.iter().any(|k| k.credential == credential) {
        return Ok(Removed::Unknown);
    }
    if all.len() == 1 && own(db, grant)?.is_some_and(|(_, kept)| !kept.alone) {
        return Ok(Removed::Needed);
    }
    db.prepare_cached("DELETE FROM passkey WHERE credential = ?1")?.execute([credential])?;
    audit::add(db, &grant.by(), "passkey removed", &grant.person().to_string(), now)?;
    Ok(Removed::Done)
}

/// The random part of a challenge, and until when it is good.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Nonce {
    /// Random.
    pub bytes: [u8; 16],
    /// Until when.
    pub until: Moment,
}

/// Remembers that a challenge was answered; false when it was before.
///
/// # Errors
/// When storage fails.
fn spend(db: &Db, nonce: &Nonce, now: Moment) -> Result<bool, StoreError> {
    db.prepare_cached("DELETE FROM spent WHERE until < ?1")?.execute([now.0])?;
    let done = db
        .prepare_cached("INSERT INTO spent (nonce, until) VALUES (?1, ?2) ON CONFLICT (nonce) DO NOTHING")?
        .execute((nonce.bytes, nonce.until.0))?;
    Ok(done == 1)
}

/// Remembers that a passkey was used for a challenge; false when the challenge was answered before, or the
/// authenticator's count did not grow, which says that there is a copy of the passkey.
///
/// # Errors
/// When storage fails.
pub fn used(
    db: &Db,
    key: &Passkey,
    counter: u32,
    nonce: &Nonce,
    club: ClubId,
    now: Moment,
) -> Result<bool, StoreError> {
    if !spend(db, nonce, now)? {
        return Ok(false);
    }
    let counts = counter > 0 || key.counter > 0;
    let moved = db
        .prepare_cached(
            "UPDATE passkey SET counter = ?2, used_at = ?3 WHERE credential = ?1 AND (counter < ?2 OR ?4 = 0)",
        )?
        .execute((&key.credential, counter, now.0, i64::from(counts)))?;
    if moved == 0 {
        let by = crate::grant::By { club: Some(club), person: Some(key.person), install: None };
        audit::add(db, &by, "a passkey's count went back: refused", &key.person.to_string(), now)?;
    }
    Ok(moved == 1)
}
