//! The stream that says when there is something to exchange.

use std::time::Duration;

use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::{IntoResponse, Response};

use crate::app::Shared;
use crate::extract::Until;
use crate::grant::Caller;
use crate::nudge::{Full, Stream};
use crate::problem::{Problem, ProblemBody};

/// When there is something to exchange
///
/// Server-sent events: `news` names documents that the caller may read, one a line; `exchange` says that
/// something may have been missed. A comment comes at least every half minute. The stream ends with the
/// access token; connect again with a new one and the last `id` in `Last-Event-ID`.
#[utoipa::path(
    get, path = "/v1/nudge", tag = "exchange", operation_id = "get_nudges",
    params(("Last-Event-ID" = Option<String>, Header, description = "the position that was told last")),
    responses(
        (status = 200, description = "the stream", body = String, content_type = "text/event-stream"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn nudge(
    State(app): State<Shared>,
    caller: Caller,
    Until(good_for): Until,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let position = headers.get("last-event-id").and_then(|v| v.to_str().ok()).filter(|p| p.len() <= 64);
    let place = app
        .hub
        .place(caller.install, app.config.limits.streams_each, app.config.limits.streams)
        .map_err(|full| if full == Full::Install { Problem::TooManyStreams } else { Problem::Busy })?;
    let good_for = Duration::from_millis(good_for);
    let stream = Stream::open(app, caller, place, position, good_for);
    let mut response = Body::new(stream).into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/event-stream"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    // Proxies that collect answers would keep the news.
    headers.insert("x-accel-buffering", HeaderValue::from_static("no"));
    Ok(response)
}
