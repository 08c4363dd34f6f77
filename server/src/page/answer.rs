//! A file as an answer: which twin, whether the browser has it already, how long it may keep it. Knows no file.

use axum::body::{Body, Bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::files::File;
use crate::app::Shared;
use crate::problem::Problem;

/// A name that tells its content never gets old.
const LASTING: &str = "public, max-age=31536000, immutable";
/// Asked for each time; mostly the answer is that nothing has changed.
const ASKED: &str = "no-cache";

/// Hands out a file of the page.
pub(crate) async fn answer(State(app): State<Shared>, request: Request) -> Response {
    match app.page.file(request.uri().path()) {
        Some(file) => of(file, request.headers()),
        None => Problem::NotFound.into_response(),
    }
}

fn of(file: &File, asked: &HeaderMap) -> Response {
    let (body, coding) = twin(file, &all(asked, &header::ACCEPT_ENCODING));
    let tag = match coding {
        Some(coding) => format!("\"{}-{coding}\"", file.tag),
        None => format!("\"{}\"", file.tag),
    };
    let has = known(&all(asked, &header::IF_NONE_MATCH), &tag);
    let mut response = Response::new(if has { Body::empty() } else { body.clone().into() });
    if has {
        *response.status_mut() = StatusCode::NOT_MODIFIED;
    }
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(file.kind));
    let keep = if file.lasting { LASTING } else { ASKED };
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(keep));
    headers.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    if let Ok(tag) = HeaderValue::from_str(&tag) {
        headers.insert(header::ETAG, tag);
    }
    if let Some(coding) = coding.filter(|_| !has) {
        headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static(coding));
    }
    response
}

/// The smallest form that the client takes.
fn twin<'a>(file: &'a File, accepted: &str) -> (&'a Bytes, Option<&'static str>) {
    for (coding, twin) in [("br", &file.br), ("gzip", &file.gz)] {
        if let Some(bytes) = twin.as_ref().filter(|_| takes(accepted, coding)) {
            return (bytes, Some(coding));
        }
    }
    (&file.plain, None)
}

/// Whether a coding is named with a weight that is not nought. `*` is not followed: whoever knows a coding names it.
fn takes(accepted: &str, coding: &str) -> bool {
    accepted.split(',').any(|item| {
        let mut parts = item.split(';').map(str::trim);
        let named = parts.next().is_some_and(|name| name.eq_ignore_ascii_case(coding));
        let refused = parts.any(|part| {
            part.strip_prefix("q=").is_some_and(|q| q.trim().parse::<f32>().is_ok_and(|q| q <= 0.0))
        });
        named && !refused
    })
}

/// Whether the client has what would be sent.
fn known(had: &str, tag: &str) -> bool {
    had.split(',').map(str::trim).any(|item| item == "*" || item.trim_start_matches("W/") == tag)
}

/// All values of a header, as one list.
fn all(headers: &HeaderMap, name: &header::HeaderName) -> String {
    headers.get_all(name).iter().filter_map(|v| v.to_str().ok()).collect::<Vec<_>>().join(",")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_coding_is_taken_when_it_is_named_and_not_refused() {
        for (accepted, coding, taken) in [
            ("gzip, deflate, br, zstd", "br", true),
            ("gzip, deflate, br, zstd", "gzip", true),
            ("GZIP", "gzip", true),
            ("br;q=0, gzip", "br", false),
            ("br; q=0.0", "br", false),
            ("br;q=0.001", "br", true),
            ("brotli", "br", false),
            ("*", "br", false),
            ("", "gzip", false),
        ] {
            assert_eq!(takes(accepted, coding), taken, "{accepted} {coding}");
        }
    }

    #[test]
    fn what_the_client_has_is_compared_weakly() {
        for (had, is) in [
            ("\"a-br\"", true),
            ("W/\"a-br\"", true),
            ("\"b\", \"a-br\"", true),
            ("*", true),
            ("\"a\"", false),
            ("", false),
        ] {
            assert_eq!(known(had, "\"a-br\""), is, "{had}");
        }
    }
}
