//! From a command to one change of the document.

use automerge::transaction::{CommitOptions, Transactable, Transaction};
use automerge::{Automerge, AutomergeError, ObjId, ObjType, ReadDoc as _, ScalarValue};

use super::{Command, Scene, WorkOf};
use crate::base::id::ChangeHash;
use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::doc::open::{DocError, Document};
use crate::doc::place::Place;
use crate::doc::problem::{Code, Problem};
use crate::doc::read::stored;
use crate::model::any::AnyRecord;
use crate::model::name::Kind;
use crate::model::plan::Prescription;
use crate::model::spec::{Field, GONE, Record as _, Scalar};

/// Why a command was not applied. In either case nothing was written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CommandError {
    /// It has problems; all of them are listed.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Problems(Vec<Problem>),
    /// The document could not be written: drop it and open it again.
    #[error(transparent)]
    Document(#[from] DocError),
}

enum Op {
    Make(Place, AnyRecord),
    Put(Place, &'static str, Option<Scalar>),
}

impl Document {
    /// Checks a command and applies it as one change, in the name of the actor set by
    /// [`Document::write_as`]. The change is in memory only: store
    /// [`Document::changes_since`] before saying "saved".
    ///
    /// # Errors
    /// The list of problems, or the document's refusal. Nothing is written then.
    pub fn apply(&mut self, command: &Command, scene: &Scene<'_>) -> Result<ChangeHash, CommandError> {
        let problems = self.problems(command, scene);
        if !problems.is_empty() {
            return Err(CommandError::Problems(problems));
        }
        let ops = ops(command, scene.now);
        let kind = self.name().kind();
        match self.guarded(|auto| write(auto, kind, &ops, scene.now))? {
            Some(hash) => Ok(ChangeHash(hash.0)),
            // Such as bringing back what was never withdrawn: a problem, not a broken document.
            None => Err(CommandError::Problems(vec![nothing_changed(&ops)])),
        }
    }
}

fn ops(command: &Command, now: Moment) -> Vec<Op> {
    let session_place = |key| Place::of("sessions", key);
    match command {
        Command::Add(news) => news.iter().map(|n| Op::Make(n.place.clone(), n.record.clone())).collect(),
        Command::Edit { place, from, to } => {
            let puts = differing(&from.fields(), &to.fields()).into_iter();
            puts.map(|(name, value)| Op::Put(place.clone(), name, value)).collect()
        }
        Command::Withdraw(places) => {
            places.iter().map(|p| Op::Put(p.clone(), GONE.name, Some(Scalar::Time(now.0)))).collect()
        }
        Command::Restore(places) => places.iter().map(|p| Op::Put(p.clone(), GONE.name, None)).collect(),
        Command::Pick { place, field, value } => vec![Op::Put(place.clone(), field, value.clone())],
        Command::LogSet { session, work, key, set } => {
            let session = session_place(session);
            let set = AnyRecord::SetDone(set.clone());
            match work {
                WorkOf::Open(work) => vec![Op::Make(session.inner(work).inner(key), set)],
                WorkOf::New(work_key, work) => {
                    let place = session.inner(work_key);
                    vec![
                        Op::Make(place.clone(), AnyRecord::Work(work.clone())),
                        Op::Make(place.inner(key), set),
                    ]
                }
            }
        }
        Command::Skip { session, key, work } => {
            vec![Op::Make(session_place(session).inner(key), AnyRecord::Work(work.clone()))]
        }
        Command::CorrectSet { session, work, key, set, .. } => {
            let place = session_place(session).inner(work).inner(key);
            vec![Op::Make(place, AnyRecord::SetDone(set.clone()))]
        }
        Command::Close { session, ended, minutes, effort, comment } => {
            let place = session_place(session);
            let mut ops = vec![Op::Put(place.clone(), "ended", Some(Scalar::Time(ended.0)))];
            let mut put = |field, value: Option<Scalar>| {
                if value.is_some() {
                    ops.push(Op::Put(place.clone(), field, value));
                }
            };
            put("minutes", minutes.as_ref().map(Field::to_scalar));
            put("effort", effort.as_ref().map(Field::to_scalar));
            put("comment", comment.as_ref().map(Field::to_scalar));
            ops
        }
        Command::Decide { item, from, to, key, decision } => {
            let mut ops = rewrite(item, from, to);
            ops.push(Op::Make(Place::of("decisions", key), AnyRecord::Decision(decision.clone())));
            ops
        }
        Command::Undecide { item, from, to, key } => {
            let mut ops = rewrite(item, from, to);
            ops.push(Op::Put(Place::of("decisions", key), GONE.name, Some(Scalar::Time(now.0))));
            ops
        }
    }
}

fn rewrite(item: &Key, from: &Prescription, to: &Prescription) -> Vec<Op> {
    let place = Place::of("items", item);
    let puts = differing(&from.fields(), &to.fields()).into_iter();
    puts.map(|(name, value)| Op::Put(place.clone(), name, value)).collect()
}

/// What differs between two states of a record: the field and its new value, `None` to clear it.
pub(super) fn differing(
    old: &[(&'static str, Scalar)],
    new: &[(&'static str, Scalar)],
) -> Vec<(&'static str, Option<Scalar>)> {
    let changed = new.iter().filter(|f| !old.contains(f)).map(|(n, v)| (*n, Some(v.clone())));
    let cleared = old.iter().filter(|(n, _)| !new.iter().any(|(m, _)| m == n)).map(|(n, _)| (*n, None));
    changed.chain(cleared).collect()
}

fn nothing_changed(ops: &[Op]) -> Problem {
    let place = ops.first().map_or(String::new(), |op| match op {
        Op::Make(place, _) | Op::Put(place, ..) => place.to_string(),
    });
    Problem { place, field: "", code: Code::NoChange, text: "nothing differs".to_owned() }
}

/// One change of all operations; `None` when they come to nothing.
fn write(
    auto: &mut Automerge,
    kind: Kind,
    ops: &[Op],
    now: Moment,
) -> Result<Option<automerge::ChangeHash>, String> {
    let mut tx = auto.transaction();
    let outcome: Result<(), String> = ops.iter().try_for_each(|op| match op {
        Op::Make(place, record) => {
            let (map, key) = place
                .holder(&tx, kind)
                .zip(place.keys.last())
                .ok_or_else(|| format!("{place} has no map to stand in"))?;
            let obj = tx.put_object(&map, key.as_str(), ObjType::Map).map_err(|e| e.to_string())?;
            for (name, value) in record.fields() {
                tx.put(&obj, name, stored(&value)).map_err(|e| e.to_string())?;
            }
            if let Some((inner, _)) = record.spec().inner {
                tx.put_object(&obj, inner, ObjType::Map).map_err(|e| e.to_string())?;
            }
            Ok(())
        }
        Op::Put(place, field, value) => {
            let obj = place.find(&tx, kind).ok_or_else(|| format!("there is no record {place}"))?;
            let value = value.as_ref().map_or(ScalarValue::Null, stored);
            put(&mut tx, &obj, field, value).map_err(|e| e.to_string())
        }
    });
    if let Err(why) = outcome {
        tx.rollback();
        return Err(why);
    }
    let (hash, _) = tx.commit_with(CommitOptions::default().with_time(now.seconds()));
    Ok(hash)
}

/// Writes a value. Where edits met and the value is the one that the engine ranks first, it would
/// write deletions of the others instead, which no gate lets through: then another of the values
/// is written first, so that the value is written anew and stands in the place of all.
fn put(tx: &mut Transaction<'_>, obj: &ObjId, field: &str, value: ScalarValue) -> Result<(), AutomergeError> {
    let met = tx.get_all(obj, field)?;
    let mut told = met.iter().rev().filter_map(|(v, _)| v.as_scalar());
    if met.len() > 1 && told.next() == Some(&value) {
        match told.find(|other| **other != value) {
            Some(other) => tx.put(obj, field, other.clone())?,
            // All say the same, and so does this.
            None => return Ok(()),
        }
    }
    tx.put(obj, field, value)
}
