//! "Why?": what a figure is made of, opened beside it.

use backstraight_core::view::why::Why;
use leptos::prelude::*;

use super::dates;
use super::standing::CautionBox;
use crate::chart::days::value_text;
use crate::words::{say, say_with};

/// What a figure is made of, as rows of label and value.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WhyParts {
    /// The rule in a line.
    pub rule: String,
    /// Where the rule comes from.
    pub source: String,
    /// What went in.
    pub rows: Vec<(String, String)>,
    /// Remarks on this result.
    pub notes: Vec<String>,
    /// The caution to show beside it.
    pub caution: Option<backstraight_core::science::Caution>,
}

impl From<&Why> for WhyParts {
    fn from(why: &Why) -> WhyParts {
        let row = |part: &backstraight_core::view::why::Part| {
            let value = format!("{} {}", value_text(part.value), part.unit);
            let value = value.trim_end().to_owned();
            let value = match part.on {
                Some(day) => say_with("kit.why.on", &[("value", &value), ("day", &dates::full(day))]),
                None => value,
            };
            (part.name.clone(), value)
        };
        WhyParts {
            rule: why.rule.to_owned(),
            source: why.source.to_owned(),
            rows: why.parts.iter().map(row).collect(),
            notes: why.notes.iter().map(|n| (*n).to_owned()).collect(),
            caution: why.caution,
        }
    }
}

impl WhyParts {
    /// From steps that are told line by line.
    #[must_use]
    pub fn of_lines(lines: Vec<String>) -> WhyParts {
        WhyParts { notes: lines, ..WhyParts::default() }
    }
}

/// A small button "why?" that opens the parts of a figure.
#[component]
pub fn WhyButton(
    /// Of what, for whoever hears the button without seeing what is beside it.
    #[prop(into)]
    of: String,
    /// The parts.
    #[prop(into)]
    why: WhyParts,
) -> impl IntoView {
    let row = |(label, value): (String, String)| {
        view! {
            <dt>{label}</dt>
            <dd>{value}</dd>
        }
    };
    let rows = why.rows.into_iter().map(row).collect_view();
    let source = (!why.source.is_empty())
        .then(|| view! { <p class="soft">{say_with("kit.why.source", &[("source", &why.source)])}</p> });
    let notes = why.notes.into_iter().map(|note| view! { <p>{note}</p> }).collect_view();
    let caution = why.caution.map(|c| view! { <CautionBox caution=c /> });
    view! {
        <details class="why">
            <summary>
                {say("kit.why")} <span class="hidden-text">{of}</span>
            </summary>
            <div class="why-parts">
                <dl>{rows}</dl>
                <p>{why.rule}</p>
                {notes}
                {source}
                {caution}
            </div>
        </details>
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::view::why::Part;

    #[test]
    fn parts_become_rows() {
        let day = "2026-11-02".parse().unwrap();
        let parts = vec![Part::of("effort", 7.5, ""), Part::on("minutes", 60.0, "min", day)];
        let why = WhyParts::from(&Why::ours("load.session", "effort times minutes", parts));
        assert_eq!(
            why.rows,
            [
                ("effort".to_owned(), "7.5".to_owned()),
                ("minutes".to_owned(), "60 min, Mon 2 Nov 2026".to_owned())
            ]
        );
        assert_eq!(why.rule, "effort times minutes");
    }
}
