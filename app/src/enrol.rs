//! Becoming an install: with an invitation, by signing in, or with the owner's link of a new server. The
//! key is on disk here before it is used, so an answer that got lost can be asked for again.

use backstraight_core::base::hex::hex;
use backstraight_core::device::identity::{Identity, InstallKey};
use backstraight_core::exchange::proof;
use serde::Deserialize;

use crate::device::kept::{Slot, Write};
use crate::error::AppError;
use crate::hub::identity_write;
use crate::platform::database::Database;
use crate::platform::net::{self, Ask};

/// The fact that is a key which waits for its install.
const PENDING: &str = "pending-key";

/// How somebody comes in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Door {
    /// The code of an invitation, or the secret of its picture.
    Invited(String),
    /// A name and a password.
    SignIn {
        /// The name to sign in with.
        name: String,
        /// The password.
        password: String,
    },
    /// The owner's link of a server that was never set up.
    SetUp {
        /// What stands behind the `#` of the link.
        secret: String,
        /// Name of the club.
        club: String,
        /// The owner's name.
        name: String,
        /// A name to sign in with.
        sign_in: String,
        /// A password.
        password: String,
    },
}

#[derive(Deserialize)]
struct EnrolAnswer {
    install: String,
    person: String,
    club: String,
    role: String,
    name: String,
    access_token: String,
    refresh_token: String,
}

/// Makes this browser an install and keeps who it is. `site` is the address that the page came from.
///
/// # Errors
/// When the server is not reached or says no, or the browser keeps nothing.
pub async fn enrol(database: &Database, site: &str, door: &Door, device: &str) -> Result<Identity, AppError> {
    let key = pending_key(database).await?;
    let public = key.public();
    let sign = |message: Vec<u8>| hex(&key.sign(&message));
    let (path, body) = match door {
        Door::Invited(code) => (
            "/v1/enrol",
            serde_json::json!({ "code": code, "signature": sign(proof::enrol(code, &public, device)) }),
        ),
        Door::SignIn { name, password } => (
            "/v1/sign-in",
            serde_json::json!({
                "name": name, "password": password, "signature": sign(proof::sign_in(name, &public, device)),
            }),
        ),
        Door::SetUp { secret, club, name, sign_in, password } => (
            "/v1/set-up",
            serde_json::json!({
                "secret": secret, "club": club, "name": name, "sign_in": sign_in, "password": password,
                "signature": sign(proof::set_up(secret, &public, device)),
            }),
        ),
    };
    let mut body = body;
    if let Some(fields) = body.as_object_mut() {
        fields.insert("device".to_owned(), device.into());
        fields.insert("public_key".to_owned(), hex(&public).into());
    }
    let bytes = body.to_string();
    let body = Some(("application/json", bytes.as_bytes()));
    let answer = net::send(&Ask { method: "POST", path, body, ..Ask::default() }).await?.good()?;
    let answer: EnrolAnswer = serde_json::from_slice(&answer).map_err(|e| AppError::Answer(e.to_string()))?;
    let bad = |what: &str| AppError::Answer(format!("{what} is not well formed"));
    let identity = Identity {
        install: answer.install.parse().map_err(|_| bad("install"))?,
        person: answer.person.parse().map_err(|_| bad("person"))?,
        club: answer.club.parse().map_err(|_| bad("club"))?,
        role: answer.role.parse().map_err(|_| bad("role"))?,
        name: answer.name,
        server: site.to_owned(),
        access: answer.access_token,
        refresh: answer.refresh_token,
        access_until: None,
        key: Some(key),
    };
    let done = Write::remove(Slot::Fact(PENDING.to_owned()).key());
    database.write(&[identity_write(&identity), done]).await?;
    Ok(identity)
}

async fn pending_key(database: &Database) -> Result<InstallKey, AppError> {
    let slot = Slot::Fact(PENDING.to_owned()).key();
    let kept = database.all().await?.into_iter().find(|(key, _)| *key == slot);
    if let Some(seed) = kept.and_then(|(_, seed)| seed.try_into().ok()) {
        return Ok(InstallKey::of(seed));
    }
    let mut seed = [0; 32];
    getrandom::fill(&mut seed)
        .map_err(|e| AppError::Storage { why: format!("no randomness: {e}"), full: false })?;
    database.write(&[Write::put(slot, seed.to_vec())]).await?;
    Ok(InstallKey::of(seed))
}
