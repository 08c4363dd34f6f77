//! Who answers for a minor: from when, until when, why. A guardianship ends by itself on the day on
//! which the athlete is of age; what a guardian may do is worked out anew each time.

use super::sql::Db;
use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::moment::Moment;
use backstraight_core::view::records::of_age;

use super::fault::StoreError;
use super::{audit, people, value};
use crate::grant::{By, MayGuard, MayKnow};

/// Longest reason, in bytes.
pub const LONGEST_REASON: usize = 500;
/// Why a guardianship ended that ended by itself.
pub const CAME_OF_AGE: &str = "came of age";

/// One guardianship.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guardianship {
    /// Who answers.
    pub guardian: PersonId,
    /// The guardian's name.
    pub guardian_name: String,
    /// For whom.
    pub athlete: PersonId,
    /// The athlete's name.
    pub athlete_name: String,
    /// Why it began.
    pub reason: String,
    /// When it began.
    pub started: Moment,
    /// When it ended; none while it runs.
    pub ended: Option<Moment>,
    /// Why it ended.
    pub end_reason: Option<String>,
    /// The athlete's date of birth; without it the guardianship does not end by itself.
    pub born: Option<Day>,
    /// From which birthday on the athlete decides alone.
    pub majority: u16,
}

/// What became of a new guardianship.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Begun {
    /// It runs.
    Runs,
    /// The athlete is of age.
    OfAge,
    /// No guardian of this club.
    NoGuardian,
}

const RUNNING: &str = "SELECT g.athlete, p.born, c.majority
     FROM guardianship g JOIN person p ON p.id = g.athlete JOIN person w ON w.id = g.guardian
          JOIN club c ON c.id = p.club
     WHERE g.ended_at IS NULL AND p.withdrawn_at IS NULL AND w.withdrawn_at IS NULL
       AND w.role = 'guardian' AND p.role = 'athlete' AND p.club = w.club";

/// The athletes for whom `guardian` answers on a day.
///
/// # Errors
/// When storage fails.
pub fn wards(db: &Db, guardian: PersonId, today: Day) -> Result<Vec<PersonId>, StoreError> {
    let mut ask = db.prepare_cached(&format!("{RUNNING} AND g.guardian = ?1 ORDER BY g.athlete"))?;
    let mut rows = ask.query([guardian.0.as_bytes()])?;
    let mut found = Vec::new();
    while let Some(r) = rows.next()? {
        if !of_age(value::day(r, 1)?, today, r.get(2)?) {
            found.push(value::person(r, 0)?);
        }
    }
    Ok(found)
}

/// Whether `guardian` answers for `athlete` on a day.
///
/// # Errors
/// When storage fails.
pub fn watches(db: &Db, guardian: PersonId, athlete: PersonId, today: Day) -> Result<bool, StoreError> {
    Ok(wards(db, guardian, today)?.contains(&athlete))
}

/// All guardianships of an athlete, those that run first, the newest first.
///
/// # Errors
/// When storage fails.
pub fn of_athlete(db: &Db, grant: &MayKnow) -> Result<Vec<Guardianship>, StoreError> {
    list(db, "g.athlete = ?1", grant.athlete())
}

/// The guardianships of a guardian that run, for the guardian's own eyes.
///
/// # Errors
/// When storage fails.
pub fn of_guardian(db: &Db, guardian: PersonId, today: Day) -> Result<Vec<Guardianship>, StoreError> {
    let mut all = list(db, "g.guardian = ?1 AND g.ended_at IS NULL", guardian)?;
    let wards = wards(db, guardian, today)?;
    all.retain(|g| wards.contains(&g.athlete));
    Ok(all)
}

fn list(db: &Db, filter: &str, person: PersonId) -> Result<Vec<Guardianship>, StoreError> {
    let mut ask = db.prepare_cached(&format!(
        "SELECT g.guardian, w.name, g.athlete, p.name, g.reason, g.started_at, g.ended_at, g.end_reason,
                p.born, c.majority
         FROM guardianship g JOIN person p ON p.id = g.athlete JOIN person w ON w.id = g.guardian
              JOIN club c ON c.id = p.club
         WHERE {filter} ORDER BY CASE WHEN g.ended_at IS NULL THEN 0 ELSE 1 END, g.id DESC"
    ))?;
    let rows = ask.query_map([person.0.as_bytes()], |r| {
        Ok(Guardianship {
            guardian: value::person(r, 0)?,
            guardian_name: r.get(1)?,
            athlete: value::person(r, 2)?,
            athlete_name: r.get(3)?,
            reason: r.get(4)?,
            started: Moment(r.get(5)?),
            ended: r.get::<_, Option<i64>>(6)?.map(Moment),
            end_reason: r.get(7)?,
            born: value::day(r, 8)?,
            majority: r.get(9)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Begins a guardianship. One that runs already goes on as it is.
///
/// # Errors
/// When storage fails.
pub fn begin(
    db: &Db,
    grant: &MayGuard,
    guardian: PersonId,
    reason: &str,
    now: Moment,
) -> Result<Begun, StoreError> {
    let known = people::find(db, guardian)?;
    let fits = known.is_some_and(|k| {
        k.club == grant.club() && k.role == backstraight_core::exchange::access::Role::Guardian
    });
    if !fits {
        return Ok(Begun::NoGuardian);
    }
    let (born, majority) = db
        .prepare_cached(
            "SELECT p.born, c.majority FROM person p JOIN club c ON c.id = p.club WHERE p.id = ?1",
        )?
        .query_row([grant.athlete().0.as_bytes()], |r| Ok((value::day(r, 0)?, r.get(1)?)))?;
    if of_age(born, value::today(now)?, majority) {
        return Ok(Begun::OfAge);
    }
    let begun = db
        .prepare_cached(
            "INSERT INTO guardianship (athlete, guardian, reason, started_at) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (athlete, guardian) WHERE ended_at IS NULL DO NOTHING",
        )?
        .execute((grant.athlete().0.as_bytes(), guardian.0.as_bytes(), reason, now.0))?;
    if begun == 1 {
        moved(db, grant.athlete(), &grant.by(), "guardianship began", guardian, now)?;
    }
    Ok(Begun::Runs)
}

/// Ends a guardianship; whether one ran.
///
/// # Errors
/// When storage fails.
pub fn end(
    db: &Db,
    grant: &MayGuard,
    guardian: PersonId,
    reason: &str,
    now: Moment,
) -> Result<bool, StoreError> {
    close(db, &grant.by(), (grant.athlete(), guardian), reason, now)
}

fn close(
    db: &Db,
    by: &By,
    (athlete, guardian): (PersonId, PersonId),
    reason: &str,
    now: Moment,
) -> Result<bool, StoreError> {
    let ended = db
        .prepare_cached(
            "UPDATE guardianship SET ended_at = ?3, end_reason = ?4
             WHERE athlete = ?1 AND guardian = ?2 AND ended_at IS NULL",
        )?
        .execute((athlete.0.as_bytes(), guardian.0.as_bytes(), now.0, reason))?;
    if ended > 0 {
        moved(db, athlete, by, "guardianship ended", guardian, now)?;
    }
    Ok(ended > 0)
}

/// Ends all guardianships of an athlete who leaves.
///
/// # Errors
/// When storage fails.
pub(super) fn end_all(
    db: &Db,
    by: &By,
    athlete: PersonId,
    reason: &str,
    now: Moment,
) -> Result<(), StoreError> {
    let guardians = {
        let mut ask =
            db.prepare_cached("SELECT guardian FROM guardianship WHERE athlete = ?1 AND ended_at IS NULL")?;
        let rows = ask.query_map([athlete.0.as_bytes()], |r| value::person(r, 0))?;
        rows.collect::<Result<Vec<_>, _>>()?
    };
    for guardian in guardians {
        close(db, by, (athlete, guardian), reason, now)?;
    }
    Ok(())
}

/// Writes the end into guardianships of athletes who have come of age, so that athlete and guardian are
/// told; how many. They count for nothing from that day on, whether or not this was done.
///
/// # Errors
/// When storage fails.
pub fn end_of_age(db: &Db, now: Moment) -> Result<usize, StoreError> {
    let today = value::today(now)?;
    let over = {
        let mut ask = db.prepare_cached(
            "SELECT g.athlete, g.guardian, p.born, c.majority, p.club
             FROM guardianship g JOIN person p ON p.id = g.athlete JOIN club c ON c.id = p.club
             WHERE g.ended_at IS NULL AND p.born IS NOT NULL",
        )?;
        let mut rows = ask.query([])?;
        let mut over = Vec::new();
        while let Some(r) = rows.next()? {
            if of_age(value::day(r, 2)?, today, r.get(3)?) {
                over.push((value::person(r, 0)?, value::person(r, 1)?, value::club(r, 4)?));
            }
        }
        over
    };
    for (athlete, guardian, club) in &over {
        let by = By { club: Some(*club), person: None, install: None };
        close(db, &by, (*athlete, *guardian), CAME_OF_AGE, now)?;
    }
    Ok(over.len())
}

/// Tells everybody concerned: who may read what, who is told of whom and whose word counts have changed.
fn moved(
    db: &Db,
    athlete: PersonId,
    by: &By,
    what: &str,
    guardian: PersonId,
    now: Moment,
) -> Result<(), StoreError> {
    db.prepare_cached("UPDATE person SET care_version = care_version + 1 WHERE id = ?1")?
        .execute([athlete.0.as_bytes()])?;
    if let Some(club) = by.club {
        people::changed(db, club)?;
    }
    audit::add(db, by, &format!("{what}, by {guardian}"), &athlete.to_string(), now)
}
