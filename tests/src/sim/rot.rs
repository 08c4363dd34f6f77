//! Bits that rot on a device's disk in the simulated world. What is damaged is noticed when it is read, never shown, and
//! comes again from the server; only what nobody else had may be lost. Knows no document engine's checks.

use std::collections::BTreeSet;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::model::name::DocName;

use super::Found;
use super::book::Fact;
use super::world::World;
use crate::rng::Rng;

impl World {
    /// One bit of a document on a device's disk is not what it was, and the app is opened anew.
    pub(super) fn rot(&mut self, d: usize, rng: &mut Rng) -> Result<(), Found> {
        self.open(d, rng);
        let Some(name) = self.phones[d].disk.some_document(rng) else { return Ok(()) };
        let before = self.changes(d, name)?;
        self.open(d, rng);
        let rescued = self.phones[d].disk.rescued();
        if !self.phones[d].disk.rot(&name, rng) {
            return Ok(());
        }
        self.tally.rotten += 1;
        let after = self.changes(d, name)?;
        if let Some(other) = after.difference(&before).next() {
            return Err(Found(format!("device {d} shows of {name} what nobody wrote: {other:?}")));
        }
        if after != before && self.phones[d].disk.rescued() == rescued {
            return Err(Found(format!("device {d} lost something of {name} and did not notice")));
        }
        let gone = |fact: &&mut Fact| fact.device == d && fact.name == name && !after.contains(&fact.hash);
        for fact in self.book.facts.iter_mut().filter(gone) {
            fact.here = false;
            fact.lost |= !fact.server;
        }
        self.phones[d].session = None;
        Ok(())
    }

    fn changes(&mut self, d: usize, name: DocName) -> Result<BTreeSet<ChangeHash>, Found> {
        let Some(device) = &mut self.phones[d].device else { return Ok(BTreeSet::new()) };
        let doc = device.document(name).map_err(|e| Found(format!("device {d} cannot open {name}: {e}")))?;
        Ok(doc.names_since(&[]).into_iter().collect())
    }
}
