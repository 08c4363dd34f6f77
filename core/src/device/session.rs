//! What an install shows and gets to go on speaking with its server.

use super::identity::{Identity, InstallKey};
use crate::base::hex::hex;
use crate::base::moment::Moment;
use crate::exchange::proof;

/// Seconds before its end at which an access token is no longer used.
const TOKEN_MARGIN_S: i64 = 30;

/// What the server gives an install to speak with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tokens {
    /// The token for exchanges.
    pub access: String,
    /// The token for the next pair.
    pub refresh: String,
    /// For how many seconds from now the access token is good.
    pub good_for: i64,
}

/// What a phone shows to get the next tokens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Renewal {
    /// The refresh token.
    pub refresh: String,
    /// The time that was signed, ms since 1970 UTC.
    pub at: Moment,
    /// The install's signature over both, in hexadecimal; empty for an install without a key.
    pub signature: String,
}

impl Renewal {
    /// Signs for a refresh at a time.
    #[must_use]
    pub fn of(refresh: &str, at: Moment, key: Option<&InstallKey>) -> Renewal {
        let signature = key.map(|k| hex(&k.sign(&proof::refresh(refresh, at)))).unwrap_or_default();
        Renewal { refresh: refresh.to_owned(), at, signature }
    }
}

impl Identity {
    /// Whether the access token is known to be old.
    #[must_use]
    pub fn is_stale(&self, now: Moment) -> bool {
        self.access_until.is_some_and(|until| now >= until)
    }

    /// The proof for a renewal that is signed at `at`.
    #[must_use]
    pub fn renewal(&self, at: Moment) -> Renewal {
        Renewal::of(&self.refresh, at, self.key.as_ref())
    }

    /// The same install with new tokens, received at `now`.
    #[must_use]
    pub fn renewed(&self, tokens: Tokens, now: Moment) -> Identity {
        let good_for_ms = tokens.good_for.saturating_sub(TOKEN_MARGIN_S).saturating_mul(1000);
        Identity {
            access: tokens.access,
            refresh: tokens.refresh,
            access_until: Some(Moment(now.0.saturating_add(good_for_ms))),
            ..self.clone()
        }
    }
}
