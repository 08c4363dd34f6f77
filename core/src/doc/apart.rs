//! New records read from the changes that make them, without the document that they are for: to open
//! a month's log for one more session costs more than all that follows from the session.

use std::collections::HashMap;
use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::transaction::Transactable;
use automerge::{ObjId, ObjType, ScalarValue};

use super::chunk::{self, Action, Change, Obj, Op, OpRef, Value};
use super::open::Document;
use super::place::object;
use super::touched::Touched;
use crate::base::id::ActorId;
use crate::model::any::roots;
use crate::model::name::DocName;

/// An operation: who made it, and its number.
type OpId = (ActorId, u64);

impl Document {
    /// A document that holds nothing but what `changes` make, and which records these are. They are
    /// plain change chunks, each after those on which it builds.
    ///
    /// `None` when they do anything but make whole new records: change one that was there, for
    /// instance, or when two of them met. Whether the document holds a record of the same key already
    /// is for the caller to know: what is read here is not all of it then.
    #[must_use]
    pub fn of_new_records(name: DocName, changes: &[u8]) -> Option<(Document, Touched)> {
        catch_unwind(AssertUnwindSafe(|| make(name, changes))).ok().flatten()
    }
}

fn make(name: DocName, changes: &[u8]) -> Option<(Document, Touched)> {
    let mut doc = Document::create(name).ok()?;
    let mut touched = Touched::new();
    // Maps by the operation that made them, and what stands at their keys.
    let (mut maps, mut stands) = (HashMap::new(), HashMap::new());
    let mut tops = HashMap::new();
    for root in roots(name.kind()) {
        let map = object(&doc.auto, &automerge::ROOT, root.name)?;
        let id = id_of(&map)?;
        maps.insert(id, map);
        tops.insert(id, root.name);
    }
    let mut tx = doc.auto.transaction();
    for bytes in chunk::split_up_to(changes, usize::MAX).ok()? {
        let change = chunk::parse(bytes).ok()?;
        for (number, op) in (change.start_op..).zip(&change.ops) {
            let Obj::Map(map) = op.obj else { return None };
            let map = named(&change, map)?;
            let obj = maps.get(&map)?.clone();
            // It replaces what stands there and nothing else; a record is made once.
            let before = stands.insert((map, op.key), (change.actor, number));
            let replaced: Vec<OpId> =
                change.preds(op).iter().map(|p| named(&change, *p)).collect::<Option<_>>()?;
            if !replaced.iter().eq(before.iter()) {
                return None;
            }
            if let Some(root) = tops.get(&map)
                && !touched.entry(*root).or_default().insert(op.key.parse().ok()?)
            {
                return None;
            }
            if let Some(made) = write(&mut tx, &obj, op)? {
                maps.insert((change.actor, number), made);
            }
        }
    }
    tx.commit();
    Some((doc, touched))
}

fn id_of(map: &ObjId) -> Option<OpId> {
    match map {
        ObjId::Id(number, actor, _) => Some((ActorId(actor.to_bytes().try_into().ok()?), *number)),
        ObjId::Root => None,
    }
}

fn named(change: &Change<'_>, op: OpRef) -> Option<OpId> {
    Some((change.actor_of(op)?, op.counter))
}

/// Writes one operation; the map that it made, if it made one. `None` when it removes something.
fn write(tx: &mut impl Transactable, obj: &ObjId, op: &Op<'_>) -> Option<Option<ObjId>> {
    let value = match op.action {
        Action::MakeMap => return tx.put_object(obj, op.key, ObjType::Map).ok().map(Some),
        Action::Drop => return None,
        Action::Set(Value::Null) => ScalarValue::Null,
        Action::Set(Value::Bool(yes)) => ScalarValue::Boolean(yes),
        Action::Set(Value::Int(n)) => ScalarValue::Int(n),
        Action::Set(Value::Text(text)) => ScalarValue::Str(text.into()),
        Action::Set(Value::Bytes(bytes)) => ScalarValue::Bytes(bytes.to_vec()),
        Action::Set(Value::Time(ms)) => ScalarValue::Timestamp(ms),
    };
    tx.put(obj, op.key, value).ok()?;
    Some(None)
}
