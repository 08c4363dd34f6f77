//! Whether this server takes requests.

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::app::Shared;
use crate::problem::Problem;

/// `GET /healthz`: 200 while storage works, 503 once it has stopped.
pub(super) async fn health(State(app): State<Shared>) -> Response {
    match app.store.alive().await {
        Ok(()) if !app.store.stopped() => {
            let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")];
            (headers, r#"{"status":"ok"}"#).into_response()
        }
        Ok(()) => Problem::StorageStopped.into_response(),
        Err(error) => Problem::from(error).into_response(),
    }
}
