//! Who this install is. Kept in a file apart from the documents, so that a damaged or replaced
//! store does not change who writes, and a copied store does not make two phones one.

use std::fs;
use std::io::Write as _;
use std::path::Path;

use backstraight_core::base::id::{ClubId, InstallId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use minicbor::bytes::ByteArray;
use minicbor::{Decode, Encode};

use crate::error::PhoneError;

const FILE: &str = "identity.cbor";

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
    /// A new key.
    ///
    /// # Errors
    /// When the device has no randomness.
    pub fn fresh() -> Result<InstallKey, PhoneError> {
        let mut seed = [0; 32];
        getrandom::fill(&mut seed)
            .map_err(|e| PhoneError::Storage { why: format!("no randomness: {e}"), full: false })?;
        Ok(InstallKey(seed))
    }

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

    /// Signs a message of [`backstraight_core::exchange::proof`].
    #[must_use]
    pub fn sign(&self, message: &[u8]) -> [u8; 64] {
        use ed25519_dalek::Signer as _;
        self.signing().sign(message).to_bytes()
    }

    fn signing(&self) -> ed25519_dalek::SigningKey {
        ed25519_dalek::SigningKey::from_bytes(&self.0)
    }
}

/// Lower-case hexadecimal, as keys and signatures are sent.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
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
    /// Reads the identity of a folder; `None` when the install was never enrolled.
    ///
    /// # Errors
    /// When the file is there and cannot be read.
    pub fn load(dir: &Path) -> Result<Option<Identity>, PhoneError> {
        let bytes = match fs::read(dir.join(FILE)) {
            Ok(bytes) => bytes,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(e) => return Err(PhoneError::Storage { why: e.to_string(), full: false }),
        };
        let bad = |why: &str| PhoneError::Storage { why: format!("identity file: {why}"), full: false };
        let s: Stored = minicbor::decode(&bytes).map_err(|e| bad(&e.to_string()))?;
        Ok(Some(Identity {
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
        }))
    }

    /// Writes the identity: to a new file, flushed, then put in place of the old one.
    ///
    /// # Errors
    /// When the disk refuses; the old file is then untouched.
    pub fn store(&self, dir: &Path) -> Result<(), PhoneError> {
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
        let write = || -> std::io::Result<()> {
            let bytes = minicbor::to_vec(&stored).map_err(std::io::Error::other)?;
            let draft = dir.join("identity.cbor.new");
            let mut options = fs::OpenOptions::new();
            options.write(true).create(true).truncate(true);
            #[cfg(unix)]
            std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
            let mut file = options.open(&draft)?;
            file.write_all(&bytes)?;
            file.sync_all()?;
            fs::rename(&draft, dir.join(FILE))?;
            #[cfg(unix)]
            fs::File::open(dir)?.sync_all()?;
            Ok(())
        };
        write().map_err(|e| PhoneError::Storage {
            why: e.to_string(),
            full: e.kind() == std::io::ErrorKind::StorageFull,
        })
    }
}
