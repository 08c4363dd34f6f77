//! Readers of documents. They tolerate one bad record at a time, show withdrawn records as
//! withdrawn, and show every field at which two edits met.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use automerge::iter::{DocItem, MapRangeItem};
use automerge::{ObjId, ReadDoc, ScalarValueRef, ValueRef};

use super::open::Document;
use super::place::{Place, object};
use crate::base::id::ActorId;
use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::model::any::root;
use crate::model::spec::{GONE, Record, RecordSpec, Scalar};
use crate::model::whole;

/// A record as it stands in a document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry<R> {
    /// Where.
    pub place: Place,
    /// The record.
    pub record: R,
    /// When it was withdrawn, if it was. It stays readable.
    pub gone: Option<Moment>,
    /// Fields that hold something this version does not understand; they are left as they are.
    pub unread: Vec<&'static str>,
    /// Fields at which two edits met.
    pub met: Vec<Met>,
}

impl<R> Entry<R> {
    /// Its key.
    #[must_use]
    pub fn key(&self) -> Key {
        self.place.keys.last().cloned().unwrap_or_else(Key::main)
    }

    /// Whether it counts: not withdrawn.
    #[must_use]
    pub const fn live(&self) -> bool {
        self.gone.is_none()
    }
}

/// A field that two people (or one person's two devices) changed without knowing of each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Met {
    /// The record.
    pub place: Place,
    /// The field.
    pub field: &'static str,
    /// Every value, the one shown meanwhile first.
    pub told: Vec<Told>,
}

/// One of the values that met.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// The value; `None` when that edit cleared the field.
    pub value: Option<Scalar>,
    /// Which start of which install wrote it.
    pub by: ActorId,
    /// When, by that device's clock, to the second.
    pub at: Moment,
}

/// A record that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unreadable {
    /// Where.
    pub place: Place,
    /// The required field that is missing or not understood.
    pub field: &'static str,
}

/// What reading a map of records gives: what could be read, and what could not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Read<R> {
    /// Readable records, by key, withdrawn ones included.
    pub entries: Vec<Entry<R>>,
    /// The others.
    pub unreadable: Vec<Unreadable>,
}

impl<R> Default for Read<R> {
    fn default() -> Self {
        Read { entries: Vec::new(), unreadable: Vec::new() }
    }
}

impl<R> Read<R> {
    /// Records that are not withdrawn.
    pub fn live(&self) -> impl Iterator<Item = &Entry<R>> {
        self.entries.iter().filter(|e| e.live())
    }
}

impl Document {
    /// All records of a root map. Empty when the kind of document has no such map of such records.
    #[must_use]
    pub fn records<R: Record>(&self, root_name: &'static str) -> Read<R> {
        self.records_if(root_name, None)
    }

    /// Records of a root map of which some value of a text field is wanted. Where edits met, a
    /// record is given whatever its values: look at what it reads as.
    #[must_use]
    pub fn records_with<R: Record>(
        &self,
        root_name: &'static str,
        field: &'static str,
        wanted: &dyn Fn(&str) -> bool,
    ) -> Read<R> {
        self.records_if(root_name, Some((field, wanted)))
    }

    fn records_if<R: Record>(&self, root_name: &'static str, wanted: Option<Wanted<'_>>) -> Read<R> {
        let fits = root(self.name().kind(), root_name).is_some_and(|r| core::ptr::eq(r.record, R::SPEC));
        match object(&self.auto, &automerge::ROOT, root_name) {
            Some(map) if fits => self.read_map(&map, root_name, &[], wanted),
            _ => Read::default(),
        }
    }

    /// All records inside a record.
    #[must_use]
    pub fn inner_records<R: Record>(&self, outer: &Place) -> Read<R> {
        let kind = self.name().kind();
        let Some((inner, spec)) = outer.spec(kind).and_then(|s| s.inner) else { return Read::default() };
        if !core::ptr::eq(spec, R::SPEC) {
            return Read::default();
        }
        match outer.find(&self.auto, kind).and_then(|obj| object(&self.auto, &obj, inner)) {
            Some(map) => self.read_map(&map, outer.root, &outer.keys, None),
            None => Read::default(),
        }
    }

    /// One record.
    ///
    /// # Errors
    /// `None` inside when there is none; the unreadable record otherwise.
    pub fn record<R: Record>(&self, place: &Place) -> Result<Option<Entry<R>>, Unreadable> {
        let kind = self.name().kind();
        if !place.spec(kind).is_some_and(|s| core::ptr::eq(s, R::SPEC)) {
            return Ok(None);
        }
        if R::SPEC.whole {
            let value = place.holder(&self.auto, kind).zip(place.keys.last());
            let value = value.and_then(|(map, key)| self.auto.get(&map, key.as_str()).ok().flatten());
            return match value.as_ref().and_then(|(v, _)| v.as_bytes()) {
                Some(bytes) => whole_record(bytes, place.clone()).map(Some),
                None => Ok(None),
            };
        }
        match place.find(&self.auto, kind) {
            Some(obj) => self.read_record(&obj, place.clone()).map(Some),
            None => Ok(None),
        }
    }

    /// All records of a map in one walk over it and what is inside: to look each record up would
    /// take twice as long.
    fn read_map<R: Record>(
        &self,
        map: &ObjId,
        root_name: &'static str,
        above: &[Key],
        wanted: Option<Wanted<'_>>,
    ) -> Read<R> {
        let mut walk = Walk { inside: false, wanted, nodes: Vec::new() };
        self.walk(&mut walk, map, R::SPEC, root_name, above);
        walk.nodes.into_iter().filter(|node| !node.draft.unwanted).map(Node::finish).collect()
    }

    /// All records of a root map and the records inside them, to be taken by kind.
    #[must_use]
    pub fn with_inner(&self, root_name: &'static str) -> Nodes {
        let mut walk = Walk { inside: true, wanted: None, nodes: Vec::new() };
        let spec = root(self.name().kind(), root_name).map(|r| r.record);
        if let (Some(spec), Some(map)) = (spec, object(&self.auto, &automerge::ROOT, root_name)) {
            self.walk(&mut walk, &map, spec, root_name, &[]);
        }
        Nodes(walk.nodes)
    }

    /// The same of some records of the root map, of those that are there.
    #[must_use]
    pub fn some_with_inner(&self, root_name: &'static str, keys: &BTreeSet<Key>) -> Nodes {
        let mut walk = Walk { inside: true, wanted: None, nodes: Vec::new() };
        let spec = root(self.name().kind(), root_name).map(|r| r.record);
        if let (Some(spec), Some(map)) = (spec, object(&self.auto, &automerge::ROOT, root_name)) {
            for key in keys {
                let Some(record) = object(&self.auto, &map, key.as_str()) else { continue };
                let of = HashMap::from([(record.clone(), walk.nodes.len())]);
                let place = Place::of(root_name, key);
                walk.nodes.push(Node { place, spec, draft: Draft::default(), packed: None });
                self.walk_from(&mut walk, &record, root_name, HashMap::new(), of);
            }
        }
        Nodes(walk.nodes)
    }

    fn walk(
        &self,
        walk: &mut Walk<'_>,
        map: &ObjId,
        spec: &'static RecordSpec,
        root_name: &'static str,
        above: &[Key],
    ) {
        let first = Held { spec, root: root_name, above: above.to_vec() };
        if spec.whole {
            self.auto.map_range(map, ..).for_each(|item| {
                walk.nodes.extend(first.record(&item));
            });
            return;
        }
        self.walk_from(walk, map, root_name, HashMap::from([(map.clone(), first)]), HashMap::new());
    }

    /// Walks from a map on: `maps` are those of records, `of` says which map is which record.
    fn walk_from(
        &self,
        walk: &mut Walk<'_>,
        from: &ObjId,
        root_name: &'static str,
        mut maps: HashMap<ObjId, Held>,
        mut of: HashMap<ObjId, usize>,
    ) {
        let mut before: Option<Arc<ObjId>> = None;
        let (mut node, mut held) = (None, None);
        for walked in self.auto.iter_at(from, None) {
            let DocItem::Map(item) = walked.item else { continue };
            if before.as_ref().is_none_or(|before| !Arc::ptr_eq(before, &walked.obj)) {
                node = of.get(&*walked.obj).copied();
                held = maps.remove(&*walked.obj);
                before = Some(walked.obj.clone());
            }
            if let Some(node) = node.and_then(|n| walk.nodes.get_mut(n)) {
                match node.spec.inner {
                    Some((name, spec)) if name == item.key => {
                        if walk.inside {
                            let held = Held { spec, root: root_name, above: node.place.keys.clone() };
                            maps.insert(item.id(), held);
                        }
                    }
                    _ => self.note_field(node.spec, &mut node.draft, &walked.obj, &item, walk.wanted),
                }
            } else if let Some(record) = held.as_ref().and_then(|held| held.record(&item)) {
                if record.packed.is_none() {
                    of.insert(item.id(), walk.nodes.len());
                }
                walk.nodes.push(record);
            }
        }
    }

    fn read_record<R: Record>(&self, obj: &ObjId, place: Place) -> Result<Entry<R>, Unreadable> {
        let mut draft = Draft::default();
        for item in self.auto.map_range(obj, ..) {
            self.note_field(R::SPEC, &mut draft, obj, &item, None);
        }
        draft.finish(place)
    }

    fn note_field(
        &self,
        spec: &'static RecordSpec,
        draft: &mut Draft,
        obj: &ObjId,
        item: &MapRangeItem<'_>,
        wanted: Option<Wanted<'_>>,
    ) {
        let Some((number, field)) = spec.field(&item.key) else { return };
        let value = scalar(&item.value);
        if let (Some((name, wanted)), Some(Scalar::Text(text)), false) = (wanted, &value, item.conflict) {
            draft.unwanted |= name == field.name && !wanted(text);
        }
        if draft.unwanted {
            return;
        }
        // A type that this version never writes is left as it is and said to be unread.
        if value.is_none() && !matches!(item.value, ValueRef::Scalar(ScalarValueRef::Null)) {
            draft.foreign.push(field.name);
        }
        let value = if item.conflict {
            let told = self.told(obj, &item.key);
            let first = told.first().and_then(|f| f.value.clone());
            // Equal values are no disagreement, whoever wrote them.
            if told.iter().any(|t| t.value != first) {
                draft.met.push((field.name, told));
            }
            first
        } else {
            value
        };
        match value {
            Some(Scalar::Time(ms)) if field.name == GONE.name => draft.gone = Some(Moment(ms)),
            Some(value) => draft.values.push((number, value)),
            None => {}
        }
    }

    /// Every value at a key, the one to show first: the later by its own time, then by actor.
    fn told(&self, obj: &ObjId, key: &str) -> Vec<Told> {
        let mut told: Vec<Told> = self
            .auto
            .get_all(obj, key)
            .unwrap_or_default()
            .into_iter()
            .map(|(value, id)| {
                let meta = self
                    .auto
                    .hash_for_opid(&id)
                    .and_then(|h| Some(self.auto.get_change_meta_by_hash(&h)?.timestamp));
                let by = match &id {
                    ObjId::Id(_, actor, _) => {
                        actor.to_bytes().try_into().map(ActorId).unwrap_or(ActorId([0; 16]))
                    }
                    ObjId::Root => ActorId([0; 16]),
                };
                let value = match value {
                    automerge::Value::Scalar(s) => owned(&s),
                    automerge::Value::Object(_) => None,
                };
                Told { value, by, at: Moment(meta.unwrap_or(0).saturating_mul(1000)) }
            })
            .collect();
        told.sort_by(|a, b| b.at.cmp(&a.at).then(b.by.cmp(&a.by)));
        told
    }
}

/// A text field, and which of its values are asked for.
type Wanted<'a> = (&'static str, &'a dyn Fn(&str) -> bool);

/// A walk over records: whether into those inside too, and which are asked for.
struct Walk<'a> {
    inside: bool,
    wanted: Option<Wanted<'a>>,
    nodes: Vec<Node>,
}

/// A map of records and where it stands.
struct Held {
    spec: &'static RecordSpec,
    root: &'static str,
    above: Vec<Key>,
}

impl Held {
    /// The record that an entry of the map is, if it is one.
    fn record(&self, item: &MapRangeItem<'_>) -> Option<Node> {
        let packed = match &item.value {
            ValueRef::Object(_) if !self.spec.whole => None,
            ValueRef::Scalar(ScalarValueRef::Bytes(bytes)) if self.spec.whole => Some(bytes.to_vec()),
            _ => return None,
        };
        let key = item.key.parse::<Key>().ok()?;
        let mut keys = Vec::with_capacity(self.above.len() + 1);
        keys.extend_from_slice(&self.above);
        keys.push(key);
        let place = Place { root: self.root, keys };
        Some(Node { place, spec: self.spec, draft: Draft::default(), packed })
    }
}

/// A record that was walked over.
#[derive(Debug)]
struct Node {
    place: Place,
    spec: &'static RecordSpec,
    draft: Draft,
    /// Its bytes, when it stands in one value.
    packed: Option<Vec<u8>>,
}

impl Node {
    fn finish<R: Record>(self) -> Result<Entry<R>, Unreadable> {
        match self.packed {
            Some(bytes) => whole_record(&bytes, self.place),
            None => self.draft.finish(self.place),
        }
    }
}

/// Records of several kinds, as they lay within each other.
#[derive(Debug, Default)]
pub struct Nodes(Vec<Node>);

impl Nodes {
    /// Those of one kind, in order of their maps and keys.
    pub fn take<R: Record>(&mut self) -> Read<R> {
        let (mine, others) =
            core::mem::take(&mut self.0).into_iter().partition(|node| core::ptr::eq(node.spec, R::SPEC));
        self.0 = others;
        let mine: Vec<Node> = mine;
        mine.into_iter().map(Node::finish).collect()
    }
}

impl<R> FromIterator<Result<Entry<R>, Unreadable>> for Read<R> {
    fn from_iter<I: IntoIterator<Item = Result<Entry<R>, Unreadable>>>(found: I) -> Read<R> {
        let mut read = Read::default();
        for entry in found {
            match entry {
                Ok(entry) => read.entries.push(entry),
                Err(bad) => read.unreadable.push(bad),
            }
        }
        read
    }
}

/// What was read of a record yet.
#[derive(Debug, Default)]
struct Draft {
    /// Values by the number of their field.
    values: Vec<(usize, Scalar)>,
    gone: Option<Moment>,
    met: Vec<(&'static str, Vec<Told>)>,
    foreign: Vec<&'static str>,
    unwanted: bool,
}

impl Draft {
    fn finish<R: Record>(mut self, place: Place) -> Result<Entry<R>, Unreadable> {
        self.values.sort_by_key(|(number, _)| *number);
        match fields_in_order::<R>(self.values) {
            Ok((record, mut unread)) => {
                unread.extend(self.foreign);
                let met = self.met.into_iter();
                let met = met.map(|(field, told)| Met { place: place.clone(), field, told }).collect();
                Ok(Entry { place, record, gone: self.gone, unread, met })
            }
            Err(field) => Err(Unreadable { place, field }),
        }
    }
}

/// A record from values in the order of their fields, which is the order in which they are asked for.
fn fields_in_order<R: Record>(values: Vec<(usize, Scalar)>) -> Result<(R, Vec<&'static str>), &'static str> {
    let mut values = values.into_iter().peekable();
    let mut fields = R::SPEC.fields.iter().enumerate();
    R::from_fields(&mut |name| {
        let (number, _) = fields.find(|(_, field)| field.name == name)?;
        values.next_if(|(n, _)| *n == number).map(|(_, value)| value)
    })
}

/// A record in one value.
fn whole_record<R: Record>(bytes: &[u8], place: Place) -> Result<Entry<R>, Unreadable> {
    let Some((values, newer)) = whole::unpack(bytes, R::SPEC) else {
        return Err(Unreadable { place, field: "" });
    };
    match fields_in_order(values) {
        Ok((record, mut unread)) => {
            unread.extend(newer.then_some("(newer)"));
            Ok(Entry { place, record, gone: None, unread, met: Vec::new() })
        }
        Err(field) => Err(Unreadable { place, field }),
    }
}

fn scalar(value: &ValueRef<'_>) -> Option<Scalar> {
    let ValueRef::Scalar(s) = value else { return None };
    match s {
        ScalarValueRef::Int(n) => Some(Scalar::Int(*n)),
        ScalarValueRef::Str(t) => Some(Scalar::Text(t.to_string())),
        ScalarValueRef::Bytes(b) => Some(Scalar::Bytes(b.to_vec())),
        ScalarValueRef::Boolean(b) => Some(Scalar::Bool(*b)),
        ScalarValueRef::Timestamp(ms) => Some(Scalar::Time(*ms)),
        ScalarValueRef::Uint(_)
        | ScalarValueRef::F64(_)
        | ScalarValueRef::Counter(_)
        | ScalarValueRef::Unknown { .. }
        | ScalarValueRef::Null => None,
    }
}

fn owned(value: &automerge::ScalarValue) -> Option<Scalar> {
    use automerge::ScalarValue as S;
    match value {
        S::Int(n) => Some(Scalar::Int(*n)),
        S::Str(t) => Some(Scalar::Text(t.to_string())),
        S::Bytes(b) => Some(Scalar::Bytes(b.clone())),
        S::Boolean(b) => Some(Scalar::Bool(*b)),
        S::Timestamp(ms) => Some(Scalar::Time(*ms)),
        S::Uint(_) | S::F64(_) | S::Counter(_) | S::Unknown { .. } | S::Null => None,
    }
}

pub(super) fn stored(value: &Scalar) -> automerge::ScalarValue {
    use automerge::ScalarValue as S;
    match value {
        Scalar::Int(n) => S::Int(*n),
        Scalar::Text(t) => S::Str(t.as_str().into()),
        Scalar::Bytes(b) => S::Bytes(b.clone()),
        Scalar::Bool(b) => S::Boolean(*b),
        Scalar::Time(ms) => S::Timestamp(*ms),
    }
}
