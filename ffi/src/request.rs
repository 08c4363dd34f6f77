//! What a phone says to its server and how it reads the answers, whoever carries the bytes. Opens no
//! connection.

use std::io::{Read as _, Write as _};

use backstraight_core::base::hex::hex;
use backstraight_core::base::moment::Moment;
use backstraight_core::device::session::{Renewal, Tokens};
use backstraight_core::exchange::proof;
use backstraight_core::exchange::wire::MAX_BODY;
use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use serde_json::{Value, json};

use crate::error::PhoneError;
use crate::identity::{Identity, InstallKey};

/// A request: always a POST.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ask {
    /// Where, after the server's address.
    pub path: &'static str,
    /// Headers.
    pub headers: Vec<(&'static str, String)>,
    /// The body.
    pub body: Vec<u8>,
}

/// An answer.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Said {
    /// Its status.
    pub status: u16,
    /// Whether its body is packed.
    pub zipped: bool,
    /// The body.
    pub body: Vec<u8>,
}

/// The request of an exchange: the body is packed here.
///
/// # Errors
/// When it cannot be packed.
pub fn exchange(access: &str, body: &[u8]) -> Result<Ask, PhoneError> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    let packed = encoder
        .write_all(body)
        .and_then(|()| encoder.finish())
        .map_err(|e| PhoneError::Answer(format!("packing failed: {e}")))?;
    let headers = vec![
        ("authorization", format!("Bearer {access}")),
        ("content-type", "application/cbor".to_owned()),
        ("content-encoding", "gzip".to_owned()),
        ("accept-encoding", "gzip".to_owned()),
    ];
    Ok(Ask { path: "/v1/exchange", headers, body: packed })
}

/// The answer of an exchange, unpacked.
///
/// # Errors
/// When it is no success or cannot be unpacked.
pub fn exchanged(said: Said) -> Result<Vec<u8>, PhoneError> {
    match said.status {
        200 => {}
        401 => return Err(PhoneError::SignedOut("the access token was not accepted".to_owned())),
        status => return Err(PhoneError::Answer(format!("status {status}: {}", words(&said.body)))),
    }
    if !said.zipped {
        return Ok(said.body);
    }
    let mut out = Vec::new();
    GzDecoder::new(said.body.as_slice())
        .take(MAX_BODY as u64 + 1)
        .read_to_end(&mut out)
        .map_err(|e| PhoneError::Answer(e.to_string()))?;
    Ok(out)
}

/// The request for the next tokens.
#[must_use]
pub fn renewal(ask: &Renewal) -> Ask {
    let mut body = json!({ "refresh_token": ask.refresh });
    if !ask.signature.is_empty() {
        body = json!({ "refresh_token": ask.refresh, "at": ask.at.0, "signature": ask.signature });
    }
    as_json("/v1/token", &body)
}

/// The tokens that an answer brings.
///
/// # Errors
/// When it brings none.
pub fn renewed(said: &Said) -> Result<Tokens, PhoneError> {
    let answer = read(said)?;
    // Without the time the token is tried until it is refused.
    let good_for = answer.get("expires_in").and_then(Value::as_i64);
    Ok(Tokens {
        access: field(&answer, "access_token")?,
        refresh: field(&answer, "refresh_token")?,
        good_for: good_for.unwrap_or(i64::MAX),
    })
}

/// The request that trades an invitation for an install with that key.
#[must_use]
pub fn enrolment(code: &str, device: &str, key: &InstallKey) -> Ask {
    let public = key.public();
    let signature = key.sign(&proof::enrol(code, &public, device));
    let body = json!({
        "code": code, "device": device, "public_key": hex(&public), "signature": hex(&signature),
    });
    as_json("/v1/enrol", &body)
}

/// The install that an answer brings.
///
/// # Errors
/// When it brings none.
pub fn enrolled(said: &Said, server: &str, key: InstallKey) -> Result<Identity, PhoneError> {
    let answer = read(said)?;
    let get = |key: &str| field(&answer, key);
    let bad = |key: &str| PhoneError::Answer(format!("{key} is not well formed"));
    Ok(Identity {
        install: get("install")?.parse().map_err(|_| bad("install"))?,
        person: get("person")?.parse().map_err(|_| bad("person"))?,
        club: get("club")?.parse().map_err(|_| bad("club"))?,
        role: get("role")?.parse().map_err(|_| bad("role"))?,
        name: get("name")?,
        server: server.to_owned(),
        access: get("access_token")?,
        refresh: get("refresh_token")?,
        access_until: None,
        key: Some(key),
    })
}

/// The stable word of a problem document; empty when there is none.
#[must_use]
pub fn code(raw: &[u8]) -> String {
    let json: Option<Value> = serde_json::from_slice(raw).ok();
    json.as_ref().and_then(|j| j.get("code")?.as_str()).unwrap_or_default().to_owned()
}

/// The words of a problem document, for a person.
#[must_use]
pub fn words(raw: &[u8]) -> String {
    let json: Option<Value> = serde_json::from_slice(raw).ok();
    let text = |key: &str| json.as_ref()?.get(key)?.as_str().map(str::to_owned);
    text("detail").or_else(|| text("title")).unwrap_or_else(|| "no reason given".to_owned())
}

/// The server's time, when that is why it refused.
#[must_use]
pub fn clock_apart(raw: &[u8]) -> Option<Moment> {
    let json: Value = serde_json::from_slice(raw).ok()?;
    (json.get("code")?.as_str()? == "clock").then_some(())?;
    json.get("now")?.as_i64().map(Moment)
}

fn as_json(path: &'static str, body: &Value) -> Ask {
    let headers = vec![("content-type", "application/json".to_owned())];
    Ask { path, headers, body: body.to_string().into_bytes() }
}

fn read(said: &Said) -> Result<Value, PhoneError> {
    let raw = &said.body;
    if let Some(now) = clock_apart(raw) {
        return Err(PhoneError::ClockApart(now));
    }
    match said.status {
        200 | 201 => serde_json::from_slice(raw).map_err(|e| PhoneError::Answer(e.to_string())),
        401 | 403 | 404 | 409 | 410 => Err(PhoneError::SignedOut(words(raw))),
        status => Err(PhoneError::Answer(format!("status {status}: {}", words(raw)))),
    }
}

fn field(answer: &Value, key: &str) -> Result<String, PhoneError> {
    let text = answer.get(key).and_then(Value::as_str);
    text.map(str::to_owned).ok_or_else(|| PhoneError::Answer(format!("no {key}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(status: u16, body: &str) -> Said {
        Said { status, zipped: false, body: body.as_bytes().to_vec() }
    }

    #[test]
    fn what_is_packed_is_unpacked_and_no_success_is_an_error() {
        let ask = exchange("token", b"something to send").unwrap();
        let back = Said { status: 200, zipped: true, body: ask.body.clone() };
        assert_eq!(exchanged(back).unwrap(), b"something to send");
        assert!(ask.headers.contains(&("authorization", "Bearer token".to_owned())));
        assert!(matches!(exchanged(said(401, "")), Err(PhoneError::SignedOut(_))));
        let why = exchanged(said(503, r#"{"code":"busy","title":"too much waits"}"#)).unwrap_err();
        assert!(why.to_string().contains("503") && why.to_string().contains("too much waits"), "{why}");
        let cut = Said { status: 200, zipped: true, body: ask.body[..9].to_vec() };
        assert!(matches!(exchanged(cut), Err(PhoneError::Answer(_))));
    }

    #[test]
    fn a_wrong_clock_is_told_with_the_servers_time() {
        let wrong = said(401, r#"{"code":"clock","now":1795600800000}"#);
        assert!(matches!(renewed(&wrong), Err(PhoneError::ClockApart(Moment(1_795_600_800_000)))));
        assert_eq!(code(&wrong.body), "clock");
        assert!(matches!(renewed(&said(200, "rubbish")), Err(PhoneError::Answer(_))));
        assert!(matches!(renewed(&said(200, "{}")), Err(PhoneError::Answer(_))));
    }
}
