//! Guardians of a minor, and what was agreed. Local law decides from which age somebody agrees alone.

use leptos::prelude::*;
use serde::Deserialize;
use serde_json::json;

use super::super::asked::ask;
use super::super::parts::Pick;
use super::{At, Person, day_or, moment};
use crate::kit::{Button, Kind, TextField};
use crate::words::{say, say_with};

#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
struct GuardianList {
    #[serde(default)]
    ends: String,
    guardians: Vec<Guardian>,
}

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
struct Guardian {
    guardian: String,
    name: String,
    #[serde(default)]
    reason: String,
    started_at: i64,
    #[serde(default)]
    ended_at: Option<i64>,
    #[serde(default)]
    end_reason: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
struct ConsentList {
    #[serde(default)]
    signs: String,
    uses: Vec<UseOf>,
    words: Vec<WordOf>,
}

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
struct UseOf {
    what: String,
    agreed: bool,
    because: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
struct WordOf {
    what: String,
    agrees: bool,
    name: String,
    at: i64,
    #[serde(default)]
    until: Option<String>,
    counts: bool,
}

/// Who watches over an athlete.
#[component]
pub fn Guardians(
    /// What the screen shares.
    at: At,
    /// The athlete.
    person: Person,
    /// Whether the reader may begin and end it.
    may: bool,
) -> impl IntoView {
    let path = format!("/v1/people/{}/guardians", person.person);
    let list = ask::<GuardianList>(at.hub, Signal::stored(path.clone()));
    let who = RwSignal::new(String::new());
    let reason = RwSignal::new(String::new());
    let options = Signal::derive(move || {
        let mut all = vec![(String::new(), say("guardians.pick").to_owned())];
        let people = at.people.get().unwrap_or_default().people;
        let guardians = people.into_iter().filter(|p| p.role == "guardian" && p.withdrawn_at.is_none());
        all.extend(guardians.map(|p| (p.person, p.name)));
        all
    });
    let incomplete =
        Signal::derive(move || who.with(String::is_empty) || reason.with(|r| r.trim().is_empty()));
    let begin = {
        let path = path.clone();
        move || {
            let body = json!({ "guardian": who.get_untracked(), "reason": reason.get_untracked().trim() });
            at.send(path.clone(), body, say("guardians.begun"), move |_| {
                reason.set(String::new());
                list.ask_again();
            });
        }
    };
    let shown = move |found: &GuardianList| {
        let rows = found
            .guardians
            .iter()
            .map(|g| {
                let path = format!("{path}/{}/end", g.guardian);
                let since = say_with(
                    "guardians.since",
                    &[("name", &g.name), ("time", &moment(g.started_at)), ("reason", &g.reason)],
                );
                let ended = g.ended_at.map(|t| {
                    let why = g.end_reason.clone().unwrap_or_default();
                    view! { <span class="soft">{say_with("guardians.ended", &[("time", &moment(t)), ("reason", &why)])}</span> }
                });
                let end = (may && g.ended_at.is_none()).then(|| {
                    let label = say_with("guardians.end", &[("name", &g.name)]);
                    let go = move || {
                        let body = json!({ "reason": say("guardians.end.reason") });
                        at.send(path.clone(), body, say("guardians.end.done"), move |_| list.ask_again());
                    };
                    view! { <Button label=label kind=Kind::Grave on_press=go /> }
                });
                view! { <li class="row"><span>{since}</span> {ended} {end}</li> }
            })
            .collect_view();
        let none = found.guardians.is_empty().then(|| view! { <p class="soft">{say("guardians.none")}</p> });
        let ends = say_with("guardians.ends", &[("when", &found.ends)]);
        view! { <ul class="stack tight">{rows}</ul> {none} <p class="soft">{ends}</p> }.into_any()
    };
    let form = may.then(|| {
        view! {
            <div class="choose">
                <Pick label=say("guardians.who") options=options value=who />
                <TextField label=say("guardians.reason") value=reason most=200 />
                <Button label=say("guardians.begin").to_owned() disabled=incomplete on_press=begin />
            </div>
        }
    });
    view! {
        <section class="stack tight">
            <h3>{say("guardians.title")}</h3>
            {list.shown(shown)}
            {form}
        </section>
    }
}

/// What was agreed for an athlete; whoever signs, signs here.
#[component]
pub fn Consents(
    /// What the screen shares.
    at: At,
    /// The athlete.
    person: Person,
    /// Whether the reader signs for the athlete.
    signs: bool,
) -> impl IntoView {
    let path = format!("/v1/people/{}/consents", person.person);
    let list = ask::<ConsentList>(at.hub, Signal::stored(path.clone()));
    let shown = move |found: &ConsentList| {
        let uses = found
            .uses
            .iter()
            .map(|u| {
                let key = [("what", u.what.as_str()), ("because", u.because.as_str())];
                let text =
                    if u.agreed { say_with("consents.yes", &key) } else { say_with("consents.no", &key) };
                let press = |agrees: bool| {
                    let (path, what) = (path.clone(), u.what.clone());
                    move || {
                        let body = json!({ "what": what, "agrees": agrees });
                        at.send(path.clone(), body, say("consents.signed"), move |_| list.ask_again());
                    }
                };
                let sign = signs.then(|| {
                    let key = [("what", u.what.as_str())];
                    view! {
                        <Button label=say_with("consents.agree", &key) on_press=press(true) />
                        <Button label=say_with("consents.refuse", &key) on_press=press(false) />
                    }
                });
                view! { <li class="row"><span>{text}</span> {sign}</li> }
            })
            .collect_view();
        let words = found
            .words
            .iter()
            .map(|w| {
                let until = day_or(w.until.as_deref(), say("consents.open-end"));
                let key = [
                    ("name", w.name.as_str()),
                    ("what", w.what.as_str()),
                    ("time", &moment(w.at)),
                    ("until", until.as_str()),
                ];
                let text = if w.agrees {
                    say_with("consents.said-yes", &key)
                } else {
                    say_with("consents.said-no", &key)
                };
                let past = (!w.counts).then(|| say("consents.past"));
                view! { <li class="soft">{text} {past}</li> }
            })
            .collect_view();
        view! {
            <p class="soft">{say_with("consents.signs", &[("who", &found.signs)])}</p>
            <ul class="stack tight">{uses}</ul>
            <ul class="dashes">{words}</ul>
        }
        .into_any()
    };
    view! {
        <section class="stack tight">
            <h3>{say("consents.title")}</h3>
            {list.shown(shown)}
        </section>
    }
}
