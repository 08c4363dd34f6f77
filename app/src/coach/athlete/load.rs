//! Load by week: what was done, three ways against the weeks before, volume, each figure with its why. It
//! describes and foretells nothing.

use backstraight_core::science::Caution;
use leptos::prelude::*;

use super::super::answers::{Against, LoadWeek, Loads, day, day_text};
use super::super::asked::ask;
use super::super::parts::{figure_text, figure_view, why_of};
use super::At;
use super::overview::{bars, lacking};
use crate::chart::days::value_text;
use crate::chart::{DayChart, Point, Series, WeekBars};
use crate::kit::{CautionBox, Column, DataTable, EmptyState};
use crate::words::{say, say_with};

/// Weeks that are shown before this one.
const BACK: i32 = 11;

/// The part.
pub fn load(at: At) -> impl IntoView {
    let loads = ask::<Loads>(
        at.hub,
        Signal::derive(move || {
            let monday = at.today.week_start();
            at.path(
                "/loads",
                &[
                    ("from", &monday.plus(-7 * BACK).to_string()),
                    ("to", &monday.plus(6).to_string()),
                    ("today", &at.today.to_string()),
                ],
            )
        }),
    );
    loads.shown(move |l| weeks(at, l).into_any())
}

/// A load as text: the least that it was, where something is missing.
#[must_use]
pub fn least(week: &LoadWeek) -> String {
    let text = figure_text(&week.load);
    if week.complete { text } else { say_with("load.least", &[("load", &text)]) }
}

/// The three ways of putting a week against those before, as one line.
#[must_use]
pub fn three_ways(against: &Against) -> String {
    if let Some(lack) = &against.lack {
        return lack.words.clone();
    }
    let text = |v: Option<f64>| v.map_or_else(|| say("coach.none").to_owned(), value_text);
    say_with(
        "load.three-ways",
        &[
            ("fading", &text(against.fading)),
            ("with", &text(against.of_28_with)),
            ("before", &text(against.of_21_before)),
        ],
    )
}

fn weeks(at: At, loads: &Loads) -> AnyView {
    if loads.weeks.iter().all(|w| w.load.value.is_none_or(|v| v == 0.0)) {
        return view! { <EmptyState title=say("load.none") text=say("load.none.text") /> }.into_any();
    }
    let fading = |name: &'static str, get: fn(&LoadWeek) -> Option<f64>| Series {
        name: name.to_owned(),
        points: loads
            .weeks
            .iter()
            .filter_map(|w| Some(Point { on: day(&w.start)?.plus(6), value: get(w)?, note: lacking(w) }))
            .collect(),
        joined: true,
        break_after: Some(8),
    };
    let series = vec![
        fading(say("load.fading-7"), |w| w.fading_7.value),
        fading(say("load.fading-28"), |w| w.fading_28.value),
    ];
    view! {
        <CautionBox caution=Caution::Load />
        <WeekBars
            title=say("load.chart")
            bar=say("load.done")
            unit=say("load.units")
            weeks=bars(&loads.weeks, &[], at.today.week_start())
        />
        <DayChart title=say("load.fading") unit=say("load.units-day") series=series from_zero=true />
        {load_table(&loads.weeks)}
        {volume_table(&loads.weeks)}
    }
    .into_any()
}

fn load_table(weeks: &[LoadWeek]) -> impl IntoView + use<> {
    let columns = vec![
        Column::words(say("load.week")),
        Column::words(say("load.done")),
        Column::words(say("load.monotony")),
        Column::words(say("load.strain")),
        Column::words(say("load.against")),
        Column::words(say("load.missing")),
    ];
    let rows = weeks
        .iter()
        .rev()
        .map(|w| {
            let week = day_text(&w.start);
            let of = |what: &str| say_with("load.of-week", &[("what", what), ("week", &week)]);
            let load = view! {
                <span class="value">{least(w)}</span> {why_of(&of(say("load.done")), w.load.why.as_ref())}
            };
            let against = view! {
                <span>{three_ways(&w.against_before)}</span>
                {why_of(&of(say("load.against")), w.against_before.why.as_ref())}
            };
            vec![
                week.clone().into_any(),
                load.into_any(),
                figure_view(&of(say("load.monotony")), &w.monotony),
                figure_view(&of(say("load.strain")), &w.strain),
                against.into_any(),
                lacking(w).into_any(),
            ]
        })
        .collect();
    view! { <DataTable caption=say("load.table") columns=columns rows=rows /> }
}

fn volume_table(weeks: &[LoadWeek]) -> impl IntoView + use<> {
    let columns = vec![
        Column::words(say("load.week")),
        Column::words(say("load.kg")),
        Column::words(say("load.contacts")),
        Column::figures(say("load.sprint")),
        Column::figures(say("load.run")),
        Column::figures(say("load.held")),
    ];
    let rows = weeks
        .iter()
        .rev()
        .map(|w| {
            let v = &w.volume;
            let kg: Vec<String> =
                v.kg.iter()
                    .filter(|(_, kg)| **kg > 0.0)
                    .map(|(pattern, kg)| format!("{pattern} {kg:.0}"))
                    .collect();
            let contacts = say_with(
                "load.contacts-by",
                &[
                    ("low", &value_text(v.contacts_low)),
                    ("medium", &value_text(v.contacts_medium)),
                    ("high", &value_text(v.contacts_high)),
                    ("other", &value_text(v.contacts_unclassed)),
                ],
            );
            let kg =
                if kg.is_empty() { "0".to_owned() } else { format!("{:.0} ({})", v.all_kg(), kg.join(", ")) };
            vec![
                day_text(&w.start).into_any(),
                kg.into_any(),
                contacts.into_any(),
                value_text(v.sprint_m).into_any(),
                value_text(v.run_m).into_any(),
                value_text(v.hold_s).into_any(),
            ]
        })
        .collect();
    view! { <DataTable caption=say("load.volume") columns=columns rows=rows /> }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach::answers::{Figure, Lack};

    #[test]
    fn a_load_with_gaps_is_the_least_that_it_was() {
        let load = Figure { value: Some(300.0), unit: "units".into(), ..Figure::default() };
        let whole = LoadWeek { load, complete: true, ..LoadWeek::default() };
        assert_eq!(least(&whole), "300 units");
        assert_eq!(least(&LoadWeek { complete: false, ..whole }), "at least 300 units");
    }

    #[test]
    fn three_ways_stand_side_by_side_or_say_why_not() {
        let some = Against { fading: Some(1.25), of_28_with: Some(1.1), ..Against::default() };
        assert_eq!(three_ways(&some), "fading 1.25, of 28 days 1.1, of the 21 before –");
        let none = Against { lack: Some(Lack { words: "too few days".into() }), ..Against::default() };
        assert_eq!(three_ways(&none), "too few days");
    }
}
