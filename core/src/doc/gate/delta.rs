//! The stored form of what an upload adds to the index. Version 1:
//! `01`, count, then for each change a byte of flags (1 new actor, 2 actor of the change before,
//! 4 follows just the change before, 8 makes maps, 16 writes fields), its name, the actor, the number of operations, the ancestors as
//! distances back, the maps made (place within the change, distance of the parent, key) and the
//! fields written (distance of the map, eight bytes of field bits). Numbers are LEB128.

use super::reject::{RejectCode, Rejected};
use super::tables::{Entry, KeyCode, Made, Name, Tables, at, number};
use crate::base::id::{ActorId, ChangeHash};
use crate::base::leb128::uleb;
use crate::doc::chunk::read::Cursor;

const VERSION: u8 = 1;
const NEW_ACTOR: u8 = 1;
const SAME_ACTOR: u8 = 2;
const AFTER_LAST: u8 = 4;
const MAKES: u8 = 8;
const WRITES: u8 = 16;

const INNER: u8 = 0;
const SAME_START: u8 = 1;
const NEW_START: u8 = 2;

fn damaged(at: &'static str) -> Rejected {
    Rejected::new(RejectCode::IndexDamaged, at)
}

/// What carries over from one change to the next.
#[derive(Default)]
struct Before {
    actor: Option<u32>,
    start: Option<u64>,
}

pub(super) fn write(entries: &[Entry]) -> Vec<u8> {
    let mut out = Vec::with_capacity(8 + entries.len() * 56);
    out.push(VERSION);
    uleb(&mut out, entries.len() as u64);
    let mut before = Before::default();
    for entry in entries {
        let after_last = entry.deps.as_slice() == [entry.change.wrapping_sub(1)];
        let same = before.actor == Some(entry.actor);
        let mut flags = 0;
        for (yes, flag) in [
            (entry.new_actor.is_some(), NEW_ACTOR),
            (same, SAME_ACTOR),
            (after_last, AFTER_LAST),
            (!entry.made.is_empty(), MAKES),
            (!entry.wrote.is_empty(), WRITES),
        ] {
            flags |= if yes { flag } else { 0 };
        }
        out.push(flags);
        out.extend_from_slice(&entry.hash.0);
        match entry.new_actor {
            Some(id) => out.extend_from_slice(&id.0),
            None if same => {}
            None => uleb(&mut out, u64::from(entry.actor)),
        }
        before.actor = Some(entry.actor);
        uleb(&mut out, u64::from(entry.ops));
        if !after_last {
            uleb(&mut out, entry.deps.len() as u64);
            for dep in &entry.deps {
                uleb(&mut out, u64::from(entry.change.saturating_sub(*dep)));
            }
        }
        if !entry.made.is_empty() {
            uleb(&mut out, entry.made.len() as u64);
            for (n, made) in (entry.object..).zip(&entry.made) {
                uleb(&mut out, u64::from(made.counter.saturating_sub(entry.start_op)));
                uleb(&mut out, u64::from(n.saturating_sub(made.parent)));
                write_key(&mut out, &mut before, made.key);
            }
        }
        if !entry.wrote.is_empty() {
            let next = entry.object + number(entry.made.len());
            uleb(&mut out, entry.wrote.len() as u64);
            for (object, bits) in &entry.wrote {
                uleb(&mut out, u64::from(next.saturating_sub(*object)));
                out.extend_from_slice(&bits.to_le_bytes());
            }
        }
    }
    out
}

fn write_key(out: &mut Vec<u8>, before: &mut Before, key: KeyCode) {
    if key == KeyCode::INNER {
        out.push(INNER);
        return;
    }
    let (start, n) = (key.0 >> 30, key.0 & ((1 << 30) - 1));
    if before.start == Some(start) {
        out.push(SAME_START);
    } else {
        out.push(NEW_START);
        uleb(out, start);
        before.start = Some(start);
    }
    uleb(out, n);
}

/// Adds a stored delta to the tables.
pub(super) fn replay(tables: &mut Tables, bytes: &[u8]) -> Result<(), Rejected> {
    read(tables, bytes).map_err(|e| Rejected::new(RejectCode::IndexDamaged, e.at))
}

fn read(tables: &mut Tables, bytes: &[u8]) -> Result<(), Rejected> {
    let mut from = Cursor::new(bytes);
    if from.byte()? != VERSION {
        return Err(damaged("version"));
    }
    let count = from.length()?;
    tables.reserve(count);
    let mut before = Before::default();
    for _ in 0..count {
        let entry = entry(tables, &mut from, &mut before)?;
        tables.apply(&entry);
    }
    if from.is_empty() { Ok(()) } else { Err(damaged("bytes left over")) }
}

fn small(from: &mut Cursor<'_>) -> Result<u32, Rejected> {
    u32::try_from(from.uleb()?).map_err(|_| damaged("number"))
}

fn back(from: &mut Cursor<'_>, next: u32) -> Result<u32, Rejected> {
    let distance = small(from)?;
    next.checked_sub(distance).filter(|_| distance > 0).ok_or_else(|| damaged("distance"))
}

fn entry(tables: &Tables, from: &mut Cursor<'_>, before: &mut Before) -> Result<Entry, Rejected> {
    let flags = from.byte()?;
    let hash = ChangeHash(from.array()?);
    if tables.by_hash.contains_key(&Name(hash)) {
        return Err(damaged("a change twice"));
    }
    let actors = number(tables.actors.len());
    let (actor, new_actor) = if flags & NEW_ACTOR != 0 {
        let id = ActorId(from.array()?);
        if tables.by_actor.contains_key(&id) {
            return Err(damaged("a known actor as a new one"));
        }
        (actors, Some(id))
    } else if flags & SAME_ACTOR != 0 {
        (before.actor.ok_or_else(|| damaged("actor"))?, None)
    } else {
        (small(from)?, None)
    };
    if new_actor.is_none() && actor >= actors {
        return Err(damaged("actor"));
    }
    before.actor = Some(actor);
    let ops = small(from)?;
    let change = tables.change_count();
    let deps = if flags & AFTER_LAST != 0 {
        vec![change.checked_sub(1).ok_or_else(|| damaged("ancestors"))?]
    } else {
        let n = from.length()?;
        (0..n).map(|_| back(from, change)).collect::<Result<Vec<_>, _>>()?
    };
    let highest = deps.iter().filter_map(|d| tables.changes.get(at(*d))).map(|c| c.max_op).max().unwrap_or(0);
    let start_op = highest.checked_add(1).filter(|s| s.checked_add(ops).is_some());
    let mut entry = Entry {
        hash,
        actor,
        new_actor,
        start_op: start_op.ok_or_else(|| damaged("operations"))?,
        ops,
        deps,
        made: Vec::new(),
        wrote: Vec::new(),
        change,
        object: tables.object_count(),
    };
    if flags & MAKES != 0 {
        for _ in 0..from.length()? {
            let made = made(tables, from, before, &entry)?;
            entry.made.push(made);
        }
    }
    if flags & WRITES != 0 {
        let next = entry.object + number(entry.made.len());
        for _ in 0..from.length()? {
            let object = back(from, next)?;
            entry.wrote.push((object, u64::from_le_bytes(from.array()?)));
        }
    }
    Ok(entry)
}

fn made(
    tables: &Tables,
    from: &mut Cursor<'_>,
    before: &mut Before,
    entry: &Entry,
) -> Result<Made, Rejected> {
    let place = small(from)?;
    let counter = entry.start_op.checked_add(place).ok_or_else(|| damaged("operations"))?;
    let parent = back(from, entry.object + number(entry.made.len()))?;
    let key = match from.byte()? {
        INNER => KeyCode::INNER,
        how => {
            let start = if how == NEW_START { Some(from.uleb()?) } else { before.start };
            before.start = start;
            let start = start.filter(|s| *s < 1 << 30).ok_or_else(|| damaged("key"))?;
            KeyCode(start << 30 | u64::from(small(from)?))
        }
    };
    let level = match parent.checked_sub(entry.object) {
        Some(n) => entry.made.get(at(n)).map(|m| m.level),
        None => tables.objects.get(at(parent)).map(|o| o.level),
    };
    let level = level.and_then(|l| l.child(key)).ok_or_else(|| damaged("map"))?;
    Ok(Made { counter, parent, key, level })
}
