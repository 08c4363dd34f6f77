//! How it stands with the browser's storage. Knows no document.

/// Whether what was entered is on disk here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Saved {
    /// All of it.
    All,
    /// The browser is writing.
    Saving,
    /// The browser refused; it is kept in memory and tried with the next entry.
    Not {
        /// In its words.
        why: String,
        /// Whether its storage is full.
        full: bool,
    },
}
