//! Record keys within the thin form: mostly each is one more than the last. Knows no stream.

use crate::base::key::Key;

/// Whether a name in a map is a record key with a number, not the name of a field.
pub(super) fn is_minted(name: &[u8]) -> bool {
    core::str::from_utf8(name).is_ok_and(|n| n.contains('-') && Key::well_formed(n))
}

/// The last record key, to foretell the next.
#[derive(Default)]
pub(super) struct Keys {
    start: String,
    n: u64,
}

impl Keys {
    pub(super) fn next(&self) -> Option<String> {
        (!self.start.is_empty()).then(|| format!("{}-{}", self.start, self.n + 1))
    }

    pub(super) fn is_next(&self, key: &str) -> bool {
        Key::well_formed(key)
            && key.split_once('-').is_some_and(|(s, n)| s == self.start && n.parse() == Ok(self.n + 1))
    }

    pub(super) fn note(&mut self, key: &str) {
        if let (true, Some((start, n))) = (Key::well_formed(key), key.split_once('-')) {
            start.clone_into(&mut self.start);
            self.n = n.parse().unwrap_or(0);
        }
    }
}
