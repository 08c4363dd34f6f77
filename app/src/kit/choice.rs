//! One of several, yes or no, and small labels.

use leptos::prelude::*;

use super::fresh_id;

/// One of several, side by side: a group of radio buttons. Arrow keys move, as people expect of one.
#[component]
pub fn ChoiceRow<T>(
    /// What is chosen.
    #[prop(into)]
    label: String,
    /// What there is to choose from.
    options: Vec<(T, String)>,
    /// What was chosen.
    value: RwSignal<Option<T>>,
    /// What helps to choose.
    #[prop(into, optional)]
    hint: String,
    /// For between sets: 56 px high.
    #[prop(optional)]
    big: bool,
) -> impl IntoView
where
    T: Clone + PartialEq + Send + Sync + 'static,
{
    let name = fresh_id("choice");
    let hint_id = format!("{name}-hint");
    let described = (!hint.is_empty()).then(|| hint_id.clone());
    let hint = (!hint.is_empty()).then(|| {
        view! {
            <p class="hint" id=hint_id>
                {hint}
            </p>
        }
    });
    let all = options
        .into_iter()
        .map(|(option, text)| {
            let (this, name) = (option.clone(), name.clone());
            view! {
                <label class="choice">
                    <input
                        type="radio"
                        name=name
                        prop:checked=move || value.with(|v| v.as_ref() == Some(&this))
                        on:change=move |_| value.set(Some(option.clone()))
                    />
                    <span>{text}</span>
                </label>
            }
        })
        .collect_view();
    view! {
        <fieldset class="field" aria-describedby=described>
            <legend>{label}</legend>
            {hint}
            <div class="choices" class:big=big>
                {all}
            </div>
        </fieldset>
    }
}

/// Yes or no.
#[component]
pub fn Check(
    /// What is agreed or switched on.
    #[prop(into)]
    label: String,
    /// Whether it is.
    value: RwSignal<bool>,
) -> impl IntoView {
    view! {
        <label class="check">
            <input
                type="checkbox"
                prop:checked=move || value.get()
                on:change:target=move |e| value.set(e.target().checked())
            />
            <span>{label}</span>
        </label>
    }
}

/// A small label.
#[component]
pub fn Chip(
    /// Its text.
    #[prop(into)]
    text: String,
    /// Filled.
    #[prop(optional)]
    strong: bool,
    /// In brick: asks for attention.
    #[prop(optional)]
    brick: bool,
) -> impl IntoView {
    view! {
        <span class="chip" class:strong=strong class:brick=brick>
            {text}
        </span>
    }
}

/// A small label that is pressed in or out, to filter a list.
#[component]
pub fn ToggleChip(
    /// What it filters by.
    #[prop(into)]
    label: String,
    /// Whether it is pressed in.
    value: RwSignal<bool>,
) -> impl IntoView {
    view! {
        <button
            type="button"
            class="chip"
            aria-pressed=move || if value.get() { "true" } else { "false" }
            on:click=move |_| value.update(|on| *on = !*on)
        >
            {label}
        </button>
    }
}
