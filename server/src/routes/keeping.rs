//! A person's full copy, and erasing a person.

use std::sync::Arc;

use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use backstraight_core::base::id::PersonId;
use serde::Deserialize;
use utoipa::ToSchema;

use super::account::no_store;
use crate::app::Shared;
use crate::erase::{self, Erased, Going};
use crate::export::zip;
use crate::extract::Json;
use crate::grant::{self, Caller, MayErase};
use crate::problem::{Problem, ProblemBody};
use crate::store::erased;

/// Everything that is kept of oneself
///
/// A zip file: plain words, JSON with all that was ever written, tables, and the documents themselves.
/// Of oneself only.
#[utoipa::path(
    get, path = "/v1/people/{id}/export", tag = "account", operation_id = "export_person",
    params(("id" = String, Path, description = "the person")),
    responses(
        (status = 200, description = "the files", body = Vec<u8>, content_type = "application/zip"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn export(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let person: PersonId = id.parse().map_err(|_| Problem::NotFound)?;
    let grant = grant::to_export(&caller, person).ok_or(Problem::NotFound)?;
    // One reads everything of somebody; others may wait a moment.
    let held = Arc::clone(&app.exports).try_acquire_owned().map_err(|_| Problem::Busy)?;
    let zipped = zip::start(Arc::clone(&app.store), grant, app.clock.now(), held);
    let mut response = Body::new(zipped).into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/zip"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    let name = "attachment; filename=\"backstraight-export.zip\"";
    headers.insert(header::CONTENT_DISPOSITION, HeaderValue::from_static(name));
    Ok(response)
}

/// What goes when a person is erased
///
/// For an owner of the club, on request of the person. Nothing is erased by asking.
#[utoipa::path(
    get, path = "/v1/people/{id}/erasure", tag = "account", operation_id = "get_erasure",
    params(("id" = String, Path, description = "the person")),
    responses(
        (status = 200, description = "what goes and what stays", body = Going),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn going(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let grant = may_erase(&app, &caller, &id).await?;
    let going = app.store.read(move |db| erase::going(db, &grant)).await?;
    going.map(|g| no_store(&g)).ok_or(Problem::NotFound)
}

/// Body of `POST /v1/people/{id}/erasure`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ErasureBody {
    /// The pseudonym that `GET` told: so that nobody erases somebody by a slip.
    confirm: String,
}

/// Erases a person
///
/// For an owner of the club, on request of the person. There is no way back.
#[utoipa::path(
    post, path = "/v1/people/{id}/erasure", tag = "account", operation_id = "erase_person",
    params(("id" = String, Path, description = "the person")), request_body = ErasureBody,
    responses(
        (status = 200, description = "what was erased", body = Erased),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn erase(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
    Json(body): Json<ErasureBody>,
) -> Result<Response, Problem> {
    let grant = may_erase(&app, &caller, &id).await?;
    let row =
        app.store.read(move |db| erased::subject(db, grant.person())).await?.ok_or(Problem::NotFound)?;
    if body.confirm != erase::pseudonym(row.role.word(), grant.person()) {
        return Err(Problem::Field("confirm"));
    }
    let (store, now) = (Arc::clone(&app.store), app.clock.now());
    let done = tokio::task::spawn_blocking(move || erase::person(&store, grant, now)).await;
    let done = done.map_err(|_| Problem::Internal)??.ok_or(Problem::NotFound)?;
    app.signals.wake();
    let every = i64::from(app.config.backup_every.0) * 60_000;
    let backups_expire_days =
        app.config.backup_to.as_ref().map(|_| app.config.retention().expire_days(every));
    Ok(no_store(&Erased { backups_expire_days, ..done }))
}

/// Somebody of another club is as unknown as somebody who does not exist.
async fn may_erase(app: &Shared, caller: &Caller, id: &str) -> Result<MayErase, Problem> {
    let person: PersonId = id.parse().map_err(|_| Problem::NotFound)?;
    let club = app.store.read(move |db| erased::club_of(db, person)).await?.ok_or(Problem::NotFound)?;
    if club != caller.asker.club {
        return Err(Problem::NotFound);
    }
    grant::to_erase(caller, person, club).ok_or(Problem::NotAllowed)
}
