//! Which screen belongs to which address, in the frame of its home.

use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::athlete;
use crate::coach;
use crate::common;
use crate::hub::use_hub;
use crate::kit::{EmptyState, ErrorBox, Frame, Trouble};
use crate::part::Part;
use crate::route::{Home, Route};
use crate::words::say;

/// What a screen tells its frame.
#[derive(Debug, Clone, Copy)]
pub struct Heading {
    /// The title.
    pub title: RwSignal<String>,
    /// A line under it.
    pub under: RwSignal<String>,
}

/// Gives the frame a screen's title and the line under it.
pub fn head(title: impl Into<String>, under: impl Into<String>) {
    let heading = expect_context::<Heading>();
    heading.title.set(title.into());
    heading.under.set(under.into());
}

/// Documents of this device that cannot be read: why, and what to do.
pub fn unreadable(why: impl ToString) -> AnyView {
    let trouble = Trouble { what: why.to_string(), todo: say("own.unreadable").to_owned() };
    view! { <ErrorBox trouble=trouble /> }.into_any()
}

/// Screens that want the width of a desk.
fn wide(route: &Route) -> bool {
    matches!(
        route,
        Route::Board
            | Route::Athlete(..)
            | Route::Plan(..)
            | Route::TestDay
            | Route::Reports
            | Route::Records
            | Route::People
    )
}

/// The screen of an address.
#[component]
pub fn Screen(
    /// Whose home it is.
    home: Home,
    /// Where the page is.
    route: RwSignal<Route>,
    /// The part of the program that this home needs.
    part: RwSignal<Part>,
) -> impl IntoView {
    let hub = use_hub();
    let heading = Heading { title: RwSignal::new(String::new()), under: RwSignal::new(String::new()) };
    provide_context(heading);
    coach::board::Chosen::provide();
    let unsent = Signal::derive(move || u32::try_from(hub.unsent.get()).unwrap_or(u32::MAX));
    view! {
        <Frame home=home route=route title=heading.title under=heading.under unsent=unsent
            wide=Signal::derive(move || route.with(wide))>
            <common::clock::ClockApart />
            {move || content(home, route.get(), part)}
        </Frame>
    }
}

fn content(home: Home, route: Route, part: RwSignal<Part>) -> AnyView {
    match (home, route) {
        (Home::Athlete, Route::Today) => view! { <athlete::today::Today /> }.into_any(),
        (Home::Athlete, Route::Session(key)) => view! { <athlete::session::Session key=key /> }.into_any(),
        (Home::Athlete, Route::Close(key)) => view! { <athlete::close::Close key=key /> }.into_any(),
        (Home::Athlete, Route::CheckIn) => view! { <athlete::check_in::CheckInScreen /> }.into_any(),
        (Home::Athlete, Route::Weeks) => view! { <athlete::weeks::WeeksScreen /> }.into_any(),
        (Home::Athlete, Route::Tests) => view! { <athlete::trials::Trials /> }.into_any(),
        (Home::Athlete, Route::Records) => view! { <athlete::records::OwnRecords /> }.into_any(),
        (Home::Athlete, Route::MyData) => view! { <athlete::mine::MyData /> }.into_any(),
        (Home::Athlete, Route::Talk(_)) => {
            view! { <athlete::talk::Talk athlete=use_hub().me().person /> }.into_any()
        }
        (_, Route::Settings) => view! { <common::settings::Settings /> }.into_any(),
        (home, Route::Help) => view! { <common::help::Help home=home /> }.into_any(),
        (_, Route::Unsent) => view! { <athlete::unsent::Unsent /> }.into_any(),
        (home, route) => match part.get() {
            Part::Here(screen) => screen(home, route),
            Part::Missing => missing(home, part),
            Part::Needless => none(home),
        },
    }
}

/// An address that belongs to no screen of that home.
pub(crate) fn none(home: Home) -> AnyView {
    head(say("screens.none"), "");
    let home = (say("screens.home").to_owned(), home.start().href());
    view! { <EmptyState title=say("screens.none") text=say("screens.none.text") action=home /> }.into_any()
}

/// In place of a screen whose part of the program could not be loaded.
fn missing(home: Home, part: RwSignal<Part>) -> AnyView {
    head(say("screens.missing.title"), "");
    let again = Callback::new(move |()| spawn_local(async move { part.set(Part::of(home).await) }));
    let trouble =
        Trouble { what: say("screens.missing").to_owned(), todo: say("screens.missing.todo").to_owned() };
    view! { <ErrorBox trouble=trouble again=again /> }.into_any()
}
