//! Which screen belongs to which address, in the frame of its home.

use leptos::prelude::*;

use crate::athlete;
use crate::coach;
use crate::common;
use crate::desk;
use crate::hub::use_hub;
use crate::kit::{EmptyState, ErrorBox, Frame, Trouble};
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
            {move || content(home, route.get())}
        </Frame>
    }
}

fn content(home: Home, route: Route) -> AnyView {
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
        (Home::Coach, Route::Talk(None)) => view! { <athlete::talk::TalkList /> }.into_any(),
        (Home::Coach, Route::Talk(Some(id))) => view! { <athlete::talk::Talk athlete=id /> }.into_any(),
        (Home::Coach, Route::Board) => view! { <coach::board::Board /> }.into_any(),
        (Home::Coach, Route::Attention) => view! { <coach::attention::Attention /> }.into_any(),
        (Home::Coach | Home::Guardian, Route::Athlete(id, section)) => {
            view! { <coach::athlete::Athlete id=id section=section /> }.into_any()
        }
        (Home::Care, Route::Athlete(id, _)) => view! { <coach::care::Athlete id=id /> }.into_any(),
        (Home::Care, Route::People) => view! { <coach::care::Athletes /> }.into_any(),
        (Home::Guardian, Route::People) => view! { <coach::wards::Wards /> }.into_any(),
        (Home::Coach, Route::Proposals) => view! { <coach::proposals::Proposals /> }.into_any(),
        (Home::Coach | Home::Owner, Route::People) => view! { <coach::people::PeopleScreen /> }.into_any(),
        (Home::Coach, Route::Records) => view! { <coach::records::RecordsScreen /> }.into_any(),
        (Home::Coach, Route::Reports) => view! { <coach::reports::Reports /> }.into_any(),
        (Home::Coach, Route::Plan(whose, week)) => {
            view! { <desk::week::PlanDesk whose=whose week=week /> }.into_any()
        }
        (Home::Coach, Route::Library) => view! { <desk::library::LibraryScreen /> }.into_any(),
        (_, Route::Settings) => view! { <common::settings::Settings /> }.into_any(),
        (home, Route::Help) => view! { <common::help::Help home=home /> }.into_any(),
        (Home::Coach, Route::TestDay) => view! { <desk::testday::TestDay /> }.into_any(),
        (_, Route::Unsent) => view! { <athlete::unsent::Unsent /> }.into_any(),
        (home, _) => {
            head(say("screens.none"), "");
            let home = (say("screens.home").to_owned(), home.start().href());
            view! { <EmptyState title=say("screens.none") text=say("screens.none.text") action=home /> }
                .into_any()
        }
    }
}
