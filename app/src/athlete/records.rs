//! The athlete's own best marks by test and season, and how results and bar speed went over time. From this phone's
//! documents, as far back as they reach.

use backstraight_core::base::day::Day;
use backstraight_core::model::number::Measure;
use backstraight_core::science::Caution;
use backstraight_core::view::marks::Noises;
use backstraight_core::view::records::{Personal, personal_by_season};
use leptos::prelude::*;

use crate::coach::parts::Pick;
use crate::coach::records::{ALL_TIME, newest_first, season_choices};
use crate::error::AppError;
use crate::hub::{Hub, use_hub};
use crate::kit::{CautionBox, Column, DataTable, EmptyState, WhyButton, dates};
use crate::route::Route;
use crate::screens::{head, unreadable};
use crate::trend::{Trends, against_noise, around, chart, left_out, told, wind_aided};
use crate::trial::figure;
use crate::words::{say, say_with};

#[derive(Debug, Clone, PartialEq, Default)]
struct Seen {
    bests: Vec<Personal>,
    trends: Trends,
}

fn read(hub: Hub) -> Result<Seen, AppError> {
    hub.read_with(|device, readings| {
        let (today, person) = (device.today()?, device.identity().person);
        let library = readings.library(device)?;
        let done = readings.all_done(device, person)?;
        let noises = Noises::of(&library, [&done]);
        Ok(Seen {
            bests: personal_by_season(&done, &library, &noises, today),
            trends: Trends::of(&done, &library, &noises, today),
        })
    })
}

/// Seasons in which there is a best mark, the newest first.
#[must_use]
pub fn seasons(bests: &[Personal]) -> Vec<u16> {
    newest_first(bests.iter().filter_map(|b| b.season))
}

/// The bests of a season; of all of them for [`ALL_TIME`].
#[must_use]
pub fn of_season<'a>(bests: &'a [Personal], season: &str) -> Vec<&'a Personal> {
    let year = season.parse::<u16>().ok();
    bests.iter().filter(|b| b.season == year).collect()
}

/// The day of a best mark, and those on which it was equalled.
#[must_use]
pub fn days(best: Day, again: &[Day]) -> String {
    let first = dates::full(best);
    if again.is_empty() {
        return first;
    }
    let again: Vec<String> = again.iter().map(|d| dates::full(*d)).collect();
    say_with("own-records.again", &[("day", &first), ("again", &again.join("; "))])
}

/// The screen.
#[component]
pub fn OwnRecords() -> impl IntoView {
    let hub = use_hub();
    head(say("way.records"), say("own-records.under"));
    let season = RwSignal::new(ALL_TIME.to_owned());
    // Drawn anew only when something differs: an exchange closes no table and moves no reader.
    let seen = Memo::new(move |_| read(hub).map_err(|e| e.to_string()));
    move || match seen.get() {
        Err(why) => unreadable(why),
        Ok(seen) if seen.bests.is_empty() && seen.trends == Trends::default() => {
            let action = (say("way.tests").to_owned(), Route::Tests.href());
            view! { <EmptyState title=say("records.none") text=say("own-records.none") action=action /> }
                .into_any()
        }
        Ok(seen) => view! {
            <div class="stack part">
                {bests(seen.bests, season)}
                {trends(seen.trends)}
            </div>
        }
        .into_any(),
    }
}

fn bests(all: Vec<Personal>, season: RwSignal<String>) -> impl IntoView {
    if all.is_empty() {
        return view! { <p class="soft">{say("own-records.none")}</p> }.into_any();
    }
    let options = season_choices(&seasons(&all));
    let table = move || {
        let columns = vec![
            Column::words(say("records.test")),
            Column::figures(say("tests.best")),
            Column::words(say("tests.on")),
            Column::words(say("tests.before")),
            Column::words(say("tests.change")),
            Column::words(say("trial.conditions")),
        ];
        let rows = season.with(|s| of_season(&all, s).into_iter().map(row).collect());
        view! { <DataTable caption=say("own-records.caption") columns=columns rows=rows /> }
    };
    view! {
        <section class="stack">
            <h2>{say("own-records.title")}</h2>
            <Pick label=say("records.of") options=Signal::stored(options) value=season />
            {table}
        </section>
    }
    .into_any()
}

fn row(b: &Personal) -> Vec<AnyView> {
    let value = |v: f64| format!("{} {}", figure(v), b.unit).trim_end().to_owned();
    let before = b.before.as_ref().map_or_else(
        || say("coach.none").to_owned(),
        |m| say_with("tests.value-on", &[("value", &value(m.value)), ("day", &dates::full(m.day))]),
    );
    let beyond = b.change.as_ref().ok().map(|c| against_noise(c.beyond_noise));
    let (said, why) = told(&b.change);
    let why = why.map(|why| view! { <WhyButton of=b.test.clone() why=why /> });
    let around = around(&b.best);
    let around = if around.is_empty() { say("coach.none").to_owned() } else { around };
    vec![
        b.test.clone().into_any(),
        view! { <span class="value">{value(b.best.value)}</span> " " {wind_aided(b.wind_aided)} }.into_any(),
        days(b.best.day, &b.again).into_any(),
        before.into_any(),
        view! { <span>{beyond} " " {said}</span> {why} }.into_any(),
        around.into_any(),
    ]
}

fn trends(all: Trends) -> impl IntoView {
    let hops = all.tests.iter().any(|(measure, _)| *measure == Measure::Hops);
    let caution = hops.then(|| view! { <CautionBox caution=Caution::JumpExposure /> });
    let tests = (!all.tests.is_empty()).then(|| {
        view! {
            <section class="stack">
                <h2>{say("own-records.tests")}</h2>
                <p>{say("own-records.tests.text")}</p>
                {caution}
                {all.tests.into_iter().map(|(_, drawn)| chart(drawn)).collect_view()}
            </section>
        }
    });
    let none = all.speeds.is_empty().then(|| view! { <p class="soft">{say("trends.no-speed")}</p> });
    view! {
        {tests}
        <section class="stack">
            <h2>{say("trends.speed")}</h2>
            <p>{say("own-records.speed.text")}</p>
            {none}
            {all.speeds.into_iter().map(chart).collect_view()}
            {left_out(all.left)}
        </section>
    }
}

#[cfg(test)]
mod checks {
    use super::*;
    use backstraight_core::base::key::Key;
    use backstraight_core::view::marks::Mark;
    use backstraight_core::view::why::Lack;

    fn best(season: Option<u16>) -> Personal {
        let key: Key = "abcdef-1".parse().unwrap();
        let mark = Mark {
            trial: key.clone(),
            day: "2026-11-20".parse().unwrap(),
            value: 2.61,
            wind: None,
            conditions: None,
            by_coach: false,
            formula: None,
        };
        Personal {
            protocol: key,
            test: "Jump".into(),
            unit: "m".into(),
            season,
            wind_aided: false,
            best: mark,
            again: Vec::new(),
            before: None,
            change: Err(Lack::Nothing { what: "earlier mark" }),
        }
    }

    #[test]
    fn seasons_are_told_apart_and_stand_newest_first() {
        let all = [best(None), best(Some(2026)), best(Some(2027)), best(Some(2026))];
        assert_eq!(seasons(&all), [2027, 2026]);
        assert_eq!(of_season(&all, ALL_TIME).len(), 1);
        assert_eq!(of_season(&all, "2026").len(), 2);
        assert!(of_season(&all, "2020").is_empty());
    }

    #[test]
    fn a_mark_that_was_equalled_names_every_day() {
        let day = |t: &str| t.parse::<Day>().unwrap();
        assert_eq!(days(day("2026-11-20"), &[]), "Fri 20 Nov 2026");
        let text = days(day("2026-11-20"), &[day("2026-11-24"), day("2026-11-27")]);
        assert_eq!(text, "Fri 20 Nov 2026; equalled on Tue 24 Nov 2026; Fri 27 Nov 2026");
    }
}
