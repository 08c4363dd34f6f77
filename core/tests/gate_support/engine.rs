//! The guarded merge on the kind of document that tests write with.

use automerge::{AutoCommit, Automerge};
use backstraight_core::doc::gate::{self, Accepted, GateIndex, Rejected};
use backstraight_core::model::name::Kind;

/// As [`gate::merge`]; on a refusal the document is as it was.
pub fn merge(
    doc: &mut AutoCommit,
    index: &GateIndex,
    accepted: &Accepted,
    upload: &[u8],
) -> Result<(), Rejected> {
    let actor = doc.get_actor().clone();
    let mut plain = Automerge::load(&doc.save()).unwrap();
    gate::merge(&mut plain, index, accepted, upload)?;
    *doc = AutoCommit::load(&plain.save()).unwrap().with_actor(actor);
    Ok(())
}

/// As [`gate::verify_whole`].
pub fn verify_whole(kind: Kind, bytes: &[u8]) -> Result<AutoCommit, Rejected> {
    gate::verify_whole(kind, bytes)?;
    Ok(AutoCommit::load(bytes).unwrap())
}
