//! Small parts that several of a coach's screens share: a drop-down, a week to step through, a figure with its why.

use backstraight_core::base::day::Day;
use leptos::prelude::*;

use super::answers::{Figure, Why};
use crate::chart::days::value_text;
use crate::kit::{Button, Kind, WhyButton, WhyParts, dates, fresh_id};
use crate::words::{say, say_with};

/// One of many, in a drop-down. Each option is a value and its text.
#[component]
pub fn Pick(
    /// What is chosen.
    #[prop(into)]
    label: String,
    /// What there is to choose from.
    #[prop(into)]
    options: Signal<Vec<(String, String)>>,
    /// What was chosen.
    value: RwSignal<String>,
) -> impl IntoView {
    let id = fresh_id("pick");
    let all = move || {
        options
            .get()
            .into_iter()
            .map(|(key, text)| {
                let this = key.clone();
                view! { <option value=key selected=move || value.with(|v| *v == this)>{text}</option> }
            })
            .collect_view()
    };
    view! {
        <div class="field">
            <label for=id.clone()>{label}</label>
            <select id=id on:change:target=move |e| value.set(e.target().value())>{all}</select>
        </div>
    }
}

/// What is shown of a span of weeks: "23 Nov to 29 Nov".
#[must_use]
pub fn span_text(from: Day, to: Day) -> String {
    say_with("coach.span", &[("from", &dates::short(from)), ("to", &dates::short(to))])
}

/// Steps from week to week.
#[component]
pub fn WeekSteps(
    /// The Monday of the first week shown.
    monday: RwSignal<Day>,
    /// How many weeks are shown.
    #[prop(into)]
    weeks: Signal<i32>,
    /// This week's Monday.
    this_week: Day,
) -> impl IntoView {
    let step = move |n: i32| monday.update(|m| *m = m.plus(7 * n * weeks.get_untracked()));
    let now = move || monday.set(this_week.plus(-7 * (weeks.get_untracked() - 1)));
    let text = move || span_text(monday.get(), monday.get().plus(7 * weeks.get() - 1));
    view! {
        <div class="week-steps no-print">
            <Button label=say("coach.earlier").to_owned() on_press=move || step(-1) />
            <p class="span" role="status">{text}</p>
            <Button label=say("coach.later").to_owned() on_press=move || step(1) />
            <Button label=say("coach.now").to_owned() kind=Kind::Quiet on_press=now />
        </div>
    }
}

/// Pages of an answer that comes in pieces: where each one after the first begins, in the order in which they were
/// turned to.
#[derive(Debug, Clone, Copy)]
pub struct Pages(RwSignal<Vec<String>>);

impl Pages {
    /// The first page.
    #[must_use]
    pub fn new() -> Pages {
        Pages(RwSignal::new(Vec::new()))
    }

    /// After what the page that is shown begins; none for the first.
    #[must_use]
    pub fn begins_after(self) -> Option<String> {
        self.0.with(|turned| turned.last().cloned())
    }

    /// Buttons to the page before and to the next one, where there are such.
    #[must_use]
    pub fn buttons(self, next: Option<String>, before: &'static str, after: &'static str) -> AnyView {
        let back = self.0.with(|turned| !turned.is_empty()).then(|| {
            let go = move || self.0.update(|turned| drop(turned.pop()));
            view! { <Button label=before.to_owned() on_press=go /> }
        });
        let next = next.map(|begin| {
            let go = move || self.0.update(|turned| turned.push(begin.clone()));
            view! { <Button label=after.to_owned() on_press=go /> }
        });
        view! { <div class="row no-print">{back}{next}</div> }.into_any()
    }
}

/// The parts of a figure behind a small button; nothing where none are known.
#[must_use]
pub fn why_of(of: &str, why: Option<&Why>) -> AnyView {
    match why {
        Some(why) => view! { <WhyButton of=of.to_owned() why=WhyParts::from(why) /> }.into_any(),
        None => ().into_any(),
    }
}

/// A figure in words, or why there is none.
#[must_use]
pub fn figure_text(figure: &Figure) -> String {
    match (figure.value, &figure.lack) {
        (Some(value), _) => format!("{} {}", value_text(value), figure.unit).trim_end().to_owned(),
        (None, Some(lack)) => lack.words.clone(),
        (None, None) => say("coach.none").to_owned(),
    }
}

/// A figure with its why.
#[must_use]
pub fn figure_view(of: &str, figure: &Figure) -> AnyView {
    let text = figure_text(figure);
    let class = if figure.value.is_some() { "value" } else { "soft" };
    view! { <span class=class>{text}</span> {why_of(of, figure.why.as_ref())} }.into_any()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach::answers::Lack;

    #[test]
    fn a_figure_without_a_number_says_why() {
        let some = Figure { value: Some(412.0), unit: "units".into(), ..Figure::default() };
        let lack = Figure { lack: Some(Lack { words: "too few days".into() }), ..Figure::default() };
        assert_eq!(figure_text(&some), "412 units");
        assert_eq!(figure_text(&lack), "too few days");
        assert_eq!(figure_text(&Figure::default()), "–");
    }

    #[test]
    fn a_span_is_said() {
        let monday: Day = "2026-11-23".parse().unwrap();
        assert_eq!(span_text(monday, monday.plus(6)), "23 Nov to 29 Nov");
    }
}
