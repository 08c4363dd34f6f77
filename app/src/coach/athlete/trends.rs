//! Bar speed at the same load and hops over time, from this device's documents, with the noise behind the values.

use backstraight_core::science::Caution;
use backstraight_core::view::marks::{Noises, Reading, TestSeries, series};
use backstraight_core::view::show;
use backstraight_core::view::speed::{Change, SpeedTrend, trends as speeds};
use backstraight_core::view::why::Lack;
use leptos::prelude::*;

use super::At;
use crate::chart::{Band, DayChart, Point, Series};
use crate::error::AppError;
use crate::kit::{CautionBox, EmptyState, WhyButton, WhyParts};
use crate::screens::unreadable;
use crate::words::{say, say_n, say_with};

/// Most charts of bar speed at once.
const MOST: usize = 8;
/// Values farther apart than this are not joined.
const BREAK: i32 = 21;

/// What is drawn of one line of values.
#[derive(Debug, Clone, PartialEq)]
struct Drawn {
    title: String,
    unit: String,
    points: Vec<Point>,
    band: Option<Band>,
    said: String,
    why: Option<WhyParts>,
}

/// The band of noise around what was before, as far as it is known.
fn band(points: &[Point], change: &Result<Change, Lack>) -> Option<Band> {
    let (change, first) = (change.as_ref().ok()?, points.first()?);
    let edges = vec![(first.on, change.before - change.noise, change.before + change.noise)];
    Some(Band { name: say("trends.band").to_owned(), edges })
}

fn told(change: &Result<Change, Lack>) -> (String, Option<WhyParts>) {
    match change {
        Ok(change) => (change.reading.to_owned(), Some(WhyParts::from(&change.why))),
        Err(lack) => (lack.words(), None),
    }
}

fn of_speed(trend: &SpeedTrend, name: &str) -> Drawn {
    let points: Vec<Point> =
        trend.days.iter().map(|(on, value)| Point { on: *on, value: *value, note: String::new() }).collect();
    let (said, why) = told(&trend.change);
    Drawn {
        title: say_with("trends.speed-at", &[("name", name), ("load", &show::load(trend.load))]),
        unit: say("trends.speed-unit").to_owned(),
        band: band(&points, &trend.change),
        points,
        said,
        why,
    }
}

fn of_test(test: &TestSeries) -> Drawn {
    let points: Vec<Point> = test
        .days
        .iter()
        .map(|m| Point { on: m.day, value: m.value, note: m.conditions.clone().unwrap_or_default() })
        .collect();
    let (said, why) = told(&test.change);
    let title = match test.read {
        Reading::Stiffness => say_with("trends.stiffness", &[("name", &test.name)]),
        Reading::Result => test.name.clone(),
    };
    Drawn { title, unit: test.unit.clone(), band: band(&points, &test.change), points, said, why }
}

/// Everything that is drawn, and how many lines of bar speed are left out.
fn read(at: At) -> Result<(Vec<Drawn>, usize, Vec<Drawn>), AppError> {
    at.hub.read_with(|device, readings| {
        let library = readings.library(device)?;
        let done = readings.done(device, at.id, at.today)?;
        let mut found = speeds(&done, at.today);
        // Where most is known comes first; of equals the newest.
        found.sort_by_key(|t| {
            let last = t.days.last().map(|(d, _)| *d);
            (core::cmp::Reverse(t.days.len()), core::cmp::Reverse(last))
        });
        let left = found.len().saturating_sub(MOST);
        let bars = found.iter().take(MOST).map(|t| of_speed(t, &library.exercise_name(&t.ex))).collect();
        let noises = Noises::of(&library, [&done]);
        let tests = series(&done, &library, &noises, at.today);
        let hopped = |t: &&TestSeries| {
            let protocol = library.protocols.get(&t.protocol);
            protocol.is_some_and(|p| p.record.measure == backstraight_core::model::number::Measure::Hops)
                && !t.days.is_empty()
        };
        Ok((bars, left, tests.iter().filter(hopped).map(of_test).collect()))
    })
}

/// The part.
pub fn trends(at: At) -> impl IntoView {
    move || match read(at) {
        Err(error) => unreadable(error),
        Ok((bars, left, hops)) => {
            if bars.is_empty() && hops.is_empty() {
                return view! { <EmptyState title=say("trends.none") text=say("trends.none.text") /> }
                    .into_any();
            }
            let left = (left > 0).then(|| {
                let n = u64::try_from(left).unwrap_or(u64::MAX);
                view! { <p class="soft">{say_n("trends.left", n, &[])}</p> }
            });
            let (no_bars, no_hops) = (bars.is_empty(), hops.is_empty());
            view! {
                <section class="stack">
                    <h2>{say("trends.speed")}</h2>
                    <p>{say("trends.speed.text")}</p>
                    {no_bars.then(|| view! { <p class="soft">{say("trends.no-speed")}</p> })}
                    {bars.into_iter().map(chart).collect_view()}
                    {left}
                </section>
                <section class="stack">
                    <h2>{say("trends.hops")}</h2>
                    <CautionBox caution=Caution::JumpExposure />
                    {no_hops.then(|| view! { <p class="soft">{say("trends.no-hops")}</p> })}
                    {hops.into_iter().map(chart).collect_view()}
                </section>
            }
            .into_any()
        }
    }
}

fn chart(d: Drawn) -> impl IntoView {
    let series =
        vec![Series { name: d.title.clone(), points: d.points, joined: true, break_after: Some(BREAK) }];
    let of = d.title.clone();
    view! {
        <div class="stack tight">
            <DayChart title=d.title unit=d.unit series=series band=d.band />
            <p>{d.said} {d.why.map(|why| view! { <WhyButton of=of why=why /> })}</p>
        </div>
    }
}
