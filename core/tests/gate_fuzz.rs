//! Mutated changes with repaired checksums: nothing panics, and whatever the gate lets through
//! merges or is refused cleanly, saves and loads again. The seed is fixed, the number bounded;
//! `GATE_FUZZ_INPUTS` and `GATE_FUZZ_SEED` ask for another run.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod gate_support;

use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::AutoCommit;
use backstraight_core::doc::chunk;
use backstraight_core::doc::gate::{GateIndex, RejectCode, Verdict, delta_bytes};
use backstraight_core::doc::thin::{ThinLimits, pack, unpack};
use backstraight_core::model::name::Kind;
use gate_support::engine::{merge, verify_whole};
use gate_support::honest::{Writer, plain};
use gate_support::{Rng, anyone, raw};

fn number(name: &str, or: u64) -> u64 {
    std::env::vars().find(|(k, _)| k == name).and_then(|(_, v)| v.parse().ok()).unwrap_or(or)
}

/// A document in which people met, and an honest upload that follows it.
struct Ground {
    kind: Kind,
    doc: AutoCommit,
    index: GateIndex,
    chunks: Vec<Vec<u8>>,
}

fn ground(seed: u64) -> Ground {
    let mut rng = Rng(seed);
    let kind = Kind::ALL[usize::try_from(seed % 8).unwrap()];
    let (mut a, mut b) = (Writer::new(kind, 0, &mut rng), Writer::new(kind, 1, &mut rng));
    for _ in 0..8 {
        a.step(&mut rng);
        b.step(&mut rng);
        if rng.one_in(3) {
            a.doc.merge(&mut b.doc).unwrap();
            b.doc.merge(&mut a.doc).unwrap();
        }
    }
    a.doc.merge(&mut b.doc).unwrap();
    let mut doc = a.doc.clone();
    let heads = doc.get_heads();
    let index = GateIndex::from_changes(kind, &plain(&mut doc, &[])).unwrap();
    for n in 0..5 {
        a.step(&mut rng);
        if n % 2 == 0 {
            b.step(&mut rng);
        }
    }
    a.doc.merge(&mut b.doc).unwrap();
    a.step(&mut rng);
    let chunks = a.doc.get_changes(&heads).iter().map(|c| c.raw_bytes().to_vec()).collect();
    Ground { kind, doc, index, chunks }
}

/// Contents of a chunk, and back.
fn contents(chunk: &[u8]) -> Vec<u8> {
    let mut at = 9;
    while chunk[at] & 0x80 != 0 {
        at += 1;
    }
    chunk[at + 1..].to_vec()
}

fn mutate(rng: &mut Rng, body: &mut Vec<u8>) {
    for _ in 0..=rng.below(3) {
        let at = rng.index(body.len());
        match rng.below(9) {
            0 => body[at] ^= 1 << rng.below(8),
            1 => body[at] = rng.bytes::<1>()[0],
            2 => body[at] = [0, 1, 0x7f, 0x80, 0xff, 2, 0x7e][rng.index(7)],
            3 => body.insert(at, rng.bytes::<1>()[0]),
            4 => {
                body.remove(at);
            }
            5 => body[at] = body[at].wrapping_add(1),
            6 => body[at] = body[at].wrapping_sub(1),
            7 => {
                let other = rng.index(body.len());
                body.swap(at, other);
            }
            _ => {
                let mut number = Vec::new();
                raw::uleb(&mut number, rng.next() >> rng.below(64));
                body.splice(at..at + 1, number);
            }
        }
        if body.is_empty() {
            body.push(0);
        }
    }
}

/// Takes a chunk apart and changes one part with its meaning kept: these get further than bytes.
fn rewrite(rng: &mut Rng, bytes: &[u8], all: &[Vec<u8>]) -> Option<Vec<u8>> {
    let parsed = chunk::parse(bytes).ok()?;
    let mut ops: Vec<raw::Op> = Vec::new();
    for op in &parsed.ops {
        let chunk::Obj::Map(map) = op.obj else { return None };
        let value = match op.action {
            chunk::Action::Set(v) => v,
            _ => chunk::Value::Null,
        };
        let number = |n: i64| {
            let mut out = Vec::new();
            raw::sleb(&mut out, n);
            out
        };
        let value = match value {
            chunk::Value::Null => (0, vec![]),
            chunk::Value::Bool(b) => (1 + u64::from(b), vec![]),
            chunk::Value::Int(n) => (4, number(n)),
            chunk::Value::Text(t) => (6, t.as_bytes().to_vec()),
            chunk::Value::Bytes(b) => (7, b.to_vec()),
            chunk::Value::Time(ms) => (9, number(ms)),
        };
        ops.push(raw::Op {
            obj: Some((map.actor as u64, map.counter)),
            key: Some(op.key.to_owned()),
            action: match op.action {
                chunk::Action::MakeMap => 0,
                chunk::Action::Set(_) => 1,
                chunk::Action::Drop => 3,
            },
            value,
            insert: false,
            preds: parsed
                .preds(op)
                .iter()
                .map(|p| (p.actor as u64, i64::try_from(p.counter).unwrap()))
                .collect(),
        });
    }
    let mut parts = raw::Parts {
        deps: parsed.deps.iter().map(|d| d.0).collect(),
        actor: parsed.actor.0.to_vec(),
        seq: parsed.seq,
        start_op: parsed.start_op,
        time: parsed.time,
        message: parsed.message.as_bytes().to_vec(),
        others: parsed.others.iter().map(|a| a.0.to_vec()).collect(),
        ..raw::Parts::default()
    };
    let donors: Vec<_> = all.iter().filter_map(|c| chunk::parse(c).ok()).collect();
    let donor = &donors[rng.index(donors.len())];
    let near = |rng: &mut Rng, n: u64| n.wrapping_add(rng.below(7)).saturating_sub(3);
    match rng.below(14) {
        0 => parts.start_op = near(rng, parts.start_op),
        1 => parts.seq = near(rng, parts.seq),
        2 => parts.deps = donor.deps.iter().map(|d| d.0).collect(),
        3 => {
            parts.deps.push(donor.hash.0);
            parts.deps.sort_unstable();
        }
        4 => {
            let n = rng.index(parts.deps.len().max(1));
            (n < parts.deps.len()).then(|| parts.deps.remove(n));
        }
        5 => parts.actor = donor.actor.0.to_vec(),
        _ if ops.is_empty() => {}
        what => {
            let n = rng.index(ops.len());
            let from = rng.index(ops.len());
            match what {
                6 => ops[n].obj = ops[from].obj,
                7 => ops[n].obj = ops[n].obj.map(|(a, c)| (a, near(rng, c))),
                8 => {
                    let key = ops[from].key.clone();
                    ops[n].key = key;
                }
                9 => {
                    let counter = near(rng, parts.start_op);
                    let preds = &mut ops[n].preds;
                    let actor = rng.below(parts.others.len() as u64 + 1);
                    preds.push((actor, i64::try_from(counter.saturating_sub(rng.below(12))).unwrap()));
                    preds.sort_by_key(|p| (p.1, p.0));
                }
                10 => drop(ops[n].preds.pop()),
                11 => {
                    let again = ops[n].clone();
                    ops.push(again);
                }
                12 => drop(ops.remove(n)),
                _ => ops[n].action = [0, 1, 3, 2, 5][rng.index(5)],
            }
        }
    }
    Some(parts.ops(&ops).chunk())
}

#[derive(Default, Debug)]
struct Tally {
    refused: u64,
    need: u64,
    accepted: u64,
    fresh: u64,
    refused_by_document: u64,
    unfaithful: u64,
    engine: u64,
}

#[test]
fn mutated_uploads_never_break_anything() {
    let inputs = number("GATE_FUZZ_INPUTS", 20_000);
    let seed = number("GATE_FUZZ_SEED", 0xf00d);
    let mut rng = Rng(seed);
    let mut tally = Tally::default();
    let mut at = None;
    // Panics of the document library are caught by the gate; a thousand backtraces help nobody.
    std::panic::set_hook(Box::new(|_| {}));
    for n in 0..inputs {
        if n % 200 == 0 {
            at = Some(ground(seed ^ (n / 200)));
        }
        let g = at.as_ref().unwrap();
        let mut chunks = g.chunks.clone();
        let which = rng.index(chunks.len());
        if rng.one_in(2) {
            if let Some(bytes) = rewrite(&mut rng, &chunks[which], &g.chunks) {
                chunks[which] = bytes;
            }
        } else {
            let mut body = contents(&chunks[which]);
            mutate(&mut rng, &mut body);
            chunks[which] = raw::chunk(1, &body);
        }
        // Later honest changes follow the one that was replaced: often it must come last.
        if rng.one_in(2) {
            chunks.truncate(which + 1);
        }
        let upload = chunks.concat();
        if let Err(panic) = catch_unwind(AssertUnwindSafe(|| one(g, &upload, &mut tally))) {
            let _ = std::panic::take_hook();
            let why = panic.downcast_ref::<String>().cloned().unwrap_or_default();
            panic!(
                "input {n} of seed {seed}: {why}\n{}",
                upload.iter().map(|b| format!("{b:02x}")).collect::<String>()
            );
        }
    }
    let _ = std::panic::take_hook();
    println!("{tally:?}");
    assert!(tally.accepted > inputs / 50, "{tally:?}");
    assert!(tally.refused > inputs / 4, "{tally:?}");
    assert_eq!(tally.engine, 0, "the document library panicked behind the gate: {tally:?}");
}

fn one(g: &Ground, upload: &[u8], tally: &mut Tally) {
    assert_eq!(unpack(&pack(upload), ThinLimits::default()).as_deref(), Ok(upload));
    let accepted = match g.index.check(upload, &anyone) {
        Err(_) => return tally.refused += 1,
        Ok(Verdict::Need { .. }) => return tally.need += 1,
        Ok(Verdict::Accept(accepted)) => accepted,
    };
    tally.accepted += 1;
    tally.fresh += accepted.fresh().len() as u64;
    let mut doc = g.doc.clone();
    match merge(&mut doc, &g.index, &accepted, upload) {
        Ok(()) => {}
        Err(r) => {
            // Only what was to be confirmed by the document may still be refused.
            assert!(accepted.needs_document(), "{r}");
            tally.refused_by_document += 1;
            tally.unfaithful += u64::from(r.code == RejectCode::Unfaithful);
            tally.engine += u64::from(r.code == RejectCode::Engine);
            return;
        }
    }
    let mut index = g.index.clone();
    index.admit(&accepted).unwrap();
    let deltas = [g.index.whole_delta(), delta_bytes(&accepted)];
    let replayed = GateIndex::replay(g.kind, deltas.iter().map(Vec::as_slice)).unwrap();
    assert_eq!(replayed.whole_delta(), index.whole_delta());
    let mut loaded = verify_whole(g.kind, &doc.save()).unwrap();
    let heads = |d: &mut AutoCommit| {
        let mut h: Vec<_> = d.get_heads().iter().map(|h| h.0).collect();
        h.sort_unstable();
        h
    };
    assert_eq!(heads(&mut loaded), heads(&mut doc));
    assert_eq!(heads(&mut loaded), index.heads().iter().map(|h| h.0).collect::<Vec<_>>());
    // It can still be written and read.
    use automerge::ReadDoc as _;
    loaded.hydrate(automerge::ROOT, None).unwrap();
    let mut own = loaded.with_actor(automerge::ActorId::from([7; 16]));
    own.empty_change(automerge::transaction::CommitOptions::default());
    AutoCommit::load(&own.save()).unwrap();
}

#[test]
fn damaged_deltas_are_refused() {
    let g = ground(3);
    let whole = g.index.whole_delta();
    let mut rng = Rng(11);
    for _ in 0..5_000 {
        let mut bad = whole.clone();
        mutate(&mut rng, &mut bad);
        // Whatever it says, it does not panic; most is noticed.
        let _ = GateIndex::replay(g.kind, [bad.as_slice()]);
    }
    for n in 0..whole.len() {
        assert!(GateIndex::replay(g.kind, [&whole[..n]]).is_err());
    }
}
