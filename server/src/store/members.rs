//! The people of a club as their accounts are kept: listed, changed, withdrawn, restored, leaving.

use super::sql::{self, Db, OptionalExtension, Row};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ClubId, PersonId, SquadId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::{Asker, Role};

use super::document::{self, Doc};
use super::fault::StoreError;
use super::{audit, guardians, people, value};
use crate::grant::{MayAdd, MayKeep, MayKeepClub, MayLeave, MayList};

/// Youngest and oldest age of majority that a club may set.
pub const MAJORITY: std::ops::RangeInclusive<u16> = 13..=25;

/// A person as an account.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    /// Identity, club and role.
    pub asker: Asker,
    /// Shown name.
    pub name: String,
    /// Date of birth.
    pub born: Option<Day>,
    /// When the person was withdrawn.
    pub withdrawn: Option<Moment>,
    /// When the person left.
    pub left: Option<Moment>,
    /// Installs that are let in.
    pub installs: u64,
    /// The name with which the person signs in.
    pub sign_in: Option<String>,
    /// Passkeys.
    pub passkeys: u64,
}

const COLUMNS: &str = "p.id, p.club, p.role, p.name, p.born, p.withdrawn_at, p.left_at,
     (SELECT count(*) FROM install i WHERE i.person = p.id AND i.withdrawn_at IS NULL
                                       AND i.refresh_killed_at IS NULL),
     (SELECT s.name FROM sign_in s WHERE s.person = p.id),
     (SELECT count(*) FROM passkey k WHERE k.person = p.id)";

fn member(r: &Row<'_>) -> sql::Result<Member> {
    Ok(Member {
        asker: Asker { person: value::person(r, 0)?, club: value::club(r, 1)?, role: value::role(r, 2)? },
        name: r.get(3)?,
        born: value::day(r, 4)?,
        withdrawn: r.get::<_, Option<i64>>(5)?.map(Moment),
        left: r.get::<_, Option<i64>>(6)?.map(Moment),
        installs: value::count(r, 7)?,
        sign_in: r.get(8)?,
        passkeys: value::count(r, 9)?,
    })
}

/// A person, withdrawn or not. Whoever asks looks up the right on what it says before showing it.
///
/// # Errors
/// When storage fails.
pub fn find(db: &Db, person: PersonId) -> Result<Option<Member>, StoreError> {
    Ok(db
        .prepare_cached(&format!("SELECT {COLUMNS} FROM person p WHERE p.id = ?1"))?
        .query_row([person.0.as_bytes()], member)
        .optional()?)
}

/// A page of a club's people in the order in which they were added; one more than `most` says that there
/// are more. `all` counts those who were withdrawn too.
///
/// # Errors
/// When storage fails.
pub fn list(
    db: &Db,
    grant: &MayList,
    after: Option<PersonId>,
    most: usize,
    all: bool,
) -> Result<Vec<Member>, StoreError> {
    let mut ask = db.prepare_cached(&format!(
        "SELECT {COLUMNS} FROM person p
         WHERE p.club = ?1 AND p.id > ?2 AND (?3 = 1 OR p.withdrawn_at IS NULL) ORDER BY p.id LIMIT ?4"
    ))?;
    let after = after.map_or([0; 16], |p| p.0.into_bytes());
    let most = i64::try_from(most).unwrap_or(i64::MAX);
    let rows = ask.query_map((grant.club().0.as_bytes(), after, i64::from(all), most), member)?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Adds a person to a club in the role that the grant names.
///
/// # Errors
/// When storage fails.
pub fn add(
    db: &Db,
    grant: &MayAdd,
    id: PersonId,
    name: &str,
    born: Option<Day>,
    now: Moment,
) -> Result<(), StoreError> {
    db.prepare_cached(
        "INSERT INTO person (id, club, role, name, born, created_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute((
        id.0.as_bytes(),
        grant.club().0.as_bytes(),
        grant.role().word(),
        name,
        born.map(|d| d.to_string()),
        now.0,
    ))?;
    people::changed(db, grant.club())?;
    audit::add(db, &grant.by(), &format!("person added as {}", grant.role()), &id.to_string(), now)
}

/// What is changed of an account; what is none stays.
#[derive(Debug, Clone, Default)]
pub struct Change {
    /// Another name.
    pub name: Option<String>,
    /// Another role.
    pub role: Option<Role>,
    /// Another date of birth; none in it takes the date away.
    pub born: Option<Option<Day>>,
}

/// What became of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Changed {
    /// It is stored.
    Done,
    /// There would be no owner left.
    LastOwner,
}

/// Changes an account.
///
/// # Errors
/// When storage fails.
pub fn change(db: &Db, grant: &MayKeep, change: &Change, now: Moment) -> Result<Changed, StoreError> {
    let (id, subject) = (grant.person().0.into_bytes(), grant.person().to_string());
    if let Some(role) = change.role {
        if role != Role::Owner && last_owner(db, grant.club(), grant.person())? {
            return Ok(Changed::LastOwner);
        }
        db.prepare_cached("UPDATE person SET role = ?2 WHERE id = ?1")?.execute((id, role.word()))?;
        audit::add(db, &grant.by(), &format!("role changed to {role}"), &subject, now)?;
    }
    if let Some(name) = &change.name {
        db.prepare_cached("UPDATE person SET name = ?2 WHERE id = ?1")?.execute((id, name))?;
        audit::add(db, &grant.by(), "name changed", &subject, now)?;
    }
    if let Some(born) = change.born {
        // Who may sign follows from it.
        db.prepare_cached("UPDATE person SET born = ?2, care_version = care_version + 1 WHERE id = ?1")?
            .execute((id, born.map(|d| d.to_string())))?;
        audit::add(db, &grant.by(), "date of birth changed", &subject, now)?;
    }
    people::changed(db, grant.club())?;
    Ok(Changed::Done)
}

/// Whether `person` is the only owner of the club who is not withdrawn.
fn last_owner(db: &Db, club: ClubId, person: PersonId) -> Result<bool, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT id FROM person WHERE club = ?1 AND role = 'owner' AND withdrawn_at IS NULL LIMIT 2",
    )?;
    let owners = ask.query_map([club.0.as_bytes()], |r| value::person(r, 0))?;
    Ok(owners.collect::<Result<Vec<_>, _>>()? == [person])
}

/// Withdraws a person: none of the person's installs is let in any more. What they wrote stays.
///
/// # Errors
/// When storage fails.
pub fn withdraw(db: &Db, grant: &MayKeep, now: Moment) -> Result<Changed, StoreError> {
    if last_owner(db, grant.club(), grant.person())? {
        return Ok(Changed::LastOwner);
    }
    let done = db
        .prepare_cached("UPDATE person SET withdrawn_at = ?2 WHERE id = ?1 AND withdrawn_at IS NULL")?
        .execute((grant.person().0.as_bytes(), now.0))?;
    if done == 1 {
        people::changed(db, grant.club())?;
        audit::add(db, &grant.by(), "person withdrawn", &grant.person().to_string(), now)?;
    }
    Ok(Changed::Done)
}

/// Takes a withdrawal back; whether there was one. Installs that were withdrawn by themselves stay so.
///
/// # Errors
/// When storage fails.
pub fn restore(db: &Db, grant: &MayKeep, now: Moment) -> Result<bool, StoreError> {
    let done = db
        .prepare_cached(
            "UPDATE person SET withdrawn_at = NULL, left_at = NULL WHERE id = ?1 AND withdrawn_at IS NOT NULL",
        )?
        .execute([grant.person().0.as_bytes()])?;
    if done == 1 {
        people::changed(db, grant.club())?;
        audit::add(db, &grant.by(), "person restored", &grant.person().to_string(), now)?;
    }
    Ok(done == 1)
}

/// Lets an athlete leave: guardianships end, every install and the person are withdrawn. What was
/// written stays until somebody erases it. With a copy that was read back come the
/// documents as they were then: whether they still are so. If not, nothing was changed.
///
/// # Errors
/// When storage fails.
pub fn leave(db: &Db, grant: &MayLeave, copy: Option<&[Doc]>, now: Moment) -> Result<bool, StoreError> {
    if let Some(copy) = copy
        && !same(copy, &document::owned(db, grant.person().0.into_bytes())?)
    {
        return Ok(false);
    }
    guardians::end_all(db, &grant.by(), grant.person(), "left the club", now)?;
    let id = grant.person().0.into_bytes();
    db.prepare_cached("UPDATE install SET withdrawn_at = ?2 WHERE person = ?1 AND withdrawn_at IS NULL")?
        .execute((id, now.0))?;
    let left = db
        .prepare_cached(
            "UPDATE person SET withdrawn_at = coalesce(withdrawn_at, ?2), left_at = ?2
             WHERE id = ?1 AND left_at IS NULL",
        )?
        .execute((id, now.0))?;
    if left == 1 {
        people::changed(db, grant.club())?;
        let what = if copy.is_some() { "left with a copy" } else { "left without wanting a copy" };
        audit::add(db, &grant.by(), what, &grant.person().to_string(), now)?;
    }
    Ok(true)
}

/// Whether documents are in the same states.
fn same(a: &[Doc], b: &[Doc]) -> bool {
    let state = |doc: &Doc| (doc.name, doc.heads.clone());
    a.iter().map(state).eq(b.iter().map(state))
}

/// A club's settings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Club {
    /// Identity.
    pub id: ClubId,
    /// Name.
    pub name: String,
    /// From which birthday on somebody decides alone.
    pub majority: u16,
}

/// A club.
///
/// # Errors
/// When storage fails.
pub fn club(db: &Db, id: ClubId) -> Result<Option<Club>, StoreError> {
    Ok(db
        .prepare_cached("SELECT name, majority FROM club WHERE id = ?1")?
        .query_row([id.0.as_bytes()], |r| Ok(Club { id, name: r.get(0)?, majority: r.get(1)? }))
        .optional()?)
}

/// Changes a club's name and age of majority; what is none stays.
///
/// # Errors
/// When storage fails.
pub fn change_club(
    db: &Db,
    grant: &MayKeepClub,
    name: Option<&str>,
    majority: Option<u16>,
    now: Moment,
) -> Result<(), StoreError> {
    let (id, subject) = (grant.club().0.into_bytes(), grant.club().to_string());
    if let Some(name) = name {
        db.prepare_cached("UPDATE club SET name = ?2 WHERE id = ?1")?.execute((id, name))?;
        audit::add(db, &grant.by(), "club renamed", &subject, now)?;
    }
    if let Some(majority) = majority {
        db.prepare_cached("UPDATE club SET majority = ?2 WHERE id = ?1")?.execute((id, majority))?;
        db.prepare_cached("UPDATE person SET care_version = care_version + 1 WHERE club = ?1")?
            .execute([id])?;
        audit::add(db, &grant.by(), &format!("age of majority set to {majority}"), &subject, now)?;
    }
    people::changed(db, grant.club())
}

/// Makes a squad.
///
/// # Errors
/// When storage fails.
pub fn add_squad(
    db: &Db,
    grant: &MayKeepClub,
    id: SquadId,
    name: &str,
    now: Moment,
) -> Result<(), StoreError> {
    db.prepare_cached("INSERT INTO squad (id, club, name, created_at) VALUES (?1, ?2, ?3, ?4)")?
        .execute((id.0.as_bytes(), grant.club().0.as_bytes(), name, now.0))?;
    audit::add(db, &grant.by(), "squad added", &id.to_string(), now)
}

/// Renames a squad; whether it is one of the club's.
///
/// # Errors
/// When storage fails.
pub fn rename_squad(
    db: &Db,
    grant: &MayKeepClub,
    id: SquadId,
    name: &str,
    now: Moment,
) -> Result<bool, StoreError> {
    let done = db.prepare_cached("UPDATE squad SET name = ?3 WHERE id = ?1 AND club = ?2")?.execute((
        id.0.as_bytes(),
        grant.club().0.as_bytes(),
        name,
    ))?;
    if done == 1 {
        audit::add(db, &grant.by(), "squad renamed", &id.to_string(), now)?;
    }
    Ok(done == 1)
}
