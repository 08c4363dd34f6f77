//! Every attack that is known to hang, break or poison the document library, made by hand and
//! refused with the right word within milliseconds.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod gate_support;

use std::time::Instant;

use automerge::transaction::Transactable as _;
use automerge::{AutoCommit, Change, ObjId, ObjType, ReadDoc as _, ScalarValue};
use backstraight_core::base::id::ActorId;
use backstraight_core::doc::gate::{GateIndex, RejectCode, Rejected, Verdict};
use backstraight_core::doc::genesis;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::name::Kind;
use backstraight_core::model::spec::{Record as _, Scalar};
use backstraight_core::model::whole;
use gate_support::engine::merge;
use gate_support::honest::{commit, open, plain};
use gate_support::raw::{self, Op, Parts, rle, sleb, uleb};
use gate_support::{actor, anyone};

/// A log with one session of one exercise and one set, and a check-in, all by one actor.
struct Base {
    doc: AutoCommit,
    index: GateIndex,
    me: ActorId,
    last: Change,
    session: u64,
    work_map: u64,
    sets: u64,
    set: u64,
    work: u64,
    /// The operation that set the minutes of the session, and the one that set its effort.
    minutes: i64,
    effort: i64,
}

/// A set in its one value: a moment, a load, repetitions.
fn did(load: i64) -> Vec<u8> {
    let parts =
        [("at", Scalar::Time(1_795_000_100_000)), ("load", Scalar::Int(load)), ("reps", Scalar::Int(5))];
    whole::pack(&parts, SetDone::SPEC)
}

fn counter(id: &ObjId) -> u64 {
    match id {
        ObjId::Id(n, _, _) => *n,
        ObjId::Root => 0,
    }
}

impl Base {
    fn new() -> Base {
        let me = actor(0, [3; 8]);
        let mut doc = open(Kind::Log, me);
        let (_, sessions) = doc.get(automerge::ROOT, "sessions").unwrap().unwrap();
        let session = doc.put_object(&sessions, "aaaaaa-0", ObjType::Map).unwrap();
        let work_map = doc.put_object(&session, "work", ObjType::Map).unwrap();
        doc.put(&session, "date", "2026-11-25").unwrap();
        doc.put(&session, "began", ScalarValue::Timestamp(1_795_000_000_000)).unwrap();
        commit(&mut doc, 1_795_000_000);
        let work = doc.put_object(&work_map, "aaaaaa-1", ObjType::Map).unwrap();
        let sets = doc.put_object(&work, "sets", ObjType::Map).unwrap();
        doc.put(&work, "ex", "abcdef-3").unwrap();
        commit(&mut doc, 1_795_000_050);
        doc.put(&sets, "aaaaaa-2", ScalarValue::Bytes(did(8_000))).unwrap();
        let (_, set) = doc.get(&sets, "aaaaaa-2").unwrap().unwrap();
        doc.put(&session, "minutes", 80).unwrap();
        doc.put(&session, "effort", 50).unwrap();
        commit(&mut doc, 1_795_000_100);
        let field = |name| i64::try_from(counter(&doc.get(&session, name).unwrap().unwrap().1)).unwrap();
        let (minutes, effort) = (field("minutes"), field("effort"));
        let index = GateIndex::from_changes(Kind::Log, &plain(&mut doc, &[])).unwrap();
        let last = doc.get_last_local_change().unwrap();
        let [session, work_map, sets, set, work] = [&session, &work_map, &sets, &set, &work].map(counter);
        Base { doc, index, me, last, session, work_map, sets, set, work, minutes, effort }
    }

    /// The next change of the same actor.
    fn next(&self) -> Parts {
        Parts::after(&self.last)
    }

    #[expect(
        clippy::disallowed_methods,
        reason = "a refusal must not hang; how long one takes is a benchmark's to say"
    )]
    fn refused(&self, upload: &[u8]) -> Rejected {
        let begun = Instant::now();
        let answer = self.index.check(upload, &|i| i == self.me.install());
        let took = begun.elapsed();
        assert!(took.as_secs() < 1, "{took:?}");
        match answer {
            Err(rejected) => rejected,
            Ok(verdict) => panic!("not refused: {verdict:?}"),
        }
    }

    fn is(&self, what: &str, upload: &[u8], code: RejectCode) {
        let rejected = self.refused(upload);
        assert_eq!(rejected.code, code, "{what}: {rejected}");
        self.freeze(what, upload, code);
    }

    /// Writes the attack into `fixtures/hostile`, for other tests, when asked to.
    fn freeze(&self, what: &str, upload: &[u8], code: RejectCode) {
        let asked = std::env::vars().any(|(name, _)| name == "BACKSTRAIGHT_FREEZE");
        if !asked || upload.len() > 600 || upload.is_empty() {
            return;
        }
        let folder = format!("{}/../fixtures/hostile", env!("CARGO_MANIFEST_DIR"));
        let slug = what.replace(|c: char| !c.is_ascii_alphanumeric(), "-").to_lowercase();
        let name: String = raw::name(upload)[..3].iter().map(|b| format!("{b:02x}")).collect();
        std::fs::write(format!("{folder}/{code}.{slug}.{name}.bin"), upload).unwrap();
        std::fs::write(format!("{folder}/base-log.bin"), plain(&mut self.doc.clone(), &[])).unwrap();
    }

    fn ops(&self, what: &str, ops: &[Op], code: RejectCode) {
        self.is(what, &self.next().ops(ops).chunk(), code);
    }

    /// Accepted by the index, refused on the loaded document.
    fn refused_by_document(&self, what: &str, upload: &[u8]) {
        let Verdict::Accept(accepted) = self.index.check(upload, &anyone).unwrap() else { panic!("{what}") };
        assert!(accepted.needs_document(), "{what}");
        let mut copy = self.doc.clone();
        let rejected = merge(&mut copy, &self.index, &accepted, upload).unwrap_err();
        assert_eq!(rejected.code, RejectCode::Pred, "{what}: {rejected}");
        assert_eq!(copy.get_heads(), self.doc.clone().get_heads(), "{what}: untouched");
    }

    fn passes(&self, upload: &[u8]) {
        let Verdict::Accept(accepted) = self.index.check(upload, &anyone).unwrap() else {
            panic!("needs more")
        };
        let mut copy = self.doc.clone();
        merge(&mut copy, &self.index, &accepted, upload).unwrap();
        AutoCommit::load(&copy.save()).unwrap();
    }
}

const MAP: (u64, Vec<u8>) = (0, Vec::new());

#[test]
fn the_hand_written_chunks_are_taken_when_nothing_is_wrong() {
    let b = Base::new();
    let set = |key| [Op::set((0, b.sets), key, (7, did(9_000)))];
    b.passes(&b.next().ops(&set("aaaaaa-3")).chunk());
    b.passes(&b.next().ops(&[]).chunk());
    b.passes(&b.next().ops(&[Op::int((0, b.session), "minutes", 90).pred(0, b.minutes)]).chunk());
    b.passes(
        &b.next().ops(&[Op::int((0, b.session), "zone", 60), Op::time((0, b.session), "ended", 5)]).chunk(),
    );
    // The same bytes as the document library.
    let again = Parts { time: b.last.timestamp(), ..Parts::default() };
    let first = Change::from_bytes(genesis::bytes(Kind::Log).to_vec()).unwrap();
    assert_eq!((again.seq, first.seq()), (0, 1));
}

#[test]
fn bombs() {
    let b = Base::new();
    let run = |n: i64, value: u64| {
        let mut column = Vec::new();
        sleb(&mut column, n);
        uleb(&mut column, value);
        column
    };
    for n in [5_000, 1_000_000, 1_000_000_000, 1_000_000_000_000, i64::MAX] {
        let mut bomb = b.next().ops(&[Op::int((0, b.session), "minutes", 1)]);
        bomb.columns[4].1 = run(n, 1);
        b.is("operations by run length", &bomb.chunk(), RejectCode::TooManyOps);
        let mut nulls = b.next();
        let mut column = vec![0];
        uleb(&mut column, n.unsigned_abs());
        nulls.columns = vec![(0x42, column)];
        b.is("operations by a run of nothing", &nulls.chunk(), RejectCode::TooManyOps);
        let mut all = b.next();
        all.columns = vec![(0x42, run(n, 1)), (0x56, run(n, 0)), (0x70, run(n, 0))];
        b.is("all columns by run length", &all.chunk(), RejectCode::TooManyOps);
    }
    for n in [65, 10_000_000_000, u64::MAX] {
        let mut bomb = b.next().ops(&[Op::int((0, b.session), "minutes", 1)]);
        let mut column = vec![0x7f];
        uleb(&mut column, n);
        bomb.columns[7].1 = column;
        b.is("predecessors of one operation", &bomb.chunk(), RejectCode::TooManyPreds);
    }
    let mut bomb = b.next().ops(&[Op::int((0, b.session), "minutes", 1)]);
    bomb.columns[7].1 = run(4_000, 64);
    b.is("predecessors by run length", &bomb.chunk(), RejectCode::TooManyPreds);
    let mut literal = b.next();
    let mut column = Vec::new();
    sleb(&mut column, i64::MIN);
    literal.columns = vec![(0x42, column)];
    b.is("a list of 2^63 values", &literal.chunk(), RejectCode::Truncated);
    let mut value = b.next().ops(&[Op::int((0, b.session), "minutes", 1)]);
    value.columns[5].1 = run(-1, u64::MAX);
    b.is("a value of 2^60 bytes", &value.chunk(), RejectCode::Truncated);
    value.columns[5].1 = run(-1, u64::MAX << 4 | 6);
    b.is("a text of 2^60 bytes", &value.chunk(), RejectCode::Truncated);
    // The tail may not hide one either.
    let mut deps = b.next().contents();
    deps[0] = 200;
    b.is("ancestors", &raw::chunk(1, &deps), RejectCode::TooManyDeps);
}

#[test]
fn other_chunks() {
    let mut b = Base::new();
    let whole = b.doc.save();
    b.is("a whole document", &whole, RejectCode::NotAChange);
    let compressed = raw::chunk(2, &[0; 100]);
    b.is("a deflated change", &compressed, RejectCode::NotAChange);
    b.is("a bundle", &raw::chunk(3, &[1, 2, 3]), RejectCode::NotAChange);
    b.is("an unknown type", &raw::chunk(77, &[]), RejectCode::NotAChange);
    b.is("other bytes", b"GET / HTTP/1.1\r\n", RejectCode::NotAChange);
    let mut column = b.next().ops(&[Op::int((0, b.session), "zone", 1)]);
    column.columns[9] = (0x73 | 8, vec![1]);
    b.is("a deflated column", &column.chunk(), RejectCode::UnknownColumn);
    column.columns[9] = (0xa5, vec![0x7f, 1, 65]);
    b.is("marks", &column.chunk(), RejectCode::UnknownColumn);
    column.columns[9] = (0x94, vec![0, 1]);
    b.is("expand", &column.chunk(), RejectCode::UnknownColumn);
    column.columns[9] = (u64::from(u32::MAX), vec![0, 1]);
    b.is("unknown column", &column.chunk(), RejectCode::UnknownColumn);
    let mut many = b.next();
    many.columns = (0..11).map(|n| (0x1000 + n, vec![1])).collect();
    b.is("many columns", &many.chunk(), RejectCode::UnknownColumn);
}

#[test]
fn damaged_chunks() {
    let b = Base::new();
    let good = b.next().ops(&[Op::int((0, b.session), "zone", 80)]);
    let chunk = good.chunk();
    for n in 0..chunk.len() {
        let code = b.refused_or_empty(&chunk[..n]);
        assert!(matches!(code, None | Some(RejectCode::Truncated)), "{n}: {code:?}");
    }
    let mut wrong = chunk.clone();
    wrong[5] ^= 1;
    b.is("checksum", &wrong, RejectCode::Checksum);
    let mut wrong = chunk.clone();
    *wrong.last_mut().unwrap() ^= 1;
    b.is("contents", &wrong, RejectCode::Checksum);
    b.is("extra bytes", &Parts { extra: vec![1, 2, 65, 66], ..good.clone() }.chunk(), RejectCode::ExtraBytes);
    let tail = [chunk.as_slice(), &[0x85]].concat();
    let rejected = b.refused(&tail);
    assert_eq!((rejected.code, rejected.change), (RejectCode::Truncated, Some(1)));
    b.is("long message", &Parts { message: vec![65; 201], ..good.clone() }.chunk(), RejectCode::Message);
    b.is("message no text", &Parts { message: vec![0xff], ..good.clone() }.chunk(), RejectCode::Encoding);
    b.is("short actor", &Parts { actor: vec![1; 15], ..good.clone() }.chunk(), RejectCode::ActorLength);
    b.is("long actor", &Parts { actor: vec![1; 64], ..good.clone() }.chunk(), RejectCode::ActorLength);
    b.is("time", &Parts { time: i64::MIN, ..good.clone() }.chunk(), RejectCode::Time);
    b.is("time", &Parts { time: i64::MAX, ..good.clone() }.chunk(), RejectCode::Time);
    b.is("unused actor", &Parts { others: vec![vec![9; 16]], ..good }.chunk(), RejectCode::Encoding);
}

impl Base {
    fn refused_or_empty(&self, upload: &[u8]) -> Option<RejectCode> {
        match self.index.check(upload, &anyone) {
            Ok(Verdict::Accept(a)) if upload.is_empty() && a.fresh().is_empty() => None,
            Err(r) => Some(r.code),
            Ok(v) => panic!("{v:?}"),
        }
    }
}

#[test]
fn only_one_form_of_bytes() {
    let b = Base::new();
    let good = b.next().ops(&[Op::int((0, b.session), "zone", 80), Op::int((0, b.session), "season", 2027)]);
    b.passes(&good.chunk());
    let with = |column: usize, bytes: Vec<u8>| {
        let mut parts = good.clone();
        parts.columns[column].1 = bytes;
        parts.chunk()
    };
    b.is("two runs of one", &with(4, vec![1, 1, 1, 1]), RejectCode::Encoding);
    b.is("a list with a run in it", &with(4, vec![0x7e, 1, 1]), RejectCode::Encoding);
    b.is("a padded number", &with(4, vec![0x82, 0, 1]), RejectCode::Encoding);
    b.is("an empty run", &with(4, vec![2, 1, 0, 0]), RejectCode::Encoding);
    b.is("too many keys", &with(2, rle(&[Some(1_u64); 3], |o, _| o.extend([1, 65]))), RejectCode::Encoding);
    b.is("too few actions", &with(4, vec![0x7f, 1]), RejectCode::Encoding);
    b.is("insert column of another length", &with(3, vec![3]), RejectCode::Encoding);
    b.is("insert column in two parts", &with(3, vec![2, 0]), RejectCode::Encoding);
    b.is("predecessors that nothing counts", &with(8, vec![2, 0]), RejectCode::Encoding);
    b.is("values that nothing needs", &with(6, vec![0xd0, 0, 0xd0, 0, 1]), RejectCode::Encoding);
    b.is("padded value", &with(6, vec![0xd0, 0, 0x85, 0]), RejectCode::Encoding);
    b.is("actor beyond the list", &with(0, vec![2, 1]), RejectCode::Encoding);
    b.is("half an object", &with(0, vec![]), RejectCode::Encoding);
    let mut order = good.clone();
    order.columns.swap(0, 1);
    b.is("columns in another order", &order.chunk(), RejectCode::Encoding);
    let deps = Parts { deps: vec![[9; 32], [1; 32]], ..good.clone() };
    b.is("ancestors in another order", &deps.chunk(), RejectCode::Deps);
    let twice = Parts { deps: vec![good.deps[0], good.deps[0]], ..good.clone() };
    b.is("an ancestor twice", &twice.chunk(), RejectCode::Deps);
    let own = Parts { others: vec![good.actor.clone()], ..good };
    b.is("own actor among the others", &own.chunk(), RejectCode::Encoding);
}

#[test]
fn places_in_history() {
    let b = Base::new();
    let op = [Op::int((0, b.session), "zone", 80)];
    let good = b.next().ops(&op);
    let with = |f: &dyn Fn(&mut Parts)| {
        let mut parts = good.clone();
        f(&mut parts);
        parts.chunk()
    };
    b.is("forged actor", &with(&|p| p.actor = actor(1, [0; 8]).0.to_vec()), RejectCode::ForgedActor);
    let zero = with(&|p| p.actor = vec![0; 16]);
    b.is("the starting change's actor", &zero, RejectCode::ForgedActor);
    assert_eq!(b.index.check(&zero, &anyone).unwrap_err().code, RejectCode::ForgedActor, "whoever may write");
    b.is("sequence gap", &with(&|p| p.seq += 1), RejectCode::Sequence);
    b.is("sequence far ahead", &with(&|p| p.seq = u64::MAX), RejectCode::Sequence);
    b.is("sequence used before", &with(&|p| p.seq -= 1), RejectCode::Sequence);
    b.is("sequence 0", &with(&|p| p.seq = 0), RejectCode::Sequence);
    let other_start = actor(0, [9; 8]).0.to_vec();
    b.is(
        "new actor with number 2",
        &with(&|p| (p.actor, p.seq) = (other_start.clone(), 2)),
        RejectCode::Sequence,
    );
    for start in [1, good.start_op - 1, good.start_op + 1, (1 << 30) - 1] {
        b.is("first operation", &with(&|p| p.start_op = start), RejectCode::StartOp);
    }
    for start in [0, 1 << 30, (1 << 30) + 1, u64::from(u32::MAX) - 3, 1 << 40, u64::MAX] {
        let code = if start == 0 || start >= 1 << 30 { RejectCode::OpNumber } else { RejectCode::StartOp };
        b.is("first operation near the end", &with(&|p| p.start_op = start), code);
    }
    b.is("no ancestors", &with(&|p| (p.deps, p.start_op) = (vec![], 1)), RejectCode::Deps);
    let first = b.index.hashes().next().unwrap().0;
    let beside = with(&|p| (p.deps, p.start_op) = (vec![first], 7));
    b.is("own previous change left out", &beside, RejectCode::Deps);
    let orphan = with(&|p| p.deps = vec![[5; 32]]);
    assert!(
        matches!(b.index.check(&orphan, &anyone), Ok(Verdict::Need { missing }) if missing[0].0 == [5; 32])
    );
    // The same number twice in one upload.
    let other = with(&|p| p.time = 5);
    let both = [good.chunk(), other].concat();
    let rejected = b.refused(&both);
    assert_eq!((rejected.code, rejected.change), (RejectCode::Sequence, Some(1)));
    assert!(rejected.hash.is_some());
}

#[test]
fn objects_and_keys() {
    let b = Base::new();
    let start = b.next().start_op;
    let int = |obj, key: &str| Op::int(obj, key, 1);
    let root = |key: &str| Op { obj: None, ..Op::int((0, 0), key, 1) };
    b.ops("root value", &[root("v")], RejectCode::RootWrite);
    b.ops(
        "root map over another",
        &[Op { obj: None, ..Op::make((0, 0), "sessions") }],
        RejectCode::RootWrite,
    );
    b.ops("new root map", &[Op { obj: None, ..Op::make((0, 0), "mine") }], RejectCode::RootWrite);
    b.ops("unknown object", &[int((0, 9), "load")], RejectCode::UnknownObject);
    b.ops(
        "object of a value",
        &[int((0, u64::try_from(b.minutes).unwrap()), "load")],
        RejectCode::UnknownObject,
    );
    b.ops(
        "object made later",
        &[int((0, start + 1), "load"), Op::make((0, b.work_map), "aaaaaa-7")],
        RejectCode::UnknownObject,
    );
    b.ops("itself", &[Op::make((0, start), "aaaaaa-7")], RejectCode::UnknownObject);
    let mut unknown = b.next().ops(&[int((1, b.session), "minutes")]);
    unknown.others = vec![vec![8; 16]];
    b.is("unknown actor", &unknown.chunk(), RejectCode::UnknownObject);
    b.ops("second map", &[Op::make((0, b.work_map), "aaaaaa-1")], RejectCode::SecondMap);
    b.ops("second inner map", &[Op::make((0, b.session), "work")], RejectCode::Action);
    let twice = [Op::make((0, b.work_map), "aaaaaa-8"), Op::make((0, b.work_map), "aaaaaa-8")];
    b.ops("two maps in one change", &twice, RejectCode::SecondMap);
    let inner = |n| Op::make((0, start + n), "sets");
    let inner_twice = [Op::make((0, b.work_map), "aaaaaa-8"), inner(0), inner(0)];
    b.ops("two inner maps in one change", &inner_twice, RejectCode::SecondMap);
    for key in ["", "main", "x", "aaaaaa-01", "AAAAAA-1", "aaaaaa-9999999999", "gone"] {
        b.ops("record key", &[Op::make((0, b.work_map), key)], RejectCode::Key);
    }
    b.ops("huge key", &[Op::make((0, b.work_map), &"k".repeat(200_000))], RejectCode::Key);
    b.ops("value as record", &[int((0, b.work_map), "aaaaaa-9")], RejectCode::Action);
    b.ops("value over a record", &[int((0, b.work_map), "aaaaaa-1")], RejectCode::Action);
    b.ops("map over a field", &[Op::make((0, b.session), "minutes")], RejectCode::Action);
    b.ops("map as new field", &[Op::make((0, b.session), "deeper")], RejectCode::Action);
    b.ops("value over the inner map", &[int((0, b.session), "work")], RejectCode::Action);
    b.ops("unknown field", &[int((0, b.session), "tempo")], RejectCode::UnknownField);
    let said = b.refused(&b.next().ops(&[int((0, b.session), "tempo")]).chunk()).to_string();
    assert!(said.contains("newer") && said.contains("tempo"), "{said}");
    b.ops("huge field", &[int((0, b.session), &"f".repeat(100_000))], RejectCode::UnknownField);
    b.ops(
        "predecessor of a map",
        &[Op::make((0, b.work_map), "aaaaaa-9").pred(0, b.minutes)],
        RejectCode::Pred,
    );
    let mut deep = vec![Op::make((0, b.work_map), "aaaaaa-5")];
    deep.extend((0..3_000).map(|n| Op::make((0, start + n), "aaaaaa-6")));
    b.ops("deep nesting", &deep, RejectCode::Action);
}

#[test]
fn a_single_map_takes_no_second_record() {
    let me = actor(0, [1; 8]);
    let mut doc = open(Kind::Plan, me);
    let index = GateIndex::new(Kind::Plan).unwrap();
    let start = doc.get_changes(&[])[0].clone();
    let (_, about) = doc.get(automerge::ROOT, "about").unwrap().unwrap();
    let (_, main) = doc.get(&about, "main").unwrap().unwrap();
    let after = |ops: &[Op]| {
        let parts = Parts { actor: me.0.to_vec(), seq: 1, others: vec![vec![0; 16]], ..Parts::after(&start) };
        index.check(&parts.ops(ops).chunk(), &anyone)
    };
    let (about, main) = (counter(&about), counter(&main));
    assert_eq!(after(&[Op::make((1, about), "main")]).unwrap_err().code, RejectCode::Key);
    assert_eq!(after(&[Op::make((1, about), "aaaaaa-0")]).unwrap_err().code, RejectCode::Key);
    let title = Op::set((1, main), "title", (6, b"spring".to_vec()));
    assert!(after(&[title]).is_ok());
}

#[test]
fn actions_and_values() {
    let b = Base::new();
    let set = |value| Op::set((0, b.session), "minutes", value);
    let act = |action| Op { action, ..Op::make((0, b.session), "minutes") };
    let load = |op: Op| op.pred(0, b.minutes);
    b.ops("list", &[act(2)], RejectCode::Action);
    b.ops("text", &[act(4)], RejectCode::Action);
    b.ops("increment", &[load(Op { action: 5, ..set((4, vec![1])) })], RejectCode::Action);
    b.ops("table", &[act(6)], RejectCode::Action);
    b.ops("mark", &[act(7)], RejectCode::Action);
    b.ops("unknown action", &[act(1 << 40)], RejectCode::Action);
    b.ops("insertion", &[Op { insert: true, ..set((4, vec![1])) }], RejectCode::Action);
    b.ops("an element", &[Op { key: None, ..set((4, vec![1])) }], RejectCode::Action);
    b.ops("deletion without predecessors", &[act(3)], RejectCode::Pred);
    b.ops(
        "deletion of a record",
        &[Op::make((0, b.work_map), "aaaaaa-1").pred(0, i64::try_from(b.work).unwrap())],
        RejectCode::SecondMap,
    );
    let gone =
        Op { action: 3, ..Op::make((0, b.work_map), "aaaaaa-1") }.pred(0, i64::try_from(b.work).unwrap());
    b.ops("deletion of a record", &[gone], RejectCode::Action);
    let field = b.next().ops(&[load(act(3))]).chunk();
    b.refused_by_document("deletion of the only value", &field);
    b.ops("unsigned", &[load(set((3, vec![1])))], RejectCode::ValueType);
    b.ops("NaN", &[load(set((5, f64::NAN.to_le_bytes().to_vec())))], RejectCode::ValueType);
    b.ops("short float", &[load(set((5, vec![1])))], RejectCode::ValueType);
    b.ops("counter", &[load(set((8, vec![1])))], RejectCode::ValueType);
    b.ops("unknown type", &[load(set((12, vec![1])))], RejectCode::ValueType);
    b.ops("text for a number", &[load(set((6, vec![65])))], RejectCode::ValueType);
    b.ops("time for a number", &[load(set((9, vec![1])))], RejectCode::ValueType);
    b.ops("yes for a number", &[load(set((2, vec![])))], RejectCode::ValueType);
    b.ops("minutes below 0", &[load(Op::int((0, b.session), "minutes", -1))], RejectCode::ValueRange);
    b.ops("a session of days", &[load(Op::int((0, b.session), "minutes", 100_001))], RejectCode::ValueRange);
    b.ops("a long note", &[Op::set((0, b.session), "comment", (6, vec![65; 2_001]))], RejectCode::ValueRange);
    let set_of = |bytes: Vec<u8>| [Op::set((0, b.sets), "aaaaaa-9", (7, bytes))];
    for (what, bytes) in [
        ("a load below 0", did(-1)),
        ("a load of tons", did(100_001)),
        ("many bytes", vec![1; 50_000]),
        ("no set at all", Vec::new()),
        ("a set without its moment", vec![0xa1, 3, 5]),
        ("a set in a list", vec![0x81, 1]),
        ("a set of endless lists", vec![0x9f; 5_000]),
        ("a map of 2^64 parts", [&[0xbb][..], &[0xff; 8]].concat()),
    ] {
        b.ops(what, &set_of(bytes), RejectCode::ValueRange);
    }
    b.passes(&b.next().ops(&set_of(did(9_000))).chunk());
    b.ops("text for a set", &[Op::set((0, b.sets), "aaaaaa-9", (6, vec![65]))], RejectCode::ValueType);
    b.ops("a number for a set", &[Op::int((0, b.sets), "aaaaaa-9", 1)], RejectCode::ValueType);
    b.ops("nothing for a set", &[Op::set((0, b.sets), "aaaaaa-9", (0, vec![]))], RejectCode::ValueType);
    b.ops("a map for a set", &[Op::make((0, b.sets), "aaaaaa-9")], RejectCode::Action);
    b.ops("a set twice", &[set_of(did(1)), set_of(did(2))].concat(), RejectCode::SecondMap);
    let own = i64::try_from(b.set).unwrap();
    let over = Op::set((0, b.sets), "aaaaaa-2", (7, did(1)));
    b.ops("a set over a set", std::slice::from_ref(&over), RejectCode::SecondMap);
    b.ops("a set in the place of a set", &[over.pred(0, own)], RejectCode::SecondMap);
    let gone = Op { action: 3, ..Op::make((0, b.sets), "aaaaaa-2") }.pred(0, own);
    b.ops("deletion of a set", &[gone], RejectCode::Action);
    b.ops("a set that replaces a field", &set_of(did(1)).map(|op| op.pred(0, b.minutes)), RejectCode::Pred);
    b.ops("a field of a set", &[Op::int((0, b.set), "load", 1)], RejectCode::UnknownObject);
    b.ops("a map in a set", &[Op::make((0, b.set), "aaaaaa-9")], RejectCode::UnknownObject);
    for key in ["", "main", "x", "aaaaaa-01", "AAAAAA-1", "gone"] {
        b.ops("key of a set", &[Op::set((0, b.sets), key, (7, did(1)))], RejectCode::Key);
    }
    b.ops("broken text", &[Op::set((0, b.session), "comment", (6, vec![0xff]))], RejectCode::Encoding);
    b.ops("nothing with bytes", &[load(set((0, vec![1])))], RejectCode::Encoding);
    b.ops(
        "a map with a value",
        &[Op { value: (4, vec![1]), ..Op::make((0, b.work_map), "aaaaaa-9") }],
        RejectCode::Encoding,
    );
    assert_eq!(MAP.0, 0);
}

#[test]
fn predecessors() {
    let b = Base::new();
    let start = i64::try_from(b.next().start_op).unwrap();
    let load = |n| Op::int((0, b.session), "minutes", n);
    b.ops("of the future", &[load(1).pred(0, start + 50)], RejectCode::Pred);
    b.ops("itself", &[load(1).pred(0, start)], RejectCode::Pred);
    b.ops(
        "of a field that nobody wrote",
        &[Op::int((0, b.session), "zone", 1).pred(0, b.minutes)],
        RejectCode::Pred,
    );
    b.ops("operation 0", &[load(1).pred(0, 0)], RejectCode::OpNumber);
    b.ops("negative", &[load(1).pred(0, -5)], RejectCode::Encoding);
    b.ops("twice", &[load(1).pred(0, b.minutes).pred(0, b.minutes)], RejectCode::Encoding);
    b.ops("descending", &[load(1).pred(0, b.effort).pred(0, b.minutes)], RejectCode::Encoding);
    b.ops(
        "second write without the first",
        &[load(1).pred(0, b.minutes), load(2).pred(0, b.minutes)],
        RejectCode::Pred,
    );
    let chunk = |op: Op| b.next().ops(&[op]).chunk();
    b.refused_by_document("missing operation", &chunk(load(1).pred(0, start - 1)));
    b.refused_by_document("of the starting change", &chunk(load(1).pred(0, 3)));
    b.refused_by_document("other key", &chunk(load(1).pred(0, b.effort)));
    b.refused_by_document("none where one was seen", &chunk(load(1)));
    b.refused_by_document("one too many", &chunk(load(1).pred(0, b.minutes).pred(0, b.effort)));
    let mut other = b.next().ops(&[load(1).pred(1, b.minutes)]);
    other.others = vec![vec![0; 16]];
    b.refused_by_document("other actor", &other.chunk());
    b.passes(&b.next().ops(&[load(1).pred(0, b.minutes), load(2).pred(0, start)]).chunk());
}

#[test]
fn an_object_must_have_been_seen() {
    // Two people; the second has not seen the first one's new record and writes into it all the same.
    let b = Base::new();
    let start = b.next().start_op;
    let make = b.next().ops(&[Op::make((0, b.work_map), "aaaaaa-5")]);
    let you = actor(1, [4; 8]);
    let mut blind = Parts { actor: you.0.to_vec(), seq: 1, others: vec![b.me.0.to_vec()], ..b.next() };
    blind.start_op = start;
    // Counted as if it followed something of the same height.
    let beside = Parts { actor: actor(2, [4; 8]).0.to_vec(), seq: 1, ..b.next() }.ops(&[]);
    let filler = Parts { others: vec![b.me.0.to_vec()], ..beside }
        .ops(&[Op::int((1, b.session), "zone", 1), Op::int((1, b.session), "season", 2027)]);
    blind.deps = vec![raw::name(&filler.chunk())];
    blind.start_op = start + 2;
    let blind = blind.ops(&[Op::set((1, start), "note", (6, vec![65]))]);
    let upload = [make.chunk(), filler.chunk(), blind.chunk()].concat();
    let rejected = b.index.check(&upload, &anyone).unwrap_err();
    assert_eq!((rejected.code, rejected.change), (RejectCode::UnknownObject, Some(2)), "{rejected}");
    // Having seen both it may.
    let mut deps = vec![raw::name(&filler.chunk()), raw::name(&make.chunk())];
    deps.sort_unstable();
    let seen = Parts { deps, ..blind };
    b.passes(&[make.chunk(), filler.chunk(), seen.chunk()].concat());
}
