//! What to be careful about in a test, beside the fields in which its trials are entered. Which caution a test has is
//! said by core; the club's own words come first.

use std::sync::Arc;

use backstraight_core::model::plan::Protocol;
use backstraight_core::view::caution;
use backstraight_core::view::library::Library;
use leptos::prelude::*;

use crate::kit::CautionBox;

/// The club's words about the exercise of a test, then more.
#[must_use]
pub fn words(test: &Protocol, library: &Library, more: &str) -> String {
    let exercise = test.ex.as_ref().and_then(|k| library.exercises.get(k));
    let own = exercise.and_then(|e| e.record.caution.as_ref()).map(ToString::to_string).unwrap_or_default();
    [own.as_str(), more].join(" ").trim().to_owned()
}

/// The caution of a test; nothing where there is none.
#[component]
pub fn TestCaution(
    /// The test.
    test: Protocol,
    /// The club's library.
    library: Arc<Library>,
    /// What else there is to say here.
    more: &'static str,
) -> impl IntoView {
    let text = words(&test, &library, more);
    match caution::tested(&test, &library) {
        Some(known) => view! { <CautionBox caution=known text=text /> }.into_any(),
        None if text.is_empty() => ().into_any(),
        None => view! { <CautionBox text=text /> }.into_any(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::model::number::{Better, Measure, Text};

    #[test]
    fn without_words_of_the_club_only_the_others_are_said() {
        let test = Protocol::new(Text::new("Jump").unwrap(), Measure::Distance, Better::Higher);
        assert_eq!(words(&test, &Library::default(), "Go slowly."), "Go slowly.");
        assert_eq!(words(&test, &Library::default(), ""), "");
    }
}
