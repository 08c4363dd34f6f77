//! What is told of a running server to those who watch it: figures for a scraper, and whether it is
//! ready with what stands in the way. Names of people, of documents and of devices are in none of it.

mod figures;
mod machine;
#[cfg(feature = "otlp")]
pub(crate) mod otlp;
pub mod ready;

pub use figures::{Figures, StoreFigures};

use std::time::Duration;

use axum::Router;
use axum::extract::State;
use axum::http::header;
use axum::middleware;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::gauge::Gauge;
use tokio::net::TcpListener;
use tokio::sync::oneshot;

use crate::app::Shared;
use crate::connections;
use crate::headers;
use crate::patience::Patience;
use crate::problem::Problem;

/// The type of the text of figures.
const TEXT: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";
/// Most scrapers at the same time.
const SCRAPERS: u32 = 16;

/// Serves the figures on an address of their own, until told to stop: the public one knows nothing of
/// them.
pub(crate) async fn serve(app: Shared, listener: TcpListener, stopped: oneshot::Receiver<()>) {
    let head = Duration::from_secs(u64::from(app.config.limits.head_seconds));
    let router = Router::new()
        .route("/metrics", get(figures_text))
        .fallback(async || Problem::NotFound)
        .layer(middleware::from_fn_with_state(app.clone(), headers::add))
        .with_state(app.clone());
    let limits = &app.config.limits;
    let patience = Patience::new(limits.answer_seconds, limits.answer_rate, Counter::default());
    let how = connections::How { most: SCRAPERS, head, handshake: head, patience, tls: None };
    connections::serve(listener, router, how, Gauge::default(), stopped).await;
}

async fn figures_text(State(app): State<Shared>) -> Response {
    match figures::text(&app).await {
        Ok(text) => ([(header::CONTENT_TYPE, TEXT)], text).into_response(),
        Err(problem) => problem.into_response(),
    }
}
