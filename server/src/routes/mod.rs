//! All routes, readable from top to bottom.

mod account;
mod exchange;
mod health;
mod invite;
mod review;

use axum::Router;
use axum::middleware;
use axum::routing::{get, post};

use crate::app::Shared;
use crate::leftover;
use crate::problem::Problem;
use crate::telemetry;

/// The router of a server.
pub fn router(app: Shared) -> Router {
    Router::new()
        .route("/healthz", get(health::health))
        .route("/v1/exchange", post(exchange::exchange))
        .route("/v1/enrol", post(account::enrol))
        .route("/v1/token", post(account::token))
        .route("/v1/consent", post(account::consent))
        .route("/v1/invites", post(invite::invite))
        .route("/v1/board", get(review::board))
        .route("/v1/athletes/{id}", get(review::athlete))
        .route("/v1/athletes/{id}/sessions/{key}", get(review::session))
        .fallback(async || Problem::NotFound)
        .method_not_allowed_fallback(async || Problem::NotFound)
        .layer(middleware::from_fn_with_state(app.clone(), telemetry::each))
        .layer(middleware::from_fn_with_state(app.clone(), leftover::read))
        .with_state(app)
}
