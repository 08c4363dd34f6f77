//! The gate before every merge, on servers and devices alike: hostile bytes never reach the
//! document library. Works from a small index of what a document holds, not from the document,
//! and knows no wire, no store and no person's rights beyond a yes or no that is handed in.
//!
//! Use: [`GateIndex::check`] an upload; if the answer is [`Verdict::Accept`] and it
//! [`needs_document`](Accepted::needs_document), [`merge`](merge::merge) it into the loaded
//! document; store the bytes with [`delta_bytes`]; then [`GateIndex::admit`] it.

use core::ops::Range;

use super::chunk;
use super::genesis;
use crate::base::id::{ActorId, ChangeHash, InstallId};
use crate::model::name::Kind;

mod check;
mod delta;
pub mod limits;
mod merge;
pub mod reject;
mod seen;
mod tables;

pub use merge::{merge, verify_whole};
pub use reject::{RejectCode, Rejected};

use tables::{Entry, Name, Tables};

/// What a document holds, as far as the gate must know: its changes, actors and maps.
#[derive(Debug, Clone)]
pub struct GateIndex {
    kind: Kind,
    tables: Tables,
}

/// What is to be done with an upload. A refusal is an error instead.
#[derive(Debug, Clone)]
pub enum Verdict {
    /// It may be stored and merged.
    Accept(Accepted),
    /// It follows changes that are not known here: the sender must send from our heads.
    Need {
        /// The first ancestors that are missing, at most [`limits::DEPS`].
        missing: Vec<ChangeHash>,
    },
}

/// One change of an upload that was not known before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FreshChange {
    /// Its name.
    pub hash: ChangeHash,
    /// Who made it.
    pub actor: ActorId,
    /// Its number among the actor's changes.
    pub seq: u64,
    /// The number of its first operation.
    pub start_op: u64,
    /// The number of its last operation; one less than the first when it has none.
    pub max_op: u64,
    /// Seconds since 1970, for display.
    pub time: i64,
    /// Its direct ancestors.
    pub deps: Vec<ChangeHash>,
    /// Where its chunk is in the upload.
    pub range: Range<usize>,
}

/// An upload that passed.
#[derive(Debug, Clone)]
pub struct Accepted {
    fresh: Vec<FreshChange>,
    known: usize,
    entries: Vec<Entry>,
    checks: Vec<Check>,
    base: usize,
}

/// A write whose predecessors only the document can confirm.
#[derive(Debug, Clone)]
struct Check {
    change: usize,
    op: u64,
    obj: (u64, ActorId),
    key: &'static str,
    preds: Vec<(u64, ActorId)>,
    /// Whether it only drops the values that lost, and leaves the one that is shown.
    drops: bool,
}

impl Accepted {
    /// The changes that were not known, in order.
    #[must_use]
    pub fn fresh(&self) -> &[FreshChange] {
        &self.fresh
    }

    /// How many changes of the upload were known already.
    #[must_use]
    pub const fn known(&self) -> usize {
        self.known
    }

    /// Whether the loaded document must confirm what was replaced, by [`merge`], before the bytes
    /// are stored. Not so for new records and for fields that nobody has written yet.
    #[must_use]
    pub const fn needs_document(&self) -> bool {
        !self.checks.is_empty()
    }

    /// The chunks of the fresh changes, in order: what is to be stored.
    #[must_use]
    pub fn fresh_bytes(&self, upload: &[u8]) -> Vec<u8> {
        let mut out = Vec::with_capacity(upload.len());
        for chunk in self.chunks(upload) {
            out.extend_from_slice(chunk);
        }
        out
    }

    fn chunks<'a>(&'a self, upload: &'a [u8]) -> impl Iterator<Item = &'a [u8]> {
        self.fresh.iter().map(|f| upload.get(f.range.clone()).unwrap_or_default())
    }
}

impl GateIndex {
    /// The index of a document that holds its fixed starting change and nothing else.
    ///
    /// # Errors
    /// Never, unless the frozen starting change of the kind is damaged.
    pub fn new(kind: Kind) -> Result<GateIndex, Rejected> {
        let chunk = chunk::parse(genesis::bytes(kind))?;
        Ok(GateIndex { kind, tables: Tables::starting(kind, &chunk)? })
    }

    /// The kind of document.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        self.kind
    }

    /// The number of changes, the starting change included.
    #[must_use]
    pub fn len(&self) -> usize {
        self.tables.changes.len()
    }

    /// Whether it holds nothing but the starting change.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() <= 1
    }

    /// Whether that change is known.
    #[must_use]
    pub fn knows(&self, hash: &ChangeHash) -> bool {
        self.tables.by_hash.contains_key(&Name(*hash))
    }

    /// The names of all changes, in the order of admission.
    pub fn hashes(&self) -> impl Iterator<Item = ChangeHash> {
        self.tables.changes.iter().map(|c| c.hash)
    }

    /// The changes that no other follows, ascending by name, as the document library gives them.
    #[must_use]
    pub fn heads(&self) -> Vec<ChangeHash> {
        let mut heads: Vec<_> = self.tables.heads().collect();
        heads.sort_unstable();
        heads
    }

    /// The highest operation number.
    #[must_use]
    pub fn max_op(&self) -> u64 {
        self.tables.heads_max_op()
    }

    /// The last sequence number of an actor and the name of that change.
    #[must_use]
    pub fn last_of(&self, actor: &ActorId) -> Option<(u64, ChangeHash)> {
        self.tables.last_of(actor)
    }

    /// Checks an upload: plain change chunks one after the other. `may_write` says whether an
    /// install may write this document; changes that are known are skipped, whoever sends them.
    ///
    /// # Errors
    /// The first thing that is wrong. The whole upload is then left out.
    pub fn check(&self, upload: &[u8], may_write: &dyn Fn(InstallId) -> bool) -> Result<Verdict, Rejected> {
        let chunks = chunk::split(upload)?;
        check::run(&self.tables, &chunks, may_write, limits::UPLOAD_OPS)
    }

    /// Adds an accepted upload.
    ///
    /// # Errors
    /// `stale` when something else was added since it was checked; nothing is changed then.
    pub fn admit(&mut self, accepted: &Accepted) -> Result<(), Rejected> {
        if accepted.base != self.len() {
            return Err(Rejected::new(RejectCode::Stale, "index"));
        }
        self.tables.reserve(accepted.entries.len());
        for entry in &accepted.entries {
            self.tables.apply(entry);
        }
        Ok(())
    }

    /// Builds the index from own stored changes, in an order in which they can be applied; any
    /// number of them, from any actors.
    ///
    /// # Errors
    /// When they are damaged, incomplete or were never let through a gate.
    pub fn from_changes(kind: Kind, bytes: &[u8]) -> Result<GateIndex, Rejected> {
        let mut index = GateIndex::new(kind)?;
        let chunks = chunk::split_up_to(bytes, usize::MAX)?;
        match check::run(&index.tables, &chunks, &|_| true, usize::MAX)? {
            Verdict::Accept(accepted) => index.admit(&accepted)?,
            Verdict::Need { .. } => return Err(Rejected::new(RejectCode::Deps, "ancestors are missing")),
        }
        Ok(index)
    }

    /// Builds the index again from the stored deltas, in the order in which they were admitted.
    ///
    /// # Errors
    /// `index-damaged`.
    pub fn replay<'a>(kind: Kind, deltas: impl IntoIterator<Item = &'a [u8]>) -> Result<GateIndex, Rejected> {
        let mut index = GateIndex::new(kind)?;
        for bytes in deltas {
            delta::replay(&mut index.tables, bytes)?;
        }
        Ok(index)
    }

    /// One delta that stands for all deltas so far, to keep beside a compacted snapshot.
    /// Deltas admitted later can follow it.
    #[must_use]
    pub fn whole_delta(&self) -> Vec<u8> {
        delta::write(&self.tables.entries())
    }
}

/// What an accepted upload adds to the index, to be stored beside its bytes: about fifty bytes a
/// change. Valid only in the order of admission.
#[must_use]
pub fn delta_bytes(accepted: &Accepted) -> Vec<u8> {
    delta::write(&accepted.entries)
}

#[cfg(test)]
mod tests;
