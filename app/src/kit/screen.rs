//! Whether there is room as on a desk. Knows the window, and nothing on it.

use leptos::prelude::*;

/// The least width of a desk: the same as in the style sheets, 60 rem at usual text.
const DESK: f64 = 960.0;

/// Whether there is room as on a desk.
#[derive(Debug, Clone, Copy)]
struct Screen(RwSignal<bool>);

/// Watches the width of the window for everything below.
pub fn watch_width() {
    let broad = RwSignal::new(wide_now());
    provide_context(Screen(broad));
    let handle = window_event_listener(leptos::ev::resize, move |_| {
        let now = wide_now();
        if broad.get_untracked() != now {
            broad.set(now);
        }
    });
    on_cleanup(move || handle.remove());
}

fn wide_now() -> bool {
    window().inner_width().ok().and_then(|w| w.as_f64()).is_some_and(|w| w >= DESK)
}

/// Whether there is room as on a desk; not, where nobody watches.
#[must_use]
pub fn broad() -> Signal<bool> {
    use_context::<Screen>().map_or_else(|| Signal::stored(false), |s| s.0.into())
}
