//! Access tokens (JWT, RFC 7519, RFC 9068, signed with Ed25519, RFC 8037) and refresh tokens.
//! The only place that makes or reads one. Knows no request and no right: a token says who asks,
//! never what they may do.
//!
//! The form that is accepted is exactly the form that is made: one algorithm, one type, a key of ours,
//! every claim present, no other header. General libraries accept more than that.

use std::sync::{PoisonError, RwLock};

use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use data_encoding::{BASE64URL_NOPAD, HEXLOWER};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::folder::Keys;
use crate::secret;

/// How long an access token is good for, seconds.
pub const LIFETIME: i64 = 15 * 60;
/// How far two clocks may differ, seconds.
pub const LEEWAY: i64 = 5;
/// What the tokens are for.
pub const AUDIENCE: &str = "backstraight/exchange";
/// Longest text that is looked at.
const LONGEST: usize = 2_048;

/// Why an access token was refused. For the log of a test; callers are told nothing but that.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TokenError {
    /// Not three parts of base64url, or not JSON of the expected form.
    #[error("malformed")]
    Malformed,
    /// Another algorithm, type or key, or a header that is not understood.
    #[error("header")]
    Header,
    /// Not signed by this server.
    #[error("signature")]
    Signature,
    /// Another issuer or audience.
    #[error("not for this server")]
    Elsewhere,
    /// Not yet good, or no longer.
    #[error("time")]
    Time,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Header {
    alg: String,
    kid: String,
    typ: String,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Claims {
    iss: String,
    aud: String,
    sub: String,
    did: String,
    jti: String,
    iat: i64,
    nbf: i64,
    exp: i64,
}

/// Who an access token speaks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bearer {
    /// The person.
    pub person: PersonId,
    /// The install.
    pub install: InstallId,
}

/// The keys of access tokens: one signs, others are those before it whose tokens are still good.
struct Ring {
    signing: SigningKey,
    kid: String,
    verifying: VerifyingKey,
    retired: Vec<(String, VerifyingKey, Moment)>,
}

impl Ring {
    fn of(signing: &[u8; 32], retired: &[([u8; 32], Moment)]) -> Ring {
        let signing = SigningKey::from_bytes(signing);
        let verifying = signing.verifying_key();
        let retired = retired
            .iter()
            .filter_map(|(key, until)| {
                let key = VerifyingKey::from_bytes(key).ok()?;
                Some((kid(&key), key, *until))
            })
            .collect();
        Ring { kid: kid(&verifying), signing, verifying, retired }
    }

    /// The key with that name, when its tokens are good.
    fn named(&self, name: &str, now: Moment) -> Option<&VerifyingKey> {
        if name == self.kid {
            return Some(&self.verifying);
        }
        self.retired.iter().find(|(kid, _, until)| kid == name && now.0 < until.0).map(|(_, key, _)| key)
    }
}

/// The name of a key follows from it.
fn kid(key: &VerifyingKey) -> String {
    let print = Sha256::digest(key.as_bytes());
    HEXLOWER.encode(print.get(..8).unwrap_or_default())
}

/// Makes and reads the tokens of one server.
pub struct Tokens {
    ring: RwLock<Ring>,
    issuer: String,
    secret: [u8; 32],
}

impl std::fmt::Debug for Tokens {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tokens").field("issuer", &self.issuer).finish_non_exhaustive()
    }
}

impl Tokens {
    /// The tokens of the server that is called `server`.
    #[must_use]
    pub fn new(keys: &Keys, server: [u8; 16]) -> Tokens {
        let issuer = format!("backstraight/{}", HEXLOWER.encode(&server));
        Tokens { ring: RwLock::new(Ring::of(&keys.signing, &[])), issuer, secret: keys.secret }
    }

    /// Takes the keys that the folder holds now; whether another one signs than before.
    pub fn renew(&self, keys: &Keys, retired: &[([u8; 32], Moment)]) -> bool {
        let ring = Ring::of(&keys.signing, retired);
        let mut held = self.ring.write().unwrap_or_else(PoisonError::into_inner);
        let another = held.kid != ring.kid;
        *held = ring;
        another
    }

    /// The public keys and their names: the one that signs, then those whose tokens are still good.
    #[must_use]
    pub fn public_keys(&self, now: Moment) -> Vec<(String, [u8; 32])> {
        let ring = self.ring.read().unwrap_or_else(PoisonError::into_inner);
        let retired = ring.retired.iter().filter(|(_, _, until)| now.0 < until.0);
        std::iter::once((ring.kid.clone(), ring.verifying.to_bytes()))
            .chain(retired.map(|(kid, key, _)| (kid.clone(), key.to_bytes())))
            .collect()
    }

    /// The key that refresh tokens and codes are hashed with.
    #[must_use]
    pub(crate) fn secret(&self) -> &[u8; 32] {
        &self.secret
    }

    /// An access token for an install, good from `now` for [`LIFETIME`].
    #[must_use]
    pub fn access(&self, bearer: Bearer, now: Moment) -> String {
        let ring = self.ring.read().unwrap_or_else(PoisonError::into_inner);
        let header = Header { alg: "EdDSA".to_owned(), kid: ring.kid.clone(), typ: "at+jwt".to_owned() };
        let iat = now.seconds();
        let claims = Claims {
            iss: self.issuer.clone(),
            aud: AUDIENCE.to_owned(),
            sub: bearer.person.to_string(),
            did: bearer.install.to_string(),
            jti: HEXLOWER.encode(&secret::random::<16>()),
            iat,
            nbf: iat,
            exp: iat + LIFETIME,
        };
        let signed = format!("{}.{}", part(&header), part(&claims));
        let signature = ring.signing.sign(signed.as_bytes());
        format!("{signed}.{}", BASE64URL_NOPAD.encode(&signature.to_bytes()))
    }

    /// Reads an access token.
    ///
    /// # Errors
    /// When it is anything but a token that this server made and that is good at `now`.
    pub fn read_access(&self, text: &str, now: Moment) -> Result<Bearer, TokenError> {
        let claims = self.claims(text, now)?;
        let person = claims.sub.parse().map_err(|_| TokenError::Malformed)?;
        let install = claims.did.parse().map_err(|_| TokenError::Malformed)?;
        Ok(Bearer { person, install })
    }

    /// Until when an access token is good.
    ///
    /// # Errors
    /// As [`Tokens::read_access`].
    pub fn good_until(&self, text: &str, now: Moment) -> Result<Moment, TokenError> {
        let claims = self.claims(text, now)?;
        Ok(Moment(claims.exp.saturating_add(LEEWAY).saturating_mul(1000)))
    }

    fn claims(&self, text: &str, now: Moment) -> Result<Claims, TokenError> {
        if text.len() > LONGEST {
            return Err(TokenError::Malformed);
        }
        let (signed, signature) = text.rsplit_once('.').ok_or(TokenError::Malformed)?;
        let (header, claims) = signed.split_once('.').ok_or(TokenError::Malformed)?;
        // Unknown fields are refused: `crit`, `jku`, `jwk`, `x5u`, `x5c` and whatever comes next.
        let header: Header = read(header).map_err(|_| TokenError::Header)?;
        if header.alg != "EdDSA" || header.typ != "at+jwt" {
            return Err(TokenError::Header);
        }
        let key = {
            let ring = self.ring.read().unwrap_or_else(PoisonError::into_inner);
            *ring.named(&header.kid, now).ok_or(TokenError::Header)?
        };
        let signature = BASE64URL_NOPAD.decode(signature.as_bytes()).map_err(|_| TokenError::Malformed)?;
        let signature = Signature::from_slice(&signature).map_err(|_| TokenError::Signature)?;
        key.verify_strict(signed.as_bytes(), &signature).map_err(|_| TokenError::Signature)?;
        let claims: Claims = read(claims)?;
        if claims.iss != self.issuer || claims.aud != AUDIENCE {
            return Err(TokenError::Elsewhere);
        }
        let now = now.seconds();
        let begun = claims.nbf <= now + LEEWAY && claims.iat <= now + LEEWAY && claims.iat <= claims.exp;
        if !begun
            || now >= claims.exp.saturating_add(LEEWAY)
            || claims.exp.saturating_sub(claims.iat) > LIFETIME
        {
            return Err(TokenError::Time);
        }
        Ok(claims)
    }

    /// The refresh token number `generation` of an install: its identity, the number and a keyed
    /// hash of both with the salt of the install. Nothing that could stand in for it is stored, and
    /// asking for the same number again gives the same token: that is what makes a retry harmless.
    #[must_use]
    pub fn refresh(&self, install: InstallId, generation: u32, salt: &[u8]) -> String {
        let mut bytes = Vec::with_capacity(44);
        bytes.extend_from_slice(&install.0);
        bytes.extend_from_slice(&generation.to_be_bytes());
        bytes.extend_from_slice(&secret::keyed(&self.secret, "refresh", &[&bytes.clone(), salt]));
        BASE64URL_NOPAD.encode(&bytes)
    }
}

/// A refresh token that was read but not yet believed.
#[derive(Debug, Clone, Copy)]
pub struct RefreshClaim {
    /// The install that it names.
    pub install: InstallId,
    /// Its number.
    pub generation: u32,
    proof: [u8; 32],
}

impl RefreshClaim {
    /// Takes a token apart; `None` when it has not the form of one.
    #[must_use]
    pub fn read(text: &str) -> Option<RefreshClaim> {
        let bytes: [u8; 44] = BASE64URL_NOPAD.decode(text.as_bytes()).ok()?.try_into().ok()?;
        let (install, rest) = bytes.split_first_chunk::<8>()?;
        let (generation, proof) = rest.split_first_chunk::<4>()?;
        Some(RefreshClaim {
            install: InstallId(*install),
            generation: u32::from_be_bytes(*generation),
            proof: proof.try_into().ok()?,
        })
    }

    /// Whether this server gave it out for the install with that salt.
    #[must_use]
    pub fn genuine(&self, key: &[u8; 32], salt: &[u8]) -> bool {
        let mut named = Vec::with_capacity(12);
        named.extend_from_slice(&self.install.0);
        named.extend_from_slice(&self.generation.to_be_bytes());
        secret::keyed_equals(key, "refresh", &[&named, salt], &self.proof)
    }
}

fn part<T: Serialize>(value: &T) -> String {
    // Three plain structs of texts and numbers: writing them to memory cannot fail.
    BASE64URL_NOPAD.encode(&serde_json::to_vec(value).unwrap_or_default())
}

fn read<T: for<'b> Deserialize<'b>>(part: &str) -> Result<T, TokenError> {
    let bytes = BASE64URL_NOPAD.decode(part.as_bytes()).map_err(|_| TokenError::Malformed)?;
    serde_json::from_slice(&bytes).map_err(|_| TokenError::Malformed)
}

#[cfg(test)]
#[path = "token_tests.rs"]
mod tests;
