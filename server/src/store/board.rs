//! The board's rows: written whole by the projector, one athlete in one transaction, and read by
//! whoever may review. Holds no rule of training; `migrations/sqlite/0002_board.sql` says what is kept.

mod write;

use std::collections::{BTreeMap, BTreeSet};

use super::sql::{self, Db, OptionalExtension, Row, odd};
use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ClubId, PersonId, SquadId};
use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::touched::Touched;
use backstraight_core::model::number::{Text, Verdict};
use backstraight_core::view::availability::Said;
use backstraight_core::view::state::Logged;

use super::fault::StoreError;
use super::value;
use crate::grant::MayReview;

pub use write::{set_form, write, write_club, write_squad};

/// Kept instead of a month for what counts whatever the days: later than every month.
const ALWAYS: &str = "9999-99";

/// One session of one athlete: what follows from the documents, whatever day it is.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionRow {
    /// The day: planned, or done when nobody asked for it.
    pub day: Day,
    /// Whether nobody asked for it.
    pub extra: bool,
    /// Key in the plan, or in the log of an extra.
    pub session: Key,
    /// The document of that key.
    pub doc: i64,
    /// Title.
    pub title: String,
    /// What was logged for it.
    pub logged: Option<Logged>,
    /// Whether the athlete said that it was left out.
    pub left_out: bool,
    /// What a coach said.
    pub verdict: Option<Verdict>,
    /// Share done, 0 to 1.
    pub share: Option<f64>,
    /// Sets done.
    pub sets_done: u64,
    /// Sets asked.
    pub sets_asked: u64,
    /// Whether an earlier version was done.
    pub earlier: bool,
    /// Exercises swapped as allowed.
    pub swapped: u64,
    /// The day on which it was done, when another.
    pub done_on: Option<Day>,
    /// Minutes.
    pub minutes: Option<i64>,
    /// Effort in tenths of a 0 to 10 rating.
    pub effort: Option<i64>,
}

/// What a session of a plan asks, in the form that the projector reads again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// The document of the plan.
    pub doc: i64,
    /// Key.
    pub session: Key,
    /// Day.
    pub day: Day,
    /// What it asks.
    pub asked: Vec<u8>,
}

/// For which days a document counts towards what could not be read and where edits met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counts {
    /// It does not count.
    Never,
    /// With the days of a month, and of those before. A plan counts with its last one.
    Month(Month),
    /// Always.
    Always,
}

/// What the rows know of one document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DocFacts {
    /// Row of the document.
    pub doc: i64,
    /// Up to which chunk the rows follow from it.
    pub n: u64,
    /// When it counts.
    pub counts: Counts,
    /// Fields at which two edits met. Of logs and notes it is the sum of what their records say.
    pub met: usize,
    /// Records that could not be read; the same.
    pub unreadable: usize,
}

/// What a record of a log or notes document says beside what it holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordFacts {
    /// The map at the root.
    pub root: &'static str,
    /// Its key there.
    pub record: Key,
    /// The session of the plan of which it speaks, if of any.
    pub session: Option<Key>,
    /// Fields at which two edits met, in it and inside of it.
    pub met: usize,
    /// What could not be read, in it and inside of it.
    pub unreadable: usize,
}

/// What was read of a log or notes document.
#[derive(Debug, Clone)]
pub struct Part {
    /// Row of the document.
    pub doc: i64,
    /// Which records were looked at; all of them when it is none.
    pub of: Option<Touched>,
    /// What those of them say that are still there.
    pub records: Vec<RecordFacts>,
    /// Test trials and weighings among them.
    pub marks: Vec<KeptMark>,
}

/// What is known about an athlete beside the sessions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AthleteFacts {
    /// The last day on which a session is asked.
    pub plan_to: Option<Day>,
    /// The rules with which sessions were judged, as kept.
    pub rules: Vec<u8>,
}

/// Of which kind a kept record is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MarkKind {
    /// A test trial.
    Trial,
    /// A check-in that holds a body mass.
    CheckIn,
}

impl MarkKind {
    const fn word(self) -> &'static str {
        match self {
            MarkKind::Trial => "trial",
            MarkKind::CheckIn => "check-in",
        }
    }

    /// The map at the root of a document in which such records are.
    const fn root(self) -> &'static str {
        match self {
            MarkKind::Trial => "trials",
            MarkKind::CheckIn => "checkins",
        }
    }
}

/// A test trial or weighing, in the form that the projector reads again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptMark {
    /// Which of them.
    pub kind: MarkKind,
    /// Its key.
    pub record: Key,
    /// The record.
    pub kept: Vec<u8>,
}

/// New rows of an athlete.
#[derive(Debug, Clone)]
pub struct Change {
    /// Who.
    pub athlete: PersonId,
    /// Whether everything that is kept of the athlete goes first.
    pub whole: bool,
    /// The rules with which sessions were judged, as kept.
    pub rules: Vec<u8>,
    /// Documents that were read.
    pub docs: Vec<DocFacts>,
    /// What was read of logs and notes that moved on.
    pub parts: Vec<Part>,
    /// What the availability documents that were read say.
    pub available: Vec<(i64, Vec<Said>)>,
    /// Sessions whose row and kept form go, with the plan: they changed or are no longer in it.
    pub gone: Vec<(i64, Key)>,
    /// Kept forms to add; their old ones are among `gone`.
    pub asked: Vec<Asked>,
    /// Planned sessions whose row alone goes, with the plan.
    pub stale: Vec<(i64, Key)>,
    /// Sessions of logs, beside those of the parts, whose row as an extra goes.
    pub extras: Vec<(i64, Key)>,
    /// Rows to add.
    pub rows: Vec<SessionRow>,
}

/// What the club's library says about judging, as kept; none before it was read.
///
/// # Errors
/// When storage fails.
pub fn rules(db: &Db, club: ClubId) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(db
        .prepare_cached("SELECT rules FROM board_club WHERE club = ?1")?
        .query_row([club.0.as_bytes()], |r| r.get(0))
        .optional()?
        .flatten())
}

fn day(row: &Row<'_>, column: usize) -> sql::Result<Day> {
    row.get_ref(column)?.as_str().map_err(|e| odd(column, e))?.parse().map_err(|e| odd(column, e))
}

fn maybe_day(row: &Row<'_>, column: usize) -> sql::Result<Option<Day>> {
    let text = row.get_ref(column)?.as_str_or_null().map_err(|e| odd(column, e))?;
    text.map(str::parse).transpose().map_err(|e| odd(column, e))
}

fn key(row: &Row<'_>, column: usize) -> sql::Result<Key> {
    row.get_ref(column)?.as_str().map_err(|e| odd(column, e))?.parse().map_err(|e| odd(column, e))
}

const SESSION: &str = "day, extra, session, doc, title, logged, left_out, verdict, share, sets_done, \
                       sets_asked, earlier, swapped, done_on, minutes, effort";

fn session(r: &Row<'_>) -> sql::Result<SessionRow> {
    let logged = r.get_ref(5)?.as_str_or_null().map_err(|e| odd(5, e))?;
    let verdict = r.get_ref(7)?.as_str_or_null().map_err(|e| odd(7, e))?;
    Ok(SessionRow {
        day: day(r, 0)?,
        extra: r.get(1)?,
        session: key(r, 2)?,
        doc: r.get(3)?,
        title: r.get(4)?,
        logged: logged.and_then(|w| Logged::ALL.into_iter().find(|l| l.word() == w)),
        left_out: r.get(6)?,
        verdict: verdict.and_then(|w| w.parse().ok()),
        share: r.get(8)?,
        sets_done: value::count(r, 9)?,
        sets_asked: value::count(r, 10)?,
        earlier: r.get(11)?,
        swapped: value::count(r, 12)?,
        done_on: maybe_day(r, 13)?,
        minutes: r.get(14)?,
        effort: r.get(15)?,
    })
}

/// Calls `each` for the sessions of an athlete from one day to another, by day.
///
/// # Errors
/// When storage fails.
pub fn sessions(
    db: &Db,
    grant: &MayReview,
    athlete: PersonId,
    (from, to): (Day, Day),
    mut each: impl FnMut(SessionRow),
) -> Result<(), StoreError> {
    if grant.of(athlete).is_none() {
        return Ok(());
    }
    let mut ask = db.prepare_cached(&format!(
        "SELECT {SESSION} FROM board_session WHERE athlete = ?1 AND day >= ?2 AND day <= ?3
         ORDER BY day, extra, session, doc"
    ))?;
    let mut rows = ask.query((athlete.0.as_bytes(), from.to_string(), to.to_string()))?;
    while let Some(r) = rows.next()? {
        each(session(r)?);
    }
    Ok(())
}

/// What care staff said that an athlete may train.
///
/// # Errors
/// When storage fails.
pub fn available(db: &Db, grant: &MayReview, athlete: PersonId) -> Result<Vec<Said>, StoreError> {
    if grant.of(athlete).is_none() {
        return Ok(Vec::new());
    }
    let mut ask = db.prepare_cached(
        "SELECT record, said_at, from_day, until_day, level, avoid, instead FROM board_available
         WHERE athlete = ?1 ORDER BY said_at, record",
    )?;
    let note = |r: &Row<'_>, column: usize| {
        let text = r.get::<_, Option<String>>(column)?;
        text.map(Text::new).transpose().map_err(|e| odd(column, e))
    };
    let rows = ask.query_map([athlete.0.as_bytes()], |r| {
        Ok(Said {
            key: key(r, 0)?,
            at: Moment(r.get(1)?),
            from: day(r, 2)?,
            until: maybe_day(r, 3)?,
            level: r.get::<_, String>(4)?.parse().map_err(|e| odd(4, e))?,
            avoid: note(r, 5)?,
            instead: note(r, 6)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The row of one planned session, for the projector.
///
/// # Errors
/// When storage fails.
pub fn planned_row(db: &Db, athlete: PersonId, asked: &Asked) -> Result<Option<SessionRow>, StoreError> {
    Ok(db
        .prepare_cached(&format!(
            "SELECT {SESSION} FROM board_session
             WHERE athlete = ?1 AND day = ?2 AND extra = 0 AND session = ?3 AND doc = ?4"
        ))?
        .query_row((athlete.0.as_bytes(), asked.day.to_string(), asked.session.as_str(), asked.doc), session)
        .optional()?)
}

/// What plans of an athlete ask in the session of that key, as kept: one plan, unless somebody wrote a key twice.
///
/// # Errors
/// When storage fails.
pub fn asked(db: &Db, athlete: PersonId, session: &Key) -> Result<Vec<Asked>, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT doc, session, day, asked FROM board_asked WHERE athlete = ?1 AND session = ?2 ORDER BY doc",
    )?;
    let rows = ask.query_map((athlete.0.as_bytes(), session.as_str()), kept)?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The plans that have the session of that key.
///
/// # Errors
/// When storage fails.
pub fn asking(db: &Db, athlete: PersonId, session: &Key) -> Result<Vec<i64>, StoreError> {
    let mut ask = db.prepare_cached("SELECT doc FROM board_asked WHERE athlete = ?1 AND session = ?2")?;
    let rows = ask.query_map((athlete.0.as_bytes(), session.as_str()), |r| r.get(0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

fn kept(r: &Row<'_>) -> sql::Result<Asked> {
    Ok(Asked { doc: r.get(0)?, session: key(r, 1)?, day: day(r, 2)?, asked: r.get(3)? })
}

/// What all sessions of a plan ask, as kept.
///
/// # Errors
/// When storage fails.
pub fn all_asked(db: &Db, doc: i64) -> Result<Vec<Asked>, StoreError> {
    let mut ask = db.prepare_cached("SELECT doc, session, day, asked FROM board_asked WHERE doc = ?1")?;
    let rows = ask.query_map([doc], kept)?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Up to which chunk the rows follow from each document of an athlete.
///
/// # Errors
/// When storage fails.
pub fn read_up_to(db: &Db, athlete: PersonId) -> Result<BTreeMap<i64, u64>, StoreError> {
    let mut ask = db.prepare_cached("SELECT doc, n FROM board_doc WHERE athlete = ?1")?;
    let rows = ask.query_map([athlete.0.as_bytes()], |r| Ok((r.get(0)?, value::count(r, 1)?)))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The records that speak of a session of the plan: document, root map, key.
///
/// # Errors
/// When storage fails.
pub fn speak_of(db: &Db, athlete: PersonId, session: &Key) -> Result<Vec<(i64, String, Key)>, StoreError> {
    let mut ask =
        db.prepare_cached("SELECT doc, root, record FROM board_record WHERE athlete = ?1 AND session = ?2")?;
    let rows =
        ask.query_map((athlete.0.as_bytes(), session.as_str()), |r| Ok((r.get(0)?, r.get(1)?, key(r, 2)?)))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The sessions of the plan of which records of a document spoke; of all of them when none are named.
///
/// # Errors
/// When storage fails.
pub fn spoken_of(db: &Db, doc: i64, records: Option<&Touched>) -> Result<BTreeSet<Key>, StoreError> {
    let Some(records) = records else {
        let mut ask =
            db.prepare_cached("SELECT session FROM board_record WHERE doc = ?1 AND session IS NOT NULL")?;
        let rows = ask.query_map([doc], |r| key(r, 0))?;
        return Ok(rows.collect::<Result<_, _>>()?);
    };
    let mut ask = db.prepare_cached(
        "SELECT session FROM board_record
         WHERE doc = ?1 AND root = ?2 AND record = ?3 AND session IS NOT NULL",
    )?;
    let mut spoken = BTreeSet::new();
    for (root, keys) in records {
        for record in keys {
            spoken.extend(ask.query_row((doc, *root, record.as_str()), |r| key(r, 0)).optional()?);
        }
    }
    Ok(spoken)
}

/// Whether a document held any of these records when it was last read.
///
/// # Errors
/// When storage fails.
pub fn any_known(db: &Db, doc: i64, records: &Touched) -> Result<bool, StoreError> {
    let mut ask =
        db.prepare_cached("SELECT 1 FROM board_record WHERE doc = ?1 AND root = ?2 AND record = ?3")?;
    for (root, keys) in records {
        for record in keys {
            if ask.query_row((doc, *root, record.as_str()), |_| Ok(())).optional()?.is_some() {
                return Ok(true);
            }
        }
    }
    Ok(false)
}

/// All test trials and weighings of an athlete that may be reviewed.
///
/// # Errors
/// When storage fails.
pub fn marks(db: &Db, grant: &MayReview, athlete: PersonId) -> Result<Vec<KeptMark>, StoreError> {
    if grant.of(athlete).is_none() {
        return Ok(Vec::new());
    }
    let mut ask = db.prepare_cached("SELECT kind, record, kept FROM board_mark WHERE athlete = ?1")?;
    let rows = ask.query_map([athlete.0.as_bytes()], |r| {
        let trial = r.get_ref(0)?.as_str().map_err(|e| odd(0, e))? == MarkKind::Trial.word();
        let kind = if trial { MarkKind::Trial } else { MarkKind::CheckIn };
        Ok(KeptMark { kind, record: key(r, 1)?, kept: r.get(2)? })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// What is known about an athlete beside the sessions; none before the first projection.
///
/// # Errors
/// When storage fails.
pub fn facts(db: &Db, athlete: PersonId) -> Result<Option<AthleteFacts>, StoreError> {
    Ok(db
        .prepare_cached("SELECT plan_to, rules FROM board_athlete WHERE athlete = ?1")?
        .query_row([athlete.0.as_bytes()], |r| {
            Ok(AthleteFacts { plan_to: maybe_day(r, 0)?, rules: r.get(1)? })
        })
        .optional()?)
}

/// Fields at which two edits met and records that could not be read, in plans that go on in `from` or later and in
/// what was logged then.
///
/// # Errors
/// When storage fails.
pub fn met(db: &Db, grant: &MayReview, athlete: PersonId, from: Month) -> Result<(u64, u64), StoreError> {
    if grant.of(athlete).is_none() {
        return Ok((0, 0));
    }
    Ok(db
        .prepare_cached(
            "SELECT coalesce(sum(met), 0), coalesce(sum(unreadable), 0) FROM board_doc
             WHERE athlete = ?1 AND month >= ?2",
        )?
        .query_row((athlete.0.as_bytes(), from.to_string()), |r| {
            Ok((value::count(r, 0)?, value::count(r, 1)?))
        })?)
}

/// Event groups of a club's athletes, and the members of one squad when it is asked for.
#[derive(Debug, Clone, Default)]
pub struct Members {
    /// Event group by athlete, in the words of the last squad that names one.
    pub events: BTreeMap<PersonId, String>,
    /// Members of the squad that was asked for.
    pub of_squad: BTreeSet<PersonId>,
}

/// Reads [`Members`].
///
/// # Errors
/// When storage fails.
pub fn members(db: &Db, grant: &MayReview, squad: Option<SquadId>) -> Result<Members, StoreError> {
    let mut ask = db.prepare_cached(
        "SELECT m.squad, m.athlete, m.events FROM board_member m JOIN squad s ON s.id = m.squad
         WHERE s.club = ?1 ORDER BY m.squad, m.athlete",
    )?;
    let mut rows = ask.query([grant.club().0.as_bytes()])?;
    let mut members = Members::default();
    while let Some(r) = rows.next()? {
        let athlete = value::person(r, 1)?;
        if let Some(events) = r.get::<_, Option<String>>(2)? {
            members.events.insert(athlete, events);
        }
        if squad == Some(value::squad(r, 0)?) {
            members.of_squad.insert(athlete);
        }
    }
    Ok(members)
}

/// Numbers that change whenever anything changes that a review of this club can show.
///
/// # Errors
/// When storage fails.
pub fn stamp(db: &Db, grant: &MayReview) -> Result<[u64; 5], StoreError> {
    Ok(db
        .prepare_cached(
            "SELECT c.people_version, c.heard_version, coalesce(b.version, 0),
                    (SELECT coalesce(sum(version), 0) FROM job WHERE club = ?1),
                    (SELECT coalesce(sum(care_version), 0) FROM person WHERE club = ?1)
             FROM club c LEFT JOIN board_club b ON b.club = c.id WHERE c.id = ?1",
        )?
        .query_row([grant.club().0.as_bytes()], |r| {
            Ok([
                value::count(r, 0)?,
                value::count(r, 1)?,
                value::count(r, 2)?,
                value::count(r, 3)?,
                value::count(r, 4)?,
            ])
        })?)
}

/// The form in which the rows were written; none when they never were.
///
/// # Errors
/// When storage fails.
pub fn form(db: &Db) -> Result<Option<u32>, StoreError> {
    let value: Option<Vec<u8>> = db
        .prepare_cached("SELECT value FROM meta WHERE key = 'board_form'")?
        .query_row([], |r| r.get(0))
        .optional()?;
    Ok(value.and_then(|v| v.try_into().ok()).map(u32::from_be_bytes))
}
