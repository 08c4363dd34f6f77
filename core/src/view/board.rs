//! The squad at a glance and one athlete in full: plan against done, session by session.

use std::collections::BTreeMap;

use super::club::Thresholds;
use super::done::{Done, DoneSession};
use super::judge::{self, SessionShare, Tolerance};
use super::library::Library;
use super::planned::PlannedSession;
use super::plans::{InPlan, Plans, answers};
use super::state::{Facts, Logged, State, state};
use crate::base::day::Day;
use crate::base::id::PersonId;
use crate::base::key::Key;
use crate::model::log::Entered;
use crate::model::number::{SeasonNo, Verdict};
use crate::model::plan::Prescription;

/// All that is known about one athlete, as the reader has it.
#[derive(Debug, Clone, Copy)]
pub struct Athlete<'a> {
    /// Who.
    pub person: PersonId,
    /// The name shown.
    pub name: &'a str,
    /// Event group.
    pub events: &'a str,
    /// What is asked: the plans of all seasons, or of those that concern the days looked at.
    pub plans: &'a Plans,
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

/// What some sessions come to together.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Figure {
    /// Mean share over the sessions that were heard of, 0 to 1; `None` when there was none.
    pub share: Option<f64>,
    /// How many sessions that counts.
    pub heard: usize,
    /// Sessions of which nothing is known: beside the figure, never in it.
    pub unheard: usize,
}

impl Figure {
    /// From the state and the share of each session.
    #[must_use]
    pub fn of(sessions: impl IntoIterator<Item = (State, Option<f64>)>) -> Figure {
        let (mut sum, mut heard, mut unheard) = (0.0, 0, 0);
        for (state, share) in sessions {
            if state.heard() {
                heard += 1;
                // What was done though nothing was asked in it is done.
                sum += share.unwrap_or(f64::from(state == State::Done));
            }
            unheard += usize::from(state == State::Unheard);
        }
        #[expect(clippy::cast_precision_loss, reason = "a count of sessions")]
        let share = (heard > 0).then(|| (sum / heard as f64).clamp(0.0, 1.0));
        Figure { share, heard, unheard }
    }
}

/// What a club's library says about judging.
#[derive(Debug, Clone, PartialEq)]
pub struct Rules {
    /// Tolerances.
    pub tolerance: Tolerance,
    /// A share from which a session counts as done.
    pub done_from: f64,
    /// Exercises whose sets count other than once.
    pub weights: BTreeMap<Key, f64>,
}

impl Rules {
    /// Those of a library.
    #[must_use]
    pub fn of(library: &Library) -> Rules {
        let weights = library.exercises.keys().map(|k| (k.clone(), library.weight(k)));
        Rules {
            tolerance: Tolerance::of(library.settings.as_ref()),
            done_from: Thresholds::of(library.settings.as_ref()).done_from,
            weights: weights.filter(|(_, w)| *w != 1.0).collect(),
        }
    }

    /// How much a set of an exercise counts.
    #[must_use]
    pub fn weight(&self, ex: &Key) -> f64 {
        self.weights.get(ex).copied().unwrap_or(1.0)
    }
}

/// What is known about a planned session, whatever day it is now.
#[derive(Debug, Clone)]
pub struct Known<'a> {
    /// What was logged for it, by begin.
    pub logs: Vec<&'a DoneSession>,
    /// How it compares; `None` when nothing was logged or entered.
    pub share: Option<SessionShare>,
    /// Whether the athlete said that the whole session was left out.
    pub left_out: bool,
    /// What a coach said last.
    pub verdict: Option<Verdict>,
    /// What was logged, in a word.
    pub logged: Option<Logged>,
}

impl Known<'_> {
    /// What decides the state of the session planned for `date`, as seen on `today`.
    #[must_use]
    pub fn facts(&self, date: Day, today: Day, heard_through: Option<Day>) -> Facts {
        Facts {
            date,
            today,
            heard_through,
            logged: self.logged,
            left_out: self.left_out,
            verdict: self.verdict,
        }
    }
}

/// Gathers what is known about one session of a season's plan. `exercise_now` says which exercise a
/// prescription asks on its day.
#[must_use]
pub fn known<'a>(
    planned: &PlannedSession,
    season: SeasonNo,
    done: &'a Done,
    exercise_now: &dyn Fn(&Prescription) -> Key,
    rules: &Rules,
) -> Known<'a> {
    let key = planned.key();
    let logs: Vec<&DoneSession> = done.sessions.iter().filter(|d| answers(season, d) == Some(&key)).collect();
    let entered: Vec<&Entered> =
        done.entered.iter().map(|e| &e.record).filter(|e| e.session.as_ref() == Some(&key)).collect();
    let share = (!logs.is_empty() || !entered.is_empty()).then(|| {
        let weight = |ex: &Key| rules.weight(ex);
        judge::session(planned, exercise_now, &logs, &entered, rules.tolerance, &weight)
    });
    let verdict = done.excuses.iter().rev().find(|e| e.record.session == key).map(|e| e.record.verdict);
    let left_out = logs.iter().any(|l| l.session.record.skipped.is_some());
    let closed = logs.iter().any(|l| l.session.record.ended.is_some() || l.session.record.minutes.is_some());
    let logged = share.as_ref().map(|s| Logged::of(s, closed && !left_out, rules.done_from));
    Known { logs, share, left_out, verdict, logged }
}

/// Puts plan and logs of one athlete side by side, for days `from` to `to`.
#[must_use]
pub fn row<'a>(athlete: Athlete<'a>, library: &Library, from: Day, to: Day, today: Day) -> Row<'a> {
    let sessions = reviews(&athlete, library, from, to, today);
    let figure = Figure::of(sessions.iter().map(|s| (s.state, s.share.as_ref().and_then(|s| s.share))));
    Row {
        athlete,
        figure: figure.share,
        heard: figure.heard,
        unheard: figure.unheard,
        met: athlete.plans.iter().map(|(_, p)| p.met.len()).sum::<usize>() + athlete.done.met.len(),
        unreadable: athlete.plans.iter().map(|(_, p)| p.unreadable.len()).sum::<usize>()
            + athlete.done.unreadable.len(),
        sessions,
    }
}

fn reviews<'a>(athlete: &Athlete<'a>, library: &Library, from: Day, to: Day, today: Day) -> Vec<Review<'a>> {
    let (plans, done) = (athlete.plans, athlete.done);
    let rules = Rules::of(library);
    let asked = plans.between(from, to).into_iter();
    let mut list: Vec<Review<'a>> =
        asked.map(|session| planned_review(athlete, session, &rules, today)).collect();
    let extras = done.sessions.iter().filter(|d| {
        let date = d.session.record.date;
        from <= date && date <= to && plans.answered(d).is_none()
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
    InPlan { season, plan, planned }: InPlan<'a>,
    rules: &Rules,
    today: Day,
) -> Review<'a> {
    let date = planned.session.record.date;
    let exercise = |item: &Prescription| plan.exercise_on(item, date);
    let known = known(planned, season, athlete.done, &exercise, rules);
    let state = state(&known.facts(date, today, athlete.heard_through));
    Review { date, planned: Some(planned), logs: known.logs, share: known.share, state }
}
