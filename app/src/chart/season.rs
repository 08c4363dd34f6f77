//! A season in a strip: phases by pattern and name, weeks, meets, tests, today.

use backstraight_core::base::day::Day;
use backstraight_core::model::number::Aim;
use leptos::prelude::*;

use super::NoChart;
use super::draw::{Shape, Spot, dot, line};
use super::frame::{Around, Behind, figure};
use super::scale::Scale;
use crate::kit::dates;
use crate::kit::screen::broad;
use crate::words::{say, say_n, say_with};

/// A phase.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Phase {
    /// Its title.
    pub title: String,
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// Its aim.
    pub aim: Aim,
}

/// What stands on a day of the season.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    /// A meet on the way.
    Meet,
    /// A meet for which everything is done.
    MainMeet,
    /// A test.
    Test,
}

impl When {
    fn text(self) -> &'static str {
        match self {
            When::Meet => say("chart.season.meet"),
            When::MainMeet => say("chart.season.main-meet"),
            When::Test => say("chart.season.test"),
        }
    }
}

/// A season.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Season {
    /// First day.
    pub first: Day,
    /// Last day.
    pub last: Day,
    /// Its phases.
    pub phases: Vec<Phase>,
    /// Meets and tests: day, title, which.
    pub days: Vec<(Day, String, When)>,
    /// Today, where it lies in the season.
    pub today: Option<Day>,
    /// The week on the desk, by its Monday.
    pub shown: Option<Day>,
}

/// Width of the strip on a phone and on a desk.
const NARROW: f64 = 340.0;
const BROAD: f64 = 760.0;
const HEIGHT: f64 = 104.0;
/// About how wide a letter is, to know whether a name fits.
const LETTER: f64 = 6.6;

#[derive(Debug, Clone, PartialEq)]
struct Laid {
    /// Left edge, width, aim, name where it fits.
    phases: Vec<(f64, f64, Aim, Option<String>)>,
    mondays: Vec<f64>,
    months: Vec<(f64, &'static str)>,
    /// Which, path, place of its name, name where it fits.
    days: Vec<(When, String, f64, Option<String>)>,
    today: Option<f64>,
    shown: Option<(f64, f64)>,
}

fn fits(text: &str, width: f64) -> bool {
    f64::from(u32::try_from(text.chars().count()).unwrap_or(u32::MAX)) * LETTER + 6.0 <= width
}

fn lay(season: &Season, width: f64) -> Result<Laid, NoChart> {
    let days = season.last.since(season.first) + 1;
    // A season has a year; a strip of more than three would show nothing.
    if !(1..=1_100).contains(&days) {
        return Err(NoChart::Empty);
    }
    let scale = Scale::new(0.0, f64::from(days), 2.0, width - 2.0)?;
    let x = |day: Day| scale.at(f64::from(day.since(season.first)));
    let inside = |day: Day| season.first <= day && day <= season.last;
    let mut phases = Vec::new();
    for phase in season.phases.iter().filter(|p| p.from <= season.last && p.to >= season.first) {
        let (left, right) = (x(phase.from)?, x(phase.to.plus(1))?);
        let name = fits(&phase.title, right - left).then(|| phase.title.clone());
        phases.push((left, right - left, phase.aim, name));
    }
    let (mut mondays, mut months) = (Vec::new(), Vec::new());
    let mut free = f64::MIN;
    for day in (0..days).map(|n| season.first.plus(n)) {
        if day.weekday_index() == 0 {
            mondays.push(x(day)?);
        }
        let at = x(day)?;
        if dates::of_month(day) == "1" && at >= free && at + 24.0 <= width {
            months.push((at, dates::month(day)));
            free = at + 34.0;
        }
    }
    let mut marked: Vec<&(Day, String, When)> = season.days.iter().filter(|(d, _, _)| inside(*d)).collect();
    marked.sort_by_key(|(day, _, _)| *day);
    let (mut days, mut free) = (Vec::new(), f64::MIN);
    for (day, title, when) in marked {
        let at = x(*day)?;
        let path = match when {
            When::Test => {
                let spot = |dx: f64, dy: f64| Some(Spot { x: at + dx, y: 71.0 + dy });
                line(&[spot(0.0, -5.5), spot(5.5, 0.0), spot(0.0, 5.5), spot(-5.5, 0.0)])? + "Z"
            }
            When::Meet | When::MainMeet => dot(Shape::Triangle, Spot { x: at, y: 72.0 }, 6.0)?,
        };
        let half = f64::from(u32::try_from(title.chars().count()).unwrap_or(999)) * LETTER / 2.0;
        let middle = at.clamp(half.min(width / 2.0), (width - half).max(width / 2.0));
        let room = middle - half >= free;
        if room {
            free = middle + half + 8.0;
        }
        days.push((*when, path, middle, room.then(|| title.clone())));
    }
    let today = season.today.filter(|d| inside(*d)).map(x).transpose()?;
    let shown = season.shown.filter(|d| inside(*d) || inside(d.plus(6)));
    let shown = shown.map(|d| Ok::<_, NoChart>((x(d)?, x(d.plus(7))?))).transpose()?;
    Ok(Laid { phases, mondays, months, days, today, shown })
}

fn sentence(season: &Season) -> String {
    let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
    let of = |wanted: &[When]| season.days.iter().filter(|(_, _, w)| wanted.contains(w)).count();
    say_with(
        "chart.season.said",
        &[
            ("from", &dates::full(season.first)),
            ("to", &dates::full(season.last)),
            ("phases", &say_n("chart.season.phases", count(season.phases.len()), &[])),
            ("meets", &say_n("chart.season.meets", count(of(&[When::Meet, When::MainMeet])), &[])),
            ("tests", &say_n("chart.season.tests", count(of(&[When::Test])), &[])),
        ],
    )
}

fn behind(season: &Season) -> Behind {
    let mut rows: Vec<(Day, Vec<String>)> =
        season
            .phases
            .iter()
            .map(|p| {
                let until = say_with("chart.season.until", &[("day", &dates::full(p.to))]);
                (p.from, vec![dates::full(p.from), p.title.clone(), format!("{}, {until}", p.aim)])
            })
            .chain(season.days.iter().map(|(day, title, when)| {
                (*day, vec![dates::full(*day), title.clone(), when.text().to_owned()])
            }))
            .collect();
    rows.sort_by_key(|(day, _)| *day);
    Behind {
        head: vec![
            say("chart.day").to_owned(),
            say("chart.season.what").to_owned(),
            say("chart.note").to_owned(),
        ],
        rows: rows.into_iter().map(|(_, row)| row).collect(),
    }
}

/// A season in a strip.
#[component]
pub fn SeasonStrip(
    /// What it shows.
    #[prop(into)]
    title: String,
    /// The season.
    season: Season,
) -> impl IntoView {
    let around = Around { title, said: sentence(&season), behind: behind(&season), ..Around::default() };
    let wide = broad();
    move || {
        let width = if wide.get() { BROAD } else { NARROW };
        let drawn = lay(&season, width).map(|laid| drawing(laid, width, &around.label()));
        figure("season", wide.get(), around.clone(), drawn)
    }
}

/// Strokes over a phase, so that phases differ without colour.
fn hatch(left: f64, width: f64, aim: Aim) -> String {
    let stroke = |x1: f64, y1: f64, x2: f64, y2: f64| {
        line(&[Some(Spot { x: x1, y: y1 }), Some(Spot { x: x2, y: y2 })]).unwrap_or_default()
    };
    let right = left + width;
    let mut out = String::new();
    match aim {
        Aim::Specific => {
            let mut x = left + 10.0;
            while x < right - 1.0 {
                out.push_str(&stroke(x, 24.0, x, 28.0));
                x += 10.0;
            }
        }
        Aim::Taper => {
            let mut x = left + 4.0;
            while x < right {
                out.push_str(&stroke(x, 24.0, x, 54.0));
                x += 4.0;
            }
        }
        Aim::Transition => {
            for y in [48.0, 51.0] {
                out.push_str(&stroke(left, y, right, y));
            }
        }
        Aim::General | Aim::Meets => {}
    }
    out
}

fn drawing(laid: Laid, width: f64, label: &str) -> AnyView {
    // Names stand above everything that may cross them.
    let mut names = Vec::new();
    let phases = laid
        .phases
        .into_iter()
        .map(|(x, w, aim, name)| {
            let class = match aim {
                Aim::Specific => "phase deep",
                Aim::Meets => "phase warm",
                Aim::General | Aim::Taper | Aim::Transition => "phase",
            };
            names.extend(name.map(|n| {
                view! {
                    <text class="middle strong" x=x + w / 2.0 y="43">
                        {n}
                    </text>
                }
            }));
            view! {
                <rect class=class x=x y="24" width=w height="30"></rect>
                <path class="hatch" d=hatch(x, w, aim)></path>
            }
        })
        .collect_view();
    let mondays = laid
        .mondays
        .into_iter()
        .map(|x| view! { <line class="axis" x1=x x2=x y1="54" y2="58"></line> })
        .collect_view();
    let months = laid
        .months
        .into_iter()
        .map(|(x, text)| {
            view! {
                <line class="grid" x1=x x2=x y1="10" y2="24"></line>
                <text x=x + 4.0 y="17">
                    {text}
                </text>
            }
        })
        .collect_view();
    let days = laid
        .days
        .into_iter()
        .map(|(when, path, x, name)| {
            let class = match when {
                When::Meet => "meet",
                When::MainMeet => "meet main",
                When::Test => "test",
            };
            let name = name.map(|n| {
                view! {
                    <text class="middle" x=x y="97">
                        {n}
                    </text>
                }
            });
            view! {
                <path class=class d=path></path>
                {name}
            }
        })
        .collect_view();
    let shown = laid
        .shown
        .map(|(a, b)| view! { <rect class="shown" x=a y="22" width=(b - a).max(2.0) height="37"></rect> });
    let today = laid.today.map(|x| view! { <line class="today" x1=x x2=x y1="18" y2="62"></line> });
    view! {
        <svg viewBox=format!("0 0 {width} {HEIGHT}") role="img" aria-label=label.to_owned()>
            {months}
            {phases}
            {mondays}
            {days}
            {shown}
            {today}
            {names}
        </svg>
    }
    .into_any()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn season() -> Season {
        let first = day("2026-11-02");
        Season {
            first,
            last: first.plus(95),
            phases: vec![
                Phase { title: "Base".into(), from: first, to: first.plus(47), aim: Aim::General },
                Phase { title: "Short".into(), from: first.plus(48), to: first.plus(50), aim: Aim::Taper },
            ],
            days: vec![
                (first.plus(24), "County".into(), When::Meet),
                (first.plus(25), "Hops".into(), When::Test),
                (first.plus(200), "Later".into(), When::MainMeet),
            ],
            today: Some(first.plus(48)),
            shown: Some(first.plus(7)),
        }
    }

    #[test]
    fn places_are_as_worked_out_by_hand() {
        // 96 days over 96 units from 2: a day is one unit.
        let laid = lay(&season(), 100.0).unwrap();
        let edges: Vec<(f64, f64)> = laid.phases.iter().map(|(x, w, _, _)| (*x, *w)).collect();
        assert_eq!(edges, [(2.0, 48.0), (50.0, 3.0)]);
        let named: Vec<bool> = laid.phases.iter().map(|(_, _, _, n)| n.is_some()).collect();
        assert_eq!(named, [true, false]);
        assert_eq!((laid.mondays.len(), laid.mondays.first()), (14, Some(&2.0)));
        assert_eq!(laid.today, Some(50.0));
        assert_eq!(laid.shown, Some((9.0, 16.0)));
        // The one beyond the season is not drawn; of two neighbours the first has a name.
        let names: Vec<Option<&str>> = laid.days.iter().map(|(_, _, _, n)| n.as_deref()).collect();
        assert_eq!(names, [Some("County"), None]);
    }

    #[test]
    fn a_season_that_ends_before_it_begins_is_not_drawn() {
        let mut odd = season();
        odd.last = odd.first.plus(-1);
        assert_eq!(lay(&odd, 100.0), Err(NoChart::Empty));
        odd.last = odd.first.plus(5_000);
        assert_eq!(lay(&odd, 100.0), Err(NoChart::Empty));
    }

    #[test]
    fn it_says_itself() {
        assert_eq!(sentence(&season()), "From Mon 2 Nov 2026 to Fri 5 Feb 2027: 2 phases, 2 meets, 1 test.");
        assert_eq!(behind(&season()).rows.len(), 5);
    }
}
