//! The gate before every merge and its index. An input is the kind of document, how many of the changes are there
//! before the others come, and the changes.

use automerge::ReadDoc as _;
use automerge::transaction::CommitOptions;
use automerge::{ActorId, AutoCommit, ROOT};
use backstraight_core::doc::admit::Admitted;
use backstraight_core::doc::gate::{GateIndex, RejectCode, Rejected, Verdict, delta_bytes};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::thin::{ThinLimits, pack, unpack};
use backstraight_core::doc::touched::keys_in;
use backstraight_core::model::name::Kind;

use super::mend;
use super::readers::everything;
use crate::fuzz::feed::Feed;
use crate::replica::name;

pub(crate) fn kind(byte: u8) -> Kind {
    Kind::ALL[usize::from(byte) % Kind::ALL.len()]
}

/// Whatever the gate lets through, the document library opens, every reader reads, and goes on to be written in.
pub(crate) fn gate(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let kind = kind(feed.byte());
    let before = usize::from(feed.byte());
    let raw = feed.rest();
    let chunks = mend::chunks(raw);
    // As they are, too: what no repair touched may not break anything either.
    let _ = GateIndex::new(kind).map(|index| index.check(raw, &|_| true));
    let first = chunks[..before.min(chunks.len())].concat();
    let then = chunks[before.min(chunks.len())..].concat();
    let mut doc = Document::create(name(kind)).unwrap();
    let mut merged = false;
    for upload in [first, then] {
        merged |= admit(&mut doc, &upload);
    }
    if merged {
        opens(&doc);
        everything(&doc);
    }
    merged
}

/// Merges an upload if it passes; whether something new came of it.
fn admit(doc: &mut Document, upload: &[u8]) -> bool {
    let before = doc.heads();
    let index = doc.index().unwrap();
    let alone = index.check(upload, &|_| true);
    let admitted = doc.admit(upload, &|_| true);
    match (&alone, &admitted) {
        (Err(refused), Err(again)) => {
            engine(again);
            // Too much at once is taken in slices; everything else is refused the same way.
            let slices = [RejectCode::TooManyOps, RejectCode::TooManyChanges, RejectCode::TooLarge];
            assert!(slices.contains(&refused.code) || refused.code == again.code, "{refused} and {again}");
        }
        (Ok(Verdict::Need { .. }), Ok(Admitted::Need(_))) => {}
        // Only what the document must confirm may still be refused by it.
        (Ok(Verdict::Accept(accepted)), Err(refused)) => {
            engine(refused);
            assert!(accepted.needs_document(), "{refused}");
        }
        (Ok(Verdict::Accept(accepted)), Ok(Admitted::Merged { fresh, count })) => {
            assert_eq!(accepted.fresh().len(), *count);
            let mut next = index.clone();
            next.admit(accepted).unwrap();
            let deltas = [index.whole_delta(), delta_bytes(accepted)];
            let replayed = GateIndex::replay(index.kind(), deltas.iter().map(Vec::as_slice)).unwrap();
            assert_eq!(replayed.whole_delta(), next.whole_delta());
            assert_eq!(next.heads(), doc.heads());
            assert!(doc.touched(fresh).is_some() && keys_in(fresh).is_some());
            assert_eq!(unpack(&pack(fresh), ThinLimits::default()).as_deref(), Ok(fresh.as_slice()));
            return *count > 0;
        }
        (Err(refused), Ok(_)) => {
            assert!(matches!(refused.code, RejectCode::TooManyOps | RejectCode::TooManyChanges), "{refused}");
            return true;
        }
        other => panic!("the gate said two things: {other:?}"),
    }
    assert_eq!(doc.heads(), before, "a refusal leaves the document as it was");
    false
}

/// The document library may not give up behind the gate.
fn engine(refused: &Rejected) {
    assert_ne!(refused.code, RejectCode::Engine, "{refused}");
}

/// Saved, it opens as the same document, here and in the document library, which can go on writing in it.
fn opens(doc: &Document) {
    let saved = doc.save();
    let again = Document::open(doc.name(), &saved).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(again.heads(), doc.heads());
    assert_eq!(again.save(), saved);
    let loaded = AutoCommit::load(&saved).unwrap_or_else(|e| panic!("{e}"));
    loaded.hydrate(ROOT, None).unwrap_or_else(|e| panic!("{e}"));
    let mut own = loaded.with_actor(ActorId::from([7; 16]));
    own.empty_change(CommitOptions::default());
    AutoCommit::load(&own.save()).unwrap_or_else(|e| panic!("{e}"));
}

/// Stored deltas of an index: read or refused, and what is read is written again as it was.
pub(crate) fn index(input: &[u8]) -> bool {
    let mut feed = Feed::new(input);
    let kind = kind(feed.byte());
    if feed.byte().is_multiple_of(2) {
        let mut pieces = Vec::new();
        while !feed.is_empty() {
            pieces.push(feed.piece());
        }
        let Ok(index) = GateIndex::replay(kind, pieces) else { return false };
        let whole = index.whole_delta();
        let again = GateIndex::replay(kind, [whole.as_slice()]).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(again.whole_delta(), whole);
        assert_eq!((again.heads(), again.len()), (index.heads(), index.len()));
    } else {
        let changes = mend::chunks(feed.rest()).concat();
        let Ok(index) = GateIndex::from_changes(kind, &changes) else { return false };
        let whole = index.whole_delta();
        let again = GateIndex::replay(kind, [whole.as_slice()]).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!((again.heads(), again.max_op()), (index.heads(), index.max_op()));
    }
    true
}
