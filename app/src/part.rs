//! The part of the program that an athlete's phone never loads: the screens of everybody else. It is compiled with
//! the rest and taken out of it when files are made (`xtask/pack`), into a file of its own; what only those screens
//! use goes with them. Knows which screen of theirs belongs to which address, not what is on it.

use leptos::prelude::*;
use leptos::wasm_split::{SplitLoaderError, wasm_split};

use crate::route::{Home, Route};
use crate::screens::none;
use crate::start::needs_part;
use crate::{athlete, coach, desk};

/// The screens of this part: which one belongs to an address in somebody's home.
type Screens = fn(Home, Route) -> AnyView;

/// How it stands with the part on this device.
#[derive(Debug, Clone, Copy)]
pub enum Part {
    /// This home has nothing in it.
    Needless,
    /// It is here.
    Here(Screens),
    /// It could not be loaded: there is no way to the server, and this device has not kept it yet.
    Missing,
}

impl Part {
    /// Loads what that home needs, from the device once it was kept there.
    pub async fn of(home: Home) -> Part {
        if home == Home::Athlete {
            return Part::Needless;
        }
        match others().await {
            Ok(screens) => {
                needs_part();
                Part::Here(screens)
            }
            Err(_) => Part::Missing,
        }
    }
}

/// The one way into the part: nothing else here may name what is behind it, or it would be in the program itself.
#[wasm_split(coach, wasm_split_path = ::leptos::wasm_split, fallible)]
fn others() -> Result<Screens, SplitLoaderError> {
    Ok(screen)
}

fn screen(home: Home, route: Route) -> AnyView {
    match (home, route) {
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
        (Home::Coach, Route::TestDay) => view! { <desk::testday::TestDay /> }.into_any(),
        (home, _) => none(home),
    }
}
