//! Both sides of every limit of the gate.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod gate_support;

use automerge::Change;
use backstraight_core::doc::chunk;
use backstraight_core::doc::gate::{GateIndex, RejectCode, Verdict, limits};
use backstraight_core::doc::genesis;
use backstraight_core::model::name::Kind;
use gate_support::raw::{self, Op, Parts};
use gate_support::{actor, anyone};

fn start() -> Change {
    Change::from_bytes(genesis::bytes(Kind::Log).to_vec()).unwrap()
}

/// The first change of an actor.
fn first(n: u8) -> Parts {
    Parts { actor: actor(n, [2; 8]).0.to_vec(), seq: 1, ..Parts::after(&start()) }
}

fn parses(parts: &Parts) -> Result<usize, RejectCode> {
    chunk::parse(&parts.chunk()).map(|c| c.ops.len()).map_err(|r| r.code)
}

fn fields(n: usize) -> Vec<Op> {
    (0..n).map(|i| Op::int((0, 7), "load", i64::try_from(i % 50).unwrap())).collect()
}

#[test]
fn operations_of_a_change() {
    assert_eq!(parses(&first(0).ops(&fields(limits::CHANGE_OPS))), Ok(4_096));
    assert_eq!(parses(&first(0).ops(&fields(limits::CHANGE_OPS + 1))), Err(RejectCode::TooManyOps));
}

#[test]
fn predecessors() {
    let with = |n: i64| {
        let op = (0..n).fold(Op::int((0, 7), "load", 1), |op, p| op.pred(0, p + 1));
        Parts { start_op: 100, ..first(0) }.ops(&[op])
    };
    assert_eq!(parses(&with(64)), Ok(1));
    assert_eq!(parses(&with(65)), Err(RejectCode::TooManyPreds));
    let many = |ops: usize, more: i64| {
        let op = (0..64).fold(Op::int((0, 7), "load", 1), |op, p| op.pred(0, p + 1));
        let mut all = vec![op; ops];
        all.push((0..more).fold(Op::int((0, 7), "load", 1), |op, p| op.pred(0, p + 1)));
        Parts { start_op: 100, ..first(0) }.ops(&all)
    };
    assert_eq!(parses(&many(64, 0)), Ok(65));
    assert_eq!(parses(&many(64, 1)), Err(RejectCode::TooManyPreds));
}

#[test]
fn ancestors_and_actors() {
    let deps = |n: u8| Parts { deps: (0..n).map(|d| [d; 32]).collect(), ..first(0) };
    assert_eq!(parses(&deps(64)), Ok(0));
    assert_eq!(parses(&deps(65)), Err(RejectCode::TooManyDeps));
    let others = |n: u8| {
        let ops: Vec<_> = (1..=u64::from(n)).map(|a| Op::int((a, 7), "load", 1)).collect();
        Parts { others: (0..n).map(|a| vec![100 + a; 16]).collect(), ..first(0) }.ops(&ops)
    };
    assert_eq!(parses(&others(64)), Ok(64));
    assert_eq!(parses(&others(65)), Err(RejectCode::TooManyActors));
}

#[test]
fn message_time_and_numbers() {
    let message = |n| Parts { message: vec![b'x'; n], ..first(0) };
    assert_eq!(parses(&message(200)), Ok(0));
    assert_eq!(parses(&message(201)), Err(RejectCode::Message));
    let most = i64::try_from(limits::TIME_SECONDS).unwrap();
    for time in [most, -most] {
        assert_eq!(parses(&Parts { time, ..first(0) }), Ok(0));
        assert_eq!(parses(&Parts { time: time + time.signum(), ..first(0) }), Err(RejectCode::Time));
    }
    let from = |start_op| Parts { start_op, ..first(0) }.ops(&fields(2));
    assert_eq!(parses(&from(limits::MAX_OP - 2)), Ok(2));
    assert_eq!(parses(&from(limits::MAX_OP - 1)), Err(RejectCode::OpNumber));
}

#[test]
fn bytes_and_changes() {
    let sized = |n: usize| {
        let empty = Op::set((0, 7), "note", (6, vec![b'n'; 200_000]));
        let base = first(0).ops(std::slice::from_ref(&empty)).contents().len();
        let mut op = empty;
        op.value.1.resize(200_000 + n - base, b'n');
        first(0).ops(&[op])
    };
    assert_eq!(sized(limits::CHUNK_BYTES).contents().len(), limits::CHUNK_BYTES);
    assert_eq!(parses(&sized(limits::CHUNK_BYTES)), Ok(1));
    assert_eq!(parses(&sized(limits::CHUNK_BYTES + 1)), Err(RejectCode::TooLarge));
    let one = first(0).chunk();
    assert_eq!(chunk::split(&one.repeat(limits::UPLOAD_CHANGES)).unwrap().len(), 2_000);
    let many = chunk::split(&one.repeat(limits::UPLOAD_CHANGES + 1)).unwrap_err();
    assert_eq!(many.code, RejectCode::TooManyChanges);
    let big = sized(limits::CHUNK_BYTES).chunk();
    let fits = limits::UPLOAD_BYTES / big.len();
    assert!(chunk::split(&big.repeat(fits)).is_ok());
    assert_eq!(chunk::split(&big.repeat(fits + 1)).unwrap_err().code, RejectCode::TooLarge);
}

/// A chain of changes by one actor: a record with this many fields set again and again.
fn chain(changes: usize, ops: usize) -> Vec<u8> {
    let mut upload = Vec::new();
    let mut parts = first(0);
    for n in 0..changes {
        let map = (1, 4);
        let start = parts.start_op;
        let mut all = vec![Op::make(map, &format!("aaaaaa-{n}"))];
        let again = |i: usize| {
            let op = Op::int((0, start), "sleep", 1 + i64::try_from(i % 7).unwrap());
            if i == 0 { op } else { op.pred(0, i64::try_from(start).unwrap() + i64::try_from(i).unwrap()) }
        };
        all.extend((0..ops - 1).map(again));
        parts.others = vec![vec![0; 16]];
        parts = parts.ops(&all);
        let bytes = parts.chunk();
        let (seq, start_op) = (parts.seq + 1, start + ops as u64);
        parts =
            Parts { deps: vec![raw::name(&bytes)], actor: parts.actor, seq, start_op, ..Parts::default() };
        upload.extend(bytes);
    }
    upload
}

#[test]
fn operations_of_an_upload() {
    let index = GateIndex::new(Kind::Log).unwrap();
    let most = limits::UPLOAD_OPS / limits::CHANGE_OPS;
    let Verdict::Accept(all) = index.check(&chain(most, limits::CHANGE_OPS), &anyone).unwrap() else {
        panic!()
    };
    assert_eq!((all.fresh().len(), all.needs_document()), (most, false));
    let mut more = chain(most, limits::CHANGE_OPS);
    let last = all.fresh().last().unwrap();
    let next = Parts {
        deps: vec![last.hash.0],
        actor: last.actor.0.to_vec(),
        seq: last.seq + 1,
        start_op: last.max_op + 1,
        others: vec![vec![0; 16]],
        ..Parts::default()
    };
    more.extend(next.ops(&[Op::make((1, 4), "bbbbbb-0")]).chunk());
    assert_eq!(index.check(&more, &anyone).unwrap_err().code, RejectCode::TooManyOps);
}

#[test]
fn actors_of_a_document() {
    let by = |n: usize| {
        let mut start = [0; 8];
        start.copy_from_slice(&(n as u64).to_be_bytes());
        Parts { actor: actor(0, start).0.to_vec(), ..first(0) }.chunk()
    };
    // The starting change's actor is one of them.
    let all: Vec<u8> = (1..limits::DOC_ACTORS).flat_map(by).collect();
    let index = GateIndex::from_changes(Kind::Log, &all).unwrap();
    assert_eq!(index.heads().len(), limits::DOC_ACTORS - 1);
    let refused = index.check(&by(limits::DOC_ACTORS), &anyone).unwrap_err();
    assert_eq!(refused.code, RejectCode::TooManyActors);
    let replayed = GateIndex::replay(Kind::Log, [index.whole_delta().as_slice()]).unwrap();
    assert_eq!(replayed.heads(), index.heads());
}

#[test]
fn looking_back_is_bounded() {
    // One person makes a record; a long line of another's changes follows; a third stands beside.
    let long = 21_000;
    let mut maker = first(1);
    maker.others = vec![vec![0; 16]];
    let maker = maker.ops(&[Op::make((1, 4), "zzzzzz-0")]);
    let mut stored = maker.chunk();
    let mut line = Parts { deps: vec![raw::name(&stored)], start_op: maker.start_op + 1, ..first(0) };
    for _ in 0..long {
        let bytes = line.chunk();
        line.deps = vec![raw::name(&bytes)];
        line.seq += 1;
        stored.extend(bytes);
    }
    stored.extend(first(3).chunk());
    let index = GateIndex::from_changes(Kind::Log, &stored).unwrap();
    // Each of many new actors follows the end of the line and writes into the record far back.
    let asker = |n: usize| {
        let fields = ["fresh", "muscles", "calm", "mood", "mass", "sleep"];
        let who = actor(2, (n as u64).to_be_bytes()).0.to_vec();
        let op = Op::int((1, maker.start_op), fields[n % 6], if n % 6 == 4 { 7_000 } else { 3 });
        let parts = Parts { actor: who, others: vec![maker.actor.clone()], ..line.clone() };
        Parts { seq: 1, ..parts }.ops(&[op]).chunk()
    };
    let most = limits::WALK_STEPS / (long + 1);
    let fits: Vec<u8> = (0..most).flat_map(asker).collect();
    assert!(matches!(index.check(&fits, &anyone), Ok(Verdict::Accept(_))));
    let more: Vec<u8> = (0..most + 2).flat_map(asker).collect();
    assert_eq!(index.check(&more, &anyone).unwrap_err().code, RejectCode::TooMuchHistory);
}
