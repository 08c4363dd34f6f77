//! The fixed first change of each kind of document: it makes the root maps, so that nobody ever
//! makes them at two places. The bytes are frozen; a test builds them anew and compares.

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, AutoCommit, AutomergeError, ObjType};

use crate::model::any::roots;
use crate::model::name::Kind;

/// Version of the starting change that this build writes into new documents.
pub const VERSION: i64 = 1;

/// The frozen starting change of a kind, as a change chunk of the open document format.
#[must_use]
pub const fn bytes(kind: Kind) -> &'static [u8] {
    match kind {
        Kind::Library => include_bytes!("genesis/library-1.bin"),
        Kind::Squad => include_bytes!("genesis/squad-1.bin"),
        Kind::Plan => include_bytes!("genesis/plan-1.bin"),
        Kind::Log => include_bytes!("genesis/log-1.bin"),
        Kind::Notes => include_bytes!("genesis/notes-1.bin"),
        Kind::Care => include_bytes!("genesis/care-1.bin"),
        Kind::CareNotes => include_bytes!("genesis/care-notes-1.bin"),
        Kind::Availability => include_bytes!("genesis/availability-1.bin"),
    }
}

/// The actor of starting changes: sixteen zero bytes, never used again.
pub const ACTOR: [u8; 16] = [0; 16];

/// Makes the starting change from the description of the kind. Only for freezing a new version and
/// for the test that compares it with the frozen bytes.
///
/// # Errors
/// Never, unless the document library changes its rules.
pub fn build(kind: Kind) -> Result<Vec<u8>, AutomergeError> {
    let mut doc = AutoCommit::new().with_actor(ActorId::from(ACTOR));
    doc.put(automerge::ROOT, "kind", kind.word())?;
    doc.put(automerge::ROOT, "v", VERSION)?;
    for root in roots(kind) {
        let map = doc.put_object(automerge::ROOT, root.name, ObjType::Map)?;
        if root.single {
            doc.put_object(&map, "main", ObjType::Map)?;
        }
    }
    doc.commit_with(CommitOptions::default().with_time(0));
    Ok(doc.save_after(&[]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SHA-256 names of the frozen starting changes. A changed line here is a broken promise to
    /// every document in the field: add a second starting change instead.
    const HASHES: [(Kind, &str); 8] = [
        (Kind::Library, "af611291b9027e0c1507fdac126c835eced6c46c95497b2f9b24f1f9d3916517"),
        (Kind::Squad, "bcaab68b210452dba2aa12cfa86c5cd339a5fb23b885d7955dc573b740b1b79c"),
        (Kind::Plan, "3bdf34d38c2f6fa10eaea3b1a659e5897c166eec4c21b2a66a75f89e23bab0f2"),
        (Kind::Log, "cec25ef3c40892178d8e6ae2dd6ed97dd676efe0e89faa38301f1b5ede1b57c3"),
        (Kind::Notes, "296d733e4f584a7d376ebd04af6eae266638c75d2525dd9e44759a6bf65dbd56"),
        (Kind::Care, "31f08539ea3000cebd9e9a51d09db6ba897362f47b03937b73d1be95e32d020e"),
        (Kind::CareNotes, "4db1e1d15cc5cbf2e07a2a12bc5397d5226759fef585ad7cdadbe8dfebae77d8"),
        (Kind::Availability, "0509c91b02588299f4ec1e2e746b0cd3770faf1515bb8677377e3b99805f8a68"),
    ];

    #[test]
    fn frozen_bytes_are_what_the_description_makes() {
        for (kind, hash) in HASHES {
            let built = build(kind).unwrap();
            if std::env::var_os("BACKSTRAIGHT_FREEZE").is_some() {
                let path = format!("{}/src/doc/genesis/{}-1.bin", env!("CARGO_MANIFEST_DIR"), kind.word());
                std::fs::write(path, &built).unwrap();
            }
            assert_eq!(built, bytes(kind), "{kind:?}");
            let mut doc = AutoCommit::load(bytes(kind)).unwrap();
            assert_eq!(doc.get_heads().first().unwrap().to_string(), hash, "{kind:?}");
        }
    }
}
