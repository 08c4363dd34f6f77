//! One athlete for a coach: what there is to know now, sessions asked against done, load, trends, tests,
//! availability. Each part has an address of its own.

pub mod availability;
pub mod load;
pub mod overview;
pub mod sessions;
pub mod tests;
pub mod trends;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use leptos::prelude::*;
use wasm_bindgen::JsCast as _;

use super::answers::Athlete as Answer;
use super::asked::{Asked, ask, question};
use super::board::Chosen;
use super::care::name_of;
use crate::hub::{Hub, use_hub};
use crate::kit::EmptyState;
use crate::route::{Route, Section};
use crate::screens::head;
use crate::words::{say, say_with};

/// What the parts of the page share.
#[derive(Debug, Clone, Copy)]
pub struct At {
    /// The hub.
    pub hub: Hub,
    /// Whose page it is.
    pub id: PersonId,
    /// Today, by this device.
    pub today: Day,
    /// The Monday of the week that is shown.
    pub monday: RwSignal<Day>,
    /// What the server says about that week.
    pub answer: Asked<Answer>,
}

impl At {
    /// A question about this athlete.
    #[must_use]
    pub fn path(self, what: &str, asks: &[(&str, &str)]) -> String {
        question(&format!("/v1/athletes/{}{what}", self.id), asks)
    }
}

/// The word of a part.
#[must_use]
pub fn word_of(section: Section) -> &'static str {
    match section {
        Section::Overview => say("athlete.overview"),
        Section::Sessions => say("athlete.sessions"),
        Section::Load => say("athlete.load"),
        Section::Trends => say("athlete.trends"),
        Section::Tests => say("athlete.tests"),
        Section::Availability => say("athlete.availability"),
    }
}

/// One athlete.
#[component]
pub fn Athlete(
    /// Who.
    id: PersonId,
    /// Which part.
    section: Section,
) -> impl IntoView {
    let hub = use_hub();
    match untrack(|| name_of(hub, id)) {
        Some(name) => head(name, word_of(section)),
        None => head(word_of(section), ""),
    }
    let Some(today) = hub.today() else {
        return view! { <EmptyState title=say("coach.clock") text=say("coach.clock.text") /> }.into_any();
    };
    let chosen = expect_context::<Chosen>();
    let this_week = today.week_start();
    // Sessions begin with the week that was chosen on the board; what there is to know now is this week's.
    let first = chosen.monday.get_untracked().filter(|_| section == Section::Sessions).unwrap_or(this_week);
    let monday = RwSignal::new(first);
    if section == Section::Sessions {
        Effect::new(move |_| chosen.monday.set(Some(monday.get())));
    }
    let path = Signal::derive(move || {
        let (from, to) = (monday.get().to_string(), monday.get().plus(6).to_string());
        question(
            &format!("/v1/athletes/{id}"),
            &[("from", &from), ("to", &to), ("today", &today.to_string())],
        )
    });
    let answer = ask::<Answer>(hub, path);
    Effect::new(move |_| {
        if let Some(found) = answer.get() {
            let under = if found.line.events.is_empty() {
                word_of(section).to_owned()
            } else {
                say_with("athlete.under", &[("part", word_of(section)), ("events", &found.line.events)])
            };
            head(found.line.name, under);
        }
    });
    let at = At { hub, id, today, monday, answer };
    let part = match section {
        Section::Overview => overview::overview(at).into_any(),
        Section::Sessions => sessions::sessions(at).into_any(),
        Section::Load => load::load(at).into_any(),
        Section::Trends => trends::trends(at).into_any(),
        Section::Tests => tests::tests(at).into_any(),
        Section::Availability => availability::availability(at).into_any(),
    };
    let links = Section::ALL
        .into_iter()
        .map(|s| {
            let current = (s == section).then_some("page");
            view! { <a href=Route::Athlete(id, s).href() aria-current=current>{word_of(s)}</a> }
        })
        .collect_view();
    let parts = NodeRef::<leptos::html::Nav>::new();
    // On a phone the parts are wider than the screen: the one that is shown is scrolled to.
    Effect::new(move |_| {
        let Some(nav) = parts.get() else { return };
        let current = nav.query_selector("[aria-current]").ok().flatten();
        if let Some(link) = current.and_then(|e| e.dyn_into::<web_sys::HtmlElement>().ok()) {
            nav.set_scroll_left(link.offset_left() - nav.offset_left() - nav.client_width() / 3);
        }
    });
    view! {
        <nav class="parts no-print" aria-label=say("athlete.parts") node_ref=parts>{links}</nav>
        <div class="stack part">{part}</div>
    }
    .into_any()
}
