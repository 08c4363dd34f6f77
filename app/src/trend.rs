//! Lines of values over days with the noise behind them: bar speed at the same load, and results of tests. What an
//! athlete sees of oneself and a coach of an athlete is drawn here once. Knows no document.

use backstraight_core::base::day::Day;
use backstraight_core::model::number::Measure;
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::marks::{Mark, Noises, Reading, TestSeries, series};
use backstraight_core::view::show;
use backstraight_core::view::speed::{Change, SpeedTrend, trends as speeds};
use backstraight_core::view::why::Lack;
use leptos::prelude::*;

use crate::chart::{Band, DayChart, Point, Series};
use crate::kit::{Chip, WhyButton, WhyParts};
use crate::words::{say, say_n, say_with};

/// Most charts of bar speed at once.
const MOST: usize = 8;
/// Values farther apart than this are not joined.
const BREAK: i32 = 21;

/// One line of values.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// What it shows.
    pub title: String,
    unit: String,
    points: Vec<Point>,
    band: Option<Band>,
    said: String,
    why: Option<WhyParts>,
}

/// Lines of one athlete.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trends {
    /// Bar speed at the same load, those of which most is known first.
    pub speeds: Vec<Drawn>,
    /// How many lines of bar speed are left out.
    pub left: usize,
    /// Results of tests, with what each test measures.
    pub tests: Vec<(Measure, Drawn)>,
}

impl Trends {
    /// Of what an athlete did up to a day.
    #[must_use]
    pub fn of(done: &Done, library: &Library, noises: &Noises, until: Day) -> Trends {
        let mut found = speeds(done, until);
        // Where most is known comes first; of equals the newest.
        found.sort_by_key(|t| {
            let last = t.days.last().map(|(d, _)| *d);
            (core::cmp::Reverse(t.days.len()), core::cmp::Reverse(last))
        });
        let measure = |t: &TestSeries| library.protocols.get(&t.protocol).map(|p| p.record.measure);
        let tests = series(done, library, noises, until);
        Trends {
            left: found.len().saturating_sub(MOST),
            speeds: found.iter().take(MOST).map(|t| of_speed(t, &library.exercise_name(&t.ex))).collect(),
            tests: tests
                .iter()
                .filter(|t| !t.days.is_empty())
                .filter_map(|t| Some((measure(t)?, of_test(t))))
                .collect(),
        }
    }
}

/// The band of noise around what was before, as far as it is known.
fn band(points: &[Point], change: &Result<Change, Lack>) -> Option<Band> {
    let (change, first) = (change.as_ref().ok()?, points.first()?);
    let edges = vec![(first.on, change.before - change.noise, change.before + change.noise)];
    Some(Band { name: say("trends.band").to_owned(), edges })
}

/// A change in words, with what it rests on; else why it cannot be told.
#[must_use]
pub fn told(change: &Result<Change, Lack>) -> (String, Option<WhyParts>) {
    match change {
        Ok(change) => (change.reading.to_owned(), Some(WhyParts::from(&change.why))),
        Err(lack) => (lack.words(), None),
    }
}

/// Wind in words; positive from behind, m/s.
#[must_use]
pub fn wind_words(wind: f64) -> String {
    say_with("tests.wind", &[("wind", &format!("{wind:+.1}"))])
}

/// That a mark had too much wind from behind, where it had.
pub fn wind_aided(yes: bool) -> Option<impl IntoView> {
    yes.then(|| view! { <Chip text=say("tests.wind-aided") /> })
}

/// How a change stands to the noise.
pub fn against_noise(beyond: bool) -> impl IntoView {
    let text = if beyond { say("tests.beyond") } else { say("tests.within") };
    view! { <Chip text=text strong=beyond /> }
}

/// What stood around a mark: wind and conditions.
#[must_use]
pub fn around(mark: &Mark) -> String {
    let wind = mark.wind.map(wind_words);
    wind.into_iter().chain(mark.conditions.clone()).collect::<Vec<_>>().join(", ")
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
    let points: Vec<Point> =
        test.days.iter().map(|m| Point { on: m.day, value: m.value, note: around(m) }).collect();
    let (said, why) = told(&test.change);
    let title = match test.read {
        Reading::Stiffness => say_with("trends.stiffness", &[("name", &test.name)]),
        Reading::Result => test.name.clone(),
    };
    Drawn { title, unit: test.unit.clone(), band: band(&points, &test.change), points, said, why }
}

/// How many lines of bar speed are not drawn, where there are such.
pub fn left_out(left: usize) -> Option<impl IntoView> {
    (left > 0).then(|| {
        let n = u64::try_from(left).unwrap_or(u64::MAX);
        view! { <p class="soft">{say_n("trends.left", n, &[])}</p> }
    })
}

/// A line, drawn, with its change in words.
pub fn chart(d: Drawn) -> impl IntoView {
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

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::key::Key;
    use backstraight_core::base::moment::Moment;
    use backstraight_core::doc::place::Place;
    use backstraight_core::doc::read::Entry;
    use backstraight_core::model::log::Trial;
    use backstraight_core::model::number::{Better, Text, Value, Wind};
    use backstraight_core::model::plan::Protocol;

    fn key(n: u32) -> Key {
        format!("abcdef-{n}").parse().unwrap()
    }

    fn entry<R>(root: &'static str, n: u32, record: R) -> Entry<R> {
        Entry { place: Place::of(root, &key(n)), record, gone: None, unread: vec![], met: vec![] }
    }

    #[test]
    fn a_test_is_drawn_with_its_noise_and_what_stood_around_it() {
        let protocol = Protocol {
            noise: Value::new(50).ok(),
            ..Protocol::new(Text::new("Run").unwrap(), Measure::Time, Better::Lower)
        };
        let library = Library {
            protocols: [(key(1), entry("protocols", 1, protocol))].into_iter().collect(),
            ..Library::default()
        };
        let trial = |n: u32, day: &str, ms: i64| {
            let record = Trial {
                value: Value::new(ms).ok(),
                wind: Wind::new(-1_300).ok(),
                conditions: Text::new("wet").ok(),
                ..Trial::new(day.parse().unwrap(), Moment(i64::from(n)), key(1))
            };
            entry("trials", n, record)
        };
        let trials = vec![trial(11, "2026-11-03", 8_100), trial(12, "2026-11-10", 7_850)];
        let done = Done { trials, ..Done::default() };
        let noises = Noises::of(&library, [&done]);
        let all = Trends::of(&done, &library, &noises, "2026-11-25".parse().unwrap());
        assert_eq!((all.speeds.len(), all.left, all.tests.len()), (0, 0, 1));
        let (measure, drawn) = &all.tests[0];
        assert_eq!((*measure, drawn.title.as_str(), drawn.unit.as_str()), (Measure::Time, "Run", "s"));
        assert_eq!(drawn.points[1].note, "wind -1.3 m/s, wet");
        let (_, low, high) = drawn.band.as_ref().unwrap().edges[0];
        assert!((low - 8.05).abs() < 1e-9 && (high - 8.15).abs() < 1e-9);
        assert!(drawn.said.contains("beyond noise") && drawn.why.is_some());
        let early = Trends::of(&done, &library, &noises, "2026-11-05".parse().unwrap());
        assert!(early.tests[0].1.band.is_none());
    }
}
