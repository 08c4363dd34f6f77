//! Signing in with a password or a passkey, and keeping both. A sign-in gives an install like an
//! enrolment does. Answers and time are the same for names that exist and names that do not.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use backstraight_core::exchange::proof;
use data_encoding::BASE64URL_NOPAD;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::account::{DeviceBody, EnrolAnswer, enrolled, no_store};
use super::people::name as shown_name;
use crate::app::{App, Shared};
use crate::extract::{From, Json};
use crate::grant::{self, Caller};
use crate::passkey::{self, Assertion, Purpose};
use crate::password::{Checked, Password};
use crate::problem::{Problem, ProblemBody};
use crate::store::sign_in::{self, Kept, Nonce, Passkey, Put, PutPasskey, Removed};
use crate::store::{members, people};

/// Most characters of a name to sign in with.
const LONGEST_SIGN_IN: usize = 64;

/// A name to sign in with, in its one form: letters, digits and `.`, `-`, `_`, `+`, `@`, without capitals.
pub(super) fn sign_in_name(text: &str) -> Option<String> {
    let text = text.trim().to_lowercase();
    let fits = |c: char| c.is_alphanumeric() || matches!(c, '.' | '-' | '_' | '+' | '@');
    let length = text.chars().count();
    ((3..=LONGEST_SIGN_IN).contains(&length) && text.chars().all(fits)).then_some(text)
}

/// A challenge for a passkey.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct ChallengeReport {
    /// For the browser, base64url. Good for five minutes, and once.
    challenge: String,
    /// The name that passkeys hold to.
    rp_id: String,
    /// To register: the person, as the browser wants it.
    #[serde(skip_serializing_if = "Option::is_none")]
    user: Option<UserReport>,
    /// To register: credentials that are there already.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    exclude: Vec<String>,
}

/// A person, as a browser wants it for a passkey.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct UserReport {
    /// The identity's bytes, base64url.
    id: String,
    /// Shown name.
    name: String,
}

/// A challenge with which a passkey signs in
#[utoipa::path(
    post, path = "/v1/sign-in/challenge", tag = "account", operation_id = "challenge_sign_in",
    responses(
        (status = 200, description = "it", body = ChallengeReport),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
)]
pub(super) async fn challenge(State(app): State<Shared>) -> Response {
    no_store(&ChallengeReport {
        challenge: passkey::challenge(app.tokens.secret(), Purpose::SignIn, app.clock.now()),
        rp_id: app.site.host.clone(),
        user: None,
        exclude: Vec::new(),
    })
}

/// What a passkey answered; everything is base64url as browsers give it.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct AssertionBody {
    /// Which passkey.
    credential: String,
    /// `clientDataJSON`.
    client_data: String,
    /// `authenticatorData`.
    authenticator_data: String,
    /// `signature`.
    signature: String,
}

/// Body of `POST /v1/sign-in`: name and password, a passkey, or all three.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SignInBody {
    /// The name to sign in with.
    #[serde(default)]
    name: Option<String>,
    /// The password.
    #[serde(default)]
    password: Option<String>,
    /// What a passkey answered to a challenge of `POST /v1/sign-in/challenge`.
    #[serde(default)]
    passkey: Option<AssertionBody>,
    #[serde(flatten)]
    device: DeviceBody,
}

fn base64(text: &str) -> Result<Vec<u8>, Problem> {
    BASE64URL_NOPAD.decode(text.trim_end_matches('=').as_bytes()).map_err(|_| Problem::Field("passkey"))
}

/// Signs in: a new install of a coach, care staff, guardian or owner
///
/// A password shorter than 15 characters needs a passkey beside it; a passkey alone is enough. Athletes
/// have neither: their phone is the key.
#[utoipa::path(
    post, path = "/v1/sign-in", tag = "account", operation_id = "sign_in", request_body = SignInBody,
    responses(
        (status = 200, description = "the install and its first session", body = EnrolAnswer),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
)]
pub(super) async fn sign_in(
    State(app): State<Shared>,
    From(address): From,
    Json(body): Json<SignInBody>,
) -> Result<Response, Problem> {
    let now = app.clock.now();
    let typed = body.name.as_deref().unwrap_or_default();
    let device = body.device.read(|key, device| proof::sign_in(typed, key, device))?;
    if body.password.is_some() != body.name.is_some() || (body.name.is_none() && body.passkey.is_none()) {
        return Err(Problem::Field("name"));
    }
    // One form, whether or not it is a name at all: it is what wrong tries are counted by.
    let account = match &body.name {
        Some(typed) => sign_in_name(typed).unwrap_or_else(|| "?".to_owned()),
        None => {
            let credential = body.passkey.as_ref().map_or("", |p| &p.credential);
            format!("passkey {}", credential.chars().take(64).collect::<String>())
        }
    };
    let wait = app.backoff.wait(&account, address, now);
    if wait > 0 {
        return Err(Problem::Wait(wait));
    }
    let checked = check(&app, &account, &body).await;
    if checked.as_ref().is_err_and(|p| *p == Problem::SignInWrong) {
        app.backoff.wrong(&account, address, now);
    }
    let found = checked?;
    app.backoff.right(&account);
    let made = app
        .store
        .write(move |db| {
            let Some(person) = people::find(db, found.person)? else { return Ok(None) };
            if let Some((key, counter, nonce)) = &found.passkey
                && !sign_in::used(db, key, *counter, nonce, person.club, now)?
            {
                return Ok(None);
            }
            if let Some((kept, hash)) = &found.rehash {
                sign_in::rehash(db, kept, hash)?;
            }
            sign_in::signed_in(db, person.person, &device, now)
        })
        .await?;
    let new = made.ok_or(Problem::SignInWrong)?;
    Ok(no_store(&enrolled(&app, new)))
}

/// Who has shown to be who they say.
struct Found {
    person: backstraight_core::base::id::PersonId,
    passkey: Option<(Passkey, u32, Nonce)>,
    rehash: Option<(Kept, String)>,
}

async fn check(app: &Shared, account: &str, body: &SignInBody) -> Result<Found, Problem> {
    let mut found = None;
    if let Some(password) = &body.password {
        found = Some(check_password(app, account, password).await?);
    }
    let Some(answer) = &body.passkey else {
        let (kept, rehash) = found.ok_or(Problem::SignInWrong)?;
        if !kept.alone {
            return Err(Problem::SecondStep);
        }
        return Ok(Found { person: kept.person, passkey: None, rehash });
    };
    let used = check_passkey(app, answer, found.is_none()).await?;
    let person = used.0.person;
    match found {
        Some((kept, _)) if kept.person != person => Err(Problem::SignInWrong),
        Some((_, rehash)) => Ok(Found { person, passkey: Some(used), rehash }),
        None => Ok(Found { person, passkey: Some(used), rehash: None }),
    }
}

type RightPassword = (Kept, Option<(Kept, String)>);

async fn check_password(app: &Shared, account: &str, password: &str) -> Result<RightPassword, Problem> {
    let name = account.to_owned();
    let kept = app.store.read(move |db| sign_in::find(db, &name)).await?;
    // A password that nobody can have is checked like any other, against nothing.
    let typed = Password::typed(password);
    let stored = kept.as_ref().filter(|_| typed.is_some()).map(|k| k.hash.clone());
    let typed = typed.or_else(|| Password::typed("")).ok_or(Problem::Internal)?;
    let checked = app.passwords.check(*app.tokens.secret(), typed, stored).await?;
    match (kept, checked) {
        (Some(kept), Checked::Right) => Ok((kept, None)),
        (Some(kept), Checked::RightAndNew(hash)) => Ok((kept.clone(), Some((kept, hash)))),
        _ => Err(Problem::SignInWrong),
    }
}

async fn check_passkey(
    app: &Shared,
    answer: &AssertionBody,
    alone: bool,
) -> Result<(Passkey, u32, Nonce), Problem> {
    let credential = base64(&answer.credential)?;
    let (client, data) = (base64(&answer.client_data)?, base64(&answer.authenticator_data)?);
    let signature = base64(&answer.signature)?;
    let key = app.store.read(move |db| sign_in::passkey(db, &credential)).await?;
    let key = key.ok_or(Problem::SignInWrong)?;
    let assertion = Assertion { client: &client, data: &data, signature: &signature };
    let now = app.clock.now();
    let done = passkey::signed_in(app.tokens.secret(), &key.public_key, &app.site, assertion, alone, now);
    let (counter, nonce) = done.map_err(|why| {
        tracing::info!(%why, "a passkey was refused");
        Problem::SignInWrong
    })?;
    Ok((key, counter, nonce))
}

/// Body of `POST /v1/password`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PasswordBody {
    /// The name to sign in with: 3 to 64 letters, digits and `.`, `-`, `_`, `+`, `@`.
    name: String,
    /// The new password: at least 15 characters, or 8 where there is a passkey; at most 128.
    password: String,
    /// The present one, where there is one.
    #[serde(default)]
    current: Option<String>,
}

/// Sets the own password
#[utoipa::path(
    post, path = "/v1/password", tag = "account", operation_id = "set_password", request_body = PasswordBody,
    responses(
        (status = 204, description = "it is stored, hashed"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn password(
    State(app): State<Shared>,
    caller: Caller,
    From(address): From,
    Json(body): Json<PasswordBody>,
) -> Result<Response, Problem> {
    let grant = grant::to_sign_in(&caller).ok_or(Problem::NotAllowed)?;
    let name = sign_in_name(&body.name).ok_or(Problem::Field("name"))?;
    let asker = caller.asker;
    let (kept, member, club) = app
        .store
        .read(move |db| {
            Ok((sign_in::own(db, &grant)?, members::find(db, asker.person)?, members::club(db, asker.club)?))
        })
        .await?;
    let (Some(member), Some(club)) = (member, club) else { return Err(Problem::Unauthenticated) };
    let password = Password::chosen(&body.password, &[&club.name, &member.name, &name])?;
    let now = app.clock.now();
    if let Some((old, kept)) = kept {
        let wait = app.backoff.wait(&old, address, now);
        if wait > 0 {
            return Err(Problem::Wait(wait));
        }
        let right = check_password(&app, &old, body.current.as_deref().unwrap_or_default()).await;
        if right.as_ref().is_err_and(|p| *p == Problem::SignInWrong) {
            app.backoff.wrong(&old, address, now);
        }
        if right?.0.person != kept.person {
            return Err(Problem::SignInWrong);
        }
    }
    let alone = password.stands_alone();
    let hash = app.passwords.hash(*app.tokens.secret(), password).await?;
    match app.store.write(move |db| sign_in::put(db, &grant, &name, &hash, alone, now)).await? {
        Put::Done => Ok(StatusCode::NO_CONTENT.into_response()),
        Put::NameTaken => Err(Problem::NameTaken),
        Put::PasskeyNeeded => Err(Problem::PasskeyNeeded),
    }
}

/// A passkey.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PasskeyReport {
    /// Its identity, base64url.
    credential: String,
    /// What its owner calls it.
    name: String,
    /// When it was registered, ms since 1970 UTC.
    created_at: i64,
    /// When it was last used.
    #[serde(skip_serializing_if = "Option::is_none")]
    used_at: Option<i64>,
}

/// The own passkeys.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PasskeyList {
    /// The oldest first.
    passkeys: Vec<PasskeyReport>,
}

/// The own passkeys
#[utoipa::path(
    get, path = "/v1/passkeys", tag = "account", operation_id = "get_passkeys",
    responses(
        (status = 200, description = "they", body = PasskeyList),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn passkeys(State(app): State<Shared>, caller: Caller) -> Result<Response, Problem> {
    let grant = grant::to_sign_in(&caller).ok_or(Problem::NotAllowed)?;
    let all = app.store.read(move |db| sign_in::own_passkeys(db, &grant)).await?;
    let passkeys = all
        .into_iter()
        .map(|k| PasskeyReport {
            credential: BASE64URL_NOPAD.encode(&k.credential),
            name: k.name,
            created_at: k.created.0,
            used_at: k.used.map(|t| t.0),
        })
        .collect();
    Ok(no_store(&PasskeyList { passkeys }))
}

/// A challenge with which a passkey is registered
#[utoipa::path(
    post, path = "/v1/passkeys/challenge", tag = "account", operation_id = "challenge_passkey",
    responses(
        (status = 200, description = "it", body = ChallengeReport),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn passkey_challenge(
    State(app): State<Shared>,
    caller: Caller,
) -> Result<Response, Problem> {
    let grant = grant::to_sign_in(&caller).ok_or(Problem::NotAllowed)?;
    let person = caller.asker.person;
    let (all, member) = app
        .store
        .read(move |db| Ok((sign_in::own_passkeys(db, &grant)?, members::find(db, person)?)))
        .await?;
    let purpose = Purpose::Register(person.0.as_bytes());
    Ok(no_store(&ChallengeReport {
        challenge: passkey::challenge(app.tokens.secret(), purpose, app.clock.now()),
        rp_id: app.site.host.clone(),
        user: Some(UserReport {
            id: BASE64URL_NOPAD.encode(person.0.as_bytes()),
            name: member.ok_or(Problem::Unauthenticated)?.name,
        }),
        exclude: all.iter().map(|k| BASE64URL_NOPAD.encode(&k.credential)).collect(),
    }))
}

/// Body of `POST /v1/passkeys`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PasskeyBody {
    /// What to call it.
    name: String,
    /// `clientDataJSON`, base64url.
    client_data: String,
    /// `attestationObject`, base64url.
    attestation: String,
}

/// Registers a passkey of one's own
///
/// ES256 and EdDSA keys are taken, with the holder verified; attestations are not looked at.
#[utoipa::path(
    post, path = "/v1/passkeys", tag = "account", operation_id = "add_passkey", request_body = PasskeyBody,
    responses(
        (status = 204, description = "it is registered"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn add_passkey(
    State(app): State<Shared>,
    caller: Caller,
    Json(body): Json<PasskeyBody>,
) -> Result<Response, Problem> {
    let grant = grant::to_sign_in(&caller).ok_or(Problem::NotAllowed)?;
    let name = shown_name(&body.name, "name")?;
    let (client, attestation) = (base64(&body.client_data)?, base64(&body.attestation)?);
    let (person, now) = (caller.asker.person, app.clock.now());
    let made = registered(&app, person.0.as_bytes(), &client, &attestation)?;
    let new = Passkey {
        credential: made.credential,
        person,
        public_key: made.public_key,
        counter: made.counter,
        name,
        created: now,
        used: None,
    };
    match app.store.write(move |db| sign_in::put_passkey(db, &grant, &new, &made.nonce, now)).await? {
        PutPasskey::Done => Ok(StatusCode::NO_CONTENT.into_response()),
        PutPasskey::TooMany => Err(Problem::TooManyThings),
        PutPasskey::Known | PutPasskey::Replayed => Err(Problem::PasskeyWrong),
    }
}

fn registered(
    app: &App,
    person: &[u8; 16],
    client: &[u8],
    attestation: &[u8],
) -> Result<passkey::Registered, Problem> {
    let key = app.tokens.secret();
    passkey::registered(key, person, &app.site, client, attestation, app.clock.now()).map_err(|why| {
        tracing::info!(%why, "a passkey was not registered");
        Problem::PasskeyWrong
    })
}

/// Takes one of the own passkeys away
#[utoipa::path(
    post, path = "/v1/passkeys/{credential}/remove", tag = "account", operation_id = "remove_passkey",
    params(("credential" = String, Path, description = "identity of the passkey, base64url")),
    responses(
        (status = 204, description = "it is gone"),
        (status = "default", description = "why not", body = ProblemBody,
         content_type = "application/problem+json"),
    ),
    security(("access_token" = [])),
)]
pub(super) async fn remove_passkey(
    State(app): State<Shared>,
    caller: Caller,
    Path(credential): Path<String>,
) -> Result<Response, Problem> {
    let grant = grant::to_sign_in(&caller).ok_or(Problem::NotAllowed)?;
    let credential = base64(&credential).map_err(|_| Problem::NotFound)?;
    let now = app.clock.now();
    match app.store.write(move |db| sign_in::remove_passkey(db, &grant, &credential, now)).await? {
        Removed::Done => Ok(StatusCode::NO_CONTENT.into_response()),
        Removed::Unknown => Err(Problem::NotFound),
        Removed::Needed => Err(Problem::PasskeyNeeded),
    }
}
