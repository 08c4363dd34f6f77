//! What an install signs with its own key to show that it holds it, and the text of an invitation's
//! picture. Makes the bytes; signing and checking are the shells'. Knows no token and no right.
//!
//! Every use begins with a word of its own and every part with its length, so that a signature for
//! one use is none for another.

use crate::base::moment::Moment;

/// Bytes of the secret in an invitation's picture.
pub const SECRET_LEN: usize = 16;
/// How far the time in a proof may be from the server's, ms, either way.
pub const MOST_APART_MS: i64 = 5 * 60_000;

/// What is signed to enrol: the code or secret as it is sent, the install's public key, and what the
/// device calls itself.
#[must_use]
pub fn enrol(code: &str, public_key: &[u8; 32], device: &str) -> Vec<u8> {
    message("backstraight enrol 1", &[code.as_bytes(), public_key, device.as_bytes()])
}

/// What is signed to sign in: the name (empty for a passkey alone), the install's public key, and what
/// the device calls itself.
#[must_use]
pub fn sign_in(name: &str, public_key: &[u8; 32], device: &str) -> Vec<u8> {
    message("backstraight sign-in 1", &[name.as_bytes(), public_key, device.as_bytes()])
}

/// What is signed to set a server up: the secret of the owner's link, the install's public key, and
/// what the device calls itself.
#[must_use]
pub fn set_up(secret: &str, public_key: &[u8; 32], device: &str) -> Vec<u8> {
    message("backstraight set-up 1", &[secret.as_bytes(), public_key, device.as_bytes()])
}

/// What is signed to refresh a session: the refresh token and the time, so that neither a stolen token
/// nor an old request alone is worth anything.
#[must_use]
pub fn refresh(token: &str, at: Moment) -> Vec<u8> {
    message("backstraight refresh 1", &[token.as_bytes(), &at.0.to_be_bytes()])
}

fn message(word: &str, parts: &[&[u8]]) -> Vec<u8> {
    let mut out = Vec::with_capacity(128);
    for part in core::iter::once(&word.as_bytes()).chain(parts) {
        out.extend_from_slice(&u32::try_from(part.len()).unwrap_or(u32::MAX).to_be_bytes());
        out.extend_from_slice(part);
    }
    out
}

/// What an invitation's picture says: where, and the secret that is traded for an install. The secret
/// stands behind the `#`, which a browser keeps to itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Invitation {
    /// Address of the server, such as `https://club.example`.
    pub server: String,
    /// The secret, 22 characters of base64url.
    pub secret: String,
}

impl Invitation {
    /// The text of the picture.
    #[must_use]
    pub fn text(&self) -> String {
        format!("{}/join#{}", self.server.trim_end_matches('/'), self.secret)
    }

    /// Reads the text of a picture; `None` when it is another picture.
    #[must_use]
    pub fn read(text: &str) -> Option<Invitation> {
        let (address, secret) = text.trim().split_once('#')?;
        let server = address.strip_suffix("/join")?;
        let scheme = server.starts_with("https://") || server.starts_with("http://");
        (scheme && server.len() <= 512 && is_secret(secret))
            .then(|| Invitation { server: server.to_owned(), secret: secret.to_owned() })
    }
}

/// Whether a text has the form of an invitation's secret.
#[must_use]
pub fn is_secret(text: &str) -> bool {
    text.len() == 22 && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_of_two_uses_or_cuts_never_meet() {
        let key = [7; 32];
        let all = [
            enrol("AB", &key, "C"),
            enrol("A", &key, "BC"),
            enrol("AB", &[8; 32], "C"),
            sign_in("AB", &key, "C"),
            set_up("AB", &key, "C"),
            refresh("AB", Moment(1)),
            refresh("AB", Moment(2)),
            refresh("ABC", Moment(1)),
        ];
        for (i, a) in all.iter().enumerate() {
            for b in all.iter().skip(i + 1) {
                assert_ne!(a, b);
            }
        }
    }

    /// Phones and servers of different ages must make the same bytes.
    #[test]
    fn the_bytes_of_a_proof_are_fixed() {
        let bytes = refresh("t", Moment(1_795_600_800_000));
        let mut want = vec![0, 0, 0, 22];
        want.extend_from_slice(b"backstraight refresh 1");
        want.extend_from_slice(&[0, 0, 0, 1, b't', 0, 0, 0, 8, 0, 0, 1, 0xa2, 0x12, 0x25, 0xd9, 0]);
        assert_eq!(bytes, want);
    }

    /// As is written above: a word, then each part, with its length in four bytes before it.
    #[test]
    fn each_use_is_a_word_and_its_parts_with_their_lengths() {
        let parts = |word: &[u8]| {
            let mut want = Vec::new();
            for part in [word, b"AB", &[7; 32], b"C"] {
                want.extend_from_slice(&[0, 0, 0, u8::try_from(part.len()).unwrap()]);
                want.extend_from_slice(part);
            }
            want
        };
        assert_eq!(enrol("AB", &[7; 32], "C"), parts(b"backstraight enrol 1"));
        assert_eq!(sign_in("AB", &[7; 32], "C"), parts(b"backstraight sign-in 1"));
        assert_eq!(set_up("AB", &[7; 32], "C"), parts(b"backstraight set-up 1"));
    }

    #[test]
    fn an_invitation_survives_its_picture() {
        let it = Invitation {
            server: "https://club.example".to_owned(),
            secret: "AbCdEfGhIjKlMnOpQrSt-_".to_owned(),
        };
        assert_eq!(Invitation::read(&it.text()), Some(it));
        for wrong in [
            "",
            "https://club.example/join",
            "https://club.example/join#short",
            "ftp://club.example/join#AbCdEfGhIjKlMnOpQrSt-_",
            "https://club.example/other#AbCdEfGhIjKlMnOpQrSt-_",
            "https://club.example/join#AbCdEfGhIjKlMnOpQrSt-!",
        ] {
            assert_eq!(Invitation::read(wrong), None, "{wrong}");
        }
    }
}
