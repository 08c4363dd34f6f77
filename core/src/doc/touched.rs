//! Which records changes write into, told by the changes and the few maps that they name: a reader
//! that follows a document looks at those and leaves the others as it read them before.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::{ObjId, Prop, ReadDoc};

use super::chunk::{self, Action, Obj};
use super::open::Document;
use super::place::object;
use crate::base::id::ActorId;
use crate::base::key::Key;
use crate::model::any::{root, roots};

/// Records of root maps, by the root's name. What is inside of a record counts as the record.
pub type Touched = BTreeMap<&'static str, BTreeSet<Key>>;

/// Keys under which plain change chunks write, of records at any depth: what was not acknowledged yet of
/// a session, set by set. `None` when the chunks cannot be read.
#[must_use]
pub fn keys_in(changes: &[u8]) -> Option<BTreeSet<Key>> {
    let mut keys = BTreeSet::new();
    for bytes in chunk::split_up_to(changes, usize::MAX).ok()? {
        let change = chunk::parse(bytes).ok()?;
        keys.extend(change.ops.iter().filter_map(|op| op.key.parse::<Key>().ok()));
    }
    Some(keys)
}

/// Where a map stands.
#[derive(Debug, Clone)]
enum Place {
    /// It is a root map.
    Root(&'static str),
    /// It is a record of one, or inside of one.
    Record(&'static str, Key),
}

impl Document {
    /// The records in which `changes` write. They are plain change chunks that this document holds.
    /// `None` when one of them cannot be placed: then everything has to be read.
    #[must_use]
    pub fn touched(&self, changes: &[u8]) -> Option<Touched> {
        // The document library gives up when a map of its own is not there.
        catch_unwind(AssertUnwindSafe(|| self.place_all(changes))).ok().flatten()
    }

    /// All records of root maps, withdrawn and unreadable ones included.
    #[must_use]
    pub fn all_records(&self) -> Touched {
        let of = |name| {
            let map = object(&self.auto, &automerge::ROOT, name)?;
            let keys: BTreeSet<Key> = self.auto.keys(&map).filter_map(|key| key.parse().ok()).collect();
            (!keys.is_empty()).then_some((name, keys))
        };
        roots(self.name().kind()).iter().filter_map(|root| of(root.name)).collect()
    }

    fn place_all(&self, changes: &[u8]) -> Option<Touched> {
        let mut touched = Touched::new();
        let mut maps: HashMap<(ActorId, u64), Place> = HashMap::new();
        for bytes in chunk::split_up_to(changes, usize::MAX).ok()? {
            let change = chunk::parse(bytes).ok()?;
            for (number, op) in (change.start_op..).zip(&change.ops) {
                let Obj::Map(made) = op.obj else { return None };
                let id = (change.actor_of(made)?, made.counter);
                let place = match maps.get(&id) {
                    Some(place) => place.clone(),
                    None => {
                        let place = self.place_of(id)?;
                        maps.insert(id, place.clone());
                        place
                    }
                };
                let (root, key) = match place {
                    Place::Root(root) => (root, op.key.parse().ok()?),
                    Place::Record(root, key) => (root, key),
                };
                if matches!(op.action, Action::MakeMap) {
                    maps.insert((change.actor, number), Place::Record(root, key.clone()));
                }
                touched.entry(root).or_default().insert(key);
            }
        }
        Some(touched)
    }

    fn place_of(&self, (actor, counter): (ActorId, u64)) -> Option<Place> {
        let id = ObjId::Id(counter, automerge::ActorId::from(actor.0), 0);
        let mut path = self.auto.parents(&id).ok()?.path().into_iter().map(|(_, prop)| prop);
        let Some(Prop::Map(name)) = path.next() else { return None };
        let name = root(self.name().kind(), &name)?.name;
        match path.next() {
            None => Some(Place::Root(name)),
            Some(Prop::Map(key)) => Some(Place::Record(name, key.parse().ok()?)),
            Some(Prop::Seq(_)) => None,
        }
    }
}
