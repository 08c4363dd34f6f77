//! Bits that rot in the simulated world. On a device's disk, what is damaged is noticed when it is read, never shown, and
//! comes again from the server; in the server's, it is found and mended by who runs it, and comes again from devices. Only
//! what nobody else had may be lost. Knows no document engine's checks.

use std::collections::BTreeSet;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::doc::open::Document;
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

    /// One bit of a document is not what it was in the server's database; whoever runs it has that looked through and
    /// mended.
    pub(super) fn rot_on_the_server(&mut self, rng: &mut Rng) -> Result<(), Found> {
        if !self.server.is_well() {
            return Ok(());
        }
        let docs = self.server.heads();
        if docs.is_empty() {
            return Ok(());
        }
        let (name, _) = docs[rng.below(docs.len())];
        let before = of(&self.server.document(name));
        if !self.server.rot(name, rng) {
            return Ok(());
        }
        self.tally.rotten_on_servers += 1;
        if rng.once_in(2) {
            self.tally.servers_started += 1;
            self.server.start();
        }
        let mended = self.server.mend();
        if mended != [name] {
            return Err(Found(format!("a bit of {name} rotted on the server, and mended was {mended:?}")));
        }
        let after = of(&self.server.document(name));
        if let Some(other) = after.difference(&before).next() {
            return Err(Found(format!("the server has of {name} what nobody wrote: {other:?}")));
        }
        self.book.server_lost(name, &after);
        // Of which day an athlete was heard counts no more where what was heard may be gone.
        if let DocName::Log(athlete, month) = name
            && after != before
        {
            let end = month.first_day().map_err(|e| Found(e.to_string()))?.plus(-1);
            for phone in self.phones.iter_mut().filter(|phone| phone.identity.person == athlete) {
                phone.heard = phone.heard.map(|day| day.min(end));
            }
        }
        Ok(())
    }

    fn changes(&mut self, d: usize, name: DocName) -> Result<BTreeSet<ChangeHash>, Found> {
        let Some(device) = &mut self.phones[d].device else { return Ok(BTreeSet::new()) };
        let doc = device.document(name).map_err(|e| Found(format!("device {d} cannot open {name}: {e}")))?;
        Ok(of(doc))
    }
}

/// The changes of a document.
fn of(doc: &Document) -> BTreeSet<ChangeHash> {
    doc.names_since(&[]).into_iter().collect()
}
