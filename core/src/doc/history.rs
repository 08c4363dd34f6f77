//! Everything that was ever written in a document, in the order of its changes: who, when, where and
//! what, earlier values included. Reads the chunks themselves; knows no document engine.

use std::collections::HashMap;

use super::chunk::{self, Action, Obj, Value};
use super::gate::reject::Rejected;
use super::open::Document;
use crate::base::id::{ActorId, ChangeHash};
use crate::base::moment::Moment;
use crate::model::spec::Scalar;

/// One value that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The change.
    pub change: ChangeHash,
    /// Who made it: an install and one start of it.
    pub by: ActorId,
    /// When, by the writer's clock.
    pub at: Moment,
    /// Where: root map, keys, field, with slashes between.
    pub path: String,
    /// What; none when the field was cleared.
    pub value: Option<Scalar>,
}

impl Document {
    /// Everything that was ever written, oldest first.
    ///
    /// # Errors
    /// When a change cannot be read.
    pub fn history(&self) -> Result<Vec<Written>, Rejected> {
        let changes = self.changes_since(&[]);
        let mut maps: HashMap<(ActorId, u64), String> = HashMap::new();
        let mut all = Vec::new();
        for piece in chunk::split_up_to(&changes, usize::MAX)? {
            let change = chunk::parse(piece)?;
            for (op, number) in change.ops.iter().zip(change.start_op..) {
                let above = match op.obj {
                    Obj::Root => Some(""),
                    Obj::Map(made) => change
                        .actor_of(made)
                        .and_then(|actor| maps.get(&(actor, made.counter)))
                        .map(String::as_str),
                };
                // The gate lets no change through that works in a map which is not there.
                let Some(above) = above else { continue };
                let path = if above.is_empty() { op.key.to_owned() } else { format!("{above}/{}", op.key) };
                let value = match op.action {
                    Action::MakeMap => {
                        maps.insert((change.actor, number), path);
                        continue;
                    }
                    Action::Drop => continue,
                    Action::Set(value) => value,
                };
                all.push(Written {
                    change: change.hash,
                    by: change.actor,
                    at: Moment(change.time.saturating_mul(1000)),
                    path,
                    value: scalar(value),
                });
            }
        }
        Ok(all)
    }
}

fn scalar(value: Value<'_>) -> Option<Scalar> {
    match value {
        Value::Null => None,
        Value::Bool(b) => Some(Scalar::Bool(b)),
        Value::Int(n) => Some(Scalar::Int(n)),
        Value::Text(t) => Some(Scalar::Text(t.to_owned())),
        Value::Bytes(b) => Some(Scalar::Bytes(b.to_vec())),
        Value::Time(ms) => Some(Scalar::Time(ms)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::day::Month;
    use crate::base::id::{InstallId, PersonId};
    use crate::base::key::KeyMint;
    use crate::doc::command::{Command, New, Scene};
    use crate::doc::place::Place;
    use crate::model::log::{CheckIn, Comment};
    use crate::model::name::DocName;
    use crate::model::number::{Rating, Text};
    use uuid::Uuid;

    #[test]
    fn earlier_values_are_there_with_who_and_when() {
        let person = PersonId(Uuid::from_u128(1));
        let name = DocName::Log(person, Month::new(2026, 11).unwrap());
        let mut doc = Document::create(name).unwrap();
        let actor = ActorId::of(InstallId([3; 8]), [4; 8]);
        doc.write_as(actor);
        let now = Moment(1_795_600_800_000);
        let scene = Scene { now, exercises: None };
        let mut mint = KeyMint::new([1, 2, 3, 4]);
        let place = Place::of("checkins", &mint.mint());
        let first =
            CheckIn { sleep: Rating::new(3).ok(), ..CheckIn::new("2026-11-25".parse().unwrap(), now) };
        let then = CheckIn { sleep: Rating::new(5).ok(), ..first.clone() };
        let add = Command::Add(vec![New { place: place.clone(), record: first.clone().into() }]);
        doc.apply(&add, &scene).unwrap();
        let edit = Command::Edit { place: place.clone(), from: first.into(), to: then.into() };
        let hash = doc.apply(&edit, &scene).unwrap();
        let comment = Comment::new(now, person, Text::new("good night").unwrap());
        let add =
            Command::Add(vec![New { place: Place::of("comments", &mint.mint()), record: comment.into() }]);
        doc.apply(&add, &scene).unwrap();
        let all = doc.history().unwrap();
        let sleep: Vec<_> = all.iter().filter(|w| w.path == format!("{place}/sleep")).collect();
        assert_eq!(
            sleep.iter().map(|w| w.value.clone().unwrap()).collect::<Vec<_>>(),
            [Scalar::Int(3), Scalar::Int(5)]
        );
        assert_eq!((sleep[1].change, sleep[1].by, sleep[1].at), (hash, actor, now));
        assert!(all.iter().any(|w| w.value == Some(Scalar::Text("good night".into()))));
        let again = Document::open(name, &doc.save()).unwrap();
        assert_eq!(again.history().unwrap(), all);
    }
}
