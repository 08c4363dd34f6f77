//! A guardian's screen: the minors for whom the guardian answers, with their training to read and their consents to
//! sign. Reports of pain and illness are not for guardians.

use backstraight_core::base::id::PersonId;
use leptos::prelude::*;
use serde::Deserialize;

use super::asked::ask;
use super::people::guardians::Consents;
use super::people::{At, Person};
use crate::hub::use_hub;
use crate::kit::{ButtonLink, EmptyState, Toaster};
use crate::route::{Route, Section};
use crate::screens::head;
use crate::words::{say, say_with};

#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
struct Me {
    #[serde(default)]
    wards: Vec<Ward>,
}

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
struct Ward {
    person: String,
    name: String,
}

/// The minors of a guardian.
#[component]
pub fn Wards() -> impl IntoView {
    let hub = use_hub();
    head(say("wards.title"), say("wards.under"));
    let me = ask::<Me>(hub, Signal::stored("/v1/me".to_owned()));
    // Who else is in the club is not for guardians: nothing is asked.
    let at = At {
        hub,
        toaster: Toaster::here(),
        people: ask(hub, Signal::stored(String::new())),
        squads: ask(hub, Signal::stored(String::new())),
        open: RwSignal::new(None),
    };
    me.shown(move |me| {
        if me.wards.is_empty() {
            return view! { <EmptyState title=say("wards.none") text=say("wards.none.text") /> }.into_any();
        }
        let cards = me
            .wards
            .iter()
            .map(|w| {
                let person = Person { person: w.person.clone(), name: w.name.clone(), ..Person::default() };
                let link = w.person.parse::<PersonId>().ok().map(|id| {
                    let label = say_with("wards.training", &[("name", &w.name)]);
                    view! { <ButtonLink label=label href=Route::Athlete(id, Section::Overview).href() /> }
                });
                view! {
                    <section class="card stack tight">
                        <h2>{w.name.clone()}</h2>
                        {link}
                        <Consents at=at person=person signs=true />
                    </section>
                }
            })
            .collect_view();
        view! { <div class="stack">{cards}</div> }.into_any()
    })
}
