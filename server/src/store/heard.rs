//! When an athlete was heard from, and through which local day. Silence is only read as a missed
//! session when this says that the phone has spoken since.

use super::sql::{Db, OptionalExtension};
use backstraight_core::base::day::Day;
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;

use super::fault::StoreError;
use crate::grant::Caller;

/// How far a device's calendar day may be from the server's (UTC); beyond it its clock is wrong.
const MOST_DAYS_APART: i32 = 2;
/// Coaches are told anew when somebody was last heard longer ago than this, ms.
const COARSE: i64 = 10 * 60_000;

/// Remembers that a caller was heard. Only athletes are waited for.
///
/// # Errors
/// When storage fails.
pub fn note(db: &Db, caller: &Caller, local_day: &str, now: Moment) -> Result<(), StoreError> {
    if caller.asker.role != Role::Athlete {
        return Ok(());
    }
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
        tell(db, caller)?;
    }
    Ok(())
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
        tell(db, caller)?;
    }
    Ok(())
}

/// Lets coaches be told anew of whom was heard.
fn tell(db: &Db, caller: &Caller) -> Result<(), StoreError> {
    db.prepare_cached("UPDATE club SET heard_version = heard_version + 1 WHERE id = ?1")?
        .execute([caller.asker.club.0.as_bytes()])?;
    Ok(())
}
