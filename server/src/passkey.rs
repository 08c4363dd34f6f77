//! Passkeys (Web Authentication, level 2): challenges, and checking what an authenticator answers. Takes
//! ES256 and EdDSA keys without attestation: whoever makes the authenticator says nothing that a club
//! would act on. Knows no database. Why it is written here: `docs/adr/0011-passkeys-by-hand.md`.

use backstraight_core::base::moment::Moment;
use data_encoding::BASE64URL_NOPAD;
use minicbor::data::Type;
use minicbor::decode::Decoder;
use p256::ecdsa::signature::Verifier;
use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::secret;
use crate::store::sign_in::Nonce;

/// How long a challenge is good, ms.
pub const CHALLENGE_MS: i64 = 5 * 60_000;
/// Longest credential identity.
const LONGEST_ID: usize = 1023;
/// Longest of the other parts, in bytes.
const LONGEST: usize = 4096;

const USER_PRESENT: u8 = 0x01;
const USER_VERIFIED: u8 = 0x04;
const ATTESTED: u8 = 0x40;

/// Why an answer was refused. Callers are told nothing but that.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PasskeyError {
    /// Not of the expected form.
    #[error("malformed")]
    Malformed,
    /// For another challenge, page or server, or too late.
    #[error("not this challenge")]
    Challenge,
    /// Nobody was there, or nobody was verified.
    #[error("nobody was verified")]
    User,
    /// A kind of key that is not taken.
    #[error("algorithm")]
    Algorithm,
    /// Not signed by the key.
    #[error("signature")]
    Signature,
}

use PasskeyError as E;

/// For what a challenge is: the two never stand in for each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose<'a> {
    /// To add a passkey to this person.
    Register(&'a [u8; 16]),
    /// To sign in.
    SignIn,
}

impl Purpose<'_> {
    const fn word(&self) -> &'static str {
        match self {
            Purpose::Register(_) => "webauthn.create",
            Purpose::SignIn => "webauthn.get",
        }
    }

    fn mac(&self, key: &[u8; 32], nonce: &Nonce) -> [u8; 32] {
        let person: &[u8] = if let Purpose::Register(person) = self { *person } else { &[] };
        let until = nonce.until.0.to_be_bytes();
        secret::keyed(key, "passkey challenge", &[self.word().as_bytes(), person, &nonce.bytes, &until])
    }
}

/// The page and name that passkeys hold to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Site {
    /// Scheme, host and port, as a browser writes them.
    pub origin: String,
    /// The host alone.
    pub host: String,
}

impl Site {
    /// The site of an address such as `https://club.example`.
    #[must_use]
    pub fn of(address: &str) -> Site {
        let host = address.split_once("://").map_or(address, |(_, rest)| rest);
        let host = host.rsplit_once(':').map_or(host, |(host, _)| host);
        Site { origin: address.to_owned(), host: host.to_owned() }
    }
}

/// A challenge: random, an end, and a keyed hash, so that nothing has to be remembered before it is answered.
#[must_use]
pub fn challenge(key: &[u8; 32], purpose: Purpose<'_>, now: Moment) -> String {
    let nonce = Nonce { bytes: secret::random(), until: now.plus_ms(CHALLENGE_MS) };
    let mut bytes = nonce.bytes.to_vec();
    bytes.extend_from_slice(&nonce.until.0.to_be_bytes());
    bytes.extend_from_slice(&purpose.mac(key, &nonce));
    BASE64URL_NOPAD.encode(&bytes)
}

fn read_challenge(text: &str, key: &[u8; 32], purpose: Purpose<'_>, now: Moment) -> Result<Nonce, E> {
    let bytes: [u8; 56] =
        BASE64URL_NOPAD.decode(text.as_bytes()).ok().and_then(|b| b.try_into().ok()).ok_or(E::Challenge)?;
    let (nonce, rest) = bytes.split_first_chunk::<16>().ok_or(E::Challenge)?;
    let (until, mac) = rest.split_first_chunk::<8>().ok_or(E::Challenge)?;
    let nonce = Nonce { bytes: *nonce, until: Moment(i64::from_be_bytes(*until)) };
    let person: &[u8] = if let Purpose::Register(person) = purpose { person } else { &[] };
    let parts: [&[u8]; 4] = [purpose.word().as_bytes(), person, &nonce.bytes, until];
    let ours = secret::keyed_equals(key, "passkey challenge", &parts, mac);
    if ours && now.0 < nonce.until.0 { Ok(nonce) } else { Err(E::Challenge) }
}

#[derive(Deserialize)]
struct ClientData {
    r#type: String,
    challenge: String,
    origin: String,
    #[serde(default, rename = "crossOrigin")]
    cross_origin: bool,
}

/// What both ceremonies check of what the browser says.
fn client_data(
    json: &[u8],
    key: &[u8; 32],
    purpose: Purpose<'_>,
    site: &Site,
    now: Moment,
) -> Result<Nonce, E> {
    let data: ClientData = serde_json::from_slice(json).map_err(|_| E::Malformed)?;
    if data.r#type != purpose.word() || data.origin != site.origin || data.cross_origin {
        return Err(E::Challenge);
    }
    read_challenge(&data.challenge, key, purpose, now)
}

/// The part of an authenticator's data that is always there.
struct Flags {
    bits: u8,
    counter: u32,
}

fn flags<'a>(data: &'a [u8], site: &Site) -> Result<(Flags, &'a [u8]), E> {
    let (host, rest) = data.split_first_chunk::<32>().ok_or(E::Malformed)?;
    let (bits, rest) = rest.split_first().ok_or(E::Malformed)?;
    let (counter, rest) = rest.split_first_chunk::<4>().ok_or(E::Malformed)?;
    let ours: [u8; 32] = Sha256::digest(site.host.as_bytes()).into();
    if *host != ours {
        return Err(E::Challenge);
    }
    if bits & USER_PRESENT == 0 {
        return Err(E::User);
    }
    Ok((Flags { bits: *bits, counter: u32::from_be_bytes(*counter) }, rest))
}

/// A new passkey.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Registered {
    /// Its identity.
    pub credential: Vec<u8>,
    /// Its public key, in our own form: a byte for the algorithm, then the point.
    pub public_key: Vec<u8>,
    /// Its count.
    pub counter: u32,
    /// The challenge that it answered.
    pub nonce: Nonce,
}

/// Checks the answer to a challenge to register.
///
/// # Errors
/// When it is not one to a challenge of ours for that person, by somebody who was verified.
pub fn registered(
    key: &[u8; 32],
    person: &[u8; 16],
    site: &Site,
    client: &[u8],
    attestation: &[u8],
    now: Moment,
) -> Result<Registered, E> {
    if client.len() > LONGEST || attestation.len() > LONGEST {
        return Err(E::Malformed);
    }
    let nonce = client_data(client, key, Purpose::Register(person), site, now)?;
    let data = auth_data(attestation).ok_or(E::Malformed)?;
    let (flags, rest) = flags(data, site)?;
    if flags.bits & USER_VERIFIED == 0 {
        return Err(E::User);
    }
    if flags.bits & ATTESTED == 0 {
        return Err(E::Malformed);
    }
    // The kind of authenticator is nobody's business.
    let (_, rest) = rest.split_first_chunk::<16>().ok_or(E::Malformed)?;
    let (length, rest) = rest.split_first_chunk::<2>().ok_or(E::Malformed)?;
    let length = usize::from(u16::from_be_bytes(*length));
    if length == 0 || length > LONGEST_ID {
        return Err(E::Malformed);
    }
    let (credential, cose) = rest.split_at_checked(length).ok_or(E::Malformed)?;
    let public_key = public_key(cose)?;
    Ok(Registered { credential: credential.to_vec(), public_key, counter: flags.counter, nonce })
}

/// An answer to a challenge to sign in, as it was sent.
#[derive(Debug, Clone, Copy)]
pub struct Assertion<'a> {
    /// What the browser says.
    pub client: &'a [u8],
    /// What the authenticator says.
    pub data: &'a [u8],
    /// Its signature over both.
    pub signature: &'a [u8],
}

/// Checks an answer to a challenge to sign in by the key of the passkey; its count and the challenge's nonce.
/// `alone` says whether nothing else is shown beside it: then its holder must have been verified.
///
/// # Errors
/// When it is not one to a challenge of ours by that key.
pub fn signed_in(
    key: &[u8; 32],
    public_key: &[u8],
    site: &Site,
    answer: Assertion<'_>,
    alone: bool,
    now: Moment,
) -> Result<(u32, Nonce), E> {
    if answer.client.len() > LONGEST || answer.data.len() > LONGEST || answer.signature.len() > 256 {
        return Err(E::Malformed);
    }
    let nonce = client_data(answer.client, key, Purpose::SignIn, site, now)?;
    let (flags, _) = flags(answer.data, site)?;
    if alone && flags.bits & USER_VERIFIED == 0 {
        return Err(E::User);
    }
    let mut signed = answer.data.to_vec();
    signed.extend_from_slice(&Sha256::digest(answer.client));
    verify(public_key, &signed, answer.signature)?;
    Ok((flags.counter, nonce))
}

const ES256: u8 = 1;
const EDDSA: u8 = 2;

fn verify(public_key: &[u8], signed: &[u8], signature: &[u8]) -> Result<(), E> {
    match public_key.split_first() {
        Some((&ES256, point)) => {
            let key = p256::ecdsa::VerifyingKey::from_sec1_bytes(point).map_err(|_| E::Algorithm)?;
            let signature = p256::ecdsa::Signature::from_der(signature).map_err(|_| E::Signature)?;
            key.verify(signed, &signature).map_err(|_| E::Signature)
        }
        Some((&EDDSA, point)) => {
            let point: &[u8; 32] = point.try_into().map_err(|_| E::Algorithm)?;
            let key = ed25519_dalek::VerifyingKey::from_bytes(point).map_err(|_| E::Algorithm)?;
            let signature = ed25519_dalek::Signature::from_slice(signature).map_err(|_| E::Signature)?;
            key.verify_strict(signed, &signature).map_err(|_| E::Signature)
        }
        _ => Err(E::Algorithm),
    }
}

/// The authenticator's data in an attestation object; what attests it is left aside.
fn auth_data(attestation: &[u8]) -> Option<&[u8]> {
    let mut d = Decoder::new(attestation);
    let mut found = None;
    for _ in 0..d.map().ok().flatten()?.min(8) {
        if d.str().ok()? == "authData" {
            found = Some(d.bytes().ok()?);
        } else {
            d.skip().ok()?;
        }
    }
    found
}

/// A COSE key (RFC 9053) in our own form.
fn public_key(cose: &[u8]) -> Result<Vec<u8>, E> {
    let mut d = Decoder::new(cose);
    let (mut kind, mut algorithm, mut curve) = (0, 0, 0);
    let (mut x, mut y): (Option<&[u8]>, Option<&[u8]>) = (None, None);
    let count = d.map().map_err(|_| E::Malformed)?.ok_or(E::Malformed)?;
    for _ in 0..count.min(16) {
        let label = d.i64().map_err(|_| E::Malformed)?;
        let number = !matches!(d.datatype(), Ok(Type::Bytes));
        match label {
            1 if number => kind = d.i64().map_err(|_| E::Malformed)?,
            3 if number => algorithm = d.i64().map_err(|_| E::Malformed)?,
            -1 if number => curve = d.i64().map_err(|_| E::Malformed)?,
            -2 => x = Some(d.bytes().map_err(|_| E::Malformed)?),
            -3 => y = Some(d.bytes().map_err(|_| E::Malformed)?),
            _ => d.skip().map_err(|_| E::Malformed)?,
        }
    }
    let whole = |c: Option<&[u8]>| c.and_then(|c| <[u8; 32]>::try_from(c).ok()).ok_or(E::Malformed);
    match (kind, algorithm, curve) {
        (2, -7, 1) => {
            let mut point = vec![ES256, 4];
            point.extend_from_slice(&whole(x)?);
            point.extend_from_slice(&whole(y)?);
            let sec1 = point.get(1..).unwrap_or_default();
            p256::ecdsa::VerifyingKey::from_sec1_bytes(sec1).map_err(|_| E::Algorithm)?;
            Ok(point)
        }
        (1, -8, 6) => {
            let bytes = whole(x)?;
            let key = ed25519_dalek::VerifyingKey::from_bytes(&bytes).map_err(|_| E::Algorithm)?;
            if key.is_weak() {
                return Err(E::Algorithm);
            }
            let mut point = vec![EDDSA];
            point.extend_from_slice(&bytes);
            Ok(point)
        }
        _ => Err(E::Algorithm),
    }
}
