//! Who calls, invitations, enrolment, refreshing a session.

use super::sql::{self, Db, OptionalExtension};
use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::{Asker, Role};
use backstraight_core::exchange::proof;
use data_encoding::BASE64URL_NOPAD;

use super::fault::StoreError;
use super::{audit, people, value};
use crate::grant::{By, Caller, MayInvite};
use crate::secret;
use crate::token::{Bearer, RefreshClaim};

/// How often a wrong code may be tried against one invitation.
pub const MOST_TRIES: i64 = 5;
/// How long an invitation that is over is kept, so that its code is told apart from a wrong one, ms.
const KEPT: i64 = 7 * 86_400_000;
/// How often a selector is drawn before the server gives up: with fewer than a thousand open
/// invitations two in a row hardly ever meet.
const DRAWS: u32 = 64;

/// Who a token speaks for, as things are now; none when install or person are withdrawn.
///
/// # Errors
/// When storage fails.
pub fn caller(db: &Db, bearer: Bearer) -> Result<Option<Caller>, StoreError> {
    let found = db
        .prepare_cached(
            "SELECT p.id, p.club, p.role FROM install i JOIN person p ON p.id = i.person
             WHERE i.id = ?1 AND p.id = ?2 AND i.withdrawn_at IS NULL AND i.refresh_killed_at IS NULL
               AND p.withdrawn_at IS NULL",
        )?
        .query_row((bearer.install.0, bearer.person.0.as_bytes()), |r| {
            Ok(Asker { person: value::person(r, 0)?, club: value::club(r, 1)?, role: value::role(r, 2)? })
        })
        .optional()?;
    Ok(found.map(|asker| Caller { asker, install: bearer.install }))
}

/// An invitation: the only time that its code is in clear.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Invite {
    /// Eight characters, for typing.
    pub code: String,
    /// 128 bits in base64url, for a picture. Either is good once for both.
    pub secret: String,
    /// When it stops to work.
    pub expires: Moment,
}

/// Makes an invitation.
///
/// # Errors
/// When storage fails.
pub fn invite(
    db: &Db,
    grant: &MayInvite,
    key: &[u8; 32],
    lifetime_ms: i64,
    now: Moment,
) -> Result<Invite, StoreError> {
    db.prepare_cached("DELETE FROM invite WHERE expires_at < ?1")?.execute([now.0.saturating_sub(KEPT)])?;
    let expires = now.plus_ms(lifetime_ms);
    let mut put = db.prepare_cached(
        "INSERT INTO invite (selector, code_mac, person, made_by, created_at, expires_at, secret_mac)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT (selector) DO NOTHING",
    )?;
    let secret = BASE64URL_NOPAD.encode(&secret::random::<16>());
    let secret_mac = secret::keyed(key, "invite secret", &[secret.as_bytes()]);
    for _ in 0..DRAWS {
        let code = secret::code();
        let Some(selector) = code.get(..secret::SELECTOR_LEN) else { continue };
        let mac = secret::keyed(key, "invite", &[code.as_bytes()]);
        let made = put.execute((
            selector,
            mac,
            grant.person().0.as_bytes(),
            grant.by().person.map(|p| p.0.into_bytes()),
            now.0,
            expires.0,
            secret_mac,
        ))?;
        if made == 1 {
            audit::add(db, grant.by(), "invited", &grant.person().to_string(), now)?;
            return Ok(Invite { code, secret, expires });
        }
    }
    Err(StoreError::Busy)
}

/// What somebody sends who has a code.
#[derive(Debug, Clone)]
pub struct Enrol {
    /// The code in its one form, or the secret of the picture.
    pub code: String,
    /// What the device calls itself.
    pub device: String,
    /// The install's own public key (Ed25519), when it has one.
    pub public_key: Option<[u8; 32]>,
}

/// A new install.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Enrolled {
    /// Its identity.
    pub install: InstallId,
    /// Whose it is.
    pub person: PersonId,
    /// The person's club.
    pub club: ClubId,
    /// The person's role.
    pub role: Role,
    /// The person's name.
    pub name: String,
    /// What its refresh tokens are made with.
    pub salt: [u8; 16],
}

/// What became of an enrolment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EnrolOutcome {
    /// It is enrolled.
    Enrolled(Enrolled),
    /// No such code, or tried too often, or its person is withdrawn.
    Wrong,
    /// The code was good once.
    Expired,
    /// The code has been used.
    Used,
}

struct Found {
    id: i64,
    mac: [u8; 32],
    person: PersonId,
    expires: i64,
    used: bool,
    tries: i64,
}

const FOUND: &str =
    "SELECT id, code_mac, person, expires_at, CASE WHEN used_at IS NULL THEN 0 ELSE 1 END, tries FROM invite";

/// A code is used once, and wrong tries are counted, whichever processes are asked.
const LOCKED: &str = "/*pg FOR NO KEY UPDATE */";

fn found(r: &sql::Row<'_>) -> sql::Result<Found> {
    Ok(Found {
        id: r.get(0)?,
        mac: value::bytes(r, 1)?,
        person: value::person(r, 2)?,
        expires: r.get(3)?,
        used: r.get::<_, i64>(4)? == 1,
        tries: r.get(5)?,
    })
}

/// The invitation of a code or secret. A wrong code counts against the invitation whose first characters
/// it has; a secret cannot be guessed, its hash finds the row.
fn find(db: &Db, key: &[u8; 32], code: &str) -> Result<Option<Found>, StoreError> {
    if proof::is_secret(code) {
        let mac = secret::keyed(key, "invite secret", &[code.as_bytes()]);
        let ask = format!("{FOUND} WHERE secret_mac = ?1 {LOCKED}");
        return Ok(db.prepare_cached(&ask)?.query_row([mac], found).optional()?);
    }
    let ask = format!("{FOUND} WHERE selector = ?1 {LOCKED}");
    let row = db.prepare_cached(&ask)?.query_row([code.get(..secret::SELECTOR_LEN)], found).optional()?;
    let Some(row) = row.filter(|f| f.tries < MOST_TRIES) else { return Ok(None) };
    if !secret::keyed_equals(key, "invite", &[code.as_bytes()], &row.mac) {
        db.prepare_cached("UPDATE invite SET tries = tries + 1 WHERE id = ?1")?.execute([row.id])?;
        return Ok(None);
    }
    Ok(Some(row))
}

/// Trades a code for an install. The same install may ask again (an answer can get lost) until it
/// has refreshed its session for the first time: it is known by its public key.
///
/// # Errors
/// When storage fails.
pub fn enrol(db: &Db, key: &[u8; 32], enrol: &Enrol, now: Moment) -> Result<EnrolOutcome, StoreError> {
    let Some(found) = find(db, key, &enrol.code)? else { return Ok(EnrolOutcome::Wrong) };
    if now.0 >= found.expires {
        return Ok(EnrolOutcome::Expired);
    }
    let person = db
        .prepare_cached("SELECT club, role, name FROM person WHERE id = ?1 AND withdrawn_at IS NULL")?
        .query_row([found.person.0.as_bytes()], |r| {
            Ok((value::club(r, 0)?, value::role(r, 1)?, r.get::<_, String>(2)?))
        })
        .optional()?;
    let Some((club, role, name)) = person else { return Ok(EnrolOutcome::Wrong) };
    let whole = |install, salt| {
        EnrolOutcome::Enrolled(Enrolled { install, person: found.person, club, role, name, salt })
    };
    if found.used {
        let again = again(db, found.id, enrol)?;
        return Ok(again.map_or(EnrolOutcome::Used, |(install, salt)| whole(install, salt)));
    }
    let (install, salt) = (InstallId(secret::random()), secret::random::<16>());
    db.prepare_cached(
        "INSERT INTO install (id, person, public_key, device, created_at, refresh_salt, refresh_generation, invite)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, 1, ?7)",
    )?
    .execute((
        install.0,
        found.person.0.as_bytes(),
        enrol.public_key,
        &enrol.device,
        now.0,
        salt,
        found.id,
    ))?;
    db.prepare_cached("UPDATE invite SET used_at = ?2 WHERE id = ?1")?.execute((found.id, now.0))?;
    people::changed(db, club)?;
    let by = By { club: Some(club), person: Some(found.person), install: Some(install) };
    audit::add(db, &by, "enrolled", &install.to_string(), now)?;
    Ok(whole(install, salt))
}

fn again(db: &Db, invite: i64, enrol: &Enrol) -> Result<Option<(InstallId, [u8; 16])>, StoreError> {
    let Some(public_key) = enrol.public_key else { return Ok(None) };
    Ok(db
        .prepare_cached(
            "SELECT id, refresh_salt FROM install WHERE invite = ?1 AND public_key = ?2
               AND refresh_generation = 1 AND withdrawn_at IS NULL AND refresh_killed_at IS NULL",
        )?
        .query_row((invite, public_key), |r| Ok((value::install(r, 0)?, value::bytes(r, 1)?)))
        .optional()?)
}

/// What became of a refresh.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rotation {
    /// The next token is the one with that number.
    Next {
        /// Whose token it is.
        person: PersonId,
        /// Number of the token to hand out.
        generation: u32,
        /// What the install's tokens are made with.
        salt: [u8; 16],
    },
    /// Not a token of a living install.
    Unknown,
    /// An older token came back after its successor had been used: somebody has a copy. The session
    /// of the install is over; a new invitation starts another.
    Killed,
}

/// Rotates a refresh token. The newest token and the one before it both give the newest one's
/// successor or the newest itself, so an answer lost on the way never logs a phone out; only when
/// the successor has been used does the old one count as a copy.
///
/// # Errors
/// When storage fails.
pub fn rotate(
    db: &Db,
    key: &[u8; 32],
    claim: RefreshClaim,
    restored: bool,
    now: Moment,
) -> Result<Rotation, StoreError> {
    let row = db
        .prepare_cached(
            "SELECT i.person, p.club, i.refresh_salt, i.refresh_generation, i.refresh_killed_at IS NOT NULL
             FROM install i JOIN person p ON p.id = i.person
             WHERE i.id = ?1 AND i.withdrawn_at IS NULL AND p.withdrawn_at IS NULL
             /*pg FOR NO KEY UPDATE OF i */",
        )?
        .query_row([claim.install.0], |r| {
            Ok((
                value::person(r, 0)?,
                value::club(r, 1)?,
                value::bytes::<16>(r, 2)?,
                r.get::<_, u32>(3)?,
                r.get::<_, bool>(4)?,
            ))
        })
        .optional()?;
    let Some((person, club, salt, newest, killed)) = row else { return Ok(Rotation::Unknown) };
    if !claim.genuine(key, &salt) {
        return Ok(Rotation::Unknown);
    }
    if killed {
        return Ok(Rotation::Killed);
    }
    let given = claim.generation;
    let next = |generation| Rotation::Next { person, generation, salt };
    // A restored database does not know the tokens that were given out after the backup was made.
    if given == newest || (given > newest && restored) {
        let Some(generation) = given.checked_add(1) else { return Ok(Rotation::Unknown) };
        db.prepare_cached("UPDATE install SET refresh_generation = ?2 WHERE id = ?1")?
            .execute((claim.install.0, generation))?;
        return Ok(next(generation));
    }
    if given > newest {
        return Ok(Rotation::Unknown);
    }
    if given.checked_add(1) == Some(newest) {
        return Ok(next(newest));
    }
    db.prepare_cached("UPDATE install SET refresh_killed_at = ?2 WHERE id = ?1")?
        .execute((claim.install.0, now.0))?;
    people::changed(db, club)?;
    let by = By { club: Some(club), person: Some(person), install: Some(claim.install) };
    audit::add(db, &by, "session ended: an old token came back", &claim.install.to_string(), now)?;
    Ok(Rotation::Killed)
}
