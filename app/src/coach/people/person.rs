//! One account: date of birth, invitation, devices, squads, withdrawal; of a minor also guardians and consents.

use backstraight_core::base::day::Day;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::Member;
use leptos::prelude::*;
use serde::Deserialize;
use serde_json::{Value, json};

use super::super::asked::ask;
use super::super::parts::Pick;
use super::guardians::{Consents, Guardians};
use super::invite::Invite;
use super::{At, Person, kept_by, may_invite, moment};
use crate::kit::{Button, ButtonLink, Chip, DateField, Kind};
use crate::route::Route;
use crate::words::{say, say_with};

#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
struct Installs {
    installs: Vec<Install>,
}

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
struct Install {
    install: String,
    device: String,
    #[serde(default)]
    heard_at: Option<i64>,
    #[serde(default)]
    withdrawn_at: Option<i64>,
    #[serde(default)]
    ended_at: Option<i64>,
    #[serde(default)]
    this: bool,
}

/// One account.
#[component]
pub fn One(
    /// What the screen shares.
    at: At,
    /// Whose.
    id: String,
) -> impl IntoView {
    move || at.find(&id).map(|person| view! { <Account at=at person=person /> })
}

#[component]
fn Account(at: At, person: Person) -> impl IntoView {
    let me = at.hub.me();
    let own = me.person.to_string() == person.person;
    let role = person.role();
    let keeps = role.is_some_and(|r| kept_by(me.role).contains(&r));
    let gone = person.withdrawn_at.is_some();
    let sign_in =
        person.sign_in.as_ref().map(|name| view! { <p>{say_with("people.signs-in", &[("name", name)])}</p> });
    let invites = !gone && may_invite(me.role, own, role);
    let athlete = role == Some(Role::Athlete);
    view! {
        <div class="stack wide">
            <div class="stack tight">
                <p>{person.role.clone()}</p>
                {sign_in}
            </div>
            {keeps.then(|| view! { <Born at=at person=person.clone() /> })}
            {invites.then(|| view! { <Invite at=at person=person.clone() /> })}
            {(keeps || own).then(|| view! { <Devices at=at person=person.clone() /> })}
            {(athlete && me.role.coaches()).then(|| view! { <InSquads at=at person=person.clone() /> })}
            {athlete.then(|| view! {
                <Guardians at=at person=person.clone() may=keeps />
                <Consents at=at person=person.clone() signs=false />
            })}
            {keeps.then(|| view! { <Ends at=at person=person.clone() own=own /> })}
        </div>
    }
}

#[component]
fn Born(at: At, person: Person) -> impl IntoView {
    let born = RwSignal::new(person.born.as_deref().and_then(|d| d.parse::<Day>().ok()));
    let path = format!("/v1/people/{}", person.person);
    let save = move || {
        let body = json!({ "born": born.get_untracked().map(|d| d.to_string()) });
        at.send(path.clone(), body, say("people.born.saved"), |_| ());
    };
    view! {
        <div class="choose">
            <DateField label=say("people.born") value=born hint=say("people.born.hint") />
            <Button label=say("people.born.save").to_owned() on_press=save />
        </div>
    }
}

/// The devices of an account. This one has a way out of its own, which first offers what it alone has.
#[component]
pub fn Devices(
    /// What the screen shares.
    at: At,
    /// Whose.
    person: Person,
) -> impl IntoView {
    let path = format!("/v1/people/{}/installs", person.person);
    let installs = ask::<Installs>(at.hub, Signal::stored(path.clone()));
    let shown = move |list: &Installs| {
        if list.installs.is_empty() {
            return view! { <p class="soft">{say("people.no-devices")}</p> }.into_any();
        }
        let rows = list.installs.iter().map(|i| {
            let path = format!("{path}/{}/withdraw", i.install);
            let ended = match (i.withdrawn_at, i.ended_at) {
                (Some(t), _) => Some(say_with("people.device.withdrawn", &[("time", &moment(t))])),
                (None, Some(t)) => Some(say_with("people.device.ended", &[("time", &moment(t))])),
                (None, None) => None,
            };
            let heard = i.heard_at.map_or_else(
                || say("people.device.never").to_owned(),
                |t| say_with("people.device.heard", &[("time", &moment(t))]),
            );
            let this = i.this.then(|| view! { <Chip text=say("people.device.this") strong=true /> });
            let withdraw = (i.withdrawn_at.is_none() && !i.this).then(|| {
                let label = say_with("people.device.withdraw", &[("device", &i.device)]);
                let go = move || {
                    at.send(path.clone(), Value::Null, say("people.device.done"), move |_| {
                        installs.ask_again();
                    });
                };
                view! { <Button label=label kind=Kind::Grave on_press=go /> }
            });
            let out = i.this.then(|| {
                view! { <ButtonLink label=say("settings.leave.ask").to_owned() href=Route::Settings.href() /> }
            });
            view! {
                <li class="row">
                    <span>{i.device.clone()}</span> {this} <span class="soft">{heard}</span>
                    {ended.map(|text| view! { <Chip text=text /> })} {withdraw} {out}
                </li>
            }
        });
        view! { <ul class="stack tight">{rows.collect_view()}</ul> }.into_any()
    };
    view! {
        <section class="stack tight">
            <h3>{say("people.devices")}</h3>
            <p class="soft">{say("people.devices.text")}</p>
            {installs.shown(shown)}
        </section>
    }
}

/// The squads of an athlete, by this device's documents: identity of each.
fn squads_of(at: At, person: &str) -> Vec<String> {
    at.hub.read(|device| {
        let names = device.documents().unwrap_or_default();
        let squads = names.into_iter().filter_map(|n| match n {
            DocName::Squad(id) => Some(id),
            _ => None,
        });
        squads
            .filter(|id| {
                device.document(DocName::Squad(*id)).is_ok_and(|doc| {
                    doc.records::<Member>("members").live().any(|m| m.record.athlete.to_string() == person)
                })
            })
            .map(|id| id.to_string())
            .collect()
    })
}

#[component]
fn InSquads(at: At, person: Person) -> impl IntoView {
    let to = RwSignal::new(String::new());
    let id = person.person.clone();
    let named = move |squad: &str| {
        let all = at.squads.get().unwrap_or_default().squads;
        all.into_iter().find(|s| s.squad == squad).map_or_else(|| squad.to_owned(), |s| s.name)
    };
    let now = move || {
        let names: Vec<String> = squads_of(at, &id).iter().map(|s| named(s)).collect();
        if names.is_empty() { say("people.no-squad").to_owned() } else { names.join(", ") }
    };
    let options = Signal::derive(move || {
        let mut all = vec![(String::new(), say("people.pick-squad").to_owned())];
        all.extend(at.squads.get().unwrap_or_default().squads.into_iter().map(|s| (s.squad, s.name)));
        all
    });
    let id = person.person;
    let join = move || {
        let squad = to.get_untracked();
        if squad.is_empty() {
            return;
        }
        let from = squads_of(at, &id).into_iter().find(|s| *s != squad);
        let mut body = json!({ "athlete": id });
        if let (Some(from), Some(fields)) = (from, body.as_object_mut()) {
            fields.insert("from".to_owned(), from.into());
        }
        at.send(format!("/v1/squads/{squad}/members"), body, say("people.joined"), move |_| at.hub.soon());
    };
    view! {
        <section class="stack tight">
            <h3>{say("board.squad")}</h3>
            <p>{now}</p>
            <div class="row">
                <Pick label=say("people.to-squad") options=options value=to />
                <Button label=say("people.join").to_owned() on_press=join />
            </div>
        </section>
    }
}

#[component]
fn Ends(at: At, person: Person, own: bool) -> impl IntoView {
    let path = format!("/v1/people/{}", person.person);
    let (reset, ends, back) =
        (format!("{path}/reset-sign-in"), format!("{path}/withdraw"), format!("{path}/restore"));
    let sure = RwSignal::new(false);
    let withdraw = move || {
        if sure.get_untracked() {
            at.send(ends.clone(), Value::Null, say("people.withdraw.done"), |_| ());
        } else {
            sure.set(true);
        }
    };
    let label = Signal::derive(move || {
        let text = if sure.get() { say("people.withdraw.sure") } else { say("people.withdraw") };
        text.to_owned()
    });
    let signs = person.sign_in.is_some().then(|| {
        let go = move || at.send(reset.clone(), Value::Null, say("people.reset.done"), |_| ());
        view! { <Button label=say("people.reset").to_owned() kind=Kind::Grave on_press=go /> }
    });
    let end = if person.withdrawn_at.is_some() {
        let go = move || at.send(back.clone(), Value::Null, say("people.restore.done"), |_| ());
        view! { <Button label=say("people.restore").to_owned() on_press=go /> }.into_any()
    } else if own {
        ().into_any()
    } else {
        view! { <Button label=label kind=Kind::Grave on_press=withdraw /> }.into_any()
    };
    view! {
        <section class="stack tight">
            <h3>{say("people.ends")}</h3>
            <p class="soft">{say("people.ends.text")}</p>
            <div class="row">{signs}{end}</div>
        </section>
    }
}
