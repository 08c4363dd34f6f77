//! The first start: whoever has the one-time link makes the first club and owns it.

use axum::extract::State;
use axum::response::Response;
use backstraight_core::exchange::proof;
use serde::Deserialize;
use utoipa::ToSchema;

use super::account::{DeviceBody, EnrolAnswer, enrolled, no_store};
use super::people::name;
use super::sign_in::sign_in_name;
use crate::app::Shared;
use crate::extract::{From, Json};
use crate::password::Password;
use crate::problem::{Problem, ProblemBody};
use crate::store::setup::{self, SetUp, SetUpOutcome};

/// Body of `POST /v1/set-up`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SetUpBody {
    /// What stands behind the `#` of the link.
    secret: String,
    /// Name of the club.
    club: String,
    /// The owner's name.
    name: String,
    /// A name to sign in with, and the password below. Without them a passkey can be registered with the
    /// session that comes back; until then that session is the only way in.
    #[serde(default)]
    sign_in: Option<String>,
    /// A password of at least 15 characters.
    #[serde(default)]
    password: Option<String>,
    #[serde(flatten)]
    device: DeviceBody,
}

/// Sets a new server up with the link that its first start printed
#[utoipa::path(
    post, path = "/v1/set-up", tag = "account", operation_id = "set_up", request_body = SetUpBody,
    responses(
        (status = 200, description = "the owner's install and its first session", body = EnrolAnswer),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
)]
pub(super) async fn set_up(
    State(app): State<Shared>,
    From(address): From,
    Json(body): Json<SetUpBody>,
) -> Result<Response, Problem> {
    let now = app.clock.now();
    if !app.failures.may(address, now) {
        return Err(Problem::TooMany);
    }
    let device = body.device.read(|key, device| proof::set_up(&body.secret, key, device))?;
    let (club, owner) = (name(&body.club, "club")?, name(&body.name, "name")?);
    // Nobody without the link makes the server hash passwords.
    let (key, secret) = (*app.tokens.secret(), body.secret.clone());
    if let Some(no) = app.store.read(move |db| setup::look(db, &key, &secret, now)).await? {
        return Err(refused(&app, address, &no));
    }
    let sign_in = match (&body.sign_in, &body.password) {
        (None, None) => None,
        (Some(typed), Some(password)) => {
            let typed = sign_in_name(typed).ok_or(Problem::Field("sign_in"))?;
            let password = Password::chosen(password, &[&club, &owner, &typed])?;
            if !password.stands_alone() {
                return Err(Problem::PasswordShort);
            }
            Some((typed, app.passwords.hash(key, password).await?))
        }
        _ => return Err(Problem::Field("sign_in")),
    };
    let ask = SetUp { secret: body.secret, club, name: owner, sign_in, device };
    match app.store.write(move |db| setup::set_up(db, &key, &ask, now)).await? {
        SetUpOutcome::Done(new) => Ok(no_store(&enrolled(&app, new))),
        no => Err(refused(&app, address, &no)),
    }
}

fn refused(app: &Shared, address: std::net::IpAddr, no: &SetUpOutcome) -> Problem {
    app.failures.count(address, app.clock.now());
    match no {
        SetUpOutcome::Expired => Problem::CodeExpired,
        SetUpOutcome::Used => Problem::CodeUsed,
        SetUpOutcome::Wrong | SetUpOutcome::Done(_) => Problem::CodeWrong,
    }
}
