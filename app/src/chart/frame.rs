//! What is around every drawing: its name, the sentence that says it, the key of its series, the table behind it,
//! and the reason where there is no drawing.

use leptos::prelude::*;

use super::NoChart;
use super::draw::{Shape, Spot, dot, place};
use super::scale::{Scale, Ticks};
use crate::words::say;

/// The size of a drawing and the room around its plot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plot {
    /// Width of the drawing.
    pub width: f64,
    /// Height of the drawing.
    pub height: f64,
    /// Left edge of the plot.
    pub left: f64,
    /// Right edge of the plot.
    pub right: f64,
    /// Upper edge of the plot.
    pub top: f64,
    /// Lower edge of the plot.
    pub foot: f64,
    /// About how many ticks stand along the days.
    pub days: u8,
}

impl Plot {
    /// For a phone.
    pub const NARROW: Plot =
        Plot { width: 340.0, height: 208.0, left: 44.0, right: 330.0, top: 14.0, foot: 182.0, days: 5 };
    /// For a desk.
    pub const BROAD: Plot =
        Plot { width: 760.0, height: 260.0, left: 52.0, right: 746.0, top: 14.0, foot: 232.0, days: 10 };

    /// The one for a screen.
    #[must_use]
    pub const fn of(broad: bool) -> Plot {
        if broad { Plot::BROAD } else { Plot::NARROW }
    }

    /// For the attribute `viewBox`.
    #[must_use]
    pub fn view_box(&self) -> String {
        format!("0 0 {} {}", self.width, self.height)
    }
}

/// The table behind a drawing. The first column names the row.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Behind {
    /// Heads of its columns.
    pub head: Vec<String>,
    /// Its rows.
    pub rows: Vec<Vec<String>>,
}

/// A line of the key: what a trace or dot of the series number `i` stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyLine {
    /// Number of the series.
    pub i: usize,
    /// Its name.
    pub name: String,
    /// Whether its dots are joined.
    pub joined: bool,
    /// Whether it stands for columns.
    pub column: bool,
}

/// The class by which a series gets its colour and dashes.
#[must_use]
pub fn class_of(i: usize) -> &'static str {
    ["s0", "s1", "s2", "s3"].get(i % 4).copied().unwrap_or("s0")
}

/// The class of a series' dots.
#[must_use]
pub fn dot_class(i: usize) -> String {
    let kind = if Shape::of(i) == Shape::Cross { "cross" } else { "dot full" };
    format!("{kind} {}", class_of(i))
}

/// Places and texts of the values that lines across a plot stand for.
pub(super) type Across = Vec<(String, String)>;

/// Where the lines of these values are.
pub(super) fn across(up: &Ticks, y: &Scale) -> Result<Across, NoChart> {
    up.at.iter().map(|v| Ok((place(y.at(*v)?)?, up.text(*v)))).collect()
}

/// The lines across a plot with their texts.
pub(super) fn grid(across: Across, plot: &Plot) -> AnyView {
    let (left, right) = (plot.left, plot.right);
    across
        .into_iter()
        .map(|(y, text)| {
            view! {
                <line class="grid" x1=left x2=right y1=y.clone() y2=y.clone()></line>
                <text class="end" x=left - 6.0 y=y dy="0.35em">
                    {text}
                </text>
            }
        })
        .collect_view()
        .into_any()
}

/// What stands around a drawing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Around {
    /// Its name.
    pub(super) title: String,
    /// It, in a sentence.
    pub(super) said: String,
    /// What its series are.
    pub(super) key: Vec<KeyLine>,
    /// What its shaded band is.
    pub(super) band: Option<String>,
    /// The table behind it.
    pub(super) behind: Behind,
}

impl Around {
    /// What the drawing is called by whoever cannot see it.
    pub(super) fn label(&self) -> String {
        format!("{}. {}", self.title, self.said)
    }
}

/// A chart around its drawing.
pub(super) fn figure(
    class: &'static str,
    broad: bool,
    around: Around,
    drawing: Result<AnyView, NoChart>,
) -> AnyView {
    let Around { title, said, key, band, behind } = around;
    let class = if broad { format!("chart broad {class}") } else { format!("chart {class}") };
    let (drawing, said) = match drawing {
        Ok(drawing) => (drawing, said),
        Err(why) => (view! { <p class="none">{why.words()}</p> }.into_any(), String::new()),
    };
    let said = (!said.is_empty()).then(|| view! { <p class="said">{said}</p> });
    let key = (key.len() > 1).then(|| {
        let lines = key.into_iter().map(key_line).collect_view();
        view! { <ul class="key">{lines}</ul> }
    });
    let band = band.map(|name| {
        view! {
            <p class="key">
                <svg viewBox="0 0 32 16" aria-hidden="true">
                    <rect class="band" x="2" y="1" width="28" height="14"></rect>
                </svg>
                {name}
            </p>
        }
    });
    let behind = (!behind.rows.is_empty()).then(|| table(&title, behind));
    view! {
        <figure class=class>
            <figcaption>{title}</figcaption>
            {said}
            {drawing}
            {key}
            {band}
            {behind}
        </figure>
    }
    .into_any()
}

fn key_line(line: KeyLine) -> AnyView {
    let KeyLine { i, name, joined, column } = line;
    let mark = if column {
        view! { <rect class="column" x="10" y="1" width="12" height="14"></rect> }.into_any()
    } else {
        let trace = joined
            .then(|| view! { <path class=format!("trace {}", class_of(i)) d="M1 8L31 8"></path> }.into_any());
        let path = dot(Shape::of(i), Spot { x: 16.0, y: 8.0 }, 4.5).unwrap_or_default();
        view! {
            <g>
                {trace}
                <path class=dot_class(i) d=path></path>
            </g>
        }
        .into_any()
    };
    view! {
        <li>
            <svg viewBox="0 0 32 16" aria-hidden="true">{mark}</svg>
            {name}
        </li>
    }
    .into_any()
}

/// The numbers, for whoever cannot see the drawing or wants them exactly.
fn table(title: &str, behind: Behind) -> AnyView {
    let head = behind.head.into_iter().map(|h| view! { <th scope="col">{h}</th> }).collect_view();
    let rows = behind
        .rows
        .into_iter()
        .map(|row| {
            let mut cells = row.into_iter();
            let first = cells.next().unwrap_or_default();
            let rest = cells.map(|c| view! { <td class="figure">{c}</td> }).collect_view();
            view! {
                <tr>
                    <th scope="row">{first}</th>
                    {rest}
                </tr>
            }
        })
        .collect_view();
    view! {
        <details class="more">
            <summary>{say("chart.table")}</summary>
            <div class="table-frame" tabindex="0" role="region" aria-label=title.to_owned()>
                <table>
                    <thead>
                        <tr>{head}</tr>
                    </thead>
                    <tbody>{rows}</tbody>
                </table>
            </div>
        </details>
    }
    .into_any()
}
