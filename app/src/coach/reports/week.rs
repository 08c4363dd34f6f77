//! The week of one athlete on paper: sessions, words, tests, load of that week and the three before.

use leptos::prelude::*;

use super::super::answers::{Athlete, Loads, Session, Tests, day_text};
use super::super::asked::{ask, question};
use super::super::athlete::load::{least, three_ways};
use super::super::athlete::overview::lacking;
use super::super::athlete::tests::{number, remarks};
use super::super::board_rows::figure;
use super::super::parts::{figure_text, span_text};
use super::At;
use super::sheet::Sheet;
use crate::chart::days::value_text;
use crate::kit::mark::spoken;
use crate::kit::{CautionBox, Column, DataTable, EmptyState};
use crate::words::{say, say_with};

/// Weeks before the one reported that stand beside it.
const BESIDE: i32 = 3;

/// The report.
#[component]
pub fn Week(
    /// What the reports share.
    at: At,
) -> impl IntoView {
    let about = move |what: &str, back: i32| {
        let id = at.athlete.get();
        if id.is_empty() {
            return String::new();
        }
        let (from, to) = (at.monday.get().plus(-7 * back), at.monday.get().plus(6));
        question(
            &format!("/v1/athletes/{id}{what}"),
            &[("from", &from.to_string()), ("to", &to.to_string()), ("today", &at.today.to_string())],
        )
    };
    let athlete = ask::<Athlete>(at.hub, Signal::derive(move || about("", 0)));
    let loads = ask::<Loads>(at.hub, Signal::derive(move || about("/loads", BESIDE)));
    let tests = ask::<Tests>(at.hub, Signal::derive(move || about("/tests", 0)));
    let nobody = move || at.athlete.with(String::is_empty);
    view! {
        <Show when=nobody>
            <EmptyState title=say("reports.nobody") text=say("reports.nobody.text") />
        </Show>
        {athlete.shown(move |a| {
            let line = &a.line;
            let title = if line.events.is_empty() {
                line.name.clone()
            } else {
                say_with("athlete.under", &[("part", &line.name), ("events", &line.events)])
            };
            let monday = at.monday.get();
            let available = line.availability.as_ref().map(|v| {
                view! { <CautionBox text=format!("{}. {}", v.words, v.caution) /> }
            });
            let plan = line.plan_to.as_deref().map(|to| {
                view! { <p>{say_with("reports.plan-to", &[("day", &day_text(to))])}</p> }
            });
            let under = say_with("reports.week-of", &[("span", &span_text(monday, monday.plus(6)))]);
            let done = say_with("reports.done", &[("figure", &figure(line))]);
            let (rows, said) = (sessions(&line.name, &a.reviews), words(&a.reviews));
            view! {
                <Sheet title=title under=under>
                    <p>{done}</p>
                    {available}
                    {rows}
                    {said}
                    {move || tests.get().map(|t| trials(&t))}
                    {move || loads.get().map(|l| load(&l))}
                    {plan}
                </Sheet>
            }
            .into_any()
        })}
    }
}

/// Sessions of somebody's week as rows.
pub fn sessions(whose: &str, all: &[Session]) -> AnyView {
    if all.is_empty() {
        return view! { <p>{say("athlete.no-sessions")}</p> }.into_any();
    }
    let columns = vec![
        Column::words(say("chart.day")),
        Column::words(say("reports.session")),
        Column::words(say("board.state")),
        Column::figures(say("reports.sets")),
        Column::figures(say("reports.minutes")),
        Column::figures(say("set.effort")),
    ];
    let dash = || say("coach.none").to_owned();
    let rows = all
        .iter()
        .map(|s| {
            let c = &s.cell;
            let mut state = spoken(c.state(), c.share);
            if c.earlier_version {
                state.push_str(", ");
                state.push_str(say("board.earlier"));
            }
            let sets = (c.share.is_some() || c.sets_asked > 0).then(|| {
                let (done, asked) = (c.sets_done.to_string(), c.sets_asked.to_string());
                say_with("item.count", &[("done", &done), ("asked", &asked)])
            });
            vec![
                day_text(&c.date).into_any(),
                c.title.clone().into_any(),
                state.into_any(),
                sets.unwrap_or_else(dash).into_any(),
                c.minutes.map_or_else(dash, |m| m.to_string()).into_any(),
                c.effort.map_or_else(dash, |e| e.to_string()).into_any(),
            ]
        })
        .collect();
    let caption = say_with("reports.sessions", &[("name", whose)]);
    view! { <DataTable caption=caption columns=columns rows=rows /> }.into_any()
}

/// What the athlete wrote, and why something was left out.
fn words(all: &[Session]) -> impl IntoView + use<> {
    let of = |s: &Session| format!("{}, {}", day_text(&s.cell.date), s.cell.title);
    let mut out = Vec::new();
    for s in all {
        if let Some(comment) = &s.comment {
            out.push(say_with("reports.said", &[("session", &of(s)), ("words", comment)]));
        }
        if let Some(why) = &s.left_out {
            out.push(say_with("reports.left-out", &[("session", &of(s)), ("why", why)]));
        }
    }
    let items = out.into_iter().map(|text| view! { <li>{text}</li> }).collect_view();
    view! { <ul class="dashes">{items}</ul> }
}

fn trials(tests: &Tests) -> impl IntoView + use<> {
    let rows: Vec<Vec<AnyView>> = tests
        .tests
        .iter()
        .flat_map(|t| {
            t.trials.iter().map(|trial| {
                let unit = t.unit.clone().unwrap_or_default();
                let value = number(trial).map_or_else(|| say("coach.none").to_owned(), value_text);
                vec![
                    day_text(&trial.date).into_any(),
                    t.name.clone().into_any(),
                    format!("{value} {unit}").trim_end().to_owned().into_any(),
                    remarks(trial).into_any(),
                ]
            })
        })
        .collect();
    (!rows.is_empty()).then(|| {
        let columns = vec![
            Column::words(say("chart.day")),
            Column::words(say("records.test")),
            Column::figures(say("reports.result")),
            Column::words(say("chart.note")),
        ];
        view! { <DataTable caption=say("athlete.tests") columns=columns rows=rows /> }
    })
}

fn load(loads: &Loads) -> impl IntoView + use<> {
    let columns = vec![
        Column::words(say("load.week")),
        Column::words(say("load.done")),
        Column::words(say("load.monotony")),
        Column::words(say("load.strain")),
        Column::words(say("load.against")),
        Column::figures(say("load.kg")),
        Column::figures(say("load.contacts")),
        Column::words(say("load.missing")),
    ];
    let rows = loads
        .weeks
        .iter()
        .map(|w| {
            vec![
                day_text(&w.start).into_any(),
                least(w).into_any(),
                figure_text(&w.monotony).into_any(),
                figure_text(&w.strain).into_any(),
                three_ways(&w.against_before).into_any(),
                format!("{:.0}", w.volume.all_kg()).into_any(),
                value_text(w.volume.contacts()).into_any(),
                lacking(w).into_any(),
            ]
        })
        .collect();
    view! {
        <DataTable caption=say("reports.load") columns=columns rows=rows />
        <p class="soft">{backstraight_core::science::Caution::Load.text()}</p>
    }
}
