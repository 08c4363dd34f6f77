//! Marks of sessions: a lane's box that is filled by the share done, and lines that tell the states apart without
//! any colour.

use backstraight_core::view::state::State;
use leptos::prelude::*;

use crate::words::say;

/// Upper and lower edge of the box that is filled, and its left edge and width.
const TOP: f64 = 4.0;
const FOOT: f64 = 24.0;
const LEFT: f64 = 4.0;
const WIDTH: f64 = 20.0;

/// The word of a state.
#[must_use]
pub fn word_of(state: State) -> &'static str {
    match state {
        State::Coming => say("state.coming"),
        State::Due => say("state.due"),
        State::Done => say("state.done"),
        State::Part => say("state.part"),
        State::Changed => say("state.changed"),
        State::Excused => say("state.excused"),
        State::Missed => say("state.missed"),
        State::Unheard => say("state.unheard"),
        State::Extra => say("state.extra"),
    }
}

/// What a mark is made of, apart from its colours.
#[derive(Debug, Clone, PartialEq, Default)]
struct Lines {
    /// Dashes of the outline; whole without.
    dashes: Option<&'static str>,
    /// The class of the outline.
    edge: &'static str,
    /// How much is filled from below, 0 to 1.
    fill: f64,
    /// Whether lanes are cut through the fill.
    lanes: bool,
    /// Strokes on top, in ink.
    strokes: &'static str,
    /// Strokes on top, cut out of the fill.
    cuts: &'static str,
    /// Whether the box is round.
    round: bool,
}

fn lines(state: State, share: Option<f64>) -> Lines {
    let share = share.filter(|s| s.is_finite()).map(|s| s.clamp(0.0, 1.0));
    let plain = Lines { edge: "edge", ..Lines::default() };
    match state {
        State::Coming => Lines { edge: "edge faint", dashes: Some("3 3"), ..plain },
        State::Due => Lines { edge: "edge bold", strokes: "M9 14H19", ..plain },
        State::Done => Lines { fill: 1.0, cuts: "M9 14.5L12.7 18L19.3 10.5", ..plain },
        State::Part => Lines { fill: share.unwrap_or(0.5).clamp(0.12, 0.9), ..plain },
        State::Changed => Lines { fill: share.unwrap_or(1.0).max(0.2), lanes: true, ..plain },
        State::Excused => Lines { edge: "edge faint", strokes: "M7 21L21 7", ..plain },
        State::Missed => Lines { strokes: "M9 9L19 19M19 9L9 19", ..plain },
        State::Unheard => Lines {
            edge: "edge faint",
            dashes: Some("1.5 3.5"),
            strokes: "M9 14h.01M14 14h.01M19 14h.01",
            ..plain
        },
        State::Extra => Lines { fill: 1.0, round: true, cuts: "M14 9V19M9 14H19", ..plain },
    }
}

/// The word, with the share where it says more.
#[must_use]
pub fn spoken(state: State, share: Option<f64>) -> String {
    let word = word_of(state);
    match share {
        Some(share) if share.is_finite() && matches!(state, State::Part | State::Changed) => {
            format!("{word} {:.0} %", share * 100.0)
        }
        _ => word.to_owned(),
    }
}

/// How a session stands.
#[component]
pub fn Mark(
    /// The state.
    state: State,
    /// The share done, 0 to 1, where it is known.
    #[prop(optional_no_strip, into)]
    share: Option<f64>,
    /// Whether the word is shown; without, it is there for whoever hears the page.
    #[prop(optional)]
    with_word: bool,
) -> impl IntoView {
    let l = lines(state, share);
    let height = (FOOT - TOP) * l.fill;
    let rx = if l.round { 10 } else { 3 };
    let fill = (l.fill > 0.0).then(|| {
        let (rx, y) = (if l.fill < 1.0 { 1 } else { rx }, FOOT - height);
        view! { <rect class="fill" x=LEFT y=y width=WIDTH height=height rx=rx></rect> }
    });
    let lanes = l.lanes.then(|| {
        let cuts = (0..5)
            .map(|i| 6.5 + 4.0 * f64::from(i))
            .filter(|y| *y > FOOT - height + 1.0)
            .map(|y| view! { <line class="cut" x1=LEFT x2=LEFT + WIDTH y1=y y2=y></line> })
            .collect_view();
        view! { <g>{cuts}</g> }
    });
    let strokes = if l.edge.contains("faint") { "stroke faint" } else { "stroke" };
    let word = spoken(state, share);
    view! {
        <span class="mark">
            <svg viewBox="0 0 28 28" aria-hidden="true">
                <rect class="ground" x="4" y="4" width="20" height="20" rx=rx></rect>
                {fill}
                {lanes}
                <rect class=l.edge x="4" y="4" width="20" height="20" rx=rx stroke-dasharray=l.dashes></rect>
                <path class=strokes d=l.strokes></path>
                <path class="cut" d=l.cuts></path>
            </svg>
            <span class:hidden-text=!with_word>{word}</span>
        </span>
    }
}

/// All marks with their words.
#[component]
pub fn MarksKey() -> impl IntoView {
    let all = State::ALL.map(|state| {
        let share = matches!(state, State::Part | State::Changed).then_some(0.6);
        view! {
            <li class="mark">
                <Mark state=state share=share />
                <span aria-hidden="true">{word_of(state)}</span>
            </li>
        }
    });
    view! {
        <ul class="marks-key" aria-label=say("kit.marks-key")>
            {all.into_iter().collect_view()}
        </ul>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_differ_without_colour() {
        // Outline, fill, lanes and strokes, without any class that stands for a colour or a weight of line.
        let shape = |s: State| {
            let l = lines(s, Some(0.6));
            let fill = if l.fill == 0.0 {
                0
            } else if l.fill < 1.0 {
                1
            } else {
                2
            };
            format!("{:?} {fill} {} {} {} {}", l.dashes, l.lanes, l.strokes, l.cuts, l.round)
        };
        let all: std::collections::BTreeSet<String> = State::ALL.iter().map(|s| shape(*s)).collect();
        assert_eq!(all.len(), State::ALL.len());
    }

    #[test]
    fn words_are_those_of_core() {
        for state in State::ALL {
            assert_eq!(word_of(state), state.word());
        }
    }

    #[test]
    fn a_share_is_drawn_within_the_box() {
        for share in [Some(f64::NAN), Some(f64::INFINITY), Some(-1.0), Some(0.0), Some(0.45), Some(7.0), None]
        {
            for state in State::ALL {
                let fill = lines(state, share).fill;
                assert!((0.0..=1.0).contains(&fill), "{state} {share:?}");
            }
            // Part done never looks like done, nor like nothing.
            let part = lines(State::Part, share).fill;
            assert!((0.12..=0.9).contains(&part), "{share:?}");
        }
        assert_eq!(spoken(State::Part, Some(0.45)), "part done 45 %");
        assert_eq!(spoken(State::Part, Some(f64::NAN)), "part done");
        assert_eq!(spoken(State::Done, Some(1.0)), "done");
    }
}
