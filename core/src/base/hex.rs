//! Bytes as text.

use core::fmt::Write as _;

/// Lower-case hexadecimal.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        // Writing into a text does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
