//! The athlete's own weeks: what was planned and what was done of it, session by session, from this phone's
//! documents.

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::view::screen::SessionScreen;
use backstraight_core::view::state::State;
use leptos::prelude::*;

use super::scene::Own;
use super::today;
use crate::hub::{Hub, use_hub};
use crate::kit::{Button, EmptyState, ErrorBox, Mark, Trouble, dates};
use crate::route::Route;
use crate::screens::head;
use crate::words::{say, say_with};

/// Days of a week.
const WEEK: i32 = 7;

/// Sessions of a week by day: of the plan, and those that nobody asked or that were done on another day.
#[must_use]
pub fn sessions(own: &Own, monday: Day) -> Vec<(Day, Key)> {
    let within = |day: Day| day >= monday && day < monday.plus(WEEK);
    let mut all: Vec<(Day, Key)> = own
        .plan
        .iter()
        .flat_map(|(_, plan)| &plan.sessions)
        .map(|s| (s.session.record.date, s.key()))
        .filter(|(day, _)| within(*day))
        .collect();
    for done in &own.done.sessions {
        let record = &done.session.record;
        let key = record.session.clone().unwrap_or_else(|| done.session.key());
        if within(record.date) && !all.iter().any(|(_, k)| *k == key) {
            all.push((record.date, key));
        }
    }
    all.sort();
    all
}

/// How a session of any day stands: the days before today that nothing was logged on were missed, those after
/// it are still to come.
#[must_use]
pub fn on_day(state: State, planned: Day, today: Day) -> State {
    match state {
        State::Due if planned > today => State::Coming,
        State::Due if planned < today => State::Missed,
        other => other,
    }
}

/// The screen.
#[component]
pub fn WeeksScreen() -> impl IntoView {
    let hub = use_hub();
    let own = Signal::derive_local(move || Own::read(hub).map_err(|e| e.to_string()));
    let chosen = RwSignal::new(None::<Day>);
    view! {
        {move || match own.get() {
            Ok(own) => {
                let monday = chosen.get().unwrap_or_else(|| own.day.week_start());
                week(hub, &own, monday, chosen).into_any()
            }
            Err(why) => {
                head(say("way.weeks"), "");
                let trouble = Trouble { what: why, todo: say("own.unreadable").to_owned() };
                view! { <ErrorBox trouble=trouble /> }.into_any()
            }
        }}
    }
}

fn week(hub: Hub, own: &Own, monday: Day, chosen: RwSignal<Option<Day>>) -> impl IntoView + use<> {
    let (first, last) = (dates::short(monday), dates::short(monday.plus(WEEK - 1)));
    head(say("way.weeks"), say_with("weeks.days", &[("first", &first), ("last", &last)]));
    let rows: Vec<AnyView> = sessions(own, monday)
        .into_iter()
        .filter_map(|(day, key)| Some(row(&own.screen(hub, &key, None)?, day, key, own.day).into_any()))
        .collect();
    let empty =
        rows.is_empty().then(|| view! { <EmptyState title=say("weeks.none") text=say("weeks.none.text") /> });
    let go = move |days: i32| chosen.set(Some(monday.plus(days)));
    view! {
        <div class="row">
            <Button label=say("weeks.before").to_owned() on_press=move || go(-WEEK) />
            <Button label=say("weeks.this").to_owned() on_press=move || chosen.set(None) />
            <Button label=say("weeks.after").to_owned() on_press=move || go(WEEK) />
        </div>
        <ul class="plain">{rows}</ul>
        {empty}
    }
}

fn row(screen: &SessionScreen, day: Day, key: Key, today: Day) -> impl IntoView + use<> {
    let (done, asked) = screen.progress();
    #[expect(clippy::cast_precision_loss, reason = "sets of a session")]
    let share = (asked > 0).then(|| done as f64 / asked as f64);
    let state = on_day(today::state(screen), day, today);
    let title = if screen.title.is_empty() { say("session.own").to_owned() } else { screen.title.clone() };
    let sets = (asked > 0)
        .then(|| say_with("weeks.sets", &[("done", &done.to_string()), ("asked", &asked.to_string())]));
    let comment = screen.begun.as_ref().and_then(|b| b.record.comment.as_ref()).map(ToString::to_string);
    view! {
        <li class="card">
            <p class="quiet">{dates::named(day)}</p>
            <h2><a href=Route::Session(key).href()>{title}</a></h2>
            <p><Mark state=state share=share with_word=true /></p>
            {sets.map(|text| view! { <p>{text}</p> })}
            {comment.map(|text| view! { <blockquote class="said">{text}</blockquote> })}
        </li>
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::rc::Rc;

    use backstraight_core::base::moment::Moment;
    use backstraight_core::doc::place::Place;
    use backstraight_core::doc::read::Entry;
    use backstraight_core::model::log::SessionDone;
    use backstraight_core::model::name::DocName;
    use backstraight_core::view::done::{Done, DoneSession};

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn done(n: u32, on: &str) -> DoneSession {
        let key: Key = format!("aaaaaa-{n}").parse().unwrap();
        let place = Place::of("sessions", &key);
        let record = SessionDone::new(day(on), Moment(1_795_600_800_000));
        let session = Entry { place, record, gone: None, unread: vec![], met: vec![] };
        let who = "018bcfe5-6800-7707-8707-070707070707".parse().unwrap();
        DoneSession { session, works: vec![], doc: DocName::Log(who, day(on).month()) }
    }

    #[test]
    fn a_week_holds_its_own_seven_days() {
        let sessions_done =
            vec![done(1, "2026-11-22"), done(2, "2026-11-23"), done(3, "2026-11-29"), done(4, "2026-11-30")];
        let own = Own {
            day: day("2026-11-25"),
            library: Rc::default(),
            plan: None,
            done: Rc::new(Done { sessions: sessions_done, ..Done::default() }),
        };
        let days: Vec<Day> = sessions(&own, day("2026-11-23")).into_iter().map(|(d, _)| d).collect();
        assert_eq!(days, [day("2026-11-23"), day("2026-11-29")]);
    }

    #[test]
    fn nothing_logged_is_due_today_missed_before_and_to_come_after() {
        let today = day("2026-11-25");
        assert_eq!(on_day(State::Due, today, today), State::Due);
        assert_eq!(on_day(State::Due, day("2026-11-24"), today), State::Missed);
        assert_eq!(on_day(State::Due, day("2026-11-26"), today), State::Coming);
        assert_eq!(on_day(State::Part, day("2026-11-24"), today), State::Part);
    }
}
