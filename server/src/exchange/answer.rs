//! What a device lacks, and what became of what it sent.
//!
//! A cursor is the number of the last chunk sent. When a document has to be sent from its loaded
//! form and does not fit into one answer, the cursor is [`IN_ORDER`] plus the number of changes
//! sent, counted in the order in which they were admitted: that order never changes. To devices
//! every cursor is just a number.

use std::collections::HashSet;

use backstraight_core::base::id::ChangeHash;
use backstraight_core::doc::gate::{GateIndex, limits};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::{chunk, genesis, thin};
use backstraight_core::exchange::wire::{Down, DownDoc, Known, Outcome, heads_out};
use backstraight_core::model::name::DocName;
use minicbor::bytes::ByteVec;

use super::{Item, Rights, Work, blank};
use crate::app::App;
use crate::grant::{Access, MayRead};
use crate::store::document::{self, Doc, Room};
use crate::store::{Db, StoreError, people};

/// Cursors from here on count changes instead of chunks. No document has so many chunks.
const IN_ORDER: u64 = 1 << 48;
/// Bytes that a document costs in an answer beside its changes.
const FRAME: usize = 128;

/// What is sent of one document.
#[derive(Debug, Default)]
struct Part {
    bytes: Vec<u8>,
    cursor: u64,
    cut: bool,
}

/// Composes the answer from the state after the transaction.
pub(super) fn compose(db: &Db, app: &App, mut work: Work) -> Result<Down, StoreError> {
    let mut down = blank(app, work.epoch);
    down.people = people::known_to(db, &work.caller, work.people)?;
    let mut room = usize::try_from(app.config.answer_bytes).unwrap_or(usize::MAX);
    let mut unread = Vec::new();
    for item in &mut work.items {
        if matches!(item.access, Access::None) {
            down.withdrawn.push(raw(&item.name));
            if item.erased {
                down.erased.get_or_insert_default().push(raw(&item.name));
            }
        }
        let Some(read) = item.access.read() else {
            if item.sent {
                let outcome = item.outcome.clone();
                down.docs.push(DownDoc {
                    name: raw(&item.name),
                    outcome,
                    changes: None,
                    cursor: 0,
                    heads: vec![],
                });
            }
            continue;
        };
        if !listed(db, app, work.same_epoch, item, read, &mut room, &mut down)? {
            unread.push(item.name);
        }
    }
    unread.extend(granted(db, app, &work, &mut room, &mut down)?);
    if let Some(people) = down.people.as_mut().filter(|_| down.more || !unread.is_empty()) {
        // What is not in this answer may hold any session: no day counts as heard, and the device asks for the list again.
        let of = |known: &&mut Known| {
            down.more
                || unread
                    .iter()
                    .filter_map(DocName::athlete)
                    .any(|a| known.person.as_slice() == a.0.as_bytes())
        };
        people.list.iter_mut().filter(of).for_each(|known| known.heard_day = None);
        people.version = 0;
    }
    if !work.handed_in.is_empty() {
        down.carried = Some(work.handed_in.into_iter().map(|h| h.outcome).collect());
    }
    Ok(down)
}

fn raw(name: &DocName) -> ByteVec {
    ByteVec::from(name.to_bytes().to_vec())
}

/// A document that the device has; whether the answer says all that is new in it, or that it was cut.
fn listed(
    db: &Db,
    app: &App,
    same_epoch: bool,
    item: &mut Item,
    read: MayRead,
    room: &mut usize,
    down: &mut Down,
) -> Result<bool, StoreError> {
    let doc = document::find(db, &item.name)?;
    let heads = match &doc {
        Some(doc) => doc.heads.clone(),
        None => GateIndex::new(item.name.kind()).map_err(|e| StoreError::Damaged(e.to_string()))?.heads(),
    };
    let max_n = doc.as_ref().map_or(0, |d| d.max_n);
    let trusted = same_epoch && (item.cursor <= max_n || item.cursor >= IN_ORDER);
    let here = item.heads.iter().copied().collect::<HashSet<_>>();
    let level = here.len() == heads.len() && heads.iter().all(|h| here.contains(h));
    // Nothing was sent or asked and nothing is new: silence says so in the fewest bytes.
    if trusted && !item.sent && item.heads.is_empty() && item.cursor == max_n {
        return Ok(true);
    }
    // Of another epoch and without heads: it is told ours, not sent everything that it has. When it
    // has what these cover the cursor is right; else it comes again from the start, with its heads.
    if !same_epoch && item.cursor > 0 && !item.sent && item.heads.is_empty() {
        push(down, item.name, Outcome::Need, Part { cursor: max_n, ..Part::default() }, &heads, room);
        return Ok(false);
    }
    let standing = Standing { trusted, level };
    let mut whole = true;
    let part = match news(db, app, doc.as_ref(), standing, item, read, *room) {
        Err(StoreError::Damaged(text)) => {
            tracing::error!(
                text,
                "a stored document cannot be read: a device goes without what is new in it"
            );
            // What became of what was sent is told, and the device asks for the rest again.
            if !item.sent {
                return Ok(false);
            }
            whole = false;
            Part { cursor: if trusted { item.cursor } else { 0 }, ..Part::default() }
        }
        part => part?,
    };
    push(down, item.name, item.outcome.clone(), part, &heads, room);
    Ok(whole)
}

/// How a device stands to a document.
#[derive(Debug, Clone, Copy)]
struct Standing {
    /// Its cursor counts.
    trusted: bool,
    /// It has what the server has.
    level: bool,
}

/// What is new in a document for a device that has it; notes when the server lacks something itself.
fn news(
    db: &Db,
    app: &App,
    doc: Option<&Doc>,
    Standing { trusted, level }: Standing,
    item: &mut Item,
    read: MayRead,
    room: usize,
) -> Result<Part, StoreError> {
    // A device that has no cursor but has heads is told from its heads, not from the start.
    let by_heads = !item.heads.is_empty() && !level && (!trusted || item.cursor == 0);
    let asks_heads = !item.heads.is_empty() && !level && (!trusted || !item.sent);
    let known = if asks_heads || by_heads { known_heads(db, app, doc, item)? } else { Vec::new() };
    if asks_heads && known.len() < item.heads.len() && item.outcome == Outcome::Accepted {
        item.outcome = Outcome::Need;
    }
    let Some(doc) = doc else { return Ok(Part::default()) };
    if level {
        return Ok(Part { cursor: doc.max_n, ..Part::default() });
    }
    if room == 0 {
        let cursor = if trusted { item.cursor } else { 0 };
        return Ok(Part { cursor, cut: !trusted || item.cursor < doc.max_n, ..Part::default() });
    }
    let start = if trusted && !by_heads { Start::Cursor(item.cursor) } else { Start::Heads(&known) };
    lacking(db, doc, &read, &start, item, room)
}

/// Documents that the caller may read and the device did not list; which of them could not be read.
fn granted(
    db: &Db,
    app: &App,
    work: &Work,
    room: &mut usize,
    down: &mut Down,
) -> Result<Vec<DocName>, StoreError> {
    let mut unread = Vec::new();
    let listed: HashSet<DocName> = work.items.iter().map(|i| i.name).collect();
    let mut rights = Rights::of(app, work.caller)?;
    for doc in document::concerning(db, &work.caller, rights.today)? {
        if listed.contains(&doc.name) {
            continue;
        }
        let Some(read) = rights.on(db, doc.name)?.0.read() else { continue };
        if *room == 0 {
            down.more = true;
            return Ok(unread);
        }
        let item = Item::unlisted(doc.name);
        match lacking(db, &doc, &read, &Start::Cursor(0), &item, *room) {
            Ok(part) => push(down, doc.name, Outcome::Accepted, part, &doc.heads, room),
            Err(StoreError::Damaged(text)) => {
                tracing::error!(text, "a stored document cannot be read: a device goes without it");
                unread.push(doc.name);
            }
            Err(error) => return Err(error),
        }
    }
    Ok(unread)
}

fn push(
    down: &mut Down,
    name: DocName,
    outcome: Outcome,
    part: Part,
    heads: &[ChangeHash],
    room: &mut usize,
) {
    *room = room.saturating_sub(part.bytes.len() + FRAME);
    down.more |= part.cut;
    let changes = (!part.bytes.is_empty()).then(|| ByteVec::from(thin::pack(&part.bytes)));
    down.docs.push(DownDoc {
        name: raw(&name),
        outcome,
        changes,
        cursor: part.cursor,
        heads: heads_out(heads),
    });
}

/// Those of the device's heads that are known here.
fn known_heads(db: &Db, app: &App, doc: Option<&Doc>, item: &Item) -> Result<Vec<ChangeHash>, StoreError> {
    let index = match doc {
        Some(doc) => app.indexes.take(db, doc)?,
        None => GateIndex::new(item.name.kind()).map_err(|e| StoreError::Damaged(e.to_string()))?,
    };
    let known = item.heads.iter().copied().filter(|h| index.knows(h)).collect();
    if let Some(doc) = doc {
        app.indexes.put(doc, index);
    }
    Ok(known)
}

/// From where a document is sent.
enum Start<'a> {
    /// After what the cursor says.
    Cursor(u64),
    /// After what these heads cover; none: from the start.
    Heads(&'a [ChangeHash]),
}

/// What the device lacks of one document, as far as there is room.
fn lacking(
    db: &Db,
    doc: &Doc,
    read: &MayRead,
    start: &Start<'_>,
    item: &Item,
    room: usize,
) -> Result<Part, StoreError> {
    let (cursor, heads): (u64, &[ChangeHash]) = match start {
        Start::Cursor(cursor) => (*cursor, &[]),
        Start::Heads(heads) => (0, heads),
    };
    if cursor == doc.max_n {
        return Ok(Part { cursor, ..Part::default() });
    }
    let by_chunk = heads.is_empty()
        && cursor < IN_ORDER
        && document::oldest_chunk(db, doc.id)?.is_some_and(|oldest| oldest <= cursor + 1);
    if by_chunk {
        return chunks(db, doc, read, cursor, item, room);
    }
    in_order(db, doc, cursor.saturating_sub(IN_ORDER), heads, room)
}

/// From the chunks as they came, without loading anything.
fn chunks(
    db: &Db,
    doc: &Doc,
    read: &MayRead,
    after: u64,
    item: &Item,
    room: usize,
) -> Result<Part, StoreError> {
    let room = Room { bytes: room, changes: limits::UPLOAD_CHANGES as u64 };
    let mut part = Part { cursor: after, ..Part::default() };
    for row in document::chunks_after(db, read, after, room)? {
        part.cursor = row.n;
        if item.own_chunks.as_ref().is_some_and(|own| own.contains(&row.n)) {
            continue;
        }
        if item.own.is_empty() {
            part.bytes.extend_from_slice(&row.body);
            continue;
        }
        let pieces = chunk::split(&row.body).map_err(|e| StoreError::Damaged(e.to_string()))?;
        for piece in pieces {
            let own = chunk::name(piece).is_ok_and(|name| item.own.contains(&name));
            if !own {
                part.bytes.extend_from_slice(piece);
            }
        }
    }
    part.cut = part.cursor < doc.max_n;
    Ok(part)
}

/// From the loaded document, in the order in which its changes were admitted.
fn in_order(db: &Db, doc: &Doc, sent: u64, heads: &[ChangeHash], room: usize) -> Result<Part, StoreError> {
    let damaged = |e: &dyn std::fmt::Display| StoreError::Damaged(format!("document {}: {e}", doc.id));
    let bytes = document::whole(db, doc.id, genesis::bytes(doc.name.kind()))?;
    let whole = Document::open(doc.name, &bytes).map_err(|e| damaged(&e))?;
    let lacking = whole.changes_since(heads);
    let by_name = chunk::by_name(&lacking).map_err(|e| damaged(&e))?;
    let (index, sound) = super::index::build(db, doc)?;
    // An index that had to be made anew may have another order: then nothing counts as sent.
    let sent = if sound { sent } else { 0 };
    let mut part = Part { cursor: doc.max_n, ..Part::default() };
    let (mut changes, mut at) = (0, 0u64);
    // The starting change is on every device.
    for name in index.hashes().skip(1) {
        at += 1;
        let Some(piece) = by_name.get(&name).filter(|_| at > sent) else { continue };
        let full = part.bytes.len() + piece.len() > room || changes == limits::UPLOAD_CHANGES;
        if full && changes > 0 {
            part.cursor = IN_ORDER + at - 1;
            part.cut = true;
            break;
        }
        part.bytes.extend_from_slice(piece);
        changes += 1;
    }
    Ok(part)
}
