//! How a session with the server goes on: new tokens for the last ones. Knows no document.

use backstraight_core::base::moment::Moment;
use backstraight_core::device::identity::Identity;
use backstraight_core::device::session::Tokens;
use serde::Deserialize;

use crate::error::AppError;
use crate::platform::net::{self, Ask};

#[derive(Deserialize)]
struct SessionAnswer {
    access_token: String,
    refresh_token: String,
    #[serde(default)]
    expires_in: Option<i64>,
}

/// New tokens for an install, at a moment of its clock.
///
/// # Errors
/// When the server is not reached or says no.
pub(crate) async fn renewed(me: &Identity, at: Moment) -> Result<Tokens, AppError> {
    let proof = me.renewal(at);
    let mut body = serde_json::json!({ "refresh_token": proof.refresh });
    if !proof.signature.is_empty() {
        body = serde_json::json!({
            "refresh_token": proof.refresh, "at": proof.at.0, "signature": proof.signature,
        });
    }
    let bytes = body.to_string();
    let body = Some(("application/json", bytes.as_bytes()));
    let ask = Ask { method: "POST", path: "/v1/token", body, ..Ask::default() };
    let answer = net::send(&ask).await?.good()?;
    let session: SessionAnswer =
        serde_json::from_slice(&answer).map_err(|e| AppError::Answer(e.to_string()))?;
    Ok(Tokens {
        access: session.access_token,
        refresh: session.refresh_token,
        // Without the time the token is tried until it is refused.
        good_for: session.expires_in.unwrap_or(i64::MAX),
    })
}
