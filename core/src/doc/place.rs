//! Where a record stands in a document, and how to find it.

use automerge::{ObjId, ObjType, ReadDoc, Value};
use core::fmt;

use crate::base::key::Key;
use crate::model::any::root;
use crate::model::name::Kind;
use crate::model::spec::RecordSpec;

/// The place of a record: a map at the root, then keys, outermost first.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// The map at the root.
    pub root: &'static str,
    /// The record in it, then the record inside that one, and so on. Never empty.
    pub keys: Vec<Key>,
}

impl Place {
    /// A record of a root map.
    #[must_use]
    pub fn of(root: &'static str, key: &Key) -> Place {
        Place { root, keys: vec![key.clone()] }
    }

    /// The one record of a root map that holds just one.
    #[must_use]
    pub fn main(root: &'static str) -> Place {
        Place { root, keys: vec![Key::main()] }
    }

    /// A record inside this one.
    #[must_use]
    pub fn inner(&self, key: &Key) -> Place {
        let mut keys = self.keys.clone();
        keys.push(key.clone());
        Place { root: self.root, keys }
    }

    /// The description of records here, when the kind of document has such a place.
    #[must_use]
    pub fn spec(&self, kind: Kind) -> Option<&'static RecordSpec> {
        let mut spec = root(kind, self.root)?.record;
        for _ in self.keys.iter().skip(1) {
            spec = spec.inner?.1;
        }
        (!self.keys.is_empty()).then_some(spec)
    }

    /// The map object that holds the record, when it exists.
    pub(super) fn holder(&self, doc: &impl ReadDoc, kind: Kind) -> Option<ObjId> {
        let mut spec = root(kind, self.root)?.record;
        let mut map = object(doc, &automerge::ROOT, self.root)?;
        let (_, above) = self.keys.split_last()?;
        for key in above {
            let record = object(doc, &map, key.as_str())?;
            let (inner, inner_spec) = spec.inner?;
            map = object(doc, &record, inner)?;
            spec = inner_spec;
        }
        Some(map)
    }

    /// Whether there is such a record.
    pub(super) fn exists(&self, doc: &impl ReadDoc, kind: Kind) -> bool {
        let there = |map: ObjId| doc.get(&map, self.keys.last()?.as_str()).ok().flatten();
        let found = self.holder(doc, kind).and_then(there);
        match found {
            Some((Value::Object(ObjType::Map), _)) => true,
            Some((Value::Scalar(_), _)) => self.spec(kind).is_some_and(|s| s.whole),
            _ => false,
        }
    }

    /// The map of the record itself, when it exists and is one.
    pub(super) fn find(&self, doc: &impl ReadDoc, kind: Kind) -> Option<ObjId> {
        object(doc, &self.holder(doc, kind)?, self.keys.last()?.as_str())
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.root)?;
        self.keys.iter().try_for_each(|k| write!(f, "/{k}"))
    }
}

pub(super) fn object(doc: &impl ReadDoc, map: &ObjId, key: &str) -> Option<ObjId> {
    match doc.get(map, key) {
        Ok(Some((Value::Object(ObjType::Map), id))) => Some(id),
        _ => None,
    }
}
