//! Weeks as columns with a line over them, such as load done and load planned. A week of which nothing is known
//! is drawn as a gap with a word, never as a column of nothing.

use backstraight_core::base::day::Day;
use leptos::prelude::*;

use super::NoChart;
use super::days::value_text;
use super::draw::{Shape, Slab, Spot, dot, lane, line, slabs};
use super::frame::{Across, Around, Behind, KeyLine, Plot, across, dot_class, figure, grid};
use super::scale::{Scale, range, ticks};
use crate::kit::dates;
use crate::kit::screen::broad;
use crate::words::{say, say_n};

/// What there is of a week.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bar {
    /// A value.
    Known(f64),
    /// The week is over, and nothing is known of it.
    NotKnown,
    /// The week is still to come.
    ToCome,
}

impl Bar {
    fn value(self) -> Option<f64> {
        match self {
            Bar::Known(value) => Some(value),
            Bar::NotKnown | Bar::ToCome => None,
        }
    }

    fn text(self) -> String {
        match self {
            Bar::Known(value) => value_text(value),
            Bar::NotKnown => say("chart.not-known").to_owned(),
            Bar::ToCome => say("chart.to-come").to_owned(),
        }
    }
}

/// A week.
#[derive(Debug, Clone, PartialEq)]
pub struct Week {
    /// Its Monday.
    pub monday: Day,
    /// The column.
    pub bar: Bar,
    /// The line; `None` where there is none.
    pub line: Option<f64>,
    /// Whether it is this week.
    pub now: bool,
    /// What else there is to say, such as how much was not heard.
    pub note: String,
}

#[derive(Debug, Clone, PartialEq)]
struct Laid {
    across: Across,
    labels: Vec<(f64, String)>,
    bars: Vec<(bool, Slab)>,
    gaps: Vec<Slab>,
    trace: String,
    dots: Vec<String>,
}

fn lay(weeks: &[Week], plot: &Plot) -> Result<Laid, NoChart> {
    let values = || weeks.iter().flat_map(|w| w.bar.value().into_iter().chain(w.line));
    if values().next().is_none() {
        return Err(NoChart::Empty);
    }
    let (least, most) = range(values().chain([0.0]))?;
    let up = ticks(least, most, 4)?;
    let y = Scale::new(up.ends().0, up.ends().1, plot.foot, plot.top)?;
    let zero = y.at(0.0)?;
    let across = across(&up, &y)?;
    let tops =
        weeks.iter().map(|w| w.bar.value().map(|v| y.at(v)).transpose()).collect::<Result<Vec<_>, _>>()?;
    let places = slabs(&tops, plot.left, plot.right, zero);
    let bars = weeks.iter().zip(&places).filter_map(|(w, slab)| slab.map(|s| (w.now, s))).collect();
    let floor: Vec<Option<f64>> =
        weeks.iter().map(|w| (w.bar == Bar::NotKnown).then_some(plot.foot - 14.0)).collect();
    let gaps = slabs(&floor, plot.left, plot.right, plot.foot).into_iter().flatten().collect();
    let n = weeks.len();
    let middle = |i: usize| lane(2 * i + 1, 2 * n, plot.left, plot.right);
    let mut spots = Vec::new();
    for (i, week) in weeks.iter().enumerate() {
        spots.push(week.line.map(|v| Ok::<Spot, NoChart>(Spot { x: middle(i), y: y.at(v)? })).transpose()?);
    }
    let dots = spots.iter().flatten().map(|s| dot(Shape::of(1), *s, 3.5)).collect::<Result<Vec<_>, _>>()?;
    let every = n.div_ceil(usize::from(plot.days).max(1)).max(1);
    let labels = weeks
        .iter()
        .enumerate()
        .filter(|(i, _)| i % every == 0)
        .map(|(i, w)| (middle(i), dates::short(w.monday)))
        .collect();
    Ok(Laid { across, labels, bars, gaps, trace: line(&spots)?, dots })
}

/// Weeks as columns with a line.
#[component]
pub fn WeekBars(
    /// What it shows.
    #[prop(into)]
    title: String,
    /// What the columns are.
    #[prop(into)]
    bar: String,
    /// What the line is.
    #[prop(into, optional)]
    line: String,
    /// Unit of both.
    #[prop(into, optional)]
    unit: String,
    /// The weeks in their order.
    weeks: Vec<Week>,
    /// The sentence, where the screen knows a better one.
    #[prop(into, optional)]
    said: String,
) -> impl IntoView {
    let said = if said.is_empty() { sentence(&weeks, &bar, &unit) } else { said };
    let mut key = vec![KeyLine { i: 0, name: bar.clone(), joined: false, column: true }];
    if !line.is_empty() {
        key.push(KeyLine { i: 1, name: line.clone(), joined: true, column: false });
    }
    let behind = behind(&weeks, &bar, &line);
    let around = Around { title, said, key, band: None, behind };
    let wide = broad();
    move || {
        let plot = Plot::of(wide.get());
        let drawn = lay(&weeks, &plot).map(|laid| drawing(laid, &plot, &around.label()));
        figure("weeks", wide.get(), around.clone(), drawn)
    }
}

fn sentence(weeks: &[Week], bar: &str, unit: &str) -> String {
    let known: Vec<&Week> = weeks.iter().filter(|w| w.bar.value().is_some()).collect();
    let Ok((least, most)) = range(known.iter().filter_map(|w| w.bar.value())) else { return String::new() };
    let last = known.last().and_then(|w| w.bar.value()).unwrap_or(most);
    let n = u64::try_from(known.len()).unwrap_or(u64::MAX);
    let mut said = say_n(
        "chart.said-weeks",
        n,
        &[
            ("name", bar),
            ("least", &value_text(least)),
            ("most", &value_text(most)),
            ("last", &value_text(last)),
            ("unit", unit),
        ],
    );
    let silent = u64::try_from(weeks.iter().filter(|w| w.bar == Bar::NotKnown).count()).unwrap_or(u64::MAX);
    if silent > 0 {
        said.push(' ');
        said.push_str(&say_n("chart.said-silent", silent, &[]));
    }
    said
}

fn behind(weeks: &[Week], bar: &str, line: &str) -> Behind {
    let mut head = vec![say("chart.week").to_owned(), bar.to_owned()];
    if !line.is_empty() {
        head.push(line.to_owned());
    }
    let noted = weeks.iter().any(|w| !w.note.is_empty());
    if noted {
        head.push(say("chart.note").to_owned());
    }
    let rows = weeks
        .iter()
        .map(|w| {
            let mut row = vec![dates::full(w.monday), w.bar.text()];
            if !line.is_empty() {
                row.push(w.line.map_or_else(String::new, value_text));
            }
            if noted {
                row.push(w.note.clone());
            }
            row
        })
        .collect();
    Behind { head, rows }
}

fn drawing(laid: Laid, plot: &Plot, label: &str) -> AnyView {
    let (left, right, foot) = (plot.left, plot.right, plot.foot);
    let across = grid(laid.across, plot);
    let slab = |class: &'static str, s: Slab| {
        view! { <rect class=class x=s.x y=s.y width=s.width height=s.height></rect> }
    };
    let bars = laid
        .bars
        .into_iter()
        .map(|(now, s)| slab(if now { "column now" } else { "column" }, s))
        .collect_view();
    let gaps = laid
        .gaps
        .into_iter()
        .map(|s| {
            view! {
                {slab("lack", s)}
                <text class="middle" x=s.x + s.width / 2.0 y=s.y + 11.0>
                    "?"
                </text>
            }
        })
        .collect_view();
    let dots = laid.dots.into_iter().map(|d| view! { <path class=dot_class(1) d=d></path> }).collect_view();
    let labels = laid
        .labels
        .into_iter()
        .map(|(x, text)| {
            view! {
                <text class="middle" x=x y=foot + 18.0>
                    {text}
                </text>
            }
        })
        .collect_view();
    view! {
        <svg viewBox=plot.view_box() role="img" aria-label=label.to_owned()>
            {across}
            {bars}
            {gaps}
            <line class="axis" x1=left x2=right y1=foot y2=foot></line>
            <path class="trace s1" d=laid.trace></path>
            {dots}
            {labels}
        </svg>
    }
    .into_any()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn week(n: i32, bar: Option<f64>, line: Option<f64>) -> Week {
        let bar = bar.map_or(Bar::NotKnown, Bar::Known);
        let monday = "2026-11-02".parse::<Day>().unwrap().plus(7 * n);
        Week { monday, bar, line, now: false, note: String::new() }
    }

    const PLOT: Plot =
        Plot { width: 100.0, height: 100.0, left: 0.0, right: 80.0, top: 0.0, foot: 100.0, days: 2 };

    #[test]
    fn columns_stand_on_zero_and_silence_leaves_a_gap() {
        let weeks = [week(0, Some(40.0), Some(20.0)), week(1, None, None), week(2, Some(10.0), Some(40.0))];
        let laid = lay(&weeks, &PLOT).unwrap();
        assert_eq!(laid.across.last().map(|(_, t)| t.as_str()), Some("40"));
        let heights: Vec<f64> = laid.bars.iter().map(|(_, s)| s.height).collect();
        assert_eq!(heights, [100.0, 25.0]);
        assert_eq!(laid.gaps.len(), 1);
        assert_eq!(laid.trace, "M13.3 50M66.7 0");
        // Three weeks, two labels at most: the first and the third.
        assert_eq!(laid.labels.len(), 2);
        let coming = Week { bar: Bar::ToCome, ..week(3, None, Some(10.0)) };
        let laid = lay(&[week(2, Some(10.0), None), coming.clone()], &PLOT).unwrap();
        assert_eq!((laid.bars.len(), laid.gaps.len()), (1, 0));
        assert_eq!(
            sentence(&[week(2, Some(10.0), None), coming], "Load", "points"),
            "Load: 1 week, 10 points."
        );
    }

    #[test]
    fn what_cannot_be_drawn_says_why() {
        assert_eq!(lay(&[], &PLOT), Err(NoChart::Empty));
        assert_eq!(lay(&[week(0, None, None)], &PLOT), Err(NoChart::Empty));
        assert_eq!(lay(&[week(0, Some(f64::NAN), None)], &PLOT), Err(NoChart::NotFinite));
        assert_eq!(lay(&[week(0, Some(1.0), Some(f64::INFINITY))], &PLOT), Err(NoChart::NotFinite));
    }

    #[test]
    fn the_sentence_names_what_is_not_known() {
        let weeks = [week(0, Some(40.0), None), week(1, None, None), week(2, Some(10.5), None)];
        assert_eq!(
            sentence(&weeks, "Load", "points"),
            "Load: 2 weeks between 10.5 and 40 points; the last is 10.5 points. Of 1 week nothing is known."
        );
        assert_eq!(
            behind(&weeks, "Load", "").rows.get(1).map(|r| r.join("|")).as_deref(),
            Some("Mon 9 Nov 2026|not known")
        );
    }
}
