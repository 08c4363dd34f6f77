//! A document as JSON: its records, where two edits met, and every value that was ever written.

use backstraight_core::base::id::InstallId;
use backstraight_core::doc::open::Document;
use backstraight_core::doc::read::{Entry, Met, Read};
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::care::{Assessment, Availability, Restriction};
use backstraight_core::model::log::*;
use backstraight_core::model::name::Kind;
use backstraight_core::model::plan::*;
use backstraight_core::model::spec::{Record, Scalar};
use backstraight_core::model::told::Told;
use serde_json::{Map, Value, json};

/// Calls a macro with every root map and the record in it, of every kind of document.
macro_rules! each_root {
    ($do:ident, $kind:expr) => {
        match $kind {
            Kind::Library => $do! {
                "settings" of Settings, "exercises" of Exercise, "cues" of Cue, "venues" of Venue,
                "protocols" of Protocol, "templates" of Template, "groups" of Group,
                "items" of Prescription,
            },
            Kind::Squad => $do! {
                "about" of SquadAbout, "members" of Member, "meets" of Meet, "sessions" of SquadSession,
                "emphasis" of Emphasis, "remarks" of Remark,
            },
            Kind::Plan => $do! {
                "about" of PlanAbout, "phases" of Phase, "weeks" of Week, "sessions" of Session,
                "groups" of Group, "items" of Prescription, "conditions" of Condition,
                "decisions" of Decision,
            },
            Kind::Log => $do! {
                "sessions" of SessionDone, "checkins" of CheckIn, "trials" of Trial,
                "comments" of Comment,
            },
            Kind::Notes => $do! {
                "observations" of Observation, "competencies" of Competency, "trials" of Trial,
                "entered" of Entered, "excuses" of Excuse, "comments" of Comment,
            },
            Kind::Care => $do! { "reports" of Report, },
            Kind::CareNotes => $do! { "assessments" of Assessment, "restrictions" of Restriction, },
            Kind::Availability => $do! { "availability" of Availability, },
        }
    };
}

/// A whole document. `by` says who an install belongs to.
pub(super) fn json(doc: &Document, by: &dyn Fn(InstallId) -> String) -> Value {
    let mut records = Map::new();
    let kind = doc.name().kind();
    let mut found = Found { by, met: Vec::new(), unreadable: Vec::new() };
    macro_rules! read {
        ($( $root:literal of $record:ty, )+) => {{ $(
            records.insert($root.to_owned(), found.records(doc, doc.records::<$record>($root)));
        )+ }};
    }
    each_root!(read, kind);
    let history = match doc.history() {
        Ok(all) => all
            .into_iter()
            .map(|w| {
                json!({
                    "at_utc": w.at.to_string(), "by": by(w.by.install()), "change": w.change.to_string(),
                    "where": w.path, "value": w.value.as_ref().map(|v| told(Told::written(kind, &w.path, v))),
                })
            })
            .collect(),
        Err(error) => json!({ "unreadable": error.to_string() }),
    };
    json!({
        "document": doc.name().to_string(),
        "state": doc.heads().iter().map(ToString::to_string).collect::<Vec<_>>(),
        "records": records,
        "two_edits_met": found.met,
        "unreadable": found.unreadable,
        "history": history,
    })
}

/// Whether every root map of a kind is read here.
#[cfg(test)]
pub(super) fn reads(kind: Kind) -> bool {
    let mut read: Vec<&str> = Vec::new();
    macro_rules! names {
        ($( $root:literal of $record:ty, )+) => {{ $( read.push($root); )+ }};
    }
    each_root!(names, kind);
    let all: Vec<&str> = backstraight_core::model::any::roots(kind).iter().map(|r| r.name).collect();
    read.sort_unstable();
    let mut all = all;
    all.sort_unstable();
    read == all
}

/// One record.
pub(super) fn entry<R: Record + Clone + Into<AnyRecord>>(entry: &Entry<R>) -> Value {
    let mut one = Map::new();
    for (name, value) in entry.record.fields() {
        one.insert(name.to_owned(), shown(name, &value));
    }
    if let Some(gone) = entry.gone {
        one.insert("withdrawn".to_owned(), json!(gone.to_string()));
    }
    Value::Object(one)
}

struct Found<'a> {
    by: &'a dyn Fn(InstallId) -> String,
    met: Vec<Value>,
    unreadable: Vec<Value>,
}

impl Found<'_> {
    fn records<R: Record + Into<AnyRecord>>(&mut self, doc: &Document, read: Read<R>) -> Value {
        let mut out = Map::new();
        for e in read.entries {
            let mut one = match entry(&e) {
                Value::Object(one) => one,
                _ => Map::new(),
            };
            self.met.extend(e.met.iter().map(|m| met(m, self.by)));
            if let Some((name, inner)) = R::SPEC.inner {
                // Two kinds of record have records inside.
                let inside = if core::ptr::eq(inner, Work::SPEC) {
                    self.records(doc, doc.inner_records::<Work>(&e.place))
                } else {
                    self.records(doc, doc.inner_records::<SetDone>(&e.place))
                };
                one.insert(name.to_owned(), inside);
            }
            for name in &e.unread {
                self.unreadable.push(json!({ "where": e.place.to_string(), "field": name }));
            }
            out.insert(e.key().to_string(), Value::Object(one));
        }
        for bad in read.unreadable {
            self.unreadable.push(json!({ "where": bad.place.to_string(), "field": bad.field }));
        }
        Value::Object(out)
    }
}

fn met(met: &Met, by: &dyn Fn(InstallId) -> String) -> Value {
    let values: Vec<Value> = met
        .told
        .iter()
        .map(|t| {
            json!({
                "value": t.value.as_ref().map(|v| shown(met.field, v)),
                "by": by(t.by.install()), "at_utc": t.at.to_string(),
            })
        })
        .collect();
    json!({ "where": met.place.to_string(), "field": met.field, "values": values })
}

/// The value of a field.
fn shown(field: &str, value: &Scalar) -> Value {
    told(Told::field(field, value))
}

/// A value as JSON: times in UTC.
fn told(value: Told) -> Value {
    match value {
        Told::Int(n) => json!(n),
        Told::Text(t) => json!(t),
        Told::Bool(b) => json!(b),
        Told::Time(at) => json!(at.to_string()),
        Told::List(list) => json!(list),
        Told::Fields(fields) => fields.into_iter().map(|(name, one)| (name.to_owned(), told(one))).collect(),
        Told::Hex(hex) => json!({ "hex": hex }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_map_of_every_kind_is_read() {
        for kind in Kind::ALL {
            assert!(reads(kind), "{kind:?}");
        }
    }
}
