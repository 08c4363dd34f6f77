//! The squad at a glance and one athlete in full: plan against done, session by session.

use super::club::Thresholds;
use super::done::{Done, DoneSession};
use super::judge::{self, SessionShare, Tolerance};
use super::library::Library;
use super::planned::{Plan, PlannedSession};
use super::state::{Facts, State, state};
use crate::base::day::Day;
use crate::base::id::PersonId;
use crate::base::key::Key;
use crate::model::log::Entered;
use crate::model::number::SeasonNo;

/// All that is known about one athlete, as the reader has it.
#[derive(Debug, Clone, Copy)]
pub struct Athlete<'a> {
    /// Who.
    pub person: PersonId,
    /// The name shown.
    pub name: &'a str,
    /// Event group.
    pub events: &'a str,
    /// The season of the plan, when there is one.
    pub season: Option<SeasonNo>,
    /// The plan.
    pub plan: &'a Plan,
    /// What was done.
    pub done: &'a Done,
    /// The last local day through which one of the athlete's installs was heard.
    pub heard_through: Option<Day>,
}

/// A session, planned or extra, with all that belongs to it.
#[derive(Debug, Clone)]
pub struct Review<'a> {
    /// The day: planned, or done when nobody asked for it.
    pub date: Day,
    /// The plan's session.
    pub planned: Option<&'a PlannedSession>,
    /// What was logged for it.
    pub logs: Vec<&'a DoneSession>,
    /// How it compares; `None` when nothing was logged or asked.
    pub share: Option<SessionShare>,
    /// Its state.
    pub state: State,
}

impl Review<'_> {
    /// Title, as planned or as logged.
    #[must_use]
    pub fn title(&self) -> String {
        let planned = self.planned.map(|p| p.session.record.title.to_string());
        let logged =
            || self.logs.iter().find_map(|l| l.session.record.title.as_ref()).map(ToString::to_string);
        planned.or_else(logged).unwrap_or_else(|| "session".to_owned())
    }

    /// The key of the session, planned or logged.
    #[must_use]
    pub fn key(&self) -> Option<Key> {
        self.planned.map(PlannedSession::key).or_else(|| self.logs.first().map(|l| l.session.key()))
    }

    /// The day on which it was done, when that is another one than planned.
    #[must_use]
    pub fn done_on(&self) -> Option<Day> {
        self.logs.first().map(|l| l.session.record.date).filter(|d| *d != self.date)
    }

    /// Sets done and asked.
    #[must_use]
    pub fn sets(&self) -> (usize, u32) {
        let Some(share) = &self.share else { return (0, 0) };
        (share.items.iter().map(|i| i.each.len()).sum(), share.items.iter().map(|i| i.sets).sum())
    }
}

/// One athlete over some days.
#[derive(Debug, Clone)]
pub struct Row<'a> {
    /// Who.
    pub athlete: Athlete<'a>,
    /// Sessions by day.
    pub sessions: Vec<Review<'a>>,
    /// Mean share over the sessions that were heard of; `None` when there was none.
    pub figure: Option<f64>,
    /// How many sessions the figure counts.
    pub heard: usize,
    /// Sessions of which nothing is known: beside the figure, never in it.
    pub unheard: usize,
    /// Fields at which two edits met.
    pub met: usize,
    /// Records that could not be read.
    pub unreadable: usize,
}

/// Puts plan and logs of one athlete side by side, for days `from` to `to`.
#[must_use]
pub fn row<'a>(athlete: Athlete<'a>, library: &Library, from: Day, to: Day, today: Day) -> Row<'a> {
    let sessions = reviews(&athlete, library, from, to, today);
    let counted: Vec<f64> = sessions
        .iter()
        .filter(|s| s.state.heard())
        // What was done though nothing was asked in it is done.
        .map(|s| s.share.as_ref().and_then(|s| s.share).unwrap_or(f64::from(s.state == State::Done)))
        .collect();
    let heard = counted.len();
    #[expect(clippy::cast_precision_loss, reason = "a count of sessions")]
    let figure = (heard > 0).then(|| (counted.iter().sum::<f64>() / heard as f64).clamp(0.0, 1.0));
    Row {
        athlete,
        figure,
        heard,
        unheard: sessions.iter().filter(|s| s.state == State::Unheard).count(),
        met: athlete.plan.met.len() + athlete.done.met.len(),
        unreadable: athlete.plan.unreadable.len() + athlete.done.unreadable.len(),
        sessions,
    }
}

fn reviews<'a>(athlete: &Athlete<'a>, library: &Library, from: Day, to: Day, today: Day) -> Vec<Review<'a>> {
    let (plan, done) = (athlete.plan, athlete.done);
    let mut list: Vec<Review<'a>> = plan
        .sessions
        .iter()
        .filter(|s| from <= s.session.record.date && s.session.record.date <= to)
        .map(|planned| planned_review(athlete, planned, library, today))
        .collect();
    let extras =
        done.sessions.iter().filter(|d| {
            let date = d.session.record.date;
            let asked =
                d.session.record.session.as_ref().is_some_and(|key| {
                    d.session.record.season == athlete.season && plan.session(key).is_some()
                });
            !asked && from <= date && date <= to
        });
    list.extend(extras.map(|d| Review {
        date: d.session.record.date,
        planned: None,
        logs: vec![d],
        share: None,
        state: State::Extra,
    }));
    list.sort_by_key(|r| (r.date, r.planned.is_none(), r.key()));
    list
}

fn planned_review<'a>(
    athlete: &Athlete<'a>,
    planned: &'a PlannedSession,
    library: &Library,
    today: Day,
) -> Review<'a> {
    let tolerance = Tolerance::of(library.settings.as_ref());
    let key = planned.key();
    let date = planned.session.record.date;
    let logs: Vec<&DoneSession> = athlete
        .done
        .sessions
        .iter()
        .filter(|d| {
            d.session.record.season == athlete.season && d.session.record.session.as_ref() == Some(&key)
        })
        .collect();
    let entered: Vec<&Entered> =
        athlete.done.entered.iter().map(|e| &e.record).filter(|e| e.session.as_ref() == Some(&key)).collect();
    let share = (!logs.is_empty() || !entered.is_empty()).then(|| {
        let exercise = |item: &_| athlete.plan.exercise_on(item, date);
        judge::session(planned, &exercise, &logs, &entered, tolerance, &|ex| library.weight(ex))
    });
    let verdict =
        athlete.done.excuses.iter().rev().find(|e| e.record.session == key).map(|e| e.record.verdict);
    let facts = Facts {
        date,
        today,
        heard_through: athlete.heard_through,
        logged: share.as_ref(),
        left_out: logs.iter().any(|l| l.session.record.skipped.is_some()),
        verdict,
        closed: logs.iter().any(|l| l.session.record.ended.is_some() || l.session.record.minutes.is_some()),
        done_from: Thresholds::of(library.settings.as_ref()).done_from,
    };
    let state = state(&facts);
    Review { date, planned: Some(planned), logs, share, state }
}
