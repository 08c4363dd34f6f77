//! Calendar feeds: made, listed, removed, found by their secret. What a feed shows is [`crate::calendar`]'s.

use backstraight_core::base::id::{PersonId, SquadId};
use backstraight_core::base::moment::Moment;
use data_encoding::BASE64URL_NOPAD;
use uuid::Uuid;

use super::fault::StoreError;
use super::sql::{self, Db, OptionalExtension, Row};
use super::{audit, value};
use crate::grant::MayFeed;
use crate::secret;

/// Most feeds of one person.
pub const MOST: i64 = 20;

/// Whose plan a feed shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    /// An athlete's.
    Athlete(PersonId),
    /// A squad's.
    Squad(SquadId),
}

/// A feed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Feed {
    /// Its identity, which is no secret.
    pub id: Uuid,
    /// Who made it: it shows what they may read.
    pub made_by: PersonId,
    /// Whose plan it shows.
    pub of: Of,
    /// When it was made.
    pub created: Moment,
}

const COLUMNS: &str = "feed, made_by, athlete, squad, created_at";

fn feed(row: &Row<'_>) -> sql::Result<Feed> {
    let squad: Option<Vec<u8>> = row.get(3)?;
    let of =
        if squad.is_some() { Of::Squad(value::squad(row, 3)?) } else { Of::Athlete(value::person(row, 2)?) };
    Ok(Feed {
        id: Uuid::from_bytes(value::bytes::<16>(row, 0)?),
        made_by: value::person(row, 1)?,
        of,
        created: Moment(row.get(4)?),
    })
}

/// Makes a feed; its secret, or none when there are too many.
///
/// # Errors
/// When storage fails.
pub fn make(
    db: &Db,
    grant: &MayFeed,
    key: &[u8; 32],
    now: Moment,
) -> Result<Option<(Feed, String)>, StoreError> {
    let by = grant.person();
    let count: i64 = db
        .prepare_cached("SELECT count(*) FROM calendar WHERE made_by = ?1")?
        .query_row([by.0.as_bytes()], |r| r.get(0))?;
    if count >= MOST {
        return Ok(None);
    }
    let made = Feed { id: Uuid::from_bytes(secret::random()), made_by: by, of: grant.of(), created: now };
    let secret = BASE64URL_NOPAD.encode(&secret::random::<16>());
    let (athlete, squad) = match made.of {
        Of::Athlete(id) => (Some(id.0.into_bytes()), None),
        Of::Squad(id) => (None, Some(id.0.into_bytes())),
    };
    db.prepare_cached(
        "INSERT INTO calendar (feed, made_by, athlete, squad, secret_mac, created_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute((
        made.id.as_bytes(),
        by.0.as_bytes(),
        athlete,
        squad,
        secret::keyed(key, "calendar", &[secret.as_bytes()]),
        now.0,
    ))?;
    let subject = match made.of {
        Of::Athlete(id) => id.to_string(),
        Of::Squad(id) => id.to_string(),
    };
    audit::add(db, grant.by(), "calendar made", &subject, now)?;
    Ok(Some((made, secret)))
}

/// The feeds of a person, oldest first.
///
/// # Errors
/// When storage fails.
pub fn of_person(db: &Db, person: PersonId) -> Result<Vec<Feed>, StoreError> {
    let mut ask = db.prepare_cached(&format!(
        "SELECT {COLUMNS} FROM calendar WHERE made_by = ?1 ORDER BY created_at, feed"
    ))?;
    let rows = ask.query_map([person.0.as_bytes()], feed)?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Takes a feed of a person away; whether there was one.
///
/// # Errors
/// When storage fails.
pub fn remove(db: &Db, person: PersonId, id: Uuid) -> Result<bool, StoreError> {
    let gone = db
        .prepare_cached("DELETE FROM calendar WHERE made_by = ?1 AND feed = ?2")?
        .execute((person.0.as_bytes(), id.as_bytes()))?;
    Ok(gone > 0)
}

/// The feed of a secret.
///
/// # Errors
/// When storage fails.
pub fn find(db: &Db, key: &[u8; 32], secret: &str) -> Result<Option<Feed>, StoreError> {
    let mac = secret::keyed(key, "calendar", &[secret.as_bytes()]);
    Ok(db
        .prepare_cached(&format!("SELECT {COLUMNS} FROM calendar WHERE secret_mac = ?1"))?
        .query_row([mac], feed)
        .optional()?)
}
