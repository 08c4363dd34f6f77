//! What opens beside a week: over how many weeks a session is repeated, what was taken away.

use backstraight_core::doc::command::Command;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::Session;
use leptos::prelude::*;

use super::deeds;
use super::scene::Desk;
use super::week::At;
use crate::kit::number::Steps;
use crate::kit::{Button, Dialog, Kind, NumberField, dates};
use crate::words::{say, say_n};

/// Over how many weeks a session is repeated.
#[component]
pub fn Repeat(
    /// The desk.
    at: At,
) -> impl IntoView {
    let weeks = RwSignal::new("3".to_owned());
    let go = move || {
        let n = crate::parse::count(&weeks.get_untracked()).ok().and_then(|n| i32::try_from(n.get()).ok());
        let (Some(n), Some((who, key))) = (n, at.repeat.get_untracked()) else { return };
        at.with(who, &key, |place, session| {
            let commands = deeds::repeat(&place.plan, session, n, &mut at.mint());
            let said = say_n("desk.repeated", u64::try_from(n).unwrap_or(0), &[]);
            at.bench.run(commands.into_iter().map(|c| (place.doc, c)).collect(), said);
        });
        at.repeat.set(None);
    };
    view! {
        <Dialog title=Signal::stored(say("desk.repeat").to_owned()) open=Signal::derive(move || at.repeat.with(Option::is_some))
            on_close=move || at.repeat.set(None) sheet=true>
            <form class="stack" on:submit=move |e| { e.prevent_default(); go(); }>
                <p>{say("desk.repeat.text")}</p>
                <NumberField label=say("desk.repeat.weeks") value=weeks whole=true
                    steps=Steps::whole(1, 1, 52) />
                <Button label=say("desk.repeat.go").to_owned() kind=Kind::Main submit=true on_press=|| () />
            </form>
        </Dialog>
    }
}

/// Sessions of this week that were taken away.
pub fn gone(at: At) -> AnyView {
    let week = at.week.get();
    let Ok(desk) = Desk::read(at.bench.hub, at.whose, week) else { return ().into_any() };
    let mut found: Vec<(String, DocName, Entry<Session>)> = Vec::new();
    for place in &desk.places {
        for (season, _) in place.plans.iter() {
            let doc = DocName::Plan(place.who, season);
            let sessions = at.bench.hub.peek(|device| {
                device.document(doc).map(|d| d.records::<Session>("sessions").entries).unwrap_or_default()
            });
            let mine = sessions
                .into_iter()
                .filter(|s| !s.live() && week <= s.record.date && s.record.date <= week.plus(6));
            found.extend(mine.map(|s| (place.name.clone(), doc, s)));
        }
    }
    let list = found
        .iter()
        .map(|(name, doc, session)| {
            let text = format!("{name}, {}, {}", dates::named(session.record.date), session.record.title);
            let (doc, place) = (*doc, session.place.clone());
            let back = move || {
                at.bench.run(vec![(doc, Command::Restore(vec![place.clone()]))], say("desk.restored"));
            };
            view! { <li class="row apart"><span>{text}</span><Button label=say("desk.restore").to_owned() on_press=back /></li> }
        })
        .collect_view();
    let none = found.is_empty().then(|| view! { <p class="soft">{say("desk.gone.none")}</p> });
    view! {
        <section class="card stack" aria-label=say("desk.gone")>
            <h2>{say("desk.gone")}</h2>
            {none}
            <ul class="stack tight">{list}</ul>
        </section>
    }
    .into_any()
}
