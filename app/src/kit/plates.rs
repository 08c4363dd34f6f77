//! The discs of one side of a bar, drawn.

use backstraight_core::model::number::Load;
use backstraight_core::view::resolve::OnTheBar;
use leptos::prelude::*;

use super::number::masses;
use crate::parse::{self, Masses};
use crate::words::{say, say_with};

/// Half the height and the width of a disc: heavier ones are larger, as they are in the rack.
#[must_use]
pub fn size(kg: f64) -> (f64, f64) {
    match kg {
        kg if kg >= 20.0 => (44.0, 18.0),
        kg if kg >= 15.0 => (40.0, 16.0),
        kg if kg >= 10.0 => (35.0, 14.0),
        kg if kg >= 5.0 => (26.0, 12.0),
        kg if kg >= 2.5 => (20.0, 9.0),
        _ => (14.0, 7.0),
    }
}

/// A mass for a disc or a bar, in the unit that is shown, without it.
fn bare(kg: f64, unit: Masses) -> String {
    #[expect(clippy::cast_possible_truncation, reason = "a load is 0 to 100,000 steps of 10 g")]
    let steps = (kg.clamp(0.0, 1_000.0) * 100.0).round() as i64;
    Load::new(steps).map_or_else(|_| String::new(), |load| parse::load_text(load, unit))
}

/// What is loaded, in a sentence.
#[must_use]
pub fn said(bar: &OnTheBar, unit: Masses) -> String {
    let masses = |kg: f64| format!("{} {}", bare(kg, unit), unit.unit());
    let total = masses(bar.total_kg);
    let Some(bar_kg) = bar.bar_kg else { return say_with("kit.discs.each", &[("mass", &total)]) };
    if bar.per_side_kg.is_empty() {
        return say_with("kit.discs.bare", &[("bar", &masses(bar_kg))]);
    }
    let discs: Vec<String> = bar.per_side_kg.iter().map(|kg| bare(*kg, unit)).collect();
    say_with(
        "kit.discs.said",
        &[("discs", &discs.join(", ")), ("unit", unit.unit()), ("bar", &masses(bar_kg)), ("total", &total)],
    )
}

/// One side of a loaded bar, heaviest disc inside.
#[component]
pub fn Plates(
    /// What is on the bar.
    bar: OnTheBar,
) -> impl IntoView {
    let masses = masses();
    move || drawing(&bar, masses.get())
}

fn drawing(bar: &OnTheBar, unit: Masses) -> AnyView {
    let said = said(bar, unit);
    if bar.bar_kg.is_none() || bar.per_side_kg.is_empty() {
        return view! { <p class="discs">{said}</p> }.into_any();
    }
    let mut x = 34.0;
    let mut discs = Vec::new();
    for kg in &bar.per_side_kg {
        let (half, width) = size(*kg);
        // A text needs more room than a thin disc.
        let room = width.max(26.0);
        let left = x + (room - width) / 2.0;
        let class = if *kg >= 15.0 { "disc solid" } else { "disc" };
        discs.push(view! {
            <rect class=class x=left y=50.0 - half width=width height=2.0 * half rx="3"></rect>
            <line class="ring" x1=left + width / 2.0 x2=left + width / 2.0 y1=54.0 - half y2=46.0 + half></line>
            <text x=x + room / 2.0 y="112">
                {bare(*kg, unit)}
            </text>
        });
        x += room + 4.0;
    }
    let end = (x + 26.0).max(240.0);
    view! {
        <figure class="discs">
            <svg viewBox=format!("0 0 {end} 118") role="img" aria-label=said.clone()>
                <rect class="bar" x="0" y="47" width="24" height="6"></rect>
                <rect class="bar" x="24" y="40" width="6" height="20"></rect>
                <rect class="bar" x="30" y="45" width=end - 34.0 height="10" rx="2"></rect>
                {discs}
            </svg>
            <figcaption class="soft">
                <span aria-hidden="true">{said}</span>
                <span class="hidden-text">{say("kit.discs.name")}</span>
            </figcaption>
        </figure>
    }
    .into_any()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(bar_kg: Option<f64>, per_side: &[f64], total_kg: f64) -> OnTheBar {
        OnTheBar { bar_kg, per_side_kg: per_side.to_vec(), total_kg }
    }

    #[test]
    fn a_loaded_bar_says_itself() {
        let loaded = bar(Some(20.0), &[25.0, 2.5, 1.25], 77.5);
        assert_eq!(
            said(&loaded, Masses::Kilograms),
            "On each side 25, 2.5, 1.25 kg; with the bar of 20 kg that makes 77.5 kg."
        );
        assert_eq!(said(&bar(Some(15.0), &[], 15.0), Masses::Kilograms), "The bar alone, 15 kg.");
        assert_eq!(said(&bar(None, &[], 12.5), Masses::Kilograms), "12.5 kg in each hand.");
        // 20.41 kg are 45 lb to the nearest twentieth.
        assert!(said(&bar(Some(20.41), &[20.41], 61.23), Masses::Pounds).starts_with("On each side 45 lb"));
    }

    #[test]
    fn heavier_discs_are_never_smaller() {
        let all = [0.5, 1.25, 2.5, 5.0, 10.0, 15.0, 20.0, 25.0].map(size);
        assert!(all.windows(2).all(|w| w[0].0 <= w[1].0 && w[0].1 <= w[1].1));
        assert!(bare(f64::NAN, Masses::Kilograms).len() < 8);
    }
}
