//! The end of a session: how hard, how long, words to the coach.

use backstraight_core::base::key::Key;
use backstraight_core::model::name::DocName;
use backstraight_core::view::screen::SessionScreen;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::draft::note;
use super::scene::Own;
use crate::hub::{Hub, use_hub};
use crate::kit::number::Steps;
use crate::kit::{Button, ButtonLink, EmptyState, Kind, NumberField, TextField, Toaster};
use crate::parse;
use crate::platform::files;
use crate::route::Route;
use crate::screens::head;
use crate::start::busy;
use crate::words::say;

/// What is wrong, by field.
#[derive(Debug, Clone, Default)]
struct Wrong {
    minutes: Option<String>,
    effort: Option<String>,
    comment: Option<String>,
}

/// Minutes since a session began, for its field: none when that was too long ago to be meant.
#[must_use]
pub fn minutes_since(began: i64, now: i64) -> Option<i64> {
    let minutes = (now - began) / 60_000;
    (5..=240).contains(&minutes).then_some(minutes)
}

/// Closing a session.
#[component]
pub fn Close(
    /// Which.
    key: Option<Key>,
) -> impl IntoView {
    let hub = use_hub();
    // Nothing may load the page anew while somebody says how it was.
    busy(true);
    on_cleanup(|| busy(false));
    let own = untrack(|| Own::read(hub));
    let screen = key.as_ref().and_then(|k| own.as_ref().ok()?.screen(hub, k, None));
    match (key, screen) {
        (Some(key), Some(screen)) => {
            head(say("close.title"), screen.title.clone());
            form(hub, key, screen).into_any()
        }
        _ => {
            head(say("close.title"), "");
            let home = (say("way.today").to_owned(), Route::Today.href());
            view! { <EmptyState title=say("session.gone") text=say("session.gone.text") action=home /> }
                .into_any()
        }
    }
}

fn form(hub: Hub, key: Key, screen: SessionScreen) -> impl IntoView {
    let record = screen.begun.as_ref().map(|b| b.record.clone());
    let record = record.as_ref();
    let text = |t: Option<String>| RwSignal::new(t.unwrap_or_default());
    let guessed = record.and_then(|r| minutes_since(r.began.0, hub.now().0)).map(|m| m.to_string());
    let minutes = text(record.and_then(|r| r.minutes).map(|m| m.get().to_string()).or(guessed));
    let effort = text(record.and_then(|r| r.effort).map(|e| parse::plain(e.get(), 1)));
    let comment = text(record.and_then(|r| r.comment.as_ref()).map(ToString::to_string));
    let wrong = RwSignal::new(Wrong::default());
    let toaster = Toaster::here();
    let save = move || {
        let m = parse::optional(&minutes.get_untracked(), parse::minutes);
        let e = parse::optional(&effort.get_untracked(), parse::effort);
        let c = note(&comment.get_untracked());
        let (Ok(m), Ok(e), Ok(c)) = (&m, &e, &c) else {
            wrong.set(Wrong { minutes: m.err(), effort: e.err(), comment: c.err() });
            return;
        };
        let now = hub.now();
        let commands = screen.close(*m, *e, c.clone(), now, &mut || hub.key());
        let person = hub.me().person;
        let doc = screen.doc(|day| DocName::Log(person, day.month()));
        spawn_local(async move {
            match hub.run_all(doc, &commands).await {
                Ok(()) => {
                    toaster.say(say("close.saved"));
                    // Asked for after the first whole session: now there is something to protect.
                    let _ = files::protect().await;
                    if window().location().set_hash(&Route::Today.href()).is_err() {
                        toaster.say(say("close.saved"));
                    }
                }
                Err(error) => toaster.say(error.to_string()),
            }
        });
    };
    let part = |f: fn(&Wrong) -> Option<String>| Signal::derive(move || wrong.with(f));
    view! {
        <form class="stack" on:submit=move |event| { event.prevent_default(); save(); }>
            <NumberField label=say("close.effort") value=effort steps=Steps::fine(500, 0, 10) big=true
                hint=say("close.effort.hint") error=part(|w| w.effort.clone()) />
            <NumberField label=say("close.minutes") value=minutes steps=Steps::whole(5, 0, 600) whole=true big=true
                unit=Signal::stored("min".to_owned()) hint=say("close.minutes.hint") error=part(|w| w.minutes.clone()) />
            <TextField label=say("close.comment") value=comment lines=true most=500 error=part(|w| w.comment.clone()) />
            <Button label=say("close.save").to_owned() kind=Kind::Main big=true full=true submit=true on_press=|| () />
        </form>
        <ButtonLink label=say("close.back").to_owned() href=Route::Session(key).href() kind=Kind::Quiet />
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_of_yesterday_does_not_take_twenty_hours() {
        assert_eq!(minutes_since(0, 75 * 60_000), Some(75));
        assert_eq!(minutes_since(0, 20 * 3_600_000), None);
        assert_eq!(minutes_since(0, 60_000), None);
        assert_eq!(minutes_since(60_000, 0), None);
    }
}
