//! Enrolling an install and refreshing its session.

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::proof;
use data_encoding::HEXLOWER;
use ed25519_dalek::{Signature, VerifyingKey};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::app::Shared;
use crate::extract::{From, Json};
use crate::problem::{Problem, ProblemBody};
use crate::secret;
use crate::store::Db;
use crate::store::account::{self, Enrol, EnrolOutcome, Enrolled, Rotation};
use crate::store::installs::{self, Device, Standing};
use crate::store::people::{LONGEST_NAME, shown};
use crate::token::{Bearer, LIFETIME, RefreshClaim};

/// Body of `POST /v1/enrol`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct EnrolBody {
    /// The code of an invitation as it was told, or the secret of its picture.
    code: String,
    #[serde(flatten)]
    device: DeviceBody,
}

/// Answer to an enrolment.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct EnrolAnswer {
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
    let device = body.device.read(|key, name| proof::enrol(&body.code, key, name))?;
    let code = body.code.trim();
    let code = if proof::is_secret(code) { Some(code.to_owned()) } else { secret::read_code(code) };
    let Some(code) = code else {
        app.failures.count(address, now);
        return Err(Problem::CodeWrong);
    };
    let ask = Enrol { code, device: device.name, public_key: Some(device.public_key) };
    let key = *app.tokens.secret();
    match app.store.write_beside(move |db| account::enrol(db, &key, &ask, now)).await? {
        EnrolOutcome::Enrolled(new) => {
            app.figures.sign_in("code", "good");
            Ok(no_store(&enrolled(&app, new)))
        }
        EnrolOutcome::Wrong => {
            app.figures.sign_in("code", "wrong");
            app.failures.count(address, now);
            Err(Problem::CodeWrong)
        }
        EnrolOutcome::Expired => {
            app.figures.sign_in("code", "expired");
            Err(Problem::CodeExpired)
        }
        EnrolOutcome::Used => {
            app.figures.sign_in("code", "used");
            Err(Problem::CodeUsed)
        }
    }
}

/// What a device tells of itself, and proves: that it holds the key.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct DeviceBody {
    /// What the device calls itself.
    device: String,
    /// The install's own Ed25519 key, 64 hexadecimal digits.
    public_key: String,
    /// The key's signature, 128 hexadecimal digits; `docs/access.md` says over what.
    signature: String,
}

impl DeviceBody {
    /// Checks it; `message` makes what must be signed from the key and the name.
    pub(super) fn read(&self, message: impl FnOnce(&[u8; 32], &str) -> Vec<u8>) -> Result<Device, Problem> {
        let name = shown(&self.device, LONGEST_NAME).ok_or(Problem::Field("device"))?;
        let (bytes, key) = public_key(&self.public_key).ok_or(Problem::Field("public_key"))?;
        let signature = signature(&self.signature).ok_or(Problem::Field("signature"))?;
        key.verify_strict(&message(&bytes, &self.device), &signature)
            .map_err(|_| Problem::Field("signature"))?;
        Ok(Device { name: name.to_owned(), public_key: bytes })
    }
}

/// A public key in hex that is a point of the curve.
fn public_key(text: &str) -> Option<([u8; 32], VerifyingKey)> {
    let bytes: [u8; 32] = HEXLOWER.decode(text.as_bytes()).ok()?.try_into().ok()?;
    let key = VerifyingKey::from_bytes(&bytes).ok()?;
    (!key.is_weak()).then_some((bytes, key))
}

fn signature(text: &str) -> Option<Signature> {
    Signature::from_slice(&HEXLOWER.decode(text.as_bytes()).ok()?).ok()
}

pub(super) fn enrolled(app: &Shared, new: Enrolled) -> EnrolAnswer {
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
    /// The time of the request in ms since 1970 UTC, at most five minutes from the server's. When it is
    /// not, the problem `clock` tells the server's time.
    #[serde(default)]
    at: Option<i64>,
    /// The install's signature over the token and that time, 128 hexadecimal digits. Only installs that
    /// were enrolled without a key leave it out.
    #[serde(default)]
    signature: Option<String>,
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
    let proof = Proof {
        at: body.at.map(Moment),
        signature: body
            .signature
            .as_deref()
            .map(|s| signature(s).ok_or(Problem::Field("signature")))
            .transpose()?,
        token: body.refresh_token,
    };
    if proof.at.is_some_and(|at| now.0.abs_diff(at.0) > proof::MOST_APART_MS.unsigned_abs()) {
        return Err(Problem::Clock(now.0));
    }
    let lasting = app.config.lasting();
    let turn = move |db: &Db| {
        let Some(standing) = installs::standing(db, claim.install)? else { return Ok(Turn::Unknown) };
        // Whoever has the token without the key does nothing: it does not even end the session.
        if !proof.holds(&standing) {
            return Ok(Turn::Unknown);
        }
        if standing.over(lasting, now) {
            return Ok(Turn::Expired);
        }
        let done = account::rotate(db, &key, claim, restored, now)?;
        if matches!(done, Rotation::Next { .. }) {
            installs::refreshed(db, claim.install, now)?;
        }
        Ok(Turn::Rotated(done))
    };
    let turn = app.store.write_beside(turn).await?;
    app.figures.sign_in("refresh", turn.word());
    match turn {
        Turn::Rotated(Rotation::Next { person, generation, salt }) => {
            let bearer = Bearer { person, install: claim.install };
            Ok(no_store(&session(&app, bearer, generation, &salt)))
        }
        Turn::Rotated(Rotation::Killed) => Err(Problem::SessionEnded),
        Turn::Expired => Err(Problem::SessionExpired),
        Turn::Rotated(Rotation::Unknown) | Turn::Unknown => Err(Problem::Unauthenticated),
    }
}

/// What became of a refresh.
enum Turn {
    Rotated(Rotation),
    Expired,
    Unknown,
}

impl Turn {
    /// For the figures.
    const fn word(&self) -> &'static str {
        match self {
            Turn::Rotated(Rotation::Next { .. }) => "good",
            Turn::Rotated(Rotation::Killed) => "ended",
            Turn::Expired => "expired",
            Turn::Rotated(Rotation::Unknown) | Turn::Unknown => "unknown",
        }
    }
}

/// That whoever refreshes holds the install's key now.
struct Proof {
    at: Option<Moment>,
    signature: Option<Signature>,
    token: String,
}

impl Proof {
    fn holds(&self, standing: &Standing) -> bool {
        let Some(bytes) = standing.public_key else { return true };
        let (Some(at), Some(signature)) = (self.at, &self.signature) else { return false };
        let Ok(key) = VerifyingKey::from_bytes(&bytes) else { return false };
        key.verify_strict(&proof::refresh(&self.token, at), signature).is_ok()
    }
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
