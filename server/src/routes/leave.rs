//! Leaving a club: with a full copy, which is read back before anything is taken away, or without wanting one.

use std::io::Cursor;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{FromRequest as _, Path, Request, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::ToSchema;

use super::people::member;
use crate::app::Shared;
use crate::export::contents::{self, CopyError};
use crate::extract::{self, Json, media_type};
use crate::grant::{self, Caller, MayLeave};
use crate::problem::{Problem, ProblemBody};
use crate::store::document::Doc;
use crate::store::members;

/// How long a turn is waited for.
const PATIENCE: Duration = Duration::from_secs(5);

/// Body of `POST /v1/people/{id}/leave` when no copy is wanted.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LeaveBody {
    /// `declined`: the athlete wants no copy. Whoever has one sends it in the place of this.
    copy: String,
}

/// Lets an athlete leave
///
/// The body is the full copy itself, as the export gave it. It is read back: every file as it was written, the
/// documents as they are stored now. Only then guardianships end, and installs and the person are withdrawn.
/// What was written stays with the club until somebody erases it.
#[utoipa::path(
    post, path = "/v1/people/{id}/leave", tag = "people", operation_id = "leave",
    params(("id" = String, Path, description = "identity of the athlete")),
    request_body(
        content((LeaveBody = "application/json"), (Vec<u8> = "application/zip")),
        description = "the copy, or that none is wanted"
    ),
    responses(
        (status = 204, description = "the athlete has left"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn leave(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
    request: Request,
) -> Result<Response, Problem> {
    let member = member(&app, &caller, &id).await?;
    let grant = grant::to_leave(&caller, &member.asker).ok_or(Problem::NotAllowed)?;
    let copy = if media_type(request.headers()) == Some("application/zip") {
        Some(read_back(&app, &grant, request).await?)
    } else {
        let Json(body) = Json::<LeaveBody>::from_request(request, &app).await?;
        match body.copy.as_str() {
            "declined" => None,
            "taken" => return Err(Problem::CopyNeeded),
            _ => return Err(Problem::Field("copy")),
        }
    };
    let now = app.clock.now();
    let left = app.store.write(move |db| members::leave(db, &grant, copy.as_deref(), now)).await?;
    if left { Ok(StatusCode::NO_CONTENT.into_response()) } else { Err(Problem::CopyOld) }
}

async fn read_back(app: &Shared, grant: &MayLeave, request: Request) -> Result<Vec<Doc>, Problem> {
    // One copy at a time, made or read. The one that was just made may not quite be done with.
    let turn = tokio::time::timeout(PATIENCE, Arc::clone(&app.exports).acquire_owned()).await;
    let held = turn.map_err(|_| Problem::Busy)?.map_err(|_| Problem::Busy)?;
    let most = usize::try_from(app.config.limits.copy_bytes).unwrap_or(usize::MAX);
    let bytes = extract::body(request, app, most).await?;
    let room = (bytes.len() as u64).saturating_mul(u64::from(app.config.limits.unpack_ratio));
    let (store, grant) = (Arc::clone(&app.store), grant.copy());
    let read = tokio::task::spawn_blocking(move || {
        let _held = held;
        let mut copy = contents::zip(Cursor::new(bytes)).map_err(|e| CopyError::Damaged(e.to_string()))?;
        contents::read_back(&store, &grant, &mut copy, room)
    });
    read.await.unwrap_or_else(|_| Err(CopyError::Damaged("it panicked".to_owned()))).map_err(|e| match e {
        CopyError::Damaged(_) | CopyError::Other => Problem::CopyDamaged,
        CopyError::Old(_) => Problem::CopyOld,
        CopyError::Nobody => Problem::NotFound,
        CopyError::Store(error) => error.into(),
    })
}
