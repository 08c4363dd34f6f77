//! What a test cannot go on without. Knows nothing else.

use std::fmt::Display;

/// The value, or the end of the test with what was tried.
#[track_caller]
#[expect(clippy::panic, reason = "a harness of tests ends the test")]
pub fn must<T, E: Display>(result: Result<T, E>, what: &str) -> T {
    match result {
        Ok(value) => value,
        Err(e) => panic!("{what}: {e}"),
    }
}

/// The same for what may be missing.
#[track_caller]
pub(crate) fn found<T>(value: Option<T>, what: &str) -> T {
    must(value.ok_or("is not there"), what)
}
