//! Honest clients are never refused, and the gate reads what the document library wrote.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod gate_support;

use automerge::{AutoCommit, ScalarValue, legacy};
use backstraight_core::base::id::{ActorId, ChangeHash, PersonId};
use backstraight_core::doc::chunk::{self, Action, Obj, Value};
use backstraight_core::doc::gate::{GateIndex, Verdict, delta_bytes};
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;
use backstraight_core::model::name::{DocName, Kind};
use gate_support::engine::{merge, verify_whole};
use gate_support::honest::{Writer, plain};
use gate_support::{Rng, anyone};

fn our_op_id(change: &chunk::Change<'_>, op: chunk::OpRef) -> (u64, Vec<u8>) {
    (op.counter, change.actor_of(op).unwrap().0.to_vec())
}

fn their_op_id(id: &legacy::OpId) -> (u64, Vec<u8>) {
    (id.0, id.1.to_bytes().to_vec())
}

fn same(change: &automerge::Change) {
    let raw = change.raw_bytes();
    let ours = chunk::parse(raw).unwrap();
    assert_eq!(ours.hash.0, change.hash().0);
    assert_eq!(ours.actor.0, change.actor_id().to_bytes());
    assert_eq!(
        (ours.seq, ours.start_op, ours.time),
        (change.seq(), change.start_op().get(), change.timestamp())
    );
    assert_eq!((ours.message, ours.max_op()), (change.message().unwrap_or(""), change.max_op()));
    assert_eq!(
        ours.deps.iter().map(|d| d.0).collect::<Vec<_>>(),
        change.deps().iter().map(|d| d.0).collect::<Vec<_>>()
    );
    let others: Vec<_> = change.other_actor_ids().iter().map(|a| a.to_bytes().to_vec()).collect();
    assert_eq!(ours.others.iter().map(|a| a.0.to_vec()).collect::<Vec<_>>(), others);
    let theirs = change.decode();
    assert_eq!(ours.ops.len(), theirs.operations.len());
    for (op, their) in ours.ops.iter().zip(&theirs.operations) {
        assert!(!their.insert);
        assert_eq!(legacy::Key::Map(op.key.into()), their.key);
        match (op.obj, &their.obj) {
            (Obj::Root, legacy::ObjectId::Root) => {}
            (Obj::Map(id), legacy::ObjectId::Id(t)) => assert_eq!(our_op_id(&ours, id), their_op_id(t)),
            other => panic!("{other:?}"),
        }
        let mut preds: Vec<_> = their.pred.iter().map(their_op_id).collect();
        preds.sort();
        assert_eq!(ours.preds(op).iter().map(|p| our_op_id(&ours, *p)).collect::<Vec<_>>(), preds);
        match (op.action, &their.action) {
            (Action::MakeMap, legacy::OpType::Make(automerge::ObjType::Map)) => {}
            (Action::Drop, legacy::OpType::Delete) => {}
            (Action::Set(value), legacy::OpType::Put(t)) => {
                let value = match value {
                    Value::Null => ScalarValue::Null,
                    Value::Bool(b) => ScalarValue::Boolean(b),
                    Value::Int(n) => ScalarValue::Int(n),
                    Value::Text(s) => ScalarValue::Str(s.into()),
                    Value::Bytes(b) => ScalarValue::Bytes(b.to_vec()),
                    Value::Time(ms) => ScalarValue::Timestamp(ms),
                };
                assert_eq!(&value, t);
            }
            other => panic!("{other:?}"),
        }
    }
}

fn heads(doc: &mut AutoCommit) -> Vec<[u8; 32]> {
    let mut heads: Vec<_> = doc.get_heads().iter().map(|h| h.0).collect();
    heads.sort_unstable();
    heads
}

#[test]
fn starting_changes_are_read_as_the_document_library_reads_them() {
    for kind in Kind::ALL {
        same(&automerge::Change::from_bytes(genesis::bytes(kind).to_vec()).unwrap());
    }
}

/// Writers exchange through a server that keeps an index, deltas, rows and a document.
struct Server {
    index: GateIndex,
    deltas: Vec<Vec<u8>>,
    stored: Vec<u8>,
    doc: AutoCommit,
    uploads: usize,
    with_document: usize,
    changes: usize,
}

impl Server {
    fn new(kind: Kind) -> Server {
        Server {
            index: GateIndex::new(kind).unwrap(),
            deltas: vec![],
            stored: genesis::bytes(kind).to_vec(),
            doc: AutoCommit::load(genesis::bytes(kind)).unwrap(),
            uploads: 0,
            with_document: 0,
            changes: 0,
        }
    }

    fn take(&mut self, upload: &[u8]) {
        let verdict = self.index.check(upload, &anyone).unwrap();
        let Verdict::Accept(accepted) = verdict else { panic!("needs more") };
        self.uploads += 1;
        self.changes += accepted.fresh().len();
        self.with_document += usize::from(accepted.needs_document());
        merge(&mut self.doc, &self.index, &accepted, upload).unwrap();
        self.deltas.push(delta_bytes(&accepted));
        self.stored.extend(accepted.fresh_bytes(upload));
        self.index.admit(&accepted).unwrap();
    }

    fn agrees(&mut self) {
        let theirs = heads(&mut self.doc);
        assert_eq!(self.index.heads().iter().map(|h| h.0).collect::<Vec<_>>(), theirs);
        let kind = self.index.kind();
        let rebuilt = GateIndex::replay(kind, self.deltas.iter().map(Vec::as_slice)).unwrap();
        let direct = GateIndex::from_changes(kind, &self.stored).unwrap();
        let whole = self.index.whole_delta();
        let from_whole = GateIndex::replay(kind, [whole.as_slice()]).unwrap();
        for index in [&rebuilt, &direct, &from_whole] {
            assert_eq!(index.heads(), self.index.heads());
            assert_eq!(index.whole_delta(), whole);
            assert_eq!(index.max_op(), self.index.max_op());
            assert!(index.hashes().eq(self.index.hashes()));
        }
        let mut loaded = verify_whole(kind, &self.stored).unwrap();
        assert_eq!(heads(&mut loaded), theirs);
        let mut again = verify_whole(kind, &self.doc.save()).unwrap();
        assert_eq!(heads(&mut again), theirs);
        if kind == Kind::Log {
            self.follows_from_the_document(&whole);
        }
    }

    /// The index is made again from the document when its order is known, and from nothing less or more.
    fn follows_from_the_document(&mut self, whole: &[u8]) {
        let name = DocName::Log(PersonId(uuid::Uuid::from_u128(1)), "2026-11".parse().unwrap());
        let document = Document::open(name, &self.doc.save()).unwrap();
        let names: Vec<_> = self.index.hashes().collect();
        let of = |names: &[ChangeHash]| {
            document.index_in_order(names.iter().copied()).map(|index| index.whole_delta())
        };
        assert_eq!(of(&names).as_deref(), Some(whole));
        let last = names[names.len() - 1];
        assert_eq!(of(&names[..names.len() - 1]), None);
        assert_eq!(of(&[&names[..], &[last]].concat()), None);
        assert_eq!(of(&[&names[..], &[ChangeHash([7; 32])]].concat()), None);
        if names.len() > 1 {
            assert_eq!(of(&[&[last], &names[..names.len() - 1]].concat()), None);
        }
    }
}

fn play(kind: Kind, seed: u64, people: u8) -> Server {
    let mut rng = Rng(seed);
    let mut server = Server::new(kind);
    let mut writers: Vec<Writer> = (0..people).map(|n| Writer::new(kind, n, &mut rng)).collect();
    for _ in 0..40 {
        let n = rng.index(writers.len());
        let writer = &mut writers[n];
        match rng.below(5) {
            0 => {
                // Up, then down: both sides end with the same changes.
                let known = server.doc.get_heads();
                let known: Vec<_> =
                    known.into_iter().filter(|h| writer.doc.get_change_by_hash(h).is_some()).collect();
                let upload = plain(&mut writer.doc, &known);
                server.take(&upload);
                let mine = writer.doc.get_heads();
                let down = plain(&mut server.doc, &mine);
                // The device has a gate of its own.
                let all = plain(&mut writer.doc, &[]);
                let mut own = GateIndex::from_changes(kind, &all).unwrap();
                let Verdict::Accept(news) = own.check(&down, &anyone).unwrap() else { panic!("needs more") };
                merge(&mut writer.doc, &own, &news, &down).unwrap();
                own.admit(&news).unwrap();
                assert_eq!(heads(&mut writer.doc), heads(&mut server.doc));
            }
            1 if rng.one_in(3) => writer.restart(u8::try_from(n).unwrap(), &mut rng),
            _ => writer.step(&mut rng),
        }
    }
    for writer in &mut writers {
        for change in writer.doc.get_changes(&[]) {
            same(&change);
        }
        let all = plain(&mut writer.doc, &[]);
        server.take(&all);
    }
    server.agrees();
    server
}

#[test]
fn honest_uploads_are_accepted_and_both_readers_agree() {
    let (mut uploads, mut changes, mut with_document) = (0, 0, 0);
    for seed in 0..90 {
        let kind = Kind::ALL[usize::try_from(seed % 8).unwrap()];
        let server = play(kind, seed, u8::try_from(1 + seed % 4).unwrap());
        uploads += server.uploads;
        changes += server.changes;
        with_document += server.with_document;
    }
    assert!(changes > 1_500, "{changes}");
    assert!(with_document > 100, "{with_document}");
    println!("{uploads} uploads, {changes} changes, {with_document} uploads needed the document");
}

#[test]
fn sending_again_changes_nothing() {
    let mut rng = Rng(5);
    let mut writer = Writer::new(Kind::Log, 0, &mut rng);
    (0..20).for_each(|_| writer.step(&mut rng));
    let upload = plain(&mut writer.doc, &[]);
    let mut server = Server::new(Kind::Log);
    server.take(&upload);
    let before = server.index.whole_delta();
    // Whoever sends it: known changes are not asked about.
    let Verdict::Accept(again) = server.index.check(&upload, &|_| false).unwrap() else { panic!() };
    assert_eq!((again.fresh().len(), again.known()), (0, server.index.len()));
    merge(&mut server.doc, &server.index, &again, &upload).unwrap();
    server.index.admit(&again).unwrap();
    assert_eq!(server.index.whole_delta(), before);
}

#[test]
fn missing_ancestors_are_asked_for_and_not_refused() {
    let mut rng = Rng(6);
    let mut writer = Writer::new(Kind::Plan, 0, &mut rng);
    (0..10).for_each(|_| writer.step(&mut rng));
    let changes = writer.doc.get_changes(&[]);
    let late: Vec<u8> = changes[6..].iter().flat_map(|c| c.raw_bytes().to_vec()).collect();
    let index = GateIndex::new(Kind::Plan).unwrap();
    let Verdict::Need { missing } = index.check(&late, &anyone).unwrap() else { panic!("accepted") };
    assert_eq!(missing.iter().map(|m| m.0).collect::<Vec<_>>(), vec![changes[5].hash().0]);
    // From our heads it works.
    let Verdict::Accept(all) = index.check(&plain(&mut writer.doc, &[]), &anyone).unwrap() else { panic!() };
    assert_eq!(all.fresh().len(), changes.len() - 1);
    let last = all.fresh().last().unwrap();
    assert_eq!(ActorId(writer.doc.get_actor().to_bytes().try_into().unwrap()), last.actor);
}

#[test]
fn an_upload_checked_against_another_state_is_stale() {
    let mut rng = Rng(7);
    let mut writer = Writer::new(Kind::Log, 0, &mut rng);
    (0..3).for_each(|_| writer.step(&mut rng));
    let upload = plain(&mut writer.doc, &[]);
    let mut server = Server::new(Kind::Log);
    let Verdict::Accept(accepted) = server.index.check(&upload, &anyone).unwrap() else { panic!() };
    server.take(&upload);
    let code = backstraight_core::doc::gate::RejectCode::Stale;
    assert_eq!(server.index.admit(&accepted).unwrap_err().code, code);
    assert_eq!(merge(&mut server.doc, &server.index, &accepted, &upload).unwrap_err().code, code);
    assert_eq!(heads(&mut server.doc), heads(&mut writer.doc), "untouched");
}

#[test]
fn new_records_and_first_writes_need_no_document() {
    let mut rng = Rng(8);
    let who = gate_support::actor(0, [1; 8]);
    let mut doc = gate_support::honest::open(Kind::Log, who);
    let mut mint = backstraight_core::base::key::KeyMint::new([1, 2, 3, 4]);
    gate_support::honest::log(&mut doc, &mut mint, &mut rng, 3, 22, 1_795_000_000_000);
    let upload = plain(&mut doc, &[]);
    let mut server = Server::new(Kind::Log);
    server.take(&upload);
    assert_eq!(server.with_document, 0);
    // Closing a session writes fields that nobody wrote.
    use automerge::ReadDoc as _;
    use automerge::transaction::Transactable as _;
    let (_, sessions) = doc.get(automerge::ROOT, "sessions").unwrap().unwrap();
    let key = doc.keys(&sessions).next().unwrap();
    let (_, session) = doc.get(&sessions, key).unwrap().unwrap();
    for (field, value) in [
        ("ended", ScalarValue::Timestamp(1_795_000_900_000)),
        ("minutes", ScalarValue::Int(70)),
        ("effort", ScalarValue::Int(65)),
    ] {
        doc.put(&session, field, value).unwrap();
    }
    gate_support::honest::commit(&mut doc, 1_795_000_900);
    let upload = plain(&mut doc, &server.doc.get_heads());
    server.take(&upload);
    assert_eq!(server.with_document, 0, "first writes");
    // Changing one does.
    doc.put(&session, "effort", 70).unwrap();
    gate_support::honest::commit(&mut doc, 1_795_000_950);
    let upload = plain(&mut doc, &server.doc.get_heads());
    server.take(&upload);
    assert_eq!(server.with_document, 1);
    server.agrees();
}
