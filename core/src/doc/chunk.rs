//! Own reader of plain change chunks of the open binary document format. Panic-free, capped, and
//! strict: only maps and values, only the one form that the document library itself writes.
//! Knows no kind of document and calls no document library.
//!
//! A chunk is `85 6f 4a 83`, four bytes of checksum, the type 1, a LEB128 length and the contents:
//! direct ancestors, actor, sequence number, first operation number, time, message, other actors,
//! the list of columns, the columns. Its name is the SHA-256 of type, length and contents; the
//! checksum is the first four bytes of the name.

use core::ops::Range;
use std::collections::HashMap;

use sha2::{Digest as _, Sha256};

use super::gate::limits;
use super::gate::reject::{RejectCode, Rejected, over};
use crate::base::id::{ActorId, ChangeHash};

mod ops;
pub(crate) mod read;
#[cfg(test)]
mod write;

use read::{Cursor, encoding};

/// The first four bytes of every chunk.
pub(crate) const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
/// The type of a plain change chunk.
pub(crate) const CHANGE: u8 = 1;
/// Bytes before the type, magic and checksum: what the name does not cover.
pub(crate) const UNNAMED: usize = 8;

/// The operation that made a map or set a value, as a change names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OpRef {
    /// Its number, at least 1.
    pub counter: u64,
    /// Whose: 0 is the change's own actor, `n` the `n`-th of its other actors.
    pub actor: usize,
}

/// The map in which an operation works.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Obj {
    /// The root of the document.
    Root,
    /// The map made by that operation.
    Map(OpRef),
}

/// A value as the chunk holds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Value<'a> {
    /// Nothing: the field is cleared.
    Null,
    /// Yes or no.
    Bool(bool),
    /// A signed whole number.
    Int(i64),
    /// Text.
    Text(&'a str),
    /// Bytes.
    Bytes(&'a [u8]),
    /// Milliseconds since 1970.
    Time(i64),
}

/// What an operation does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action<'a> {
    /// Makes a map at the key.
    MakeMap,
    /// Sets a value at the key.
    Set(Value<'a>),
    /// Removes the values named as predecessors, at least one. The document library writes it when
    /// somebody picks, of several values that met in one field, the one that is shown already.
    Drop,
}

/// One operation of a change. Its number is the change's first number plus its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Op<'a> {
    /// The map in which it works.
    pub obj: Obj,
    /// The key in that map.
    pub key: &'a str,
    /// What it does there.
    pub action: Action<'a>,
    preds: Range<usize>,
}

/// A change, read and checked by itself.
#[derive(Debug, Clone)]
pub struct Change<'a> {
    /// Its name.
    pub hash: ChangeHash,
    /// Who made it.
    pub actor: ActorId,
    /// Its number among the actor's changes, from 1.
    pub seq: u64,
    /// The number of its first operation, from 1.
    pub start_op: u64,
    /// Seconds since 1970, for display.
    pub time: i64,
    /// Its message; empty when there is none.
    pub message: &'a str,
    /// Its direct ancestors, ascending.
    pub deps: Vec<ChangeHash>,
    /// Other actors that its operations name, ascending.
    pub others: Vec<ActorId>,
    /// Its operations.
    pub ops: Vec<Op<'a>>,
    preds: Vec<OpRef>,
}

impl Change<'_> {
    /// The number of its last operation; one less than the first when it has none.
    #[must_use]
    pub fn max_op(&self) -> u64 {
        self.start_op.saturating_add(self.ops.len() as u64).saturating_sub(1)
    }

    /// The operations that `op` replaces, ascending by number, then actor.
    #[must_use]
    pub fn preds(&self, op: &Op<'_>) -> &[OpRef] {
        self.preds.get(op.preds.clone()).unwrap_or_default()
    }

    /// The actor that an operation reference names.
    #[must_use]
    pub fn actor_of(&self, op: OpRef) -> Option<ActorId> {
        match op.actor.checked_sub(1) {
            None => Some(self.actor),
            Some(n) => self.others.get(n).copied(),
        }
    }
}

/// Cuts bytes into chunks, without reading what is in them. At most
/// [`limits::UPLOAD_BYTES`] and [`limits::UPLOAD_CHANGES`].
///
/// # Errors
/// `too-large`, `too-many-changes`, `truncated`, `not-a-change`, `encoding`.
pub fn split(bytes: &[u8]) -> Result<Vec<&[u8]>, Rejected> {
    if bytes.len() > limits::UPLOAD_BYTES {
        return Err(over(RejectCode::TooLarge, bytes.len(), limits::UPLOAD_BYTES));
    }
    split_up_to(bytes, limits::UPLOAD_CHANGES)
}

/// The same for own stored bytes, which may hold more.
pub fn split_up_to(bytes: &[u8], most: usize) -> Result<Vec<&[u8]>, Rejected> {
    let mut chunks = Vec::new();
    let mut rest = bytes;
    while !rest.is_empty() {
        if chunks.len() == most {
            return Err(over(RejectCode::TooManyChanges, format!("over {most}"), most));
        }
        let n = chunks.len();
        let (chunk, after) = first(rest).map_err(|e| e.in_change(n, None))?;
        chunks.push(chunk);
        rest = after;
    }
    Ok(chunks)
}

fn first(bytes: &[u8]) -> Result<(&[u8], &[u8]), Rejected> {
    let (_, after) = header(bytes)?;
    let len = bytes.len() - after.len();
    Ok((bytes.get(..len).unwrap_or_default(), after))
}

/// The contents of a chunk and what follows it.
fn header(bytes: &[u8]) -> Result<(&[u8], &[u8]), Rejected> {
    let mut from = Cursor::new(bytes);
    if from.array::<4>()? != MAGIC {
        return Err(Rejected::new(RejectCode::NotAChange, "other first bytes"));
    }
    from.array::<4>()?;
    let what = match from.byte()? {
        CHANGE => None,
        0 => Some("a whole document"),
        2 => Some("a deflated change"),
        3 => Some("a bundle"),
        _ => Some("an unknown type of chunk"),
    };
    if let Some(what) = what {
        return Err(Rejected::new(RejectCode::NotAChange, what));
    }
    let len = from.uleb()?;
    if len > limits::CHUNK_BYTES as u64 {
        return Err(over(RejectCode::TooLarge, format!("change of {len} bytes"), limits::CHUNK_BYTES));
    }
    let contents = from.take(usize::try_from(len).map_err(|_| read::truncated())?)?;
    Ok((contents, from.rest()))
}

/// The name of the change in a chunk, after comparing its checksum.
///
/// # Errors
/// `truncated` and `checksum`.
pub fn name(chunk: &[u8]) -> Result<ChangeHash, Rejected> {
    let (head, named) = chunk.split_at_checked(UNNAMED).ok_or_else(read::truncated)?;
    let hash = ChangeHash(Sha256::digest(named).into());
    if head.get(4..) == hash.0.get(..4) {
        Ok(hash)
    } else {
        Err(Rejected::new(RejectCode::Checksum, "").in_hash(hash))
    }
}

/// The chunks of own stored bytes, by the names of their changes.
///
/// # Errors
/// As [`split_up_to`] and [`name`].
pub fn by_name(bytes: &[u8]) -> Result<HashMap<ChangeHash, &[u8]>, Rejected> {
    split_up_to(bytes, usize::MAX)?.into_iter().map(|chunk| Ok((name(chunk)?, chunk))).collect()
}

/// Reads one chunk.
///
/// # Errors
/// Any code that concerns a change by itself; nothing is expanded before it is counted.
pub fn parse(chunk: &[u8]) -> Result<Change<'_>, Rejected> {
    let hash = name(chunk)?;
    parse_named(chunk, hash).map_err(|e| e.in_hash(hash))
}

/// The same when the name was computed before.
pub(crate) fn parse_named(chunk: &[u8], hash: ChangeHash) -> Result<Change<'_>, Rejected> {
    let (contents, after) = header(chunk)?;
    if !after.is_empty() {
        return Err(Rejected::new(RejectCode::ExtraBytes, "after the chunk"));
    }
    let mut from = Cursor::new(contents);
    let deps = deps(&mut from)?;
    let actor = actor(&mut from)?;
    let seq = from.uleb()?;
    if seq == 0 {
        return Err(Rejected::new(RejectCode::Sequence, "0"));
    }
    let start_op = from.uleb()?;
    if start_op == 0 || start_op > limits::MAX_OP {
        return Err(over(RejectCode::OpNumber, start_op, limits::MAX_OP));
    }
    let time = from.sleb()?;
    if time.unsigned_abs() > limits::TIME_SECONDS {
        return Err(Rejected::new(RejectCode::Time, ""));
    }
    let message = message(&mut from)?;
    let others = others(&mut from, actor)?;
    let columns = ops::Columns::read(&mut from)?;
    if !from.is_empty() {
        return Err(Rejected::new(RejectCode::ExtraBytes, "after the columns"));
    }
    let count = columns.count()?;
    if start_op.saturating_add(count) > limits::MAX_OP {
        return Err(over(RejectCode::OpNumber, start_op.saturating_add(count), limits::MAX_OP));
    }
    let (ops, preds) = columns.ops(count, start_op, actor, &others)?;
    Ok(Change { hash, actor, seq, start_op, time, message, deps, others, ops, preds })
}

fn deps(from: &mut Cursor<'_>) -> Result<Vec<ChangeHash>, Rejected> {
    let n = from.uleb()?;
    if n > limits::DEPS as u64 {
        return Err(over(RejectCode::TooManyDeps, n, limits::DEPS));
    }
    let mut deps: Vec<ChangeHash> = Vec::with_capacity(usize::try_from(n).unwrap_or(0));
    for _ in 0..n {
        let hash = ChangeHash(from.array()?);
        if deps.last().is_some_and(|last| *last >= hash) {
            return Err(Rejected::new(RejectCode::Deps, "not ascending"));
        }
        deps.push(hash);
    }
    Ok(deps)
}

fn actor(from: &mut Cursor<'_>) -> Result<ActorId, Rejected> {
    let n = from.uleb()?;
    if n != 16 {
        return Err(Rejected::new(RejectCode::ActorLength, format!("{n} bytes")));
    }
    Ok(ActorId(from.array()?))
}

fn message<'a>(from: &mut Cursor<'a>) -> Result<&'a str, Rejected> {
    let n = from.uleb()?;
    if n > limits::MESSAGE_BYTES as u64 {
        return Err(over(RejectCode::Message, n, limits::MESSAGE_BYTES));
    }
    let bytes = from.take(usize::try_from(n).unwrap_or(0))?;
    core::str::from_utf8(bytes).map_err(|_| encoding("message that is not UTF-8"))
}

fn others(from: &mut Cursor<'_>, own: ActorId) -> Result<Vec<ActorId>, Rejected> {
    let n = from.uleb()?;
    if n > limits::ACTORS as u64 {
        return Err(over(RejectCode::TooManyActors, n, limits::ACTORS));
    }
    let mut others: Vec<ActorId> = Vec::with_capacity(usize::try_from(n).unwrap_or(0));
    for _ in 0..n {
        let other = actor(from)?;
        if other == own || others.last().is_some_and(|last| *last >= other) {
            return Err(encoding("other actors not ascending"));
        }
        others.push(other);
    }
    Ok(others)
}
