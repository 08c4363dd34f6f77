//! The season beside the plan desk: its span, phases planned back from meets, easy weeks, what takes the place of an
//! exercise in a phase; and of the squad, meets and days of everybody.

use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Aim, Name, Text};
use backstraight_core::model::plan::{Condition, Meet, Phase, PlanAbout, SquadSession, Week};
use leptos::prelude::*;

use super::begin::{Begin, Seasons};
use super::days::Days;
use super::deeds;
use super::editor::exercise_offers;
use super::form::{RecordForm, RecordList};
use super::scene::Desk;
use super::tables::{new_day, new_meet, new_phase};
use super::week::At;
use crate::kit::number::Steps;
use crate::kit::{Button, ChoiceRow, Combo, Kind, NumberField, Offer, dates};
use crate::route::Whose;
use crate::words::{say, say_with, word};

/// The season of one athlete and the squad's days.
#[component]
pub fn SeasonPart(
    /// The desk.
    at: At,
) -> impl IntoView {
    let hub = at.bench.hub;
    let docs = Memo::new(move |_| {
        let desk = Desk::read(hub, at.whose, at.week.get()).ok()?;
        let plan = match at.whose {
            Whose::Athlete(_) => desk.places.first().map(|p| p.doc),
            Whose::Squad(_) => None,
        };
        Some((plan, desk.squad.id.map(DocName::Squad)))
    });
    view! {
        <section class="card stack wide" aria-label=say("season.title")>
            <h2>{say("season.title")}</h2>
            <Begin at=at />
            {move || docs.get().map(|(plan, squad)| view! {
                {plan.is_some().then(|| view! { <Seasons at=at /> })}
                {plan.map(|doc| view! { <OfPlan at=at doc=doc /> })}
                {plan.is_none().then(|| view! { <p class="soft">{say("season.of-each")}</p> })}
                {squad.map(|doc| view! {
                    <h3>{say("season.meets")}</h3>
                    <RecordList<Meet> bench=at.bench doc=doc add=Some((word("season.meet.add"), new_meet)) none=word("season.meets.none") />
                    <h3>{say("season.days")}</h3>
                    <RecordList<SquadSession> bench=at.bench doc=doc add=Some((word("season.day.add"), new_day)) none=word("season.days.none") />
                    <Days at=at />
                })}
            })}
        </section>
    }
}

#[component]
fn OfPlan(at: At, doc: DocName) -> impl IntoView {
    let hub = at.bench.hub;
    let about: Memo<Option<Entry<PlanAbout>>> = Memo::new(move |_| {
        hub.read(|d| d.document(doc).ok()?.record::<PlanAbout>(&Place::main("about")).ok().flatten())
    });
    let easy = move || {
        let week = at.week.get();
        let found = hub.read(|d| {
            let weeks = d.document(doc).map(|d| d.records::<Week>("weeks").entries).unwrap_or_default();
            weeks.into_iter().find(|w| w.live() && w.record.start == week)
        });
        (week, found)
    };
    let turn = move || {
        let (week, found) = untrack(easy);
        let command = match found {
            Some(entry) => {
                let to = Week { easy: Some(entry.record.easy != Some(true)), ..entry.record.clone() };
                deeds::edit(&entry, to)
            }
            None => {
                let record = Week { easy: Some(true), ..Week::new(week) };
                Some(Command::Add(vec![New { place: Place::of("weeks", &hub.key()), record: record.into() }]))
            }
        };
        at.bench.run(command.into_iter().map(|c| (doc, c)).collect(), say("season.week-marked"));
    };
    let label = Signal::derive(move || {
        let (week, found) = easy();
        let easy = found.is_some_and(|w| w.record.easy == Some(true));
        let day = dates::short(week);
        let values = [("day", day.as_str())];
        if easy { say_with("season.not-easy", &values) } else { say_with("season.easy", &values) }
    });
    view! {
        <h3>{say("season.span")}</h3>
        <RecordForm<PlanAbout> bench=at.bench doc=doc entry=about />
        <h3>{say("season.phases")}</h3>
        <BackFrom at=at doc=doc />
        <RecordList<Phase> bench=at.bench doc=doc add=Some((word("season.phase.add"), new_phase)) none=word("season.phases.none") />
        <h3>{say("season.weeks")}</h3>
        <Button label=label on_press=turn />
        <RecordList<Week> bench=at.bench doc=doc add=None none=word("season.weeks.none") />
        <h3>{say("season.conditions")}</h3>
        <p class="soft">{say("season.conditions.text")}</p>
        <NewCondition at=at doc=doc />
        <RecordList<Condition> bench=at.bench doc=doc add=None none=word("season.conditions.none") />
    }
}

/// Phases back from a meet, by weeks that the coach says.
#[component]
fn BackFrom(at: At, doc: DocName) -> impl IntoView {
    let hub = at.bench.hub;
    let meets = move || Desk::read(hub, at.whose, at.week.get()).map(|d| d.squad.meets).unwrap_or_default();
    let chosen = RwSignal::new(None::<Key>);
    let aims = [Aim::General, Aim::Specific, Aim::Meets, Aim::Taper];
    let weeks = aims.map(|_| RwSignal::new(String::new()));
    let go = move || {
        let day = untrack(meets)
            .into_iter()
            .find(|m| Some(m.key()) == chosen.get_untracked())
            .map(|m| m.record.date);
        let Some(day) = day else {
            at.bench.toaster.say(say("season.back.choose"));
            return;
        };
        let each: Vec<(Aim, Name, i32)> = aims
            .iter()
            .zip(weeks)
            .map(|(aim, n)| {
                let n =
                    crate::parse::count(&n.get_untracked()).ok().and_then(|n| i32::try_from(n.get()).ok());
                (*aim, Text::new(aim.word()).unwrap_or_default(), n.unwrap_or(0))
            })
            .collect();
        let news: Vec<New> = deeds::back_from(day, &each)
            .into_iter()
            .map(|phase| New { place: Place::of("phases", &hub.key()), record: phase.into() })
            .collect();
        if news.is_empty() {
            at.bench.toaster.say(say("season.back.weeks"));
        } else {
            at.bench.run(vec![(doc, Command::Add(news))], say("season.back.done"));
        }
    };
    let options = untrack(meets)
        .into_iter()
        .map(|m| (m.key(), format!("{}, {}", m.record.name, dates::short(m.record.date))))
        .collect::<Vec<_>>();
    let none = options.is_empty();
    view! {
        <details class="more">
            <summary>{say("season.back")}</summary>
            <form class="stack" on:submit=move |e| { e.prevent_default(); go(); }>
                {none.then(|| view! { <p class="soft">{say("season.meets.none")}</p> })}
                <ChoiceRow label=say("season.back.meet") options=options value=chosen />
                <div class="cells">
                    {aims.iter().zip(weeks).map(|(aim, value)| view! {
                        <NumberField label=say_with("season.back.of", &[("aim", aim.word())]) value=value whole=true
                            steps=Steps::whole(1, 0, 30) />
                    }).collect_view()}
                </div>
                <Button label=say("season.back.go").to_owned() submit=true on_press=|| () />
            </form>
        </details>
    }
}

/// What takes the place of an exercise in phases of an aim.
#[component]
fn NewCondition(at: At, doc: DocName) -> impl IntoView {
    let hub = at.bench.hub;
    let offers = Memo::new(move |_| -> Vec<Offer> {
        hub.read_with(|d, readings| readings.library(d)).map(|l| exercise_offers(&l)).unwrap_or_default()
    });
    let aim = RwSignal::new(Some(Aim::Taper));
    let (ex, take) = (RwSignal::new(None::<Key>), RwSignal::new(None::<Key>));
    let (ex_text, take_text) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let go = move || {
        let all = (aim.get_untracked(), ex.get_untracked(), take.get_untracked());
        let (Some(aim), Some(from), Some(to)) = all else {
            at.bench.toaster.say(say("season.condition.choose"));
            return;
        };
        let place = Place::of("conditions", &hub.key());
        let record = Condition::new(aim, from, to).into();
        at.bench.run(vec![(doc, Command::Add(vec![New { place, record }]))], say("form.added"));
        for text in [ex_text, take_text] {
            text.set(String::new());
        }
        ex.set(None);
        take.set(None);
    };
    let aims = Aim::ALL.iter().map(|a| (*a, a.word().to_owned())).collect();
    view! {
        <details class="more">
            <summary>{say("season.condition.add")}</summary>
            <div class="stack">
                <ChoiceRow label=say("field.in-phases") options=aims value=aim />
                <Combo label=say("field.where-asked") offers=offers text=ex_text
                    on_pick=move |key: String| ex.set(key.parse().ok()) />
                <Combo label=say("field.take") offers=offers text=take_text
                    on_pick=move |key: String| take.set(key.parse().ok()) />
                <Button label=say("form.add").to_owned() kind=Kind::Plain on_press=go />
            </div>
        </details>
    }
}
