//! Checking what a device sends for one document, before anything is written. Loads the document
//! only when the gate says that the index cannot confirm what was replaced.

use std::cell::RefCell;
use std::collections::{HashMap, HashSet};
use std::panic::{AssertUnwindSafe, catch_unwind};

use backstraight_core::base::id::{ChangeHash, InstallId};
use backstraight_core::doc::chunk;
use backstraight_core::doc::gate::{self, Accepted, GateIndex, RejectCode, Rejected, Verdict, limits};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::thin::{self, ThinLimits};
use backstraight_core::exchange::access::{Asker, Right, Subject, right};
use backstraight_core::exchange::wire::{Outcome, Refusal, SERVER_DAMAGED};
use backstraight_core::model::name::DocName;
use minicbor::bytes::ByteVec;

use super::index::{self, Indexes};
use crate::grant::MayWrite;
use crate::store::document::{self, Append, Doc};
use crate::store::{Db, StoreError};

/// What is known after the check of an upload.
#[derive(Debug)]
pub(super) enum Checked {
    /// Nothing has to be written; this became of it.
    Done(Outcome),
    /// These are to be appended, in order; the index is then the one beside them.
    Fresh(Vec<Append>, Box<GateIndex>),
}

/// The same words whether the document is another club's, does not exist or may only be read.
pub(super) fn not_yours() -> Outcome {
    refused("not-yours", None, "this document is not yours to write")
}

/// The document was erased, with the person whom it was about.
pub(super) fn erased() -> Outcome {
    refused("erased", None, "this document was erased; nothing more is taken for it")
}

pub(super) fn refused(code: &str, change: Option<ChangeHash>, text: &str) -> Outcome {
    Outcome::Refused(Refusal {
        code: code.to_owned(),
        change: change.map(|h| ByteVec::from(h.0.to_vec())),
        text: text.to_owned(),
    })
}

pub(super) fn rejected(error: &Rejected) -> Outcome {
    refused(error.code.word(), error.hash, &error.to_string())
}

/// Unpacks what was sent, at most so many changes.
pub(super) fn unpack(packed: &[u8], changes: usize) -> Result<Vec<u8>, Outcome> {
    catch_unwind(|| thin::unpack(packed, ThinLimits { bytes: limits::UPLOAD_BYTES, changes }))
        .unwrap_or_else(|_| Err(Rejected::new(RejectCode::Thin, "it panicked")))
        .map_err(|e| rejected(&e))
}

/// The names of the changes of an upload; unreadable ones are none.
pub(super) fn names(plain: &[u8]) -> HashSet<ChangeHash> {
    let chunks = chunk::split_up_to(plain, usize::MAX).unwrap_or_default();
    chunks.into_iter().filter_map(|c| chunk::name(c).ok()).collect()
}

/// What the check of one document needs to know.
pub(super) struct Case<'a> {
    pub(super) db: &'a Db,
    /// Whether an install may write the document.
    pub(super) may: &'a dyn Fn(InstallId) -> Result<bool, StoreError>,
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
    let index = match case.doc {
        Some(doc) => indexes.take(case.db, doc),
        None => GateIndex::new(case.grant.name().kind()).map_err(|e| StoreError::Damaged(e.to_string())),
    };
    let mut checked = index.and_then(|index| check_by(case, index, indexes));
    // A bit that rotted in the stored index must not refuse what is sound: the changes have the last word.
    if let (Ok(Checked::Done(Outcome::Refused(_))), Some(doc)) = (&checked, case.doc) {
        checked = match index::anew(case.db, doc) {
            Ok(None) => checked,
            Ok(Some(index)) => check_by(case, index, indexes),
            Err(error) => Err(error),
        };
    }
    match checked {
        Err(StoreError::Damaged(text)) => {
            tracing::error!(text, "a stored document cannot be checked against");
            Ok(Checked::Done(refused(SERVER_DAMAGED, None, "the server cannot read its own copy")))
        }
        other => other,
    }
}

/// Checks it by one index, which is kept when it is the document's afterwards.
fn check_by(case: &Case<'_>, mut index: GateIndex, indexes: &Indexes) -> Result<Checked, StoreError> {
    let failure = RefCell::new(None);
    let answers = RefCell::new(HashMap::new());
    let may_write = |install: InstallId| {
        *answers.borrow_mut().entry(install).or_insert_with(|| match (case.may)(install) {
            Ok(yes) => yes,
            Err(error) => {
                failure.replace(Some(error));
                false
            }
        })
    };
    let before = index.len();
    let outcome = slices(case, &mut index, &may_write);
    if let Some(error) = failure.take() {
        return Err(error);
    }
    match outcome? {
        Ok(appends) if !appends.is_empty() => Ok(Checked::Fresh(appends, Box::new(index))),
        other => {
            // An index that took a slice of a refused upload is not this document's any more.
            if let Some(doc) = case.doc.filter(|_| index.len() == before) {
                indexes.put(doc, index);
            }
            Ok(Checked::Done(other.err().unwrap_or(Outcome::Accepted)))
        }
    }
}

/// Checks an upload in slices that the gate takes; all of them pass, or none.
fn slices(
    case: &Case<'_>,
    index: &mut GateIndex,
    may_write: &dyn Fn(InstallId) -> bool,
) -> Result<Result<Vec<Append>, Outcome>, StoreError> {
    let chunks = match chunk::split_up_to(case.plain, usize::MAX) {
        Ok(chunks) => chunks,
        Err(error) => return Ok(Err(rejected(&error))),
    };
    let mut appends = Vec::new();
    let mut rest = case.plain;
    let mut whole = None;
    let one_slice = chunks.len() <= limits::UPLOAD_CHANGES;
    for part in chunks.chunks(limits::UPLOAD_CHANGES) {
        let bytes = part.iter().map(|c| c.len()).sum();
        let (slice, more) = rest.split_at_checked(bytes).unwrap_or((rest, &[]));
        rest = more;
        let accepted = match guarded(|| index.check(slice, may_write)) {
            Ok(Verdict::Accept(accepted)) => accepted,
            Ok(Verdict::Need { .. }) => return Ok(Err(Outcome::Need)),
            Err(error) => return Ok(Err(rejected(&error))),
        };
        if accepted.fresh().is_empty() {
            continue;
        }
        // The document follows slice by slice, once one of several needs it.
        if accepted.needs_document() || !one_slice {
            let mut document = match whole.take() {
                Some(document) => document,
                None => open(case)?,
            };
            if let Err(error) = guarded(|| document.merge_checked(index, &accepted, slice)) {
                return Ok(Err(rejected(&error)));
            }
            whole = Some(document);
        }
        if let Err(error) = index.admit(&accepted) {
            return Ok(Err(rejected(&error)));
        }
        appends.push(append(case, index, &accepted, slice, appends.len()));
    }
    Ok(Ok(appends))
}

fn append(case: &Case<'_>, index: &GateIndex, accepted: &Accepted, slice: &[u8], before: usize) -> Append {
    Append {
        grant: case.grant,
        checked_at: case.doc.map_or(0, |d| d.max_n) + before as u64,
        body: accepted.fresh_bytes(slice),
        changes: accepted.fresh().len() as u64,
        delta: gate::delta_bytes(accepted),
        heads: index.heads(),
    }
}

/// Loads the document; the copy is thrown away: what is stored is only the changes that passed.
fn open(case: &Case<'_>) -> Result<Document, StoreError> {
    match case.doc {
        Some(doc) => index::open(case.db, doc),
        None => Document::create(*case.grant.name()).map_err(|e| StoreError::Damaged(e.to_string())),
    }
}

fn guarded<T>(work: impl FnOnce() -> Result<T, Rejected>) -> Result<T, Rejected> {
    catch_unwind(AssertUnwindSafe(work))
        .unwrap_or_else(|_| Err(Rejected::new(RejectCode::Engine, "the check panicked")))
}

/// Whether an install belongs to the party that writes a document. A device sends on what others
/// of its party wrote when a restored server has lost it.
pub(super) fn of_party(
    db: &Db,
    name: &DocName,
    subject: &Subject,
    install: InstallId,
) -> Result<bool, StoreError> {
    let Some((person, club, role)) = document::writer(db, install)? else { return Ok(false) };
    Ok(right(&Asker { person, club, role }, name.kind(), subject) == Right::Write)
}
