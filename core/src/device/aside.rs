//! What a server refused for good, set aside: first as bytes that the person keeps, then out of the way, so that
//! what is written from here on reaches the server again. Nothing goes out of the way that was not handed out
//! first. Knows no file.
//!
//! A document whose changes are refused holds up everything later in it, since changes build on each other. So all
//! that the server has not acknowledged of it goes: it then is as the server has it. A refused parcel of somebody
//! else goes by itself, and what it brought is no longer shown here, unless it came by another way.

use std::collections::BTreeSet;

use crate::base::id::{ActorId, ChangeHash};
use crate::exchange::carry::{self, MAX_PLAIN};
use crate::exchange::signed;
use crate::exchange::wire::Refusal;
use crate::model::name::DocName;

use super::Device;
use super::error::DeviceError;
use super::shelf::{CarriedRow, Shelf};

/// Which refusal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Which {
    /// Of what was written here, in that document.
    Own(DocName),
    /// Of a parcel that is carried for somebody, by its number here.
    Carried(i64),
}

/// A refusal that stands in the way until somebody acts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stuck {
    /// Which.
    pub which: Which,
    /// The document.
    pub name: DocName,
    /// Why.
    pub refusal: Refusal,
    /// Changes that would be set aside.
    pub changes: usize,
}

/// What is to be set aside, as bytes to keep.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    which: Which,
    name: DocName,
    /// The state in which it was written down: what was written since is not in it.
    state: Vec<ChangeHash>,
    /// The bytes: of a document all of it in the open form of the document library, of a parcel a carry file.
    pub bytes: Vec<u8>,
    /// Changes in it that no server has.
    pub changes: usize,
}

impl Kept {
    /// Whether the bytes are a carry file, else a document.
    #[must_use]
    pub const fn is_carry_file(&self) -> bool {
        matches!(self.which, Which::Carried(_))
    }

    /// The document.
    #[must_use]
    pub const fn name(&self) -> DocName {
        self.name
    }
}

impl<S: Shelf> Device<S> {
    /// Every refusal that stands: of what was written here, and of what is carried for others.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn stuck(&mut self) -> Result<Vec<Stuck>, S::Error> {
        let mut all = Vec::new();
        for row in self.shelf.refusals()? {
            let changes = self.unacknowledged(row.name)?.len();
            all.push(Stuck { which: Which::Own(row.name), name: row.name, refusal: row.refusal, changes });
        }
        for row in self.shelf.carried()? {
            let changes = names(&row).len();
            if let (Ok(name), Some(refusal)) = (row.parcel.document(), row.refused) {
                all.push(Stuck { which: Which::Carried(row.id), name, refusal, changes });
            }
        }
        Ok(all)
    }

    /// Writes down what would be set aside, for the person to keep. Changes nothing. `None` when that refusal does
    /// not stand any more.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn keep_refused(&mut self, which: Which) -> Result<Option<Kept>, S::Error> {
        match which {
            Which::Own(name) => {
                if !self.shelf.refusals()?.iter().any(|row| row.name == name) {
                    return Ok(None);
                }
                let changes = self.unacknowledged(name)?.len();
                let doc = self.document(name)?;
                let (bytes, state) = (doc.save(), doc.heads());
                Ok(Some(Kept { which, name, state, bytes, changes }))
            }
            Which::Carried(id) => {
                let row = self.shelf.carried()?.into_iter().find(|row| row.id == id && row.refused.is_some());
                let Some(row) = row else { return Ok(None) };
                let Ok(name) = row.parcel.document() else { return Ok(None) };
                let changes = names(&row).len();
                Ok(Some(Kept {
                    which,
                    name,
                    state: Vec::new(),
                    bytes: carry::write(vec![row.parcel]),
                    changes,
                }))
            }
        }
    }

    /// Sets aside what was kept, and goes on without it. Whether that was done: not when more was written meanwhile,
    /// or the refusal does not stand any more; then nothing was changed. `random` is new each time: what is written
    /// from here on has another author than what went, which may yet turn up from somewhere.
    ///
    /// # Errors
    /// When the store cannot be read or written.
    pub fn set_aside(&mut self, kept: &Kept, random: [u8; 8]) -> Result<bool, S::Error> {
        let Some(now) = self.keep_refused(kept.which)? else { return Ok(false) };
        if now.state != kept.state || now.name != kept.name {
            return Ok(false);
        }
        let gone = match kept.which {
            Which::Own(name) => self.unacknowledged(name)?,
            Which::Carried(id) => {
                let rows = self.shelf.carried()?;
                let here = rows.iter().filter(|row| row.id == id).flat_map(names);
                let elsewhere: BTreeSet<ChangeHash> =
                    rows.iter().filter(|row| row.id != id).flat_map(names).collect();
                let waiting = self.unacknowledged(kept.name)?;
                here.filter(|hash| waiting.contains(hash) && !elsewhere.contains(hash)).collect()
            }
        };
        self.take_out(kept.name, &gone)?;
        // An author's changes are numbered: the numbers of those that went are not given out again.
        self.actor = ActorId::of(self.identity.install, random);
        self.open.clear();
        if let Which::Carried(id) = kept.which {
            self.shelf.carried_done(id)?;
        }
        Ok(true)
    }

    /// The changes of a document that the server has not acknowledged, whoever made them.
    fn unacknowledged(&mut self, name: DocName) -> Result<BTreeSet<ChangeHash>, S::Error> {
        let Some(row) = self.shelf.doc(&name)? else { return Ok(BTreeSet::new()) };
        Ok(self.document(name)?.names_since(&row.server_heads).into_iter().collect())
    }

    /// Goes on with a document without some changes and what builds on them. The bytes as they were stay within the
    /// shelf.
    fn take_out(&mut self, name: DocName, gone: &BTreeSet<ChangeHash>) -> Result<(), S::Error> {
        let Some(mut row) = self.shelf.doc(&name)? else { return Ok(()) };
        let without = self.document(name)?.without(&|hash| gone.contains(hash)).map_err(DeviceError::from)?;
        row.heads = without.heads();
        // What went may have been acknowledged meanwhile: the server says what is lacking here.
        row.tell_heads = true;
        // On an error the document in memory is dropped and opened again from the disk.
        self.open.remove(&name);
        self.shelf.set_aside(&row, &without.save())
    }
}

/// The names of a parcel's changes; none of one that cannot be read.
fn names(row: &CarriedRow) -> Vec<ChangeHash> {
    let mut room = MAX_PLAIN;
    let changes = row.parcel.plain(&mut room).and_then(|plain| signed::changes(&plain)).unwrap_or_default();
    changes.into_iter().map(|change| change.hash).collect()
}
