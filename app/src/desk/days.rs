//! Days of the whole squad, such as test days, on their way into the plans of its members: athletes read their own
//! plans and not the squad's document.

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::plan::SquadSession;
use leptos::prelude::*;

use super::give::Gift;
use super::scene::{Desk, Place};
use super::week::At;
use crate::kit::{Button, dates};
use crate::words::{say, say_with};

/// A day of the squad, and in how many of its members' plans it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Line {
    key: Key,
    text: String,
    there: usize,
    of: usize,
}

/// Days from the shown week on.
fn lines(squad: &Desk, from: Day) -> Vec<Line> {
    let days = squad.squad.days.iter().filter(|d| d.record.date >= from);
    let line = |day: &Entry<SquadSession>| {
        let key = day.key();
        let has = |place: &&Place| {
            place.plans.sessions().any(|s| s.planned.session.record.squad_session.as_ref() == Some(&key))
        };
        Line {
            there: squad.places.iter().filter(has).count(),
            of: squad.places.len(),
            text: format!("{}: {}", dates::named(day.record.date), day.record.title),
            key,
        }
    };
    days.map(line).collect()
}

/// The squad's days that come, each with a way into the plans.
#[component]
pub fn Days(
    /// The desk.
    at: At,
) -> impl IntoView {
    let found = Memo::new(move |_| {
        let week = at.week.get();
        Desk::of_squad(at.bench.hub, at.whose, week).map(|squad| lines(&squad, week))
    });
    move || {
        let all = found.get().unwrap_or_default();
        (!all.is_empty()).then(|| {
            let one = |line: Line| {
                let values = [("n", line.there.to_string()), ("all", line.of.to_string())];
                let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
                let key = line.key;
                let give = move || at.gift.set(Some(Gift::Day(key.clone())));
                view! {
                    <li class="row apart">
                        <span>{line.text} " " <span class="soft">{say_with("season.day.in-plans", &values)}</span></span>
                        <Button label=say("season.day.give").to_owned() on_press=give />
                    </li>
                }
            };
            view! {
                <p class="soft">{say("season.day.text")}</p>
                <ul class="stack tight">{all.into_iter().map(one).collect_view()}</ul>
            }
        })
    }
}
