//! All plans of one athlete: a document for each season, and what is asked is what stands in any of them. Knows no
//! screen and no rule of training.

use std::sync::Arc;

use super::done::DoneSession;
use super::planned::{Plan, PlannedSession};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::model::number::SeasonNo;

/// The plans of one athlete, by season.
#[derive(Debug, Clone, Default)]
pub struct Plans(Vec<(SeasonNo, Arc<Plan>)>);

/// A session in the plan in which it stands.
#[derive(Debug, Clone, Copy)]
pub struct InPlan<'a> {
    /// The season of the plan.
    pub season: SeasonNo,
    /// The plan.
    pub plan: &'a Plan,
    /// The session.
    pub planned: &'a PlannedSession,
}

impl From<Vec<(SeasonNo, Arc<Plan>)>> for Plans {
    fn from(mut list: Vec<(SeasonNo, Arc<Plan>)>) -> Plans {
        list.sort_by_key(|(season, _)| *season);
        Plans(list)
    }
}

impl Plans {
    /// A single plan.
    #[must_use]
    pub fn one(season: SeasonNo, plan: Plan) -> Plans {
        Plans(vec![(season, Arc::new(plan))])
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Each season with its plan, by season.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (SeasonNo, &Plan)> {
        self.0.iter().map(|(season, plan)| (*season, &**plan))
    }

    /// The plan of a season.
    #[must_use]
    pub fn of(&self, season: SeasonNo) -> Option<&Arc<Plan>> {
        self.0.iter().find(|(s, _)| *s == season).map(|(_, plan)| plan)
    }

    /// All sessions; by day and order within a plan.
    pub fn sessions(&self) -> impl Iterator<Item = InPlan<'_>> {
        self.iter().flat_map(|(season, plan)| {
            plan.sessions.iter().map(move |planned| InPlan { season, plan, planned })
        })
    }

    /// Sessions of days `from` to `to`, by day and order.
    #[must_use]
    pub fn between(&self, from: Day, to: Day) -> Vec<InPlan<'_>> {
        let mut list: Vec<_> = self.sessions().filter(|s| from <= s.day() && s.day() <= to).collect();
        // Within one plan they are in order already; two plans can have sessions on the same day.
        if self.0.len() > 1 {
            list.sort_by_cached_key(|s| s.planned.order());
        }
        list
    }

    /// Sessions of a day, in order.
    #[must_use]
    pub fn on(&self, day: Day) -> Vec<InPlan<'_>> {
        self.between(day, day)
    }

    /// The first session after a day.
    #[must_use]
    pub fn next_after(&self, day: Day) -> Option<InPlan<'_>> {
        self.sessions().filter(|s| s.day() > day).min_by_key(|s| s.planned.order())
    }

    /// The session of that key.
    #[must_use]
    pub fn session(&self, key: &Key) -> Option<InPlan<'_>> {
        self.sessions().find(|s| s.planned.key() == *key)
    }

    /// The session that a session done says it followed, where a plan has it.
    #[must_use]
    pub fn answered(&self, done: &DoneSession) -> Option<InPlan<'_>> {
        // Most of what was done beside a plan names no session at all.
        done.session.record.session.as_ref()?;
        self.sessions().find(|s| answers(s.season, done) == Some(&s.planned.key()))
    }

    /// The first plan of which that holds, with its season.
    #[must_use]
    pub fn holding(&self, that: impl Fn(&Plan) -> bool) -> Option<(SeasonNo, &Arc<Plan>)> {
        self.0.iter().find(|(_, plan)| that(plan)).map(|(season, plan)| (*season, plan))
    }

    /// The last day on which a session is asked.
    #[must_use]
    pub fn last_day(&self) -> Option<Day> {
        self.iter().filter_map(|(_, plan)| plan.last_day()).max()
    }

    /// The season whose days hold one of days `first` to `last`; the newest of several.
    #[must_use]
    pub fn season_of(&self, first: Day, last: Day) -> Option<SeasonNo> {
        let holds = |plan: &Plan| plan.span().is_some_and(|(from, to)| from <= last && first <= to);
        self.iter().rfind(|(_, plan)| holds(plan)).map(|(season, _)| season)
    }
}

impl InPlan<'_> {
    /// Its day.
    #[must_use]
    pub fn day(&self) -> Day {
        self.planned.session.record.date
    }
}

/// The session of that season's plan that a session done says it followed. One that names no season may be of any:
/// keys are unique, and what the phone shows as done must not read as missed here.
#[must_use]
pub fn answers(season: SeasonNo, done: &DoneSession) -> Option<&Key> {
    let record = &done.session.record;
    record.session.as_ref().filter(|_| record.season.is_none_or(|s| s == season))
}
