//! What handlers take: who calls, from where, and JSON with our own refusals.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::time::Duration;

use axum::body::Bytes;
use axum::extract::{ConnectInfo, FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, Version, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use serde::de::DeserializeOwned;

use crate::app::Shared;
use crate::grant::Caller;
use crate::problem::Problem;
use crate::store::account;

impl FromRequestParts<Shared> for Caller {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &Shared) -> Result<Caller, Problem> {
        let value = the_one(&parts.headers, header::AUTHORIZATION).ok_or(Problem::Unauthenticated)?;
        let text = value.to_str().map_err(|_| Problem::Unauthenticated)?;
        let (scheme, token) = text.split_once(' ').ok_or(Problem::Unauthenticated)?;
        if !scheme.eq_ignore_ascii_case("bearer") {
            return Err(Problem::Unauthenticated);
        }
        let bearer = app.tokens.read_access(token, app.clock.now()).map_err(|_| Problem::Unauthenticated)?;
        let each = app.config.limits.install_minute;
        app.installs.take(bearer.install, each, app.clock.now()).map_err(Problem::TooFast)?;
        // Rights are never in the token: they are looked up now.
        let caller = app.store.read(move |db| account::caller(db, bearer)).await?;
        caller.ok_or(Problem::Unauthenticated)
    }
}

/// For how many milliseconds the caller's access token is still good. Taken after [`Caller`], which
/// has read the token.
#[derive(Debug, Clone, Copy)]
pub struct Until(pub u64);

impl FromRequestParts<Shared> for Until {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &Shared) -> Result<Until, Problem> {
        let value = parts.headers.get(header::AUTHORIZATION).and_then(|v| v.to_str().ok());
        let (_, token) = value.and_then(|v| v.split_once(' ')).ok_or(Problem::Unauthenticated)?;
        let now = app.clock.now();
        let until = app.tokens.good_until(token, now).map_err(|_| Problem::Unauthenticated)?;
        Ok(Until(u64::try_from(until.0.saturating_sub(now.0)).unwrap_or(0)))
    }
}

/// The address that a request comes from.
#[derive(Debug, Clone, Copy)]
pub struct From(pub IpAddr);

impl FromRequestParts<Shared> for From {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, app: &Shared) -> Result<From, Self::Rejection> {
        let forwarded = if app.config.behind_proxy { last_forwarded(&parts.headers) } else { None };
        let peer = parts.extensions.get::<ConnectInfo<SocketAddr>>().map(|c| c.0.ip());
        Ok(From(forwarded.or(peer).unwrap_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED))))
    }
}

/// The address that the nearest proxy saw: the last one, because everything before it is hearsay.
fn last_forwarded(headers: &HeaderMap) -> Option<IpAddr> {
    let line = headers.get_all("x-forwarded-for").iter().next_back()?.to_str().ok()?;
    line.rsplit(',').next()?.trim().parse().ok()
}

/// A small JSON body. Unknown fields are refused by the types themselves.
#[derive(Debug)]
pub struct Json<T>(pub T);

impl<T: DeserializeOwned> FromRequest<Shared> for Json<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &Shared) -> Result<Json<T>, Problem> {
        if media_type(request.headers()) != Some("application/json") {
            return Err(Problem::MediaType);
        }
        let most = usize::try_from(app.config.limits.json_bytes).unwrap_or(usize::MAX);
        let bytes = body(request, app, most).await?;
        // A list would be taken for an object with its fields in order.
        if !bytes.trim_ascii_start().starts_with(b"{") {
            return Err(Problem::Malformed);
        }
        serde_json::from_slice(&bytes).map(Json).map_err(|_| Problem::Malformed)
    }
}

/// The value of a header that stands once: of two, a proxy may have looked at the other one.
fn the_one(headers: &HeaderMap, name: header::HeaderName) -> Option<&HeaderValue> {
    let mut all = headers.get_all(name).iter();
    let first = all.next()?;
    all.next().is_none().then_some(first)
}

/// Lets a request through that names one host, as HTTP/1.1 wants it: of two, a proxy may have gone by the other one.
pub(crate) async fn one_host(request: Request, next: Next) -> Response {
    let headers = request.headers();
    let older = request.version() < Version::HTTP_11 && !headers.contains_key(header::HOST);
    if older || the_one(headers, header::HOST).is_some() {
        next.run(request).await
    } else {
        Problem::Malformed.into_response()
    }
}

/// The media type of a body, without its parameters.
#[must_use]
pub fn media_type(headers: &HeaderMap) -> Option<&str> {
    let value = the_one(headers, header::CONTENT_TYPE)?.to_str().ok()?;
    value.split(';').next().map(str::trim)
}

/// The body of a request, at most `most` bytes.
///
/// # Errors
/// When it is longer, breaks off or takes too long to arrive.
pub async fn body(request: Request, app: &Shared, most: usize) -> Result<Bytes, Problem> {
    let announced = request
        .headers()
        .get(header::CONTENT_LENGTH)
        .and_then(|v| v.to_str().ok())
        .and_then(|v| v.parse::<u64>().ok());
    if announced.is_some_and(|n| n > most as u64) {
        return Err(Problem::TooLarge);
    }
    let patience = Duration::from_secs(u64::from(app.config.limits.body_seconds));
    let arrived = tokio::time::timeout(patience, axum::body::to_bytes(request.into_body(), most)).await;
    arrived.map_err(|_| Problem::SlowBody)?.map_err(|error| {
        let too_large =
            std::error::Error::source(&error).is_some_and(|e| e.to_string().contains("length limit"));
        if too_large { Problem::TooLarge } else { Problem::Malformed }
    })
}
