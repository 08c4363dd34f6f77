//! Honest documents, made with the document library and in our schema.

use automerge::transaction::{CommitOptions, Transactable as _};
use automerge::{AutoCommit, ObjId, ObjType, ReadDoc as _, ScalarValue};
use backstraight_core::base::id::ActorId;
use backstraight_core::base::key::KeyMint;
use backstraight_core::doc::genesis;
use backstraight_core::model::any;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::name::Kind;
use backstraight_core::model::spec::{FieldKind, Record as _, RecordSpec, Scalar};
use backstraight_core::model::whole;

use super::{Rng, actor};

/// A new document of that kind for an actor.
pub fn open(kind: Kind, who: ActorId) -> AutoCommit {
    AutoCommit::load(genesis::bytes(kind)).unwrap().with_actor(automerge::ActorId::from(who.0))
}

/// Plain chunks of all changes that follow `heads`.
pub fn plain(doc: &mut AutoCommit, heads: &[automerge::ChangeHash]) -> Vec<u8> {
    doc.get_changes(heads).iter().flat_map(|c| c.raw_bytes().to_vec()).collect()
}

pub fn commit(doc: &mut AutoCommit, seconds: i64) {
    doc.commit_with(CommitOptions::default().with_time(seconds));
}

/// A random value that the field admits.
fn scalar(rng: &mut Rng, kind: FieldKind) -> Scalar {
    match kind {
        FieldKind::Int { min, max } => {
            let span = u64::try_from(max - min).unwrap().saturating_add(1);
            Scalar::Int(min + i64::try_from(rng.below(span)).unwrap())
        }
        FieldKind::Text { max } => {
            let n = rng.index(max.min(30) / 2 + 1);
            Scalar::Text((0..n).map(|_| ['a', 'é', 'k', ' ', '7'][rng.index(5)]).collect())
        }
        FieldKind::Bytes { max } => {
            let n = rng.index(max.min(20) + 1);
            Scalar::Bytes((0..n).map(|_| rng.bytes::<1>()[0]).collect())
        }
        FieldKind::Bool => Scalar::Bool(rng.one_in(2)),
        FieldKind::Time => Scalar::Time(1_790_000_000_000 + i64::try_from(rng.below(1 << 40)).unwrap()),
    }
}

/// The same as the document library takes it.
pub fn value(rng: &mut Rng, kind: FieldKind) -> ScalarValue {
    match scalar(rng, kind) {
        Scalar::Int(n) => ScalarValue::Int(n),
        Scalar::Text(t) => ScalarValue::Str(t.into()),
        Scalar::Bytes(b) => ScalarValue::Bytes(b),
        Scalar::Bool(b) => ScalarValue::Boolean(b),
        Scalar::Time(ms) => ScalarValue::Timestamp(ms),
    }
}

/// A random record in one value.
fn whole_value(rng: &mut Rng, spec: &'static RecordSpec) -> Vec<u8> {
    let mut fields = Vec::new();
    for (n, field) in spec.fields.iter().enumerate() {
        if n < spec.required || rng.one_in(3) {
            fields.push((field.name, scalar(rng, field.kind)));
        }
    }
    whole::pack(&fields, spec)
}

/// One person's start of an app, writing at random within the schema.
pub struct Writer {
    pub doc: AutoCommit,
    pub kind: Kind,
    pub mint: KeyMint,
    pub clock: i64,
}

impl Writer {
    pub fn new(kind: Kind, who: u8, rng: &mut Rng) -> Writer {
        let doc = open(kind, actor(who, rng.bytes()));
        Writer { doc, kind, mint: KeyMint::new(rng.bytes()), clock: 1_790_000_000 }
    }

    /// The same document, opened by another start of the app.
    pub fn restart(&mut self, who: u8, rng: &mut Rng) {
        let id = actor(who, rng.bytes());
        self.doc.set_actor(automerge::ActorId::from(id.0));
        self.mint = KeyMint::new(rng.bytes());
    }

    fn records(&self, map: &ObjId) -> Vec<ObjId> {
        self.doc.keys(map).filter_map(|k| self.doc.get(map, k).unwrap()).map(|(_, id)| id).collect()
    }

    /// A new record; its map, when it is one.
    fn make(&mut self, rng: &mut Rng, map: &ObjId, spec: &'static RecordSpec) -> Option<ObjId> {
        let key = self.mint.mint();
        if spec.whole {
            self.doc.put(map, key.as_str(), ScalarValue::Bytes(whole_value(rng, spec))).unwrap();
            return None;
        }
        let record = self.doc.put_object(map, key.as_str(), ObjType::Map).unwrap();
        if let Some((inner, _)) = spec.inner {
            self.doc.put_object(&record, inner, ObjType::Map).unwrap();
        }
        for field in spec.fields {
            if rng.one_in(2) {
                self.doc.put(&record, field.name, value(rng, field.kind)).unwrap();
            }
        }
        Some(record)
    }

    fn edit(&mut self, rng: &mut Rng, record: &ObjId, spec: &'static RecordSpec) {
        for _ in 0..=rng.below(3) {
            let Some(field) = spec.fields.get(rng.index(spec.fields.len() + 1)) else {
                let gone =
                    if rng.one_in(3) { ScalarValue::Null } else { ScalarValue::Timestamp(1_790_000_000_000) };
                self.doc.put(record, "gone", gone).unwrap();
                continue;
            };
            let new = if rng.one_in(6) { ScalarValue::Null } else { value(rng, field.kind) };
            self.doc.put(record, field.name, new).unwrap();
            if rng.one_in(5) {
                let again = value(rng, field.kind);
                self.doc.put(record, field.name, again).unwrap();
            }
        }
    }

    /// One change: a new record, edits, or now and then nothing at all.
    pub fn step(&mut self, rng: &mut Rng) {
        self.clock += i64::try_from(rng.below(4_000)).unwrap() - 200;
        let options = CommitOptions::default().with_time(self.clock);
        if rng.one_in(25) {
            self.doc.empty_change(options);
            return;
        }
        let roots = any::roots(self.kind);
        for _ in 0..=rng.below(3) {
            let root = &roots[rng.index(roots.len())];
            let (_, map) = self.doc.get(automerge::ROOT, root.name).unwrap().unwrap();
            let records = self.records(&map);
            if !root.single && (records.is_empty() || rng.one_in(3)) {
                let record = self.make(rng, &map, root.record);
                let inner = root.record.inner.filter(|_| rng.one_in(2));
                if let (Some(record), Some((inner, spec))) = (record, inner) {
                    let (_, inside) = self.doc.get(&record, inner).unwrap().unwrap();
                    if let Some(new) = self.make(rng, &inside, spec) {
                        self.edit(rng, &new, spec);
                    }
                }
                continue;
            }
            let mut record = records[rng.index(records.len())].clone();
            let mut spec = root.record;
            while let Some((inner, inner_spec)) = spec.inner {
                if rng.one_in(3) {
                    break;
                }
                let (_, inside) = self.doc.get(&record, inner).unwrap().unwrap();
                let inner_records = self.records(&inside);
                if inner_spec.whole || inner_records.is_empty() || rng.one_in(2) {
                    // Nothing to edit in a record in one value.
                    let Some(new) = self.make(rng, &inside, inner_spec) else { break };
                    record = new;
                } else {
                    record = inner_records[rng.index(inner_records.len())].clone();
                }
                spec = inner_spec;
            }
            self.edit(rng, &record, spec);
        }
        let word = if rng.one_in(10) { "undo" } else { "" };
        let options = if word.is_empty() { options } else { options.with_message(word) };
        self.doc.commit_with(options);
    }
}

/// A month log: `sessions` sessions of `sets` sets over six exercises, a change for each set.
/// The first set of a session also makes the session, the first of an exercise the exercise done.
pub fn log(
    doc: &mut AutoCommit,
    mint: &mut KeyMint,
    rng: &mut Rng,
    sessions: usize,
    sets: usize,
    from_ms: i64,
) {
    let (_, root) = doc.get(automerge::ROOT, "sessions").unwrap().unwrap();
    let mut at = from_ms;
    let plan = rng.bytes::<8>().to_vec();
    for session in 0..sessions {
        at += 28 * 3_600_000;
        let mut work = None;
        let mut record = None;
        for set in 0..sets {
            at += 90_000 + i64::try_from(rng.below(180_000)).unwrap();
            let record = record.get_or_insert_with(|| {
                let key = mint.mint();
                let s = doc.put_object(&root, key.as_str(), ObjType::Map).unwrap();
                doc.put_object(&s, "work", ObjType::Map).unwrap();
                doc.put(&s, "date", format!("2026-11-{:02}", session % 28 + 1)).unwrap();
                doc.put(&s, "began", ScalarValue::Timestamp(at)).unwrap();
                doc.put(&s, "season", 2027).unwrap();
                doc.put(&s, "session", format!("qwerty-{session}")).unwrap();
                doc.put(&s, "plan", ScalarValue::Bytes(plan.clone())).unwrap();
                doc.put(&s, "zone", 60).unwrap();
                s
            });
            if set % 4 == 0 {
                let (_, map) = doc.get(&*record, "work").unwrap().unwrap();
                let key = mint.mint();
                let w = doc.put_object(&map, key.as_str(), ObjType::Map).unwrap();
                doc.put_object(&w, "sets", ObjType::Map).unwrap();
                doc.put(&w, "ex", format!("abcdef-{}", rng.below(30))).unwrap();
                doc.put(&w, "item", format!("qwerty-{}", session * 10 + set)).unwrap();
                doc.put(
                    &w,
                    "shown",
                    format!("reps {} load {} effort 80", 3 + rng.below(4), 8_000 + rng.below(40) * 250),
                )
                .unwrap();
                work = Some(w);
            }
            let (_, sets_map) = doc.get(work.as_ref().unwrap(), "sets").unwrap().unwrap();
            let key = mint.mint();
            let reps = 3 + rng.below(5);
            let fastest = 400 + rng.below(900);
            let speeds = (0..reps).flat_map(|r| {
                let mm_s = u16::try_from(fastest - 15 * r + rng.below(30)).unwrap();
                mm_s.to_le_bytes()
            });
            let speeds: Vec<u8> = speeds.collect();
            let parts = [
                ("at", Scalar::Time(at)),
                ("load", Scalar::Int(i64::try_from(6_000 + rng.below(40) * 250).unwrap())),
                ("reps", Scalar::Int(i64::try_from(reps).unwrap())),
                ("effort", Scalar::Int(i64::try_from(60 + 5 * rng.below(8)).unwrap())),
                ("speeds", Scalar::Bytes(speeds)),
            ];
            doc.put(&sets_map, key.as_str(), ScalarValue::Bytes(whole::pack(&parts, SetDone::SPEC))).unwrap();
            commit(doc, at / 1000);
        }
    }
}
