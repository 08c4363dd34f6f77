//! What the gate does with what its own index cannot know: the last line of defence.

use super::check::admits;
use super::tables::{KeyCode, Tables, field_bit};
use super::*;
use crate::doc::chunk::Value;
use crate::model::any;
use crate::model::spec::{FieldKind, RecordSpec, Scalar};

fn levels(spec: &RecordSpec) -> usize {
    1 + spec.inner.map_or(0, |(_, inner)| 1 + levels(inner))
}

#[test]
fn no_kind_of_document_is_deeper_than_the_limit() {
    for kind in Kind::ALL {
        for root in any::roots(kind) {
            assert!(2 + levels(root.record) <= limits::DEPTH, "{kind:?} {}", root.name);
        }
    }
}

#[test]
fn the_gate_admits_what_the_description_admits() {
    let ints = [i64::MIN, -1, 0, 1, 7, 100, 101, i64::MAX];
    let texts = ["", "a", "éé", "0123456789a"];
    let mut values: Vec<(Value<'_>, Option<Scalar>)> = vec![(Value::Null, None)];
    for n in ints {
        values.push((Value::Int(n), Some(Scalar::Int(n))));
        values.push((Value::Time(n), Some(Scalar::Time(n))));
    }
    for t in texts {
        values.push((Value::Text(t), Some(Scalar::Text(t.into()))));
        values.push((Value::Bytes(t.as_bytes()), Some(Scalar::Bytes(t.into()))));
    }
    for b in [true, false] {
        values.push((Value::Bool(b), Some(Scalar::Bool(b))));
    }
    let kinds = [
        FieldKind::Int { min: 0, max: 100 },
        FieldKind::Int { min: i64::MIN, max: i64::MAX },
        FieldKind::Text { max: 4 },
        FieldKind::Bytes { max: 4 },
        FieldKind::Bool,
        FieldKind::Time,
    ];
    for kind in kinds {
        for (value, scalar) in &values {
            let ours = admits(kind, *value) == Some(true);
            assert_eq!(ours, scalar.as_ref().is_none_or(|s| kind.admits(s)), "{kind:?} {value:?}");
        }
    }
}

#[test]
fn key_codes_are_distinct() {
    let keys = [
        "aaaaaa-0",
        "aaaaaa-1",
        "baaaaa-0",
        "aaaaab-0",
        "777777-999999999",
        "777777-0",
        "zzzzzz-1",
        "222222-1",
    ];
    let codes: std::collections::BTreeSet<_> = keys.iter().map(|k| KeyCode::of(k).unwrap()).collect();
    assert_eq!(codes.len(), keys.len());
    assert!(codes.iter().all(|c| c.0 < 1 << 60));
    assert!(["main", "", "x-1", "aaaaaa-01"].iter().all(|k| KeyCode::of(k).is_none()));
}

/// Stored deltas hold these numbers: thirty bits of the start, five a letter from `a` to `7`, then thirty of the counter.
#[test]
fn the_number_of_a_key_is_fixed() {
    let code = |start: u64, n: u64| Some(KeyCode(start * (1 << 30) + n));
    assert_eq!(KeyCode::of("aaaaaa-0"), code(0, 0));
    assert_eq!(KeyCode::of("aaaaab-1"), code(1, 1));
    assert_eq!(KeyCode::of("aaaaza-5"), code(25 * 32, 5));
    assert_eq!(KeyCode::of("aaaaa2-5"), code(26, 5));
    assert_eq!(KeyCode::of("777777-999999999"), code((1 << 30) - 1, 999_999_999));
}

/// A change that only looks like a starting change makes no index.
#[test]
fn nothing_but_a_starting_change_starts_an_index() {
    use automerge::transaction::Transactable as _;
    let starts = |bytes: &[u8]| {
        Tables::starting(Kind::Log, &chunk::parse(bytes).unwrap()).map(drop).map_err(|r| r.code)
    };
    let make = |actors: [[u8; 16]; 2]| {
        let mut doc = automerge::AutoCommit::new();
        actors
            .into_iter()
            .map(move |actor| {
                doc.set_actor(automerge::ActorId::from(actor));
                doc.put_object(automerge::ROOT, "sessions", automerge::ObjType::Map).unwrap();
                doc.commit();
                doc.get_last_local_change().unwrap().raw_bytes().to_vec()
            })
            .collect::<Vec<_>>()
    };
    let (own, other) = (genesis::ACTOR, [9; 16]);
    assert_eq!(starts(&make([own, own])[0]), Ok(()));
    let damaged = Err(RejectCode::IndexDamaged);
    // Another's, a second one, one that is its actor's first and follows something.
    assert_eq!(starts(&make([other, own])[0]), damaged);
    assert_eq!(starts(&make([own, own])[1]), damaged);
    assert_eq!(starts(&make([other, own])[1]), damaged);
}

#[test]
fn fields_seldom_share_a_bit() {
    // Closing a session must not ask for the document: what is written then has bits of its own.
    let mut shared = 0;
    for kind in Kind::ALL {
        for root in any::roots(kind) {
            let mut spec = Some(root.record);
            while let Some(s) = spec {
                let bits = s.fields.iter().fold(field_bit("gone"), |all, f| all | field_bit(f.name));
                shared += s.fields.len() + 1 - bits.count_ones() as usize;
                spec = s.inner.map(|(_, inner)| inner);
            }
        }
    }
    assert!(shared <= 16, "{shared}");
    let session = any::root(Kind::Log, "sessions").unwrap().record;
    for late in ["ended", "minutes", "effort", "comment", "gone"] {
        let others = session.fields.iter().filter(|f| f.name != late);
        assert!(others.clone().all(|f| field_bit(f.name) != field_bit(late)), "{late}");
    }
}

#[test]
fn a_new_index_holds_the_starting_change_of_its_kind() {
    for kind in Kind::ALL {
        let index = GateIndex::new(kind).unwrap();
        assert_eq!((index.len(), index.is_empty(), index.kind()), (1, true, kind));
        assert_eq!(index.heads(), vec![chunk::name(genesis::bytes(kind)).unwrap()]);
        assert_eq!(index.last_of(&ActorId(genesis::ACTOR)), Some((1, index.heads()[0])));
        assert!(index.knows(&index.heads()[0]));
        // It may be sent by anybody.
        let again = index.check(genesis::bytes(kind), &|_| false).unwrap();
        assert!(matches!(again, Verdict::Accept(a) if a.known() == 1 && a.fresh().is_empty()));
        // That of another kind may not.
        for other in Kind::ALL.into_iter().filter(|o| *o != kind) {
            let refused = index.check(genesis::bytes(other), &|_| true).unwrap_err();
            assert_eq!(refused.code, RejectCode::ForgedActor);
        }
        assert!(GateIndex::replay(kind, [index.whole_delta().as_slice()]).is_ok());
    }
}
