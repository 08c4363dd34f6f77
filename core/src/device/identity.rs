//! Who this install is. Kept apart from the documents, so that a damaged or replaced store does not
//! change who writes, and a copied store does not make two devices one.

use crate::base::id::{ClubId, InstallId, PersonId};
use crate::base::moment::Moment;
use crate::exchange::access::Role;
use minicbor::bytes::ByteArray;
use minicbor::{Decode, Encode};

use super::error::DeviceError;

/// Who this install is, and how it speaks with its server.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Identity {
    /// The install, given at enrolment.
    pub install: InstallId,
    /// Whose phone it is.
    pub person: PersonId,
    /// The person's club.
    pub club: ClubId,
    /// The person's role.
    pub role: Role,
    /// The name shown.
    pub name: String,
    /// Address of the server, such as `http://127.0.0.1:8080`.
    pub server: String,
    /// The token for the next exchange.
    pub access: String,
    /// The token for the next access token.
    pub refresh: String,
    /// Until when the access token is good, by this device's own clock; `None` when that is not known.
    pub access_until: Option<Moment>,
    /// The install's own key, made on this device and never sent; `None` in files of a time before there
    /// were any.
    pub key: Option<InstallKey>,
}

/// The install's own key (Ed25519). Whoever has it is this install.
#[derive(Clone, PartialEq, Eq)]
pub struct InstallKey([u8; 32]);

impl core::fmt::Debug for InstallKey {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("InstallKey")
    }
}

impl InstallKey {
    /// The key of a seed: a key that was kept elsewhere.
    #[must_use]
    pub const fn of(seed: [u8; 32]) -> InstallKey {
        InstallKey(seed)
    }

    /// The public part.
    #[must_use]
    pub fn public(&self) -> [u8; 32] {
        self.signing().verifying_key().to_bytes()
    }

    /// Signs a message of [`crate::exchange::proof`].
    #[must_use]
    pub fn sign(&self, message: &[u8]) -> [u8; 64] {
        use ed25519_dalek::Signer as _;
        self.signing().sign(message).to_bytes()
    }

    fn signing(&self) -> ed25519_dalek::SigningKey {
        ed25519_dalek::SigningKey::from_bytes(&self.0)
    }
}

#[derive(Encode, Decode)]
#[cbor(map)]
struct Stored {
    #[n(0)]
    install: String,
    #[n(1)]
    person: String,
    #[n(2)]
    club: String,
    #[n(3)]
    role: String,
    #[n(4)]
    name: String,
    #[n(5)]
    server: String,
    #[n(6)]
    access: String,
    #[n(7)]
    refresh: String,
    #[n(8)]
    access_until: Option<i64>,
    #[n(9)]
    key: Option<ByteArray<32>>,
}

impl Identity {
    /// From the bytes of [`Identity::to_bytes`].
    ///
    /// # Errors
    /// When they are not such bytes.
    pub fn from_bytes(bytes: &[u8]) -> Result<Identity, DeviceError> {
        let bad = |why: &str| DeviceError::Identity(why.to_owned());
        let s: Stored = minicbor::decode(bytes).map_err(|e| bad(&e.to_string()))?;
        Ok(Identity {
            install: s.install.parse().map_err(|_| bad("install"))?,
            person: s.person.parse().map_err(|_| bad("person"))?,
            club: s.club.parse().map_err(|_| bad("club"))?,
            role: s.role.parse().map_err(|_| bad("role"))?,
            name: s.name,
            server: s.server,
            access: s.access,
            refresh: s.refresh,
            access_until: s.access_until.map(Moment),
            key: s.key.map(|k| InstallKey(*k)),
        })
    }

    /// As bytes, to be kept apart from the documents.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let stored = Stored {
            install: self.install.to_string(),
            person: self.person.to_string(),
            club: self.club.to_string(),
            role: self.role.to_string(),
            name: self.name.clone(),
            server: self.server.clone(),
            access: self.access.clone(),
            refresh: self.refresh.clone(),
            access_until: self.access_until.map(|m| m.0),
            key: self.key.as_ref().map(|k| ByteArray::from(k.0)),
        };
        // Writing into memory cannot fail.
        minicbor::to_vec(&stored).unwrap_or_default()
    }
}
