//! The one request that moves everything both ways.

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::{IntoResponse, Response};
use backstraight_core::exchange::wire::{Down, MAX_BODY, Up, WireError};

use crate::app::Shared;
use crate::exchange::{self, gzip};
use crate::extract::{body, media_type};
use crate::grant::Caller;
use crate::problem::{Problem, ProblemBody};
use crate::store::heard;

/// Answers shorter than this are not worth packing.
const WORTH_PACKING: usize = 256;
const CBOR: &str = "application/cbor";

/// The one request that moves everything both ways
///
/// CBOR up, CBOR down, each plain or gzip; `docs/exchange.md` says what is in them.
#[utoipa::path(
    post, path = "/v1/exchange", tag = "exchange", operation_id = "exchange",
    request_body(content = Vec<u8>, content_type = "application/cbor"),
    responses(
        (status = 200, description = "what became of it, and what the device lacks",
         body = Vec<u8>, content_type = "application/cbor"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn exchange(
    State(app): State<Shared>,
    caller: Caller,
    request: Request,
) -> Result<Response, Problem> {
    let headers = request.headers();
    if media_type(headers) != Some(CBOR) {
        return Err(Problem::MediaType);
    }
    let mut codings = headers.get_all(header::CONTENT_ENCODING).iter().map(HeaderValue::as_bytes);
    let coding = codings.next();
    if codings.next().is_some() {
        return Err(Problem::MediaType);
    }
    let packed = match coding {
        None | Some(b"identity") => false,
        Some(b"gzip") => true,
        Some(_) => return Err(Problem::MediaType),
    };
    let pack_answer = takes_gzip(headers);
    let bytes = body(request, &app, MAX_BODY).await?;
    let ratio = usize::try_from(app.config.limits.unpack_ratio).unwrap_or(usize::MAX);
    let finish = move |down: Down| {
        let bytes = down.to_bytes();
        let worth = pack_answer && bytes.len() >= WORTH_PACKING;
        if worth { (gzip::pack(&bytes), Some("gzip")) } else { (bytes, None) }
    };
    let answer = exchange::run(&app, caller, move || read(&bytes, packed, ratio), finish).await;
    if matches!(answer, Err(Problem::Version)) {
        app.store.write_beside(move |db| heard::note_old_app(db, &caller)).await?;
    }
    let (bytes, coding) = answer?;
    let mut response = bytes.into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(CBOR));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    if let Some(coding) = coding {
        headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static(coding));
    }
    Ok(response)
}

fn read(bytes: &[u8], packed: bool, ratio: usize) -> Result<Up, Problem> {
    let up =
        if packed { Up::from_bytes(&gzip::unpack(bytes, MAX_BODY, ratio)?) } else { Up::from_bytes(bytes) };
    up.map_err(|error| match error {
        WireError::TooLarge { .. } => Problem::TooLarge,
        WireError::Version(_) => Problem::Version,
        WireError::Malformed(_) => Problem::Malformed,
        WireError::TooMany { what, .. } | WireError::Field { what } => Problem::Field(what),
    })
}

fn takes_gzip(headers: &HeaderMap) -> bool {
    headers.get_all(header::ACCEPT_ENCODING).iter().filter_map(|v| v.to_str().ok()).any(|line| {
        line.split(',').any(|item| {
            let mut parts = item.split(';').map(str::trim);
            let gzip = parts.next().is_some_and(|name| name.eq_ignore_ascii_case("gzip"));
            gzip && !parts.any(|p| matches!(p, "q=0" | "q=0.0" | "q=0.00" | "q=0.000"))
        })
    })
}
