//! Changes from elsewhere, let into an open document by way of the gate.

use super::chunk;
use super::gate::{self, GateIndex, RejectCode, Rejected, Verdict};
use super::open::Document;
use crate::base::id::{ChangeHash, InstallId};

/// How often an upload is cut because of its operations: bounds the memory that one answer can
/// take, a hundred bytes an operation.
const MOST_CUTS: u32 = 16;

/// What became of changes that came from elsewhere.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Admitted {
    /// They are in the document.
    Merged {
        /// Chunks that were not there before: what is to be stored.
        fresh: Vec<u8>,
        /// How many changes those are.
        count: usize,
    },
    /// They follow changes that are not here.
    Need(Vec<ChangeHash>),
}

impl Document {
    /// The gate's index of this document.
    ///
    /// # Errors
    /// When the document holds changes that no gate would have let through.
    pub fn index(&self) -> Result<GateIndex, Rejected> {
        GateIndex::from_changes(self.name().kind(), &self.changes_since(&[]))
    }

    /// The gate's index of this document, its changes admitted in that order. None when these are not the changes of this
    /// document, each once, or when the gate would not have taken them in that order.
    #[must_use]
    pub fn index_in_order(&self, order: impl Iterator<Item = ChangeHash>) -> Option<GateIndex> {
        let all = self.changes_since(&[]);
        let mut by_name = chunk::by_name(&all).ok()?;
        let mut bytes = Vec::with_capacity(all.len());
        for name in order {
            bytes.extend_from_slice(by_name.remove(&name)?);
        }
        GateIndex::from_changes(self.name().kind(), &bytes).ok().filter(|_| by_name.is_empty())
    }

    /// Checks change chunks and merges them, in slices that the gate takes. On any refusal the
    /// document is as it was.
    ///
    /// # Errors
    /// Why the changes were refused, all of them.
    pub fn admit(
        &mut self,
        upload: &[u8],
        may_write: &dyn Fn(InstallId) -> bool,
    ) -> Result<Admitted, Rejected> {
        let mut index = self.index()?;
        let mut copy = self.auto.clone();
        let mut all = Vec::new();
        let mut count = 0;
        let mut waiting = slices(upload)?;
        waiting.reverse();
        let mut cuts = 0;
        while let Some(slice) = waiting.pop() {
            match index.check(slice, may_write) {
                // Of a large document even few changes can hold more than the gate takes at once.
                Err(e) if e.code == RejectCode::TooManyOps && cuts < MOST_CUTS => {
                    let Some((first, rest)) = halves(slice) else { return Err(e) };
                    cuts += 1;
                    waiting.extend([rest, first]);
                }
                Err(e) => return Err(e),
                Ok(Verdict::Need { missing }) => return Ok(Admitted::Need(missing)),
                Ok(Verdict::Accept(accepted)) if accepted.fresh().is_empty() => {}
                Ok(Verdict::Accept(accepted)) => {
                    gate::merge(&mut copy, &index, &accepted, slice)?;
                    index.admit(&accepted)?;
                    all.extend_from_slice(&accepted.fresh_bytes(slice));
                    count += accepted.fresh().len();
                }
            }
        }
        self.auto = copy;
        Ok(Admitted::Merged { fresh: all, count })
    }

    /// Merges an upload that was already checked against `index`. On a refusal the document is as
    /// it was.
    ///
    /// # Errors
    /// Why it was refused.
    pub fn merge_checked(
        &mut self,
        index: &GateIndex,
        accepted: &gate::Accepted,
        upload: &[u8],
    ) -> Result<(), Rejected> {
        let mut copy = self.auto.clone();
        gate::merge(&mut copy, index, accepted, upload)?;
        self.auto = copy;
        Ok(())
    }
}

/// Cuts an upload into two; none when it is a single change, or no changes.
fn halves(upload: &[u8]) -> Option<(&[u8], &[u8])> {
    let chunks = chunk::split_up_to(upload, usize::MAX).ok()?;
    let first = chunks.iter().take(chunks.len() / 2).map(|c| c.len()).sum();
    upload.split_at_checked(first).filter(|_| first > 0)
}

/// Cuts change chunks into uploads of as many changes as the gate takes at once.
fn slices(upload: &[u8]) -> Result<Vec<&[u8]>, Rejected> {
    let chunks = chunk::split_up_to(upload, usize::MAX)?;
    let mut rest = upload;
    let mut out = Vec::new();
    for part in chunks.chunks(gate::limits::UPLOAD_CHANGES) {
        let (slice, more) = rest.split_at_checked(part.iter().map(|c| c.len()).sum()).unwrap_or((rest, &[]));
        out.push(slice);
        rest = more;
    }
    Ok(out)
}
