//! Random bytes, keyed hashes and the alphabet of codes. Knows no request and no database.

use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

/// Letters and digits that nobody mixes up when they are read aloud or copied by hand.
pub const ALPHABET: &[u8; 30] = b"ABCDEFGHJKMNPQRSTVWXYZ23456789";
/// Characters of a code.
pub const CODE_LEN: usize = 8;
/// The first characters of a code, which find its row.
pub const SELECTOR_LEN: usize = 3;

/// Bytes from the system's generator.
///
/// # Panics
/// When the system has no random bytes: nothing that needs a secret may go on then.
#[must_use]
#[expect(clippy::expect_used, reason = "without random bytes every identity and token would be guessable")]
pub fn random<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).expect("the system gives random bytes");
    bytes
}

/// A new code for an invitation.
#[must_use]
pub fn code() -> String {
    let mut out = String::with_capacity(CODE_LEN);
    while out.len() < CODE_LEN {
        for byte in random::<16>() {
            // 240 is the largest multiple of 30 in a byte: beyond it some letters would be likelier.
            if byte < 240
                && out.len() < CODE_LEN
                && let Some(letter) = ALPHABET.get(usize::from(byte % 30))
            {
                out.push(char::from(*letter));
            }
        }
    }
    out
}

/// A code as somebody typed it, in the one form that is compared; `None` when it can be no code.
#[must_use]
pub fn read_code(typed: &str) -> Option<String> {
    if typed.len() > 64 {
        return None;
    }
    let code: String =
        typed.chars().filter(|c| !c.is_whitespace() && *c != '-').map(|c| c.to_ascii_uppercase()).collect();
    (code.len() == CODE_LEN && code.bytes().all(|b| ALPHABET.contains(&b))).then_some(code)
}

/// A keyed hash (HMAC-SHA-256, RFC 2104). Every use has a word of its own, so that no hash of one
/// use is one of another; lengths are fixed by the callers or written in front.
#[must_use]
pub fn keyed(key: &[u8; 32], purpose: &str, parts: &[&[u8]]) -> [u8; 32] {
    mac(key, purpose, parts).finalize().into_bytes().into()
}

/// Compares with a keyed hash in constant time.
#[must_use]
pub fn keyed_equals(key: &[u8; 32], purpose: &str, parts: &[&[u8]], given: &[u8]) -> bool {
    mac(key, purpose, parts).verify_slice(given).is_ok()
}

fn mac(key: &[u8; 32], purpose: &str, parts: &[&[u8]]) -> Hmac<Sha256> {
    // A key shorter than the block is padded with zeros (RFC 2104): done here, so that nothing can fail.
    let mut block = [0; 64];
    for (slot, byte) in block.iter_mut().zip(key) {
        *slot = *byte;
    }
    let mut mac = <Hmac<Sha256> as KeyInit>::new(&block.into());
    for part in std::iter::once(&purpose.as_bytes()).chain(parts) {
        mac.update(&u64::try_from(part.len()).unwrap_or(u64::MAX).to_be_bytes());
        mac.update(part);
    }
    mac
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_read_as_they_are_spoken() {
        for _ in 0..200 {
            let code = code();
            assert_eq!(read_code(&code), Some(code.clone()));
            let typed = format!(" {}-{} ", code.get(..4).unwrap().to_lowercase(), code.get(4..).unwrap());
            assert_eq!(read_code(&typed), Some(code));
        }
        for wrong in ["", "ABCDEFG", "ABCDEFGHJ", "ABCDEFG0", "ABCDEFGI", "ÄBCDEFGH"] {
            assert_eq!(read_code(wrong), None, "{wrong}");
        }
        assert_eq!(read_code(&"A".repeat(100)), None);
    }

    #[test]
    fn a_keyed_hash_depends_on_key_purpose_and_cut() {
        let a = keyed(&[1; 32], "x", &[b"ab", b"c"]);
        assert_ne!(a, keyed(&[2; 32], "x", &[b"ab", b"c"]));
        assert_ne!(a, keyed(&[1; 32], "y", &[b"ab", b"c"]));
        assert_ne!(a, keyed(&[1; 32], "x", &[b"a", b"bc"]));
        assert!(keyed_equals(&[1; 32], "x", &[b"ab", b"c"], &a));
        assert!(!keyed_equals(&[1; 32], "x", &[b"ab", b"c"], a.get(..31).unwrap()));
    }

    /// RFC 4231, test case 2: the library computes what the standard says.
    #[test]
    fn the_hash_is_the_standards() {
        let mut mac = <Hmac<Sha256> as KeyInit>::new_from_slice(b"Jefe").unwrap();
        mac.update(b"what do ya want for nothing?");
        assert_eq!(
            data_encoding::HEXLOWER.encode(&mac.finalize().into_bytes()),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        );
    }
}
