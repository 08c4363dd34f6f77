//! What coaches review: board, athlete, session.

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use serde::Deserialize;

use super::account::no_store;
use crate::app::Shared;
use crate::grant::{self, Caller, MayReview};
use crate::problem::Problem;
use crate::report;
use crate::review::Review;

/// Most days of one review.
const MOST_DAYS: i32 = 400;

/// Which days. Without any, the week of today.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Days {
    from: Option<String>,
    to: Option<String>,
    /// The reader's local day; the server's day in UTC when missing.
    today: Option<String>,
}

/// First day, last day, today.
type Span = (Day, Day, Day);

fn span(query: Result<Query<Days>, QueryRejection>, app: &Shared) -> Result<Span, Problem> {
    let Query(days) = query.map_err(|_| Problem::Field("query"))?;
    let read = |text: Option<String>, field| {
        text.map(|t| t.parse::<Day>().map_err(|_| Problem::Field(field))).transpose()
    };
    let today = match read(days.today, "today")? {
        Some(day) => day,
        None => Day::of(app.clock.now(), 0).map_err(|_| Problem::Internal)?,
    };
    let from = read(days.from, "from")?;
    let to = read(days.to, "to")?;
    let from = from.or_else(|| to.map(|t| t.plus(-6))).unwrap_or_else(|| today.week_start());
    let to = to.unwrap_or_else(|| from.plus(6));
    if to < from || to.since(from) > MOST_DAYS {
        return Err(Problem::Field("to"));
    }
    Ok((from, to, today))
}

async fn gather(app: &Shared, grant: MayReview, (from, to, today): Span) -> Result<Review, Problem> {
    Ok(app.store.read(move |db| Review::gather(db, &grant, from, to, today)).await?)
}

fn one(caller: &Caller, id: &str) -> Result<MayReview, Problem> {
    let athlete: PersonId = id.parse().map_err(|_| Problem::NotFound)?;
    // Another's training is as unknown as training that does not exist.
    grant::to_review(caller).and_then(|g| g.of(athlete)).ok_or(Problem::NotFound)
}

/// `GET /v1/board`: the squad at a glance.
pub(super) async fn board(
    State(app): State<Shared>,
    caller: Caller,
    query: Result<Query<Days>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = grant::to_review(&caller).ok_or(Problem::NotAllowed)?;
    let days = span(query, &app)?;
    let review = gather(&app, grant, days).await?;
    Ok(no_store(&report::board::board(&review.rows(), days.0, days.1, days.2)))
}

/// `GET /v1/athletes/{id}`: one athlete, plan against done.
pub(super) async fn athlete(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
    query: Result<Query<Days>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = one(&caller, &id)?;
    let days = span(query, &app)?;
    let review = gather(&app, grant, days).await?;
    let report = report::athlete::first(&review, days).ok_or(Problem::NotFound)?;
    Ok(no_store(&report))
}

/// `GET /v1/athletes/{id}/sessions/{key}`: one session in full.
pub(super) async fn session(
    State(app): State<Shared>,
    caller: Caller,
    Path((id, key)): Path<(String, String)>,
    query: Result<Query<Days>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = one(&caller, &id)?;
    let key: Key = key.parse().map_err(|_| Problem::NotFound)?;
    let days = span(query, &app)?;
    let review = gather(&app, grant, days).await?;
    let report = report::session::find(&review, &key).ok_or(Problem::NotFound)?;
    Ok(no_store(&report))
}
