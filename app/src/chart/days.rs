//! Values over days: a line with a band, or dots. Several series, told apart by shape and dashes.

use backstraight_core::base::day::Day;
use leptos::prelude::*;

use super::NoChart;
use super::draw::{Shape, Spot, area, dot, line, place};
use super::frame::{Across, Around, Behind, KeyLine, Plot, across, class_of, dot_class, figure, grid};
use super::scale::{Scale, Ticks, day_ticks, number, range, ticks};
use crate::kit::dates;
use crate::kit::screen::broad;
use crate::words::{say, say_n, say_with};

/// A value of a day.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// The day.
    pub on: Day,
    /// The value.
    pub value: f64,
    /// What else there is to say, for the table.
    pub note: String,
}

/// Values that belong together, in the order of their days.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// What they are.
    pub name: String,
    /// The values.
    pub points: Vec<Point>,
    /// Whether a line joins them.
    pub joined: bool,
    /// The line breaks where more days than this lie between two values: silence is not drawn as a trend.
    pub break_after: Option<i32>,
}

/// A range behind the values: noise of the measurement, or what is usual.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// What it is.
    pub name: String,
    /// Day, lower and upper edge, in the order of days. With one entry it holds for all days.
    pub edges: Vec<(Day, f64, f64)>,
}

/// What is drawn, as text of attributes.
#[derive(Debug, Clone, PartialEq)]
struct Laid {
    across: Across,
    days: Vec<(String, String)>,
    band: Option<String>,
    traces: Vec<(usize, String)>,
    dots: Vec<(usize, String)>,
}

/// First and last day, and the round values along the side.
fn extent(series: &[Series], band: Option<&Band>, from_zero: bool) -> Result<(Day, Day, Ticks), NoChart> {
    let all = || series.iter().flat_map(|s| &s.points);
    let (first, last) = all().map(|p| p.on).min().zip(all().map(|p| p.on).max()).ok_or(NoChart::Empty)?;
    let edges = band.iter().flat_map(|b| &b.edges).flat_map(|(_, low, high)| [*low, *high]);
    let zero = from_zero.then_some(0.0);
    let (least, most) = range(all().map(|p| p.value).chain(edges).chain(zero))?;
    Ok((first, last, ticks(least, most, 4)?))
}

fn lay(series: &[Series], band: Option<&Band>, from_zero: bool, plot: &Plot) -> Result<Laid, NoChart> {
    let (first, last, up) = extent(series, band, from_zero)?;
    let span = f64::from(last.since(first));
    // Half a dot of room at both ends.
    let x = Scale::new(0.0, span, plot.left + 8.0, plot.right - 8.0)?;
    let y = Scale::new(up.ends().0, up.ends().1, plot.foot, plot.top)?;
    let spot = |on: Day, value: f64| {
        Ok::<Spot, NoChart>(Spot { x: x.at(f64::from(on.since(first)))?, y: y.at(value)? })
    };
    let across = across(&up, &y)?;
    let days = day_ticks(first, last, plot.days)
        .into_iter()
        .map(|d| Ok((place(x.at(f64::from(d.since(first)))?)?, dates::short(d))))
        .collect::<Result<Vec<_>, NoChart>>()?;
    let band = match band.map(|b| b.edges.as_slice()) {
        None | Some([]) => None,
        Some([(_, low, high)]) => Some(area(
            &[Spot { x: plot.left, y: y.at(*high)? }, Spot { x: plot.right, y: y.at(*high)? }],
            &[Spot { x: plot.left, y: y.at(*low)? }, Spot { x: plot.right, y: y.at(*low)? }],
        )?),
        Some(edges) => {
            let upper = edges.iter().map(|(d, _, v)| spot(*d, *v)).collect::<Result<Vec<_>, _>>()?;
            let lower = edges.iter().map(|(d, v, _)| spot(*d, *v)).collect::<Result<Vec<_>, _>>()?;
            Some(area(&upper, &lower)?)
        }
    };
    let (mut traces, mut dots) = (Vec::new(), Vec::new());
    for (i, one) in series.iter().enumerate() {
        let mut spots = Vec::new();
        let mut before: Option<Day> = None;
        for point in &one.points {
            let gap = before.map(|b| point.on.since(b));
            if gap.zip(one.break_after).is_some_and(|(gap, most)| gap > most) {
                spots.push(None);
            }
            let at = spot(point.on, point.value)?;
            spots.push(Some(at));
            dots.push((i, dot(Shape::of(i), at, 4.0)?));
            before = Some(point.on);
        }
        if one.joined {
            traces.push((i, line(&spots)?));
        }
    }
    Ok(Laid { across, days, band, traces, dots })
}

/// A value in a sentence or a table: at most two places, no needless zeros.
#[must_use]
pub fn value_text(value: f64) -> String {
    let text = number(value, 2);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The chart in a sentence.
fn sentence(series: &[Series], unit: &str) -> String {
    let mut out = Vec::new();
    for one in series {
        let values = range(one.points.iter().map(|p| p.value));
        let (Some(first), Some(last), Ok((least, most))) = (one.points.first(), one.points.last(), values)
        else {
            continue;
        };
        let n = u64::try_from(one.points.len()).unwrap_or(u64::MAX);
        out.push(say_n(
            "chart.said",
            n,
            &[
                ("name", &one.name),
                ("from", &dates::short(first.on)),
                ("to", &dates::short(last.on)),
                ("least", &value_text(least)),
                ("most", &value_text(most)),
                ("last", &value_text(last.value)),
                ("unit", unit),
            ],
        ));
    }
    out.join(" ")
}

fn behind(series: &[Series], unit: &str) -> Behind {
    let many = series.len() > 1;
    let value = if unit.is_empty() {
        say("chart.value").to_owned()
    } else {
        say_with("chart.value-in", &[("unit", unit)])
    };
    let mut head = vec![say("chart.day").to_owned(), value];
    let noted = series.iter().flat_map(|s| &s.points).any(|p| !p.note.is_empty());
    if many {
        head.insert(1, say("chart.series").to_owned());
    }
    if noted {
        head.push(say("chart.note").to_owned());
    }
    let mut all: Vec<(&Series, &Point)> =
        series.iter().flat_map(|s| s.points.iter().map(move |p| (s, p))).collect();
    all.sort_by_key(|(_, p)| p.on);
    let rows = all
        .into_iter()
        .map(|(s, p)| {
            let mut row = vec![dates::full(p.on), value_text(p.value)];
            if many {
                row.insert(1, s.name.clone());
            }
            if noted {
                row.push(p.note.clone());
            }
            row
        })
        .collect();
    Behind { head, rows }
}

/// Values over days, as lines with a band behind them or as dots.
#[component]
pub fn DayChart(
    /// What it shows.
    #[prop(into)]
    title: String,
    /// Unit of the values.
    #[prop(into, optional)]
    unit: String,
    /// The values.
    series: Vec<Series>,
    /// A range behind them.
    #[prop(optional_no_strip, into)]
    band: Option<Band>,
    /// Whether the axis begins at zero.
    #[prop(optional)]
    from_zero: bool,
    /// The sentence, where the screen knows a better one.
    #[prop(into, optional)]
    said: String,
) -> impl IntoView {
    let said = if said.is_empty() { sentence(&series, &unit) } else { said };
    let key = series
        .iter()
        .enumerate()
        .map(|(i, s)| KeyLine { i, name: s.name.clone(), joined: s.joined, column: false })
        .collect();
    let name = band.as_ref().map(|b| b.name.clone()).filter(|n| !n.is_empty());
    let around = Around { title, said, key, band: name, behind: behind(&series, &unit) };
    let wide = broad();
    move || {
        let plot = Plot::of(wide.get());
        let drawn = lay(&series, band.as_ref(), from_zero, &plot);
        let drawn = drawn.map(|laid| drawing(laid, &plot, &around.label()));
        figure("days", wide.get(), around.clone(), drawn)
    }
}

/// The drawing of what was laid out.
fn drawing(laid: Laid, plot: &Plot, label: &str) -> AnyView {
    let (left, right, foot) = (plot.left, plot.right, plot.foot);
    let across = grid(laid.across, plot);
    let days = laid
        .days
        .into_iter()
        .map(|(x, text)| {
            view! {
                <line class="axis" x1=x.clone() x2=x.clone() y1=foot y2=foot + 4.0></line>
                <text class="middle" x=x y=foot + 18.0>
                    {text}
                </text>
            }
        })
        .collect_view();
    let band = laid.band.map(|d| view! { <path class="band" d=d></path> });
    let traces = laid
        .traces
        .into_iter()
        .map(|(i, d)| view! { <path class=format!("trace {}", class_of(i)) d=d></path> })
        .collect_view();
    let dots =
        laid.dots.into_iter().map(|(i, d)| view! { <path class=dot_class(i) d=d></path> }).collect_view();
    view! {
        <svg viewBox=plot.view_box() role="img" aria-label=label.to_owned()>
            {band}
            {across}
            <line class="axis" x1=left x2=right y1=foot y2=foot></line>
            {days}
            {traces}
            {dots}
        </svg>
    }
    .into_any()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(n: i32) -> Day {
        "2026-11-02".parse::<Day>().unwrap().plus(n)
    }

    fn series(values: &[(i32, f64)]) -> Series {
        let points = values
            .iter()
            .map(|(n, value)| Point { on: day(*n), value: *value, note: String::new() })
            .collect();
        Series { name: "Body mass".to_owned(), points, joined: true, break_after: Some(5) }
    }

    const PLOT: Plot =
        Plot { width: 100.0, height: 100.0, left: 0.0, right: 116.0, top: 0.0, foot: 100.0, days: 3 };

    #[test]
    fn places_are_as_worked_out_by_hand() {
        // Ten days over 100 units from 8, values 0 to 4 over 100 units from below.
        let laid = lay(&[series(&[(0, 0.0), (2, 4.0), (10, 1.0)])], None, false, &PLOT).unwrap();
        // The eight days between the last two are more than five: the line breaks.
        assert_eq!(laid.traces, [(0, "M8 100L28 0M108 75".to_owned())]);
        let labels: Vec<&str> = laid.across.iter().map(|(_, t)| t.as_str()).collect();
        assert_eq!(labels, ["0", "1", "2", "3", "4"]);
        assert_eq!(laid.days, [("8".to_owned(), "2 Nov".to_owned()), ("78".to_owned(), "9 Nov".to_owned())]);
        assert_eq!(laid.dots.len(), 3);
    }

    #[test]
    fn a_band_widens_the_axis_and_spans_the_plot() {
        let band = Band { name: "usual".to_owned(), edges: vec![(day(0), 0.0, 8.0)] };
        let laid = lay(&[series(&[(0, 2.0), (1, 4.0)])], Some(&band), false, &PLOT).unwrap();
        assert_eq!(laid.band.as_deref(), Some("M0 0L116 0L116 100L0 100Z"));
        let edges = vec![(day(0), 0.0, 4.0), (day(1), 2.0, 4.0)];
        let band = Band { name: String::new(), edges };
        let laid = lay(&[series(&[(0, 2.0), (1, 4.0)])], Some(&band), false, &PLOT).unwrap();
        assert_eq!(laid.band.as_deref(), Some("M8 0L108 0L108 50L8 100Z"));
    }

    #[test]
    fn what_cannot_be_drawn_says_why() {
        assert_eq!(lay(&[], None, false, &PLOT), Err(NoChart::Empty));
        assert_eq!(lay(&[series(&[])], None, true, &PLOT), Err(NoChart::Empty));
        for bad in [f64::NAN, f64::INFINITY] {
            assert_eq!(lay(&[series(&[(0, 1.0), (1, bad)])], None, false, &PLOT), Err(NoChart::NotFinite));
            let band = Band { name: String::new(), edges: vec![(day(0), bad, 1.0)] };
            assert_eq!(lay(&[series(&[(0, 1.0)])], Some(&band), false, &PLOT), Err(NoChart::NotFinite));
        }
    }

    #[test]
    fn one_value_stands_in_the_middle() {
        let laid = lay(&[series(&[(3, 70.0)])], None, false, &PLOT).unwrap();
        assert!(laid.traces.iter().all(|(_, d)| d.starts_with("M58 ")), "{laid:?}");
    }

    #[test]
    fn the_sentence_and_the_table_hold_the_numbers() {
        let all = [series(&[(0, 70.10), (2, 72.456), (9, 71.0)])];
        assert_eq!(
            sentence(&all, "kg"),
            "Body mass: 3 values from 2 Nov to 11 Nov, between 70.1 and 72.46 kg; the last is 71 kg."
        );
        let table = behind(&all, "kg");
        assert_eq!(table.head, ["Day", "Value, kg"]);
        assert_eq!(
            table.rows.first().map(Vec::as_slice),
            Some(&["Mon 2 Nov 2026".to_owned(), "70.1".to_owned()][..])
        );
    }
}
