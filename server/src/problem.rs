//! Every answer that is no success: problem details (RFC 9457) with a stable code. What went wrong
//! inside stays inside and goes to the log.

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

use crate::store::StoreError;

/// Why a request was not carried out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Problem {
    /// No access token, or not a good one.
    Unauthenticated,
    /// The session of this install is over; a new invitation starts another.
    SessionEnded,
    /// The caller may not do that.
    NotAllowed,
    /// There is no such thing, or the caller may not know of it.
    NotFound,
    /// The body is not what this route takes.
    Malformed,
    /// Another version of the exchange.
    Version,
    /// The body has another type or coding than this route takes.
    MediaType,
    /// The body is too large, packed or unpacked.
    TooLarge,
    /// A field is out of its limits.
    Field(&'static str),
    /// The code is none, or was tried too often.
    CodeWrong,
    /// The code was good once.
    CodeExpired,
    /// The code has been used.
    CodeUsed,
    /// Too many tries from this address.
    TooMany,
    /// It took too long.
    TimeOut,
    /// Too much is waiting.
    Busy,
    /// The disk is full.
    StorageFull,
    /// The data folder is read-only.
    StorageReadOnly,
    /// Storage has stopped after a disk error.
    StorageStopped,
    /// The database server cannot be reached.
    StorageUnavailable,
    /// A mistake of ours.
    Internal,
}

impl Problem {
    /// Its stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        self.parts().1
    }

    const fn parts(self) -> (StatusCode, &'static str, &'static str) {
        use StatusCode as S;
        match self {
            Problem::Unauthenticated => (S::UNAUTHORIZED, "unauthenticated", "a good access token is needed"),
            Problem::SessionEnded => {
                (S::UNAUTHORIZED, "session-ended", "the session of this install is over: enrol again")
            }
            Problem::NotAllowed => (S::FORBIDDEN, "not-allowed", "not allowed"),
            Problem::NotFound => (S::NOT_FOUND, "not-found", "no such thing"),
            Problem::Malformed => (S::BAD_REQUEST, "malformed", "the body is not what this route takes"),
            Problem::Version => (S::BAD_REQUEST, "version", "another version of the exchange is spoken here"),
            Problem::MediaType => {
                (S::UNSUPPORTED_MEDIA_TYPE, "media-type", "the body has another type or coding than is taken")
            }
            Problem::TooLarge => (S::PAYLOAD_TOO_LARGE, "too-large", "the body is too large"),
            Problem::Field(_) => (S::UNPROCESSABLE_ENTITY, "field", "a field is out of its limits"),
            Problem::CodeWrong => (S::NOT_FOUND, "code-wrong", "no such code"),
            Problem::CodeExpired => (S::GONE, "code-expired", "the code has expired"),
            Problem::CodeUsed => (S::CONFLICT, "code-used", "the code has been used"),
            Problem::TooMany => (S::TOO_MANY_REQUESTS, "too-many", "too many tries: wait"),
            Problem::TimeOut => (S::SERVICE_UNAVAILABLE, "time-out", "it took too long: send it again"),
            Problem::Busy => (S::SERVICE_UNAVAILABLE, "busy", "too much is waiting: send it again"),
            Problem::StorageFull => {
                (S::INSUFFICIENT_STORAGE, "storage-full", "the server's disk is full: nothing was taken")
            }
            Problem::StorageReadOnly => {
                (S::SERVICE_UNAVAILABLE, "storage-read-only", "the server cannot write: nothing was taken")
            }
            Problem::StorageStopped => {
                (S::SERVICE_UNAVAILABLE, "storage-stopped", "the server's disk failed: nothing was taken")
            }
            Problem::StorageUnavailable => (
                S::SERVICE_UNAVAILABLE,
                "storage-unavailable",
                "the server's database cannot be reached: send it again",
            ),
            Problem::Internal => (S::INTERNAL_SERVER_ERROR, "internal", "a mistake of the server"),
        }
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Problem {
        match error {
            StoreError::Full => Problem::StorageFull,
            StoreError::ReadOnly => Problem::StorageReadOnly,
            StoreError::Stopped => Problem::StorageStopped,
            StoreError::Busy => Problem::Busy,
            StoreError::Unavailable(why) => {
                tracing::warn!(why, "the database cannot be reached");
                Problem::StorageUnavailable
            }
            other => {
                tracing::error!(error = %other, "storage");
                Problem::Internal
            }
        }
    }
}

/// Why a request was not carried out (RFC 9457).
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Problem)]
pub struct ProblemBody {
    /// Always `about:blank`: `code` tells problems apart.
    r#type: &'static str,
    /// In words for people; they may change.
    title: &'static str,
    /// The status of the answer.
    status: u16,
    /// What it is; never changes its meaning.
    code: &'static str,
    /// The field that is out of its limits.
    #[serde(skip_serializing_if = "Option::is_none")]
    field: Option<&'static str>,
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let (status, code, title) = self.parts();
        let field = if let Problem::Field(field) = self { Some(field) } else { None };
        let body = ProblemBody { r#type: "about:blank", title, status: status.as_u16(), code, field };
        let json = serde_json::to_vec(&body).unwrap_or_default();
        let mut response = (status, json).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        match self {
            Problem::Unauthenticated | Problem::SessionEnded => {
                headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
            }
            Problem::Busy | Problem::TimeOut | Problem::StorageUnavailable => {
                headers.insert(header::RETRY_AFTER, HeaderValue::from_static("2"));
            }
            Problem::TooMany | Problem::StorageFull => {
                headers.insert(header::RETRY_AFTER, HeaderValue::from_static("60"));
            }
            _ => {}
        }
        // For the line in the log.
        response.extensions_mut().insert(self);
        response
    }
}
