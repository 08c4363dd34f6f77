//! What says how things stand: nothing there yet, something went wrong, work under way, care for bodies, saved.

use backstraight_core::science::Caution;
use leptos::prelude::*;

use super::button::{Button, ButtonLink, Kind};
use crate::words::say;

/// Nothing there yet: says what comes here and how.
#[component]
pub fn EmptyState(
    /// What is not there.
    #[prop(into)]
    title: String,
    /// What will be there, and what to do for it.
    #[prop(into)]
    text: String,
    /// What to do: label and address.
    #[prop(optional, into)]
    action: Option<(String, String)>,
) -> impl IntoView {
    let action = action.map(|(label, href)| view! { <ButtonLink label=label href=href kind=Kind::Main /> });
    view! {
        <div class="empty">
            <svg viewBox="0 0 96 48" aria-hidden="true" fill="none" stroke="currentColor" stroke-width="2">
                <path d="M4 44a40 40 0 0 1 40 -40h48"></path>
                <path d="M16 44a28 28 0 0 1 28 -28h48" stroke-dasharray="6 4"></path>
                <path d="M28 44a16 16 0 0 1 16 -16h48"></path>
            </svg>
            <h2>{title}</h2>
            <p>{text}</p>
            {action}
        </div>
    }
}

/// What went wrong, for a person: what it is and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// What went wrong.
    pub what: String,
    /// What to do now.
    pub todo: String,
}

/// What went wrong, and what to do.
#[component]
pub fn ErrorBox(
    /// What went wrong.
    trouble: Trouble,
    /// Tries once more.
    #[prop(optional, into)]
    again: Option<Callback<()>>,
) -> impl IntoView {
    let again = again.map(|again| {
        view! {
            <div class="row">
                <Button label=Signal::stored(say("kit.try-again").to_owned()) on_press=again />
            </div>
        }
    });
    view! {
        <div class="box error" role="alert">
            <h2>{trouble.what}</h2>
            <p>{trouble.todo}</p>
            {again}
        </div>
    }
}

/// Work under way: how much of how much, or only that it goes on.
#[component]
pub fn Progress(
    /// What is done.
    #[prop(into)]
    label: Signal<String>,
    /// How much of how much, where that is known.
    #[prop(into)]
    done: Signal<Option<(u32, u32)>>,
) -> impl IntoView {
    let bar = move || match done.get() {
        Some((n, of)) => {
            view! { <progress value=n.min(of).to_string() max=of.max(1).to_string()></progress> }.into_any()
        }
        None => view! { <progress></progress> }.into_any(),
    };
    view! {
        <label class="progress">
            <span>{move || label.get()}</span>
            {bar}
        </label>
    }
}

/// A caution where people can get hurt: always readable, never folded away.
#[component]
pub fn CautionBox(
    /// Which.
    #[prop(optional, into)]
    caution: Option<Caution>,
    /// The club's own words, beside or instead of it.
    #[prop(into, optional)]
    text: String,
) -> impl IntoView {
    let own = (!text.is_empty()).then(|| view! { <p>{text}</p> });
    let known = caution.map(|c| view! { <p>{c.text()}</p> });
    view! {
        <div class="box caution" role="note" aria-label=say("kit.caution")>
            <p class="label">{say("kit.caution")}</p>
            {own}
            {known}
        </div>
    }
}

/// How far something that was entered has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// On its way to the disk.
    Saving,
    /// On this phone's disk.
    Here,
    /// The server has it, and coaches can read it.
    There,
    /// Not on disk.
    Not,
}

impl Kept {
    /// In words.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Kept::Saving => say("kit.kept.saving"),
            Kept::Here => say("kit.kept.here"),
            Kept::There => say("kit.kept.there"),
            Kept::Not => say("kit.kept.not"),
        }
    }
}

/// How far something that was entered has come: one lane for the phone, one for the coach.
#[component]
pub fn SaveMark(
    /// How far.
    #[prop(into)]
    kept: Signal<Kept>,
) -> impl IntoView {
    let lanes = move || {
        let (first, second) = match kept.get() {
            Kept::Saving => ("2 3", "1 5"),
            Kept::Here => ("none", "1 5"),
            Kept::There => ("none", "none"),
            Kept::Not => ("0 24", "0 24"),
        };
        let cross = (kept.get() == Kept::Not).then(|| view! { <path d="M6 3L18 17M18 3L6 17"></path> });
        view! {
            <path d="M2 7H22" stroke-dasharray=first></path>
            <path d="M2 13H22" stroke-dasharray=second></path>
            {cross}
        }
    };
    view! {
        <span class="save">
            <svg viewBox="0 0 24 20" width="24" height="20" aria-hidden="true" fill="none" stroke="currentColor"
                stroke-width="3">
                {lanes}
            </svg>
            {move || kept.get().text()}
        </span>
    }
}
