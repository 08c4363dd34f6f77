//! The week of a squad on paper: a line for each athlete, then each one's sessions, kept together on a page.

use leptos::prelude::*;

use super::super::answers::{Board, Line, Session, day_text};
use super::super::board_rows::figure;
use super::super::parts::span_text;
use super::At;
use super::sheet::Sheet;
use super::week::sessions;
use crate::kit::{Column, DataTable, EmptyState, MarksKey};
use crate::words::{say, say_n, say_with};

/// The report.
pub fn squad(at: At) -> impl IntoView {
    at.board.shown(move |board| sheet(at, board))
}

fn sheet(at: At, board: &Board) -> AnyView {
    if board.athletes.is_empty() {
        return view! { <EmptyState title=say("board.none-so") text=say("board.none-so.text") /> }.into_any();
    }
    let monday = at.monday.get();
    let under = say_with("reports.week-of", &[("span", &span_text(monday, monday.plus(6)))]);
    let athletes = board.athletes.iter().map(athlete).collect_view();
    let summary = summary(&board.athletes);
    view! {
        <Sheet title=say("reports.squad") under=under>
            {summary}
            <MarksKey />
            {athletes}
        </Sheet>
    }
    .into_any()
}

fn summary(lines: &[Line]) -> impl IntoView + use<> {
    let columns = vec![
        Column::words(say("board.athlete")),
        Column::figures(say("board.share")),
        Column::words(say("athlete.heard")),
        Column::words(say("athlete.availability")),
        Column::words(say("athlete.plan-to")),
    ];
    let rows = lines
        .iter()
        .map(|l| {
            let heard =
                l.heard_through.as_deref().map_or_else(|| say("athlete.never-heard").to_owned(), day_text);
            let plan = l.plan_to.as_deref().map_or_else(|| say("athlete.no-plan").to_owned(), day_text);
            let available = l.availability.as_ref().map(|a| a.words.clone()).unwrap_or_default();
            vec![
                l.name.clone().into_any(),
                figure(l).into_any(),
                heard.into_any(),
                available.into_any(),
                plan.into_any(),
            ]
        })
        .collect();
    let n = u64::try_from(lines.len()).unwrap_or(u64::MAX);
    view! { <DataTable caption=say_n("reports.athletes", n, &[]) columns=columns rows=rows /> }
}

fn athlete(line: &Line) -> impl IntoView + use<> {
    let all: Vec<Session> =
        line.sessions.iter().map(|c| Session { cell: c.clone(), ..Session::default() }).collect();
    view! {
        <section class="together">
            <h3>{line.name.clone()}</h3>
            {sessions(&line.name, &all)}
        </section>
    }
}
