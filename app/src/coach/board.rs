//! The squad at a glance: athletes by days or weeks, a mark for each session. On a phone a list of athletes, each
//! with the days as a row of marks.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::view::state::State;
use leptos::prelude::*;

use super::answers::{Board as Answer, Cell, Line, Squads};
use super::asked::ask;
use super::board_rows::{Ask, Column, Span, cell_said, columns, figure, fits, in_column, signs};
use super::parts::{Pick, WeekSteps, span_text};
use crate::hub::use_hub;
use crate::kit::mark::word_of;
use crate::kit::screen::broad;
use crate::kit::{Button, Chip, ChoiceRow, EmptyState, Mark, MarksKey, TextField};
use crate::route::{Route, Section};
use crate::screens::head;
use crate::words::{say, say_n, say_with};

/// What was chosen on the board; it stays while the page is open, and an athlete's sessions begin with its week.
#[derive(Debug, Clone, Copy)]
pub struct Chosen {
    /// The first Monday; none before a screen was shown.
    pub monday: RwSignal<Option<Day>>,
    span: RwSignal<Option<Span>>,
    squad: RwSignal<String>,
    state: RwSignal<String>,
    search: RwSignal<String>,
}

impl Chosen {
    /// Gives it to all screens.
    pub fn provide() {
        let blank = || RwSignal::new(String::new());
        provide_context(Chosen {
            monday: RwSignal::new(None),
            span: RwSignal::new(Some(Span::One)),
            squad: blank(),
            state: blank(),
            search: blank(),
        });
    }
}

/// The board.
#[component]
pub fn Board() -> impl IntoView {
    let hub = use_hub();
    let Some(today) = hub.today() else {
        return view! { <EmptyState title=say("coach.clock") text=say("coach.clock.text") /> }.into_any();
    };
    let chosen = expect_context::<Chosen>();
    let monday = RwSignal::new(chosen.monday.get_untracked().unwrap_or_else(|| today.week_start()));
    Effect::new(move |_| chosen.monday.set(Some(monday.get())));
    let span = Signal::derive(move || chosen.span.get().unwrap_or(Span::One));
    // More weeks are looked at backwards: this week stays the last one.
    Effect::new(move |before: Option<Span>| {
        let now = span.get();
        if let Some(before) = before.filter(|b| *b != now) {
            monday.update(|m| *m = m.plus(7 * (before.weeks() - now.weeks())));
        }
        now
    });
    let after = RwSignal::new(String::new());
    let all = Memo::new(move |_| chosen.search.with(|s| !s.trim().is_empty()));
    let asks = Signal::derive(move || Ask {
        monday: monday.get(),
        span: span.get(),
        today,
        squad: chosen.squad.get(),
        state: chosen.state.get(),
        after: after.get(),
        all: all.get(),
    });
    // Another question begins with its first page.
    Effect::new(move |before: Option<(String, String, i32)>| {
        let now = (chosen.squad.get(), chosen.state.get(), span.get().weeks());
        if before.is_some_and(|b| b != now) {
            after.set(String::new());
        }
        now
    });
    let answer = ask::<Answer>(hub, Signal::derive(move || asks.with(Ask::path)));
    head(say("way.board"), "");
    Effect::new(move |_| head(say("way.board"), asks.with(|a| span_text(a.monday, a.to()))));
    let wide = broad();
    let said = RwSignal::new(String::new());
    let grid = move |board: &Answer| {
        let (asks, typed) = (asks.get(), chosen.search.get());
        let lines: Vec<Line> = board.athletes.iter().filter(|l| fits(&l.name, &typed)).cloned().collect();
        if lines.is_empty() {
            return nobody(&asks, &typed);
        }
        let columns = columns(&asks);
        let pending = (board.pending > 0).then(
            || view! { <p class="soft" role="status">{say_n("board.pending", board.pending, &[])}</p> },
        );
        let rows = if wide.get() {
            table(&lines, &columns, said).into_any()
        } else {
            list(&lines, &columns).into_any()
        };
        let next = board.next.clone().filter(|_| !asks.all);
        let first = (!asks.after.is_empty()).then(|| {
            view! { <Button label=say("board.first").to_owned() on_press=move || after.set(String::new()) /> }
        });
        let next = next.map(|id| {
            view! { <Button label=say("board.next").to_owned() on_press=move || after.set(id.clone()) /> }
        });
        view! { {rows} {pending} <div class="row no-print">{first}{next}</div> }.into_any()
    };
    view! {
        <div class="stack">
            <Choices chosen=chosen monday=monday span=span today=today />
            <p class="board-line" class:rail-hidden=move || !wide.get() aria-hidden="true">
                {move || said.with(|s| if s.is_empty() { say("board.line").to_owned() } else { s.clone() })}
            </p>
            {answer.shown(grid)}
            <details class="more">
                <summary>{say("board.key")}</summary>
                <div class="stack">
                    <MarksKey />
                    <p>{say("board.key.signs")}</p>
                    <p>{say("board.key.share")}</p>
                </div>
            </details>
        </div>
    }
    .into_any()
}

fn nobody(asks: &Ask, typed: &str) -> AnyView {
    if !typed.trim().is_empty() {
        return view! { <EmptyState title=say_with("board.no-name", &[("text", typed)]) text=say("board.no-name.text") /> }
            .into_any();
    }
    if !asks.squad.is_empty() || !asks.state.is_empty() {
        return view! { <EmptyState title=say("board.none-so") text=say("board.none-so.text") /> }.into_any();
    }
    let action = (say("board.empty.people").to_owned(), Route::People.href());
    view! { <EmptyState title=say("board.empty") text=say("board.empty.text") action=action /> }.into_any()
}

#[component]
fn Choices(chosen: Chosen, monday: RwSignal<Day>, span: Signal<Span>, today: Day) -> impl IntoView {
    let hub = use_hub();
    let squads = ask::<Squads>(hub, Signal::stored("/v1/squads".to_owned()));
    let squad_options = Signal::derive(move || {
        let mut all = vec![(String::new(), say("board.all-squads").to_owned())];
        all.extend(squads.get().unwrap_or_default().squads.into_iter().map(|s| (s.squad, s.name)));
        all
    });
    let state_options = Signal::derive(move || {
        let mut all = vec![(String::new(), say("board.all-states").to_owned())];
        all.extend(State::ALL.map(|s| (s.word().to_owned(), word_of(s).to_owned())));
        all
    });
    // On a desk there is room; on a phone athletes come first.
    let open = broad().get_untracked();
    let spans = [(Span::One, 1), (Span::Four, 4), (Span::Twelve, 12)];
    let spans = spans.map(|(s, n)| (s, say_n("board.weeks", n, &[]))).to_vec();
    view! {
        <WeekSteps monday=monday weeks=Signal::derive(move || span.get().weeks()) this_week=today.week_start() />
        <details class="more no-print" prop:open=open>
            <summary>{say("board.choose")}</summary>
            <div class="choose">
                <ChoiceRow label=say("board.span") options=spans value=chosen.span />
                <Pick label=say("board.squad") options=squad_options value=chosen.squad />
                <Pick label=say("board.state") options=state_options value=chosen.state />
                <TextField label=say("board.search") value=chosen.search input_type="search" most=60 />
            </div>
        </details>
    }
}

/// Where an athlete's name leads.
fn person(line: &Line) -> Option<PersonId> {
    line.id.parse().ok()
}

fn leads(line: &Line, section: Section) -> Option<String> {
    person(line).map(|id| Route::Athlete(id, section).href())
}

/// What stands beside a name: event group, availability, edits that met, silence.
fn beside(line: &Line) -> impl IntoView + use<> {
    let limited = line
        .availability
        .as_ref()
        .filter(|a| a.level != "full")
        .map(|a| view! { <Chip text=say_with("board.training", &[("level", &a.level)]) strong=true /> });
    let met = (line.met > 0).then(|| view! { <Chip text=say_n("board.met", line.met, &[]) brick=true /> });
    let silence = line.silence.clone().map(|words| view! { <span class="soft">{words}</span> });
    view! { <span class="soft">{line.events.clone()}</span> {limited} {met} {silence} }
}

fn mark(line: &Line, cell: &Cell, said: Option<RwSignal<String>>) -> impl IntoView + use<> {
    let words = cell_said(&line.name, cell);
    let share = cell.share.filter(|_| matches!(cell.state(), State::Part | State::Changed));
    let note = match share {
        Some(_) => format!("{}{}", super::answers::percent(share), signs(cell)),
        None => signs(cell),
    };
    let (state, share) = (cell.state(), cell.share);
    let (shown, heard) = (words.clone(), words.clone());
    let show = move || {
        if let Some(said) = said {
            said.set(shown.clone());
        }
    };
    let focus = show.clone();
    view! {
        <a
            class="board-cell"
            href=leads(line, Section::Sessions)
            aria-label=words
            title=heard
            on:focus=move |_| focus()
            on:pointerenter=move |_| show()
        >
            <Mark state=state share=share />
            <span class="board-note" aria-hidden="true">{note}</span>
        </a>
    }
}

fn table(lines: &[Line], columns: &[Column], said: RwSignal<String>) -> impl IntoView + use<> {
    let heads = columns
        .iter()
        .map(|c| {
            let class = if c.now { "now" } else { "" };
            view! { <th scope="col" class=class aria-current=c.now.then_some("date")>{c.head.clone()}</th> }
        })
        .collect_view();
    let rows = lines
        .iter()
        .map(|line| {
            let cells = columns
                .iter()
                .map(|c| {
                    let marks = in_column(line, c).map(|cell| mark(line, cell, Some(said))).collect_view();
                    view! { <td class:now=c.now><div class="board-cells">{marks}</div></td> }
                })
                .collect_view();
            view! {
                <tr>
                    <th scope="row">
                        <a class="name" href=leads(line, Section::Overview)>{line.name.clone()}</a>
                        <span class="beside">{beside(line)}</span>
                    </th>
                    {cells}
                    <td class="figure">{figure(line)}</td>
                </tr>
            }
        })
        .collect_view();
    view! {
        <div class="board-frame" tabindex="0" role="region" aria-label=say("way.board")>
            <table class="board">
                <caption class="hidden-text">{say("board.caption")}</caption>
                <thead>
                    <tr>
                        <th scope="col" class="corner">{say("board.athlete")}</th>
                        {heads}
                        <th scope="col" class="figure">{say("board.share")}</th>
                    </tr>
                </thead>
                <tbody>{rows}</tbody>
            </table>
        </div>
    }
}

fn list(lines: &[Line], columns: &[Column]) -> impl IntoView + use<> {
    let by_week = columns.first().is_some_and(|c| c.from != c.to);
    let items = lines
        .iter()
        .map(|line| {
            let lanes = columns
                .iter()
                .map(|c| {
                    let marks = in_column(line, c).map(|cell| mark(line, cell, None)).collect_view();
                    view! {
                        <li class:now=c.now>
                            <span class="lane-day" aria-hidden="true">{c.short.clone()}</span>
                            {marks}
                        </li>
                    }
                })
                .collect_view();
            view! {
                <li class="card board-card">
                    <div class="row apart">
                        <h2 class="bare"><a class="name" href=leads(line, Section::Overview)>{line.name.clone()}</a></h2>
                        <span class="value">{figure(line)}</span>
                    </div>
                    <div class="beside">{beside(line)}</div>
                    <ol class="lanes" class:by-week=by_week>{lanes}</ol>
                </li>
            }
        })
        .collect_view();
    view! { <ul class="board-list">{items}</ul> }
}
