//! Rows that a review needs: people with their installs and when they were heard, names of documents.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{InstallId, PersonId, SquadId};
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use rusqlite::Connection;

use super::fault::StoreError;
use super::value;
use crate::grant::MayReview;

/// A person of the club.
#[derive(Debug, Clone)]
pub struct Person {
    /// Who.
    pub id: PersonId,
    /// Shown name.
    pub name: String,
    /// Role.
    pub role: Role,
    /// Whether the person is no member any more.
    pub withdrawn: bool,
    /// All installs, withdrawn ones too: what they wrote is still shown with a name.
    pub installs: Vec<InstallId>,
    /// The last local day through which an install was heard.
    pub heard_through: Option<Day>,
}

/// The people of the club under review.
///
/// # Errors
/// When storage fails.
pub fn people(db: &Connection, grant: &MayReview) -> Result<Vec<Person>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT p.id, p.name, p.role, p.withdrawn_at IS NOT NULL, i.id, i.heard_day
         FROM person p LEFT JOIN install i ON i.person = p.id WHERE p.club = ?1 ORDER BY p.id, i.id",
    )?;
    let mut rows = ask.query([grant.club().0.as_bytes()])?;
    let mut list: Vec<Person> = Vec::new();
    while let Some(r) = rows.next()? {
        let id = value::person(r, 0)?;
        if list.last().is_none_or(|p| p.id != id) {
            list.push(Person {
                id,
                name: r.get(1)?,
                role: value::role(r, 2)?,
                withdrawn: r.get(3)?,
                installs: Vec::new(),
                heard_through: None,
            });
        }
        let Some(person) = list.last_mut() else { continue };
        if r.get::<_, Option<Vec<u8>>>(4)?.is_none() {
            continue;
        }
        person.installs.push(value::install(r, 4)?);
        let heard: Option<String> = r.get(5)?;
        person.heard_through = person.heard_through.max(heard.and_then(|d| d.parse().ok()));
    }
    Ok(list)
}

/// The squads of the club under review.
///
/// # Errors
/// When storage fails.
pub fn squads(db: &Connection, grant: &MayReview) -> Result<Vec<SquadId>, StoreError> {
    let mut ask = db.prepare_cached("SELECT id FROM squad WHERE club = ?1 ORDER BY id")?;
    let rows = ask.query_map([grant.club().0.as_bytes()], |r| value::squad(r, 0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Names of the documents about one athlete.
///
/// # Errors
/// When storage fails.
pub fn documents(db: &Connection, athlete: PersonId) -> Result<Vec<DocName>, StoreError> {
    let mut ask = db.prepare_cached("SELECT name FROM doc WHERE owner = ?1 ORDER BY name")?;
    let rows = ask.query_map([athlete.0.as_bytes()], |r| value::bytes::<20>(r, 0))?;
    let mut names = Vec::new();
    for raw in rows {
        let name = DocName::from_bytes(&raw?);
        names.push(name.map_err(|e| StoreError::Damaged(e.to_string()))?);
    }
    Ok(names)
}
