//! Type-ahead: a field that offers what fits, by keyboard or touch (the combobox pattern of the ARIA guide).

use leptos::ev::KeyboardEvent;
use leptos::prelude::*;

use super::field::{Ids, hint_line};
use crate::words::{say, say_n, say_with};

/// Most offers at once.
const MOST: usize = 12;

/// Something to pick.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// What is handed back.
    pub key: String,
    /// What is shown and searched.
    pub text: String,
    /// What is shown beside it.
    pub detail: String,
}

/// What fits to what was typed: each typed word must begin a word of the text. Texts that begin with what was
/// typed come first; otherwise the order stays.
#[must_use]
pub fn fitting(offers: &[Offer], typed: &str) -> Vec<Offer> {
    let typed = typed.trim().to_lowercase();
    let wanted: Vec<&str> = words_of(&typed).collect();
    let mut found: Vec<(bool, &Offer)> = offers
        .iter()
        .filter_map(|offer| {
            let text = offer.text.to_lowercase();
            let fits = wanted.iter().all(|w| words_of(&text).any(|p| p.starts_with(w)));
            fits.then(|| (!text.starts_with(&typed), offer))
        })
        .collect();
    found.sort_by_key(|(later, _)| *later);
    found.into_iter().take(MOST).map(|(_, offer)| offer.clone()).collect()
}

/// Words, whatever stands between them: what is called "High-knee skip" is found as such.
fn words_of(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty())
}

/// Where a key moves the chosen one among `n`; `None` when it does not.
#[must_use]
pub fn moved(key: &str, at: Option<usize>, n: usize) -> Option<usize> {
    match (key, at) {
        _ if n == 0 => None,
        ("ArrowDown", None) => Some(0),
        ("ArrowDown", Some(i)) => Some((i + 1) % n),
        ("ArrowUp", None) => Some(n - 1),
        ("ArrowUp", Some(i)) => Some((i + n - 1) % n),
        _ => None,
    }
}

/// A field that offers what fits.
#[component]
pub fn Combo(
    /// What is picked.
    #[prop(into)]
    label: String,
    /// What there is.
    #[prop(into)]
    offers: Signal<Vec<Offer>>,
    /// What is typed.
    text: RwSignal<String>,
    /// Called with the key of what was picked.
    #[prop(into)]
    on_pick: Callback<(String,)>,
    /// What helps to fill it.
    #[prop(into, optional)]
    hint: String,
) -> impl IntoView {
    let ids = Ids::new();
    let list_id = format!("{}-list", ids.input);
    let (open, at) = (RwSignal::new(false), RwSignal::new(None::<usize>));
    let fits = Memo::new(move |_| offers.with(|all| fitting(all, &text.get())));
    let shut = move || {
        open.set(false);
        at.set(None);
    };
    let pick = move |offer: Offer| {
        text.set(offer.text);
        shut();
        on_pick.run((offer.key,));
    };
    let key = move |event: KeyboardEvent| {
        let n = fits.with(Vec::len);
        match event.key().as_str() {
            "Escape" if open.get_untracked() => {
                // Only the list closes, not the dialog around it.
                event.prevent_default();
                event.stop_propagation();
                shut();
            }
            "Enter" if open.get_untracked() => {
                let chosen = at.get_untracked().or((n == 1).then_some(0));
                if let Some(offer) = chosen.and_then(|i| fits.with_untracked(|f| f.get(i).cloned())) {
                    event.prevent_default();
                    pick(offer);
                }
            }
            "Tab" => shut(),
            other => {
                if let Some(to) = moved(other, at.get_untracked(), n) {
                    event.prevent_default();
                    open.set(true);
                    at.set(Some(to));
                }
            }
        }
    };
    let option_id = {
        let list_id = list_id.clone();
        move |i: usize| format!("{list_id}-{i}")
    };
    let active = {
        let option_id = option_id.clone();
        move || at.get().filter(|_| open.get()).map(&option_id)
    };
    let options = move || {
        fits.get()
            .into_iter()
            .enumerate()
            .map(|(i, offer)| {
                let chosen = move || if at.get() == Some(i) { "true" } else { "false" };
                let (shown, detail) = (offer.text.clone(), offer.detail.clone());
                // Pressing must not take the focus out of the field before the click arrives.
                view! {
                    <li
                        role="option"
                        id=option_id(i)
                        aria-selected=chosen
                        on:mousedown=|e| e.prevent_default()
                        on:click=move |_| pick(offer.clone())
                    >
                        <span>{shown}</span>
                        <span class="soft">{detail}</span>
                    </li>
                }
            })
            .collect_view()
    };
    let none = move || {
        let nothing = open.get() && fits.with(Vec::is_empty);
        nothing.then(|| view! { <p class="none">{say_with("kit.combo.none", &[("text", &text.get())])}</p> })
    };
    let count = move || {
        let n = fits.with(Vec::len);
        open.get().then(|| say_n("kit.combo.count", u64::try_from(n).unwrap_or(u64::MAX), &[]))
    };
    let how_id = format!("{}-how", ids.input);
    let described = match ids.described_by(!hint.is_empty(), false) {
        Some(hint) => format!("{hint} {how_id}"),
        None => how_id.clone(),
    };
    view! {
        <div class="field">
            <label for=ids.input.clone()>{label.clone()}</label>
            {hint_line(&ids, hint)}
            <div class="combo">
                <input
                    id=ids.input.clone()
                    type="text"
                    role="combobox"
                    autocomplete="off"
                    aria-autocomplete="list"
                    aria-expanded=move || if open.get() { "true" } else { "false" }
                    aria-controls=list_id.clone()
                    aria-activedescendant=active
                    aria-describedby=described
                    prop:value=move || text.get()
                    on:input:target=move |e| {
                        text.set(e.target().value());
                        at.set(None);
                        open.set(true);
                    }
                    on:click=move |_| open.set(true)
                    on:keydown=key
                    on:blur=move |_| shut()
                />
                <ul
                    role="listbox"
                    id=list_id
                    aria-label=label
                    hidden=move || !open.get() || fits.with(Vec::is_empty)
                >
                    {options}
                </ul>
                {none}
            </div>
            <p class="hidden-text" role="status">
                {count}
            </p>
            <span class="hidden-text" id=how_id>
                {say("kit.combo.how")}
            </span>
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn offers() -> Vec<Offer> {
        ["Front squat", "Split squat, rear foot up", "Squat jump", "Back squat", "Bench press"]
            .map(|text| Offer { key: text.to_owned(), text: text.to_owned(), detail: String::new() })
            .to_vec()
    }

    fn found(typed: &str) -> Vec<String> {
        fitting(&offers(), typed).into_iter().map(|o| o.text).collect()
    }

    #[test]
    fn each_typed_word_begins_a_word() {
        assert_eq!(found("squat"), ["Squat jump", "Front squat", "Split squat, rear foot up", "Back squat"]);
        assert_eq!(found(" SQ  ba "), ["Back squat"]);
        assert_eq!(found("squat, front"), ["Front squat"]);
        assert_eq!(found("uat"), Vec::<String>::new());
        assert_eq!(found("rear"), ["Split squat, rear foot up"]);
        assert_eq!(found("").len(), 5);
    }

    #[test]
    fn no_more_than_fit_on_a_screen() {
        let many: Vec<Offer> = (0..40)
            .map(|i| Offer { key: i.to_string(), text: format!("Drill {i}"), detail: String::new() })
            .collect();
        assert_eq!(fitting(&many, "drill").len(), MOST);
    }

    #[test]
    fn arrows_go_round() {
        assert_eq!(moved("ArrowDown", None, 3), Some(0));
        assert_eq!(moved("ArrowDown", Some(2), 3), Some(0));
        assert_eq!(moved("ArrowUp", None, 3), Some(2));
        assert_eq!(moved("ArrowUp", Some(0), 3), Some(2));
        assert_eq!(moved("a", Some(0), 3), None);
        assert_eq!(moved("ArrowDown", None, 0), None);
    }
}
