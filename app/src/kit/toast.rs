//! What just happened, for a while, with the way back. It does not go while it has the focus or the pointer.

use std::time::Duration;

use leptos::prelude::*;
use leptos::wasm_bindgen::JsCast;

use crate::words::say;

/// How long one stays, in whole seconds; longer when something can be undone.
const STAYS_S: u32 = 6;
const STAYS_WITH_UNDO_S: u32 = 12;
/// Most at once; the oldest goes first.
const MOST: usize = 3;

#[derive(Debug, Clone)]
struct Toast {
    id: u32,
    text: String,
    undo: Option<Callback<()>>,
    left_s: u32,
}

/// What is shown, in its order.
#[derive(Debug, Clone, Default)]
struct Pile {
    toasts: Vec<Toast>,
    next: u32,
}

impl Pile {
    fn add(&mut self, text: String, undo: Option<Callback<()>>) {
        if undo.is_some() {
            // One way back at a time: of two buttons with the same word nobody could tell which deed they mean.
            self.toasts.retain(|t| t.undo.is_none());
        }
        let left_s = if undo.is_some() { STAYS_WITH_UNDO_S } else { STAYS_S };
        self.toasts.push(Toast { id: self.next, text, undo, left_s });
        self.next = self.next.wrapping_add(1);
        if self.toasts.len() > MOST {
            self.toasts.remove(0);
        }
    }

    fn take(&mut self, id: u32) -> Option<Toast> {
        let at = self.toasts.iter().position(|t| t.id == id)?;
        Some(self.toasts.remove(at))
    }

    /// A second passes for all but the one that is held.
    fn second(&mut self, held: Option<u32>) {
        for toast in self.toasts.iter_mut().filter(|t| Some(t.id) != held) {
            toast.left_s = toast.left_s.saturating_sub(1);
        }
        self.toasts.retain(|t| t.left_s > 0);
    }
}

/// Where screens say what just happened.
#[derive(Debug, Clone, Copy)]
pub struct Toaster {
    pile: RwSignal<Pile>,
}

impl Toaster {
    /// One for everything below.
    pub fn provide() -> Toaster {
        let toaster = Toaster { pile: RwSignal::new(Pile::default()) };
        provide_context(toaster);
        toaster
    }

    /// The one that was provided above. Without one, what is said is shown nowhere.
    #[must_use]
    pub fn here() -> Toaster {
        use_context().unwrap_or_else(|| Toaster { pile: RwSignal::new(Pile::default()) })
    }

    /// Says something.
    pub fn say(&self, text: impl Into<String>) {
        self.pile.update(|p| p.add(text.into(), None));
    }

    /// Says something that can be undone.
    pub fn with_undo(&self, text: impl Into<String>, undo: Callback<()>) {
        self.pile.update(|p| p.add(text.into(), Some(undo)));
    }
}

/// The place of what just happened; once on a page.
#[component]
pub fn Toasts(
    /// What is said.
    toaster: Toaster,
) -> impl IntoView {
    let held = RwSignal::new(None::<u32>);
    let pile = toaster.pile;
    if let Ok(handle) = set_interval_with_handle(
        move || {
            if pile.with_untracked(|p| !p.toasts.is_empty()) {
                pile.update(|p| p.second(held.get_untracked()));
            }
        },
        Duration::from_secs(1),
    ) {
        on_cleanup(move || handle.clear());
    }
    let gone = move |id: u32| {
        held.set(None);
        pile.try_update(|p| p.take(id)).flatten()
    };
    let one = move |toast: Toast| {
        let id = toast.id;
        let undo = toast.undo.map(|undo| {
            let press = move |_| {
                if gone(id).is_some() {
                    undo.run(());
                    focus_content();
                }
            };
            view! {
                <button type="button" class="button" on:click=press>
                    {say("kit.undo")}
                </button>
            }
        });
        view! {
            <div
                class="toast"
                on:focusin=move |_| held.set(Some(id))
                on:focusout=move |_| held.set(None)
                on:pointerenter=move |_| held.set(Some(id))
                on:pointerleave=move |_| held.set(None)
            >
                <span>{toast.text}</span>
                {undo}
                <button
                    type="button"
                    class="button round"
                    aria-label=say("kit.close")
                    on:click=move |_| {
                        gone(id);
                        focus_content();
                    }
                >
                    "×"
                </button>
            </div>
        }
    };
    view! {
        <div class="toasts" role="status">
            <For each=move || pile.get().toasts key=|t| t.id children=one />
        </div>
    }
}

/// What had the focus is gone; without this the next key would start from the top of the page.
fn focus_content() {
    let content =
        document().get_element_by_id("content").and_then(|e| e.dyn_into::<web_sys::HtmlElement>().ok());
    if let Some(content) = content {
        // The page stays where it was scrolled to. Without a focus it is as usable as before.
        let stay = web_sys::FocusOptions::new();
        stay.set_prevent_scroll(true);
        let _ = content.focus_with_options(&stay);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_that_is_held_stays() {
        let mut pile = Pile::default();
        pile.add("a".into(), None);
        pile.add("b".into(), None);
        for _ in 0..STAYS_S {
            pile.second(Some(1));
        }
        assert_eq!(pile.toasts.iter().map(|t| t.text.as_str()).collect::<Vec<_>>(), ["b"]);
        for _ in 0..STAYS_S {
            pile.second(None);
        }
        assert!(pile.toasts.is_empty());
    }

    #[test]
    fn one_deed_at_a_time_can_be_taken_back() {
        // A callback needs an owner to live in.
        let owner = Owner::new();
        owner.with(|| {
            let mut pile = Pile::default();
            pile.add("first".into(), Some(Callback::new(|()| ())));
            pile.add("told".into(), None);
            pile.add("second".into(), Some(Callback::new(|()| ())));
            assert_eq!(pile.toasts.iter().map(|t| t.text.as_str()).collect::<Vec<_>>(), ["told", "second"]);
        });
    }

    #[test]
    fn the_oldest_goes_first_and_each_is_taken_once() {
        let mut pile = Pile::default();
        for text in ["a", "b", "c", "d"] {
            pile.add(text.into(), None);
        }
        assert_eq!(pile.toasts.len(), MOST);
        assert_eq!(pile.take(3).map(|t| t.text), Some("d".to_owned()));
        assert!(pile.take(3).is_none());
        assert!(pile.take(0).is_none());
    }
}
