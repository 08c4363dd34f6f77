//! Reports to print and to take away: the week of one athlete or of a squad, the sheet of a session for the wall,
//! tables for a spreadsheet. Printing is the browser's.

pub mod sheet;
pub mod squad;
pub mod tables;
pub mod wall;
pub mod week;

use backstraight_core::base::day::Day;
use leptos::prelude::*;

use super::answers::{Board, Squads};
use super::asked::{Asked, ask};
use super::board_rows::{Ask, Span};
use super::parts::{Pick, WeekSteps};
use crate::hub::{Hub, use_hub};
use crate::kit::{Button, ChoiceRow, DateField, EmptyState, Kind, Toaster};
use crate::platform::files;
use crate::screens::head;
use crate::words::{say, say_with};

/// Which report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Report {
    /// The week of one athlete.
    Week,
    /// The week of a squad.
    Squad,
    /// A session for the wall.
    Wall,
    /// Tables for a spreadsheet.
    Tables,
}

/// What the reports share.
#[derive(Debug, Clone, Copy)]
pub struct At {
    /// The hub.
    pub hub: Hub,
    /// Where is said what was done.
    pub toaster: Toaster,
    /// Today.
    pub today: Day,
    /// The week.
    pub monday: RwSignal<Day>,
    /// The day of a wall sheet.
    pub day: RwSignal<Option<Day>>,
    /// Whose week; empty while nobody is chosen.
    pub athlete: RwSignal<String>,
    /// Which squad; empty for all.
    pub squad: RwSignal<String>,
    /// The board of that week and squad.
    pub board: Asked<Board>,
}

/// Opens the browser's print.
pub fn print() {
    // Where a browser has none, nothing happens, as with its own menu.
    let _ = window().print();
}

/// Hands a table to the person.
pub fn download(toaster: Toaster, name: &str, text: &str) {
    match files::save(name, "text/csv;charset=utf-8", text.as_bytes()) {
        Ok(()) => toaster.say(say_with("reports.saved", &[("name", name)])),
        Err(error) => toaster.say(error.to_string()),
    }
}

/// The screen.
#[component]
pub fn Reports() -> impl IntoView {
    let hub = use_hub();
    head(say("way.reports"), say("reports.under"));
    let Some(today) = hub.today() else {
        return view! { <EmptyState title=say("coach.clock") text=say("coach.clock.text") /> }.into_any();
    };
    let (monday, squad) = (RwSignal::new(today.week_start()), RwSignal::new(String::new()));
    let which = RwSignal::new(Some(Report::Week));
    let path = Signal::derive(move || {
        Ask {
            monday: monday.get(),
            span: Span::One,
            today,
            squad: squad.get(),
            state: String::new(),
            after: String::new(),
            all: true,
        }
        .path()
    });
    let at = At {
        hub,
        toaster: Toaster::here(),
        today,
        monday,
        day: RwSignal::new(Some(today)),
        athlete: RwSignal::new(String::new()),
        squad,
        board: ask(hub, path),
    };
    let kinds = vec![
        (Report::Week, say("reports.week").to_owned()),
        (Report::Squad, say("reports.squad").to_owned()),
        (Report::Wall, say("reports.wall").to_owned()),
        (Report::Tables, say("reports.tables").to_owned()),
    ];
    let report = move || match which.get().unwrap_or(Report::Week) {
        Report::Week => view! { <week::Week at=at /> }.into_any(),
        Report::Squad => squad::squad(at).into_any(),
        Report::Wall => wall::wall(at).into_any(),
        Report::Tables => tables::tables(at).into_any(),
    };
    view! {
        <div class="stack">
            <div class="stack no-print">
                <ChoiceRow label=say("reports.which") options=kinds value=which />
                <Choices at=at which=which />
                <Button label=say("reports.print").to_owned() kind=Kind::Main on_press=print />
            </div>
            <div class="report">{report}</div>
        </div>
    }
    .into_any()
}

#[component]
fn Choices(at: At, which: RwSignal<Option<Report>>) -> impl IntoView {
    let squads = ask::<Squads>(at.hub, Signal::stored("/v1/squads".to_owned()));
    let squad_options = Signal::derive(move || {
        let mut all = vec![(String::new(), say("board.all-squads").to_owned())];
        all.extend(squads.get().unwrap_or_default().squads.into_iter().map(|s| (s.squad, s.name)));
        all
    });
    let athletes = Signal::derive(move || {
        let mut all = vec![(String::new(), say("reports.pick").to_owned())];
        all.extend(at.board.get().unwrap_or_default().athletes.into_iter().map(|a| (a.id, a.name)));
        all
    });
    let wall = move || which.get() == Some(Report::Wall);
    let one = move || matches!(which.get(), Some(Report::Week | Report::Tables));
    view! {
        <Show when=move || !wall()>
            <WeekSteps monday=at.monday weeks=Signal::stored(1) this_week=at.today.week_start() />
        </Show>
        <div class="choose">
            <Pick label=say("board.squad") options=squad_options value=at.squad />
            <Show when=one>
                <Pick label=say("board.athlete") options=athletes value=at.athlete />
            </Show>
            <Show when=wall>
                <DateField label=say("chart.day") value=at.day />
            </Show>
        </div>
    }
}
