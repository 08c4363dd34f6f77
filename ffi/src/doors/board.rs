//! The squad at a glance, and what was done as a table. Judged by core from the documents on this phone, so
//! it works without a signal.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Known;
use uuid::Uuid;

use super::clock::Now;
use super::error::DoorError;
use super::install::Install;
use super::sheet::{Here, SetNumbers, numbers};
use super::today::{OfPerson, SessionLine, days, lines, thousandths};
use super::work::{Work, count, key};

/// Most rows of one answer.
const MOST_ROWS: u32 = 5_000;

/// Somebody of the club.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct PersonLine {
    /// Who.
    pub person: String,
    /// The name shown.
    pub name: String,
    /// The role, a stable word.
    pub role: String,
    /// The last local day through which every install in use of that person was heard; for coaches.
    pub heard_day: Option<String>,
}

/// An athlete on the board.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct BoardRow {
    /// Who.
    pub athlete: String,
    /// The name shown.
    pub name: String,
    /// Sessions by day.
    pub sessions: Vec<SessionLine>,
    /// Mean share of the sessions that were heard of, thousandths; none when there was none.
    pub share: Option<u32>,
    /// How many sessions that counts.
    pub heard: u32,
    /// Sessions of which nothing is known: beside the share, never in it.
    pub unheard: u32,
    /// Fields at which two edits met.
    pub met: u32,
}

/// Which sets.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct SetAsk {
    /// First day.
    pub first_day: String,
    /// Last day.
    pub last_day: String,
    /// Whose: one's own when missing.
    #[uniffi(default = None)]
    pub athlete: Option<String>,
    /// Of which exercise: any when missing.
    #[uniffi(default = None)]
    pub exercise: Option<String>,
    /// Goes on after this: `next` of the answer before.
    #[uniffi(default = None)]
    pub after: Option<String>,
    /// Most rows; at most 5,000.
    #[uniffi(default = 200)]
    pub most: u32,
}

/// A set in a table.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct SetRow {
    /// Which.
    pub set: String,
    /// The day of its session.
    pub day: String,
    /// When it was logged first, ms since 1970 in UTC.
    pub at_ms: i64,
    /// Its session in the log.
    pub session: String,
    /// The exercise.
    pub exercise: String,
    /// Its name.
    pub name: String,
    /// Its numbers.
    pub numbers: SetNumbers,
}

/// A part of a table.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct SetPage {
    /// Rows by session and order.
    pub rows: Vec<SetRow>,
    /// Hand this in to go on; none at the end.
    pub next: Option<String>,
}

#[uniffi::export]
impl Install {
    /// People whom this install knows of, by name.
    ///
    /// # Errors
    /// What the store says.
    pub fn people(&self) -> Result<Vec<PersonLine>, DoorError> {
        self.read(|work| {
            let mut all: Vec<_> = work
                .device
                .people()?
                .into_iter()
                .filter_map(|k| {
                    let person = person(&k)?.to_string();
                    Some(PersonLine { person, name: k.name, role: k.role, heard_day: k.heard_day })
                })
                .collect();
            all.sort_by(|a, b| (&a.name, &a.person).cmp(&(&b.name, &b.person)));
            Ok(all)
        })
    }

    /// The squad at a glance, athletes by name. For coaches.
    ///
    /// # Errors
    /// `NotAllowed`, `BadValue`, and what the store says.
    pub fn board(&self, first_day: String, last_day: String, now: Now) -> Result<Vec<BoardRow>, DoorError> {
        self.clock.tell(now);
        let (first, last) = days(&first_day, &last_day)?;
        self.read(|work| {
            athletes(work)?
                .into_iter()
                .map(|(name, person, heard)| board_row(work, &name, person, heard, (first, last)))
                .collect()
        })
    }

    /// Sets as a table, page by page.
    ///
    /// # Errors
    /// `BadValue`, `NotThere`, and what the store says.
    pub fn set_rows(&self, ask: SetAsk) -> Result<SetPage, DoorError> {
        let (first, last) = days(&ask.first_day, &ask.last_day)?;
        let exercise = ask.exercise.as_deref().map(|e| key("exercise", e)).transpose()?;
        if !(1..=MOST_ROWS).contains(&ask.most) {
            return Err(DoorError::field("most", "out-of-range", format!("1 to {MOST_ROWS}")));
        }
        let most = usize::try_from(ask.most).unwrap_or(usize::MAX);
        self.read(|work| {
            let whose = work.person(ask.athlete.as_deref())?;
            let library = work.library()?;
            let done = work.readings.logged(&mut work.device, whose, (first, last))?;
            let mut waits = ask.after.clone();
            let mut rows = Vec::new();
            let sets = done
                .sessions
                .iter()
                .filter(|s| first <= s.session.record.date && s.session.record.date <= last);
            let sets = sets.flat_map(|s| s.works.iter().map(move |w| (s, w)));
            let wanted = sets.filter(|(_, w)| exercise.as_ref().is_none_or(|e| w.work.record.ex == *e));
            for (session, work) in wanted {
                let name = library.exercise_name(&work.work.record.ex);
                for set in &work.sets {
                    let key = set.set.key().to_string();
                    if let Some(after) = &waits {
                        if *after == key {
                            waits = None;
                        }
                        continue;
                    }
                    if rows.len() == most {
                        let next = rows.last().map(|r: &SetRow| r.set.clone());
                        return Ok(SetPage { rows, next });
                    }
                    rows.push(SetRow {
                        set: key,
                        day: session.session.record.date.to_string(),
                        at_ms: set.first_at().0,
                        session: session.session.key().to_string(),
                        exercise: work.work.record.ex.to_string(),
                        name: name.clone(),
                        numbers: numbers(&set.set.record),
                    });
                }
            }
            match waits {
                Some(after) => Err(DoorError::missing("set to go on after", &after)),
                None => Ok(SetPage { rows, next: None }),
            }
        })
    }
}

/// The athletes whom a coach knows of, by name: the name, who, and the last day through which they were heard.
pub(super) fn athletes(work: &Work) -> Result<Vec<(String, PersonId, Option<Day>)>, DoorError> {
    if !work.device.identity().role.coaches() {
        return Err(DoorError::NotAllowed { what: "others' training is for coaches".to_owned() });
    }
    let people = work.device.people()?.into_iter().filter(|k| k.role == Role::Athlete.word());
    let mut all: Vec<_> = people
        .filter_map(|k| {
            let heard = k.heard_day.as_deref().and_then(|d| d.parse().ok());
            Some((k.name.clone(), person(&k)?, heard))
        })
        .collect();
    all.sort();
    Ok(all)
}

fn board_row(
    work: &mut Work,
    name: &str,
    person: PersonId,
    heard: Option<Day>,
    (first, last): (Day, Day),
) -> Result<BoardRow, DoorError> {
    let here = Here::read(work, person)?;
    let of = OfPerson { person, name, heard };
    Ok(of.row(&here, first, last, here.day, |row| BoardRow {
        athlete: person.to_string(),
        name: name.to_owned(),
        sessions: lines(row),
        share: row.figure.map(thousandths),
        heard: count(row.heard),
        unheard: count(row.unheard),
        met: count(row.met),
    }))
}

fn person(known: &Known) -> Option<PersonId> {
    Uuid::from_slice(&known.person).ok().map(PersonId)
}

/// Whose install that is.
pub(super) fn name_of_install(people: &[Known], install: InstallId) -> Option<String> {
    let has = |k: &&Known| k.installs.iter().any(|i| i.as_slice() == install.0);
    people.iter().find(has).map(|k| k.name.clone())
}
