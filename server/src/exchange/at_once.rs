//! Edits that are made where the documents are, in the name of somebody who may write them: by a route for its
//! caller, or at the machine for a coach. They go through the gate like an upload. Knows neither.

use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::wire::Outcome;

use super::ATTEMPTS;
use super::index::Indexes;
use super::upload::{self, Case, Checked};
use crate::grant::MayWrite;
use crate::store::document;
use crate::store::{Store, StoreError};

/// Changes of one document.
#[derive(Debug, Clone)]
pub struct Edit {
    /// Permission of whoever writes.
    pub grant: MayWrite,
    /// The changes.
    pub plain: Vec<u8>,
}

/// Checks edits and appends them, all in one transaction. What the gate said of the one that it refused;
/// nothing is stored then. Blocks.
///
/// # Errors
/// When storage fails, or others write to the same documents all the time.
pub fn write(
    store: &Store,
    indexes: &Indexes,
    edits: &[Edit],
    now: Moment,
) -> Result<Result<(), Outcome>, StoreError> {
    // In one order by every process, so that no two wait for each other.
    let mut ordered: Vec<&Edit> = edits.iter().collect();
    ordered.sort_unstable_by_key(|edit| *edit.grant.name());
    for _ in 0..ATTEMPTS {
        let (mut fresh, mut beside) = (Vec::new(), Vec::new());
        for edit in &ordered {
            let checked = store.read_blocking(|db| {
                let doc = document::find(db, edit.grant.name())?;
                // Nobody but the one for whom it is made is its author.
                let may = |install| Ok(edit.grant.install() == Some(install));
                let case = Case { db, may: &may, grant: edit.grant, doc: doc.as_ref(), plain: &edit.plain };
                upload::check(&case, indexes)
            })?;
            match checked {
                Checked::Fresh(appends, index) => {
                    fresh.push(appends);
                    beside.push(*index);
                }
                Checked::Done(Outcome::Accepted) => {}
                Checked::Done(outcome) => return Ok(Err(outcome)),
            }
        }
        let written = store.write_blocking(move |db| {
            let one = |appends: &Vec<_>| {
                let appended = document::append_all(db, appends, now)?;
                appended.map(|(doc, _)| doc).ok_or(StoreError::Busy)
            };
            fresh.iter().map(one).collect::<Result<Vec<_>, _>>()
        });
        match written {
            // Somebody else wrote to one of them meanwhile.
            Err(StoreError::Busy) => {}
            Err(error) => return Err(error),
            Ok(docs) => {
                for (doc, index) in docs.iter().zip(beside) {
                    indexes.put(doc, index);
                }
                return Ok(Ok(()));
            }
        }
    }
    Err(StoreError::Busy)
}
