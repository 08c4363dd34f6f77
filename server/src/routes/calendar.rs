//! Calendar feeds: made and taken away by whoever may read the plan, read by calendars with the link alone.

use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::{PersonId, SquadId};
use backstraight_core::exchange::proof;
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::account::no_store;
use crate::app::Shared;
use crate::calendar;
use crate::extract::From;
use crate::grant::{self, Caller};
use crate::problem::{Problem, ProblemBody};
use crate::store::calendars::{self, Feed, Of};
use crate::store::document;

/// A calendar feed.
#[derive(Debug, Serialize, ToSchema)]
struct CalendarReport {
    /// Identity, to take it away.
    calendar: String,
    /// The athlete whose plan it shows.
    #[serde(skip_serializing_if = "Option::is_none")]
    athlete: Option<String>,
    /// The squad whose plan it shows.
    #[serde(skip_serializing_if = "Option::is_none")]
    squad: Option<String>,
    /// When it was made, ms since 1970 UTC.
    created_at: i64,
    /// The link for a calendar, shown once. Whoever has it reads sessions and meets, no names and nothing that
    /// was done.
    #[serde(skip_serializing_if = "Option::is_none")]
    link: Option<String>,
}

impl CalendarReport {
    fn of(feed: &Feed, link: Option<String>) -> CalendarReport {
        let (athlete, squad) = match feed.of {
            Of::Athlete(id) => (Some(id.to_string()), None),
            Of::Squad(id) => (None, Some(id.to_string())),
        };
        CalendarReport { calendar: feed.id.to_string(), athlete, squad, created_at: feed.created.0, link }
    }
}

/// The caller's calendar feeds.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct CalendarList {
    /// Oldest first.
    calendars: Vec<CalendarReport>,
}

async fn made(app: Shared, caller: Caller, of: Of) -> Result<Response, Problem> {
    let (key, now) = (*app.tokens.secret(), app.clock.now());
    let today = Day::of(now, 0).map_err(|_| Problem::Internal)?;
    let make = move |db: &crate::store::Db| {
        let Some(name) = calendar::about(of, today) else { return Ok(Err(Problem::NotFound)) };
        let subject = document::subject(db, &name, Some(&caller.asker), today)?;
        let Some(grant) = subject.and_then(|s| grant::to_feed(&caller, of, &s)) else {
            return Ok(Err(Problem::NotFound));
        };
        Ok(calendars::make(db, &grant, &key, now)?.ok_or(Problem::TooManyThings))
    };
    let (feed, secret) = app.store.write(make).await??;
    let link = format!("{}/v1/calendar/{secret}", app.config.site());
    let mut response = no_store(&CalendarReport::of(&feed, Some(link)));
    *response.status_mut() = StatusCode::CREATED;
    Ok(response)
}

/// Makes a calendar feed of an athlete's plan
#[utoipa::path(
    post, path = "/v1/people/{id}/calendars", tag = "people", operation_id = "add_calendar_of_person",
    params(("id" = String, Path, description = "identity of the athlete")),
    responses(
        (status = 201, description = "the feed, its link shown once", body = CalendarReport),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn of_person(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let athlete: PersonId = id.parse().map_err(|_| Problem::NotFound)?;
    made(app, caller, Of::Athlete(athlete)).await
}

/// Makes a calendar feed of a squad's plans
#[utoipa::path(
    post, path = "/v1/squads/{id}/calendars", tag = "people", operation_id = "add_calendar_of_squad",
    params(("id" = String, Path, description = "identity of the squad")),
    responses(
        (status = 201, description = "the feed, its link shown once", body = CalendarReport),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn of_squad(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let squad: SquadId = id.parse().map_err(|_| Problem::NotFound)?;
    made(app, caller, Of::Squad(squad)).await
}

/// The caller's calendar feeds
#[utoipa::path(
    get, path = "/v1/calendars", tag = "people", operation_id = "get_calendars",
    responses(
        (status = 200, description = "they, without their links", body = CalendarList),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn list(State(app): State<Shared>, caller: Caller) -> Result<Response, Problem> {
    let feeds = app.store.read(move |db| calendars::of_person(db, caller.asker.person)).await?;
    Ok(no_store(&CalendarList { calendars: feeds.iter().map(|f| CalendarReport::of(f, None)).collect() }))
}

/// Takes one of the caller's calendar feeds away
#[utoipa::path(
    post, path = "/v1/calendars/{calendar}/remove", tag = "people", operation_id = "remove_calendar",
    params(("calendar" = String, Path, description = "identity of the feed")),
    responses(
        (status = 204, description = "its link reads nothing any more"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn remove(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let id: Uuid = id.parse().map_err(|_| Problem::NotFound)?;
    let gone = app.store.write(move |db| calendars::remove(db, caller.asker.person, id)).await?;
    if gone { Ok(StatusCode::NO_CONTENT.into_response()) } else { Err(Problem::NotFound) }
}

/// What a calendar reads (RFC 5545)
///
/// Sessions and meets as whole days, from five weeks ago on. The secret is in the address: no token is asked.
#[utoipa::path(
    get, path = "/v1/calendar/{secret}", tag = "review", operation_id = "read_calendar",
    params(("secret" = String, Path, description = "what the link was made with")),
    responses(
        (status = 200, description = "the calendar", body = String, content_type = "text/calendar"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
)]
pub(super) async fn read(
    State(app): State<Shared>,
    From(address): From,
    Path(secret): Path<String>,
) -> Result<Response, Problem> {
    let now = app.clock.now();
    if !app.failures.may(address, now) {
        return Err(Problem::TooMany);
    }
    let key = *app.tokens.secret();
    let text = if proof::is_secret(&secret) {
        let read = move |db: &crate::store::Db| match calendars::find(db, &key, &secret)? {
            Some(feed) => calendar::text(db, &feed, now),
            None => Ok(None),
        };
        app.store.read(read).await?
    } else {
        None
    };
    let Some(text) = text else {
        // Guessing is as slow as guessing codes.
        app.failures.count(address, now);
        return Err(Problem::NotFound);
    };
    Ok(([(header::CONTENT_TYPE, "text/calendar; charset=utf-8")], text).into_response())
}
