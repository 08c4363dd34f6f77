//! A document whose bytes cannot be opened whole: as much of it as can be.

use super::shelf::DocRow;
use crate::doc::genesis;
use crate::doc::open::Document;
use crate::model::name::DocName;

/// The document from the longest run of chunks that opens whole; chunks build on each other, so a
/// damaged one ends it. Nothing but the starting change when the saved form itself is damaged.
#[must_use]
pub fn longest(name: DocName, saved: &[u8], chunks: &[Vec<u8>]) -> Option<Document> {
    let start = if saved.is_empty() { genesis::bytes(name.kind()) } else { saved };
    for n in (0..=chunks.len()).rev() {
        let mut bytes = start.to_vec();
        chunks.iter().take(n).for_each(|c| bytes.extend_from_slice(c));
        if let Ok(doc) = Document::open(name, &bytes) {
            return Some(doc);
        }
    }
    Document::create(name).ok()
}

/// The row of a document that was rescued: nothing is believed of what the server has.
#[must_use]
pub fn unsure(doc: &Document) -> DocRow {
    DocRow {
        name: doc.name(),
        cursor: 0,
        heads: doc.heads(),
        server_heads: Vec::new(),
        agreed: false,
        tell_heads: true,
        withdrawn: false,
    }
}
