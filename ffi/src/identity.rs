//! The file that says who this install is, apart from the documents.

use std::fs;
use std::path::Path;

pub use backstraight_core::device::identity::{Identity, InstallKey};

use crate::error::PhoneError;
use crate::files::{self, Readers};

const FILE: &str = "identity.cbor";

/// A new key for an install.
///
/// # Errors
/// When the device has no randomness.
pub fn fresh_key() -> Result<InstallKey, PhoneError> {
    let mut seed = [0; 32];
    getrandom::fill(&mut seed)
        .map_err(|e| PhoneError::Storage { why: format!("no randomness: {e}"), full: false })?;
    Ok(InstallKey::of(seed))
}

/// Reads the identity of a folder; `None` when the install was never enrolled.
///
/// # Errors
/// When the file is there and cannot be read.
pub fn load(dir: &Path) -> Result<Option<Identity>, PhoneError> {
    match fs::read(dir.join(FILE)) {
        Ok(bytes) => Ok(Some(Identity::from_bytes(&bytes)?)),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(e.into()),
    }
}

/// Writes the identity: to a new file, flushed, then put in place of the old one.
///
/// # Errors
/// When the disk refuses; the old file is then untouched.
pub fn store(identity: &Identity, dir: &Path) -> Result<(), PhoneError> {
    files::put(&dir.join(FILE), &identity.to_bytes(), Readers::Owner).map_err(PhoneError::from)
}
