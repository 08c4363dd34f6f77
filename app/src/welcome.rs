//! The way in: with an invitation, by signing in, or with the owner's link of a new server. What was typed stays
//! when something goes wrong.

use std::rc::Rc;

use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::enrol::{Door, enrol};
use crate::error::AppError;
use crate::kit::{Button, ButtonLink, ErrorBox, Kind, TextField, Trouble};
use crate::platform::database::Database;
use crate::route::Route;
use crate::words::say;

/// What a browser calls itself for the list of devices: its own words, cut to what a list can show.
fn device_name() -> String {
    let agent = window().navigator().user_agent().unwrap_or_default();
    let system =
        ["Android", "iPhone", "iPad", "Windows", "Mac OS", "Linux"].into_iter().find(|s| agent.contains(s));
    match system {
        Some(system) => format!("Browser on {system}"),
        None => "Browser".to_owned(),
    }
}

fn address() -> Route {
    let location = window().location();
    let (path, hash) = (location.pathname().unwrap_or_default(), location.hash().unwrap_or_default());
    Route::of_address(&path, &hash).unwrap_or(Route::Join(None))
}

/// What to do about a refusal.
fn trouble(error: &AppError) -> Trouble {
    let hint = match error {
        AppError::Offline(_) => say("welcome.offline"),
        AppError::ClockApart(_) => say("welcome.clock"),
        AppError::Refused(r) => match r.code.as_str() {
            "code-wrong" | "code-expired" | "code-used" => say("welcome.code.hint"),
            "sign-in-wrong" => say("welcome.sign-in.hint"),
            "second-step" => say("welcome.second-step"),
            _ => "",
        },
        AppError::Storage { .. } => say("welcome.storage"),
        _ => "",
    };
    Trouble { what: error.to_string(), todo: hint.to_owned() }
}

/// The way in.
#[component]
pub fn Welcome(
    /// Where this browser keeps who it is.
    database: Rc<Database>,
    /// Called when somebody is in.
    #[prop(into)]
    on_in: Callback<()>,
) -> impl IntoView {
    let database = StoredValue::new_local(database);
    let route = RwSignal::new(address());
    let listener = window_event_listener(leptos::ev::hashchange, move |_| route.set(address()));
    on_cleanup(move || listener.remove());
    let busy = RwSignal::new(false);
    let wrong = RwSignal::new(None::<Trouble>);
    let come = Callback::new(move |door: Door| {
        if busy.get_untracked() {
            return;
        }
        busy.set(true);
        wrong.set(None);
        spawn_local(async move {
            let database = database.get_value();
            let site = window().location().origin().unwrap_or_default();
            match enrol(&database, &site, &door, &device_name()).await {
                Ok(_) => {
                    // The secret of a link leaves the address and with it the browser's history.
                    if let Ok(history) = window().history() {
                        let _ = history.replace_state_with_url(&wasm_bindgen::JsValue::NULL, "", Some("/"));
                    }
                    on_in.run(());
                }
                Err(error) => {
                    wrong.set(Some(trouble(&error)));
                    busy.set(false);
                }
            }
        });
    });
    view! {
        <div class="frame">
            <header class="head"><h1>"Backstraight"</h1></header>
            <main id="content" class="content stack">
                {move || match route.get() {
                    Route::SetUp(code) => {
                        let secret = code.map(|c| c.as_str().to_owned());
                        view! { <SetUp secret=secret come=come busy=busy /> }.into_any()
                    }
                    Route::SignIn => view! { <SignIn come=come busy=busy /> }.into_any(),
                    Route::Join(code) => {
                        let code = code.map(|c| c.as_str().to_owned());
                        view! { <Join code=code come=come busy=busy /> }.into_any()
                    }
                    _ => view! { <Join code=None come=come busy=busy /> }.into_any(),
                }}
                {move || wrong.get().map(|trouble| view! { <ErrorBox trouble=trouble /> })}
                <p class="soft" role="status">{move || busy.get().then(|| say("welcome.busy"))}</p>
            </main>
        </div>
    }
}

#[component]
fn Join(code: Option<String>, come: Callback<Door>, busy: RwSignal<bool>) -> impl IntoView {
    let linked = code.is_some();
    let typed = RwSignal::new(code.unwrap_or_default());
    let go = move || come.run(Door::Invited(typed.get_untracked().trim().to_owned()));
    let nothing = Signal::derive(move || busy.get() || typed.with(|t| t.trim().is_empty()));
    view! {
        <h2>{say("welcome.join")}</h2>
        <p>{if linked { say("welcome.join.linked") } else { say("welcome.join.text") }}</p>
        <form class="stack" on:submit=move |event| { event.prevent_default(); go(); }>
            {(!linked).then(|| view! {
                <TextField label=say("welcome.code") value=typed hint=say("welcome.code.where") most=40 />
            })}
            <Button label=say("welcome.join.go").to_owned() kind=Kind::Main big=true full=true disabled=nothing submit=true on_press=go />
        </form>
        <p class="soft">{say("welcome.caution")}</p>
        <p><ButtonLink label=say("welcome.to-sign-in").to_owned() href=Route::SignIn.href() kind=Kind::Quiet /></p>
    }
}

#[component]
fn SignIn(come: Callback<Door>, busy: RwSignal<bool>) -> impl IntoView {
    let (name, password) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let go = move || {
        let (name, password) = (name.get_untracked().trim().to_owned(), password.get_untracked());
        come.run(Door::SignIn { name, password });
    };
    let nothing = Signal::derive(move || {
        busy.get() || name.with(|n| n.trim().is_empty()) || password.with(String::is_empty)
    });
    view! {
        <h2>{say("welcome.sign-in")}</h2>
        <form class="stack" on:submit=move |event| { event.prevent_default(); go(); }>
            <TextField label=say("welcome.name") value=name autocomplete="username" most=64 />
            <TextField label=say("welcome.password") value=password input_type="password" autocomplete="current-password" most=200 />
            <Button label=say("welcome.sign-in.go").to_owned() kind=Kind::Main big=true full=true disabled=nothing submit=true on_press=go />
        </form>
        <p><ButtonLink label=say("welcome.to-join").to_owned() href=Route::Join(None).href() kind=Kind::Quiet /></p>
    }
}

#[component]
fn SetUp(secret: Option<String>, come: Callback<Door>, busy: RwSignal<bool>) -> impl IntoView {
    let Some(secret) = secret else {
        return view! { <h2>{say("welcome.set-up")}</h2><p>{say("welcome.set-up.no-link")}</p> }.into_any();
    };
    let secret = StoredValue::new(secret);
    let blank = || RwSignal::new(String::new());
    let (club, name, sign_in, password) = (blank(), blank(), blank(), blank());
    let go = move || {
        let text = |s: RwSignal<String>| s.get_untracked().trim().to_owned();
        come.run(Door::SetUp {
            secret: secret.get_value(),
            club: text(club),
            name: text(name),
            sign_in: text(sign_in),
            password: password.get_untracked(),
        });
    };
    let filled = move || [club, name, sign_in].iter().all(|s| s.with(|t| !t.trim().is_empty()));
    let nothing = Signal::derive(move || busy.get() || !filled() || password.with(String::is_empty));
    view! {
        <h2>{say("welcome.set-up")}</h2>
        <p>{say("welcome.set-up.text")}</p>
        <form class="stack" on:submit=move |event| { event.prevent_default(); go(); }>
            <TextField label=say("welcome.club") value=club most=60 />
            <TextField label=say("welcome.your-name") value=name autocomplete="name" most=60 />
            <TextField label=say("welcome.name") value=sign_in hint=say("welcome.name.hint") autocomplete="username" most=64 />
            <TextField label=say("welcome.password") value=password hint=say("welcome.password.hint") input_type="password"
                autocomplete="new-password" most=200 />
            <Button label=say("welcome.set-up.go").to_owned() kind=Kind::Main big=true full=true disabled=nothing submit=true on_press=go />
        </form>
    }
    .into_any()
}
