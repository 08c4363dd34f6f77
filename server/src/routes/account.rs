//! Enrolling an install, refreshing its session, consent.

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use data_encoding::HEXLOWER;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::app::Shared;
use crate::extract::{From, Json};
use crate::grant::{self, Caller};
use crate::problem::{Problem, ProblemBody};
use crate::secret;
use crate::store::account::{self, Enrol, EnrolOutcome, Enrolled, Rotation};
use crate::store::people::LONGEST_NAME;
use crate::token::{Bearer, LIFETIME, RefreshClaim};

/// Body of `POST /v1/enrol`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct EnrolBody {
    /// The code of an invitation, as it was told.
    code: String,
    /// What the device calls itself.
    device: String,
    /// The install's own Ed25519 key, 64 hexadecimal digits.
    #[serde(default)]
    public_key: Option<String>,
}

/// Answer to an enrolment.
#[derive(Debug, Serialize, ToSchema)]
struct EnrolAnswer {
    /// Identity of the install.
    install: String,
    /// Whose it is.
    person: String,
    /// The person's club.
    club: String,
    /// The person's role, in words.
    role: &'static str,
    /// The person's name.
    name: String,
    #[serde(flatten)]
    session: Session,
}

/// A session: what the install shows, and what it gets the next one with.
#[derive(Debug, Serialize, ToSchema)]
struct Session {
    /// For the `Authorization` header.
    access_token: String,
    /// `Bearer`.
    token_type: &'static str,
    /// Seconds for which the access token is good.
    expires_in: i64,
    /// For the next session.
    refresh_token: String,
}

/// Trades a code for an install
#[utoipa::path(
    post, path = "/v1/enrol", tag = "account", operation_id = "enrol_install", request_body = EnrolBody,
    responses(
        (status = 200, description = "the install and its first session", body = EnrolAnswer),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
)]
pub(super) async fn enrol(
    State(app): State<Shared>,
    From(address): From,
    Json(body): Json<EnrolBody>,
) -> Result<Response, Problem> {
    let now = app.clock.now();
    if !app.failures.may(address, now) {
        return Err(Problem::TooMany);
    }
    let device = body.device.trim();
    if device.is_empty() || device.len() > LONGEST_NAME || device.chars().any(char::is_control) {
        return Err(Problem::Field("device"));
    }
    let public_key = match &body.public_key {
        None => None,
        Some(text) => Some(public_key(text).ok_or(Problem::Field("public_key"))?),
    };
    let Some(code) = secret::read_code(&body.code) else {
        app.failures.count(address, now);
        return Err(Problem::CodeWrong);
    };
    let ask = Enrol { code, device: device.to_owned(), public_key };
    let key = *app.tokens.secret();
    match app.store.write_beside(move |db| account::enrol(db, &key, &ask, now)).await? {
        EnrolOutcome::Enrolled(new) => Ok(no_store(&enrolled(&app, new))),
        EnrolOutcome::Wrong => {
            app.failures.count(address, now);
            Err(Problem::CodeWrong)
        }
        EnrolOutcome::Expired => Err(Problem::CodeExpired),
        EnrolOutcome::Used => Err(Problem::CodeUsed),
    }
}

/// A public key in hex that is a point of the curve.
fn public_key(text: &str) -> Option<[u8; 32]> {
    let bytes: [u8; 32] = HEXLOWER.decode(text.as_bytes()).ok()?.try_into().ok()?;
    let key = ed25519_dalek::VerifyingKey::from_bytes(&bytes).ok()?;
    (!key.is_weak()).then_some(bytes)
}

fn enrolled(app: &Shared, new: Enrolled) -> EnrolAnswer {
    let bearer = Bearer { person: new.person, install: new.install };
    EnrolAnswer {
        install: new.install.to_string(),
        person: new.person.to_string(),
        club: new.club.to_string(),
        role: new.role.word(),
        name: new.name,
        session: session(app, bearer, 1, &new.salt),
    }
}

fn session(app: &Shared, bearer: Bearer, generation: u32, salt: &[u8; 16]) -> Session {
    Session {
        access_token: app.tokens.access(bearer, app.clock.now()),
        token_type: "Bearer",
        expires_in: LIFETIME,
        refresh_token: app.tokens.refresh(bearer.install, generation, salt),
    }
}

/// Body of `POST /v1/token`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct TokenBody {
    /// The newest one, or the one before it.
    refresh_token: String,
}

/// Trades a refresh token for a session
///
/// Asking again with the same token gives the same refresh token, until the new one has been used.
#[utoipa::path(
    post, path = "/v1/token", tag = "account", operation_id = "refresh_session", request_body = TokenBody,
    responses(
        (status = 200, description = "the session", body = Session),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
)]
pub(super) async fn token(
    State(app): State<Shared>,
    Json(body): Json<TokenBody>,
) -> Result<Response, Problem> {
    let claim = RefreshClaim::read(&body.refresh_token).ok_or(Problem::Unauthenticated)?;
    let (key, restored, now) = (*app.tokens.secret(), app.store.restored(), app.clock.now());
    match app.store.write_beside(move |db| account::rotate(db, &key, claim, restored, now)).await? {
        Rotation::Next { person, generation, salt } => {
            let bearer = Bearer { person, install: claim.install };
            Ok(no_store(&session(&app, bearer, generation, &salt)))
        }
        Rotation::Unknown => Err(Problem::Unauthenticated),
        Rotation::Killed => Err(Problem::SessionEnded),
    }
}

/// Body of `POST /v1/consent`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ConsentBody {
    /// Whether coaches may read the care document.
    care_open_to_coaches: bool,
}

/// Opens or closes the own care document to the coaches
#[utoipa::path(
    post, path = "/v1/consent", tag = "account", operation_id = "set_consent", request_body = ConsentBody,
    responses(
        (status = 204, description = "it is stored"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn consent(
    State(app): State<Shared>,
    caller: Caller,
    Json(body): Json<ConsentBody>,
) -> Result<Response, Problem> {
    let grant = grant::to_consent(&caller).ok_or(Problem::NotAllowed)?;
    let now = app.clock.now();
    app.store.write(move |db| account::consent(db, &grant, body.care_open_to_coaches, now)).await?;
    Ok(axum::http::StatusCode::NO_CONTENT.into_response())
}

/// JSON that nobody on the way may keep.
pub(super) fn no_store<T: Serialize>(value: &T) -> Response {
    match serde_json::to_vec(value) {
        Ok(json) => {
            let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")];
            (headers, json).into_response()
        }
        Err(_) => Problem::Internal.into_response(),
    }
}
