//! Clubs, squads and people: made at the machine, listed to those who may know them.

use super::sql::{Db, OptionalExtension};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ClubId, PersonId, SquadId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::{Asker, Role};
use backstraight_core::exchange::wire::{Known, People};
use minicbor::bytes::ByteVec;

use super::fault::StoreError;
use super::news::Told;
use super::review::{self, Heard, UNREAD};
use super::{audit, value};
use crate::grant::{By, Caller, MayKeepAccounts};

/// Longest name of a club, squad, person or device, in bytes.
pub const LONGEST_NAME: usize = 120;

/// A name or reason of at most so many bytes that can be shown in a line among others, without the spaces
/// around it: something, and nothing that ends the line or turns the direction of what follows (U+202A to
/// U+202E, U+2066 to U+2069).
#[must_use]
pub fn shown(text: &str, longest: usize) -> Option<&str> {
    let text = text.trim();
    let turns = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let fits = (1..=longest).contains(&text.len()) && !text.chars().any(|c| c.is_control() || turns(c));
    fits.then_some(text)
}

/// Makes a club.
///
/// # Errors
/// When storage fails.
pub fn add_club(
    db: &Db,
    grant: &MayKeepAccounts,
    id: ClubId,
    name: &str,
    now: Moment,
) -> Result<(), StoreError> {
    db.execute(
        "INSERT INTO club (id, name, created_at) VALUES (?1, ?2, ?3)",
        (id.0.as_bytes(), name, now.0),
    )?;
    audit::add(db, &of(grant, id), "club added", &id.to_string(), now)
}

/// Makes a squad.
///
/// # Errors
/// When storage fails or there is no such club.
pub fn add_squad(
    db: &Db,
    grant: &MayKeepAccounts,
    club: ClubId,
    id: SquadId,
    name: &str,
    now: Moment,
) -> Result<(), StoreError> {
    db.execute(
        "INSERT INTO squad (id, club, name, created_at) VALUES (?1, ?2, ?3, ?4)",
        (id.0.as_bytes(), club.0.as_bytes(), name, now.0),
    )?;
    audit::add(db, &of(grant, club), "squad added", &id.to_string(), now)
}

/// A person to be added.
#[derive(Debug, Clone)]
pub struct NewPerson {
    /// Identity.
    pub id: PersonId,
    /// Club.
    pub club: ClubId,
    /// Role.
    pub role: Role,
    /// Shown name.
    pub name: String,
}

/// Adds a person.
///
/// # Errors
/// When storage fails or there is no such club.
pub fn add_person(db: &Db, grant: &MayKeepAccounts, new: &NewPerson, now: Moment) -> Result<(), StoreError> {
    db.execute(
        "INSERT INTO person (id, club, role, name, created_at) VALUES (?1, ?2, ?3, ?4, ?5)",
        (new.id.0.as_bytes(), new.club.0.as_bytes(), new.role.word(), &new.name, now.0),
    )?;
    changed(db, new.club)?;
    audit::add(db, &of(grant, new.club), &format!("person added as {}", new.role), &new.id.to_string(), now)
}

/// Keeps a person's date of birth.
///
/// # Errors
/// When storage fails.
pub fn set_born(
    db: &Db,
    grant: &MayKeepAccounts,
    person: PersonId,
    born: Option<Day>,
    now: Moment,
) -> Result<bool, StoreError> {
    let Some(was) = find(db, person)? else { return Ok(false) };
    db.execute(
        "UPDATE person SET born = ?2, care_version = care_version + 1 WHERE id = ?1",
        (person.0.as_bytes(), born.map(|d| d.to_string())),
    )?;
    changed(db, was.club)?;
    audit::add(db, &of(grant, was.club), "date of birth changed", &person.to_string(), now)?;
    Ok(true)
}

/// Gives a person another role.
///
/// # Errors
/// When storage fails.
pub fn set_role(
    db: &Db,
    grant: &MayKeepAccounts,
    person: PersonId,
    role: Role,
    now: Moment,
) -> Result<bool, StoreError> {
    let Some(was) = find(db, person)? else { return Ok(false) };
    db.execute("UPDATE person SET role = ?2 WHERE id = ?1", (person.0.as_bytes(), role.word()))?;
    changed(db, was.club)?;
    audit::add(db, &of(grant, was.club), &format!("role changed to {role}"), &person.to_string(), now)?;
    Ok(true)
}

/// Withdraws a person: no install of theirs is let in any more. What they wrote stays.
///
/// # Errors
/// When storage fails.
pub fn withdraw(db: &Db, grant: &MayKeepAccounts, person: PersonId, now: Moment) -> Result<bool, StoreError> {
    let Some(was) = find(db, person)? else { return Ok(false) };
    db.execute("UPDATE person SET withdrawn_at = ?2 WHERE id = ?1", (person.0.as_bytes(), now.0))?;
    changed(db, was.club)?;
    audit::add(db, &of(grant, was.club), "person withdrawn", &person.to_string(), now)?;
    Ok(true)
}

/// A person who is not withdrawn.
///
/// # Errors
/// When storage fails.
pub fn find(db: &Db, person: PersonId) -> Result<Option<Asker>, StoreError> {
    Ok(db
        .prepare_cached("SELECT id, club, role FROM person WHERE id = ?1 AND withdrawn_at IS NULL")?
        .query_row([person.0.as_bytes()], |r| {
            Ok(Asker { person: value::person(r, 0)?, club: value::club(r, 1)?, role: value::role(r, 2)? })
        })
        .optional()?)
}

/// Whether there is such a club.
///
/// # Errors
/// When storage fails.
pub fn club_exists(db: &Db, club: ClubId) -> Result<bool, StoreError> {
    Ok(db
        .query_row("SELECT count(*) FROM club WHERE id = ?1", [club.0.as_bytes()], |r| r.get::<_, i64>(0))?
        == 1)
}

/// Whether there is such a squad.
///
/// # Errors
/// When storage fails.
pub fn squad_exists(db: &Db, squad: SquadId) -> Result<bool, StoreError> {
    Ok(db
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM squad WHERE id = ?1)")?
        .query_row([squad.0.as_bytes()], |r| r.get(0))?)
}

/// A line of the list that the command line prints.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Identity.
    pub id: String,
    /// Role; empty for clubs and squads.
    pub role: String,
    /// Name.
    pub name: String,
    /// Installs that are let in.
    pub installs: u64,
}

/// All clubs.
///
/// # Errors
/// When storage fails.
pub fn clubs(db: &Db) -> Result<Vec<Row>, StoreError> {
    let mut ask = db.prepare("SELECT id, name FROM club ORDER BY name, id")?;
    let rows = ask.query_map([], |r| {
        Ok(Row { id: value::club(r, 0)?.to_string(), role: String::new(), name: r.get(1)?, installs: 0 })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The squads of a club.
///
/// # Errors
/// When storage fails.
pub fn squads(db: &Db, club: ClubId) -> Result<Vec<Row>, StoreError> {
    let mut ask = db.prepare("SELECT id, name FROM squad WHERE club = ?1 ORDER BY name, id")?;
    let rows = ask.query_map([club.0.as_bytes()], |r| {
        Ok(Row { id: value::squad(r, 0)?.to_string(), role: String::new(), name: r.get(1)?, installs: 0 })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The people of a club who are not withdrawn.
///
/// # Errors
/// When storage fails.
pub fn list(db: &Db, club: ClubId) -> Result<Vec<Row>, StoreError> {
    let mut ask = db.prepare(
        "SELECT p.id, p.role, p.name,
                (SELECT count(*) FROM install i WHERE i.person = p.id AND i.withdrawn_at IS NULL)
         FROM person p WHERE p.club = ?1 AND p.withdrawn_at IS NULL ORDER BY p.role, p.name, p.id",
    )?;
    let rows = ask.query_map([club.0.as_bytes()], |r| {
        Ok(Row {
            id: value::person(r, 0)?.to_string(),
            role: r.get(1)?,
            name: r.get(2)?,
            installs: value::count(r, 3)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Who keeps accounts, for the audit list of the club that it concerns.
fn of(grant: &MayKeepAccounts, club: ClubId) -> By {
    By { club: Some(club), ..*grant.by() }
}

/// Says that the list of people of a club has changed.
pub(super) fn changed(db: &Db, club: ClubId) -> Result<(), StoreError> {
    db.prepare_cached("UPDATE club SET people_version = people_version + 1 WHERE id = ?1")?
        .execute([club.0.as_bytes()])?;
    db.tell(Told::People(club));
    Ok(())
}

/// The list of people whom a caller may know, when it is another one than the caller has.
///
/// Athletes are told who coaches, who watches them and themselves, guardians who coaches and whom they
/// answer for; everybody else the whole club. Only coaches are
/// told when somebody was heard from, and their version of the list counts that too: theirs are the
/// odd numbers, so that a changed role never meets an equal number.
///
/// # Errors
/// When storage fails.
pub fn known_to(db: &Db, caller: &Caller, has: Option<u64>) -> Result<Option<People>, StoreError> {
    let coach = caller.asker.role.coaches();
    let few = matches!(caller.asker.role, Role::Athlete | Role::Guardian);
    let club = caller.asker.club;
    let version = db
        .prepare_cached("SELECT people_version, heard_version FROM club WHERE id = ?1")?
        .query_row([club.0.as_bytes()], |r| {
            let (people, heard) = (value::count(r, 0)?, value::count(r, 1)?);
            Ok(if coach { 2 * (people + heard) + 1 } else { 2 * people })
        })?;
    if has == Some(version) {
        return Ok(None);
    }
    let mut ask = db.prepare_cached(&format!(
        "SELECT p.id, p.name, p.role, i.id, i.heard_day, i.heard_at, i.public_key, i.created_at,
                i.withdrawn_at IS NOT NULL OR i.refresh_killed_at IS NOT NULL, {UNREAD}
         FROM person p LEFT JOIN install i ON i.person = p.id
         WHERE p.club = ?1 AND (?2 = 0 OR p.role IN ('head coach', 'coach') OR p.id = ?3
               OR p.id IN (SELECT guardian FROM guardianship WHERE athlete = ?3 AND ended_at IS NULL)
               OR p.id IN (SELECT athlete FROM guardianship WHERE guardian = ?3 AND ended_at IS NULL))
         ORDER BY p.id, i.id",
    ))?;
    let mut rows = ask.query((club.0.as_bytes(), i64::from(few), caller.asker.person.0.as_bytes()))?;
    let mut list: Vec<Known> = Vec::new();
    let mut heard: Vec<Vec<Heard>> = Vec::new();
    while let Some(r) = rows.next()? {
        let (id, role) = (value::person(r, 0)?, value::role(r, 2)?);
        let raw = ByteVec::from(id.0.as_bytes().to_vec());
        if list.last().is_none_or(|known| known.person != raw) {
            list.push(Known {
                person: raw,
                name: r.get(1)?,
                role: role.word().to_owned(),
                installs: Vec::new(),
                heard_day: None,
                heard_at: None,
                keys: None,
            });
            heard.push(Vec::new());
        }
        let (Some(known), Some(heard)) = (list.last_mut(), heard.last_mut()) else { continue };
        if r.get_ref(3)?.as_blob_or_null().ok().flatten().is_none() {
            continue;
        }
        // Withdrawn installs too: what they wrote is still shown with a name.
        known.installs.push(ByteVec::from(value::install(r, 3)?.0.to_vec()));
        let key = r.get::<_, Option<Vec<u8>>>(6)?.unwrap_or_default();
        known.keys.get_or_insert_default().push(ByteVec::from(key));
        if coach {
            let day = r.get::<_, Option<String>>(4)?.and_then(|d| d.parse().ok());
            let (since, at) = (Day::of(Moment(r.get(7)?), 0).ok(), r.get(5)?);
            // As on the board, no day counts as heard while something cannot be read.
            if !r.get::<_, bool>(9)? {
                heard.push(Heard { since, day, at, ended: r.get(8)? });
            }
            known.heard_at = known.heard_at.max(at);
        }
    }
    // The same rule as of the board here, so that a coach's phone and this server never say two things.
    for (known, heard) in list.iter_mut().zip(&heard) {
        known.heard_day = review::heard_through(heard.iter()).map(|day| day.to_string());
    }
    Ok(Some(People { version, list }))
}
