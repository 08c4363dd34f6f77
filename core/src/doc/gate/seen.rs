//! What the author of each change saw in a field: the values in the document before the upload, and
//! the writes of the upload that came before the change. Nothing is applied for it.

use std::collections::{HashMap, HashSet};

use automerge::{Automerge, ChangeHash as EngineHash, ObjId, ReadDoc as _};

use super::limits;
use super::merge::engine;
use super::reject::{RejectCode, Rejected, over};
use super::{Accepted, Check};
use crate::base::id::{ActorId, ChangeHash};
use crate::doc::chunk::{self, Action, Obj};

/// The full name of an operation.
type OpId = (u64, ActorId);

/// A write of the upload to one field.
struct Write {
    change: usize,
    id: OpId,
    sets: bool,
    preds: Vec<OpId>,
}

/// The writes of the upload to the fields that are in question, in order, by map and field.
type Writes = HashMap<OpId, Vec<(&'static str, Vec<Write>)>>;

/// What comes before one change: changes of the upload, and the document's changes that they follow.
struct Before {
    upload: HashSet<usize>,
    document: Vec<EngineHash>,
}

/// What may still be spent on looking back.
struct Steps(usize);

impl Steps {
    fn spend(&mut self, n: usize) -> Result<(), Rejected> {
        let left = self.0.checked_sub(n);
        self.0 = left.ok_or_else(|| over(RejectCode::TooMuchHistory, "steps", limits::WALK_STEPS))?;
        Ok(())
    }
}

/// Checks every write whose predecessors the index could not confirm.
pub(super) fn all(doc: &Automerge, accepted: &Accepted, upload: &[u8]) -> Result<(), Rejected> {
    let (writes, made) = read(accepted, upload)?;
    let numbers: HashMap<ChangeHash, usize> =
        accepted.fresh.iter().enumerate().map(|(n, f)| (f.hash, n)).collect();
    let mut before: Option<(usize, Before)> = None;
    let mut steps = Steps(limits::WALK_STEPS);
    for check in &accepted.checks {
        let known = match before.take() {
            Some((change, b)) if change == check.change => b,
            _ => ancestors(accepted, &numbers, check.change, &mut steps)?,
        };
        let mut seen = if made.contains(&check.obj) { Vec::new() } else { in_document(doc, check, &known)? };
        let of = writes.get(&check.obj).and_then(|fields| fields.iter().find(|(key, _)| *key == check.key));
        for write in of.map_or(&[][..], |(_, writes)| writes) {
            steps.spend(1 + seen.len())?;
            let same = write.change == check.change && write.id.0 < check.op;
            if same || known.upload.contains(&write.change) {
                seen.retain(|id| !write.preds.contains(id));
                if write.sets {
                    seen.push(write.id);
                }
            }
        }
        seen.sort_unstable();
        if check.drops {
            // The value that is shown stays: the highest.
            seen.pop();
        }
        if seen != check.preds {
            let hash = accepted.fresh.get(check.change).map(|f| f.hash);
            return Err(Rejected::new(RejectCode::Pred, check.key).in_change(check.change, hash));
        }
        before = Some((check.change, known));
    }
    Ok(())
}

/// The writes in question, and the maps that the upload makes.
fn read(accepted: &Accepted, upload: &[u8]) -> Result<(Writes, HashSet<OpId>), Rejected> {
    let mut writes = Writes::new();
    for check in &accepted.checks {
        let fields = writes.entry(check.obj).or_default();
        if !fields.iter().any(|(key, _)| *key == check.key) {
            fields.push((check.key, Vec::new()));
        }
    }
    let mut made = HashSet::new();
    for (number, (fresh, chunk)) in accepted.fresh.iter().zip(accepted.chunks(upload)).enumerate() {
        let change = chunk::parse(chunk)?;
        // Another upload than the checked one would be merged unchecked.
        if change.hash != fresh.hash {
            return Err(Rejected::new(RejectCode::Stale, "upload"));
        }
        let full = |op: chunk::OpRef| change.actor_of(op).map(|actor| (op.counter, actor));
        for (counter, op) in (change.start_op..).zip(&change.ops) {
            let id = (counter, change.actor);
            if op.action == Action::MakeMap {
                made.insert(id);
                continue;
            }
            let Obj::Map(map) = op.obj else { continue };
            let Some(fields) = full(map).and_then(|obj| writes.get_mut(&obj)) else { continue };
            if let Some((_, list)) = fields.iter_mut().find(|(key, _)| *key == op.key) {
                let preds = change.preds(op).iter().filter_map(|p| full(*p)).collect();
                list.push(Write { change: number, id, sets: op.action != Action::Drop, preds });
            }
        }
    }
    Ok((writes, made))
}

fn ancestors(
    accepted: &Accepted,
    numbers: &HashMap<ChangeHash, usize>,
    change: usize,
    steps: &mut Steps,
) -> Result<Before, Rejected> {
    let mut before = Before { upload: HashSet::new(), document: Vec::new() };
    let mut todo = vec![change];
    while let Some(n) = todo.pop() {
        steps.spend(1)?;
        for dep in accepted.fresh.get(n).map_or(&[][..], |f| &f.deps) {
            match numbers.get(dep) {
                Some(n) if before.upload.insert(*n) => todo.push(*n),
                Some(_) => {}
                None => before.document.push(EngineHash(dep.0)),
            }
        }
    }
    before.document.sort_unstable();
    before.document.dedup();
    Ok(before)
}

fn in_document(doc: &Automerge, check: &Check, before: &Before) -> Result<Vec<OpId>, Rejected> {
    let (counter, actor) = check.obj;
    let map = ObjId::Id(counter, automerge::ActorId::from(actor.0), 0);
    let found = doc.get_all_at(&map, check.key, &before.document).map_err(engine)?;
    let odd = || Rejected::new(RejectCode::Pred, check.key);
    let id = |id| {
        let ObjId::Id(counter, actor, _) = id else { return Err(odd()) };
        Ok((counter, ActorId(<[u8; 16]>::try_from(actor.to_bytes()).map_err(|_| odd())?)))
    };
    found.into_iter().map(|(_, found)| id(found)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looking_back_ends_when_its_steps_are_spent() {
        let mut steps = Steps(5);
        assert_eq!([steps.spend(2), steps.spend(3)], [Ok(()), Ok(())]);
        assert_eq!(steps.spend(1).map_err(|r| r.code), Err(RejectCode::TooMuchHistory));
    }
}
