//! The name of an athlete over a row of a squad's grid, leading to that athlete's plan.

use backstraight_core::base::id::PersonId;
use leptos::prelude::*;

use crate::route::{Route, Whose};

/// The name as a link.
pub(crate) fn person_link((who, name): &(PersonId, String)) -> impl IntoView + use<> {
    let href = Route::Plan(Whose::Athlete(*who), None).href();
    view! { <h2><a href=href>{name.clone()}</a></h2> }
}
