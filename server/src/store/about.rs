//! What stands in the tables about one person, for their own full copy.

use std::collections::BTreeMap;

use super::sql::{Db, OptionalExtension};
use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;

use super::fault::StoreError;
use super::{audit, value};
use crate::grant::MayExport;

/// A person as the tables know them.
#[derive(Debug, Clone)]
pub struct About {
    /// Identity.
    pub person: PersonId,
    /// Club.
    pub club: ClubId,
    /// What the club is called.
    pub club_name: String,
    /// Shown name.
    pub name: String,
    /// Role.
    pub role: Role,
    /// Whether coaches may read the care document.
    pub care_open: bool,
    /// When the person was added.
    pub created: Moment,
    /// When withdrawn.
    pub withdrawn: Option<Moment>,
    /// Date of birth, where it was entered.
    pub born: Option<String>,
    /// Every word on a use of the data, oldest first, those that were replaced too.
    pub words: Vec<Word>,
    /// Guardianships on either side, oldest first.
    pub guardianships: Vec<Guardianship>,
    /// The name with which the person signs in, and how many passkeys there are.
    pub sign_in: (Option<String>, i64),
    /// Their installs.
    pub installs: Vec<Install>,
    /// Lines of the audit list by or about them or their installs, oldest first.
    pub audit: Vec<AuditLine>,
    /// Whose every install of the club is: who wrote what.
    pub writers: BTreeMap<InstallId, PersonId>,
    /// Whether what coaches remarked for themselves is given too.
    pub with_remarks: bool,
}

/// An install.
#[derive(Debug, Clone)]
pub struct Install {
    /// Identity.
    pub id: InstallId,
    /// What the device calls itself.
    pub device: String,
    /// When it was enrolled.
    pub created: Moment,
    /// When it was withdrawn.
    pub withdrawn: Option<Moment>,
    /// When it was last heard.
    pub heard: Option<Moment>,
}

/// A line of the audit list.
#[derive(Debug, Clone)]
pub struct AuditLine {
    /// When.
    pub at: Moment,
    /// What was done.
    pub what: String,
    /// By whom; none at the machine.
    pub by: Option<PersonId>,
    /// Whom or what it concerns.
    pub subject: String,
}

/// What somebody said to a use of an athlete's data.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// To what.
    pub what: String,
    /// Yes or no.
    pub agrees: bool,
    /// Who signed.
    pub by: PersonId,
    /// When.
    pub at: Moment,
    /// The last day on which it counts.
    pub until: Option<String>,
    /// When a later word took its place.
    pub replaced: Option<Moment>,
}

/// A guardianship, running or over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guardianship {
    /// Of whom.
    pub athlete: PersonId,
    /// Who answers.
    pub guardian: PersonId,
    /// Why it began.
    pub reason: String,
    /// When.
    pub started: Moment,
    /// When it ended.
    pub ended: Option<Moment>,
}

fn words(db: &Db, person: PersonId) -> Result<Vec<Word>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT what, agrees, signed_by, at, until, replaced_at FROM consent WHERE athlete = ?1 ORDER BY id",
    )?;
    let rows = ask.query_map([person.0.as_bytes()], |r| {
        Ok(Word {
            what: r.get(0)?,
            agrees: r.get::<_, i64>(1)? == 1,
            by: value::person(r, 2)?,
            at: Moment(r.get(3)?),
            until: r.get(4)?,
            replaced: r.get::<_, Option<i64>>(5)?.map(Moment),
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

fn guardianships(db: &Db, person: PersonId) -> Result<Vec<Guardianship>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT athlete, guardian, reason, started_at, ended_at FROM guardianship
         WHERE athlete = ?1 OR guardian = ?1 ORDER BY id",
    )?;
    let rows = ask.query_map([person.0.as_bytes()], |r| {
        Ok(Guardianship {
            athlete: value::person(r, 0)?,
            guardian: value::person(r, 1)?,
            reason: r.get(2)?,
            started: Moment(r.get(3)?),
            ended: r.get::<_, Option<i64>>(4)?.map(Moment),
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The name with which somebody signs in, and how many passkeys there are.
fn sign_in(db: &Db, person: PersonId) -> Result<(Option<String>, i64), StoreError> {
    let id = person.0.as_bytes();
    let name = db
        .prepare_cached("SELECT name FROM sign_in WHERE person = ?1")?
        .query_row([id], |r| r.get(0))
        .optional()?;
    let passkeys =
        db.prepare_cached("SELECT count(*) FROM passkey WHERE person = ?1")?.query_row([id], |r| r.get(0))?;
    Ok((name, passkeys))
}

/// What is known of a person; none when there is no such person, or the person is erased.
///
/// # Errors
/// When storage fails.
pub fn person(db: &Db, grant: &MayExport) -> Result<Option<About>, StoreError> {
    let person = grant.person();
    let found = db
        .prepare_cached(
            "SELECT p.club, c.name, p.name, p.role, p.care_open_to_coaches, p.created_at, p.withdrawn_at, p.born
             FROM person p JOIN club c ON c.id = p.club
             WHERE p.id = ?1 AND NOT EXISTS (SELECT 1 FROM erased_person e WHERE e.person = p.id)",
        )?
        .query_row([person.0.as_bytes()], |r| {
            Ok(About {
                person,
                club: value::club(r, 0)?,
                club_name: r.get(1)?,
                name: r.get(2)?,
                role: value::role(r, 3)?,
                care_open: r.get(4)?,
                created: Moment(r.get(5)?),
                withdrawn: r.get::<_, Option<i64>>(6)?.map(Moment),
                born: r.get(7)?,
                words: Vec::new(),
                guardianships: Vec::new(),
                sign_in: (None, 0),
                installs: Vec::new(),
                audit: Vec::new(),
                writers: BTreeMap::new(),
                with_remarks: grant.with_remarks(),
            })
        })
        .optional()?;
    let Some(mut about) = found else { return Ok(None) };
    let mut ask = db.prepare_cached(
        "SELECT id, device, created_at, withdrawn_at, heard_at FROM install WHERE person = ?1
         ORDER BY created_at, id",
    )?;
    let rows = ask.query_map([person.0.as_bytes()], |r| {
        Ok(Install {
            id: value::install(r, 0)?,
            device: r.get(1)?,
            created: Moment(r.get(2)?),
            withdrawn: r.get::<_, Option<i64>>(3)?.map(Moment),
            heard: r.get::<_, Option<i64>>(4)?.map(Moment),
        })
    })?;
    about.installs = rows.collect::<Result<_, _>>()?;
    about.words = words(db, person)?;
    about.guardianships = guardianships(db, person)?;
    about.sign_in = sign_in(db, person)?;
    let mut subjects: Vec<String> = about.installs.iter().map(|i| i.id.to_string()).collect();
    subjects.push(person.to_string());
    let mut ask = db.prepare_cached(
        "SELECT at, what, person, subject FROM audit WHERE club = ?1 OR subject = ?2 ORDER BY id",
    )?;
    let mut rows = ask.query((about.club.0.as_bytes(), person.to_string()))?;
    while let Some(r) = rows.next()? {
        let by: Option<[u8; 16]> = r.get(2)?;
        let by = by.map(|b| PersonId(uuid::Uuid::from_bytes(b)));
        let subject: String = r.get(3)?;
        if by == Some(person) || subjects.contains(&subject) {
            about.audit.push(AuditLine { at: Moment(r.get(0)?), what: r.get(1)?, by, subject });
        }
    }
    let mut ask = db.prepare_cached(
        "SELECT i.id, i.person FROM install i JOIN person p ON p.id = i.person WHERE p.club = ?1",
    )?;
    let rows =
        ask.query_map([about.club.0.as_bytes()], |r| Ok((value::install(r, 0)?, value::person(r, 1)?)))?;
    about.writers = rows.collect::<Result<_, _>>()?;
    Ok(Some(about))
}

/// Notes that a full copy was taken.
///
/// # Errors
/// When storage fails.
pub fn note_export(db: &Db, grant: &MayExport, now: Moment) -> Result<(), StoreError> {
    audit::add(db, grant.by(), "full copy taken", &grant.person().to_string(), now)
}
