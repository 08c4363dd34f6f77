//! Short ways to ask the registry and to compare numbers. Knows no formula.

use backstraight_core::science::Value;
use backstraight_core::science::registry::{Answer, run};

/// Asks the registry with `key=value` pairs separated by blanks.
pub(crate) fn ask(id: &str, text: &str) -> Answer {
    let pairs: Vec<(&str, &str)> =
        text.split_whitespace().map(|pair| pair.split_once('=').unwrap()).collect();
    run(id, &pairs).unwrap_or_else(|error| panic!("{id} {text}: {error}"))
}

/// A named number of an answer.
pub(crate) fn number(id: &str, text: &str, name: &str) -> f64 {
    match ask(id, text).output(name) {
        Some(Value::Number(n)) => *n,
        other => panic!("{id} {text}: {name} is {other:?}, {:?}", ask(id, text).result),
    }
}

/// The single number of an answer.
pub(crate) fn value(id: &str, text: &str) -> f64 {
    number(id, text, "value")
}

/// A named list of an answer.
pub(crate) fn list(id: &str, text: &str, name: &str) -> Vec<f64> {
    match ask(id, text).output(name) {
        Some(Value::List(list)) => list.clone(),
        other => panic!("{id} {text}: {name} is {other:?}"),
    }
}

/// A named word or flag of an answer, as text.
pub(crate) fn word(id: &str, text: &str, name: &str) -> String {
    match ask(id, text).output(name) {
        Some(Value::Word(word)) => (*word).to_owned(),
        Some(Value::Flag(flag)) => flag.to_string(),
        other => panic!("{id} {text}: {name} is {other:?}"),
    }
}

/// The reason of a refusal, as text.
pub(crate) fn reason(id: &str, text: &str) -> String {
    match ask(id, text).result {
        Err(reason) => reason.to_string(),
        Ok(outputs) => panic!("{id} {text} gave {outputs:?}"),
    }
}

/// Equal to the digits printed: within half a unit of the last of `decimals`.
#[track_caller]
pub(crate) fn printed(got: f64, want: f64, decimals: i32) {
    let half = 0.500_001 * 10f64.powi(-decimals);
    assert!((got - want).abs() <= half, "got {got}, want {want} to {decimals} decimals");
}

/// Equal within a relative tolerance.
#[track_caller]
pub(crate) fn close(got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs().max(1e-300), "got {got}, want {want}");
}
