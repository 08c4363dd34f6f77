//! Fields that save themselves: what is typed is saved when the field is left, and the field shows what the
//! document holds. Know no document.

use leptos::prelude::*;

use crate::kit::{TextField, fresh_id};

/// What becomes of a text that was typed: nothing to say, or what is wrong.
pub type Save = Callback<(String,), Result<(), String>>;

/// A field for text that saves itself.
#[component]
pub fn Cell(
    /// What it holds.
    #[prop(into)]
    label: String,
    /// What the document holds, as text.
    #[prop(into)]
    value: Signal<String>,
    /// Takes what was typed.
    #[prop(into)]
    save: Save,
    /// What helps to fill it.
    #[prop(into, optional)]
    hint: String,
    /// Several lines.
    #[prop(optional)]
    lines: bool,
    /// Text or date.
    #[prop(default = "text")]
    input_type: &'static str,
) -> impl IntoView {
    let typed = RwSignal::new(value.get_untracked());
    let error = RwSignal::new(None::<String>);
    // What was handed over last, so that Enter and leaving the field do not save it twice.
    let sent = StoredValue::new(None::<String>);
    Effect::new(move |before: Option<String>| {
        let now = value.get();
        // Somebody else's edit comes into the field, but what is being typed is not lost by an exchange.
        if before.as_ref() != Some(&now) {
            typed.set(now.clone());
            error.set(None);
            sent.set_value(None);
        }
        now
    });
    let commit = move || {
        // A field that goes from the page is left by it; what was typed was saved on the way out.
        let Some(text) = typed.try_get_untracked() else { return };
        if value.try_get_untracked().is_none_or(|held| held == text) {
            error.set(None);
            return;
        }
        if sent.get_value().as_ref() == Some(&text) {
            return;
        }
        match save.run((text.clone(),)) {
            Ok(()) => {
                sent.set_value(Some(text));
                error.set(None);
            }
            Err(why) => error.set(Some(why)),
        }
    };
    on_cleanup(commit);
    view! {
        <div class="cell" on:change=move |_| commit()>
            <TextField label=label value=typed hint=hint error=error lines=lines input_type=input_type />
        </div>
    }
}

/// One of several, from a list, that saves itself. The first of the list is what an empty text stands for.
#[component]
pub fn Pick(
    /// What is chosen.
    #[prop(into)]
    label: String,
    /// Texts with what is shown for them.
    options: Vec<(String, String)>,
    /// What the document holds.
    #[prop(into)]
    value: Signal<String>,
    /// Takes what was chosen.
    #[prop(into)]
    save: Save,
) -> impl IntoView {
    let id = fresh_id("pick");
    let error = RwSignal::new(None::<String>);
    let options = options
        .into_iter()
        .map(|(key, shown)| {
            let this = key.clone();
            view! {
                <option value=key prop:selected=move || value.with(|v| *v == this)>
                    {shown}
                </option>
            }
        })
        .collect_view();
    view! {
        <div class="field cell">
            <label for=id.clone()>{label}</label>
            <select
                id=id
                on:change:target=move |e| error.set(save.run((e.target().value(),)).err())
            >
                {options}
            </select>
            <div aria-live="polite">
                {move || error.get().map(|text| view! { <p class="wrong">{text}</p> })}
            </div>
        </div>
    }
}
