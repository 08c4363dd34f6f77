//! Fields for text and days: a label above, a hint before, an error after, all tied to the input.

use backstraight_core::base::day::Day;
use leptos::prelude::*;

use super::fresh_id;
use crate::parse;

/// Ids of a field's parts.
#[derive(Debug, Clone)]
pub(super) struct Ids {
    /// The input.
    pub(super) input: String,
    /// The hint.
    pub(super) hint: String,
    /// The error.
    pub(super) wrong: String,
}

impl Ids {
    /// New ones.
    pub(super) fn new() -> Ids {
        let input = fresh_id("field");
        Ids { hint: format!("{input}-hint"), wrong: format!("{input}-wrong"), input }
    }

    /// What describes the input: the hint where there is one, the error where there is one.
    pub(super) fn described_by(&self, hint: bool, wrong: bool) -> Option<String> {
        let ids = [(hint, &self.hint), (wrong, &self.wrong)];
        let all: Vec<&str> = ids.iter().filter(|(is, _)| *is).map(|(_, id)| id.as_str()).collect();
        (!all.is_empty()).then(|| all.join(" "))
    }
}

/// The hint over an input.
pub(super) fn hint_line(ids: &Ids, hint: String) -> Option<impl IntoView + use<>> {
    let id = ids.hint.clone();
    (!hint.is_empty()).then(|| {
        view! {
            <p class="hint" id=id>
                {hint}
            </p>
        }
    })
}

/// The error under an input. It is there before it is filled, so that it is read out when it comes.
pub(super) fn wrong_line(ids: &Ids, error: Signal<Option<String>>) -> impl IntoView + use<> {
    let id = ids.wrong.clone();
    view! {
        <div id=id aria-live="polite">
            {move || error.get().map(|text| view! { <p class="wrong">{text}</p> })}
        </div>
    }
}

/// A field for text.
#[component]
pub fn TextField(
    /// What it holds.
    #[prop(into)]
    label: String,
    /// What is typed.
    value: RwSignal<String>,
    /// What helps to fill it.
    #[prop(into, optional)]
    hint: String,
    /// What is wrong with it and what to do.
    #[prop(into, optional)]
    error: Signal<Option<String>>,
    /// The input's `type`: text, email, password, tel, url.
    #[prop(default = "text")]
    input_type: &'static str,
    /// What the browser may fill in by itself.
    #[prop(default = "off")]
    autocomplete: &'static str,
    /// Several lines.
    #[prop(optional)]
    lines: bool,
    /// Most characters.
    #[prop(optional)]
    most: Option<u32>,
) -> impl IntoView {
    let ids = Ids::new();
    let (has_hint, tied) = (!hint.is_empty(), ids.clone());
    let described = move || tied.described_by(has_hint, error.with(Option::is_some));
    let invalid = move || error.with(Option::is_some).then_some("true");
    let typed = move |text: String| value.set(text);
    let most = most.map(|n| n.to_string());
    let input = if lines {
        view! {
            <textarea
                id=ids.input.clone()
                maxlength=most
                prop:value=move || value.get()
                on:input:target=move |e| typed(e.target().value())
                aria-describedby=described
                aria-invalid=invalid
            ></textarea>
        }
        .into_any()
    } else {
        view! {
            <input
                id=ids.input.clone()
                type=input_type
                autocomplete=autocomplete
                maxlength=most
                prop:value=move || value.get()
                on:input:target=move |e| typed(e.target().value())
                aria-describedby=described
                aria-invalid=invalid
            />
        }
        .into_any()
    };
    view! {
        <div class="field">
            <label for=ids.input.clone()>{label}</label>
            {hint_line(&ids, hint)}
            {input}
            {wrong_line(&ids, error)}
        </div>
    }
}

/// A field for a day, with the picker that the browser has.
#[component]
pub fn DateField(
    /// What day it is.
    #[prop(into)]
    label: String,
    /// The day; `None` while there is none, or none that can be read.
    value: RwSignal<Option<Day>>,
    /// What helps to fill it.
    #[prop(into, optional)]
    hint: String,
    /// First day that may be picked.
    #[prop(optional)]
    first: Option<Day>,
    /// Last day that may be picked.
    #[prop(optional)]
    last: Option<Day>,
    /// What is wrong with it and what to do.
    #[prop(into, optional)]
    error: Signal<Option<String>>,
) -> impl IntoView {
    let ids = Ids::new();
    let (has_hint, tied) = (!hint.is_empty(), ids.clone());
    view! {
        <div class="field">
            <label for=ids.input.clone()>{label}</label>
            {hint_line(&ids, hint)}
            <input
                id=ids.input.clone()
                type="date"
                min=first.map(|d| d.to_string())
                max=last.map(|d| d.to_string())
                prop:value=move || value.get().map(|d| d.to_string()).unwrap_or_default()
                on:change:target=move |e| value.set(parse::day(&e.target().value()).ok())
                aria-describedby=move || tied.described_by(has_hint, error.with(Option::is_some))
                aria-invalid=move || error.with(Option::is_some).then_some("true")
            />
            {wrong_line(&ids, error)}
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_there_describes_an_input() {
        let ids = Ids::new();
        assert_eq!(ids.described_by(false, false), None);
        assert_eq!(ids.described_by(true, false), Some(ids.hint.clone()));
        assert_eq!(ids.described_by(true, true), Some(format!("{} {}", ids.hint, ids.wrong)));
        assert_ne!(Ids::new().input, ids.input);
    }
}
