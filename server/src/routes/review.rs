//! What coaches review, and athletes of themselves: board, athlete, session, weeks, tests.
#![expect(unused_qualifications, reason = "the macro that makes the document names parameters in full")]

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use backstraight_core::base::id::SquadId;
use backstraight_core::base::key::Key;
use backstraight_core::view::state::State as SessionState;
use serde::Deserialize;
use utoipa::IntoParams;

use super::ask::{Days, club, conditional, of_page, one, page, query, settled, span};
use crate::app::Shared;
use crate::grant::{self, Caller};
use crate::problem::{Problem, ProblemBody};
use crate::report::athlete::AthleteReport;
use crate::report::board::Board;
use crate::report::session::SessionReport;
use crate::report::tests::Tests;
use crate::report::weeks::Weeks;
use crate::report::{self, board::Ask};
use crate::review::Review;

/// Athletes of a page when nothing is said, and most.
const PAGE: (u32, u32) = (100, 1_000);

/// What is asked of the board.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct BoardQuery {
    /// First day, `2026-11-23`. Without it the Monday of this week, or six days before `to`.
    #[param(format = Date)]
    from: Option<String>,
    /// Last day, at most 400 days later. Without it six days after `from`.
    #[param(format = Date)]
    to: Option<String>,
    /// The reader's local day; the server's day in UTC when missing.
    #[param(format = Date)]
    today: Option<String>,
    /// Only members of this squad, by its identity.
    squad: Option<String>,
    /// Only sessions in this state, in words (`missed`), and only athletes who have one. Figures stay
    /// those of all sessions.
    state: Option<String>,
    /// Most athletes of a page, 1 to 1000; 100 when missing.
    #[param(minimum = 1, maximum = 1000)]
    limit: Option<u32>,
    /// The `next` of the page before.
    after: Option<String>,
}

/// The squad at a glance
///
/// One line per athlete, by name, with a cell per session. Athletes see their own line.
#[utoipa::path(
    get, path = "/v1/board", tag = "review", operation_id = "get_board", params(BoardQuery),
    responses(
        (status = 200, description = "a page of the board", body = Board,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn board(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    asked: Result<Query<BoardQuery>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = club(&caller)?;
    let q = query(asked)?;
    let days = Days { from: q.from, to: q.to, today: q.today };
    let (from, to, today) = days.span(&app)?;
    let squad: Option<SquadId> =
        q.squad.map(|s| s.parse().map_err(|_| Problem::Field("squad"))).transpose()?;
    let state = match &q.state {
        None => None,
        Some(word) => {
            Some(SessionState::ALL.into_iter().find(|s| s.word() == word).ok_or(Problem::Field("state"))?)
        }
    };
    let (after, most) = page(q.after.as_deref(), q.limit, PAGE)?;
    settled(&app, grant).await?;
    let ask = Ask { from, to, today, squad, state, after, most };
    let what = format!("board {ask:?}");
    conditional(&app, &headers, grant, what, move |db| report::board::read(db, &grant, &ask))
        .await
        .map_err(of_page)
}

/// One athlete, plan against done
///
/// Every session of the days in full, and where two edits met.
#[utoipa::path(
    get, path = "/v1/athletes/{id}", tag = "review", operation_id = "get_athlete",
    params(("id" = String, Path, description = "identity of the athlete"), Days),
    responses(
        (status = 200, description = "the athlete", body = AthleteReport,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn athlete(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    Path(id): Path<String>,
    days: Result<Query<Days>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = one(&app, &caller, &id).await?;
    let days = span(days, &app)?;
    conditional(&app, &headers, grant, format!("athlete {days:?}"), move |db| {
        Ok(report::athlete::first(&Review::gather(db, &grant, days.0, days.1, days.2)?, days))
    })
    .await
}

/// One session in full
///
/// What was asked, what was shown, what was done, set by set.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/sessions/{key}", tag = "review", operation_id = "get_session",
    params(
        ("id" = String, Path, description = "identity of the athlete"),
        ("key" = String, Path, description = "key of the session, as the board gives it"),
        Days,
    ),
    responses(
        (status = 200, description = "the session", body = SessionReport,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn session(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    Path((id, key)): Path<(String, String)>,
    days: Result<Query<Days>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = one(&app, &caller, &id).await?;
    let key: Key = key.parse().map_err(|_| Problem::NotFound)?;
    let days = span(days, &app)?;
    conditional(&app, &headers, grant, format!("session {key} {days:?}"), move |db| {
        Ok(report::session::find(&Review::gather(db, &grant, days.0, days.1, days.2)?, &key))
    })
    .await
}

/// An athlete's weeks
///
/// Every week that the days touch, Monday to Sunday: share done, what was heard of and what not,
/// minutes, and effort times minutes.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/weeks", tag = "review", operation_id = "get_athlete_weeks",
    params(("id" = String, Path, description = "identity of the athlete"), Days),
    responses(
        (status = 200, description = "the weeks", body = Weeks,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn weeks(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    Path(id): Path<String>,
    days: Result<Query<Days>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = one(&app, &caller, &id).await?;
    let days = span(days, &app)?;
    settled(&app, grant).await?;
    conditional(&app, &headers, grant, format!("weeks {days:?}"), move |db| {
        report::weeks::read(db, &grant, days)
    })
    .await
}

/// An athlete's test trials, and own bests
///
/// Trials of the days by test, oldest first: those that the athlete entered and those that a coach took.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/tests", tag = "review", operation_id = "get_athlete_tests",
    params(("id" = String, Path, description = "identity of the athlete"), Days),
    responses(
        (status = 200, description = "the tests", body = Tests,
         headers(("ETag" = String, description = "send it as If-None-Match the next time"))),
        (status = 304, description = "nothing has changed since that ETag"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn tests(
    State(app): State<Shared>,
    caller: Caller,
    headers: HeaderMap,
    Path(id): Path<String>,
    days: Result<Query<Days>, QueryRejection>,
) -> Result<Response, Problem> {
    let grant = one(&app, &caller, &id).await?;
    // What the noise of a test is comes from the trials of everybody whom the caller may review.
    let everybody = grant::to_review(&caller).unwrap_or(grant);
    let days = span(days, &app)?;
    settled(&app, grant).await?;
    conditional(&app, &headers, grant, format!("tests {days:?}"), move |db| {
        let gathered = Review::gather(db, &grant, days.0, days.1, days.2)?;
        let marks = report::attention::all_marks(db, &everybody)?;
        Ok(report::tests::of(&gathered, &marks, days))
    })
    .await
}
