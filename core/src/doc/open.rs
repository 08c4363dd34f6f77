//! A document in memory: opened from its fixed start or from a device's own bytes, saved as
//! changes since what is on disk. Bytes from elsewhere come in only by way of the gate.

use std::collections::HashSet;
use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::Automerge;
use sha2::{Digest, Sha256};

use super::gate::limits;
use super::genesis;
use crate::base::id::{ActorId, ChangeHash};
use crate::model::name::DocName;
use crate::model::number::PlanMark;

/// A document that cannot be opened or changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DocError {
    /// The bytes are not a whole document of ours.
    #[error("stored bytes of {name} cannot be opened: {why}")]
    Unreadable {
        /// Which document.
        name: DocName,
        /// What was wrong.
        why: String,
    },
    /// The document library refused a write.
    #[error("{name} cannot be written: {why}")]
    Unwritable {
        /// Which document.
        name: DocName,
        /// What was wrong.
        why: String,
    },
}

/// An open document. `Clone` gives an independent copy with the same content.
#[derive(Debug, Clone)]
pub struct Document {
    name: DocName,
    pub(super) auto: Automerge,
}

impl Document {
    /// A new document: nothing but the fixed starting change.
    ///
    /// # Errors
    /// Never, unless the build itself is broken.
    pub fn create(name: DocName) -> Result<Document, DocError> {
        Document::open(name, genesis::bytes(name.kind()))
    }

    /// Opens a device's or server's own bytes: a saved document or starting change, then change
    /// chunks, in one buffer.
    ///
    /// # Errors
    /// When they are damaged, incomplete or not of this kind.
    pub fn open(name: DocName, bytes: &[u8]) -> Result<Document, DocError> {
        let fail = |why: &str| DocError::Unreadable { name, why: why.to_owned() };
        let auto = catch_unwind(|| Automerge::load(bytes))
            .map_err(|_| fail("the document library gave up"))?
            .map_err(|e| fail(&e.to_string()))?;
        let start = automerge::ChangeHash(genesis_hash(name));
        if auto.get_change_meta_by_hash(&start).is_none() {
            return Err(fail("it does not begin with the starting change of its kind"));
        }
        if !automerge::ReadDoc::get_missing_deps(&auto, &[]).is_empty() {
            return Err(fail("changes are missing from it"));
        }
        Ok(Document { name, auto })
    }

    /// Its name.
    #[must_use]
    pub const fn name(&self) -> DocName {
        self.name
    }

    /// Names of the latest changes, ascending.
    #[must_use]
    pub fn heads(&self) -> Vec<ChangeHash> {
        let mut heads: Vec<ChangeHash> = self.auto.get_heads().iter().map(|h| ChangeHash(h.0)).collect();
        heads.sort_unstable();
        heads
    }

    /// The eight bytes by which a log remembers this state of a plan.
    #[must_use]
    pub fn mark(&self) -> PlanMark {
        mark_of(&self.heads())
    }

    /// Whether the document holds that change.
    #[must_use]
    pub fn holds(&self, hash: &ChangeHash) -> bool {
        self.auto.get_change_meta_by_hash(&automerge::ChangeHash(hash.0)).is_some()
    }

    /// Change chunks that `heads` do not cover. Heads that this document does not know are left
    /// out of account, never taken for "has nothing".
    #[must_use]
    pub fn changes_since(&self, heads: &[ChangeHash]) -> Vec<u8> {
        self.auto.save_after(&self.known(heads))
    }

    /// Change chunks to send to somebody who has what `heads` cover, at most `most` of them and of
    /// operations and bytes no more than a gate takes at once, each after those it builds on. The
    /// starting change is left out: every side has it.
    #[must_use]
    pub fn changes_to_send(&self, heads: &[ChangeHash], most: usize) -> Vec<u8> {
        let mut from = self.known(heads);
        from.push(automerge::ChangeHash(genesis_hash(self.name)));
        let (mut out, mut ops) = (Vec::new(), 0);
        for change in self.auto.get_changes(&from).iter().take(most) {
            ops += change.len();
            let bytes = change.raw_bytes();
            // One alone always goes: a gate has its own word on it.
            let fits = ops <= limits::UPLOAD_OPS && out.len() + bytes.len() <= limits::UPLOAD_BYTES / 2;
            if !fits && !out.is_empty() {
                break;
            }
            out.extend_from_slice(bytes);
        }
        out
    }

    /// Whether a change is one of `heads` or comes before them.
    #[must_use]
    pub fn covered(&self, hash: &ChangeHash, heads: &[ChangeHash]) -> bool {
        self.holds(hash) && !self.auto.get_changes_meta(&self.known(heads)).iter().any(|c| c.hash.0 == hash.0)
    }

    /// How many changes `heads` do not cover.
    #[must_use]
    pub fn count_since(&self, heads: &[ChangeHash]) -> usize {
        self.auto.get_changes_meta(&self.known(heads)).len()
    }

    /// The names of the changes that `heads` do not cover, the starting change left out.
    #[must_use]
    pub fn names_since(&self, heads: &[ChangeHash]) -> Vec<ChangeHash> {
        let mut from = self.known(heads);
        from.push(automerge::ChangeHash(genesis_hash(self.name)));
        self.auto.get_changes_meta(&from).iter().map(|change| ChangeHash(change.hash.0)).collect()
    }

    /// The document without some changes and without what builds on them. The starting change stays.
    ///
    /// # Errors
    /// When the document library cannot put the rest together.
    pub fn without(&self, gone: &dyn Fn(&ChangeHash) -> bool) -> Result<Document, DocError> {
        let start = automerge::ChangeHash(genesis_hash(self.name));
        let (mut bytes, mut left) = (Vec::new(), HashSet::new());
        // Each comes after those that it builds on.
        for change in self.auto.get_changes(&[]) {
            let hash = change.hash();
            let goes = gone(&ChangeHash(hash.0)) || change.deps().iter().any(|dep| left.contains(dep));
            if goes && hash != start {
                left.insert(hash);
            } else {
                bytes.extend_from_slice(change.raw_bytes());
            }
        }
        Document::open(self.name, &bytes)
    }

    /// The whole document in its compact form.
    #[must_use]
    pub fn save(&self) -> Vec<u8> {
        self.auto.save()
    }

    /// How many changes it holds, the starting change included.
    #[must_use]
    pub fn change_count(&self) -> usize {
        self.auto.get_changes_meta(&[]).len()
    }

    /// From now on changes are made in the name of `actor`: one per start of an install.
    pub fn write_as(&mut self, actor: ActorId) {
        self.auto.set_actor(automerge::ActorId::from(actor.0));
    }

    /// Runs `work` on the inner document and turns a panic of the document library into an error.
    /// After an error the caller must drop this document and open it again.
    pub(super) fn guarded<T>(
        &mut self,
        work: impl FnOnce(&mut Automerge) -> Result<T, String>,
    ) -> Result<T, DocError> {
        let name = self.name;
        let auto = &mut self.auto;
        match catch_unwind(AssertUnwindSafe(|| work(auto))) {
            Ok(Ok(value)) => Ok(value),
            Ok(Err(why)) => Err(DocError::Unwritable { name, why }),
            Err(_) => Err(DocError::Unwritable { name, why: "the document library gave up".to_owned() }),
        }
    }

    fn known(&self, heads: &[ChangeHash]) -> Vec<automerge::ChangeHash> {
        heads
            .iter()
            .map(|h| automerge::ChangeHash(h.0))
            .filter(|h| self.auto.get_change_meta_by_hash(h).is_some())
            .collect()
    }
}

/// The eight bytes that stand for a set of heads: of the one head, or of a hash over several.
#[must_use]
pub fn mark_of(heads: &[ChangeHash]) -> PlanMark {
    let whole = match heads {
        [one] => one.0,
        many => {
            let mut sorted: Vec<&ChangeHash> = many.iter().collect();
            sorted.sort_unstable();
            let mut hasher = Sha256::new();
            sorted.iter().for_each(|h| hasher.update(h.0));
            hasher.finalize().into()
        }
    };
    let mut mark = [0; 8];
    mark.copy_from_slice(whole.split_at(8).0);
    PlanMark(mark)
}

/// The hash of the starting change of the document's kind.
fn genesis_hash(name: DocName) -> [u8; 32] {
    // The hash of a change chunk covers all but its magic bytes and checksum.
    let chunk = genesis::bytes(name.kind());
    let body = chunk.split_at_checked(8).map_or(chunk, |(_, body)| body);
    Sha256::digest(body).into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::day::Month;
    use crate::base::id::PersonId;
    use uuid::Uuid;

    fn log() -> DocName {
        DocName::Log(PersonId(Uuid::from_u128(1)), Month::new(2026, 11).unwrap())
    }

    #[test]
    fn two_first_starts_make_the_same_document() {
        let (a, b) = (Document::create(log()).unwrap(), Document::create(log()).unwrap());
        assert_eq!(a.heads(), b.heads());
        assert_eq!(a.mark(), b.mark());
        assert_eq!(a.change_count(), 1);
    }

    #[test]
    fn damaged_or_foreign_bytes_do_not_open() {
        let whole = Document::create(log()).unwrap().save();
        for n in 0..whole.len() {
            assert!(Document::open(log(), whole.get(..n).unwrap()).is_err(), "{n}");
        }
        let plan = genesis::bytes(crate::model::name::Kind::Plan);
        assert!(matches!(Document::open(log(), plan), Err(DocError::Unreadable { .. })));
    }
}
