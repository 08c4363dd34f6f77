//! Who is in a squad: the squads' documents are edited in the name of the install that calls.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use backstraight_core::base::id::SquadId;
use backstraight_core::model::number::Name;
use serde::Deserialize;
use utoipa::ToSchema;

use super::people::member;
use crate::app::Shared;
use crate::exchange;
use crate::extract::Json;
use crate::grant::Caller;
use crate::problem::{Problem, ProblemBody};
use crate::squad::{Move, Unknown};

/// Body of `POST /v1/squads/{id}/members`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct MoveBody {
    /// The athlete.
    athlete: String,
    /// The squad that the athlete leaves; without it the athlete is in both.
    #[serde(default)]
    from: Option<String>,
}

/// Puts an athlete into a squad, out of another one
///
/// What the other squad says about the athlete comes along: event group, date of birth, class.
#[utoipa::path(
    post, path = "/v1/squads/{id}/members", tag = "people", operation_id = "move_to_squad",
    params(("id" = String, Path, description = "identity of the squad that the athlete joins")),
    request_body = MoveBody,
    responses(
        (status = 204, description = "it is written into the squads' documents"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn move_to(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
    Json(body): Json<MoveBody>,
) -> Result<Response, Problem> {
    if !caller.asker.role.coaches() {
        return Err(Problem::NotAllowed);
    }
    let to: SquadId = id.parse().map_err(|_| Problem::NotFound)?;
    let from: Option<SquadId> =
        body.from.as_deref().map(|s| s.parse().map_err(|_| Problem::Field("from"))).transpose()?;
    if from == Some(to) {
        return Err(Problem::Field("from"));
    }
    let found = member(&app, &caller, &body.athlete).await;
    let found = found.map_err(|p| if p == Problem::NotFound { Problem::Field("athlete") } else { p })?;
    let name = Name::new(&found.name).map_err(|_| Problem::Field("athlete"))?;
    let (ask, now) = (Move { to: Some(to), from, athlete: found.asker.person, name }, app.clock.now());
    let edits = app.store.read(move |db| ask.edits(db, &caller, now)).await?;
    let edits = edits.map_err(|unknown| match unknown {
        Unknown::To => Problem::NotFound,
        Unknown::From | Unknown::NotIn => Problem::Field("from"),
    })?;
    if edits.is_empty() {
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    // Whoever wrote in between was quicker: the same request finds the new state.
    exchange::edit(&app, edits).await?.map_err(|_| Problem::Busy)?;
    Ok(StatusCode::NO_CONTENT.into_response())
}
