//! What a session of the plan asks, kept as bytes so that a log can be judged without opening the
//! plan. Replacements of the phase are applied: what is kept asks what the athlete's screen would.
//! Knows no rule and no storage.

use backstraight_core::base::key::Key;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::plan::{Group, Prescription, Session};
use backstraight_core::model::spec::{Record, Scalar};
use backstraight_core::view::board::Rules;
use backstraight_core::view::judge::Tolerance;
use backstraight_core::view::planned::{Plan, PlannedGroup, PlannedSession};
use minicbor::bytes::ByteVec;
use minicbor::{Decode, Encode};

/// Kept bytes that this version cannot read: they are made anew from the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("what is kept of a session cannot be read")]
pub(super) struct KeepError;

#[derive(Debug, Encode, Decode)]
enum Value {
    #[n(0)]
    Int(#[n(0)] i64),
    #[n(1)]
    Text(#[n(0)] String),
    #[n(2)]
    Bytes(#[n(0)] ByteVec),
    #[n(3)]
    Bool(#[n(0)] bool),
    #[n(4)]
    Time(#[n(0)] i64),
}

#[derive(Debug, Encode, Decode)]
struct Field {
    #[n(0)]
    name: String,
    #[n(1)]
    value: Value,
}

#[derive(Debug, Encode, Decode)]
struct Kept {
    #[n(0)]
    key: String,
    #[n(1)]
    fields: Vec<Field>,
    #[n(2)]
    inner: Vec<Kept>,
}

#[derive(Debug, Encode, Decode)]
struct KeptRules {
    #[n(0)]
    load: f64,
    #[n(1)]
    effort: f64,
    #[n(2)]
    done_from: f64,
    #[n(3)]
    weights: Vec<Weight>,
}

#[derive(Debug, Encode, Decode)]
struct Weight {
    #[n(0)]
    exercise: String,
    #[n(1)]
    weight: f64,
}

/// Rules to bytes. Equal rules give equal bytes.
pub(super) fn keep_rules(rules: &Rules) -> Vec<u8> {
    let weights = rules.weights.iter().map(|(k, w)| Weight { exercise: k.to_string(), weight: *w });
    let kept = KeptRules {
        load: rules.tolerance.load,
        effort: rules.tolerance.effort,
        done_from: rules.done_from,
        weights: weights.collect(),
    };
    minicbor::to_vec(&kept).unwrap_or_default()
}

/// Rules from bytes.
///
/// # Errors
/// When they are another version's.
pub(super) fn read_rules(bytes: &[u8]) -> Result<Rules, KeepError> {
    let kept: KeptRules = minicbor::decode(bytes).map_err(|_| KeepError)?;
    let weights =
        kept.weights.into_iter().map(|w| Ok((w.exercise.parse().map_err(|_| KeepError)?, w.weight)));
    Ok(Rules {
        tolerance: Tolerance { load: kept.load, effort: kept.effort },
        done_from: kept.done_from,
        weights: weights.collect::<Result<_, _>>()?,
    })
}

/// To bytes. Equal sessions give equal bytes.
pub(super) fn keep(plan: &Plan, planned: &PlannedSession) -> Vec<u8> {
    let day = planned.session.record.date;
    let item = |i: &Entry<Prescription>| {
        let ex = plan.exercise_on(&i.record, day);
        take_apart(&i.key(), &Prescription { ex, ..i.record.clone() }, Vec::new())
    };
    let group =
        |g: &PlannedGroup| take_apart(&g.group.key(), &g.group.record, g.items.iter().map(item).collect());
    let kept =
        take_apart(&planned.key(), &planned.session.record, planned.groups.iter().map(group).collect());
    // Writing to memory cannot fail; nothing at all is read again as damage and made anew.
    minicbor::to_vec(&kept).unwrap_or_default()
}

/// From bytes.
///
/// # Errors
/// When they are another version's.
pub(super) fn read(bytes: &[u8]) -> Result<PlannedSession, KeepError> {
    let kept: Kept = minicbor::decode(bytes).map_err(|_| KeepError)?;
    let (session, groups) = put_together::<Session>("sessions", kept)?;
    let groups = groups.into_iter().map(|kept| {
        let (group, items) = put_together::<Group>("groups", kept)?;
        let items =
            items.into_iter().map(|kept| put_together::<Prescription>("items", kept).map(|(item, _)| item));
        Ok(PlannedGroup { group, items: items.collect::<Result<_, _>>()? })
    });
    Ok(PlannedSession { session, groups: groups.collect::<Result<_, _>>()? })
}

/// One record to bytes.
pub(super) fn keep_record<R: Record>(key: &Key, record: &R) -> Vec<u8> {
    minicbor::to_vec(take_apart(key, record, Vec::new())).unwrap_or_default()
}

/// One record from bytes.
///
/// # Errors
/// When they are another version's.
pub(super) fn read_record<R: Record>(root: &'static str, bytes: &[u8]) -> Result<Entry<R>, KeepError> {
    let kept: Kept = minicbor::decode(bytes).map_err(|_| KeepError)?;
    put_together(root, kept).map(|(entry, _)| entry)
}

fn take_apart<R: Record>(key: &Key, record: &R, inner: Vec<Kept>) -> Kept {
    let fields = record.fields().into_iter().map(|(name, value)| Field {
        name: name.to_owned(),
        value: match value {
            Scalar::Int(n) => Value::Int(n),
            Scalar::Text(t) => Value::Text(t),
            Scalar::Bytes(b) => Value::Bytes(b.into()),
            Scalar::Bool(b) => Value::Bool(b),
            Scalar::Time(t) => Value::Time(t),
        },
    });
    Kept { key: key.to_string(), fields: fields.collect(), inner }
}

fn put_together<R: Record>(root: &'static str, kept: Kept) -> Result<(Entry<R>, Vec<Kept>), KeepError> {
    let key: Key = kept.key.parse().map_err(|_| KeepError)?;
    let mut fields = kept.fields;
    let mut get = |name: &'static str| {
        let at = fields.iter().position(|f| f.name == name)?;
        Some(match fields.swap_remove(at).value {
            Value::Int(n) => Scalar::Int(n),
            Value::Text(t) => Scalar::Text(t),
            Value::Bytes(b) => Scalar::Bytes(b.into()),
            Value::Bool(b) => Scalar::Bool(b),
            Value::Time(t) => Scalar::Time(t),
        })
    };
    let (record, unread) = R::from_fields(&mut get).map_err(|_| KeepError)?;
    if !unread.is_empty() || !fields.is_empty() {
        return Err(KeepError);
    }
    let entry = Entry { place: Place::of(root, &key), record, gone: None, unread, met: Vec::new() };
    Ok((entry, kept.inner))
}
