//! People and access: who is in the club, who may come in with which device, squads, guardians and consents of
//! minors, the own sign-in, and for owners the list of what changed access. Who may what is the server's to say; this
//! screen offers what a role usually may and shows what the server answers.

pub mod club;
pub mod guardians;
pub mod invite;
pub mod person;

use backstraight_core::exchange::access::Role;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Deserialize;
use serde_json::{Value, json};

use super::answers::{Squads, day_text};
use super::asked::{Asked, ask};
use super::board_rows::fits;
use super::parts::Pick;
use crate::hub::{Hub, use_hub};
use crate::kit::{Button, Chip, Column, DataTable, DateField, Dialog, EmptyState, Kind, TextField, Toaster};
use crate::screens::head;
use crate::words::{say, say_n};

/// The people of the club.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
pub struct People {
    /// Everybody of a page.
    pub people: Vec<Person>,
}

/// An account.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
pub struct Person {
    /// Identity.
    pub person: String,
    /// Shown name.
    pub name: String,
    /// Role, in words.
    pub role: String,
    /// Date of birth.
    #[serde(default)]
    pub born: Option<String>,
    /// Devices that are let in.
    #[serde(default)]
    pub installs: u64,
    /// The name to sign in with.
    #[serde(default)]
    pub sign_in: Option<String>,
    /// When the person was withdrawn.
    #[serde(default)]
    pub withdrawn_at: Option<i64>,
    /// When the person left.
    #[serde(default)]
    pub left_at: Option<i64>,
}

impl Person {
    /// The role, where it is one that we know.
    #[must_use]
    pub fn role(&self) -> Option<Role> {
        self.role.parse().ok()
    }
}

/// The roles whose accounts somebody usually keeps. The server decides.
#[must_use]
pub fn kept_by(role: Role) -> &'static [Role] {
    match role {
        Role::Owner => &Role::ALL,
        Role::HeadCoach => &[Role::Coach, Role::Care, Role::Athlete, Role::Guardian],
        Role::Coach | Role::Care | Role::Athlete | Role::Guardian => &[],
    }
}

/// Whether somebody usually may invite another: whoever keeps the account, a coach an athlete, a coach oneself.
#[must_use]
pub fn may_invite(me: Role, own: bool, target: Option<Role>) -> bool {
    let Some(target) = target else { return false };
    kept_by(me).contains(&target) || (me == Role::Coach && target == Role::Athlete) || (own && me.coaches())
}

/// What the parts of the screen share.
#[derive(Debug, Clone, Copy)]
pub struct At {
    /// The hub.
    pub hub: Hub,
    /// Where is said what was done.
    pub toaster: Toaster,
    /// Everybody.
    pub people: Asked<People>,
    /// The squads.
    pub squads: Asked<Squads>,
    /// Whose account is open.
    pub open: RwSignal<Option<String>>,
}

impl At {
    /// For one's own account alone: nothing is asked about anybody else.
    #[must_use]
    pub fn own(hub: Hub) -> At {
        At {
            hub,
            toaster: Toaster::here(),
            people: ask(hub, Signal::stored(String::new())),
            squads: ask(hub, Signal::stored(String::new())),
            open: RwSignal::new(None),
        }
    }

    /// Sends a change, says that it is done, and goes on with the answer.
    pub fn send(self, path: String, body: Value, said: &'static str, then: impl FnOnce(Value) + 'static) {
        spawn_local(async move {
            match self.hub.send::<Value>("POST", &path, &body).await {
                Ok(answer) => {
                    self.toaster.say(said);
                    self.people.ask_again();
                    then(answer);
                }
                Err(error) => self.toaster.say(error.to_string()),
            }
        });
    }

    /// Somebody by identity, as last answered.
    #[must_use]
    pub fn find(self, id: &str) -> Option<Person> {
        self.people.get()?.people.into_iter().find(|p| p.person == id)
    }
}

/// The screen.
#[component]
pub fn PeopleScreen() -> impl IntoView {
    let hub = use_hub();
    head(say("way.people"), say("people.under"));
    let all = RwSignal::new(false);
    let path = Signal::derive(move || format!("/v1/people?limit=500&all={}", all.get()));
    let at = At {
        hub,
        toaster: Toaster::here(),
        people: ask(hub, path),
        squads: ask(hub, Signal::stored("/v1/squads".to_owned())),
        open: RwSignal::new(None),
    };
    let role = hub.me().role;
    let search = RwSignal::new(String::new());
    let shown = move |list: &People| {
        let typed = search.get();
        let found: Vec<&Person> = list.people.iter().filter(|p| fits(&p.name, &typed)).collect();
        if found.is_empty() {
            return view! { <EmptyState title=say("people.none") text=say("people.none.text") /> }.into_any();
        }
        table(at, &found).into_any()
    };
    let title =
        Signal::derive(move || at.open.get().and_then(|id| at.find(&id)).map(|p| p.name).unwrap_or_default());
    let adds = (!kept_by(role).is_empty()).then(|| view! { <Add at=at roles=kept_by(role) /> });
    view! {
        <div class="stack wide">
            <section class="stack">
                <div class="choose">
                    <TextField label=say("board.search") value=search input_type="search" most=60 />
                    <crate::kit::Check label=say("people.all") value=all />
                </div>
                {at.people.shown(shown)}
            </section>
            {adds}
            <club::SquadsPart at=at />
            <club::OwnSignIn at=at />
            {(role == Role::Owner).then(|| view! { <club::Audit at=at /> })}
        </div>
        <Dialog title=title open=Signal::derive(move || at.open.with(Option::is_some)) on_close=move || at.open.set(None)>
            {move || at.open.get().map(|id| view! { <person::One at=at id=id /> })}
        </Dialog>
    }
}

fn table(at: At, people: &[&Person]) -> impl IntoView + use<> {
    let columns = vec![
        Column::words(say("people.name")),
        Column::words(say("people.role")),
        Column::words(say("people.born")),
        Column::words(say("people.devices")),
        Column::words(say("people.account")),
    ];
    let rows = people
        .iter()
        .map(|p| {
            let id = p.person.clone();
            let gone = (p.withdrawn_at.is_some() || p.left_at.is_some()).then(|| {
                let text = if p.left_at.is_some() { say("people.left") } else { say("people.withdrawn") };
                view! { <Chip text=text strong=true /> }
            });
            let born = match (&p.born, p.role()) {
                (Some(born), _) => born.clone(),
                (None, Some(Role::Athlete)) => say("people.no-born").to_owned(),
                (None, _) => String::new(),
            };
            let label = crate::words::say_with("people.open", &[("name", &p.name)]);
            let open = move || at.open.set(Some(id.clone()));
            vec![
                view! { <span>{p.name.clone()}</span> {gone} }.into_any(),
                p.role.clone().into_any(),
                born.into_any(),
                say_n("people.n-devices", p.installs, &[]).into_any(),
                view! { <Button label=label on_press=open /> }.into_any(),
            ]
        })
        .collect();
    view! { <DataTable caption=say("people.caption") columns=columns rows=rows /> }
}

#[component]
fn Add(at: At, roles: &'static [Role]) -> impl IntoView {
    let (name, born) = (RwSignal::new(String::new()), RwSignal::new(None));
    let role = RwSignal::new(Role::Athlete.word().to_owned());
    let options: Vec<(String, String)> =
        roles.iter().map(|r| (r.word().to_owned(), r.word().to_owned())).collect();
    let blank = Signal::derive(move || name.with(|n| n.trim().is_empty()));
    let go = move || {
        if blank.get_untracked() {
            return;
        }
        let mut body = json!({ "name": name.get_untracked().trim(), "role": role.get_untracked() });
        let day = born.get_untracked().map(|d: backstraight_core::base::day::Day| d.to_string());
        if let (Some(day), Some(fields)) = (day, body.as_object_mut()) {
            fields.insert("born".to_owned(), day.into());
        }
        at.send("/v1/people".to_owned(), body, say("people.added"), move |answer| {
            name.set(String::new());
            born.set(None);
            let id = answer.get("person").and_then(Value::as_str).map(str::to_owned);
            at.open.set(id);
        });
    };
    view! {
        <section class="stack">
            <h2>{say("people.add")}</h2>
            <p>{say("people.add.text")}</p>
            <form class="choose" on:submit=move |e| { e.prevent_default(); go(); }>
                <TextField label=say("people.name") value=name most=60 />
                <Pick label=say("people.role") options=Signal::stored(options) value=role />
                <DateField label=say("people.born") value=born hint=say("people.born.hint") />
                <Button label=say("people.add.go").to_owned() kind=Kind::Main disabled=blank submit=true on_press=|| () />
            </form>
        </section>
    }
}

/// A moment of an answer, as people read it.
#[must_use]
pub fn moment(ms: i64) -> String {
    super::asked::clock_text(
        backstraight_core::base::moment::Moment(ms),
        crate::platform::clock::zone_minutes(),
    )
}

/// A day of an answer that may be missing.
#[must_use]
pub fn day_or(text: Option<&str>, none: &'static str) -> String {
    text.map_or_else(|| none.to_owned(), day_text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_offered_follows_the_role() {
        assert!(may_invite(Role::Coach, false, Some(Role::Athlete)));
        assert!(!may_invite(Role::Coach, false, Some(Role::Coach)));
        assert!(may_invite(Role::Coach, true, Some(Role::Coach)));
        assert!(may_invite(Role::HeadCoach, false, Some(Role::Guardian)));
        assert!(!may_invite(Role::HeadCoach, false, Some(Role::Owner)));
        assert!(may_invite(Role::Owner, false, Some(Role::Owner)));
        assert!(!may_invite(Role::Care, true, Some(Role::Care)));
        assert!(!may_invite(Role::Owner, false, None));
    }
}
