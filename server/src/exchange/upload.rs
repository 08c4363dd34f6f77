//! Checking what a device sends for one document, before anything is written. Loads the document
//! only when the gate says that the index cannot confirm what was replaced.

use std::cell::RefCell;
use std::collections::{HashMap, HashSet};
use std::panic::{AssertUnwindSafe, catch_unwind};

use backstraight_core::base::id::{ChangeHash, InstallId};
use backstraight_core::doc::gate::{self, Accepted, GateIndex, RejectCode, Rejected, Verdict};
use backstraight_core::doc::thin::{self, ThinLimits};
use backstraight_core::doc::{chunk, genesis};
use backstraight_core::exchange::access::{Asker, Right, Subject, right};
use backstraight_core::exchange::wire::{Outcome, Refusal};
use minicbor::bytes::ByteVec;
use rusqlite::Connection;

use super::index::Indexes;
use crate::grant::{Caller, MayWrite};
use crate::store::StoreError;
use crate::store::document::{self, Append, Doc};

/// What is known after the check of an upload.
#[derive(Debug)]
pub(super) enum Checked {
    /// Nothing has to be written; this became of it.
    Done(Outcome),
    /// It is to be appended, and then the index is the one beside it.
    Fresh(Box<Append>, Box<GateIndex>),
}

/// The same words whether the document is another club's, does not exist or may only be read.
pub(super) fn not_yours() -> Outcome {
    refused("not-yours", None, "this document is not yours to write")
}

fn refused(code: &str, change: Option<ChangeHash>, text: &str) -> Outcome {
    Outcome::Refused(Refusal {
        code: code.to_owned(),
        change: change.map(|h| ByteVec::from(h.0.to_vec())),
        text: text.to_owned(),
    })
}

fn rejected(error: &Rejected) -> Outcome {
    refused(error.code.word(), error.hash, &error.to_string())
}

/// Unpacks what was sent.
pub(super) fn unpack(packed: &[u8]) -> Result<Vec<u8>, Outcome> {
    catch_unwind(|| thin::unpack(packed, ThinLimits::default()))
        .unwrap_or_else(|_| Err(Rejected::new(RejectCode::Thin, "it panicked")))
        .map_err(|e| rejected(&e))
}

/// The names of the changes of an upload; unreadable ones are none.
pub(super) fn names(plain: &[u8]) -> HashSet<ChangeHash> {
    let chunks = chunk::split(plain).unwrap_or_default();
    chunks.into_iter().filter_map(|c| chunk::name(c).ok()).collect()
}

/// What the check of one document needs to know.
pub(super) struct Case<'a> {
    pub(super) db: &'a Connection,
    pub(super) caller: &'a Caller,
    pub(super) subject: &'a Subject,
    pub(super) grant: MayWrite,
    pub(super) doc: Option<&'a Doc>,
    pub(super) plain: &'a [u8],
}

/// Checks an upload of plain changes.
///
/// # Errors
/// Only when storage fails: whatever is wrong with the upload or with this document is an outcome,
/// so that one bad document never holds up the others.
pub(super) fn check(case: &Case<'_>, indexes: &Indexes) -> Result<Checked, StoreError> {
    let kind = case.grant.name().kind();
    let index = match case.doc {
        Some(doc) => indexes.take(case.db, doc),
        None => GateIndex::new(kind).map_err(|e| StoreError::Damaged(e.to_string())),
    };
    let index = match index {
        Ok(index) => index,
        Err(StoreError::Damaged(text)) => {
            tracing::error!(text, "a stored document cannot be checked against");
            return Ok(Checked::Done(refused("server-damaged", None, "the server cannot read its own copy")));
        }
        Err(error) => return Err(error),
    };
    let failure = RefCell::new(None);
    let answers = RefCell::new(HashMap::new());
    let may_write = |install: InstallId| {
        install == case.caller.install
            || *answers.borrow_mut().entry(install).or_insert_with(|| match of_party(case, install) {
                Ok(yes) => yes,
                Err(error) => {
                    failure.replace(Some(error));
                    false
                }
            })
    };
    let verdict = guarded(|| index.check(case.plain, &may_write));
    if let Some(error) = failure.take() {
        return Err(error);
    }
    let keep = |index: GateIndex| {
        if let Some(doc) = case.doc {
            indexes.put(doc.id, doc.max_n, index);
        }
    };
    let accepted = match verdict {
        Ok(Verdict::Accept(accepted)) => accepted,
        Ok(Verdict::Need { .. }) => {
            keep(index);
            return Ok(Checked::Done(Outcome::Need));
        }
        Err(error) => {
            keep(index);
            return Ok(Checked::Done(rejected(&error)));
        }
    };
    if accepted.fresh().is_empty() {
        keep(index);
        return Ok(Checked::Done(Outcome::Accepted));
    }
    if accepted.needs_document()
        && let Err(error) = merge(case, &index, &accepted)?
    {
        keep(index);
        return Ok(Checked::Done(rejected(&error)));
    }
    Ok(admit(case, index, &accepted))
}

fn admit(case: &Case<'_>, mut index: GateIndex, accepted: &Accepted) -> Checked {
    if let Err(error) = index.admit(accepted) {
        return Checked::Done(rejected(&error));
    }
    let append = Append {
        grant: case.grant,
        checked_at: case.doc.map_or(0, |d| d.max_n),
        body: accepted.fresh_bytes(case.plain),
        changes: accepted.fresh().len() as u64,
        delta: gate::delta_bytes(accepted),
        heads: index.heads(),
    };
    Checked::Fresh(Box::new(append), Box::new(index))
}

/// Merges into a copy that is thrown away: the stored bytes are only changes that passed.
fn merge(case: &Case<'_>, index: &GateIndex, accepted: &Accepted) -> Result<Result<(), Rejected>, StoreError> {
    let kind = case.grant.name().kind();
    let start = genesis::bytes(kind);
    let bytes = match case.doc {
        Some(doc) => document::whole(case.db, doc.id, start)?,
        None => start.to_vec(),
    };
    Ok(gate::verify_whole(kind, &bytes).and_then(|mut whole| gate::merge(&mut whole, index, accepted, case.plain)))
}

fn guarded<T>(work: impl FnOnce() -> Result<T, Rejected>) -> Result<T, Rejected> {
    catch_unwind(AssertUnwindSafe(work))
        .unwrap_or_else(|_| Err(Rejected::new(RejectCode::Engine, "the check panicked")))
}

/// Whether an install belongs to the party that writes the document. A device sends on what others
/// of its party wrote when a restored server has lost it.
fn of_party(case: &Case<'_>, install: InstallId) -> Result<bool, StoreError> {
    let Some((person, club, role)) = document::writer(case.db, install)? else { return Ok(false) };
    Ok(right(&Asker { person, club, role }, case.grant.name().kind(), case.subject) == Right::Write)
}
