//! Keys of records: `<start>-<n>`, six base32 characters drawn at each start of the app, then a
//! counter. Two starts can only meet by drawing the same thirty bits within one document.

use core::fmt;
use core::str::FromStr;

use arrayvec::ArrayString;

/// The alphabet of RFC 4648 base32, in lower case.
const ALPHABET: &[u8; 32] = b"abcdefghijklmnopqrstuvwxyz234567";

/// Most bytes of a key.
const MOST: usize = 16;

/// The name of a record within its map. Held in place: there are thousands in a season.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key(ArrayString<MOST>);

/// A text that is no record key.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("not a record key (six of a-z2-7, a hyphen, a number below 10^9): {0:?}")]
pub struct KeyError(String);

/// The last number of a key.
const LAST: u32 = 999_999_999;

/// A text of at most sixteen bytes; a longer one, which no key is, gives none.
fn in_place(text: &str) -> ArrayString<MOST> {
    ArrayString::from(text).unwrap_or_default()
}

impl Key {
    /// The key of the one record that a fixed starting change makes in a map of its own.
    #[must_use]
    pub fn main() -> Key {
        Key(in_place("main"))
    }

    /// As text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether `text` has the form of a key.
    #[must_use]
    pub fn well_formed(text: &str) -> bool {
        if text == "main" {
            return true;
        }
        let Some((start, n)) = text.split_once('-') else { return false };
        start.len() == 6
            && start.bytes().all(|b| ALPHABET.contains(&b))
            && (1..=9).contains(&n.len())
            && n.bytes().all(|b| b.is_ascii_digit())
            && (n.len() == 1 || !n.starts_with('0'))
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromStr for Key {
    type Err = KeyError;
    fn from_str(text: &str) -> Result<Key, KeyError> {
        if Key::well_formed(text) {
            Ok(Key(in_place(text)))
        } else {
            Err(KeyError(text.chars().take(40).collect()))
        }
    }
}

/// Makes keys for one start of an app. Not `Clone`: two copies would make the same key twice.
#[derive(Debug)]
pub struct KeyMint {
    start: String,
    next: u32,
}

impl KeyMint {
    /// A mint for one start, from four random bytes that are handed in (thirty bits are used).
    #[must_use]
    pub fn new(random: [u8; 4]) -> KeyMint {
        let mut bits = u32::from_be_bytes(random);
        let start = (0..6)
            .map(|_| {
                let i = bits & 31;
                bits >>= 5;
                usize::try_from(i).ok().and_then(|i| ALPHABET.get(i)).map_or('a', |b| char::from(*b))
            })
            .collect();
        KeyMint { start, next: 0 }
    }

    /// The next key.
    pub fn mint(&mut self) -> Key {
        let key = Key(in_place(&format!("{}-{}", self.start, self.next)));
        // A key beyond the last is one that exists: refused, not wrong.
        self.next = (self.next + 1).min(LAST);
        key
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_distinct_and_well_formed() {
        let mut mint = KeyMint::new([0xff, 1, 2, 3]);
        let (a, b) = (mint.mint(), mint.mint());
        assert_ne!(a, b);
        assert!(Key::well_formed(a.as_str()) && Key::well_formed(b.as_str()));
        assert_eq!(a.to_string().parse::<Key>().unwrap(), a);
    }

    #[test]
    fn other_texts_are_no_keys() {
        for t in [
            "",
            "-",
            "abcdef-",
            "abcde-1",
            "abcdefg-1",
            "ABCDEF-1",
            "abcde1-1",
            "abcdef-01",
            "abcdef-1234567890",
            "abcdef-x",
            "éabcd-1",
        ] {
            assert!(t.parse::<Key>().is_err(), "{t}");
        }
        assert!("abcdef-0".parse::<Key>().is_ok());
        assert!("abcdef-999999999".parse::<Key>().is_ok());
    }
}
