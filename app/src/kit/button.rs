//! Buttons and links that look like them.

use leptos::prelude::*;

/// How much weight a button has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Kind {
    /// One of several.
    #[default]
    Plain,
    /// The one thing to do here; at most one on a screen.
    Main,
    /// Beside the way.
    Quiet,
    /// Takes something away; undo or a second step follows.
    Grave,
}

impl Kind {
    const fn class(self) -> &'static str {
        match self {
            Kind::Plain => "button",
            Kind::Main => "button main",
            Kind::Quiet => "button quiet",
            Kind::Grave => "button grave",
        }
    }
}

fn class(kind: Kind, big: bool, full: bool) -> String {
    let (big, full) = (if big { " big" } else { "" }, if full { " full" } else { "" });
    format!("{}{big}{full}", kind.class())
}

/// A button.
#[component]
pub fn Button(
    /// What it does, as a verb.
    #[prop(into)]
    label: Signal<String>,
    /// Called when it is pressed.
    #[prop(into)]
    on_press: Callback<()>,
    /// Its weight.
    #[prop(optional)]
    kind: Kind,
    /// For between sets: 56 px high.
    #[prop(optional)]
    big: bool,
    /// As wide as its place.
    #[prop(optional)]
    full: bool,
    /// Whether it cannot be pressed now. It stays reachable, so that its name and reason can be read.
    #[prop(into, optional)]
    disabled: Signal<bool>,
    /// The id of what says why it cannot be pressed, or what it does.
    #[prop(into, optional)]
    described_by: Option<String>,
    /// Its id, by which the focus finds it again when its screen is drawn anew with another label.
    #[prop(into, optional)]
    id: Option<String>,
    /// Sends the form around it, as Enter does; the form says what happens then.
    #[prop(optional)]
    submit: bool,
) -> impl IntoView {
    let press = move |event: leptos::ev::MouseEvent| {
        if disabled.get_untracked() {
            event.prevent_default();
        } else if !submit {
            on_press.run(());
        }
    };
    view! {
        <button
            id=id
            type=if submit { "submit" } else { "button" }
            class=class(kind, big, full)
            aria-disabled=move || disabled.get().then_some("true")
            aria-describedby=described_by
            on:click=press
        >
            {move || label.get()}
        </button>
    }
}

/// A link that looks like a button.
#[component]
pub fn ButtonLink(
    /// What it leads to.
    #[prop(into)]
    label: Signal<String>,
    /// Where.
    #[prop(into)]
    href: Signal<String>,
    /// Its weight.
    #[prop(optional)]
    kind: Kind,
    /// For between sets: 56 px high.
    #[prop(optional)]
    big: bool,
    /// As wide as its place.
    #[prop(optional)]
    full: bool,
) -> impl IntoView {
    view! {
        <a class=class(kind, big, full) href=move || href.get()>
            {move || label.get()}
        </a>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_add_up() {
        assert_eq!(class(Kind::Plain, false, false), "button");
        assert_eq!(class(Kind::Main, true, true), "button main big full");
    }
}
