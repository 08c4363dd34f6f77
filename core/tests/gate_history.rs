//! What a writer may have seen: uploads of several people about one record, each on a piece of history of its own. The
//! gate keeps what it worked out for one change for the next one; here it must not.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod gate_support;

use automerge::{Automerge, Change};
use backstraight_core::base::id::{ActorId, ChangeHash};
use backstraight_core::doc::gate::{self, GateIndex, RejectCode, Rejected, Verdict};
use backstraight_core::doc::genesis;
use backstraight_core::model::name::Kind;
use gate_support::raw::{self, Op, Parts};
use gate_support::{actor, anyone, install};

/// Somebody's first change, after all of `deps`, which end with an operation of that number.
fn after(who: u8, deps: &[&[u8]], last_op: u64) -> Parts {
    Parts {
        actor: actor(who, [2; 8]).0.to_vec(),
        seq: 1,
        start_op: last_op + 1,
        deps: deps.iter().map(|chunk| raw::name(chunk)).collect(),
        ..Parts::default()
    }
}

fn start() -> (Vec<u8>, u64) {
    let bytes = genesis::bytes(Kind::Log).to_vec();
    let last = Change::from_bytes(bytes.clone()).unwrap().max_op();
    (bytes, last)
}

/// A check-in that person 1 makes, and the number of the operation that makes it.
fn made() -> (Vec<u8>, u64) {
    let (start, last) = start();
    let parts = Parts { others: vec![genesis::ACTOR.to_vec()], ..after(1, &[&start], last) };
    (parts.ops(&[Op::make((1, 4), "zzzzzz-0")]).chunk(), last + 1)
}

/// A field of that check-in, written by somebody.
fn writes(parts: Parts, record: u64, field: &str) -> Vec<u8> {
    let parts = Parts { others: vec![actor(1, [2; 8]).0.to_vec()], ..parts };
    parts.ops(&[Op::int((1, record), field, 3)]).chunk()
}

fn index(stored: &[&[u8]]) -> GateIndex {
    GateIndex::from_changes(Kind::Log, &stored.concat()).unwrap()
}

fn check(index: &GateIndex, upload: &[&[u8]]) -> Result<usize, RejectCode> {
    match index.check(&upload.concat(), &anyone) {
        Ok(Verdict::Accept(accepted)) => Ok(accepted.fresh().len()),
        Ok(Verdict::Need { .. }) => panic!("nothing is missing"),
        Err(rejected) => Err(rejected.code),
    }
}

const UNSEEN: Result<usize, RejectCode> = Err(RejectCode::UnknownObject);

#[test]
fn only_what_is_before_a_change_was_seen_by_its_author() {
    let ((start, last), (made, record)) = (start(), made());
    let beside = after(2, &[&start], last).chunk();
    // Two heads: who follows the record alone may write to it, who follows the other may not.
    let two = index(&[&made, &beside]);
    assert_eq!(check(&two, &[&writes(after(3, &[&made], record), record, "fresh")]), Ok(1));
    assert_eq!(check(&two, &[&writes(after(3, &[&beside], last), record, "fresh")]), UNSEEN);
    // One head, which came after what the author follows.
    let parts = Parts { others: vec![genesis::ACTOR.to_vec()], ..after(1, &[&beside], last) };
    let later = parts.ops(&[Op::make((1, 4), "zzzzzz-0")]).chunk();
    let line = index(&[&beside, &later]);
    assert_eq!(check(&line, &[&writes(after(3, &[&beside], last), last + 1, "fresh")]), UNSEEN);
    // A change of the upload itself lies between.
    let between = after(3, &[&made], record).chunk();
    let far = writes(after(4, &[&between], record), record, "fresh");
    assert_eq!(check(&two, &[&between, &far]), Ok(2));
}

#[test]
fn what_one_author_saw_says_nothing_of_the_next() {
    let ((start, last), (made, record)) = (start(), made());
    let line = after(2, &[&made], record).chunk();
    let beside = after(3, &[&start], last).chunk();
    let stored = index(&[&made, &line, &beside]);
    let saw = writes(after(4, &[&line], record), record, "fresh");
    let did_not = writes(after(5, &[&beside], last), record, "calm");
    assert_eq!(check(&stored, &[&saw]), Ok(1));
    assert_eq!(check(&stored, &[&did_not]), UNSEEN);
    assert_eq!(check(&stored, &[&saw, &did_not]), UNSEEN);
}

#[test]
fn each_install_of_an_upload_is_asked_about() {
    let (start, last) = start();
    let by = |who| after(who, &[&start], last).chunk();
    let index = index(&[]);
    let check = |upload: &[&[u8]]| index.check(&upload.concat(), &|who| who == install(1));
    assert!(check(&[&by(1)]).is_ok());
    for upload in [[by(1), by(2)], [by(2), by(1)]] {
        let refused = check(&[&upload[0], &upload[1]]).unwrap_err();
        assert_eq!(refused.code, RejectCode::ForgedActor);
    }
}

#[test]
fn a_refusal_says_what_was_expected_and_quotes_nobody() {
    let ((start, last), (made, record)) = (start(), made());
    let stored = index(&[&made]);
    let at = |chunk: &[u8]| stored.check(chunk, &anyone).map(drop).map_err(|r| (r.code, r.at)).unwrap_err();
    let early = Parts { start_op: last, ..after(2, &[&start], last) }.chunk();
    assert_eq!(at(&early), (RejectCode::StartOp, format!("{last} instead of {}", last + 1)));
    let field = |name: &str| at(&writes(after(2, &[&made], record), record, name)).1;
    assert_eq!(field("later_field"), "later_field of a check-in");
    assert_eq!(field(&"f".repeat(24)), format!("{} of a check-in", "f".repeat(24)));
    for odd in ["f".repeat(25), "Anna".to_owned(), "anna e".to_owned(), "anna7".to_owned()] {
        assert_eq!(field(&odd), "odd name of a check-in");
    }
    assert_eq!(RejectCode::Stale.to_string(), "stale");
    let gone = Op { action: 3, ..Op::make((1, 4), "zzzzzz-0") }.pred(2, i64::try_from(record).unwrap());
    let others = vec![genesis::ACTOR.to_vec(), actor(1, [2; 8]).0.to_vec()];
    let deletes = Parts { others, ..after(2, &[&made], record) }.ops(&[gone]).chunk();
    assert_eq!(at(&deletes), (RejectCode::Action, "a deletion".to_owned()));
}

#[test]
fn the_index_tells_what_it_holds() {
    let ((start, last), (made, record)) = (start(), made());
    let (empty, one) = (index(&[]), index(&[&made]));
    assert_eq!((empty.is_empty(), empty.max_op()), (true, last));
    assert_eq!((one.is_empty(), one.max_op()), (false, record));
    let name = |chunk: &[u8]| ChangeHash(raw::name(chunk));
    assert_eq!([&start, &made].map(|c| one.knows(&name(c))), [true, true]);
    assert_eq!([&start, &made].map(|c| empty.knows(&name(c))), [true, false]);
    assert_eq!(one.hashes().collect::<Vec<_>>(), [name(&start), name(&made)]);
    assert_eq!(one.heads(), [name(&made)]);
    // Of two heads the one that went further counts.
    let beside = after(2, &[&start], last).chunk();
    assert_eq!(index(&[&made, &beside]).max_op(), record);
}

/// What was stored is loaded whole and of its kind, or not at all.
#[test]
fn a_stored_document_is_checked_before_it_is_believed() {
    let ((start, _), (made, record)) = (start(), made());
    let last = after(2, &[&made], record).chunk();
    let verify = |chunks: &[&[u8]]| gate::verify_whole(Kind::Log, &chunks.concat());
    let code = |result: Result<Automerge, Rejected>| result.map(drop).map_err(|r| r.code);
    let heads = verify(&[&start, &made, &last]).unwrap().get_heads();
    assert_eq!(heads.iter().map(|h| h.0).collect::<Vec<_>>(), [raw::name(&last)]);
    assert!(verify(&[&start, &last]).is_err(), "it waits for what is left out");
    assert_eq!(code(verify(&[genesis::bytes(Kind::Care)])), Err(RejectCode::Unfaithful), "of another kind");
    assert_eq!(code(verify(&[b"no document"])), Err(RejectCode::Engine));
}

/// The stored form of the index, damaged by hand: a count, then one change of a new actor.
#[test]
fn a_damaged_delta_is_refused() {
    let entry = |flags: u8, rest: &[u8]| {
        let id = ActorId([9; 16]).0;
        [&[1, 1, flags][..], &[5; 32], &id, rest].concat()
    };
    let replay = |bytes: &[u8]| GateIndex::replay(Kind::Log, [bytes]).map(|i| i.len()).map_err(|r| r.code);
    let damaged = Err(RejectCode::IndexDamaged);
    // No operation, one ancestor, so far back: the starting change is one before, none is the change itself.
    assert_eq!(replay(&entry(1, &[0, 1, 1])), Ok(2));
    assert_eq!([replay(&entry(1, &[0, 1, 0])), replay(&entry(1, &[0, 1, 2]))], [damaged; 2]);
    // Which follows just the change before, and so says no ancestors.
    assert_eq!([replay(&entry(1 | 4, &[0])), replay(&entry(1 | 4, &[0, 1, 1]))], [Ok(2), damaged]);
    // A record made in a map of records, by a key of two numbers; the first has thirty bits.
    let record = |start: u64| {
        let mut rest = vec![1, 1, 0, 1, 2];
        raw::uleb(&mut rest, start);
        rest.push(7);
        entry(1 | 4 | 8, &rest)
    };
    assert_eq!(replay(&record((1 << 30) - 1)), Ok(2));
    assert_eq!(replay(&record(1 << 30)), damaged);
    // What stands inside a record is its inner map and nothing else, whichever map of records it is made in.
    for map in 1..=4 {
        let inside = |key: &[u8]| entry(1 | 4 | 8, &[&[2, 2, 0, map, 2, 3, 7, 1, 1][..], key].concat());
        assert_eq!([replay(&inside(&[1, 8])), replay(&inside(&[2, 3, 8]))], [damaged; 2], "{map} back");
    }
}

/// What was stored of the index knows every key: a second record at one would hide the first.
#[test]
fn an_index_that_was_read_back_knows_which_keys_are_taken() {
    let (start, last) = start();
    let make = |who, key: &str| {
        let parts = Parts { others: vec![genesis::ACTOR.to_vec()], ..after(who, &[&start], last) };
        parts.ops(&[Op::make((1, 4), key)]).chunk()
    };
    let made = index(&[&make(1, "zzzzzz-5"), &make(2, "zzzzzy-6")]);
    let back = GateIndex::replay(Kind::Log, [made.whole_delta().as_slice()]).unwrap();
    for index in [&made, &back] {
        for taken in ["zzzzzz-5", "zzzzzy-6"] {
            assert_eq!(check(index, &[&make(3, taken)]), Err(RejectCode::SecondMap), "{taken}");
        }
        for free in ["zzzzzz-4", "zzzzzz-1", "zzzzzz-0", "zzzzzy-5", "zzzzzz-6"] {
            assert_eq!(check(index, &[&make(3, free)]), Ok(1), "{free}");
        }
    }
}
