//! The checks of an upload, against the index and the description of the kind of document.

use std::collections::{BTreeMap, BTreeSet, BinaryHeap, HashMap, HashSet};

use super::limits;
use super::reject::{RejectCode, Rejected, over};
use super::tables::{
    ActorRow, ChangeRow, Entry, KeyCode, Level, Made, Name, Object, Tables, at, field_bit, number,
};
use super::{Accepted, Check, FreshChange, Verdict};
use crate::base::id::{ActorId, ChangeHash, InstallId};
use crate::doc::chunk::{self, Action, Change, Obj, Op, OpRef, Value};
use crate::doc::genesis;
use crate::model::spec::{FieldKind, RecordSpec, ScalarRef};
use crate::model::whole;

/// Checks chunks one after the other, each against the index and those before it.
pub(super) fn run(
    base: &Tables,
    chunks: &[&[u8]],
    may_write: &dyn Fn(InstallId) -> bool,
    most_ops: usize,
) -> Result<Verdict, Rejected> {
    let mut run = Run::new(base, may_write, most_ops, chunks.len());
    let mut start = 0;
    for (n, chunk) in chunks.iter().enumerate() {
        let hash = chunk::name(chunk).map_err(|e| e.in_change(n, None))?;
        let range = start..start + chunk.len();
        start = range.end;
        if run.change_number(&hash).is_some() {
            run.known += 1;
            continue;
        }
        let tie = |e: Rejected| e.in_change(n, Some(hash));
        let change = chunk::parse_named(chunk, hash).map_err(tie)?;
        if let Some(missing) = run.change(change, range).map_err(tie)? {
            return Ok(Verdict::Need { missing });
        }
    }
    Ok(Verdict::Accept(Accepted {
        fresh: run.fresh,
        known: run.known,
        entries: run.entries,
        checks: run.checks,
        base: base.changes.len(),
    }))
}

struct Run<'a> {
    base: &'a Tables,
    add: Tables,
    may_write: &'a dyn Fn(InstallId) -> bool,
    /// The install that was asked about last, and the answer.
    asked: Option<(InstallId, bool)>,
    fresh: Vec<FreshChange>,
    known: usize,
    entries: Vec<Entry>,
    checks: Vec<Check>,
    ops_left: usize,
    steps_left: usize,
    walk: Walk,
}

/// A walk back through history from the change at hand, as far as it was needed yet.
#[derive(Default)]
struct Walk {
    seen: HashSet<u32>,
    /// Seen, but not its ancestors; the highest number first.
    todo: BinaryHeap<u32>,
}

impl Walk {
    fn visit(&mut self, n: u32) {
        if self.seen.insert(n) {
            self.todo.push(n);
        }
    }
}

/// What is gathered about the change at hand.
struct Draft {
    entry: Entry,
    made_keys: BTreeSet<(u32, KeyCode)>,
    /// Bits of the fields written, by map; mostly one map.
    wrote: BTreeMap<u32, u64>,
    writes: Writes,
    /// The map of the operation before: operations on one map mostly follow each other.
    recent: Option<(OpRef, u32)>,
}

#[derive(Clone, Copy, PartialEq)]
enum Write {
    /// The operation of that number set a value.
    Set(u64),
    /// The losers were dropped; the shown value stays.
    Dropped,
}

/// The last write of the change at hand to each field.
#[derive(Default)]
struct Writes {
    few: Vec<((u32, &'static str), Write)>,
    many: HashMap<(u32, &'static str), Write>,
}

impl Writes {
    fn note(&mut self, object: u32, field: &'static str, op: Write) {
        if self.few.len() < 64 {
            self.few.push(((object, field), op));
        } else {
            self.many.insert((object, field), op);
        }
    }

    fn last(&self, object: u32, field: &'static str) -> Option<Write> {
        let key = (object, field);
        let few = || self.few.iter().rev().find(|(k, _)| *k == key).map(|(_, op)| *op);
        self.many.get(&key).copied().or_else(few)
    }
}

fn refuse<T>(code: RejectCode, at: impl Into<String>) -> Result<T, Rejected> {
    Err(Rejected::new(code, at))
}

impl<'a> Run<'a> {
    fn new(
        base: &'a Tables,
        may_write: &'a dyn Fn(InstallId) -> bool,
        most_ops: usize,
        room: usize,
    ) -> Run<'a> {
        Run {
            base,
            add: base.above(room),
            may_write,
            asked: None,
            fresh: Vec::with_capacity(room),
            known: 0,
            entries: Vec::with_capacity(room),
            checks: Vec::new(),
            ops_left: most_ops,
            steps_left: limits::WALK_STEPS,
            walk: Walk::default(),
        }
    }

    fn change_number(&self, hash: &ChangeHash) -> Option<u32> {
        let last = self.add.changes.last().filter(|c| c.hash == *hash);
        if last.is_some() {
            return self.add.change_count().checked_sub(1);
        }
        let name = Name(*hash);
        self.base.by_hash.get(&name).or_else(|| self.add.by_hash.get(&name)).copied()
    }

    fn change_row(&self, n: u32) -> Option<&ChangeRow> {
        match n.checked_sub(self.add.first_change) {
            None => self.base.changes.get(at(n)),
            Some(n) => self.add.changes.get(at(n)),
        }
    }

    fn deps_of(&self, n: u32) -> &[u32] {
        if n < self.add.first_change { self.base.deps_of(n) } else { self.add.deps_of(n) }
    }

    fn actor(&self, id: &ActorId) -> Option<(u32, ActorRow)> {
        if let Some(n) = self.base.by_actor.get(id) {
            let mut row = *self.base.actors.get(at(*n))?;
            if let Some((more, last)) = self.add.actors_below.get(n) {
                row.seq += more;
                row.last = *last;
            }
            return Some((*n, row));
        }
        let n = *self.add.by_actor.get(id)?;
        Some((n, *self.add.actors.get(at(n.checked_sub(self.add.first_actor)?))?))
    }

    fn object(&self, n: u32) -> Option<Object> {
        match n.checked_sub(self.add.first_object) {
            Some(n) => self.add.objects.get(at(n)).copied(),
            None => {
                let mut object = *self.base.objects.get(at(n))?;
                object.wrote |= self.add.wrote_below.get(&n).copied().unwrap_or(0);
                Some(object)
            }
        }
    }

    fn has_child(&self, parent: u32, key: KeyCode) -> bool {
        self.base.children.contains_key(&(parent, key)) || self.add.children.contains_key(&(parent, key))
    }

    /// Checks one change; the missing ancestors when there are any.
    fn change(
        &mut self,
        change: Change<'_>,
        range: core::ops::Range<usize>,
    ) -> Result<Option<Vec<ChangeHash>>, Rejected> {
        self.ops_left = match self.ops_left.checked_sub(change.ops.len()) {
            Some(left) => left,
            None => return Err(over(RejectCode::TooManyOps, "operations of the upload", limits::UPLOAD_OPS)),
        };
        self.may_write(change.actor)?;
        let mut deps = Vec::with_capacity(change.deps.len());
        let mut missing = Vec::new();
        for hash in &change.deps {
            match self.change_number(hash) {
                Some(n) => deps.push(n),
                None => missing.push(*hash),
            }
        }
        if !missing.is_empty() {
            return Ok(Some(missing));
        }
        let entry = self.place(&change, deps)?;
        // What is before the last change is before this one too, when this one follows it.
        if !entry.change.checked_sub(1).is_some_and(|before| entry.deps.contains(&before)) {
            self.walk = Walk::default();
        }
        let mut draft = Draft {
            entry,
            made_keys: BTreeSet::new(),
            wrote: BTreeMap::new(),
            writes: Writes::default(),
            recent: None,
        };
        for (number, op) in (change.start_op..).zip(&change.ops) {
            self.op(&change, &mut draft, number, op)?;
        }
        draft.entry.wrote = draft.wrote.into_iter().collect();
        self.add.apply(&draft.entry);
        self.entries.push(draft.entry);
        let max_op = change.max_op();
        self.fresh.push(FreshChange {
            hash: change.hash,
            actor: change.actor,
            seq: change.seq,
            start_op: change.start_op,
            max_op,
            time: change.time,
            deps: change.deps,
            range,
        });
        Ok(None)
    }

    fn may_write(&mut self, actor: ActorId) -> Result<(), Rejected> {
        if actor.0 == genesis::ACTOR {
            return refuse(RejectCode::ForgedActor, "the actor of starting changes");
        }
        let install = actor.install();
        let answer = match self.asked {
            Some((asked, answer)) if asked == install => answer,
            _ => (self.may_write)(install),
        };
        self.asked = Some((install, answer));
        if answer { Ok(()) } else { refuse(RejectCode::ForgedActor, "") }
    }

    /// The place of a change in history: sequence number, ancestors, first operation number.
    fn place(&self, change: &Change<'_>, deps: Vec<u32>) -> Result<Entry, Rejected> {
        if deps.is_empty() {
            return refuse(RejectCode::Deps, "none, not even the starting change");
        }
        let known = self.actor(&change.actor);
        let last = known.map_or(0, |(_, row)| row.seq);
        if change.seq != last + 1 {
            return refuse(RejectCode::Sequence, format!("{} after {last}", change.seq));
        }
        if known.is_some_and(|(_, row)| !deps.contains(&row.last)) {
            return refuse(RejectCode::Deps, "the actor's previous change is left out");
        }
        let highest = deps.iter().filter_map(|d| self.change_row(*d)).map(|c| c.max_op).max().unwrap_or(0);
        if change.start_op != u64::from(highest) + 1 {
            return refuse(RejectCode::StartOp, format!("{} instead of {}", change.start_op, highest + 1));
        }
        let actors = self.base.actors.len() + self.add.actors.len();
        if known.is_none() && actors >= limits::DOC_ACTORS {
            return Err(over(RejectCode::TooManyActors, actors + 1, limits::DOC_ACTORS));
        }
        Ok(Entry {
            hash: change.hash,
            actor: known.map_or_else(|| number(actors), |(n, _)| n),
            new_actor: known.is_none().then_some(change.actor),
            start_op: u32::try_from(change.start_op).unwrap_or(u32::MAX),
            ops: number(change.ops.len()),
            deps,
            made: Vec::new(),
            wrote: Vec::new(),
            change: self.add.change_count(),
            object: self.add.object_count(),
        })
    }

    fn op(
        &mut self,
        change: &Change<'_>,
        draft: &mut Draft,
        op_number: u64,
        op: &Op<'_>,
    ) -> Result<(), Rejected> {
        let Obj::Map(map) = op.obj else { return refuse(RejectCode::RootWrite, "") };
        let parent = match draft.recent {
            Some((recent, n)) if recent == map => n,
            _ => self.resolve(change, draft, map)?,
        };
        draft.recent = Some((map, parent));
        let here = match parent.checked_sub(draft.entry.object) {
            Some(n) => draft.entry.made.get(at(n)).map(|m| (m.level, draft.entry.change, 0)),
            None => self.object(parent).map(|o| (o.level, o.made_in, o.wrote)),
        };
        let Some((level, made_in, wrote)) = here else { return refuse(RejectCode::UnknownObject, "") };
        if let (Some(spec), Action::Set(value)) = (level.wholes(), op.action) {
            return self.whole(change, draft, op_number, op, (parent, level, spec, value));
        }
        match (level, op.action) {
            (Level::Root, _) => refuse(RejectCode::RootWrite, ""),
            (Level::Whole, _) => refuse(RejectCode::UnknownObject, "a record in one value is no map"),
            (Level::Records(root), _) if root.single => {
                refuse(RejectCode::Key, format!("{} has its one record already", root.name))
            }
            (_, Action::MakeMap) if level.wholes().is_some() => {
                refuse(RejectCode::Action, "a map in the place of a record in one value")
            }
            (Level::Records(_) | Level::Inner(_), Action::MakeMap) => {
                let Some(key) = KeyCode::of(op.key) else {
                    return refuse(RejectCode::Key, format!("key of {} bytes", op.key.len()));
                };
                self.make(change, draft, op_number, op, (parent, key, level))
            }
            (_, Action::Drop) if !matches!(level, Level::Record(_)) => {
                refuse(RejectCode::Action, "a deletion")
            }
            (Level::Records(_) | Level::Inner(_), Action::Set(_) | Action::Drop) => {
                refuse(RejectCode::Action, "a value in the place of a record")
            }
            (Level::Record(spec), Action::MakeMap) => {
                if spec.inner.is_none_or(|(name, _)| name != op.key) {
                    return refuse(
                        RejectCode::Action,
                        format!("a map in the place of a field of a {}", spec.name),
                    );
                }
                if made_in != draft.entry.change {
                    return refuse(
                        RejectCode::Action,
                        format!("the inner map of a {} later than it", spec.name),
                    );
                }
                self.make(change, draft, op_number, op, (parent, KeyCode::INNER, level))
            }
            (Level::Record(spec), Action::Set(value)) => {
                let field = field(spec, op.key, value)?;
                self.write(change, draft, op, (parent, map, field, wrote), (op_number, Write::Set(op_number)))
            }
            (Level::Record(spec), Action::Drop) => {
                let field = field(spec, op.key, Value::Null)?;
                self.write(change, draft, op, (parent, map, field, wrote), (op_number, Write::Dropped))
            }
        }
    }

    /// A new record in one value.
    fn whole(
        &self,
        change: &Change<'_>,
        draft: &mut Draft,
        op_number: u64,
        op: &Op<'_>,
        (parent, level, spec, value): (u32, Level, &'static RecordSpec, Value<'_>),
    ) -> Result<(), Rejected> {
        let Some(key) = KeyCode::of(op.key) else {
            return refuse(RejectCode::Key, format!("key of {} bytes", op.key.len()));
        };
        match value {
            Value::Bytes(bytes) if whole::fits(bytes, spec) => {}
            Value::Bytes(_) => {
                return refuse(RejectCode::ValueRange, format!("a {} in one value", spec.name));
            }
            _ => return refuse(RejectCode::ValueType, format!("a {} in one value", spec.name)),
        }
        self.make(change, draft, op_number, op, (parent, key, level))
    }

    /// The number of a map that an operation names; its maker must be an ancestor.
    fn resolve(&mut self, change: &Change<'_>, draft: &Draft, map: OpRef) -> Result<u32, Rejected> {
        let unknown = || Rejected::new(RejectCode::UnknownObject, "");
        let counter = u32::try_from(map.counter).map_err(|_| unknown())?;
        if map.actor == 0 && map.counter >= change.start_op {
            let n = draft.entry.made.binary_search_by_key(&counter, |m| m.counter).map_err(|_| unknown())?;
            return Ok(draft.entry.object + number(n));
        }
        let actor = if map.actor == 0 {
            draft.entry.actor
        } else {
            self.actor(&change.actor_of(map).ok_or_else(unknown)?).ok_or_else(unknown)?.0
        };
        let op = (actor, counter);
        let object = *self.base.by_op.get(&op).or_else(|| self.add.by_op.get(&op)).ok_or_else(unknown)?;
        let made_in = self.object(object).ok_or_else(unknown)?.made_in;
        // Every change follows the starting change and the earlier changes of its own actor.
        if actor == 0 || actor == draft.entry.actor || self.is_ancestor(made_in, &draft.entry.deps)? {
            Ok(object)
        } else {
            refuse(RejectCode::UnknownObject, "made by a change that the author had not seen")
        }
    }

    /// Whether `target` is among `deps` or before them.
    fn is_ancestor(&mut self, target: u32, deps: &[u32]) -> Result<bool, Rejected> {
        let saw_everything =
            self.add.heads.len() <= deps.len() && self.add.heads.iter().all(|h| deps.contains(h));
        if saw_everything || deps.contains(&target) {
            return Ok(true);
        }
        let mut walk = core::mem::take(&mut self.walk);
        deps.iter().for_each(|d| walk.visit(*d));
        // Ancestors have lower numbers: nothing below the target can lead to it.
        while let Some(n) = walk.todo.peek().copied().filter(|n| *n >= target) {
            walk.todo.pop();
            self.steps_left = match self.steps_left.checked_sub(1) {
                Some(left) => left,
                None => return Err(over(RejectCode::TooMuchHistory, "steps", limits::WALK_STEPS)),
            };
            self.deps_of(n).iter().for_each(|d| walk.visit(*d));
        }
        let found = walk.seen.contains(&target);
        self.walk = walk;
        Ok(found)
    }

    fn make(
        &self,
        change: &Change<'_>,
        draft: &mut Draft,
        op_number: u64,
        op: &Op<'_>,
        (parent, key, level): (u32, KeyCode, Level),
    ) -> Result<(), Rejected> {
        if self.has_child(parent, key) || !draft.made_keys.insert((parent, key)) {
            return refuse(RejectCode::SecondMap, "");
        }
        if !change.preds(op).is_empty() {
            return refuse(RejectCode::Pred, "of a new map");
        }
        let Some(level) = level.child(key) else { return refuse(RejectCode::Key, "") };
        let counter = u32::try_from(op_number).unwrap_or(u32::MAX);
        draft.entry.made.push(Made { counter, parent, key, level });
        Ok(())
    }

    fn write(
        &mut self,
        change: &Change<'_>,
        draft: &mut Draft,
        op: &Op<'_>,
        (object, map, field, wrote): (u32, OpRef, &'static str, u64),
        (op_number, how): (u64, Write),
    ) -> Result<(), Rejected> {
        let bit = field_bit(field);
        let own = draft.wrote.entry(object).or_default();
        let preds = change.preds(op);
        let before = if *own & bit == 0 { None } else { draft.writes.last(object, field) };
        *own |= bit;
        draft.writes.note(object, field, how);
        if let Some(Write::Set(counter)) = before {
            // A second write within one change replaces the first and nothing else.
            let right = how != Write::Dropped && preds == [OpRef { counter, actor: 0 }];
            return if right { Ok(()) } else { refuse(RejectCode::Pred, field) };
        }
        if wrote & bit == 0 {
            // Nobody has written it, so that nothing can be replaced.
            return if preds.is_empty() { Ok(()) } else { refuse(RejectCode::Pred, field) };
        }
        let full = |r: OpRef| change.actor_of(r).map(|a| (r.counter, a));
        let obj = full(map).ok_or_else(|| Rejected::new(RejectCode::UnknownObject, ""))?;
        let preds = preds.iter().filter_map(|p| full(*p)).collect();
        self.checks.push(Check {
            change: self.fresh.len(),
            op: op_number,
            obj,
            key: field,
            preds,
            drops: how == Write::Dropped,
        });
        Ok(())
    }
}

/// The field of that name, if it may hold the value; nothing may always stand there.
fn field(spec: &'static RecordSpec, name: &str, value: Value<'_>) -> Result<&'static str, Rejected> {
    if spec.inner.is_some_and(|(inner, _)| inner == name) {
        return refuse(
            RejectCode::Action,
            format!("a value in the place of the inner map of a {}", spec.name),
        );
    }
    let Some((_, field)) = spec.field(name) else {
        let plain = name.len() <= 24 && name.bytes().all(|b| b.is_ascii_lowercase() || b == b'_');
        let name = if plain { name } else { "odd name" };
        return refuse(RejectCode::UnknownField, format!("{name} of a {}", spec.name));
    };
    match admits(field.kind, value) {
        Some(true) => Ok(field.name),
        Some(false) => refuse(RejectCode::ValueRange, format!("{} of a {}", field.name, spec.name)),
        None => refuse(RejectCode::ValueType, format!("{} of a {}", field.name, spec.name)),
    }
}

/// [`FieldKind::judges`] for a value of a change; nothing may always stand in a field.
pub(super) fn admits(kind: FieldKind, value: Value<'_>) -> Option<bool> {
    let value = match value {
        Value::Null => return Some(true),
        Value::Bool(b) => ScalarRef::Bool(b),
        Value::Int(n) => ScalarRef::Int(n),
        Value::Text(t) => ScalarRef::Text(t),
        Value::Bytes(b) => ScalarRef::Bytes(b),
        Value::Time(ms) => ScalarRef::Time(ms),
    };
    kind.judges(value)
}
