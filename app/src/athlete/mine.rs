//! My data: what this device has and what the club has, a copy of it, who may see what, devices, and the way out of
//! the club. What is on this device is shown without a signal; consents and leaving are the server's to keep.

use backstraight_core::exchange::access::Role;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde_json::{Value, json};

use super::copy::{of_device, own};
use super::unsent::name;
use crate::coach::people::guardians::{Consents, Guardians};
use crate::coach::people::person::Devices;
use crate::coach::people::{At, Person};
use crate::common::storage::StorageState;
use crate::hub::{Hub, use_hub};
use crate::kit::{
    Button, ButtonLink, CautionBox, ChoiceRow, ErrorBox, Kind, Progress, TextField, Toaster, Trouble,
};
use crate::platform::files;
use crate::route::Route;
use crate::screens::head;
use crate::words::{Word, say, say_n, word};

/// What keeps somebody from leaving: first what is nowhere but here, then the copy, then the word.
#[must_use]
pub fn in_the_way(unsent: usize, copy: Option<bool>, typed: &str, wanted: &str) -> Option<Word> {
    if unsent > 0 {
        Some(word("mine.leave.unsent"))
    } else if copy.is_none() {
        Some(word("mine.leave.copy-first"))
    } else if !typed.trim().eq_ignore_ascii_case(wanted) {
        Some(word("mine.leave.type-first"))
    } else {
        None
    }
}

/// The screen.
#[component]
pub fn MyData() -> impl IntoView {
    let hub = use_hub();
    let me = hub.me();
    head(say("way.my-data"), me.name.clone());
    let at = At::own(hub);
    let person = Person {
        person: me.person.to_string(),
        name: me.name,
        role: Role::Athlete.word().to_owned(),
        ..Person::default()
    };
    // Whether a copy was taken, or is not wanted: leaving asks for it, and shows the copy itself.
    let copy = RwSignal::new(None::<bool>);
    let file = StoredValue::new(None::<Vec<u8>>);
    view! {
        <div class="stack wide">
            <section class="stack tight">
                <h2>{say("mine.where")}</h2>
                <p>{say("mine.here")}</p>
                {move || here(hub)}
                <p>{say("mine.club")}</p>
                <ul class="dashes">
                    <li>{say("mine.club.training")}</li>
                    <li>{say("mine.club.care")}</li>
                    <li>{say("mine.club.availability")}</li>
                    <li>{say("mine.club.guardians")}</li>
                    <li>{say("mine.club.account")}</li>
                </ul>
            </section>
            <Copies hub=hub copy=copy file=file />
            <section class="stack tight">
                <h2>{say("mine.who")}</h2>
                <p>{say("mine.who.text")}</p>
                <CautionBox text=say("mine.who.care") />
                <Consents at=at person=person.clone() signs=true />
                <Guardians at=at person=person.clone() may=false />
            </section>
            <section class="stack tight">
                <h2>{say("mine.devices")}</h2>
                <Devices at=at person=person />
            </section>
            <section class="stack tight">
                <h2>{say("unsent.storage")}</h2>
                <StorageState />
                <p class="row">
                    <ButtonLink label=say("way.unsent").to_owned() href=Route::Unsent.href() />
                    <ButtonLink label=say("settings.leave.ask").to_owned() href=Route::Settings.href() />
                </p>
            </section>
            <LeaveClub hub=hub copy=copy file=file />
        </div>
    }
}

/// The own documents on this device, with how many changes each holds.
fn here(hub: Hub) -> impl IntoView + use<> {
    let rows = hub.read(|device| {
        let mut rows = Vec::new();
        for doc in own(device).unwrap_or_default() {
            let n = device.document(doc).map_or(0, |d| d.change_count());
            rows.push((doc, u64::try_from(n).unwrap_or(u64::MAX)));
        }
        rows
    });
    if rows.is_empty() {
        return view! { <p class="soft">{say("mine.here.nothing")}</p> }.into_any();
    }
    let n = u64::try_from(rows.len()).unwrap_or(u64::MAX);
    let rows = rows
        .into_iter()
        .map(|(doc, n)| view! { <li>{name(&doc)} ": " {say_n("unsent.changes", n, &[])}</li> })
        .collect_view();
    view! {
        <details class="more">
            <summary>{say_n("mine.here.documents", n, &[])}</summary>
            <ul class="dashes">{rows}</ul>
        </details>
    }
    .into_any()
}

/// Copies to take along: the server's, and what this device has.
#[component]
fn Copies(hub: Hub, copy: RwSignal<Option<bool>>, file: StoredValue<Option<Vec<u8>>>) -> impl IntoView {
    let toaster = Toaster::here();
    let busy = RwSignal::new(false);
    let trouble = RwSignal::new(None::<String>);
    let took = move |saved: Result<(), crate::error::AppError>| match saved {
        Ok(()) => toaster.say(say("mine.copy.saved")),
        Err(error) => drop(trouble.try_set(Some(error.to_string()))),
    };
    let full = move || {
        if busy.get_untracked() {
            return;
        }
        busy.set(true);
        trouble.set(None);
        spawn_local(async move {
            let path = format!("/v1/people/{}/export", hub.me().person);
            let got = hub.bytes(&path).await;
            let _ = busy.try_set(false);
            let saved = got.and_then(|bytes| {
                files::save("backstraight-export.zip", "application/zip", &bytes)?;
                Ok(bytes)
            });
            took(saved.map(|bytes| {
                let _ = copy.try_set(Some(true));
                let _ = file.try_set_value(Some(bytes));
            }));
        });
    };
    let device = move || {
        trouble.set(None);
        let saved = of_device(hub)
            .and_then(|bytes| files::save("backstraight-device.json", "application/json", &bytes));
        match saved {
            Ok(()) => toaster.say(say("mine.copy.saved")),
            Err(error) => trouble.set(Some(error.to_string())),
        }
    };
    let wrong = move || {
        trouble.get().map(|what| {
            let trouble = Trouble { what, todo: say("mine.copy.todo").to_owned() };
            view! { <ErrorBox trouble=trouble /> }
        })
    };
    let progress = move || {
        busy.get().then(|| {
            let label = Signal::stored(say("mine.copy.busy").to_owned());
            view! { <Progress label=label done=Signal::stored(None) /> }
        })
    };
    view! {
        <section class="stack tight">
            <h2>{say("mine.copy")}</h2>
            <p>{say("mine.copy.text")}</p>
            {wrong}
            {progress}
            <Button label=say("mine.copy.full").to_owned() kind=Kind::Main full=true disabled=busy on_press=full />
            <Button label=say("mine.copy.device").to_owned() full=true on_press=device />
            <p class="soft">{say("mine.copy.hint")}</p>
        </section>
    }
}

/// The way out of the club: what it means, the copy, a word to type.
#[component]
fn LeaveClub(hub: Hub, copy: RwSignal<Option<bool>>, file: StoredValue<Option<Vec<u8>>>) -> impl IntoView {
    let (asked, left) = (RwSignal::new(false), RwSignal::new(false));
    let typed = RwSignal::new(String::new());
    let wrong = RwSignal::new(None::<String>);
    let go = move || {
        let unsent = hub.unsent.get_untracked();
        let taken = file.get_value();
        // Whoever says that there is a copy shows it.
        let copied = copy.get_untracked().filter(|has| !has || taken.is_some());
        let text = typed.get_untracked();
        if let Some(why) = in_the_way(unsent, copied, &text, say("mine.leave.word")) {
            return wrong.set(Some(why.text().to_owned()));
        }
        wrong.set(None);
        spawn_local(async move {
            let path = format!("/v1/people/{}/leave", hub.me().person);
            let done = match taken.filter(|_| copied == Some(true)) {
                Some(bytes) => hub.hand_in(&path, "application/zip", &bytes).await,
                None => hub.send::<Value>("POST", &path, &json!({ "copy": "declined" })).await.map(drop),
            };
            match done {
                Ok(()) => drop(left.try_set(true)),
                Err(error) => drop(wrong.try_set(Some(error.to_string()))),
            }
        });
    };
    let choices =
        vec![(true, say("mine.leave.have-copy").to_owned()), (false, say("mine.leave.no-copy").to_owned())];
    let form = move || {
        view! {
            <div class="stack">
                <p>{say("mine.leave.means")}</p>
                <ul class="dashes">
                    <li>{say("mine.leave.means.devices")}</li>
                    <li>{say("mine.leave.means.stays")}</li>
                    <li>{say("mine.leave.means.erase")}</li>
                    <li>{say("mine.leave.means.guardians")}</li>
                    <li>{say("mine.leave.means.here")}</li>
                    <li>{say("mine.leave.means.back")}</li>
                </ul>
                <ChoiceRow label=say("mine.leave.copy") options=choices.clone() value=copy />
                <TextField label=say("mine.leave.type") value=typed error=wrong />
                <Button label=say("mine.leave.go").to_owned() kind=Kind::Grave full=true on_press=go />
                <Button label=say("mine.leave.stay").to_owned() full=true on_press=move || {
                    typed.set(String::new());
                    wrong.set(None);
                    asked.set(false);
                } />
            </div>
        }
    };
    let body = move || {
        match (left.get(), asked.get()) {
        (true, _) => view! {
            <div class="box" role="status">
                <p>{say("mine.left")}</p>
                <ButtonLink label=say("settings.leave.ask").to_owned() href=Route::Settings.href() />
            </div>
        }
        .into_any(),
        (false, true) => form().into_any(),
        (false, false) => view! {
            <Button label=say("mine.leave.ask").to_owned() kind=Kind::Grave on_press=move || asked.set(true) />
        }
        .into_any(),
    }
    };
    view! {
        <section class="stack tight">
            <h2>{say("mine.leave")}</h2>
            <p>{say("mine.leave.text")}</p>
            {body}
        </section>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_leaves_by_mistake_or_with_something_nowhere_else() {
        let way = |unsent, copy, typed| in_the_way(unsent, copy, typed, "leave").map(Word::text);
        assert_eq!(way(1, Some(true), "leave"), Some(say("mine.leave.unsent")));
        assert_eq!(way(0, None, "leave"), Some(say("mine.leave.copy-first")));
        assert_eq!(way(0, Some(false), "leav"), Some(say("mine.leave.type-first")));
        assert_eq!(way(0, Some(false), " Leave "), None);
        assert_eq!(way(0, Some(true), "leave"), None);
    }
}
