//! The list of keys of a screen, opened by "?".

use leptos::ev::KeyboardEvent;
use leptos::prelude::*;
use leptos::wasm_bindgen::JsCast;

use super::dialog::Dialog;
use crate::words::say;

/// Whether keys go into a field, where they are text and no command.
#[must_use]
pub fn typing(event: &KeyboardEvent) -> bool {
    let Some(target) = event.target().and_then(|t| t.dyn_into::<web_sys::Element>().ok()) else {
        return false;
    };
    matches!(target.tag_name().as_str(), "INPUT" | "TEXTAREA" | "SELECT")
        || target.get_attribute("contenteditable").is_some()
}

/// Shows the keys of a screen when "?" is pressed outside a field.
#[component]
pub fn KeysHelp(
    /// Keys with what they do; keys of one combination with `+` between them.
    keys: Vec<(String, String)>,
    /// Whether it is open, for a button that opens it too.
    open: RwSignal<bool>,
) -> impl IntoView {
    let handle = window_event_listener(leptos::ev::keydown, move |event| {
        if event.key() == "?" && !event.ctrl_key() && !event.meta_key() && !typing(&event) {
            event.prevent_default();
            open.set(true);
        }
    });
    on_cleanup(move || handle.remove());
    view! {
        <Dialog title=Signal::stored(say("kit.keys").to_owned()) open=open on_close=move || open.set(false)>
            <dl class="keys">
                {keys
                    .iter()
                    .map(|(combination, what)| {
                        let parts = combination
                            .split('+')
                            .map(|key| view! { <kbd>{key.to_owned()}</kbd> })
                            .collect_view();
                        view! {
                            <dt>{parts}</dt>
                            <dd>{what.clone()}</dd>
                        }
                    })
                    .collect_view()}
            </dl>
        </Dialog>
    }
}
