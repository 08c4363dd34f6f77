//! Writing the board's rows, each write together with the end of the job that asked for it.

use std::collections::BTreeMap;

use backstraight_core::base::id::{ClubId, PersonId, SquadId};
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::model::number::Verdict;
use backstraight_core::view::state::Logged;

use super::{ALWAYS, Change, Counts, MarkKind, Part, SessionRow};
use crate::store::job::{self, Claim};
use crate::store::news::Told;
use crate::store::sql::{self, Db};
use crate::store::{StoreError, value};

/// Writes new rows and ends the job, when it is still the worker's; whether it was.
///
/// # Errors
/// When storage fails.
pub fn write(db: &Db, claim: &Claim, change: &Change, now: Moment) -> Result<bool, StoreError> {
    if !job::held(db, claim)? {
        return Ok(false);
    }
    let athlete = change.athlete.0.into_bytes();
    if change.whole {
        for table in [
            "board_session",
            "board_asked",
            "board_record",
            "board_mark",
            "board_available",
            "board_doc",
            "board_athlete",
        ] {
            db.prepare_cached(&format!("DELETE FROM {table} WHERE athlete = ?1"))?.execute([athlete])?;
        }
    }
    drop_rows(db, athlete, change)?;
    let mut put = db.prepare_cached(
        "INSERT INTO board_doc (doc, athlete, n, month, met, unreadable) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
         ON CONFLICT (doc) DO UPDATE SET n = ?3, month = ?4, met = ?5, unreadable = ?6",
    )?;
    for d in &change.docs {
        let month = match d.counts {
            Counts::Never => String::new(),
            Counts::Month(m) => m.to_string(),
            Counts::Always => ALWAYS.to_owned(),
        };
        let (met, unreadable) = (value::stored(d.met as u64), value::stored(d.unreadable as u64));
        put.execute((d.doc, athlete, value::stored(d.n), month, met, unreadable))?;
    }
    for part in &change.parts {
        write_part(db, athlete, part)?;
    }
    let mut forget = db.prepare_cached("DELETE FROM board_available WHERE doc = ?1")?;
    let mut put = db.prepare_cached(
        "INSERT INTO board_available (doc, record, athlete, said_at, from_day, until_day, level, avoid, instead)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    )?;
    for (doc, said) in &change.available {
        forget.execute([doc])?;
        for s in said {
            put.execute((
                doc,
                s.key.as_str(),
                athlete,
                s.at.0,
                s.from.to_string(),
                s.until.map(|d| d.to_string()),
                s.level.word(),
                s.avoid.as_ref().map(ToString::to_string),
                s.instead.as_ref().map(ToString::to_string),
            ))?;
        }
    }
    let mut put = db.prepare_cached(
        "INSERT INTO board_asked (athlete, session, doc, day, asked) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    for a in &change.asked {
        put.execute((athlete, a.session.as_str(), a.doc, a.day.to_string(), &a.asked))?;
    }
    add_rows(db, athlete, &change.rows)?;
    db.prepare_cached(
        "INSERT INTO board_athlete (athlete, plan_to, rules) VALUES (?1, NULL, ?2)
         ON CONFLICT (athlete) DO UPDATE SET rules = ?2",
    )?
    .execute((athlete, &change.rules))?;
    if !change.asked.is_empty() || !change.gone.is_empty() {
        db.prepare_cached(
            "UPDATE board_athlete SET plan_to = (SELECT max(a.day) FROM board_asked a WHERE a.athlete = ?1)
             WHERE athlete = ?1",
        )?
        .execute([athlete])?;
    }
    changed(db, claim.club)?;
    if super::rules(db, claim.club)?.is_some_and(|rules| rules != change.rules) {
        // The library was read after these sessions were judged: they are judged once more.
        job::mark(db, athlete, claim.club, now)?;
    }
    job::finish(db, claim)?;
    Ok(true)
}

fn drop_rows(db: &Db, athlete: [u8; 16], change: &Change) -> Result<(), StoreError> {
    let mut row = db.prepare_cached(
        "DELETE FROM board_session WHERE athlete = ?1 AND extra = 0 AND session = ?2 AND doc = ?3
         AND day = (SELECT day FROM board_asked WHERE athlete = ?1 AND session = ?2 AND doc = ?3)",
    )?;
    for (doc, key) in change.gone.iter().chain(&change.stale) {
        row.execute((athlete, key.as_str(), doc))?;
    }
    let mut form =
        db.prepare_cached("DELETE FROM board_asked WHERE athlete = ?1 AND session = ?2 AND doc = ?3")?;
    for (doc, key) in &change.gone {
        form.execute((athlete, key.as_str(), doc))?;
    }
    let mut extras = db.prepare_cached(
        "DELETE FROM board_session WHERE athlete = ?1 AND extra = 1 AND doc = ?2 AND session = ?3",
    )?;
    for (doc, session) in &change.extras {
        extras.execute((athlete, doc, session.as_str()))?;
    }
    let mut all =
        db.prepare_cached("DELETE FROM board_session WHERE athlete = ?1 AND extra = 1 AND doc = ?2")?;
    for part in &change.parts {
        match &part.of {
            Some(of) => {
                for session in of.get("sessions").into_iter().flatten() {
                    extras.execute((athlete, part.doc, session.as_str()))?;
                }
            }
            None => {
                all.execute((athlete, part.doc))?;
            }
        }
    }
    Ok(())
}

/// Puts what was read of a document in the place of what was read of it before.
fn write_part(db: &Db, athlete: [u8; 16], part: &Part) -> Result<(), StoreError> {
    if let Some(of) = &part.of {
        let mut record =
            db.prepare_cached("DELETE FROM board_record WHERE doc = ?1 AND root = ?2 AND record = ?3")?;
        let mut mark =
            db.prepare_cached("DELETE FROM board_mark WHERE doc = ?1 AND kind = ?2 AND record = ?3")?;
        for (root, keys) in of {
            let kind = [MarkKind::Trial, MarkKind::CheckIn].into_iter().find(|k| k.root() == *root);
            for key in keys {
                record.execute((part.doc, *root, key.as_str()))?;
                if let Some(kind) = kind {
                    mark.execute((part.doc, kind.word(), key.as_str()))?;
                }
            }
        }
    } else {
        db.prepare_cached("DELETE FROM board_record WHERE doc = ?1")?.execute([part.doc])?;
        db.prepare_cached("DELETE FROM board_mark WHERE doc = ?1")?.execute([part.doc])?;
    }
    let mut put = db.prepare_cached(
        "INSERT INTO board_record (doc, root, record, athlete, session, met, unreadable)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?;
    for r in &part.records {
        let (met, unreadable) = (value::stored(r.met as u64), value::stored(r.unreadable as u64));
        let session = r.session.as_ref().map(Key::as_str);
        put.execute((part.doc, r.root, r.record.as_str(), athlete, session, met, unreadable))?;
    }
    let mut put = db.prepare_cached(
        "INSERT INTO board_mark (doc, kind, record, athlete, kept) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    for mark in &part.marks {
        put.execute((part.doc, mark.kind.word(), mark.record.as_str(), athlete, &mark.kept))?;
    }
    db.prepare_cached(
        "UPDATE board_doc
         SET met = (SELECT coalesce(sum(r.met), 0) FROM board_record r WHERE r.doc = ?1),
             unreadable = (SELECT coalesce(sum(r.unreadable), 0) FROM board_record r WHERE r.doc = ?1)
         WHERE doc = ?1",
    )?
    .execute([part.doc])?;
    Ok(())
}

fn add_rows(db: &Db, athlete: [u8; 16], rows: &[SessionRow]) -> Result<(), StoreError> {
    let mut put = db.prepare_cached(
        "INSERT INTO board_session (athlete, day, extra, session, doc, title, logged, left_out, verdict,
                                    share, sets_done, sets_asked, earlier, swapped, done_on, minutes, effort)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)",
    )?;
    for r in rows {
        put.execute(sql::params![
            athlete,
            r.day.to_string(),
            r.extra,
            r.session.as_str(),
            r.doc,
            r.title,
            r.logged.map(Logged::word),
            r.left_out,
            r.verdict.map(Verdict::word),
            r.share,
            value::stored(r.sets_done),
            value::stored(r.sets_asked),
            r.earlier,
            value::stored(r.swapped),
            r.done_on.map(|d| d.to_string()),
            r.minutes,
            r.effort,
        ])?;
    }
    Ok(())
}

/// Says that rows of a club are other ones now.
fn changed(db: &Db, club: ClubId) -> Result<(), StoreError> {
    db.tell(Told::Rows(club));
    db.prepare_cached(
        "INSERT INTO board_club (club, version) VALUES (?1, 1)
         ON CONFLICT (club) DO UPDATE SET version = board_club.version + 1",
    )?
    .execute([club.0.as_bytes()])?;
    Ok(())
}

/// Writes who is in a squad and ends the job, when it is still the worker's; whether it was.
///
/// # Errors
/// When storage fails.
pub fn write_squad(
    db: &Db,
    claim: &Claim,
    squad: SquadId,
    members: &BTreeMap<PersonId, Option<String>>,
) -> Result<bool, StoreError> {
    if !job::held(db, claim)? {
        return Ok(false);
    }
    db.prepare_cached("DELETE FROM board_member WHERE squad = ?1")?.execute([squad.0.as_bytes()])?;
    let mut put =
        db.prepare_cached("INSERT INTO board_member (squad, athlete, events) VALUES (?1, ?2, ?3)")?;
    for (athlete, events) in members {
        put.execute((squad.0.as_bytes(), athlete.0.as_bytes(), events))?;
    }
    changed(db, claim.club)?;
    job::finish(db, claim)?;
    Ok(true)
}

/// Writes what a club's library says about judging, marks all athletes who were judged otherwise, and
/// ends the job, when it is still the worker's; whether it was.
///
/// # Errors
/// When storage fails.
pub fn write_club(db: &Db, claim: &Claim, rules: &[u8], now: Moment) -> Result<bool, StoreError> {
    if !job::held(db, claim)? {
        return Ok(false);
    }
    changed(db, claim.club)?;
    db.prepare_cached("UPDATE board_club SET rules = ?2 WHERE club = ?1")?
        .execute((claim.club.0.as_bytes(), rules))?;
    let mut ask = db.prepare_cached(
        "SELECT a.athlete FROM board_athlete a JOIN person p ON p.id = a.athlete
         WHERE p.club = ?1 AND a.rules <> ?2",
    )?;
    let rows = ask.query_map((claim.club.0.as_bytes(), rules), |r| value::bytes(r, 0))?;
    for athlete in rows.collect::<Result<Vec<[u8; 16]>, _>>()? {
        job::mark(db, athlete, claim.club, now)?;
    }
    job::finish(db, claim)?;
    Ok(true)
}

/// Remembers the form in which the rows are written.
///
/// # Errors
/// When storage fails.
pub fn set_form(db: &Db, form: u32) -> Result<(), StoreError> {
    db.execute(
        "INSERT INTO meta (key, value) VALUES ('board_form', ?1) ON CONFLICT (key) DO UPDATE SET value = ?1",
        [form.to_be_bytes()],
    )?;
    Ok(())
}
