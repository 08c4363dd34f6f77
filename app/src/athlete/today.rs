//! Today: what is asked, what is under way, what was done.

use backstraight_core::base::key::Key;
use backstraight_core::view::availability;
use backstraight_core::view::screen::SessionScreen;
use backstraight_core::view::state::State;
use leptos::prelude::*;

use super::scene::{Judged, Own};
use crate::hub::{Hub, use_hub};
use crate::kit::{ButtonLink, CautionBox, EmptyState, Kind, Mark, dates};
use crate::route::Route;
use crate::screens::{head, unreadable};
use crate::words::{say, say_with};

/// The athlete's day.
#[component]
pub fn Today() -> impl IntoView {
    let hub = use_hub();
    let own = Signal::derive_local(move || Own::read(hub).map_err(|e| e.to_string()));
    view! {
        {move || match own.get() {
            Ok(own) => day(hub, &own).into_any(),
            Err(why) => {
                head(say("today.title"), "");
                unreadable(why)
            }
        }}
    }
}

fn day(hub: Hub, own: &Own) -> impl IntoView + use<> {
    head(say("today.title"), dates::full(own.day));
    let said = availability::said(&own.done.availability);
    let limits = availability::limits(&said, own.day).map(|said| {
        let caution = backstraight_core::science::Caution::Availability;
        view! { <CautionBox caution=caution text=said.words() /> }
    });
    let planned: Vec<Key> = own.plans.on(own.day).iter().map(|s| s.planned.key()).collect();
    let begun = |key: &Key| own.screen(hub, key, None);
    let asked: Vec<SessionScreen> = planned.iter().filter_map(begun).collect();
    // Sessions of other days or of nobody's asking that were begun today.
    let others: Vec<SessionScreen> = own
        .done
        .sessions
        .iter()
        .filter(|s| s.session.record.date == own.day)
        .filter(|s| s.session.record.session.as_ref().is_none_or(|k| !planned.contains(k)))
        .filter_map(|s| begun(s.session.record.session.as_ref().unwrap_or(&s.session.key())))
        .collect();
    let judged = own.judged(own.day, own.day);
    let nothing = asked.is_empty() && others.is_empty();
    let next = own.plans.next_after(own.day).map(|s| {
        let title = s.planned.session.record.title.as_str();
        let text = say_with("today.next", &[("title", title), ("day", &dates::named(s.day()))]);
        view! { <p class="soft">{text}</p> }
    });
    let empty = nothing.then(|| {
        let (title, text) = if own.plans.is_empty() {
            (say("today.no-plan"), say("today.no-plan.text"))
        } else {
            (say("today.free"), say("today.free.text"))
        };
        view! { <EmptyState title=title text=text /> }
    });
    view! {
        <div class="stack">
        {limits}
        <ul class="stack">
            {asked.iter().chain(&others).map(|s| card(s, &judged).into_any()).collect_view()}
        </ul>
        {empty}
        {next}
        <p><ButtonLink label=say("today.check-in").to_owned() href=Route::CheckIn.href() /></p>
        </div>
    }
}

fn card(screen: &SessionScreen, judged: &[Judged]) -> impl IntoView + use<> {
    let key = screen.planned.clone().or_else(|| screen.begun.as_ref().map(|b| b.key.clone()));
    let (done, _) = screen.progress();
    // A session of another day that was begun today is judged on its own day.
    let (state, share) = judged
        .iter()
        .find(|j| Some(&j.key) == key.as_ref())
        .map_or((State::Part, None), |j| (j.state, j.share));
    let href = key.map(|k| Route::Session(k).href()).unwrap_or_default();
    let title = if screen.title.is_empty() { say("session.own").to_owned() } else { screen.title.clone() };
    let go = if done == 0 && screen.begun.is_none() { say("today.begin") } else { say("today.go-on") };
    let names: Vec<String> = screen.items().map(|i| i.shown.name.clone()).collect();
    view! {
        <li class="card stack tight">
            <h2>{title}</h2>
            <p><Mark state=state share=share with_word=true /></p>
            {screen.notes.first().map(|note| view! { <p>{note.clone()}</p> })}
            <p class="soft">{names.join(", ")}</p>
            <ButtonLink label=go.to_owned() href=href kind=Kind::Main big=true full=true />
        </li>
    }
}
