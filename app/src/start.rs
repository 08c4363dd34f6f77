//! Where the page starts, and what it tells the script around it (`app/web/boot.js`): when it broke, when it is
//! ready, and when it must not be replaced. Knows no screen.

use leptos::prelude::*;
use wasm_bindgen::prelude::*;

use crate::root::Root;

/// On the root element while somebody is in the middle of something: no new version is offered then.
const BUSY: &str = "data-busy";
/// The mark by which measurements know that the first screen stands.
const READY: &str = "ready";

/// On the root element once the part of the program that an athlete does not need is in use: it is kept, too.
const PART: &str = "data-part";

/// Draws the page in place of what stands there before the program runs. The browser calls it once.
#[wasm_bindgen(start)]
pub fn start() {
    std::panic::set_hook(Box::new(|what| {
        // The script around the program sees that it stopped, but not why.
        web_sys::console::error_1(&what.to_string().into());
    }));
    let Some(place) = place() else { return };
    #[cfg(feature = "gallery")]
    if crate::route::Route::parse(&window().location().hash().unwrap_or_default())
        == Some(crate::route::Route::Gallery)
    {
        mount_to(place, || view! { <crate::gallery::Gallery /> }).forget();
        ready();
        return;
    }
    mount_to(place, || view! { <Root /> }).forget();
}

fn place() -> Option<web_sys::HtmlElement> {
    document().get_element_by_id("app")?.dyn_into().ok()
}

/// The first screen stands: what was painted before the program ran goes.
pub(crate) fn ready() {
    if let Some(shell) = document().get_element_by_id("shell") {
        shell.remove();
    }
    if let Some(clock) = window().performance() {
        // Only measurements miss it.
        let _ = clock.mark(READY);
    }
}

/// Says that somebody's home needs the part of the program beside this one, so that it is kept on the device as well.
pub(crate) fn needs_part() {
    let Some(root) = document().document_element() else { return };
    if let Err(why) = root.set_attribute(PART, "") {
        web_sys::console::warn_1(&why);
    }
}

/// Says whether somebody is in the middle of something that a reload would interrupt, such as a session.
pub fn busy(now: bool) {
    let Some(root) = document().document_element() else { return };
    let done = if now { root.set_attribute(BUSY, "") } else { root.remove_attribute(BUSY) };
    if let Err(why) = done {
        web_sys::console::warn_1(&why);
    }
}
