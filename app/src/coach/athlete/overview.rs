//! What there is to know about an athlete now, and the weeks to come beside those behind.

use leptos::prelude::*;

use super::super::answers::{Athlete, Forecast, Line, LoadWeek, Met, PlannedWeek, Saying, day, day_text};
use super::super::asked::ask;
use super::super::board_rows::figure;
use super::super::parts::{figure_view, why_of};
use super::At;
use crate::chart::days::value_text;
use crate::chart::weeks::Bar;
use crate::chart::{Week, WeekBars};
use crate::kit::{ButtonLink, CautionBox, Column, DataTable, Kind, Mark};
use crate::route::{Route, Section, Whose};
use crate::words::{say, say_n, say_with};

/// How many weeks ahead are shown.
const AHEAD: &str = "6";

/// The part.
pub fn overview(at: At) -> impl IntoView {
    let forecast = ask::<Forecast>(
        at.hub,
        Signal::derive(move || at.path("/forecast", &[("today", &at.today.to_string()), ("weeks", AHEAD)])),
    );
    // Plan and talk are on this device, whether the server answers or not; above, so that no answer moves them.
    let coaches = at.hub.me().role.coaches();
    view! {
        {coaches.then(|| view! { <div class="row no-print">
            <ButtonLink label=say("athlete.to-plan").to_owned() href=Route::Plan(Whose::Athlete(at.id), None).href() kind=Kind::Main />
            <ButtonLink label=say("athlete.to-talk").to_owned() href=Route::Talk(Some(at.id)).href() />
            <ButtonLink label=say("athlete.to-report").to_owned() href=Route::Reports.href() />
        </div> })}
        {at.answer.shown(move |answer| now(at, answer).into_any())}
        <section class="stack">
            <h2>{say("athlete.ahead")}</h2>
            {forecast.shown(move |f| ahead(f, at.today.week_start()).into_any())}
        </section>
    }
}

fn now(at: At, answer: &Athlete) -> impl IntoView + use<> {
    let line = &answer.line;
    let available = line.availability.as_ref().map(|a| {
        view! { <CautionBox text=format!("{}. {}", a.words, a.caution) /> }
    });
    let sessions = line
        .sessions
        .iter()
        .map(|cell| {
            view! {
                <li>
                    <Mark state=cell.state() share=cell.share with_word=true />
                    <a href=Route::Athlete(at.id, Section::Sessions).href()>
                        {format!("{}, {}", cell.day().map(crate::kit::dates::named).unwrap_or_default(), cell.title)}
                    </a>
                </li>
            }
        })
        .collect_view();
    let nothing = line.sessions.is_empty().then(|| view! { <p>{say("athlete.no-sessions")}</p> });
    let met = (!answer.met_here.is_empty()).then(|| met_here(at, &answer.met_here));
    view! {
        {available}
        {facts(line)}
        {met}
        <section class="stack tight">
            <h2>{say("athlete.this-week")}</h2>
            <ul class="marked">{sessions}</ul>
            {nothing}
        </section>
    }
}

/// What holds of an athlete, as rows of a list.
fn facts(line: &Line) -> impl IntoView + use<> {
    let heard = match (&line.heard_through, &line.silence) {
        (Some(on), Some(silence)) => format!("{}. {silence}", day_text(on)),
        (Some(on), None) => day_text(on),
        (None, Some(silence)) => silence.clone(),
        (None, None) => say("athlete.never-heard").to_owned(),
    };
    let plan = line.plan_to.as_deref().map_or_else(|| say("athlete.no-plan").to_owned(), day_text);
    let done = format!("{} ({})", figure(line), say_n("athlete.of-sessions", line.heard, &[]));
    view! {
        <dl class="facts">
            <dt>{say("athlete.done")}</dt>
            <dd>{done}</dd>
            <dt>{say("athlete.heard")}</dt>
            <dd>{heard}</dd>
            <dt>{say("athlete.plan-to")}</dt>
            <dd>{plan}</dd>
        </dl>
    }
}

/// Where two edits met: the values, the one that is shown first.
pub fn met_here(at: At, all: &[Met]) -> impl IntoView + use<> {
    let items = all
        .iter()
        .map(|m| {
            let choices = m
                .choices
                .iter()
                .enumerate()
                .map(|(i, c)| {
                    let key = [("value", c.value.as_str()), ("who", c.who.as_str())];
                    let text = if i == 0 {
                        say_with("athlete.met.shown", &key)
                    } else {
                        say_with("athlete.met.other", &key)
                    };
                    view! { <li>{text}</li> }
                })
                .collect_view();
            view! {
                <li>
                    <p>{say_with("athlete.met.about", &[("about", &m.about), ("field", &m.field)])}</p>
                    <ul class="dashes">{choices}</ul>
                </li>
            }
        })
        .collect_view();
    view! {
        <section class="box">
            <h3>{say_n("board.met", u64::try_from(all.len()).unwrap_or(u64::MAX), &[])}</h3>
            <ul class="stack tight">{items}</ul>
            {at.hub.me().role.coaches().then(|| view! {
                <p class="no-print">
                    <a href=Route::Plan(Whose::Athlete(at.id), None).href()>{say("athlete.met.pick")}</a>
                </p>
            })}
        </section>
    }
}

/// Weeks behind as columns, weeks to come as a line.
#[must_use]
pub fn bars(
    last: &[LoadWeek],
    next: &[PlannedWeek],
    this_week: backstraight_core::base::day::Day,
) -> Vec<Week> {
    let mut weeks: Vec<Week> = last
        .iter()
        .filter_map(|w| {
            let monday = day(&w.start)?;
            let unheard = w.unheard_days > 0 || w.unheard_sessions > 0;
            // A week of which nothing was heard has no column, not one of nothing.
            let bar = match w.load.value.filter(|v| *v > 0.0 || !unheard) {
                Some(load) => Bar::Known(load),
                None if monday > this_week => Bar::ToCome,
                None => Bar::NotKnown,
            };
            Some(Week { monday, bar, line: None, now: monday == this_week, note: lacking(w) })
        })
        .collect();
    for planned in next {
        let Some(monday) = day(&planned.start) else { continue };
        match weeks.iter_mut().find(|w| w.monday == monday) {
            Some(week) => week.line = planned.load.value,
            None => weeks.push(Week {
                monday,
                bar: if monday >= this_week { Bar::ToCome } else { Bar::NotKnown },
                line: planned.load.value,
                now: monday == this_week,
                note: planned.aims.join(", "),
            }),
        }
    }
    weeks.sort_by_key(|w| w.monday);
    weeks
}

/// What is missing in a week's load, in words.
#[must_use]
pub fn lacking(week: &LoadWeek) -> String {
    let mut out = Vec::new();
    if week.unheard_days > 0 {
        out.push(say_n("load.unheard-days", week.unheard_days.into(), &[]));
    }
    if week.unheard_sessions > 0 {
        out.push(say_n("load.unheard-sessions", week.unheard_sessions.into(), &[]));
    }
    if week.without_effort > 0 {
        out.push(say_n("load.without-effort", week.without_effort.into(), &[]));
    }
    out.join(", ")
}

/// The forecast: picture, table, what there is to say.
pub fn ahead(f: &Forecast, this_week: backstraight_core::base::day::Day) -> impl IntoView + use<> {
    let columns = vec![
        Column::words(say("load.week")),
        Column::words(say("load.planned")),
        Column::words(say("load.against-last")),
        Column::figures(say("load.sessions")),
        Column::figures(say("load.kg")),
        Column::figures(say("load.contacts")),
        Column::figures(say("load.sprint")),
        Column::words(say("load.aims")),
    ];
    let rows = f
        .next
        .iter()
        .map(|w| {
            let week = day_text(&w.start);
            vec![
                week.clone().into_any(),
                figure_view(
                    &say_with("load.of-week", &[("what", say("load.planned")), ("week", &week)]),
                    &w.load,
                ),
                figure_view(
                    &say_with("load.of-week", &[("what", say("load.against-last")), ("week", &week)]),
                    &w.against_last,
                ),
                w.sessions.to_string().into_any(),
                format!("{:.0}", w.volume.all_kg()).into_any(),
                value_text(w.volume.contacts()).into_any(),
                value_text(w.volume.sprint_m).into_any(),
                w.aims.join(", ").into_any(),
            ]
        })
        .collect();
    let says = f.says.iter().map(saying).collect_view();
    view! {
        <WeekBars
            title=say("load.chart")
            bar=say("load.done")
            line=say("load.planned")
            unit=say("load.units")
            weeks=bars(&f.last, &f.next, this_week)
        />
        {says}
        <DataTable caption=say("load.weeks-ahead") columns=columns rows=rows />
    }
}

fn saying(s: &Saying) -> impl IntoView + use<> {
    let lack = s.lack.as_ref().map(|l| view! { <p class="soft">{l.words.clone()}</p> });
    view! {
        <div class="stack tight">
            <p>{s.words.clone()} {why_of(&s.words, s.why.as_ref())}</p>
            {lack}
            <CautionBox text=s.caution.words.clone() />
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach::answers::Figure;

    #[test]
    fn a_silent_week_is_no_column_of_nothing() {
        let load = |v: f64| Figure { value: Some(v), ..Figure::default() };
        let week = |start: &str, v: f64, unheard_days: u32| LoadWeek {
            start: start.into(),
            load: load(v),
            unheard_days,
            ..LoadWeek::default()
        };
        let last = [week("2026-11-09", 0.0, 7), week("2026-11-16", 0.0, 0), week("2026-11-23", 120.0, 3)];
        let next = [
            PlannedWeek { start: "2026-11-23".into(), load: load(400.0), ..PlannedWeek::default() },
            PlannedWeek { start: "2026-11-30".into(), load: load(300.0), ..PlannedWeek::default() },
        ];
        let all = bars(&last, &next, "2026-11-23".parse().unwrap());
        let shown: Vec<(Bar, Option<f64>, bool)> = all.iter().map(|w| (w.bar, w.line, w.now)).collect();
        assert_eq!(
            shown,
            [
                (Bar::NotKnown, None, false),
                (Bar::Known(0.0), None, false),
                (Bar::Known(120.0), Some(400.0), true),
                (Bar::ToCome, Some(300.0), false)
            ]
        );
        assert_eq!(all.first().map(|w| w.note.as_str()), Some("7 days unheard"));
    }
}
