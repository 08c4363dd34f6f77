//! An athlete's weeks from the projector's rows: figures of each, Monday to Sunday.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::exchange::access::Role;
use backstraight_core::view::board::Figure;
use backstraight_core::view::state::State;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::board::state_of;
use super::text::{percent, table};
use crate::grant::MayReview;
use crate::store::board::{self as rows, SessionRow};
use crate::store::{Db, StoreError, job, review};

/// The weeks of one athlete.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Weeks {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// The day on which it was made.
    pub today: String,
    /// The last local day through which the athlete's phone was heard.
    pub heard_through: Option<String>,
    /// Whether something that was acknowledged is not in it yet: more than 0.
    #[serde(default)]
    pub pending: u64,
    /// The weeks, oldest first.
    pub weeks: Vec<Week>,
}

/// One week.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Week {
    /// Its Monday.
    pub start: String,
    /// Mean share of the sessions that were heard of, 0 to 1.
    pub share: Option<f64>,
    /// How many sessions that counts.
    pub heard: u64,
    /// Sessions of which nothing is known; never in the share.
    pub unheard: u64,
    /// How many sessions are in each state, by its word.
    pub states: BTreeMap<String, u64>,
    /// Sets done.
    pub sets_done: u64,
    /// Sets asked in sessions that were logged.
    pub sets_asked: u64,
    /// Minutes of the sessions that say how long they took.
    pub minutes: i64,
}

/// Reads the weeks that the days touch; none when there is no such athlete.
///
/// # Errors
/// When storage fails.
pub fn read(
    db: &Db,
    grant: &MayReview,
    (from, to, today): (Day, Day, Day),
) -> Result<Option<Weeks>, StoreError> {
    let found = review::people(db, grant)?
        .into_iter()
        .find(|p| Some(p.id) == grant.only() && p.role == Role::Athlete && !p.withdrawn);
    let Some(person) = found else { return Ok(None) };
    let (first, last) = (from.week_start(), to.week_start().plus(6));
    let mut by_week: BTreeMap<Day, Vec<(State, SessionRow)>> = BTreeMap::new();
    let mut start = first;
    while start <= last {
        by_week.insert(start, Vec::new());
        start = start.plus(7);
    }
    rows::sessions(db, grant, person.id, (first, last), |r| {
        let state = state_of(&r, today, person.rows_through);
        by_week.entry(r.day.week_start()).or_default().push((state, r));
    })?;
    Ok(Some(Weeks {
        id: person.id.to_string(),
        name: person.name,
        today: today.to_string(),
        heard_through: person.heard_through.map(|d| d.to_string()),
        pending: job::pending(db, grant)?,
        weeks: by_week.into_iter().map(|(start, rows)| week(start, &rows)).collect(),
    }))
}

fn week(start: Day, rows: &[(State, SessionRow)]) -> Week {
    let figure = Figure::of(rows.iter().map(|(state, r)| (*state, r.share)));
    let mut states: BTreeMap<String, u64> = BTreeMap::new();
    for (state, _) in rows {
        *states.entry(state.word().to_owned()).or_default() += 1;
    }
    Week {
        start: start.to_string(),
        share: figure.share,
        heard: figure.heard as u64,
        unheard: figure.unheard as u64,
        states,
        sets_done: rows.iter().map(|(_, r)| r.sets_done).sum(),
        sets_asked: rows.iter().map(|(_, r)| r.sets_asked).sum(),
        minutes: rows.iter().filter_map(|(_, r)| r.minutes).sum(),
    }
}

impl Weeks {
    /// As a table, one line per week.
    #[must_use]
    pub fn to_text(&self) -> String {
        let rows: Vec<Vec<String>> = self
            .weeks
            .iter()
            .map(|w| {
                let states: Vec<String> = w.states.iter().map(|(s, n)| format!("{n} {s}")).collect();
                vec![
                    w.start.clone(),
                    w.share.map_or_else(|| "–".to_owned(), percent),
                    states.join(", "),
                    format!("{} of {}", w.sets_done, w.sets_asked),
                    w.minutes.to_string(),
                ]
            })
            .collect();
        table(&["week of", "share", "sessions", "sets", "min"], &rows)
    }
}
