//! The athlete's tests: which the club has, one to choose, its trials by day with what core makes of them, and the
//! form for the next one. All of it from this phone's documents.

use std::sync::Arc;

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::Command;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::log::Trial;
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::Protocol;
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::marks::{Reading, mark, mass_on, reckoned, unit};
use backstraight_core::view::plans::Plans;
use backstraight_core::view::records::MOST_WIND;
use leptos::prelude::*;

use super::scene::Standing;
use super::trial_draft::{Draft, rows_of};
use super::trial_form::TrialForm;
use crate::coach::parts::Pick;
use crate::deed::carry_out;
use crate::error::AppError;
use crate::hub::{Hub, use_hub};
use crate::kit::number::masses;
use crate::kit::{
    Button, ButtonLink, Chip, Dialog, EmptyState, Kind, SaveMark, Toaster, WhyButton, WhyParts, dates,
};
use crate::route::Route;
use crate::screens::{head, unreadable};
use crate::trend::wind_words;
use crate::trial::caution::TestCaution;
use crate::trial::{best, figure, print};
use crate::words::{say, say_n, say_with};

/// Days of trials that are shown at first.
const DAYS: usize = 6;
/// Rows of a form where no earlier trial says how many.
const ROWS: usize = 1;

/// A test of the club.
#[derive(Debug, Clone, PartialEq)]
pub struct Test {
    /// Its key.
    pub key: Key,
    /// How it is done.
    pub protocol: Protocol,
    /// The unit of its result.
    pub unit: String,
    /// Whether its exercise is in a session of today's plan.
    pub today: bool,
}

/// The club's tests: those of today's sessions first, then by name.
#[must_use]
pub fn tests(library: &Library, plans: &Plans, day: Day) -> Vec<Test> {
    let asked = plans.on(day);
    let today = |ex: &Key| asked.iter().any(|s| s.planned.items().any(|(_, i)| i.record.ex == *ex));
    let live = library.protocols.iter().filter(|(_, p)| p.live());
    let mut all: Vec<Test> = live
        .map(|(key, p)| Test {
            key: key.clone(),
            unit: unit(&p.record, Reading::Result),
            today: p.record.ex.as_ref().is_some_and(today),
            protocol: p.record.clone(),
        })
        .collect();
    all.sort_by(|a, b| (!a.today, &a.protocol.name, &a.key).cmp(&(!b.today, &b.protocol.name, &b.key)));
    all
}

/// The test that is shown at first: one of today's sessions, else the one that was done last.
#[must_use]
pub fn first(tests: &[Test], done: &Done) -> Option<Key> {
    if let Some(asked) = tests.iter().find(|t| t.today) {
        return Some(asked.key.clone());
    }
    let last =
        done.trials.iter().rev().map(|t| &t.record.protocol).find(|k| tests.iter().any(|t| t.key == **k));
    last.or_else(|| tests.first().map(|t| &t.key)).cloned()
}

/// A test's trials by day, the newest day first, each day in the order of entering.
#[must_use]
pub fn by_day(done: &Done, test: &Key) -> Vec<(Day, Vec<Entry<Trial>>)> {
    let mut days: Vec<(Day, Vec<Entry<Trial>>)> = Vec::new();
    for trial in done.trials.iter().filter(|t| t.record.protocol == *test) {
        match days.last_mut() {
            Some((day, list)) if *day == trial.record.date => list.push(trial.clone()),
            _ => days.push((trial.record.date, vec![trial.clone()])),
        }
    }
    days.reverse();
    days
}

/// What a form begins with: as many rows as the own trial before, and its conditions.
#[must_use]
pub fn begin(test: &Test, days: &[(Day, Vec<Entry<Trial>>)], masses: crate::parse::Masses) -> Draft {
    let own = days.iter().flat_map(|(_, list)| list.iter().rev()).find(|t| t.record.by.is_none());
    let measure = test.protocol.measure;
    let mut draft = own.map(|t| Draft::of(&t.record, measure, masses).next()).unwrap_or_default();
    if draft.rows.is_empty() && rows_of(measure).is_some() {
        draft.rows = vec![Default::default(); ROWS];
    }
    // What the ground was like another day says nothing about this one.
    draft.conditions.clear();
    draft
}

struct Seen {
    day: Day,
    library: Arc<Library>,
    done: Done,
}

/// The club's tests, which need no log.
fn offered(hub: Hub) -> Result<Vec<Test>, AppError> {
    hub.read_with(|device, readings| {
        let (day, person) = (device.today()?, device.identity().person);
        let plans = readings.plans(device, person)?;
        Ok(tests(&*readings.library(device)?, &plans, day))
    })
}

fn read(hub: Hub) -> Result<Seen, AppError> {
    hub.read_with(|device, readings| {
        let (day, person) = (device.today()?, device.identity().person);
        Ok(Seen { day, library: readings.library(device)?, done: readings.all_done(device, person)? })
    })
}

/// The screen.
#[component]
pub fn Trials() -> impl IntoView {
    let hub = use_hub();
    head(say("way.tests"), say("own-tests.under"));
    let (offer, seen) = match untrack(|| offered(hub).and_then(|tests| Ok((tests, read(hub)?)))) {
        Ok(both) => both,
        Err(error) => return unreadable(error),
    };
    if offer.is_empty() {
        return view! { <EmptyState title=say("testday.no-tests") text=say("own-tests.none") /> }.into_any();
    }
    let chosen = RwSignal::new(first(&offer, &seen.done).map(|k| k.to_string()).unwrap_or_default());
    // The list follows the library, but is drawn anew only when it differs: what is being typed stays.
    let all = Memo::new(move |before: Option<&Vec<Test>>| {
        offered(hub).unwrap_or_else(|_| before.cloned().unwrap_or_default())
    });
    let options = Signal::derive(move || {
        let name = |t: Test| {
            let name = t.protocol.name.to_string();
            if t.today { say_with("own-tests.today", &[("name", &name)]) } else { name }
        };
        all.get().into_iter().map(|t| (t.key.to_string(), name(t))).collect::<Vec<_>>()
    });
    let test =
        Memo::new(move |_| chosen.with(|key| all.get().into_iter().find(|t| t.key.to_string() == *key)));
    let fixing = RwSignal::new(None::<Entry<Trial>>);
    let body = move || test.get().map(|test| view! { <One hub=hub test=test fixing=fixing /> });
    let title = Signal::derive(|| say("trial.correct.title").to_owned());
    let in_dialog = move || {
        let (test, entry) = (test.get_untracked()?, fixing.get()?);
        let today = hub.today()?;
        Some(view! {
            <TrialForm hub=hub test=test fixing=Some(entry) today=today
                on_saved=move |()| drop(fixing.try_set(None)) />
        })
    };
    view! {
        <div class="stack">
            <Pick label=say("testday.test") options=options value=chosen />
            {body}
            <p><ButtonLink label=say("own-tests.records").to_owned() href=Route::Records.href() /></p>
        </div>
        <Dialog title=title open=Signal::derive(move || fixing.with(Option::is_some))
            on_close=move || fixing.set(None) sheet=true>
            {in_dialog}
        </Dialog>
    }
    .into_any()
}

#[component]
fn One(hub: Hub, test: Test, fixing: RwSignal<Option<Entry<Trial>>>) -> impl IntoView {
    let Ok(seen) = untrack(|| read(hub)) else { return ().into_any() };
    let days = by_day(&seen.done, &test.key);
    let start = begin(&test, &days, masses().get_untracked());
    let asked = test
        .protocol
        .trials
        .and_then(|n| u64::try_from(n.get()).ok())
        .map(|n| view! { <p>{say_n("own-tests.asked", n, &[])}</p> });
    let note = test.protocol.note.as_ref().map(|n| view! { <p>{n.to_string()}</p> });
    let (for_list, more) = (test.clone(), RwSignal::new(false));
    let list = move || match read(hub) {
        Err(error) => unreadable(error),
        Ok(seen) => trials(hub, &for_list, &seen, more, fixing).into_any(),
    };
    view! {
        <div class="stack tight">{note}{asked}</div>
        <TestCaution test=test.protocol.clone() library=seen.library more=say("own-tests.minor") />
        <section class="stack tight">
            <h2>{say("own-tests.new")}</h2>
            <TrialForm hub=hub test=test begin=start today=seen.day on_saved=|()| () />
        </section>
        <section class="stack">{list}</section>
    }
    .into_any()
}

fn trials(
    hub: Hub,
    test: &Test,
    seen: &Seen,
    more: RwSignal<bool>,
    fixing: RwSignal<Option<Entry<Trial>>>,
) -> impl IntoView + use<> {
    let days = by_day(&seen.done, &test.key);
    if days.is_empty() {
        let title = say_with("own-tests.empty", &[("name", test.protocol.name.as_str())]);
        return view! { <EmptyState title=title text=say("own-tests.empty.text") /> }.into_any();
    }
    let left = days.len().saturating_sub(DAYS);
    let shown = if more.get() { days.len() } else { DAYS };
    let all = days
        .iter()
        .take(shown)
        .map(|(day, list)| {
            let (_, top) = best(list, &test.protocol);
            let standing = Standing::of(hub, DocName::Log(hub.me().person, day.month()));
            let rows = list
                .iter()
                .enumerate()
                .map(|(i, t)| row(hub, test, &seen.done, t, i, top == Some(i), &standing, fixing).into_any())
                .collect_view();
            view! {
                <div class="card stack tight">
                    <h3 class="bare">{dates::full(*day)}</h3>
                    <ol class="trial-list">{rows}</ol>
                </div>
            }
        })
        .collect_view();
    let button = (left > 0 && !more.get()).then(|| {
        let label = say_n("own-tests.more", u64::try_from(left).unwrap_or(u64::MAX), &[]);
        view! { <Button label=label full=true on_press=move || more.set(true) /> }
    });
    view! { <h2>{say("own-tests.trials")}</h2> {all} {button} }.into_any()
}

/// What a trial is, in figures: its result with "why?", and stiffness where hops and a body mass give it.
fn figures(test: &Test, done: &Done, trial: &Entry<Trial>) -> Vec<AnyView> {
    let mass = |day| mass_on(done, day);
    let name = &test.protocol.name;
    let mut out = Vec::new();
    for (read, label) in
        [(Reading::Result, String::new()), (Reading::Stiffness, say("own-tests.stiffness").to_owned())]
    {
        match mark(trial, &test.protocol, &mass, read) {
            Ok(found) => {
                let value = format!("{} {}", figure(found.value), unit(&test.protocol, read));
                let why = reckoned(trial, &test.protocol, &mass, read);
                let why = why.map(|w| view! { <WhyButton of=name.to_string() why=WhyParts::from(&w) /> });
                out.push(view! { <p>{label} " " <span class="value">{value}</span> {why}</p> }.into_any());
            }
            // What cannot be told is said for the result alone: stiffness is an offer.
            Err(lack) if read == Reading::Result => {
                out.push(view! { <p class="soft">{lack.words()}</p> }.into_any());
            }
            Err(_) => {}
        }
    }
    out
}

#[expect(clippy::too_many_arguments, reason = "one place draws a trial")]
fn row(
    hub: Hub,
    test: &Test,
    done: &Done,
    trial: &Entry<Trial>,
    at: usize,
    top: bool,
    standing: &Standing,
    fixing: RwSignal<Option<Entry<Trial>>>,
) -> impl IntoView + use<> {
    let t = &trial.record;
    let toaster = Toaster::here();
    let n = (at + 1).to_string();
    let typed = print(t, test.protocol.measure);
    let wind = t.wind.map(|w| {
        let wind = w.as_f64() / 1000.0;
        let much = (wind > MOST_WIND).then(|| view! { <Chip text=say("testday.windy") /> });
        view! { <span class="soft">{wind_words(wind)}</span> {much} }
    });
    let conditions = t.conditions.as_ref().map(|c| view! { <p class="soft">{c.to_string()}</p> });
    let top = top.then(|| view! { <Chip text=say("testday.is-best") strong=true /> });
    let end = if t.by.is_some() {
        view! { <p class="soft">{say("tests.by-coach")}</p> }.into_any()
    } else {
        let kept = standing.record(&trial.key());
        let (entry, doc) = (trial.clone(), DocName::Log(hub.me().person, t.date.month()));
        let place = trial.place.clone();
        let back = move || {
            let command = Command::Withdraw(vec![place.clone()]);
            carry_out(hub, toaster, doc, vec![command], say("trial.withdrawn"), |_| ());
        };
        view! {
            <div class="row">
                <Button label=say_with("own-tests.correct", &[("n", &n)]) on_press=move || fixing.set(Some(entry.clone())) />
                <Button label=say_with("own-tests.withdraw", &[("n", &n)]) kind=Kind::Quiet on_press=back />
                <SaveMark kept=Signal::stored(kept) />
            </div>
        }
        .into_any()
    };
    view! {
        <li class="stack tight">
            <p class="row">
                <span>{say_with("own-tests.nth", &[("n", &n)])}</span> <span class="soft">{typed}</span> {top} {wind}
            </p>
            {figures(test, done, trial)}
            {conditions}
            {end}
        </li>
    }
}

#[cfg(test)]
mod checks {
    use super::*;
    use backstraight_core::base::id::PersonId;
    use backstraight_core::base::moment::Moment;
    use backstraight_core::doc::place::Place;
    use backstraight_core::model::number::{Better, Count, Form, Measure, SeasonNo, Text};
    use backstraight_core::model::packed::Times;
    use backstraight_core::model::plan::{Group, Prescription, Session};
    use backstraight_core::view::planned::{Plan, PlannedGroup, PlannedSession};

    use crate::parse::{self, Masses};

    fn key(n: u32) -> Key {
        format!("abcdef-{n}").parse().unwrap()
    }

    fn entry<R>(root: &'static str, n: u32, record: R) -> Entry<R> {
        Entry { place: Place::of(root, &key(n)), record, gone: None, unread: vec![], met: vec![] }
    }

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn protocol(name: &str, measure: Measure, ex: Option<u32>) -> Protocol {
        Protocol { ex: ex.map(key), ..Protocol::new(Text::new(name).unwrap(), measure, Better::Higher) }
    }

    fn library() -> Library {
        let all = [
            (1, protocol("Broad jump", Measure::Distance, Some(11))),
            (2, protocol("Ankle hops", Measure::Hops, None)),
            (3, protocol("Old test", Measure::Reps, None)),
        ];
        let mut library = Library {
            protocols: all.into_iter().map(|(n, p)| (key(n), entry("protocols", n, p))).collect(),
            ..Library::default()
        };
        library.protocols.get_mut(&key(3)).unwrap().gone = Some(Moment(1));
        library
    }

    fn plans(on: &str) -> Plans {
        let item = Prescription::new(key(21), Text::new("i").unwrap(), key(11), Count::new(3).unwrap());
        let group = Group::new(key(20), Text::new("i").unwrap(), Form::Single);
        let session = Session::new(day(on), Text::new("A").unwrap());
        let plan = Plan {
            sessions: vec![PlannedSession {
                session: entry("sessions", 20, session),
                groups: vec![PlannedGroup {
                    group: entry("groups", 21, group),
                    items: vec![entry("items", 22, item)],
                }],
            }],
            ..Plan::default()
        };
        Plans::one(SeasonNo::new(2027).unwrap(), plan)
    }

    fn trial(n: u32, test: u32, on: &str, by: bool) -> Entry<Trial> {
        let by = by.then(|| PersonId(uuid::Uuid::from_u128(9)));
        entry("trials", n, Trial { by, ..Trial::new(day(on), Moment(i64::from(n)), key(test)) })
    }

    fn names(tests: &[Test]) -> Vec<&str> {
        tests.iter().map(|t| t.protocol.name.as_str()).collect()
    }

    #[test]
    fn tests_of_todays_sessions_come_first_and_withdrawn_ones_not_at_all() {
        let (library, today) = (library(), day("2026-11-25"));
        assert_eq!(names(&tests(&library, &Plans::default(), today)), ["Ankle hops", "Broad jump"]);
        let asked = tests(&library, &plans("2026-11-25"), today);
        assert_eq!((names(&asked), asked[0].today), (vec!["Broad jump", "Ankle hops"], true));
        let other = tests(&library, &plans("2026-11-24"), today);
        assert!(other.iter().all(|t| !t.today));
    }

    #[test]
    fn the_test_done_last_is_shown_at_first() {
        let all = tests(&library(), &Plans::default(), day("2026-11-25"));
        let done = Done { trials: vec![trial(31, 1, "2026-11-20", false)], ..Done::default() };
        assert_eq!(first(&all, &done), Some(key(1)));
        assert_eq!(first(&all, &Done::default()), Some(key(2)));
        assert_eq!(first(&[], &done), None);
    }

    #[test]
    fn days_stand_newest_first_and_their_trials_in_order() {
        let trials = vec![
            trial(31, 1, "2026-11-10", false),
            trial(32, 1, "2026-11-10", true),
            trial(33, 2, "2026-11-11", false),
            trial(34, 1, "2026-11-20", false),
        ];
        let days = by_day(&Done { trials, ..Done::default() }, &key(1));
        let told: Vec<(Day, usize)> = days.iter().map(|(d, list)| (*d, list.len())).collect();
        assert_eq!(told, [(day("2026-11-20"), 1), (day("2026-11-10"), 2)]);
        assert_eq!(days[1].1[0].key(), key(31));
    }

    #[test]
    fn a_form_has_as_many_hops_as_the_last_own_trial() {
        let all = tests(&library(), &Plans::default(), day("2026-11-25"));
        let hops = all.iter().find(|t| t.key == key(2)).unwrap();
        assert_eq!(begin(hops, &[], Masses::Kilograms).rows.len(), 1);
        let times = |ms: &[&str]| Some(Times(ms.iter().map(|t| parse::time(t).unwrap()).collect()));
        let mut own = trial(31, 2, "2026-11-10", false);
        own.record.flights = times(&["0.5", "0.5", "0.5"]);
        own.record.touches = times(&["0.2", "0.2", "0.2"]);
        own.record.conditions = Text::new("grass").ok();
        let coachs = trial(32, 2, "2026-11-12", true);
        let days = [(day("2026-11-12"), vec![coachs]), (day("2026-11-10"), vec![own])];
        let draft = begin(hops, &days, Masses::Kilograms);
        assert_eq!((draft.rows.len(), draft.conditions.as_str()), (3, ""));
    }
}
