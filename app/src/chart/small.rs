//! A line the size of a word, for a cell or a list.

use leptos::prelude::*;

use super::NoChart;
use super::draw::{Shape, Spot, dot, lane, line};
use super::scale::{Scale, range};

const WIDTH: f64 = 88.0;
const HEIGHT: f64 = 24.0;

/// The line, and the dot at its end.
fn lay(values: &[f64]) -> Result<(String, String), NoChart> {
    let (least, most) = range(values.iter().copied())?;
    let y = Scale::new(least, most, HEIGHT - 4.0, 4.0)?;
    let n = values.len().saturating_sub(1).max(1);
    let spots = values
        .iter()
        .enumerate()
        .map(|(i, v)| Ok(Some(Spot { x: lane(i, n, 4.0, WIDTH - 5.0), y: y.at(*v)? })))
        .collect::<Result<Vec<_>, NoChart>>()?;
    let last = spots.last().copied().flatten().ok_or(NoChart::Empty)?;
    Ok((line(&spots)?, dot(Shape::Disc, last, 3.0)?))
}

/// A small line of values in their order. Where there is nothing to draw, the reason stands there.
#[component]
pub fn Spark(
    /// The values.
    values: Vec<f64>,
    /// What it shows, in a sentence.
    #[prop(into)]
    said: String,
) -> impl IntoView {
    match lay(&values) {
        Ok((trace, last)) => view! {
            <svg class="spark" viewBox=format!("0 0 {WIDTH} {HEIGHT}") role="img" aria-label=said>
                <path class="trace" d=trace></path>
                <path class="last" d=last></path>
            </svg>
        }
        .into_any(),
        Err(why) => view! { <span class="soft">{why.words()}</span> }.into_any(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_as_worked_out_by_hand() {
        let (trace, _) = lay(&[1.0, 3.0, 2.0]).unwrap();
        assert_eq!(trace, "M4 20L43.5 4L83 12");
        assert_eq!(lay(&[5.0]).unwrap().0, "M4 12");
    }

    #[test]
    fn what_cannot_be_drawn_says_why() {
        assert_eq!(lay(&[]), Err(NoChart::Empty));
        assert_eq!(lay(&[1.0, f64::NAN]), Err(NoChart::NotFinite));
    }
}
