//! The athlete's own weeks: what was planned and what was done of it, session by session, from this phone's
//! documents.

use backstraight_core::base::day::Day;
use leptos::prelude::*;

use super::scene::{Judged, Own};
use crate::hub::use_hub;
use crate::kit::{Button, EmptyState, Mark, dates};
use crate::route::Route;
use crate::screens::{head, unreadable};
use crate::words::{say, say_with};

/// Days of a week.
const WEEK: i32 = 7;

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
                week(&own, monday, chosen).into_any()
            }
            Err(why) => {
                head(say("way.weeks"), "");
                unreadable(why)
            }
        }}
    }
}

fn week(own: &Own, monday: Day, chosen: RwSignal<Option<Day>>) -> impl IntoView + use<> {
    let sunday = monday.plus(WEEK - 1);
    let (first, last) = (dates::short(monday), dates::short(sunday));
    head(say("way.weeks"), say_with("weeks.days", &[("first", &first), ("last", &last)]));
    let rows: Vec<AnyView> = own.judged(monday, sunday).iter().map(|s| row(s).into_any()).collect();
    let empty =
        rows.is_empty().then(|| view! { <EmptyState title=say("weeks.none") text=say("weeks.none.text") /> });
    let go = move |days: i32| chosen.set(Some(monday.plus(days)));
    view! {
        <div class="stack">
            <div class="row">
                <Button label=say("weeks.before").to_owned() on_press=move || go(-WEEK) />
                <Button label=say("weeks.this").to_owned() on_press=move || chosen.set(None) />
                <Button label=say("weeks.after").to_owned() on_press=move || go(WEEK) />
            </div>
            <ul class="stack">{rows}</ul>
            {empty}
        </div>
    }
}

fn row(session: &Judged) -> impl IntoView + use<> {
    let (done, asked) = session.sets;
    let sets = (asked > 0)
        .then(|| say_with("weeks.sets", &[("done", &done.to_string()), ("asked", &asked.to_string())]));
    let href = Route::Session(session.key.clone()).href();
    view! {
        <li class="card stack tight">
            <p class="soft">{dates::named(session.day)}</p>
            <h2><a href=href>{session.title.clone()}</a></h2>
            <p><Mark state=session.state share=session.share with_word=true /></p>
            {sets.map(|text| view! { <p>{text}</p> })}
            {session.comment.clone().map(|text| view! { <blockquote>{text}</blockquote> })}
        </li>
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::rc::Rc;

    use backstraight_core::base::key::Key;
    use backstraight_core::base::moment::Moment;
    use backstraight_core::doc::place::Place;
    use backstraight_core::doc::read::Entry;
    use backstraight_core::model::log::SessionDone;
    use backstraight_core::model::name::DocName;
    use backstraight_core::view::done::{Done, DoneSession};
    use backstraight_core::view::plans::Plans;

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
            library: std::sync::Arc::default(),
            plans: Plans::default(),
            done: Rc::new(Done { sessions: sessions_done, ..Done::default() }),
        };
        let days: Vec<Day> = own.judged(day("2026-11-23"), day("2026-11-29")).iter().map(|s| s.day).collect();
        assert_eq!(days, [day("2026-11-23"), day("2026-11-29")]);
    }
}
