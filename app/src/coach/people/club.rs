//! Squads of the club, the reader's own sign-in, and for owners the list of what changed access.

use leptos::prelude::*;
use serde::Deserialize;
use serde_json::json;

use super::super::answers::Squads;
use super::super::asked::{ask, question};
use super::super::parts::Pages;
use super::{At, moment};
use crate::kit::{Button, Column, DataTable, Kind, TextField};
use crate::words::say;

/// The squads.
#[component]
pub fn SquadsPart(
    /// What the screen shares.
    at: At,
) -> impl IntoView {
    let name = RwSignal::new(String::new());
    let blank = Signal::derive(move || name.with(|n| n.trim().is_empty()));
    let add = move || {
        let body = json!({ "name": name.get_untracked().trim() });
        at.send("/v1/squads".to_owned(), body, say("squads.added"), move |_| {
            name.set(String::new());
            at.squads.ask_again();
        });
    };
    let shown = |list: &Squads| {
        if list.squads.is_empty() {
            return view! { <p class="soft">{say("squads.none")}</p> }.into_any();
        }
        let items = list.squads.iter().map(|s| view! { <li>{s.name.clone()}</li> }).collect_view();
        view! { <ul class="dashes">{items}</ul> }.into_any()
    };
    view! {
        <section class="stack tight">
            <h2>{say("squads.title")}</h2>
            {at.squads.shown(shown)}
            <form class="choose" on:submit=move |e| { e.prevent_default(); add(); }>
                <TextField label=say("squads.name") value=name most=60 />
                <Button label=say("squads.add").to_owned() disabled=blank submit=true on_press=|| () />
            </form>
        </section>
    }
}

/// The reader's own password.
#[component]
pub fn OwnSignIn(
    /// What the screen shares.
    at: At,
) -> impl IntoView {
    let blank = || RwSignal::new(String::new());
    let (name, current, new) = (blank(), blank(), blank());
    let incomplete = Signal::derive(move || name.with(|n| n.trim().is_empty()) || new.with(String::is_empty));
    let save = move || {
        let mut body = json!({ "name": name.get_untracked().trim(), "password": new.get_untracked() });
        let old = current.get_untracked();
        if let (false, Some(fields)) = (old.is_empty(), body.as_object_mut()) {
            fields.insert("current".to_owned(), old.into());
        }
        at.send("/v1/password".to_owned(), body, say("own.saved"), move |_| {
            current.set(String::new());
            new.set(String::new());
        });
    };
    view! {
        <section class="stack tight">
            <h2>{say("own.title")}</h2>
            <p>{say("own.text")}</p>
            <form class="choose" on:submit=move |e| { e.prevent_default(); save(); }>
                <TextField label=say("welcome.name") value=name hint=say("welcome.name.hint") autocomplete="username" most=64 />
                <TextField label=say("own.current") value=current hint=say("own.current.hint") input_type="password" autocomplete="current-password" most=128 />
                <TextField label=say("own.new") value=new hint=say("welcome.password.hint") input_type="password" autocomplete="new-password" most=128 />
                <Button label=say("own.save").to_owned() kind=Kind::Main disabled=incomplete submit=true on_press=|| () />
            </form>
        </section>
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
struct AuditList {
    #[serde(default)]
    next: Option<u64>,
    lines: Vec<AuditLine>,
}

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
struct AuditLine {
    at: i64,
    #[serde(default)]
    name: Option<String>,
    #[serde(default)]
    person: Option<String>,
    what: String,
    #[serde(default)]
    subject: String,
}

/// What changed access, newest first.
#[component]
pub fn Audit(
    /// What the screen shares.
    at: At,
) -> impl IntoView {
    let pages = Pages::new();
    let path = Signal::derive(move || {
        let before = pages.begins_after();
        let mut asks = vec![("limit", "50")];
        asks.extend(before.as_deref().map(|before| ("before", before)));
        question("/v1/audit", &asks)
    });
    let list = ask::<AuditList>(at.hub, path);
    let shown = move |found: &AuditList| {
        let columns = vec![
            Column::words(say("audit.at")),
            Column::words(say("audit.who")),
            Column::words(say("audit.what")),
            Column::words(say("audit.about")),
        ];
        let rows = found
            .lines
            .iter()
            .map(|l| {
                let who = l.name.clone().or_else(|| l.person.clone());
                let about = at.find(&l.subject).map_or_else(|| l.subject.clone(), |p| p.name);
                vec![
                    moment(l.at).into_any(),
                    who.unwrap_or_else(|| say("audit.machine").to_owned()).into_any(),
                    l.what.clone().into_any(),
                    about.into_any(),
                ]
            })
            .collect();
        let next = found.next.map(|line| line.to_string());
        let turn = pages.buttons(next, say("audit.newer"), say("audit.older"));
        view! {
            <DataTable caption=say("audit.caption") columns=columns rows=rows />
            {turn}
        }
        .into_any()
    };
    view! {
        <section class="stack tight">
            <h2>{say("audit.title")}</h2>
            <p>{say("audit.text")}</p>
            {list.shown(shown)}
        </section>
    }
}
