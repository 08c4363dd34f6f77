//! Keeps the focus where it was while parts of the page are drawn anew: whoever works with keys goes on where they
//! were. Knows elements by what they are called, and no screen.

use leptos::task::spawn_local;
use wasm_bindgen::JsCast as _;
use web_sys::{Document, Element, FocusOptions, HtmlElement};

use super::clock;

/// By what an element is found again.
#[derive(Debug)]
struct Mark {
    id: String,
    tag: String,
    name: String,
    /// Which of those with that name.
    nth: usize,
}

/// Call it before something is drawn anew. When what has the focus goes with that, what is called the same has it
/// afterwards.
pub fn keep() {
    let Some(document) = web_sys::window().and_then(|w| w.document()) else { return };
    let Some(before) = document.active_element().filter(|e| !is_page(e)) else { return };
    let Some(mark) = Mark::of(&document, &before) else { return };
    spawn_local(async move {
        // What is drawn anew is drawn before any timer.
        clock::pause(0).await;
        let lost = document.active_element().is_none_or(|e| is_page(&e));
        if before.is_connected() || !lost {
            return;
        }
        if let Some(again) = mark.find(&document) {
            // The page stays where it was scrolled to. Without a focus it is as usable as before.
            let stay = FocusOptions::new();
            stay.set_prevent_scroll(true);
            let _ = again.focus_with_options(&stay);
        }
    });
}

/// Nothing in particular has the focus.
fn is_page(element: &Element) -> bool {
    element.tag_name().eq_ignore_ascii_case("body")
}

fn name(element: &Element) -> String {
    let said = element.get_attribute("aria-label").or_else(|| element.text_content());
    said.unwrap_or_default().trim().to_owned()
}

impl Mark {
    /// None for what has no name of its own.
    fn of(document: &Document, element: &Element) -> Option<Mark> {
        let mut mark = Mark { id: element.id(), tag: element.tag_name(), name: name(element), nth: 0 };
        if mark.name.is_empty() && mark.id.is_empty() {
            return None;
        }
        mark.nth = mark.named(document).iter().position(|e| e == element).unwrap_or_default();
        Some(mark)
    }

    fn named(&self, document: &Document) -> Vec<Element> {
        let Ok(all) = document.query_selector_all(&self.tag) else { return Vec::new() };
        let all = (0..all.length()).filter_map(|n| all.get(n)?.dyn_into::<Element>().ok());
        all.filter(|e| !self.name.is_empty() && name(e) == self.name).collect()
    }

    fn find(&self, document: &Document) -> Option<HtmlElement> {
        let by_id = || document.get_element_by_id(&self.id);
        let by_name = || self.named(document).into_iter().nth(self.nth);
        by_id().or_else(by_name)?.dyn_into().ok()
    }
}
