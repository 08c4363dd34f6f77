//! The sheet of a day for the wall, from the plans on this device: what each athlete is asked, with the load it comes
//! to, and boxes to tick. Works without a connection once the board was read.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::view::plans::InPlan;
use backstraight_core::view::screen::{Scene, ScreenItem, SessionScreen};
use leptos::prelude::*;

use super::super::answers::{Board, Line};
use super::At;
use super::sheet::Sheet;
use crate::error::AppError;
use crate::kit::{CautionBox, EmptyState, dates};
use crate::screens::unreadable;
use crate::words::{say, say_with};

/// Most boxes behind an exercise.
const BOXES: usize = 10;

/// The sheet.
pub fn wall(at: At) -> impl IntoView {
    at.board.shown(move |board| match at.day.get() {
        None => view! { <EmptyState title=say("wall.no-day") text=say("wall.no-day.text") /> }.into_any(),
        Some(day) => match all(at, board, day) {
            Ok(found) if found.is_empty() => {
                view! { <EmptyState title=say("wall.none") text=say("wall.none.text") /> }.into_any()
            }
            Ok(found) => {
                let athletes =
                    found.into_iter().map(|(name, screens)| athlete(&name, &screens)).collect_view();
                view! {
                    <Sheet title=say("wall.title") under=dates::full(day)>
                        <div class="wall">{athletes}</div>
                    </Sheet>
                }
                .into_any()
            }
            Err(error) => unreadable(error),
        },
    })
}

/// Everybody who has a session on that day, with the sessions.
fn all(at: At, board: &Board, day: Day) -> Result<Vec<(String, Vec<SessionScreen>)>, AppError> {
    let mut out = Vec::new();
    for line in &board.athletes {
        let screens = screens(at, line, day)?;
        if !screens.is_empty() {
            out.push((line.name.clone(), screens));
        }
    }
    Ok(out)
}

fn screens(at: At, line: &Line, day: Day) -> Result<Vec<SessionScreen>, AppError> {
    let Ok(person) = line.id.parse::<PersonId>() else { return Ok(Vec::new()) };
    at.hub.read_with(|device, readings| {
        let plans = readings.plans(device, person)?;
        let asked = plans.on(day);
        if asked.is_empty() {
            return Ok(Vec::new());
        }
        let library = readings.library(device)?;
        let done = readings.done(device, person, day)?;
        let scene = Scene { plans: &plans, done: &done, library: &library, venue: None, day };
        let screen = |s: &InPlan<'_>| SessionScreen::planned(&scene, &s.planned.key(), at.hub.now());
        Ok(asked.iter().filter_map(screen).collect())
    })
}

fn athlete(name: &str, screens: &[SessionScreen]) -> impl IntoView + use<> {
    let sessions = screens
        .iter()
        .map(|s| {
            let notes = s.notes.iter().map(|n| view! { <p>{n.clone()}</p> }).collect_view();
            // A wall is read by everybody: what care staff said stands on the coach's screen and the athlete's phone.
            let limits = s
                .limits
                .as_ref()
                .map(|l| view! { <div class="no-print"><CautionBox text=l.words() /></div> });
            let groups = s
                .groups
                .iter()
                .map(|g| {
                    let items = g.items.iter().map(item).collect_view();
                    let rounds = g.group.rounds.map(|n| {
                        view! { <p class="soft">{say_with("group.rounds", &[("n", &n.get().to_string())])}</p> }
                    });
                    view! { <li class="wall-group">{rounds}<ul>{items}</ul></li> }
                })
                .collect_view();
            view! {
                <p class="label">{s.title.clone()}</p>
                {limits}
                {notes}
                <ol class="wall-groups">{groups}</ol>
            }
        })
        .collect_view();
    view! {
        <section class="together wall-card">
            <h3>{name.to_owned()}</h3>
            {sessions}
        </section>
    }
}

fn item(item: &ScreenItem) -> impl IntoView + use<> {
    let boxes = (0..item.asked.min(BOXES)).map(|_| view! { <span class="tick"></span> }).collect_view();
    let lack = item.resolved.missing.as_ref().and(item.resolved.fallback.clone());
    let caution = item.shown.caution.clone().map(|c| view! { <p class="soft">{c}</p> });
    view! {
        <li>
            <span class="value">{item.shown.name.clone()}</span>
            " "
            <span>{item.shown.words.clone()}</span>
            {lack.map(|text| view! { <p class="soft">{text}</p> })}
            {caution}
            <div class="ticks" aria-hidden="true">{boxes}</div>
        </li>
    }
}
