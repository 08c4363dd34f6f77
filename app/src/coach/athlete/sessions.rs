//! Sessions of a week: what was asked as the athlete saw it, what was done, set by set. Where the plan asks
//! something else by now, both are shown.

use leptos::prelude::*;

use super::super::answers::{Athlete, Item, Session, Set, percent};
use super::super::parts::WeekSteps;
use super::At;
use super::overview::met_here;
use crate::kit::{Chip, Column, DataTable, EmptyState, Mark, dates};
use crate::words::{say, say_n, say_with};

/// The part.
pub fn sessions(at: At) -> impl IntoView {
    view! {
        <WeekSteps monday=at.monday weeks=Signal::stored(1) this_week=at.today.week_start() />
        {at.answer.shown(move |answer| week(at, answer).into_any())}
    }
}

fn week(at: At, answer: &Athlete) -> impl IntoView + use<> {
    let nothing = answer
        .reviews
        .is_empty()
        .then(|| view! { <EmptyState title=say("sessions.none") text=say("sessions.none.text") /> });
    let met = (!answer.met_here.is_empty()).then(|| met_here(at, &answer.met_here));
    view! {
        {nothing}
        {answer.reviews.iter().map(session).collect_view()}
        {met}
    }
}

/// One session in full.
pub fn session(s: &Session) -> impl IntoView + use<> {
    let cell = &s.cell;
    let day = cell.day().map_or_else(|| cell.date.clone(), dates::named);
    let title = format!("{day}, {}", cell.title);
    let mut close = Vec::new();
    if let Some(minutes) = cell.minutes {
        close.push(say_with("board.minutes", &[("n", &minutes.to_string())]));
    }
    if let Some(effort) = cell.effort {
        close.push(say_with("sessions.effort", &[("n", &effort.to_string())]));
    }
    if let Some(on) = &cell.done_on {
        close.push(say_with("board.done-on", &[("day", &super::super::answers::day_text(on))]));
    }
    if let Some(why) = &s.left_out {
        close.push(say_with("session.skipped", &[("why", why)]));
    }
    let earlier = cell.earlier_version.then(|| view! { <Chip text=say("board.earlier") strong=true /> });
    let available = cell
        .availability
        .as_ref()
        .map(|level| view! { <Chip text=say_with("board.available", &[("level", level)]) /> });
    let swapped =
        (cell.swapped > 0).then(|| view! { <Chip text=say_n("board.swapped", cell.swapped, &[]) /> });
    let comment = s.comment.clone().map(|c| view! { <blockquote class="said">{c}</blockquote> });
    let columns = vec![
        Column::words(say("sessions.exercise")),
        Column::words(say("sessions.asked")),
        Column::words(say("sessions.done")),
        Column::figures(say("sessions.share")),
    ];
    let rows: Vec<Vec<AnyView>> =
        s.items.iter().map(item).chain((!s.unasked.is_empty()).then(|| unasked(&s.unasked))).collect();
    let table = (!rows.is_empty()).then(|| {
        let caption = say_with("sessions.caption", &[("title", &title)]);
        view! { <DataTable caption=caption columns=columns rows=rows /> }
    });
    view! {
        <article class="stack tight">
            <h2>{title.clone()}</h2>
            <div class="row">
                <Mark state=cell.state() share=cell.share with_word=true />
                {earlier}
                {swapped}
                {available}
            </div>
            <p>{close.join(", ")}</p>
            {comment}
            {table}
        </article>
    }
}

/// The name of an exercise as asked and as done.
fn exercise(item: &Item) -> String {
    match &item.done_exercise {
        Some(done) if *done != item.asked_exercise => {
            say_with("sessions.instead", &[("asked", &item.asked_exercise), ("done", done)])
        }
        _ => item.asked_exercise.clone(),
    }
}

fn item(item: &Item) -> Vec<AnyView> {
    let now = item
        .asks_now
        .clone()
        .map(|now| view! { <p class="soft">{say_with("sessions.now", &[("asked", &now)])}</p> });
    let how = (item.how != "as asked").then(|| view! { <p class="soft">{item.how.clone()}</p> });
    vec![
        exercise(item).into_any(),
        view! { <div class="asked">{item.asked.clone()} {now}</div> }.into_any(),
        view! { <div class="asked">{how}{sets(&item.sets)}</div> }.into_any(),
        percent(Some(item.share)).into_any(),
    ]
}

fn unasked(all: &[Set]) -> Vec<AnyView> {
    vec![
        say("sessions.unasked").into_any(),
        "".into_any(),
        view! { <div class="asked">{sets(all)}</div> }.into_any(),
        "".into_any(),
    ]
}

fn sets(all: &[Set]) -> impl IntoView + use<> {
    let one = |set: &Set| {
        let from = set
            .corrected_from
            .iter()
            .map(|e| view! { <p class="soft">{say_with("sessions.corrected", &[("from", e)])}</p> })
            .collect_view();
        let also = set
            .also_corrected_to
            .iter()
            .map(|e| view! { <p class="soft">{say_with("sessions.also", &[("to", e)])}</p> })
            .collect_view();
        view! { <li>{set.done.clone()} {from} {also}</li> }
    };
    view! { <ol class="set-list">{all.iter().map(one).collect_view()}</ol> }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn another_exercise_is_named_beside_the_asked_one() {
        let one = |done: Option<&str>| Item {
            asked_exercise: "Back squat".into(),
            done_exercise: done.map(Into::into),
            ..Item::default()
        };
        assert_eq!(exercise(&one(Some("Front squat"))), "Back squat, done as Front squat");
        assert_eq!(exercise(&one(Some("Back squat"))), "Back squat");
        assert_eq!(exercise(&one(None)), "Back squat");
    }
}
