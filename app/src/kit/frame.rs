//! The frame of every page: title, way around, content. An athlete has a bar at the thumb; a coach has a rail at
//! the side of a desk, and on a phone the same bar with a menu. Knows addresses, no screen.

use leptos::html;
use leptos::prelude::*;

use super::dialog::Dialog;
use super::icon::{Icon, IconName};
use super::screen::watch_width;
use crate::route::{Home, Route};
use crate::words::{Word, say, say_n, word};

/// A place to go.
#[derive(Debug, Clone)]
struct Way {
    route: Route,
    word: Word,
    icon: IconName,
    /// Whether it stands in the bar of a phone; the others are in its menu.
    in_bar: bool,
}

fn way(route: Route, word: Word, icon: IconName, in_bar: bool) -> Way {
    Way { route, word, icon, in_bar }
}

/// Where one can go from each screen.
fn ways(home: Home) -> Vec<Way> {
    match home {
        Home::Athlete => vec![
            way(Route::Today, word("way.today"), IconName::Today, true),
            way(Route::Weeks, word("way.weeks"), IconName::Weeks, true),
            way(Route::Talk(None), word("way.talk"), IconName::Talk, true),
            way(Route::CheckIn, word("way.check-in"), IconName::CheckIn, true),
            way(Route::Tests, word("way.tests"), IconName::Tests, false),
            way(Route::Records, word("way.records"), IconName::Records, false),
            way(Route::MyData, word("way.my-data"), IconName::MyData, false),
            way(Route::Unsent, word("way.unsent"), IconName::Unsent, false),
            way(Route::Settings, word("way.settings"), IconName::Settings, false),
            way(Route::Help, word("way.help"), IconName::Help, false),
        ],
        Home::Coach => vec![
            way(Route::Board, word("way.board"), IconName::Board, true),
            way(Route::Attention, word("way.attention"), IconName::Attention, true),
            way(Route::Talk(None), word("way.talk"), IconName::Talk, true),
            way(Route::TestDay, word("way.test-day"), IconName::TestDay, false),
            way(Route::Proposals, word("way.proposals"), IconName::Proposals, true),
            way(Route::Records, word("way.records"), IconName::Records, false),
            way(Route::Library, word("way.library"), IconName::Library, false),
            way(Route::People, word("way.people"), IconName::People, false),
            way(Route::Reports, word("way.reports"), IconName::Reports, false),
            way(Route::Unsent, word("way.unsent"), IconName::Unsent, false),
            way(Route::Settings, word("way.settings"), IconName::Settings, false),
            way(Route::Help, word("way.help"), IconName::Help, false),
        ],
        Home::Owner => few(word("way.people"), false),
        Home::Care => few(word("way.athletes"), true),
        Home::Guardian => few(word("way.athletes"), false),
    }
}

/// The ways of those who have one screen of their own.
fn few(people: Word, writes: bool) -> Vec<Way> {
    let mut all = vec![way(Route::People, people, IconName::People, true)];
    if writes {
        all.push(way(Route::Unsent, word("way.unsent"), IconName::Unsent, true));
    }
    all.push(way(Route::Settings, word("way.settings"), IconName::Settings, false));
    all.push(way(Route::Help, word("way.help"), IconName::Help, false));
    all
}

/// Whether a way is the one on which somebody is: a session belongs to today, a message to talk, one athlete and
/// a plan to the board.
fn on_way(way: &Route, now: &Route) -> bool {
    match (way, now) {
        (Route::Today, Route::Session(_) | Route::Close(_))
        | (Route::Board, Route::Athlete(..) | Route::Plan(..))
        | (Route::Talk(_), Route::Talk(_)) => true,
        _ => way == now,
    }
}

/// The frame of a page.
#[component]
pub fn Frame(
    /// Whose home it is.
    home: Home,
    /// Where the page is. When it changes the focus goes to the content, so that whoever hears the page hears it.
    #[prop(into)]
    route: Signal<Route>,
    /// The screen's title.
    #[prop(into)]
    title: Signal<String>,
    /// A line under it, such as day and venue.
    #[prop(into, optional)]
    under: Signal<String>,
    /// How much was not sent yet.
    #[prop(into, optional)]
    unsent: Signal<u32>,
    /// A grid that wants the width of a desk.
    #[prop(into, optional)]
    wide: Signal<bool>,
    /// The screen.
    children: Children,
) -> impl IntoView {
    watch_width();
    let menu = RwSignal::new(false);
    let content = NodeRef::<html::Main>::new();
    Effect::new(move |before: Option<Route>| {
        let now = route.get();
        if before.is_some_and(|b| b != now) {
            menu.set(false);
            if let Some(main) = content.get_untracked() {
                // Without a focus the page is drawn all the same.
                let _ = main.focus();
            }
            window().scroll_to_with_x_and_y(0.0, 0.0);
        }
        now
    });
    Effect::new(move |_| document().set_title(&format!("{} · Backstraight", title.get())));
    let link = move |way: Way| {
        let this = way.route.clone();
        let current = move || route.with(|now| on_way(&this, now)).then_some("page");
        let counts = way.route == Route::Unsent;
        let count = move || {
            let n = unsent.get();
            (counts && n > 0).then(|| {
                view! {
                    <span class="count">
                        {n} <span class="hidden-text">{say_n("way.waiting", n.into(), &[])}</span>
                    </span>
                }
            })
        };
        view! {
            <a href=way.route.href() aria-current=current>
                <Icon name=way.icon />
                <span>{way.word.text()}</span>
                {count}
            </a>
        }
    };
    let all = ways(home);
    let menu_ways = StoredValue::new(all.iter().filter(|w| !w.in_bar).cloned().collect::<Vec<_>>());
    let items = all
        .into_iter()
        .map(|way| {
            let class = if way.in_bar { "" } else { "rail-only" };
            view! { <li class=class>{link(way)}</li> }
        })
        .collect_view();
    let in_menu = move || menu_ways.get_value().into_iter().map(link).collect_view();
    view! {
        <a class="skip" href="#content" on:click=move |e| {
            // The part after `#` names a screen, so the jump is made by hand.
            e.prevent_default();
            if let Some(main) = content.get_untracked() {
                let _ = main.focus();
            }
        }>
            {say("kit.skip")}
        </a>
        <div class="frame" class:with-rail=home != Home::Athlete>
            <header class="head">
                <h1 id="said">{move || title.get()}</h1>
                <p class="under">{move || under.get()}</p>
            </header>
            <main id="content" class="content" class:broad=move || wide.get() tabindex="-1" node_ref=content>
                {children()}
            </main>
            <nav id="ways" class="ways" aria-label=say("kit.ways")>
                <ul>
                    {items}
                    <li class="bar-only">
                        <button type="button" aria-haspopup="dialog" on:click=move |_| menu.set(true)>
                            <Icon name=IconName::Menu />
                            <span>{say("way.menu")}</span>
                        </button>
                    </li>
                </ul>
            </nav>
        </div>
        <Dialog title=Signal::stored(say("way.menu").to_owned()) open=menu on_close=move || menu.set(false) sheet=true>
            <nav class="menu" aria-label=say("way.menu") on:click=move |_| menu.set(false)>
                {in_menu()}
            </nav>
        </Dialog>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_has_room_for_four_and_a_menu() {
        for home in [Home::Athlete, Home::Coach] {
            let all = ways(home);
            assert_eq!(all.iter().filter(|w| w.in_bar).count(), 4);
            for (i, way) in all.iter().enumerate() {
                assert!(all.iter().skip(i + 1).all(|w| w.route != way.route), "{:?}", way.route);
            }
            assert!(all.iter().any(|w| on_way(&w.route, &home.start())));
        }
    }

    #[test]
    fn a_session_belongs_to_today() {
        assert!(on_way(&Route::Today, &Route::Close(None)));
        assert!(!on_way(&Route::Weeks, &Route::Close(None)));
        assert!(!on_way(&Route::Today, &Route::Board));
    }
}
