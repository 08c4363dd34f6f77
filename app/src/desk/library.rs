//! The library: exercises, cues, venues with what they own, tests, templates, and what the club has set for itself.

use backstraight_core::base::key::Key;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::{Cue, Exercise, Protocol, Settings, Template, Venue};
use backstraight_core::view::library::Library;
use leptos::prelude::*;

use super::bench::Bench;
use super::form::{RecordForm, RecordList};
use super::tables::{new_cue, new_exercise, new_protocol, new_template, new_venue};
use crate::kit::{Button, EmptyState, Tabs};
use crate::screens::head;
use crate::words::{say, word};

/// Parts of the library.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    Exercises,
    Ladder,
    Cues,
    Venues,
    Tests,
    Templates,
    Settings,
}

/// Exercises from the easiest to the hardest, as far as they name each other. Each stands in one ladder; a ring
/// ends where it began.
#[must_use]
pub fn ladders(library: &Library) -> Vec<Vec<Key>> {
    let live = |key: &Key| library.exercises.get(key).is_some_and(Entry::live);
    let harder = |key: &Key| -> Option<Key> {
        let own = library.exercises.get(key).and_then(|e| e.record.harder.clone());
        let back = || {
            let mut all = library.exercises.iter();
            all.find(|(_, e)| e.live() && e.record.easier.as_ref() == Some(key)).map(|(k, _)| k.clone())
        };
        own.or_else(back).filter(live)
    };
    let named: Vec<Key> = library.exercises.keys().filter(|k| live(k)).filter_map(harder).collect();
    let mut out = Vec::new();
    for first in library.exercises.keys().filter(|k| live(k) && !named.contains(k)) {
        let mut ladder = vec![first.clone()];
        while let Some(next) = ladder.last().and_then(harder).filter(|n| !ladder.contains(n)) {
            ladder.push(next);
        }
        if ladder.len() > 1 {
            out.push(ladder);
        }
    }
    out.sort_by_cached_key(|l| l.first().map(|k| library.exercise_name(k)));
    out
}

/// The library.
#[component]
pub fn LibraryScreen() -> impl IntoView {
    head(say("library.title"), say("library.under"));
    let bench = Bench::provide();
    let hub = bench.hub;
    let doc = DocName::Library(hub.me().club);
    let part = RwSignal::new(Part::Exercises);
    let tabs = vec![
        (Part::Exercises, say("library.exercises").to_owned()),
        (Part::Ladder, say("library.ladder").to_owned()),
        (Part::Cues, say("library.cues").to_owned()),
        (Part::Venues, say("library.venues").to_owned()),
        (Part::Tests, say("library.tests").to_owned()),
        (Part::Templates, say("library.templates").to_owned()),
        (Part::Settings, say("library.settings").to_owned()),
    ];
    let settings: Memo<Option<Entry<Settings>>> = Memo::new(move |_| {
        hub.read(|d| d.document(doc).ok()?.record::<Settings>(&Place::main("settings")).ok().flatten())
    });
    let undo_off = Signal::derive(move || bench.last().is_none());
    let redo_off = Signal::derive(move || bench.next().is_none());
    let shown = move || {
        match part.get() {
        Part::Exercises => view! {
            <p class="soft">{say("library.exercises.text")}</p>
            <RecordList<Exercise> bench=bench doc=doc add=Some((word("library.exercise.add"), new_exercise)) none=word("library.none") />
        }
        .into_any(),
        Part::Ladder => ladder(bench),
        Part::Cues => view! {
            <RecordList<Cue> bench=bench doc=doc add=Some((word("library.cue.add"), new_cue)) none=word("library.none") />
        }
        .into_any(),
        Part::Venues => view! {
            <p class="soft">{say("library.venues.text")}</p>
            <RecordList<Venue> bench=bench doc=doc add=Some((word("library.venue.add"), new_venue)) none=word("library.none") />
        }
        .into_any(),
        Part::Tests => view! {
            <RecordList<Protocol> bench=bench doc=doc add=Some((word("library.test.add"), new_protocol)) none=word("library.none") />
        }
        .into_any(),
        Part::Templates => view! {
            <p class="soft">{say("library.templates.text")}</p>
            <RecordList<Template> bench=bench doc=doc add=Some((word("library.template.add"), new_template)) none=word("library.none") />
        }
        .into_any(),
        Part::Settings => view! {
            <p>{say("library.settings.text")}</p>
            <RecordForm<Settings> bench=bench doc=doc entry=settings />
        }
        .into_any(),
    }
    };
    view! {
        <div class="stack">
            <div class="row">
                <Button label=say("desk.undo").to_owned() disabled=undo_off on_press=move || bench.undo() />
                <Button label=say("desk.redo").to_owned() disabled=redo_off on_press=move || bench.redo() />
            </div>
            <Tabs label=say("library.title") tabs=tabs value=part>
                <div class="stack">{shown}</div>
            </Tabs>
        </div>
    }
}

fn ladder(bench: Bench) -> AnyView {
    let library = bench.hub.read_with(|d, readings| readings.library(d)).unwrap_or_default();
    let all = ladders(&library);
    if all.is_empty() {
        return view! { <EmptyState title=say("library.ladder.none") text=say("library.ladder.none.text") /> }.into_any();
    }
    all.into_iter()
        .map(|steps| {
            let names = steps.iter().map(|k| view! { <li>{library.exercise_name(k)}</li> }).collect_view();
            view! { <ol class="ladder card">{names}</ol> }
        })
        .collect_view()
        .into_any()
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::model::number::{Intent, Pattern, Text};

    fn key(n: u32) -> Key {
        format!("abcdef-{n}").parse().unwrap()
    }

    fn library(links: &[(u32, Option<u32>, Option<u32>)]) -> Library {
        let one = |(n, easier, harder): &(u32, Option<u32>, Option<u32>)| {
            let name = Text::new(format!("E{n}")).unwrap();
            let record = Exercise {
                easier: easier.map(key),
                harder: harder.map(key),
                ..Exercise::new(name, Pattern::Squat, Intent::Strength)
            };
            let place = Place::of("exercises", &key(*n));
            (key(*n), Entry { place, record, gone: None, unread: Vec::new(), met: Vec::new() })
        };
        Library { exercises: links.iter().map(one).collect(), ..Library::default() }
    }

    #[test]
    fn ladders_go_from_easy_to_hard_by_either_link() {
        let found =
            ladders(&library(&[(1, None, Some(2)), (2, None, None), (3, Some(2), None), (4, None, None)]));
        assert_eq!(found, [vec![key(1), key(2), key(3)]]);
    }

    #[test]
    fn a_ring_is_no_endless_ladder() {
        assert!(ladders(&library(&[(1, None, Some(2)), (2, None, Some(1))])).is_empty());
        let found = ladders(&library(&[(1, None, Some(2)), (2, None, Some(3)), (3, None, Some(2))]));
        assert_eq!(found, [vec![key(1), key(2), key(3)]]);
    }
}
