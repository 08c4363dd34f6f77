//! Merging an accepted upload into a loaded document: what the index could not confirm is
//! confirmed here, and the document library is trusted with nothing but its own arithmetic.

use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::{Automerge, Change, ChangeHash as EngineHash, ReadDoc as _};

use super::reject::{RejectCode, Rejected};
use super::{Accepted, GateIndex, seen};
use crate::base::id::ChangeHash;
use crate::doc::chunk;
use crate::doc::genesis;
use crate::model::name::Kind;

/// Merges an accepted upload into a document that is in the state of `index`. Before, every
/// replaced value must be one that its author saw; afterwards, the document must give back exactly
/// the changes that came in. The document must have no open edits. `index` must not have admitted the
/// upload yet.
///
/// # Errors
/// `stale` and `pred`, with the document as it was; `engine` and `unfaithful`: **the caller must
/// drop the document then**, because it may hold part of the upload or be broken.
pub fn merge(
    doc: &mut Automerge,
    index: &GateIndex,
    accepted: &Accepted,
    upload: &[u8],
) -> Result<(), Rejected> {
    guarded(|| {
        let before = doc.get_heads();
        if accepted.base != index.len() || ours(&before) != index.heads() {
            return Err(Rejected::new(RejectCode::Stale, "document"));
        }
        if accepted.needs_document() {
            seen::all(doc, accepted, upload)?;
        }
        apply(doc, accepted, upload)?;
        faithful(doc, accepted, upload, &before)
    })
}

/// Runs the document library and turns a panic into a refusal.
fn guarded<T>(work: impl FnOnce() -> Result<T, Rejected>) -> Result<T, Rejected> {
    catch_unwind(AssertUnwindSafe(work))
        .unwrap_or_else(|_| Err(Rejected::new(RejectCode::Engine, "it panicked")))
}

fn ours(hashes: &[EngineHash]) -> Vec<ChangeHash> {
    let mut ours: Vec<_> = hashes.iter().map(|h| ChangeHash(h.0)).collect();
    ours.sort_unstable();
    ours
}

pub(super) fn engine(error: impl core::fmt::Display) -> Rejected {
    // Its messages name hashes and actors, and can quote keys: only their first words are kept.
    let text: String = error.to_string().chars().take(40).filter(|c| c.is_ascii()).collect();
    Rejected::new(RejectCode::Engine, text)
}

fn apply(doc: &mut Automerge, accepted: &Accepted, upload: &[u8]) -> Result<(), Rejected> {
    let mut changes = Vec::with_capacity(accepted.fresh.len());
    for (fresh, chunk) in accepted.fresh.iter().zip(accepted.chunks(upload)) {
        // Another upload than the checked one would be merged unchecked.
        if chunk::name(chunk)? != fresh.hash {
            return Err(Rejected::new(RejectCode::Stale, "upload"));
        }
        changes.push(Change::from_bytes(chunk.to_vec()).map_err(engine)?);
    }
    doc.apply_changes(changes).map_err(engine)
}

/// Whether the document gives back the changes byte by byte, and waits for none.
fn faithful(
    doc: &mut Automerge,
    accepted: &Accepted,
    upload: &[u8],
    before: &[EngineHash],
) -> Result<(), Rejected> {
    let unfaithful = |at: &str| Err(Rejected::new(RejectCode::Unfaithful, at));
    if !doc.get_missing_deps(&[]).is_empty() {
        return unfaithful("it waits for ancestors");
    }
    let mut back = doc.get_changes(before);
    if back.len() != accepted.fresh.len() {
        return unfaithful("another number of changes");
    }
    back.sort_unstable_by_key(Change::hash);
    let mut sent: Vec<_> = accepted.fresh.iter().zip(accepted.chunks(upload)).collect();
    sent.sort_unstable_by_key(|(f, _)| f.hash);
    for (back, (fresh, chunk)) in back.iter().zip(sent) {
        if back.hash().0 != fresh.hash.0 || back.raw_bytes() != chunk {
            return unfaithful("another change");
        }
    }
    Ok(())
}

/// Loads own stored bytes, snapshot and chunks, and checks that they are a document of that kind
/// that waits for no ancestors.
///
/// # Errors
/// `engine` when they cannot be loaded, `unfaithful` when something is missing.
pub fn verify_whole(kind: Kind, bytes: &[u8]) -> Result<Automerge, Rejected> {
    let start = chunk::name(genesis::bytes(kind))?;
    guarded(|| {
        let doc = Automerge::load(bytes).map_err(engine)?;
        if !doc.get_missing_deps(&[]).is_empty() {
            return Err(Rejected::new(RejectCode::Unfaithful, "it waits for ancestors"));
        }
        if doc.get_change_meta_by_hash(&EngineHash(start.0)).is_none() {
            return Err(Rejected::new(RejectCode::Unfaithful, "another starting change"));
        }
        Ok(doc)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::doc::gate::Verdict;
    use automerge::transaction::Transactable as _;
    use automerge::{AutoCommit, ObjType};

    /// A check-in that somebody makes after the starting change.
    fn change(actor: u8) -> Vec<u8> {
        let start = AutoCommit::load(genesis::bytes(Kind::Log)).unwrap();
        let mut doc = start.with_actor(automerge::ActorId::from([actor; 16]));
        let (_, days) = doc.get(automerge::ROOT, "checkins").unwrap().unwrap();
        doc.put_object(&days, "aaaaaa-0", ObjType::Map).unwrap();
        doc.commit();
        doc.get_last_local_change().unwrap().raw_bytes().to_vec()
    }

    fn of(chunks: &[&[u8]]) -> Automerge {
        let mut doc = Automerge::load(genesis::bytes(Kind::Log)).unwrap();
        doc.apply_changes(chunks.iter().map(|c| Change::from_bytes(c.to_vec()).unwrap())).unwrap();
        doc
    }

    /// The document library is not trusted with giving back what it took.
    #[test]
    fn what_the_document_does_not_give_back_is_noticed() {
        let (one, other) = (change(1), change(2));
        let index = GateIndex::new(Kind::Log).unwrap();
        let Ok(Verdict::Accept(accepted)) = index.check(&one, &|_| true) else { panic!("refused") };
        let before = of(&[]).get_heads();
        let told = |chunks: &[&[u8]]| {
            faithful(&mut of(chunks), &accepted, &one, &before).map_err(|r| (r.code, r.at))
        };
        let wrong = |at: &str| Err((RejectCode::Unfaithful, at.to_owned()));
        assert_eq!(told(&[&one]), Ok(()));
        assert_eq!(told(&[]), wrong("another number of changes"));
        assert_eq!(told(&[&one, &other]), wrong("another number of changes"));
        assert_eq!(told(&[&other]), wrong("another change"));
        // One whose ancestor never came.
        let mut more = AutoCommit::load(&of(&[&other]).save()).unwrap();
        more.put(automerge::ROOT, "x", 1).unwrap();
        more.commit();
        let late = more.get_last_local_change().unwrap().raw_bytes().to_vec();
        assert_eq!(told(&[&one, &late]), wrong("it waits for ancestors"));
    }
}
