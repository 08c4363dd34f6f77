//! Whether this server takes requests.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

use super::account::no_store;
use crate::app::Shared;
use crate::problem::{Problem, ProblemBody};
use crate::watch::ready::{self, Ready};

/// That it does.
#[derive(Debug, Serialize, ToSchema)]
struct Health {
    /// `ok`.
    status: &'static str,
}

/// Whether this server takes requests
///
/// 200 while storage works, 503 once it has stopped.
#[utoipa::path(
    get, path = "/healthz", tag = "server", operation_id = "get_health",
    responses(
        (status = 200, description = "it does", body = Health),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
)]
pub(super) async fn health(State(app): State<Shared>) -> Response {
    match app.store.alive().await {
        Ok(()) if !app.store.stopped() => no_store(&Health { status: "ok" }),
        Ok(()) => Problem::StorageStopped.into_response(),
        Err(error) => Problem::from(error).into_response(),
    }
}

/// Whether this server is ready, check by check
///
/// 200 while it takes requests, also with warnings; 503 when it does not. Names nobody.
#[utoipa::path(
    get, path = "/readyz", tag = "server", operation_id = "get_ready",
    responses(
        (status = 200, description = "it takes requests", body = Ready),
        (status = 503, description = "it does not, and why", body = Ready),
    ),
)]
pub(super) async fn ready(State(app): State<Shared>) -> Response {
    let ready = ready::look(&app).await;
    let mut response = no_store(&ready);
    if !ready.takes_requests() {
        *response.status_mut() = StatusCode::SERVICE_UNAVAILABLE;
    }
    response
}
