//! Readers of documents. They tolerate one bad record at a time, show withdrawn records as
//! withdrawn, and show every field at which two edits met.

use automerge::{ObjId, ReadDoc, ScalarValueRef, ValueRef};

use super::open::Document;
use super::place::{Place, object};
use crate::base::id::ActorId;
use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::model::any::root;
use crate::model::spec::{GONE, Record, Scalar};
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
        self.records_if(root_name, &|_| true)
    }

    /// Records of a root map of which some value of a text field is wanted. Where edits met, a
    /// record is given when any of the values is: look at what it reads as.
    #[must_use]
    pub fn records_with<R: Record>(
        &self,
        root_name: &'static str,
        field: &'static str,
        wanted: &dyn Fn(&str) -> bool,
    ) -> Read<R> {
        self.records_if(root_name, &|record| {
            let values = self.auto.get_all(record, field).unwrap_or_default();
            values.iter().any(|(value, _)| value.as_str().is_some_and(wanted))
        })
    }

    fn records_if<R: Record>(&self, root_name: &'static str, wanted: &dyn Fn(&ObjId) -> bool) -> Read<R> {
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
            Some(map) => self.read_map(&map, outer.root, &outer.keys, &|_| true),
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

    fn read_map<R: Record>(
        &self,
        map: &ObjId,
        root_name: &'static str,
        above: &[Key],
        wanted: &dyn Fn(&ObjId) -> bool,
    ) -> Read<R> {
        let mut read = Read::default();
        for item in self.auto.map_range(map, ..) {
            let packed = match &item.value {
                ValueRef::Object(_) if !R::SPEC.whole => None,
                ValueRef::Scalar(ScalarValueRef::Bytes(bytes)) if R::SPEC.whole => Some(bytes.to_vec()),
                _ => continue,
            };
            let id = item.id();
            if packed.is_none() && !wanted(&id) {
                continue;
            }
            let Ok(key) = item.key.parse::<Key>() else { continue };
            let mut keys = above.to_vec();
            keys.push(key);
            let place = Place { root: root_name, keys };
            let entry = match packed {
                Some(bytes) => whole_record(&bytes, place),
                None => self.read_record(&id, place),
            };
            match entry {
                Ok(entry) => read.entries.push(entry),
                Err(bad) => read.unreadable.push(bad),
            }
        }
        read
    }

    fn read_record<R: Record>(&self, obj: &ObjId, place: Place) -> Result<Entry<R>, Unreadable> {
        let mut values: Vec<(&'static str, Scalar)> = Vec::new();
        let mut met = Vec::new();
        let mut gone = None;
        let mut foreign = Vec::new();
        for item in self.auto.map_range(obj, ..) {
            let Some(field) = R::SPEC.field(&item.key) else { continue };
            let mut value = scalar(&item.value);
            // A type that this version never writes is left as it is and said to be unread.
            if value.is_none() && !matches!(item.value, ValueRef::Scalar(ScalarValueRef::Null)) {
                foreign.push(field.name);
            }
            if item.conflict {
                let told = self.told(obj, &item.key);
                if let Some(first) = told.first() {
                    value.clone_from(&first.value);
                }
                // Equal values are no disagreement, whoever wrote them.
                if told.iter().any(|t| t.value != told.first().and_then(|f| f.value.clone())) {
                    met.push(Met { place: place.clone(), field: field.name, told });
                }
            }
            match value {
                Some(Scalar::Time(ms)) if field.name == GONE.name => gone = Some(Moment(ms)),
                Some(value) => values.push((field.name, value)),
                None => {}
            }
        }
        let mut take = |name: &'static str| {
            let at = values.iter().position(|(n, _)| *n == name)?;
            Some(values.swap_remove(at).1)
        };
        match R::from_fields(&mut take) {
            Ok((record, mut unread)) => {
                unread.extend(foreign);
                Ok(Entry { place, record, gone, unread, met })
            }
            Err(field) => Err(Unreadable { place, field }),
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

/// A record in one value.
fn whole_record<R: Record>(bytes: &[u8], place: Place) -> Result<Entry<R>, Unreadable> {
    let Some((mut values, newer)) = whole::unpack(bytes, R::SPEC) else {
        return Err(Unreadable { place, field: "" });
    };
    let mut take = |name: &'static str| {
        let at = values.iter().position(|(n, _)| *n == name)?;
        Some(values.swap_remove(at).1)
    };
    match R::from_fields(&mut take) {
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
