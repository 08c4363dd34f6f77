//! The page as a whole: opens what this browser keeps, holds the lock of the one tab that writes, and shows the
//! way in or the home of whoever it is. Knows which screen belongs to which address, not what is on it.

use std::rc::Rc;

use backstraight_core::device::identity::Identity;
use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::device::kept::{IDENTITY, Slot};
use crate::device::shelf::MemoryShelf;
use crate::error::AppError;
use crate::hub::Hub;
use crate::kit::{Button, EmptyState, ErrorBox, Kind, Toaster, Toasts, Trouble};
use crate::part::Part;
use crate::platform::database::Database;
use crate::platform::tabs;
use crate::route::{Home, Route};
use crate::screens;
use crate::settings;
use crate::start::ready;
use crate::welcome::Welcome;
use crate::words::say;

/// What the page shows.
#[derive(Clone)]
enum Stage {
    Opening,
    /// The browser keeps nothing, or what it keeps cannot be read.
    Broken(String),
    /// Nobody has come in on this browser yet.
    Outside(Rc<Database>),
    /// Another tab writes.
    Elsewhere,
    /// Somebody's home.
    Inside(Hub, Part),
}

/// What was opened.
enum Opened {
    Outside(Database),
    Inside(Hub),
}

async fn open() -> Result<Opened, AppError> {
    let database = Database::open().await?;
    let entries = database.all().await?;
    let slot = Slot::Fact(IDENTITY.to_owned()).key();
    let identity = entries.iter().find(|(key, _)| *key == slot);
    match identity {
        None => Ok(Opened::Outside(database)),
        Some((_, bytes)) => {
            let identity = Identity::from_bytes(bytes)?;
            Ok(Opened::Inside(Hub::new(database, MemoryShelf::of(entries), identity)?))
        }
    }
}

/// The page.
#[component]
pub fn Root() -> impl IntoView {
    settings::provide();
    let toaster = Toaster::provide();
    let stage = RwSignal::new_local(Stage::Opening);
    let load = move || async move {
        stage.set(match open().await {
            Ok(Opened::Outside(database)) => Stage::Outside(Rc::new(database)),
            Ok(Opened::Inside(hub)) => {
                hub.keep_exchanging();
                Stage::Inside(hub, Part::of(Home::of(hub.me().role)).await)
            }
            Err(error) => Stage::Broken(error.to_string()),
        });
        ready();
    };
    let begin = move |take_over: bool| {
        spawn_local(async move {
            let lost = move || {
                if let Stage::Inside(hub, _) = stage.get_untracked() {
                    hub.give_up();
                }
                stage.set(Stage::Elsewhere);
            };
            if tabs::hold(take_over, lost).await {
                load().await;
            } else {
                stage.set(Stage::Elsewhere);
                ready();
            }
        });
    };
    begin(false);
    // The lock is held already: it is asked for once.
    let again = Callback::new(move |()| spawn_local(load()));
    let here = move || begin(true);
    view! {
        {move || match stage.get() {
            Stage::Opening => ().into_any(),
            Stage::Broken(why) => {
                let trouble = Trouble { what: why, todo: say("root.broken").to_owned() };
                bare(view! { <ErrorBox trouble=trouble again=again /> })
            }
            Stage::Outside(database) => view! { <Welcome database=database on_in=again /> }.into_any(),
            Stage::Elsewhere => bare(view! {
                <EmptyState title=say("root.elsewhere") text=say("root.elsewhere.text") />
                <Button label=say("root.elsewhere.here").to_owned() kind=Kind::Main big=true full=true on_press=here />
            }),
            Stage::Inside(hub, part) => view! { <Inside hub=hub part=part /> }.into_any(),
        }}
        <Toasts toaster=toaster />
    }
}

/// The frame of a page that is nobody's yet.
fn bare(content: impl IntoView + 'static) -> AnyView {
    view! {
        <div class="frame">
            <header class="head"><h1>"Backstraight"</h1></header>
            <main id="content" class="content stack">{content}</main>
        </div>
    }
    .into_any()
}

/// The home of whoever it is.
#[component]
fn Inside(
    /// The install's documents and exchange.
    hub: Hub,
    /// The part of the program that their home needs.
    part: Part,
) -> impl IntoView {
    provide_context(hub);
    let me = hub.me();
    let home = Home::of(me.role);
    let hash = || window().location().hash().unwrap_or_default();
    let route = RwSignal::new(Route::or_home(&hash(), home));
    let listener =
        window_event_listener(leptos::ev::hashchange, move |_| route.set(Route::or_home(&hash(), home)));
    on_cleanup(move || listener.remove());
    // A phone that comes out of a pocket says so by being shown.
    let shown = window_event_listener_untyped("visibilitychange", move |_| hub.soon());
    let online = window_event_listener(leptos::ev::online, move |_| hub.soon());
    on_cleanup(move || {
        shown.remove();
        online.remove();
    });
    view! { <screens::Screen home=home route=route part=RwSignal::new(part) /> }
}
