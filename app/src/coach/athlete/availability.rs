//! What care staff said about what the athlete may train, from this device's documents. Names no reason.

use backstraight_core::science::Caution;
use backstraight_core::view::availability::{Said, on, said};
use leptos::prelude::*;

use super::At;
use crate::kit::{CautionBox, EmptyState, dates};
use crate::screens::unreadable;
use crate::words::{say, say_with};

fn read(at: At) -> Result<Vec<Said>, crate::error::AppError> {
    at.hub.read_with(|device, readings| {
        let mut all = said(&readings.done(device, at.id, at.today)?.availability);
        all.sort_by_key(|s| core::cmp::Reverse(s.at));
        Ok(all)
    })
}

/// The part.
pub fn availability(at: At) -> impl IntoView {
    move || match read(at) {
        Err(error) => unreadable(error),
        Ok(all) if all.is_empty() => {
            view! { <EmptyState title=say("available.none") text=say("available.none.text") /> }.into_any()
        }
        Ok(all) => {
            let now = on(&all, at.today).map(|s| s.words());
            let words = now.unwrap_or_else(|| say("available.nothing-now").to_owned());
            let items = all
                .iter()
                .map(|s| {
                    let at =
                        backstraight_core::base::day::Day::of(s.at, crate::platform::clock::zone_minutes());
                    let day = at.map(dates::named).unwrap_or_default();
                    view! { <li>{say_with("available.said", &[("day", &day), ("words", &s.words())])}</li> }
                })
                .collect_view();
            view! {
                <CautionBox caution=Caution::Availability text=words />
                <section class="stack tight">
                    <h2>{say("available.all")}</h2>
                    <ul class="dashes">{items}</ul>
                </section>
            }
            .into_any()
        }
    }
}
