//! Installs of a person: listed and withdrawn, by the person and by whoever keeps the account.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use backstraight_core::base::id::InstallId;
use serde::Serialize;
use utoipa::ToSchema;

use super::account::no_store;
use super::people::member;
use crate::app::Shared;
use crate::grant::{self, Caller, MayInstalls};
use crate::problem::{Problem, ProblemBody};
use crate::store::installs;

/// An install.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct InstallReport {
    /// Identity.
    install: String,
    /// What the device calls itself.
    device: String,
    /// When it was enrolled, ms since 1970 UTC.
    created_at: i64,
    /// When it last exchanged.
    #[serde(skip_serializing_if = "Option::is_none")]
    heard_at: Option<i64>,
    /// When its session was last refreshed.
    #[serde(skip_serializing_if = "Option::is_none")]
    refreshed_at: Option<i64>,
    /// When it was withdrawn.
    #[serde(skip_serializing_if = "Option::is_none")]
    withdrawn_at: Option<i64>,
    /// When its session ended because an old token came back.
    #[serde(skip_serializing_if = "Option::is_none")]
    ended_at: Option<i64>,
    /// Whether it is the one that asks.
    this: bool,
}

/// The installs of a person.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct InstallList {
    /// The newest first.
    installs: Vec<InstallReport>,
}

async fn allowed(app: &Shared, caller: &Caller, id: &str) -> Result<MayInstalls, Problem> {
    let member = member(app, caller, id).await?;
    grant::to_installs(caller, &member.asker).ok_or(Problem::NotAllowed)
}

/// The installs of a person
#[utoipa::path(
    get, path = "/v1/people/{id}/installs", tag = "account", operation_id = "get_installs",
    params(("id" = String, Path, description = "identity of the person")),
    responses(
        (status = 200, description = "they", body = InstallList),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn list(
    State(app): State<Shared>,
    caller: Caller,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let grant = allowed(&app, &caller, &id).await?;
    let all = app.store.read(move |db| installs::list(db, &grant)).await?;
    let installs = all
        .into_iter()
        .map(|i| InstallReport {
            this: i.id == caller.install,
            install: i.id.to_string(),
            device: i.device,
            created_at: i.created.0,
            heard_at: i.heard.map(|t| t.0),
            refreshed_at: i.refreshed.map(|t| t.0),
            withdrawn_at: i.withdrawn.map(|t| t.0),
            ended_at: i.ended.map(|t| t.0),
        })
        .collect();
    Ok(no_store(&InstallList { installs }))
}

/// Withdraws an install: its next request is refused
///
/// What it wrote stays, and what it has not sent stays on it.
#[utoipa::path(
    post, path = "/v1/people/{id}/installs/{install}/withdraw", tag = "account", operation_id = "withdraw_install",
    params(("id" = String, Path, description = "identity of the person"),
           ("install" = String, Path, description = "identity of the install")),
    responses(
        (status = 204, description = "it is done"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn withdraw(
    State(app): State<Shared>,
    caller: Caller,
    Path((id, install)): Path<(String, String)>,
) -> Result<Response, Problem> {
    let grant = allowed(&app, &caller, &id).await?;
    let install: InstallId = install.parse().map_err(|_| Problem::NotFound)?;
    let now = app.clock.now();
    let own = app.store.write(move |db| installs::withdraw(db, &grant, install, now)).await?;
    if own { Ok(StatusCode::NO_CONTENT.into_response()) } else { Err(Problem::NotFound) }
}
