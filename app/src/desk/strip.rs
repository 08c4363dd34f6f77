//! The strip of a season over a plan desk.

use backstraight_core::base::day::Day;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::number::Priority;
use leptos::prelude::*;

use super::scene::Desk;
use super::week::At;
use crate::chart::{Phase, Season, SeasonStrip, When};
use crate::words::say;

/// The season of the first athlete: phases, meets and the squad's days.
#[component]
pub fn Strip(
    /// The desk.
    at: At,
) -> impl IntoView {
    let found = Memo::new(move |_| {
        let week = at.week.get();
        let desk = Desk::read(at.bench.hub, at.whose, week).ok()?;
        season(&desk, week, at.bench.hub.today())
    });
    move || found.get().map(|season| view! { <SeasonStrip title=say("desk.season") season=season /> })
}

fn season(desk: &Desk, week: Day, today: Option<Day>) -> Option<Season> {
    let plan = &desk.places.first()?.plan;
    let (first, last) = plan.span()?;
    let (first, last) = (first.week_start(), last.week_start().plus(6));
    let meets = desk.squad.meets.iter().map(|m| {
        let when = if m.record.priority == Priority::Main { When::MainMeet } else { When::Meet };
        (m.record.date, m.record.name.to_string(), when)
    });
    let tests = desk.squad.days.iter().map(|d| (d.record.date, d.record.title.to_string(), When::Test));
    let phase = |p: &Entry<backstraight_core::model::plan::Phase>| Phase {
        title: p.record.title.to_string(),
        from: p.record.from,
        to: p.record.to,
        aim: p.record.aim,
    };
    Some(Season {
        first,
        last,
        phases: plan.phases.iter().map(phase).collect(),
        days: meets.chain(tests).collect(),
        today,
        shown: Some(week),
    })
}
