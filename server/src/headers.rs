//! What every answer says to browsers and proxies beside its content, errors among them: nothing is kept,
//! guessed, framed or handed to other sites. Knows no route.

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;

use crate::app::Shared;

/// For every answer.
static ALWAYS: [(HeaderName, &str); 6] = [
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-embedder-policy"), "require-corp"),
    // The camera reads the code of an invitation.
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(self), microphone=(), geolocation=(), payment=(), usb=()",
    ),
];
/// Data may load and do nothing at all where a browser shows it.
const OF_DATA: &str = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
/// Pages and their scripts, a worker's among them: what this server serves, and WebAssembly. What could turn
/// text into a script takes only what the one policy of `boot.js` lets through.
const OF_PAGES: &str = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; \
    img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; worker-src 'self'; \
    manifest-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'; \
    require-trusted-types-for 'script'; trusted-types default";
/// For two years only by an encrypted way.
const ENCRYPTED: &str = "max-age=63072000";

/// Adds them.
pub(crate) async fn add(State(app): State<Shared>, request: Request, next: Next) -> Response {
    let encrypted = app.tls.is_some() || (app.config.behind_proxy && forwarded_encrypted(request.headers()));
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in &ALWAYS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    let policy = if is_page(headers) { OF_PAGES } else { OF_DATA };
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(policy));
    // Who may keep an answer says so; everything else is about people.
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    if encrypted {
        headers.insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static(ENCRYPTED));
    }
    response
}

fn is_page(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    kind.starts_with("text/html") || kind.starts_with("text/javascript")
}

/// How the client came to the nearest proxy.
fn forwarded_encrypted(headers: &HeaderMap) -> bool {
    let said = headers.get_all("x-forwarded-proto").iter().next_back().and_then(|v| v.to_str().ok());
    said.and_then(|line| line.rsplit(',').next()).is_some_and(|last| last.trim() == "https")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_and_scripts_may_run_and_data_may_not() {
        for (kind, page) in [
            ("text/html; charset=utf-8", true),
            ("text/javascript", true),
            ("application/json", false),
            ("application/problem+json", false),
            ("text/plain", false),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
            assert_eq!(is_page(&headers), page, "{kind}");
        }
        assert!(!is_page(&HeaderMap::new()));
    }

    #[test]
    fn of_several_proxies_the_nearest_one_is_believed() {
        for (lines, encrypted) in [
            (&["https"][..], true),
            (&["http"], false),
            (&["https, http"], false),
            (&["http, https"], true),
            (&["https", "http"], false),
            (&[], false),
        ] {
            let mut headers = HeaderMap::new();
            for line in lines {
                headers.append("x-forwarded-proto", HeaderValue::from_static(line));
            }
            assert_eq!(forwarded_encrypted(&headers), encrypted, "{lines:?}");
        }
    }
}
