//! Whom to look at first: each athlete's reasons with their numbers and the rule behind them, and what could not be
//! looked at.

use backstraight_core::base::id::PersonId;
use backstraight_core::view::attention::Topic;
use leptos::prelude::*;

use super::answers::{Attention as Answer, CautionAnswer, NotLooked, Reason, Reasons, day_text};
use super::asked::{ask, question};
use super::parts::{Pages, why_of};
use crate::hub::use_hub;
use crate::kit::{ButtonLink, CautionBox, Chip, EmptyState};
use crate::route::{Route, Section, Whose};
use crate::screens::head;
use crate::words::{say, say_n, say_with};

/// Which part of an athlete's page a topic is about.
#[must_use]
pub fn section_of(topic: &str) -> Section {
    match Topic::ALL.into_iter().find(|t| t.word() == topic) {
        Some(Topic::Availability) => Section::Availability,
        Some(Topic::Unheard | Topic::Effort) => Section::Sessions,
        Some(Topic::Speed) => Section::Trends,
        Some(Topic::Load | Topic::JuniorContacts) => Section::Load,
        Some(Topic::Test | Topic::Maximum) => Section::Tests,
        Some(Topic::Pain | Topic::Met | Topic::PlanEnds) | None => Section::Overview,
    }
}

/// The place of a topic in the order of topics; one that is not known comes last.
#[must_use]
pub fn place_of(topic: &str) -> usize {
    Topic::ALL.iter().position(|t| t.word() == topic).unwrap_or(Topic::ALL.len())
}

/// What could not be looked at, each topic and reason once, with how many athletes it concerns.
#[must_use]
pub fn not_looked(athletes: &[Reasons]) -> Vec<(NotLooked, usize)> {
    let mut out: Vec<(NotLooked, usize)> = Vec::new();
    for one in athletes.iter().flat_map(|a| &a.not_looked) {
        match out.iter_mut().find(|(known, _)| known == one) {
            Some((_, n)) => *n += 1,
            None => out.push((one.clone(), 1)),
        }
    }
    out
}

/// The cautions of an athlete's reasons, each once.
fn cautions(reasons: &[Reason]) -> Vec<CautionAnswer> {
    let mut out: Vec<CautionAnswer> = Vec::new();
    for caution in reasons.iter().filter_map(|r| r.why.caution.as_ref()) {
        if !out.contains(caution) {
            out.push(caution.clone());
        }
    }
    out
}

/// The list.
#[component]
pub fn Attention() -> impl IntoView {
    let hub = use_hub();
    let pages = Pages::new();
    let path = Signal::derive(move || {
        let today = hub.today().map(|d| d.to_string()).unwrap_or_default();
        let after = pages.begins_after();
        let mut asks = vec![("limit", "100"), ("today", today.as_str())];
        asks.extend(after.as_deref().map(|after| ("after", after)));
        question("/v1/attention", &asks)
    });
    let answer = ask::<Answer>(hub, path);
    head(say("way.attention"), say("attention.under"));
    let shown = move |list: &Answer| {
        let mut some: Vec<&Reasons> = list.athletes.iter().filter(|a| !a.reasons.is_empty()).collect();
        // Topics have an order; whoever's first reason stands before stands before.
        some.sort_by_key(|a| a.reasons.first().map(|r| place_of(&r.topic)));
        let quiet = list.athletes.len() - some.len();
        let closed = not_looked(&list.athletes);
        let none = some.is_empty().then(|| {
            let (title, text) = if list.athletes.is_empty() {
                (say("board.empty"), say("board.empty.text"))
            } else {
                (say("attention.none"), say("attention.none.text"))
            };
            view! { <EmptyState title=title text=text /> }
        });
        let quiet = (quiet > 0 && !some.is_empty()).then(|| {
            let n = u64::try_from(quiet).unwrap_or(u64::MAX);
            view! { <p class="soft">{say_n("attention.quiet", n, &[])}</p> }
        });
        let turn = pages.buttons(list.next.clone(), say("attention.back"), say("attention.next"));
        view! {
            {none}
            <ul class="reasons-list">{some.into_iter().map(athlete).collect_view()}</ul>
            {quiet}
            {(!closed.is_empty()).then(|| closed_view(closed))}
            {turn}
        }
        .into_any()
    };
    view! { <div class="stack">{answer.shown(shown)}</div> }
}

fn closed_view(closed: Vec<(NotLooked, usize)>) -> impl IntoView {
    let items = closed.into_iter().map(|(one, n)| {
        let n = u64::try_from(n).unwrap_or(u64::MAX);
        view! { <li>{say_n("attention.closed-one", n, &[("topic", &one.topic), ("why", &one.why)])}</li> }
    });
    view! {
        <section class="box">
            <h3>{say("attention.closed")}</h3>
            <p>{say("attention.closed.text")}</p>
            <ul class="dashes">{items.collect_view()}</ul>
        </section>
    }
}

fn athlete(one: &Reasons) -> impl IntoView + use<> {
    let id = one.id.parse::<PersonId>().ok();
    let to = move |section| id.map(|id| Route::Athlete(id, section).href());
    let reasons = one
        .reasons
        .iter()
        .map(|r| {
            let on = r.on.as_deref().map(|d| view! { <span class="soft">{day_text(d)}</span> });
            let of = format!("{}, {}", one.name, r.topic);
            view! {
                <li>
                    <Chip text=r.topic.clone() strong=true />
                    <a href=to(section_of(&r.topic))>{r.words.clone()}</a>
                    {on}
                    {why_of(&of, Some(&r.why))}
                </li>
            }
        })
        .collect_view();
    let cautions =
        cautions(&one.reasons).into_iter().map(|c| view! { <CautionBox text=c.words /> }).collect_view();
    let plan = id.map(|id| Route::Plan(Whose::Athlete(id), None).href());
    let talk = id.map(|id| Route::Talk(Some(id)).href());
    let with =
        |label: String, href: Option<String>| href.map(|href| view! { <ButtonLink label=label href=href /> });
    view! {
        <li class="card">
            <h2><a class="name" href=to(Section::Overview)>{one.name.clone()}</a></h2>
            <ul class="reasons">{reasons}</ul>
            {cautions}
            <div class="row no-print">
                {with(say_with("attention.plan", &[("name", &one.name)]), plan)}
                {with(say_with("attention.talk", &[("name", &one.name)]), talk)}
            </div>
        </li>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_not_looked_at_is_said_once_with_its_count() {
        let one = |topic: &str| NotLooked { topic: topic.into(), why: "closed".into() };
        let who = |list: &[&str]| Reasons {
            id: String::new(),
            name: String::new(),
            reasons: Vec::new(),
            not_looked: list.iter().map(|t| one(t)).collect(),
        };
        let all = [who(&["pain or illness", "test"]), who(&["pain or illness"])];
        assert_eq!(not_looked(&all), [(one("pain or illness"), 2), (one("test"), 1)]);
    }

    #[test]
    fn topics_lead_to_their_part() {
        assert_eq!(section_of(Topic::Speed.word()), Section::Trends);
        assert_eq!(section_of("anything else"), Section::Overview);
        assert!(place_of(Topic::Pain.word()) < place_of(Topic::PlanEnds.word()));
        assert!(place_of(Topic::PlanEnds.word()) < place_of("anything else"));
    }
}
