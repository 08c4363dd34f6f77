//! Changes from elsewhere, let into an open document by way of the gate.

use super::gate::{self, GateIndex, Rejected, Verdict};
use super::open::Document;
use crate::base::id::{ChangeHash, InstallId};

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

    /// Checks change chunks and merges them. On any refusal the document is as it was.
    ///
    /// # Errors
    /// Why the changes were refused, all of them.
    pub fn admit(
        &mut self,
        upload: &[u8],
        may_write: &dyn Fn(InstallId) -> bool,
    ) -> Result<Admitted, Rejected> {
        let index = self.index()?;
        match index.check(upload, may_write)? {
            Verdict::Need { missing } => Ok(Admitted::Need(missing)),
            Verdict::Accept(accepted) => {
                if !accepted.fresh().is_empty() {
                    self.merge_checked(&index, &accepted, upload)?;
                }
                Ok(Admitted::Merged { fresh: accepted.fresh_bytes(upload), count: accepted.fresh().len() })
            }
        }
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
