//! The log: one JSON line a request with an id, never a body, an address, a token or a name.

use std::time::{Duration, Instant};

use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderName, HeaderValue, Method};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tracing::Instrument;
use tracing_subscriber::EnvFilter;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;

use crate::app::Shared;
use crate::problem::Problem;
use crate::secret;

static REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// What has to be ended with the program, so that the last spans are sent.
#[derive(Debug, Default)]
pub struct Ending {
    #[cfg(feature = "otlp")]
    spans: Option<opentelemetry_sdk::trace::SdkTracerProvider>,
}

impl Drop for Ending {
    fn drop(&mut self) {
        #[cfg(feature = "otlp")]
        if let Some(Err(error)) = self.spans.take().map(|s| s.shutdown()) {
            tracing::warn!(%error, "the last spans could not be sent");
        }
    }
}

/// Starts the log on the error stream, and spans to a collector when there is one.
///
/// # Errors
/// When `level` is none, or spans are wanted of a program that was built without them.
pub fn start(level: &str, otlp: Option<&str>) -> Result<Ending, String> {
    if !["error", "warn", "info", "debug"].contains(&level) {
        return Err(format!("log level {level:?} is none of error, warn, info, debug"));
    }
    let filter =
        EnvFilter::try_new(format!("warn,backstraight_server={level}")).map_err(|e| e.to_string())?;
    let lines = tracing_subscriber::fmt::layer()
        .json()
        .flatten_event(true)
        .with_current_span(true)
        .with_span_list(false)
        .with_target(false)
        .with_writer(std::io::stderr);
    let log = tracing_subscriber::registry().with(filter).with(lines);
    #[cfg(feature = "otlp")]
    if let Some(url) = otlp {
        let (layer, spans) = crate::watch::otlp::layer(url)?;
        log.with(layer).try_init().map_err(|e| e.to_string())?;
        return Ok(Ending { spans: Some(spans) });
    }
    #[cfg(not(feature = "otlp"))]
    if otlp.is_some() {
        return Err("this program was built without the feature otlp".to_owned());
    }
    log.try_init().map_err(|e| e.to_string())?;
    Ok(Ending::default())
}

/// Gives each request an id and a limit of time, and writes its line.
pub async fn each(State(app): State<Shared>, request: Request, next: Next) -> Response {
    let id = data_encoding::HEXLOWER.encode(&secret::random::<8>());
    let begun = Instant::now();
    let route = request.extensions().get::<MatchedPath>().map_or("none", MatchedPath::as_str).to_owned();
    // Methods that nobody serves are one: a label must not be invented by whoever asks.
    let method = match *request.method() {
        Method::GET | Method::POST | Method::PUT | Method::DELETE | Method::HEAD => request.method().clone(),
        _ => Method::TRACE,
    };
    let answered = route.clone();
    let span = tracing::info_span!("request", %id, method = %method, route);
    let patience = Duration::from_secs(u64::from(app.config.limits.request_seconds));
    async {
        let mut response = match tokio::time::timeout(patience, next.run(request)).await {
            Ok(response) => response,
            Err(_) => Problem::TimeOut.into_response(),
        };
        if let Ok(value) = HeaderValue::from_str(&id) {
            response.headers_mut().insert(REQUEST_ID.clone(), value);
        }
        let code = response.extensions().get::<Problem>().map_or("", |p| p.code());
        let took = begun.elapsed();
        let ms = took.as_secs_f64() * 1000.0;
        let status = response.status().as_u16();
        app.figures.answered(method.as_str(), &answered, status, took);
        if status >= 500 {
            tracing::warn!(status, code, ms, "answered");
        } else {
            tracing::info!(status, code, ms, "answered");
        }
        response
    }
    .instrument(span)
    .await
}
