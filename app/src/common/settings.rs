//! What a person sets for this browser, what the browser promises, and the way out of it. Nothing is forgotten
//! here before what the server does not have was offered as a file.

use leptos::prelude::*;
use leptos::task::spawn_local;

use super::storage::StorageState;
use crate::hub::{Hub, use_hub};
use crate::kit::number::MassesSetting;
use crate::kit::{Button, ButtonLink, Check, ChoiceRow, ErrorBox, Kind, Toaster, Trouble};
use crate::parse::Masses;
use crate::platform::files;
use crate::route::Route;
use crate::screens::head;
use crate::settings::RestSignal;
use crate::words::{say, say_n, say_with};

/// Whether the way out is open: what the server does not have has to be let go by a deed of its own.
#[must_use]
pub const fn may_leave(unsent: usize, let_go: bool) -> bool {
    unsent == 0 || let_go
}

/// Settings of this browser.
#[component]
pub fn Settings() -> impl IntoView {
    let hub = use_hub();
    let me = hub.me();
    head(say("way.settings"), me.name.clone());
    let masses = expect_context::<MassesSetting>().0;
    let unit = RwSignal::new(Some(masses.get_untracked()));
    Effect::new(move |_| {
        if let Some(wanted) = unit.get()
            && masses.get_untracked() != wanted
        {
            masses.set(wanted);
        }
    });
    let signal = expect_context::<RestSignal>().0;
    let units = vec![
        (Masses::Kilograms, say("settings.kilograms").to_owned()),
        (Masses::Pounds, say("settings.pounds").to_owned()),
    ];
    let version = say_with("settings.version", &[("version", env!("CARGO_PKG_VERSION"))]);
    let server = say_with("settings.server", &[("server", &me.server)]);
    view! {
        <div class="stack">
            <ChoiceRow label=say("settings.masses") options=units value=unit hint=say("settings.masses.hint") />
            <Check label=say("settings.rest-signal") value=signal />
            <p class="soft">{say("settings.here-alone")}</p>
            <h2>{say("settings.storage")}</h2>
            <StorageState />
            <ButtonLink label=say("way.unsent").to_owned() href=Route::Unsent.href() />
            <h2>{say("settings.about")}</h2>
            <p>{version}</p>
            <p class="soft">{server}</p>
            <h2>{say("settings.leave")}</h2>
            <Leave hub=hub />
        </div>
    }
}

/// The way out of this browser.
#[component]
pub(crate) fn Leave(hub: Hub) -> impl IntoView {
    let toaster = Toaster::here();
    let (asked, let_go, wrong) = (RwSignal::new(false), RwSignal::new(false), RwSignal::new(None::<String>));
    let carry = move || match hub.peek(|device| device.carry_out()) {
        Ok(Some(out)) => {
            let back = !out.kept_back.is_empty();
            match files::save("backstraight-carry.bin", "application/octet-stream", &out.bytes) {
                Ok(()) if back => toaster.say(say("settings.leave.kept-back")),
                Ok(()) => toaster.say(say("settings.leave.carried")),
                Err(error) => toaster.say(error.to_string()),
            }
        }
        Ok(None) => toaster.say(say("settings.leave.nothing")),
        Err(error) => toaster.say(error.to_string()),
    };
    let go = move || {
        if !may_leave(hub.unsent.get_untracked(), let_go.get_untracked()) {
            return wrong.set(Some(say("settings.leave.first").to_owned()));
        }
        spawn_local(async move {
            match hub.leave(let_go.get_untracked()).await {
                Ok(()) => {
                    if window().location().reload().is_err() {
                        toaster.say(say("settings.leave.done"));
                    }
                }
                Err(error) => wrong.set(Some(error.to_string())),
            }
        });
    };
    let waiting = move || {
        let n = hub.unsent.get();
        (n > 0).then(|| {
            let n = u64::try_from(n).unwrap_or(u64::MAX);
            let trouble = Trouble {
                what: say_n("settings.leave.unsent", n, &[]),
                todo: say("settings.leave.unsent.todo").to_owned(),
            };
            view! {
                <ErrorBox trouble=trouble />
                <Button label=say("unsent.now").to_owned() full=true on_press=move || { spawn_local(hub.exchange()); } />
                <Button label=say("unsent.carry").to_owned() full=true on_press=carry />
                <Check label=say("settings.leave.let-go") value=let_go />
            }
        })
    };
    view! {
        <p>{say("settings.leave.text")}</p>
        <Show
            when=move || asked.get()
            fallback=move || view! {
                <Button label=say("settings.leave.ask").to_owned() on_press=move || asked.set(true) />
            }
        >
            <div class="stack">
                {waiting}
                <p class="wrong" role="alert" hidden=move || wrong.with(Option::is_none)>{move || wrong.get()}</p>
                <Button label=say("settings.leave.go").to_owned() kind=Kind::Grave full=true on_press=go />
                <Button label=say("settings.leave.stay").to_owned() full=true on_press=move || asked.set(false) />
            </div>
        </Show>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_leaves_by_mistake_while_something_waits() {
        assert!(may_leave(0, false));
        assert!(!may_leave(1, false));
        assert!(may_leave(1, true));
    }
}
