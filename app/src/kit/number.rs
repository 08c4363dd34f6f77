//! Fields for numbers: a keypad with the decimal sign, both signs taken, steps beside it, the unit in it.

use leptos::prelude::*;

use super::field::{Ids, hint_line, wrong_line};
use crate::parse::{self, Masses, Typed};
use crate::words::{say, say_with};

/// A number's step, and the limits at which steps end, in thousandths of its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Steps {
    /// One step.
    pub by: i64,
    /// Least.
    pub least: i64,
    /// Most.
    pub most: i64,
}

impl Steps {
    /// Steps of `by` whole units between limits in whole units.
    #[must_use]
    pub const fn whole(by: i64, least: i64, most: i64) -> Steps {
        Steps { by: by * 1000, least: least * 1000, most: most * 1000 }
    }

    /// Steps of `by` thousandths between limits in whole units.
    #[must_use]
    pub const fn fine(by: i64, least: i64, most: i64) -> Steps {
        Steps { by, least: least * 1000, most: most * 1000 }
    }
}

/// What stands in the field after `times` steps. From an empty field, or one without a number, steps begin at
/// the least.
#[must_use]
pub fn stepped(text: &str, steps: Steps, times: i64) -> String {
    let next = match parse::decimal(text, 3) {
        Ok(n) => n.saturating_add(steps.by.saturating_mul(times)),
        Err(_) => steps.least,
    };
    parse::plain(next.clamp(steps.least, steps.most), 3)
}

/// The same number with the other sign, for keypads that have none.
#[must_use]
pub fn turned(text: &str) -> String {
    match text.trim().strip_prefix(['-', '\u{2212}']) {
        Some(rest) => rest.to_owned(),
        None if text.trim().is_empty() => "-".to_owned(),
        None => format!("-{}", text.trim()),
    }
}

/// A field for a number.
#[component]
pub fn NumberField(
    /// What it counts or measures.
    #[prop(into)]
    label: String,
    /// What is typed, as it was typed.
    value: RwSignal<String>,
    /// Its steps; without them there are no buttons.
    #[prop(optional, into)]
    steps: Option<Steps>,
    /// Its unit.
    #[prop(into, optional)]
    unit: Signal<String>,
    /// Whole numbers only: another keypad.
    #[prop(optional)]
    whole: bool,
    /// May be negative: a button turns the sign, since keypads have none.
    #[prop(optional)]
    signed: bool,
    /// For between sets: 56 px high.
    #[prop(optional)]
    big: bool,
    /// What helps to fill it.
    #[prop(into, optional)]
    hint: String,
    /// What is wrong with it and what to do.
    #[prop(into, optional)]
    error: Signal<Option<String>>,
) -> impl IntoView {
    let ids = Ids::new();
    let (has_hint, tied) = (!hint.is_empty(), ids.clone());
    let step = |times: i64, sign: &'static str, name: String| {
        steps.map(|s| {
            view! {
                <button
                    type="button"
                    class="button round"
                    aria-label=name
                    on:click=move |_| value.update(|text| *text = stepped(text, s, times))
                >
                    {sign}
                </button>
            }
        })
    };
    let less = step(-1, "\u{2212}", say_with("kit.number.less", &[("label", &label)]));
    let more = step(1, "+", say_with("kit.number.more", &[("label", &label)]));
    let turn = signed.then(|| {
        view! {
            <button
                type="button"
                class="button round"
                aria-label=say_with("kit.number.turn", &[("label", &label)])
                on:click=move |_| value.update(|text| *text = turned(text))
            >
                "±"
            </button>
        }
    });
    view! {
        <div class="field number">
            <label for=ids.input.clone()>
                {label} <span class="hidden-text">{move || unit.with(|u| {
                    if u.is_empty() { String::new() } else { say_with("kit.number.in", &[("unit", u)]) }
                })}</span>
            </label>
            {hint_line(&ids, hint)}
            <div class="number-row" class:big=big>
                {less}
                <div class="with-unit" class:plain-unit=move || unit.with(String::is_empty)>
                    <input
                        id=ids.input.clone()
                        type="text"
                        inputmode=if whole { "numeric" } else { "decimal" }
                        enterkeyhint="next"
                        autocomplete="off"
                        prop:value=move || value.get()
                        on:input:target=move |e| value.set(e.target().value())
                        on:focus:target=move |e| e.target().select()
                        aria-describedby=move || tied.described_by(has_hint, error.with(Option::is_some))
                        aria-invalid=move || error.with(Option::is_some).then_some("true")
                    />
                    <span class="unit" aria-hidden="true">
                        {move || unit.get()}
                    </span>
                </div>
                {more}
                {turn}
            </div>
            {wrong_line(&ids, error)}
        </div>
    }
}

/// In which unit this person reads loads.
#[derive(Debug, Clone, Copy)]
pub struct MassesSetting(pub RwSignal<Masses>);

/// The unit of loads that the settings gave, kilograms without.
#[must_use]
pub fn masses() -> Signal<Masses> {
    use_context::<MassesSetting>().map_or_else(|| Signal::stored(Masses::Kilograms), |s| s.0.into())
}

/// A field for a load or a body mass, in the unit of the settings: steps of 2.5 kg or 5 lb.
#[component]
pub fn LoadField(
    /// Of what.
    #[prop(into)]
    label: String,
    /// What is typed, in the unit of the settings.
    value: RwSignal<String>,
    /// For between sets: 56 px high.
    #[prop(optional)]
    big: bool,
    /// What helps to fill it.
    #[prop(into, optional)]
    hint: String,
    /// Whether an empty field is fine.
    #[prop(optional)]
    may_be_empty: bool,
) -> impl IntoView {
    let masses = masses();
    let error = Signal::derive(move || shown_mistake(&parse::load(&value.get(), masses.get()), may_be_empty));
    let unit = Signal::derive(move || masses.get().unit().to_owned());
    move || {
        let steps = match masses.get() {
            Masses::Kilograms => Steps::fine(2_500, 0, 1_000),
            Masses::Pounds => Steps::whole(5, 0, 2_200),
        };
        let (label, hint) = (label.clone(), hint.clone());
        view! { <NumberField label=label value=value steps=steps unit=unit big=big hint=hint error=error /> }
    }
}

/// What to say under a field: nothing while it is empty and may be.
#[must_use]
pub fn shown_mistake<T>(typed: &Typed<T>, may_be_empty: bool) -> Option<String> {
    match typed {
        Ok(_) => None,
        Err(parse::Mistake::Empty) if may_be_empty => None,
        Err(parse::Mistake::Empty) => Some(say("kit.number.needed").to_owned()),
        Err(mistake) => Some(mistake.words()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_go_both_ways_and_stop_at_their_ends() {
        let bar = Steps::fine(2_500, 0, 1_000);
        assert_eq!(stepped("100", bar, 1), "102.5");
        assert_eq!(stepped("102,5", bar, -1), "100");
        assert_eq!(stepped("1", bar, -1), "0");
        assert_eq!(stepped("999", bar, 1), "1000");
        let reps = Steps::whole(1, 1, 300);
        assert_eq!(stepped("", reps, 1), "1");
        assert_eq!(stepped("five", reps, -1), "1");
        assert_eq!(stepped("5", reps, 1), "6");
    }

    #[test]
    fn the_sign_turns() {
        assert_eq!(turned("1.3"), "-1.3");
        assert_eq!(turned("-1.3"), "1.3");
        assert_eq!(turned("\u{2212}1.3"), "1.3");
        assert_eq!(turned(" "), "-");
    }

    #[test]
    fn an_empty_field_is_wrong_only_where_something_is_needed() {
        let empty = parse::reps("");
        assert_eq!(shown_mistake(&empty, true), None);
        assert!(shown_mistake(&empty, false).is_some());
        assert!(shown_mistake(&parse::reps("x"), true).is_some());
        assert_eq!(shown_mistake(&parse::reps("5"), false), None);
    }
}
