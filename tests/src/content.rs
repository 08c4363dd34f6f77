//! A document as its readers show it, in one comparable and printable value. Knows nothing of the
//! document engine.

use backstraight_core::doc::open::Document;
use backstraight_core::doc::read::{Met, Read};
use backstraight_core::model::care::*;
use backstraight_core::model::log::*;
use backstraight_core::model::name::Kind;
use backstraight_core::model::plan::*;
use backstraight_core::model::spec::{Record, Scalar};
use serde_json::{Map, Value, json};

/// All that the readers show: root map, key, then fields, `gone`, `unread`, `met` and records inside.
#[must_use]
pub fn content(doc: &Document) -> Value {
    let mut out = Map::new();
    macro_rules! roots {
        ($( $root:literal of $record:ty ),+ $(,)?) => {{ $(
            out.insert($root.to_owned(), records(doc, doc.records::<$record>($root)));
        )+ }};
    }
    match doc.name().kind() {
        Kind::Library => roots! {
            "settings" of Settings, "exercises" of Exercise, "cues" of Cue, "venues" of Venue,
            "protocols" of Protocol, "templates" of Template, "groups" of Group, "items" of Prescription,
        },
        Kind::Squad => roots! {
            "about" of SquadAbout, "members" of Member, "meets" of Meet, "sessions" of SquadSession,
            "emphasis" of Emphasis, "remarks" of Remark,
        },
        Kind::Plan => roots! {
            "about" of PlanAbout, "phases" of Phase, "weeks" of Week, "sessions" of Session,
            "groups" of Group, "items" of Prescription, "conditions" of Condition, "decisions" of Decision,
        },
        Kind::Log => roots! {
            "sessions" of SessionDone, "checkins" of CheckIn, "trials" of Trial, "comments" of Comment,
        },
        Kind::Notes => roots! {
            "observations" of Observation, "competencies" of Competency, "trials" of Trial,
            "entered" of Entered, "excuses" of Excuse, "comments" of Comment,
        },
        Kind::Care => roots! { "reports" of Report },
        Kind::CareNotes => roots! { "assessments" of Assessment, "restrictions" of Restriction },
        Kind::Availability => roots! { "availability" of Availability },
    }
    Value::Object(out)
}

fn records<R: Record>(doc: &Document, read: Read<R>) -> Value {
    let mut out = Map::new();
    for entry in read.entries {
        let fields = entry.record.fields();
        let mut one: Map<String, Value> =
            fields.iter().map(|(name, value)| ((*name).to_owned(), shown(value))).collect();
        let mut note = |name: &str, value: Value, empty: bool| {
            if !empty {
                one.insert(name.to_owned(), value);
            }
        };
        note("gone", json!(entry.gone.map(|m| m.0)), entry.gone.is_none());
        note("(unread)", json!(entry.unread), entry.unread.is_empty());
        note("(met)", entry.met.iter().map(met).collect(), entry.met.is_empty());
        if let Some((name, inner)) = R::SPEC.inner {
            // Two kinds of record have records inside.
            let inside = if core::ptr::eq(inner, Work::SPEC) {
                records(doc, doc.inner_records::<Work>(&entry.place))
            } else {
                records(doc, doc.inner_records::<SetDone>(&entry.place))
            };
            note(name, inside, false);
        }
        out.insert(entry.place.keys.last().unwrap().to_string(), Value::Object(one));
    }
    for bad in read.unreadable {
        out.insert(format!("(unreadable) {}", bad.place), json!(bad.field));
    }
    Value::Object(out)
}

fn met(met: &Met) -> Value {
    let told: Vec<Value> = met
        .told
        .iter()
        .map(|t| json!({ "value": t.value.as_ref().map(shown), "by": t.by.to_string(), "at": t.at.0 }))
        .collect();
    json!({ "field": met.field, "told": told })
}

/// A stored value: numbers, texts and truths as they are, bytes in hexadecimal, times as `{"ms": n}`.
#[must_use]
pub fn shown(value: &Scalar) -> Value {
    match value {
        Scalar::Int(n) => json!(n),
        Scalar::Text(t) => json!(t),
        Scalar::Bool(b) => json!(b),
        Scalar::Bytes(b) => json!({ "hex": b.iter().map(|b| format!("{b:02x}")).collect::<String>() }),
        Scalar::Time(ms) => json!({ "ms": ms }),
    }
}
