//! The tables of the index: changes, actors and maps by number, and what one change adds to them.

use core::hash::{Hash, Hasher};
use std::collections::{BTreeSet, HashMap};

use super::reject::{RejectCode, Rejected};
use crate::base::id::{ActorId, ChangeHash};
use crate::base::key::Key;
use crate::doc::chunk::{Action, Change, Obj};
use crate::doc::genesis;
use crate::model::any;
use crate::model::name::Kind;
use crate::model::spec::{RecordSpec, RootSpec};

/// What a map is for.
#[derive(Debug, Clone, Copy)]
pub(super) enum Level {
    /// The document itself.
    Root,
    /// A map of records at the root.
    Records(&'static RootSpec),
    /// A record.
    Record(&'static RecordSpec),
    /// A map of records inside a record.
    Inner(&'static RecordSpec),
    /// No map but a record in one value: it is only known by its key.
    Whole,
}

impl Level {
    const fn of(spec: &'static RecordSpec) -> Level {
        if spec.whole { Level::Whole } else { Level::Record(spec) }
    }

    /// What stands in a map of records in one value each.
    pub(super) const fn wholes(self) -> Option<&'static RecordSpec> {
        let spec = match self {
            Level::Records(root) => root.record,
            Level::Inner(spec) => spec,
            Level::Root | Level::Record(_) | Level::Whole => return None,
        };
        if spec.whole { Some(spec) } else { None }
    }

    /// What a map made here under that key is for.
    pub(super) fn child(self, key: KeyCode) -> Option<Level> {
        match self {
            Level::Root | Level::Whole => None,
            Level::Records(root) => (key != KeyCode::INNER).then_some(Level::of(root.record)),
            Level::Inner(spec) => (key != KeyCode::INNER).then_some(Level::of(spec)),
            Level::Record(spec) => match spec.inner {
                Some((_, inner)) if key == KeyCode::INNER => Some(Level::Inner(inner)),
                _ => None,
            },
        }
    }
}

/// A record key as a number: thirty bits of the start, thirty of the counter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct KeyCode(pub(super) u64);

impl KeyCode {
    /// The inner map of a record, whatever its name.
    pub(super) const INNER: KeyCode = KeyCode(u64::MAX);
    /// The one record of a map that a starting change made.
    pub(super) const MAIN: KeyCode = KeyCode(u64::MAX - 1);

    /// The number of a well-formed key other than `main`.
    pub(super) fn of(key: &str) -> Option<KeyCode> {
        if !Key::well_formed(key) {
            return None;
        }
        let (start, n) = key.split_once('-')?;
        let mut code = 0_u64;
        for b in start.bytes() {
            let digit = if b.is_ascii_lowercase() { b - b'a' } else { b.wrapping_sub(b'2').wrapping_add(26) };
            code = code << 5 | u64::from(digit & 31);
        }
        Some(KeyCode(code << 30 | n.parse::<u64>().ok()?))
    }
}

/// One bit of 64 for a field: two fields of a record may share one, and then the document is asked
/// more often than it must be. Taken from the name, so that no order of fields is frozen; the
/// function itself is, because stored deltas hold the bits. Its first value was searched so that
/// the fields of today hardly share any.
pub(super) fn field_bit(name: &str) -> u64 {
    let mut hash = 0xd13f_a330_e14b_b3df_u64;
    for b in name.bytes() {
        hash = (hash ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3);
    }
    1 << (hash.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 58)
}

/// The name of a change as a key: eight bytes of a SHA-256 are hashed instead of all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Name(pub(super) ChangeHash);

impl Hash for Name {
    fn hash<H: Hasher>(&self, state: &mut H) {
        state.write_u64(u64::from_le_bytes(*self.0.0.first_chunk().unwrap_or(&[0; 8])));
    }
}

#[derive(Debug, Clone)]
pub(super) struct ChangeRow {
    pub(super) hash: ChangeHash,
    pub(super) actor: u32,
    pub(super) max_op: u32,
    ops: u32,
    deps_end: u32,
    made_end: u32,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct ActorRow {
    pub(super) id: ActorId,
    pub(super) seq: u64,
    pub(super) last: u32,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Object {
    pub(super) level: Level,
    pub(super) made_in: u32,
    /// Bits of the fields that somebody has written.
    pub(super) wrote: u64,
    parent: u32,
    key: KeyCode,
    counter: u32,
}

/// A map that a change makes.
#[derive(Debug, Clone)]
pub(super) struct Made {
    pub(super) counter: u32,
    pub(super) parent: u32,
    pub(super) key: KeyCode,
    pub(super) level: Level,
}

/// What one change adds.
#[derive(Debug, Clone)]
pub(super) struct Entry {
    pub(super) hash: ChangeHash,
    pub(super) actor: u32,
    pub(super) new_actor: Option<ActorId>,
    pub(super) start_op: u32,
    pub(super) ops: u32,
    pub(super) deps: Vec<u32>,
    pub(super) made: Vec<Made>,
    pub(super) wrote: Vec<(u32, u64)>,
    /// The number of this change and of the first map that it makes, from which distances count.
    pub(super) change: u32,
    pub(super) object: u32,
}

/// The tables; or, above others, what an upload would add to them: numbers go on from theirs.
#[derive(Debug, Clone, Default)]
pub(super) struct Tables {
    pub(super) first_change: u32,
    pub(super) first_actor: u32,
    pub(super) first_object: u32,
    pub(super) changes: Vec<ChangeRow>,
    deps: Vec<u32>,
    pub(super) by_hash: HashMap<Name, u32>,
    pub(super) actors: Vec<ActorRow>,
    pub(super) by_actor: HashMap<ActorId, u32>,
    pub(super) objects: Vec<Object>,
    pub(super) by_op: HashMap<(u32, u32), u32>,
    pub(super) children: HashMap<(u32, KeyCode), u32>,
    pub(super) heads: BTreeSet<u32>,
    /// Writes and actors of the tables below, which stay as they are.
    pub(super) wrote_below: HashMap<u32, u64>,
    pub(super) actors_below: HashMap<u32, (u64, u32)>,
}

/// A number as an index; core runs where `usize` has at least 32 bits.
pub(super) const fn at(n: u32) -> usize {
    n as usize
}

/// A count as a number; the limits keep every table far below 2^32.
pub(super) fn number(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

impl Tables {
    /// The tables after the starting change alone, which may do what no other change may.
    pub(super) fn starting(kind: Kind, change: &Change<'_>) -> Result<Tables, Rejected> {
        let damaged = |at: &str| Rejected::new(RejectCode::IndexDamaged, format!("starting change: {at}"));
        if change.actor.0 != genesis::ACTOR || change.seq != 1 || change.start_op != 1 {
            return Err(damaged("header"));
        }
        let root = Made { counter: 0, parent: 0, key: KeyCode::INNER, level: Level::Root };
        let mut made = vec![root];
        for (counter, op) in (1_u32..).zip(&change.ops) {
            if op.action != Action::MakeMap {
                continue;
            }
            let (parent, key, level) = match op.obj {
                Obj::Root => {
                    let spec = any::root(kind, op.key).ok_or_else(|| damaged("a root map"))?;
                    (0, KeyCode(u64::from(counter)), Level::Records(spec))
                }
                Obj::Map(of) => {
                    let parent = made.iter().position(|m| u64::from(m.counter) == of.counter);
                    let parent = parent.filter(|_| op.key == "main").ok_or_else(|| damaged("a record"))?;
                    let level = made.get(parent).and_then(|m| m.level.child(KeyCode::MAIN));
                    (number(parent), KeyCode::MAIN, level.ok_or_else(|| damaged("a record"))?)
                }
            };
            made.push(Made { counter, parent, key, level });
        }
        let mut tables = Tables::default();
        tables.apply(&Entry {
            hash: change.hash,
            actor: 0,
            new_actor: Some(change.actor),
            start_op: 1,
            ops: number(change.ops.len()),
            deps: Vec::new(),
            made,
            wrote: Vec::new(),
            change: 0,
            object: 0,
        });
        Ok(tables)
    }

    /// Empty tables above these, with room for so many changes.
    pub(super) fn above(&self, room: usize) -> Tables {
        Tables {
            first_change: number(self.changes.len()),
            first_actor: number(self.actors.len()),
            first_object: number(self.objects.len()),
            heads: self.heads.clone(),
            changes: Vec::with_capacity(room),
            deps: Vec::with_capacity(room),
            by_hash: HashMap::with_capacity(room),
            objects: Vec::with_capacity(room),
            by_op: HashMap::with_capacity(room),
            children: HashMap::with_capacity(room),
            ..Tables::default()
        }
    }

    pub(super) fn change_count(&self) -> u32 {
        self.first_change + number(self.changes.len())
    }

    pub(super) fn object_count(&self) -> u32 {
        self.first_object + number(self.objects.len())
    }

    /// Makes room for so many changes.
    pub(super) fn reserve(&mut self, room: usize) {
        self.changes.reserve(room);
        self.deps.reserve(room);
        self.by_hash.reserve(room);
        self.objects.reserve(room);
        self.by_op.reserve(room);
        self.children.reserve(room);
    }

    /// Adds what a change adds.
    pub(super) fn apply(&mut self, entry: &Entry) {
        let change = self.change_count();
        self.deps.extend_from_slice(&entry.deps);
        for dep in &entry.deps {
            self.heads.remove(dep);
        }
        self.heads.insert(change);
        self.by_hash.insert(Name(entry.hash), change);
        match (entry.new_actor, entry.actor.checked_sub(self.first_actor)) {
            (Some(id), _) => {
                self.actors.push(ActorRow { id, seq: 1, last: change });
                self.by_actor.insert(id, entry.actor);
            }
            (None, Some(n)) => {
                if let Some(row) = self.actors.get_mut(at(n)) {
                    row.seq += 1;
                    row.last = change;
                }
            }
            (None, None) => {
                let (seq, last) = self.actors_below.entry(entry.actor).or_default();
                *seq += 1;
                *last = change;
            }
        }
        for made in &entry.made {
            let object = self.object_count();
            self.by_op.insert((entry.actor, made.counter), object);
            self.children.insert((made.parent, made.key), object);
            let (level, counter, parent, key) = (made.level, made.counter, made.parent, made.key);
            self.objects.push(Object { level, made_in: change, wrote: 0, parent, key, counter });
        }
        for (object, bits) in &entry.wrote {
            match object.checked_sub(self.first_object) {
                Some(n) => {
                    if let Some(o) = self.objects.get_mut(at(n)) {
                        o.wrote |= bits;
                    }
                }
                None => *self.wrote_below.entry(*object).or_default() |= bits,
            }
        }
        self.changes.push(ChangeRow {
            hash: entry.hash,
            actor: entry.actor,
            max_op: (entry.start_op + entry.ops).saturating_sub(1),
            ops: entry.ops,
            deps_end: number(self.deps.len()),
            made_end: self.object_count(),
        });
    }

    /// The direct ancestors of a change of these tables.
    pub(super) fn deps_of(&self, change: u32) -> &[u32] {
        let Some(n) = change.checked_sub(self.first_change) else { return &[] };
        let Some(row) = self.changes.get(at(n)) else { return &[] };
        let start = n.checked_sub(1).and_then(|p| self.changes.get(at(p))).map_or(0, |p| p.deps_end);
        self.deps.get(at(start)..at(row.deps_end)).unwrap_or_default()
    }

    pub(super) fn heads(&self) -> impl Iterator<Item = ChangeHash> {
        self.heads.iter().filter_map(|h| self.changes.get(at(*h))).map(|c| c.hash)
    }

    pub(super) fn heads_max_op(&self) -> u64 {
        let max = self.heads.iter().filter_map(|h| self.changes.get(at(*h))).map(|c| c.max_op).max();
        u64::from(max.unwrap_or(0))
    }

    pub(super) fn last_of(&self, actor: &ActorId) -> Option<(u64, ChangeHash)> {
        let row = self.actors.get(at(*self.by_actor.get(actor)?))?;
        Some((row.seq, self.changes.get(at(row.last))?.hash))
    }

    /// What every change after the starting change added. Which change wrote a field first is
    /// not kept: the last entry carries all writes, and that makes the same tables.
    pub(super) fn entries(&self) -> Vec<Entry> {
        let mut seen = vec![false; self.actors.len()];
        let mut out: Vec<Entry> = Vec::with_capacity(self.changes.len());
        let mut made_from = 0_u32;
        for (change, row) in (0_u32..).zip(&self.changes) {
            let new = seen.get_mut(at(row.actor)).is_some_and(|s| !core::mem::replace(s, true));
            let made_of = self.objects.get(at(made_from)..at(row.made_end)).unwrap_or_default();
            let made = made_of.iter().map(|o| Made {
                counter: o.counter,
                parent: o.parent,
                key: o.key,
                level: o.level,
            });
            out.push(Entry {
                hash: row.hash,
                actor: row.actor,
                new_actor: self.actors.get(at(row.actor)).filter(|_| new).map(|a| a.id),
                start_op: (row.max_op + 1).saturating_sub(row.ops),
                ops: row.ops,
                deps: self.deps_of(change).to_vec(),
                made: made.collect(),
                wrote: Vec::new(),
                change,
                object: made_from,
            });
            made_from = row.made_end;
        }
        let writes = (0_u32..).zip(&self.objects).filter(|(_, o)| o.wrote != 0).map(|(n, o)| (n, o.wrote));
        if let Some(last) = out.last_mut() {
            last.wrote = writes.collect();
        }
        out.drain(..1.min(out.len()));
        out
    }
}
