//! A smaller form of an upload of change chunks for the wire, without loss: what follows from the change
//! before is left out, like parts of all changes stand together, and all is deflated. Knows no kind of
//! document; whatever it cannot shrink it carries as it is.
//!
//! First byte: 0 the chunks as they are, 1 the chunks deflated (RFC 1951), 2 streams deflated. Streams:
//! the number of changes, SHA-256 over their names in order, the number of streams, then each with its
//! length before it. Numbers are LEB128. One stream each for: flags, ancestors, actors, sequence numbers,
//! first operation numbers, times (differences), messages, other actors, lists of columns, whole chunks;
//! one for each column; one for the values of each field name in the order in which the names come up,
//! and one for all records in one value. Counters of maps are distances back from the change's first
//! operation, moments are milliseconds from the change's time, and a record key that is one more than
//! the last is the single byte 0.

use std::collections::HashMap;
use std::io::{Read as _, Write as _};

use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use sha2::{Digest as _, Sha256};

use super::chunk::read::{Cursor, Rle};
use super::chunk::{self, CHANGE, Change, MAGIC, UNNAMED};
use super::gate::limits;
use super::gate::reject::{RejectCode, Rejected, over};
use crate::base::leb128::{sleb, uleb};

mod keys;

use keys::Keys;

const PLAIN: u8 = 0;
const DEFLATED: u8 = 1;
const STREAMS: u8 = 2;

/// The chunk as it is, in the stream for whole chunks.
const WHOLE: u8 = 1;
const AFTER_LAST: u8 = 2;
const SAME_ACTOR: u8 = 4;
const NEXT_SEQ: u8 = 8;
const NEXT_OP: u8 = 16;
const SAME_OTHERS: u8 = 32;
const SAME_COLUMNS: u8 = 64;
const HAS_MESSAGE: u8 = 128;

/// Places of the fixed streams; columns follow, then values.
const FLAGS: usize = 0;
const DEPS: usize = 1;
const ACTORS: usize = 2;
const SEQS: usize = 3;
const STARTS: usize = 4;
const TIMES: usize = 5;
const MESSAGES: usize = 6;
const OTHERS: usize = 7;
const LISTS: usize = 8;
const WHOLES: usize = 9;
const COLUMNS: usize = 10;
const VALUES: usize = COLUMNS + SPECS.len();
/// Most streams of values; field names that come up later share the last.
const MOST_VALUES: usize = 64;

/// The columns in the order of the format.
const SPECS: [u64; 10] = [0x01, 0x02, 0x15, 0x34, 0x42, 0x56, 0x57, 0x70, 0x71, 0x73];
const OBJ_COUNTER: u64 = 0x02;
const KEY: u64 = 0x15;
const ACTION: u64 = 0x42;
const META: u64 = 0x56;
const VALUE: u64 = 0x57;

/// How much [`unpack`] may bring forth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ThinLimits {
    /// Most bytes of chunks.
    pub bytes: usize,
    /// Most changes.
    pub changes: usize,
}

impl Default for ThinLimits {
    /// One upload of the gate.
    fn default() -> ThinLimits {
        ThinLimits { bytes: limits::UPLOAD_BYTES, changes: limits::UPLOAD_CHANGES }
    }
}

/// The thin form of chunks. Bytes that are no upload of valid change chunks are carried as they are.
#[must_use]
pub fn pack(chunks: &[u8]) -> Vec<u8> {
    let thin = streams(chunks).filter(|s| rebuild(s, usize::MAX, usize::MAX).as_deref() == Ok(chunks));
    let (form, body) = match &thin {
        Some(streams) => (STREAMS, streams.as_slice()),
        None => (DEFLATED, chunks),
    };
    match deflate(form, body) {
        Some(packed) if packed.len() <= chunks.len() && body.len() <= most_inflated(packed.len() - 1) => {
            packed
        }
        _ => {
            let mut out = Vec::with_capacity(chunks.len() + 1);
            out.push(PLAIN);
            out.extend_from_slice(chunks);
            out
        }
    }
}

/// The chunks again.
///
/// # Errors
/// `thin`, `truncated` or `too-large`; never more than `limits` are made.
pub fn unpack(bytes: &[u8], limits: ThinLimits) -> Result<Vec<u8>, Rejected> {
    let (form, body) = bytes.split_first().ok_or_else(|| thin("no bytes"))?;
    match *form {
        PLAIN if body.len() <= limits.bytes => Ok(body.to_vec()),
        PLAIN => Err(over(RejectCode::TooLarge, body.len(), limits.bytes)),
        DEFLATED => inflate(body, limits.bytes),
        STREAMS => rebuild(&inflate(body, limits.bytes)?, limits.bytes, limits.changes),
        _ => Err(thin("unknown form")),
    }
}

fn thin(at: &'static str) -> Rejected {
    Rejected::new(RejectCode::Thin, at)
}

fn deflate(form: u8, body: &[u8]) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(body.len() / 3 + 16);
    out.push(form);
    let mut encoder = DeflateEncoder::new(out, Compression::best());
    encoder.write_all(body).ok()?;
    encoder.finish().ok()
}

const fn most_inflated(packed: usize) -> usize {
    packed.saturating_mul(limits::THIN_RATIO).saturating_add(64 << 10)
}

fn inflate(body: &[u8], most: usize) -> Result<Vec<u8>, Rejected> {
    let most = most.min(most_inflated(body.len()));
    let mut out = Vec::new();
    let mut from = DeflateDecoder::new(body).take(u64::try_from(most).unwrap_or(u64::MAX).saturating_add(1));
    from.read_to_end(&mut out).map_err(|_| thin("deflate"))?;
    if out.len() > most { Err(over(RejectCode::TooLarge, "unpacked bytes", most)) } else { Ok(out) }
}

/// What one change tells about the next; both sides keep it in step.
#[derive(Default)]
struct Before {
    hash: [u8; 32],
    actor: [u8; 16],
    seq: u64,
    next_op: u64,
    time: i64,
    others: Vec<u8>,
    list: Vec<u64>,
    key: Keys,
    names: HashMap<Vec<u8>, usize>,
}

impl Before {
    /// The stream of values of a field name. Records in one value share one, whatever their keys.
    fn stream(&mut self, name: &[u8]) -> usize {
        let name = if keys::is_minted(name) { &[][..] } else { name };
        if let Some(n) = self.names.get(name) {
            return *n;
        }
        let next = VALUES + self.names.len().min(MOST_VALUES - 1);
        self.names.insert(name.to_vec(), next);
        next
    }
}

/// Copies a run-length column, each value by way of `value`.
fn each_value<'a>(
    from: &mut Cursor<'a>,
    out: &mut Vec<u8>,
    mut value: impl FnMut(&mut Cursor<'a>, &mut Vec<u8>) -> Result<(), Rejected>,
) -> Result<(), Rejected> {
    while !from.is_empty() {
        let head = from.sleb()?;
        sleb(out, head);
        match head {
            0 => uleb(out, from.uleb()?),
            n if n > 0 => value(from, out)?,
            n => {
                for _ in 0..n.unsigned_abs() {
                    value(from, out)?;
                }
            }
        }
    }
    Ok(())
}

fn put(out: &mut Vec<u8>, bytes: &[u8]) {
    uleb(out, bytes.len() as u64);
    out.extend_from_slice(bytes);
}

struct Thinner {
    streams: Vec<Vec<u8>>,
    before: Before,
}

/// The streams of an upload; `None` when it is none.
fn streams(chunks: &[u8]) -> Option<Vec<u8>> {
    let chunks = chunk::split(chunks).ok()?;
    let mut thinner = Thinner { streams: vec![Vec::new(); VALUES], before: Before::default() };
    let mut names = Sha256::new();
    for chunk in &chunks {
        let hash = chunk::name(chunk).ok()?;
        names.update(hash.0);
        match chunk::parse_named(chunk, hash) {
            Ok(change) => thinner.change(chunk, &change).ok()?,
            Err(_) => thinner.whole(chunk),
        }
        thinner.before.hash = hash.0;
    }
    let mut out = Vec::new();
    uleb(&mut out, chunks.len() as u64);
    out.extend_from_slice(&names.finalize());
    uleb(&mut out, thinner.streams.len() as u64);
    thinner.streams.iter().for_each(|s| put(&mut out, s));
    Some(out)
}

impl Thinner {
    fn to(&mut self, stream: usize) -> &mut Vec<u8> {
        if self.streams.len() <= stream {
            self.streams.resize(stream + 1, Vec::new());
        }
        #[expect(clippy::indexing_slicing, reason = "made just now when it was not there")]
        &mut self.streams[stream]
    }

    fn whole(&mut self, chunk: &[u8]) {
        self.to(FLAGS).push(WHOLE);
        put(self.to(WHOLES), chunk);
    }

    fn change(&mut self, chunk: &[u8], change: &Change<'_>) -> Result<(), Rejected> {
        let others: Vec<u8> = change.others.iter().flat_map(|a| a.0).collect();
        let (list, columns) = columns(chunk, change)?;
        let before = &self.before;
        let same_actor = change.actor.0 == before.actor;
        let mut flags = 0;
        for (yes, flag) in [
            (matches!(change.deps.as_slice(), [only] if only.0 == before.hash), AFTER_LAST),
            (same_actor, SAME_ACTOR),
            (same_actor && change.seq == before.seq + 1, NEXT_SEQ),
            (change.start_op == before.next_op, NEXT_OP),
            (others == before.others, SAME_OTHERS),
            (list == before.list, SAME_COLUMNS),
            (!change.message.is_empty(), HAS_MESSAGE),
        ] {
            flags |= if yes { flag } else { 0 };
        }
        let step = change.time.wrapping_sub(before.time);
        self.to(FLAGS).push(flags);
        if flags & AFTER_LAST == 0 {
            let deps: Vec<u8> = change.deps.iter().flat_map(|d| d.0).collect();
            put(self.to(DEPS), &deps);
        }
        if flags & SAME_ACTOR == 0 {
            self.to(ACTORS).extend_from_slice(&change.actor.0);
        }
        if flags & NEXT_SEQ == 0 {
            uleb(self.to(SEQS), change.seq);
        }
        if flags & NEXT_OP == 0 {
            uleb(self.to(STARTS), change.start_op);
        }
        sleb(self.to(TIMES), step);
        if flags & HAS_MESSAGE != 0 {
            put(self.to(MESSAGES), change.message.as_bytes());
        }
        if flags & SAME_OTHERS == 0 {
            put(self.to(OTHERS), &others);
        }
        if flags & SAME_COLUMNS == 0 {
            uleb(self.to(LISTS), list.len() as u64);
            list.iter().for_each(|spec| uleb(self.to(LISTS), *spec));
        }
        self.columns(change, &list, &columns)?;
        self.before.actor = change.actor.0;
        self.before.seq = change.seq;
        self.before.next_op = change.max_op() + 1;
        self.before.time = change.time;
        self.before.others = others;
        self.before.list = list;
        Ok(())
    }

    fn columns(&mut self, change: &Change<'_>, list: &[u64], columns: &[&[u8]]) -> Result<(), Rejected> {
        let of = |spec| list.iter().position(|s| *s == spec).and_then(|n| columns.get(n)).copied();
        for (place, spec) in SPECS.into_iter().enumerate() {
            let Some(bytes) = of(spec) else { continue };
            let mut from = Cursor::new(bytes);
            let mut out = Vec::with_capacity(bytes.len());
            match spec {
                OBJ_COUNTER => each_value(&mut from, &mut out, |from, out| {
                    sleb(out, change.start_op.wrapping_sub(from.uleb()?).cast_signed());
                    Ok(())
                })?,
                KEY => {
                    let keys = &mut self.before.key;
                    each_value(&mut from, &mut out, |from, out| {
                        let key = from.text()?;
                        if keys.is_next(key) {
                            out.push(0);
                        } else {
                            uleb(out, key.len() as u64 + 1);
                            out.extend_from_slice(key.as_bytes());
                        }
                        keys.note(key);
                        Ok(())
                    })?;
                }
                VALUE => {
                    self.values(
                        change.time,
                        of(KEY).unwrap_or_default(),
                        of(META).unwrap_or_default(),
                        bytes,
                    )?;
                    continue;
                }
                _ => out.extend_from_slice(bytes),
            }
            put(self.to(COLUMNS + place), &out);
        }
        Ok(())
    }

    fn values(&mut self, time: i64, keys: &[u8], metas: &[u8], values: &[u8]) -> Result<(), Rejected> {
        let (mut keys, mut metas, mut values) =
            (Rle::<&str>::new(keys), Rle::<u64>::new(metas), Cursor::new(values));
        while !metas.done() {
            let (key, meta) = (keys.some("keys")?, metas.some("values")?);
            let Some((len, moment)) = value_form(meta) else { continue };
            let bytes = values.take(len)?;
            let stream = self.before.stream(key.as_bytes());
            let out = self.to(stream);
            if moment {
                sleb(out, Cursor::new(bytes).sleb()?.wrapping_sub(time.wrapping_mul(1000)));
            } else {
                out.extend_from_slice(bytes);
            }
        }
        Ok(())
    }
}

/// How many bytes a value has and whether it is a moment; `None` when it has none.
fn value_form(meta: u64) -> Option<(usize, bool)> {
    let len = usize::try_from(meta >> 4).unwrap_or(usize::MAX);
    (len > 0).then_some((len, meta & 15 == 9))
}

/// The column list of a chunk that was parsed, and the columns.
fn columns<'a>(chunk: &'a [u8], change: &Change<'_>) -> Result<(Vec<u64>, Vec<&'a [u8]>), Rejected> {
    let mut from = Cursor::new(chunk);
    from.take(UNNAMED + 1)?;
    from.uleb()?;
    from.uleb()?;
    from.take(change.deps.len() * 32 + 17)?;
    from.uleb()?;
    from.uleb()?;
    from.sleb()?;
    from.text()?;
    from.uleb()?;
    from.take(change.others.len() * 17)?;
    let mut listed = Vec::new();
    for _ in 0..from.uleb()? {
        listed.push((from.uleb()?, from.length()?));
    }
    let columns = listed.iter().map(|(_, len)| from.take(*len)).collect::<Result<_, _>>()?;
    Ok((listed.into_iter().map(|(spec, _)| spec).collect(), columns))
}

struct Rebuilder<'a> {
    streams: Vec<Cursor<'a>>,
    before: Before,
}

/// The chunks from streams.
fn rebuild(streams: &[u8], most_bytes: usize, most_changes: usize) -> Result<Vec<u8>, Rejected> {
    let mut from = Cursor::new(streams);
    let count = from.uleb()?;
    if count > most_changes as u64 {
        return Err(over(RejectCode::TooManyChanges, count, most_changes));
    }
    let names: [u8; 32] = from.array()?;
    let n = from.length()?;
    if !(VALUES..=VALUES + MOST_VALUES).contains(&n) {
        return Err(thin("number of streams"));
    }
    let mut streams = Vec::with_capacity(n);
    for _ in 0..n {
        let len = from.length()?;
        streams.push(Cursor::new(from.take(len)?));
    }
    let mut rebuilder = Rebuilder { streams, before: Before::default() };
    let mut out = Vec::new();
    let mut found = Sha256::new();
    for _ in 0..count {
        let hash = rebuilder.change(&mut out)?;
        found.update(hash);
        rebuilder.before.hash = hash;
        if out.len() > most_bytes {
            return Err(over(RejectCode::TooLarge, "unpacked bytes", most_bytes));
        }
    }
    if !from.is_empty() || rebuilder.streams.iter().any(|s| !s.is_empty()) {
        return Err(thin("bytes left over"));
    }
    if found.finalize().as_slice() == names { Ok(out) } else { Err(thin("other changes than were packed")) }
}

impl<'a> Rebuilder<'a> {
    fn from(&mut self, stream: usize) -> Result<&mut Cursor<'a>, Rejected> {
        self.streams.get_mut(stream).ok_or_else(|| thin("a stream that is not there"))
    }

    fn get(&mut self, stream: usize) -> Result<&'a [u8], Rejected> {
        let from = self.from(stream)?;
        let len = from.length()?;
        from.take(len)
    }

    /// Appends one chunk and gives its name.
    fn change(&mut self, out: &mut Vec<u8>) -> Result<[u8; 32], Rejected> {
        let flags = self.from(FLAGS)?.byte()?;
        if flags & WHOLE != 0 {
            let chunk = self.get(WHOLES)?;
            out.extend_from_slice(chunk);
            return Ok(Sha256::digest(chunk.get(UNNAMED..).unwrap_or_default()).into());
        }
        let mut body = Vec::with_capacity(256);
        self.header(flags, &mut body)?;
        let start_op = self.before.next_op;
        let (list, columns) = self.columns(start_op)?;
        uleb(&mut body, list.len() as u64);
        for (spec, column) in list.iter().zip(&columns) {
            uleb(&mut body, *spec);
            uleb(&mut body, column.len() as u64);
        }
        columns.iter().for_each(|c| body.extend_from_slice(c));
        let action = list.iter().position(|s| *s == ACTION).and_then(|n| columns.get(n));
        let ops = count(action.map_or(&[], Vec::as_slice))?;
        self.before.next_op = start_op.checked_add(ops).ok_or_else(|| thin("operations"))?;
        self.before.list = list;
        if body.len() > limits::CHUNK_BYTES {
            return Err(over(RejectCode::TooLarge, body.len(), limits::CHUNK_BYTES));
        }
        let mut named = vec![CHANGE];
        put(&mut named, &body);
        let hash: [u8; 32] = Sha256::digest(&named).into();
        out.extend_from_slice(&MAGIC);
        out.extend_from_slice(hash.first_chunk::<4>().unwrap_or(&[0; 4]));
        out.extend_from_slice(&named);
        Ok(hash)
    }

    /// Everything before the columns; leaves the first operation number in `before.next_op`.
    fn header(&mut self, flags: u8, body: &mut Vec<u8>) -> Result<(), Rejected> {
        if flags & AFTER_LAST != 0 {
            body.push(1);
            body.extend_from_slice(&self.before.hash);
        } else {
            let deps = self.get(DEPS)?;
            uleb(body, (deps.len() / 32) as u64);
            body.extend_from_slice(deps);
        }
        if flags & SAME_ACTOR == 0 {
            self.before.actor = self.from(ACTORS)?.array()?;
        }
        put(body, &self.before.actor);
        let seq =
            if flags & NEXT_SEQ != 0 { self.before.seq.wrapping_add(1) } else { self.from(SEQS)?.uleb()? };
        self.before.seq = seq;
        uleb(body, seq);
        if flags & NEXT_OP == 0 {
            self.before.next_op = self.from(STARTS)?.uleb()?;
        }
        uleb(body, self.before.next_op);
        self.before.time = self.before.time.wrapping_add(self.from(TIMES)?.sleb()?);
        sleb(body, self.before.time);
        put(body, if flags & HAS_MESSAGE != 0 { self.get(MESSAGES)? } else { &[] });
        if flags & SAME_OTHERS == 0 {
            self.before.others = self.get(OTHERS)?.to_vec();
        }
        uleb(body, (self.before.others.len() / 16) as u64);
        self.before.others.chunks(16).for_each(|a| put(body, a));
        if flags & SAME_COLUMNS == 0 {
            let n = self.from(LISTS)?.uleb()?;
            if n > SPECS.len() as u64 {
                return Err(thin("columns"));
            }
            self.before.list.clear();
            for _ in 0..n {
                let spec = self.from(LISTS)?.uleb()?;
                self.before.list.push(spec);
            }
        }
        Ok(())
    }

    fn columns(&mut self, start_op: u64) -> Result<(Vec<u64>, Vec<Vec<u8>>), Rejected> {
        let list = core::mem::take(&mut self.before.list);
        let mut columns: Vec<Vec<u8>> = Vec::with_capacity(list.len());
        for spec in &list {
            let place = SPECS.iter().position(|s| s == spec).ok_or_else(|| thin("columns"))?;
            let done = |spec| list.iter().position(|s| *s == spec).and_then(|n| columns.get(n));
            if *spec == VALUE {
                let (keys, metas) =
                    (done(KEY).cloned().unwrap_or_default(), done(META).cloned().unwrap_or_default());
                columns.push(self.values(&keys, &metas)?);
                continue;
            }
            let bytes = self.get(COLUMNS + place)?;
            let mut from = Cursor::new(bytes);
            let mut out = Vec::with_capacity(bytes.len());
            match *spec {
                OBJ_COUNTER => each_value(&mut from, &mut out, |from, out| {
                    uleb(out, start_op.wrapping_sub(from.sleb()?.cast_unsigned()));
                    Ok(())
                })?,
                KEY => {
                    let keys = &mut self.before.key;
                    each_value(&mut from, &mut out, |from, out| {
                        let next;
                        let key = match from.uleb()? {
                            0 => {
                                next = keys.next().ok_or_else(|| thin("key"))?;
                                next.as_str()
                            }
                            n => {
                                let len = usize::try_from(n - 1).map_err(|_| thin("key"))?;
                                core::str::from_utf8(from.take(len)?).map_err(|_| thin("key"))?
                            }
                        };
                        put(out, key.as_bytes());
                        keys.note(key);
                        Ok(())
                    })?;
                }
                _ => out.extend_from_slice(bytes),
            }
            columns.push(out);
        }
        Ok((list, columns))
    }

    fn values(&mut self, keys: &[u8], metas: &[u8]) -> Result<Vec<u8>, Rejected> {
        count(metas)?;
        let time = self.before.time.wrapping_mul(1000);
        let (mut keys, mut metas) = (Rle::<&str>::new(keys), Rle::<u64>::new(metas));
        let mut out = Vec::new();
        while !metas.done() {
            let (key, meta) = (keys.some("keys")?, metas.some("values")?);
            let Some((len, moment)) = value_form(meta) else { continue };
            let stream = self.before.stream(key.as_bytes());
            let from = self.from(stream)?;
            if moment {
                sleb(&mut out, from.sleb()?.wrapping_add(time));
            } else {
                out.extend_from_slice(from.take(len)?);
            }
        }
        Ok(out)
    }
}

/// The number of values of a run-length column of numbers.
fn count(column: &[u8]) -> Result<u64, Rejected> {
    let most = limits::CHANGE_OPS as u64;
    Rle::<u64>::totals(column, most, |_, _| Ok(()), |n| over(RejectCode::TooManyOps, n, most))
}
