//! The athlete's day, and the sessions of any days. States are core's.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::science::Caution;
use backstraight_core::view::availability;
use backstraight_core::view::board::{Athlete, Review, Row, row};
use backstraight_core::view::state::{State, heard_of_self};

use super::clock::Now;
use super::error::DoorError;
use super::install::Install;
use super::sheet::{Here, LimitsLine, whole};
use super::work::{Work, count, day};

/// Most days in one answer.
const MOST_DAYS: i32 = 400;

/// The state of a session. Silence is not a miss: `Missed` needs that every device in use was heard after that
/// day, or that somebody said so. Of one's own sessions a phone knows no more than that it has nothing of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Enum)]
pub enum SessionState {
    /// On a later day.
    Coming,
    /// Today.
    Due,
    /// As asked.
    Done,
    /// Some of it.
    Part,
    /// Another exercise, or much more or less than asked.
    Changed,
    /// A coach said that it does not count.
    Excused,
    /// Known not to be done.
    Missed,
    /// Nothing is known.
    Unheard,
    /// Nobody asked it.
    Extra,
}

/// A session in a list.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct SessionLine {
    /// Which.
    pub session: String,
    /// Its day: planned, or done when nobody asked for it.
    pub day: String,
    /// Its title.
    pub title: String,
    /// Its state.
    pub state: SessionState,
    /// Sets done.
    pub sets_done: u32,
    /// Sets asked.
    pub sets_asked: u32,
    /// The share of what was asked, thousandths; none where nothing is known.
    pub share: Option<u32>,
    /// Whether the plan asks something else now than what was shown when it was done.
    pub shown_earlier: bool,
    /// The athlete's words to the coach.
    pub comment: Option<String>,
}

/// The athlete's day.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Today {
    /// The day.
    pub day: String,
    /// Its sessions.
    pub sessions: Vec<SessionLine>,
    /// What care staff said of the day, where it is not full training. Show it first.
    pub limits: Option<LimitsLine>,
    /// Whether the day's check-in was answered.
    pub checked_in: bool,
    /// Changes that wait to be sent: they are saved, and not yet with the coach.
    pub waiting: u32,
}

#[uniffi::export]
impl Install {
    /// Today.
    ///
    /// # Errors
    /// `NotEnrolled`, `WrongClock`, `Paused`, what the store says.
    pub fn today(&self, now: Now) -> Result<Today, DoorError> {
        self.clock.tell(now);
        self.read(|work| {
            let person = work.device.identity().person;
            let here = Here::read(work, person)?;
            let own = OfPerson { person, name: "", heard: Some(heard_of_self(here.day)) };
            let lines = own.lines(&here, here.day, here.day, here.day);
            let said = availability::said(&here.done.availability);
            let limits = availability::limits(&said, here.day).map(|said| LimitsLine {
                words: said.words(),
                caution: Caution::Availability.text().to_owned(),
            });
            Ok(Today {
                day: here.day.to_string(),
                sessions: lines,
                limits,
                checked_in: here.done.checkins.iter().any(|c| c.record.date == here.day),
                waiting: work.waiting()?,
            })
        })
    }

    /// Sessions of some days; of another athlete for a coach.
    ///
    /// # Errors
    /// `BadValue`, `NotThere`, and what the store says.
    pub fn sessions(
        &self,
        first_day: String,
        last_day: String,
        athlete: Option<String>,
        now: Now,
    ) -> Result<Vec<SessionLine>, DoorError> {
        self.clock.tell(now);
        let (first, last) = days(&first_day, &last_day)?;
        self.read(|work| {
            let person = work.person(athlete.as_deref())?;
            let here = Here::read(work, person)?;
            let heard = heard(work, person, here.day)?;
            Ok(OfPerson { person, name: "", heard }.lines(&here, first, last, here.day))
        })
    }
}

/// First and last day of an answer.
pub(super) fn days(first: &str, last: &str) -> Result<(Day, Day), DoorError> {
    let (first, last) = (day("first_day", first)?, day("last_day", last)?);
    if last < first || last.since(first) > MOST_DAYS {
        let detail = format!("on or after the first day, at most {MOST_DAYS} days later");
        return Err(DoorError::field("last_day", "out-of-range", detail));
    }
    Ok((first, last))
}

/// The last day through which an athlete was heard.
pub(super) fn heard(work: &Work, person: PersonId, today: Day) -> Result<Option<Day>, DoorError> {
    if person == work.device.identity().person {
        return Ok(Some(heard_of_self(today)));
    }
    let people = work.device.people()?;
    let known = people.into_iter().find(|k| k.person.as_slice() == person.0.as_bytes());
    Ok(known.and_then(|k| k.heard_day).and_then(|d| d.parse().ok()))
}

/// An athlete of whom sessions are judged.
pub(super) struct OfPerson<'a> {
    pub(super) person: PersonId,
    pub(super) name: &'a str,
    pub(super) heard: Option<Day>,
}

impl OfPerson<'_> {
    /// The athlete as core judges one.
    pub(super) fn with<T>(&self, here: &Here, f: impl FnOnce(Athlete<'_>) -> T) -> T {
        f(Athlete {
            person: self.person,
            name: self.name,
            events: "",
            plans: &here.plans,
            done: &here.done,
            heard_through: self.heard,
        })
    }

    pub(super) fn row<T>(
        &self,
        here: &Here,
        first: Day,
        last: Day,
        today: Day,
        f: impl FnOnce(&Row<'_>) -> T,
    ) -> T {
        self.with(here, |athlete| f(&row(athlete, &here.library, first, last, today)))
    }

    pub(super) fn lines(&self, here: &Here, first: Day, last: Day, today: Day) -> Vec<SessionLine> {
        self.row(here, first, last, today, lines)
    }
}

pub(super) fn lines(row: &Row<'_>) -> Vec<SessionLine> {
    row.sessions.iter().filter_map(line).collect()
}

fn line(r: &Review<'_>) -> Option<SessionLine> {
    let (done, asked) = r.sets();
    let asked_when_open = || r.planned.map_or(0, asked_sets);
    let comment = r.logs.iter().find_map(|l| l.session.record.comment.as_ref());
    Some(SessionLine {
        session: r.key()?.to_string(),
        day: r.date.to_string(),
        title: r.title(),
        state: r.state.into(),
        sets_done: count(done),
        sets_asked: if r.share.is_some() { asked } else { asked_when_open() },
        share: r.share.as_ref().and_then(|s| s.share).map(thousandths),
        shown_earlier: r.share.as_ref().is_some_and(|s| s.earlier_version),
        comment: comment.map(ToString::to_string),
    })
}

fn asked_sets(planned: &backstraight_core::view::planned::PlannedSession) -> u32 {
    let sets = planned
        .items()
        .map(|(group, item)| backstraight_core::view::planned::sets_asked(&group.group.record, &item.record));
    sets.map(|n| whole(n.get())).sum()
}

/// A share as a whole number.
pub(super) fn thousandths(share: f64) -> u32 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share is between 0 and 1")]
    let n = (share.clamp(0.0, 1.0) * 1000.0).round() as u32;
    n
}

impl From<State> for SessionState {
    fn from(state: State) -> SessionState {
        match state {
            State::Coming => SessionState::Coming,
            State::Due => SessionState::Due,
            State::Done => SessionState::Done,
            State::Part => SessionState::Part,
            State::Changed => SessionState::Changed,
            State::Excused => SessionState::Excused,
            State::Missed => SessionState::Missed,
            State::Unheard => SessionState::Unheard,
            State::Extra => SessionState::Extra,
        }
    }
}
