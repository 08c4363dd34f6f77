//! When an athlete was heard from, and through which local day. Silence is only read as a missed
//! session when this says that the phone has spoken since.

use super::sql::{Db, OptionalExtension};
use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;

use super::fault::StoreError;
use super::value::{self, Epoch};
use crate::grant::Caller;

/// How far a device's calendar day may be from the server's (UTC); beyond it its clock is wrong.
const MOST_DAYS_APART: i32 = 2;
/// Coaches are told anew when somebody was last heard longer ago than this, ms.
const COARSE: i64 = 10 * 60_000;

/// How much of a device was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word<'a> {
    /// Everything, through its calendar day, `YYYY-MM-DD`, to a store of that epoch.
    Through(&'a str, Epoch),
    /// Something: it holds more, or what it sent could not be taken. Of no day it can be said that nothing was done.
    Part,
}

/// Remembers that a caller was heard. Only athletes are waited for.
///
/// # Errors
/// When storage fails.
pub fn note(db: &Db, caller: &Caller, word: Word<'_>, now: Moment) -> Result<(), StoreError> {
    if caller.asker.role != Role::Athlete {
        return Ok(());
    }
    let Word::Through(local_day, epoch) = word else { return in_part(db, caller, now) };
    let today = Day::of(now, 0).ok();
    let day = local_day
        .parse::<Day>()
        .ok()
        .filter(|day| today.is_some_and(|today| day.since(today).abs() <= MOST_DAYS_APART));
    let was = db
        .prepare_cached(
            "SELECT heard_day, heard_at, clock_wrong = 1 OR old_app = 1 FROM install WHERE id = ?1
             /*pg FOR NO KEY UPDATE */",
        )?
        .query_row([caller.install.0], |r| {
            Ok((r.get::<_, Option<String>>(0)?, r.get::<_, Option<i64>>(1)?, r.get::<_, bool>(2)?))
        })
        .optional()?;
    let Some((was_day, was_at, was_hindered)) = was else { return Ok(()) };
    // Looked at after the row is this one's: whoever lost something meanwhile has set the row back, and this waited for it.
    if value::epoch(db)? != epoch {
        return in_part(db, caller, now);
    }
    let day = day.map(|d| d.to_string());
    let news = was_at.is_none_or(|at| now.0 - at >= COARSE)
        || (day.is_some() && day != was_day)
        || day.is_none() != was_hindered;
    db.prepare_cached(
        "UPDATE install SET heard_at = ?2, heard_day = coalesce(?3, heard_day), clock_wrong = ?4, old_app = 0
         WHERE id = ?1",
    )?
    .execute((caller.install.0, now.0, &day, day.is_none()))?;
    if news {
        tell(db, caller.asker.club)?;
    }
    Ok(())
}

fn in_part(db: &Db, caller: &Caller, now: Moment) -> Result<(), StoreError> {
    let at = "UPDATE install SET heard_at = ?2 WHERE id = ?1";
    db.prepare_cached(at)?.execute((caller.install.0, now.0))?;
    Ok(())
}

/// How far behind UTC a calendar can be, minutes: where a day was no sooner than anywhere else.
const LAST_CALENDAR: i32 = -12 * 60;

/// Through which day an install counts as heard by a month's log that somebody brought, when it says more than was
/// known. A log names with its newest change all that the phone had of that month then; so the days of that month
/// before the change are told, if those before the month were. The change's day is taken where it is latest.
fn proven(was: Day, month: Month, newest: Moment, now: Moment) -> Option<Day> {
    // What an install says of days to come is no proof, and days before the month are in another log.
    if newest.0 > now.0 || was.month() < month {
        return None;
    }
    let end = month.first_day().ok()?.plus(31).month().first_day().ok()?;
    let day = Day::of(newest, LAST_CALENDAR).ok()?.min(end);
    (day > was).then_some(day)
}

/// Remembers how far an athlete's install was heard by a log of the athlete that somebody brought. Nothing is
/// remembered of an install that was never heard itself, or whose clock was wrong then.
///
/// # Errors
/// When storage fails.
pub fn note_carried(
    db: &Db,
    install: InstallId,
    (athlete, month): (PersonId, Month),
    newest: Moment,
    now: Moment,
) -> Result<(), StoreError> {
    let found = db
        .prepare_cached(
            "SELECT i.heard_day, p.club FROM install i JOIN person p ON p.id = i.person
             WHERE i.id = ?1 AND p.id = ?2 AND p.role = ?3 AND i.clock_wrong = 0
             /*pg FOR NO KEY UPDATE OF i */",
        )?
        .query_row((install.0, athlete.0.as_bytes(), Role::Athlete.word()), |r| {
            Ok((r.get::<_, Option<String>>(0)?, value::club(r, 1)?))
        })
        .optional()?;
    let Some((Some(was), club)) = found else { return Ok(()) };
    let Some(day) = was.parse().ok().and_then(|was| proven(was, month, newest, now)) else { return Ok(()) };
    db.prepare_cached("UPDATE install SET heard_day = ?2 WHERE id = ?1")?
        .execute((install.0, day.to_string()))?;
    tell(db, club)
}

/// A log of a month lost changes that had been taken in: through no day of that month was the athlete heard, until each
/// install has spoken again and sent what it has of them.
///
/// # Errors
/// When storage fails.
pub fn lost(db: &Db, club: ClubId, (athlete, month): (PersonId, Month)) -> Result<(), StoreError> {
    let Ok(first) = month.first_day() else { return Ok(()) };
    db.execute(
        "UPDATE install SET heard_day = ?2 WHERE person = ?1 AND heard_day > ?2",
        (athlete.0.as_bytes(), first.plus(-1).to_string()),
    )?;
    tell(db, club)
}

/// Remembers that a caller's app speaks another version of the exchange: it was not heard, and its
/// coaches are told why.
///
/// # Errors
/// When storage fails.
pub fn note_old_app(db: &Db, caller: &Caller) -> Result<(), StoreError> {
    let news =
        db.execute("UPDATE install SET old_app = 1 WHERE id = ?1 AND old_app = 0", [caller.install.0])?;
    if news > 0 {
        tell(db, caller.asker.club)?;
    }
    Ok(())
}

/// Lets coaches be told anew of whom was heard.
///
/// # Errors
/// When storage fails.
pub(super) fn tell(db: &Db, club: ClubId) -> Result<(), StoreError> {
    db.prepare_cached("UPDATE club SET heard_version = heard_version + 1 WHERE id = ?1")?
        .execute([club.0.as_bytes()])?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A moment of a day at an hour, UTC.
    fn at(day: &str, hour: i64) -> Moment {
        let epoch = Day::new(1970, 1, 1).unwrap();
        let days = i64::from(day.parse::<Day>().unwrap().since(epoch));
        Moment((days * 24 + hour) * 3_600_000)
    }

    #[test]
    fn a_log_that_was_brought_tells_of_its_own_month_up_to_its_newest_change() {
        let now = at("2026-12-20", 12);
        for (was, month, newest, told) in [
            ("2026-11-10", "2026-11", at("2026-11-20", 12), Some("2026-11-20")),
            // In the morning of Greenwich it is still the day before somewhere.
            ("2026-11-10", "2026-11", at("2026-11-20", 11), Some("2026-11-19")),
            // From the first day of the month on, no day is left out.
            ("2026-11-01", "2026-11", at("2026-11-20", 12), Some("2026-11-20")),
            ("2026-10-31", "2026-11", at("2026-11-20", 12), None),
            // Written into November's log in December: of December it says nothing.
            ("2026-11-10", "2026-11", at("2026-12-05", 12), Some("2026-12-01")),
            ("2026-12-01", "2026-12", at("2026-12-20", 12), Some("2026-12-20")),
            // Nothing goes back, and nothing is believed of days to come.
            ("2026-11-20", "2026-11", at("2026-11-20", 23), None),
            ("2026-12-03", "2026-11", at("2026-12-05", 12), None),
            ("2026-11-10", "2026-12", at("2026-12-20", 12), None),
            ("2026-12-10", "2026-12", at("2026-12-20", 13), None),
            // The turn of a year.
            ("2025-12-10", "2025-12", at("2026-01-09", 12), Some("2026-01-01")),
        ] {
            let got = proven(was.parse().unwrap(), month.parse().unwrap(), newest, now);
            assert_eq!(got.map(|d| d.to_string()).as_deref(), told, "{was} {month} {newest}");
        }
    }
}
