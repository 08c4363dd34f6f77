//! Help: what the marks mean, what "unheard" is, how it works without a signal, files that are carried, care for
//! bodies, and the home screen. Words only; which parts are shown depends on whose home it is.

use leptos::prelude::*;

use crate::kit::{CautionBox, MarksKey};
use crate::route::Home;
use crate::screens::head;
use crate::words::{Word, say, word};

/// A part: its heading and its paragraphs.
type Part = (Word, &'static [Word]);

const ATHLETE: &[Part] = &[
    (
        word("help.session"),
        &[word("help.session.log"), word("help.session.other"), word("help.session.correct")],
    ),
    (word("help.saved"), &[word("help.saved.here"), word("help.saved.there")]),
];

const COACH: &[Part] = &[
    (word("help.board"), &[word("help.board.shown"), word("help.board.met")]),
    (word("help.proposals"), &[word("help.proposals.text")]),
];

const ALL: &[Part] = &[
    (word("help.unheard"), &[word("help.unheard.text")]),
    (word("help.offline"), &[word("help.offline.text"), word("help.offline.tabs")]),
    (word("help.carry"), &[word("help.carry.text"), word("help.carry.care")]),
    (word("help.home-screen"), &[word("help.home-screen.text"), word("help.home-screen.how")]),
];

/// The parts of a home, those of its own work first.
fn parts(home: Home) -> Vec<Part> {
    let own = if home == Home::Athlete {
        ATHLETE
    } else if home == Home::Coach {
        COACH
    } else {
        &[]
    };
    own.iter().chain(ALL).copied().collect()
}

/// Help for whoever it is.
#[component]
pub fn Help(
    /// Whose home it is.
    home: Home,
) -> impl IntoView {
    head(say("way.help"), "");
    let parts = parts(home).into_iter().map(|(title, texts)| {
        let texts = texts.iter().map(|text| view! { <p>{text.text()}</p> }).collect_view();
        view! { <section class="stack tight"><h2>{title.text()}</h2>{texts}</section> }
    });
    view! {
        <div class="stack">
            <section class="stack tight">
                <h2>{say("help.marks")}</h2>
                <MarksKey />
                <p>{say("help.marks.text")}</p>
            </section>
            {parts.collect_view()}
            <CautionBox text=say("help.care") />
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_home_reads_of_its_own_work_first_and_of_silence_too() {
        for (home, own) in [(Home::Athlete, ATHLETE), (Home::Coach, COACH)] {
            let parts = parts(home);
            assert_eq!(&parts[..own.len()], own);
            assert!(parts.iter().any(|(title, _)| *title == word("help.unheard")));
        }
    }
}
