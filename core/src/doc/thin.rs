//! The smaller form of an upload.

use super::gate::Rejected;

/// Packs change chunks.
#[must_use]
pub fn pack(chunks: &[u8]) -> Vec<u8> {
    chunks.to_vec()
}

/// Unpacks them.
///
/// # Errors
/// When damaged.
pub fn unpack(bytes: &[u8]) -> Result<Vec<u8>, Rejected> {
    Ok(bytes.to_vec())
}
