//! Every answer that is no success: problem details (RFC 9457) with a stable code. What went wrong
//! inside stays inside and goes to the log.

use axum::extract::Request;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::Next;
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
    /// The body or the path is not what this route takes.
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
    /// This install has all the streams that it may have.
    TooManyStreams,
    /// Too many wrong tries for this account or from this address: wait so many seconds.
    Wait(u32),
    /// Too many passwords are being checked.
    Queue,
    /// The time in the request is too far from the server's, which this is in ms.
    Clock(i64),
    /// The session of this install has ended with time.
    SessionExpired,
    /// No such name, or another password, or a passkey that is not known.
    SignInWrong,
    /// The password is right, and needs a passkey beside it.
    SecondStep,
    /// Somebody else signs in with that name.
    NameTaken,
    /// The password is too short to be used in that way.
    PasswordShort,
    /// The password is too long.
    PasswordLong,
    /// The password is one of those that are tried first.
    PasswordCommon,
    /// A passkey is needed before that.
    PasskeyNeeded,
    /// The passkey's answer is not one to this challenge and server.
    PasskeyWrong,
    /// There are too many of them.
    TooManyThings,
    /// The club would have no owner.
    LastOwner,
    /// For a minor, or somebody whose date of birth is not known, a guardian has to sign.
    GuardianNeeded,
    /// The athlete is of age.
    OfAge,
    /// Whoever leaves with a copy shows it.
    CopyNeeded,
    /// The copy is not whole, or is somebody else's.
    CopyDamaged,
    /// Something was written since the copy was made.
    CopyOld,
    /// More requests than an install or an address may send; seconds after which it may again.
    TooFast(u32),
    /// The body did not arrive in time.
    SlowBody,
    /// The route does not do that.
    Method,
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
            Problem::Malformed => (S::BAD_REQUEST, "malformed", "the request is not what this route takes"),
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
            Problem::TooManyStreams => (
                S::TOO_MANY_REQUESTS,
                "too-many-streams",
                "this install listens already: close a stream first",
            ),
            Problem::Wait(_) => (S::TOO_MANY_REQUESTS, "too-many", "too many wrong tries: wait"),
            Problem::Queue => (S::TOO_MANY_REQUESTS, "queue", "too many sign in at once: send it again"),
            Problem::Clock(_) => {
                (S::BAD_REQUEST, "clock", "the time in the request is too far from the server's")
            }
            Problem::SessionExpired => (
                S::UNAUTHORIZED,
                "session-expired",
                "the session of this install has ended with time: enrol or sign in again",
            ),
            Problem::SignInWrong => (S::UNAUTHORIZED, "sign-in-wrong", "name, password or passkey is wrong"),
            Problem::SecondStep => (S::FORBIDDEN, "second-step", "a passkey is needed beside this password"),
            Problem::NameTaken => (S::CONFLICT, "name-taken", "somebody else signs in with that name"),
            Problem::PasswordShort => (
                S::UNPROCESSABLE_ENTITY,
                "password-short",
                "a password has at least 15 characters, or 8 beside a passkey",
            ),
            Problem::PasswordLong => {
                (S::UNPROCESSABLE_ENTITY, "password-long", "a password has at most 128 characters")
            }
            Problem::PasswordCommon => {
                (S::UNPROCESSABLE_ENTITY, "password-common", "this password is one of those tried first")
            }
            Problem::PasskeyNeeded => {
                (S::CONFLICT, "passkey-needed", "a password as short as this one needs a passkey beside it")
            }
            Problem::PasskeyWrong => {
                (S::FORBIDDEN, "passkey-wrong", "the passkey did not answer this challenge")
            }
            Problem::TooManyThings => (S::CONFLICT, "too-many-things", "there are too many of them"),
            Problem::LastOwner => (S::CONFLICT, "last-owner", "the club would have no owner"),
            Problem::GuardianNeeded => (
                S::FORBIDDEN,
                "guardian-needed",
                "a guardian has to sign for a minor, or for somebody whose date of birth is not known",
            ),
            Problem::OfAge => (S::CONFLICT, "of-age", "the athlete is of age"),
            Problem::CopyNeeded => (
                S::UNPROCESSABLE_ENTITY,
                "copy-needed",
                "send the copy itself, the zip of the export, or say that none is wanted",
            ),
            Problem::CopyDamaged => (
                S::UNPROCESSABLE_ENTITY,
                "copy-damaged",
                "this is no whole copy of this person's: take another one; nothing was changed",
            ),
            Problem::CopyOld => (
                S::CONFLICT,
                "copy-old",
                "something was written since the copy was made: take another one; nothing was changed",
            ),
            Problem::TooFast(_) => (S::TOO_MANY_REQUESTS, "too-fast", "too many requests: wait"),
            Problem::SlowBody => (S::REQUEST_TIMEOUT, "slow-body", "the body took too long to arrive"),
            Problem::Method => {
                (S::METHOD_NOT_ALLOWED, "method-not-allowed", "this route does not take that method")
            }
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

/// Makes problems of the refusals of others: of the library that takes paths and queries apart.
pub(crate) async fn of_others(request: Request, next: Next) -> Response {
    let response = next.run(request).await;
    let status = response.status();
    let ours = response.extensions().get::<Problem>().is_some()
        || response.headers().get(header::CONTENT_TYPE).is_some_and(|v| v == "application/json");
    if ours || !(status.is_client_error() || status.is_server_error()) {
        return response;
    }
    let problem = match status {
        StatusCode::NOT_FOUND => Problem::NotFound,
        StatusCode::METHOD_NOT_ALLOWED => Problem::Method,
        StatusCode::PAYLOAD_TOO_LARGE => Problem::TooLarge,
        StatusCode::UNSUPPORTED_MEDIA_TYPE => Problem::MediaType,
        _ if status.is_client_error() => Problem::Malformed,
        _ => Problem::Internal,
    };
    problem.into_response()
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
    /// The server's time in ms since 1970 UTC, where the request's was too far from it.
    #[serde(skip_serializing_if = "Option::is_none")]
    now: Option<i64>,
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let (status, code, title) = self.parts();
        let field = if let Problem::Field(field) = self { Some(field) } else { None };
        let now = if let Problem::Clock(now) = self { Some(now) } else { None };
        let body = ProblemBody { r#type: "about:blank", title, status: status.as_u16(), code, field, now };
        let json = serde_json::to_vec(&body).unwrap_or_default();
        let mut response = (status, json).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        match self {
            Problem::Unauthenticated
            | Problem::SessionEnded
            | Problem::SessionExpired
            | Problem::SignInWrong => {
                headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
            }
            Problem::Wait(seconds) => {
                headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
            }
            Problem::Busy | Problem::TimeOut | Problem::Queue | Problem::StorageUnavailable => {
                headers.insert(header::RETRY_AFTER, HeaderValue::from_static("2"));
            }
            Problem::TooFast(seconds) => {
                headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
            }
            Problem::TooMany | Problem::TooManyStreams | Problem::StorageFull => {
                headers.insert(header::RETRY_AFTER, HeaderValue::from_static("60"));
            }
            _ => {}
        }
        // For the line in the log.
        response.extensions_mut().insert(self);
        response
    }
}
