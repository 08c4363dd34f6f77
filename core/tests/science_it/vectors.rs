//! Runs every vector of `fixtures/vectors/vectors.json` through the text-driven registry.

use backstraight_core::science::registry::run;
use backstraight_core::science::{Reason, Value};
use serde_json::Value as Json;

const VECTORS: &str = include_str!("../../../fixtures/vectors/vectors.json");

/// A JSON input in the registry's text form.
fn text(value: &Json) -> String {
    match value {
        Json::String(text) => text.clone(),
        Json::Array(items) if items.iter().all(Json::is_array) => {
            items.iter().map(text).collect::<Vec<_>>().join(";")
        }
        Json::Array(items) => items.iter().map(text).collect::<Vec<_>>().join(","),
        Json::Object(map) => map.iter().map(|(k, v)| format!("{k}:{v}")).collect::<Vec<_>>().join(","),
        other => other.to_string(),
    }
}

fn compare(what: &str, got: &Value, want: &Json, tolerance: f64) {
    match (got, want) {
        (Value::Number(got), Json::Number(want)) => {
            let want = want.as_f64().unwrap();
            let off = (got - want).abs();
            assert!(off <= tolerance * want.abs(), "{what}: got {got}, want {want}");
        }
        (Value::List(got), Json::Array(want)) => {
            assert_eq!(got.len(), want.len(), "{what}");
            for (got, want) in got.iter().zip(want) {
                compare(what, &Value::Number(*got), want, tolerance);
            }
        }
        _ => panic!("{what}: got {got:?}, want {want}"),
    }
}

#[test]
fn every_vector_runs_through_the_registry() {
    let vectors: Vec<Json> = serde_json::from_str(VECTORS).unwrap();
    assert_eq!(vectors.len(), 91);
    for vector in &vectors {
        let id = vector["id"].as_str().unwrap();
        let tolerance = vector["tol_rel"].as_f64().unwrap();
        let inputs = vector["inputs"].as_object().unwrap();
        let texts: Vec<(String, String)> =
            inputs.iter().map(|(key, value)| (key.clone(), text(value))).collect();
        let mut pairs: Vec<(&str, &str)> =
            texts.iter().map(|(key, value)| (key.as_str(), value.as_str())).collect();
        if id.starts_with("growth.") {
            // Growth is off by default: the bare vector must be refused, nothing else.
            let bare = run(id, &pairs).unwrap();
            assert_eq!(bare.result, Err(Reason::NeedsConsent), "{id}");
            pairs.push(("consent", "yes"));
        }
        let answer = run(id, &pairs).unwrap_or_else(|error| panic!("{vector}: {error}"));
        match &vector["expected"] {
            Json::Object(parts) => {
                for (name, want) in parts {
                    let got = answer.output(name);
                    let got = got.unwrap_or_else(|| panic!("{id} has no {name}: {answer:?}"));
                    compare(&format!("{id} {name}"), got, want, tolerance);
                }
            }
            want => {
                let got = answer.output("value");
                let got = got.unwrap_or_else(|| panic!("{id} has no value: {answer:?}"));
                compare(id, got, want, tolerance);
            }
        }
    }
}
