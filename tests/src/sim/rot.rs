//! Bits that rot in the simulated world. On a device's disk, what is damaged is noticed when it is read, never shown, and
//! comes again from the server; in the server's, it is found and mended by who runs it, and comes again from devices. Only
//! what nobody else had may be lost. Knows no document engine's checks.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::id::ChangeHash;
use backstraight_core::doc::open::Document;
use backstraight_core::model::name::DocName;

use super::Found;
use super::book::Fact;
use super::world::World;
use crate::rng::Rng;

/// A document of the server with a bit that is not what it was, and what it was then.
#[derive(Debug)]
pub(super) struct Rotten {
    name: DocName,
    heads: Vec<ChangeHash>,
    had: BTreeSet<ChangeHash>,
    /// Whether it was put into its compact form since, which makes some of what is stored anew.
    compacted: bool,
}

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

    /// One bit of a document is not what it was in the server's database. It is found at once, or some time later, with
    /// whatever reaches the server meanwhile.
    pub(super) fn rot_on_the_server(&mut self, rng: &mut Rng) -> Result<(), Found> {
        if self.rotten.is_some() {
            return self.mend();
        }
        if !self.server.is_well() {
            return Ok(());
        }
        let docs = self.server.heads();
        if docs.is_empty() {
            return Ok(());
        }
        let (name, heads) = docs[rng.below(docs.len())].clone();
        let had = of(&self.server.document(name));
        if !self.server.rot(name, rng) {
            return Ok(());
        }
        self.tally.rotten_on_servers += 1;
        if rng.once_in(2) {
            self.tally.servers_started += 1;
            self.server.start();
        }
        self.rotten = Some(Rotten { name, heads, had, compacted: false });
        if rng.once_in(2) { self.mend() } else { Ok(()) }
    }

    /// Whoever runs the server has all of it looked through, and what does not hold mended.
    pub(super) fn mend(&mut self) -> Result<(), Found> {
        if !self.server.is_well() {
            return Ok(());
        }
        let Some(Rotten { name, heads: then, had, compacted }) = self.rotten.take() else { return Ok(()) };
        let heads: BTreeMap<DocName, Vec<ChangeHash>> = self.server.heads().into_iter().collect();
        let mended = self.server.mend();
        if mended.is_empty() && compacted && had.is_subset(&of(&self.server.document(name))) {
            return Ok(());
        }
        if mended != [name] {
            return Err(Found(format!("a bit of {name} rotted on the server, and mended was {mended:?}")));
        }
        let doc = self.server.document(name);
        let has = of(&doc);
        // Nothing came since: then it has nothing else.
        let same = heads.get(&name) == Some(&then);
        if let Some(other) = has.difference(&had).next().filter(|_| same) {
            return Err(Found(format!("the server has of {name} what nobody wrote: {other:?}")));
        }
        self.book.server_lost(name, &has);
        // Of which day an athlete was heard counts no more where what was heard may be gone.
        if let DocName::Log(athlete, month) = name
            && heads.get(&name) != Some(&doc.heads())
        {
            let end = month.first_day().map_err(|e| Found(e.to_string()))?.plus(-1);
            for phone in self.phones.iter_mut().filter(|phone| phone.identity.person == athlete) {
                phone.heard = phone.heard.map(|day| day.min(end));
            }
        }
        Ok(())
    }

    /// A document of the server is put into its compact form, which nothing but a bit that rotted may hinder.
    pub(super) fn compact(&mut self, rng: &mut Rng) -> Result<(), Found> {
        let Some((name, done)) = self.server.compact(rng) else { return Ok(()) };
        match &mut self.rotten {
            Some(rotten) if rotten.name == name => rotten.compacted |= done,
            _ if !done => return Err(Found(format!("{name} was not compacted"))),
            _ => {}
        }
        Ok(())
    }

    /// Which document of the server cannot be relied on at the moment.
    pub(super) fn rotten(&self) -> Option<DocName> {
        self.rotten.as_ref().map(|rotten| rotten.name)
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
