//! A window over the page. The browser's own `<dialog>` keeps the focus inside, closes on Escape and gives the
//! focus back.

use leptos::html;
use leptos::prelude::*;

use super::fresh_id;
use crate::words::say;

/// A dialog. What is inside is made when it opens and goes when it closes; what was typed must be kept outside.
#[component]
pub fn Dialog(
    /// Its name.
    #[prop(into)]
    title: Signal<String>,
    /// Whether it is open. It follows what the screen knows: there is nothing beside it that could differ.
    #[prop(into)]
    open: Signal<bool>,
    /// Called when the person closes it.
    #[prop(into)]
    on_close: Callback<()>,
    /// On a phone it comes from below, within reach of a thumb.
    #[prop(optional)]
    sheet: bool,
    /// What is inside.
    children: ChildrenFn,
) -> impl IntoView {
    let title_id = fresh_id("dialog");
    let labelled = title_id.clone();
    let node = NodeRef::<html::Dialog>::new();
    Effect::new(move |_| {
        let Some(dialog) = node.get() else { return };
        if open.get() && !dialog.open() {
            // It fails only where the element is not on the page: then it is not open.
            if dialog.show_modal().is_err() {
                on_close.run(());
            }
        } else if !open.get() && dialog.open() {
            dialog.close();
        }
    });
    // The element tells of its closing also when the screen closed it.
    let close = move || {
        if open.get_untracked() {
            on_close.run(());
        }
    };
    view! {
        <dialog node_ref=node class:sheet=sheet aria-labelledby=labelled on:close=move |_| close()>
            <div class="dialog-head">
                <h2 id=title_id>{move || title.get()}</h2>
                <button type="button" class="button round" aria-label=say("kit.close") on:click=move |_| close()>
                    "×"
                </button>
            </div>
            <div class="dialog-body">
                <Show when=move || open.get()>{children()}</Show>
            </div>
        </dialog>
    }
}
