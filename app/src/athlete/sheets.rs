//! What opens over a session beside a set: another exercise, a reason to leave out, another place, pain.

use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place as Where;
use backstraight_core::model::log::Report;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Complaint, Name, Skip};
use backstraight_core::view::screen::SessionScreen;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::draft::note;
use super::scene::Own;
use super::session::{At, Sheet};
use crate::kit::number::Steps;
use crate::kit::{Button, CautionBox, ChoiceRow, Combo, Kind, NumberField, Offer, TextField, Toaster};
use crate::parse;
use crate::words::say;

/// Another exercise in the place of a prescription: those that the coach allows, or any of the library.
#[component]
pub(crate) fn Swap(at: At, own: Own, screen: SessionScreen, item: Key) -> impl IntoView {
    let Some(found) = screen.item(&item) else { return ().into_any() };
    let mut allowed = found.shown.swaps.clone();
    if found.doing.ex != found.shown.ex {
        allowed.insert(0, (found.shown.ex.clone(), found.shown.name.clone()));
    }
    let take = move |ex: Key| at.sheet.set(Some(Sheet::Log { item: item.clone(), instead: Some(ex) }));
    let for_pick = take.clone();
    let pick = move |(key,): (String,)| {
        if let Ok(key) = key.parse() {
            for_pick(key);
        }
    };
    let none = allowed.is_empty().then(|| view! { <p class="soft">{say("swap.none")}</p> });
    let buttons = allowed.into_iter().map(|(ex, name)| {
        let take = take.clone();
        view! { <Button label=name big=true full=true on_press=move || take(ex.clone()) /> }
    });
    view! {
        <div class="stack">
            <h3>{say("swap.allowed")}</h3>
            {none}
            {buttons.collect_view()}
            <h3>{say("swap.other")}</h3>
            <p class="soft">{say("swap.other.hint")}</p>
            <Combo label=say("swap.search") offers=exercises(&own) text=RwSignal::new(String::new()) on_pick=pick />
        </div>
    }
    .into_any()
}

fn exercises(own: &Own) -> Signal<Vec<Offer>> {
    let live = own.library.exercises.values().filter(|e| e.live());
    let mut offers: Vec<Offer> = live
        .map(|e| Offer {
            key: e.key().to_string(),
            text: e.record.name.to_string(),
            detail: e.record.pattern.word().to_owned(),
        })
        .collect();
    offers.sort_by(|a, b| a.text.cmp(&b.text));
    Signal::stored(offers)
}

/// An exercise beside the plan.
#[component]
pub(crate) fn More(at: At, own: Own) -> impl IntoView {
    let pick = move |(key,): (String,)| {
        if let Ok(key) = key.parse() {
            at.sheet.set(Some(Sheet::Extra(key)));
        }
    };
    view! {
        <p>{say("extra.text")}</p>
        <Combo label=say("swap.search") offers=exercises(&own) text=RwSignal::new(String::new()) on_pick=pick />
    }
}

/// Why a prescription, or the whole session, is left out.
#[component]
pub(crate) fn Leave(at: At, screen: SessionScreen, item: Option<Key>) -> impl IntoView {
    let words = RwSignal::new(String::new());
    let error = RwSignal::new(None);
    let whole = item.is_none();
    let go = move |why: Skip| {
        let note = match note(&words.get_untracked()) {
            Ok(note) => note,
            Err(text) => return error.set(Some(text)),
        };
        let (now, mut key) = (at.hub.now(), || at.hub.key());
        match item.as_ref().and_then(|i| screen.item(i)) {
            Some(found) => {
                let commands = screen.skip(found, why, note, now, &mut key);
                at.run(&screen, commands, say("leave.said"));
            }
            None => {
                let command = screen.leave_out(why, note, now, &mut key);
                at.run(&screen, vec![command], say("leave.said-all"));
            }
        }
    };
    let buttons = Skip::ALL.iter().map(|why| {
        let why = *why;
        let go = go.clone();
        view! { <Button label=why.word().to_owned() big=true full=true on_press=move || go(why) /> }
    });
    view! {
        <div class="stack">
            <p>{if whole { say("leave.text-all") } else { say("leave.text") }}</p>
            <TextField label=say("leave.note") value=words lines=true most=500 error=error />
            {buttons.collect_view()}
        </div>
    }
}

/// Another place: targets are resolved for its bars and discs.
#[component]
pub(crate) fn Place(at: At, own: Own) -> impl IntoView {
    let venues = own.library.venues.values().filter(|v| v.live());
    let buttons: Vec<_> = venues
        .map(|v| {
            let key = v.key();
            let take = move || {
                at.venue.set(Some(key.clone()));
                at.sheet.set(None);
            };
            view! { <Button label=v.record.name.to_string() big=true full=true on_press=take /> }
        })
        .collect();
    let none = buttons.is_empty().then(|| view! { <p>{say("place.none")}</p> });
    view! { <div class="stack"><p>{say("place.text")}</p>{none}{buttons}</div> }
}

/// Something hurts: a report in the athlete's own words, in the document that only the athlete and care staff
/// read unless the athlete opened it to coaches.
#[component]
pub(crate) fn Pain(at: At, screen: SessionScreen) -> impl IntoView {
    let kind = RwSignal::new(Some(Complaint::Pain));
    let (area, level, words) =
        (RwSignal::new(String::new()), RwSignal::new(String::new()), RwSignal::new(String::new()));
    let wrong = RwSignal::new(None::<String>);
    let toaster = Toaster::here();
    let session = screen.begun.as_ref().map(|b| b.key.clone());
    let save = move || {
        let level = parse::optional(&level.get_untracked(), parse::effort);
        let area = area.get_untracked();
        let area = (!area.trim().is_empty()).then(|| Name::new(area.trim()));
        let (level, area, text) = match (level, area.transpose(), note(&words.get_untracked())) {
            (Ok(level), Ok(area), Ok(text)) => (level, area, text),
            (Err(text), ..) => return wrong.set(Some(text)),
            (_, Err(error), _) => return wrong.set(Some(error.to_string())),
            (.., Err(text)) => return wrong.set(Some(text)),
        };
        let report = Report {
            area,
            level,
            text,
            session: session.clone(),
            ..Report::new(at.hub.now(), kind.get_untracked().unwrap_or(Complaint::Pain))
        };
        let hub = at.hub;
        let command =
            Command::Add(vec![New { place: Where::of("reports", &hub.key()), record: report.into() }]);
        at.sheet.set(None);
        spawn_local(async move {
            match hub.run(DocName::Care(hub.me().person), &command).await {
                Ok(_) => toaster.say(say("pain.saved")),
                Err(error) => toaster.say(error.to_string()),
            }
        });
    };
    let kinds = vec![
        (Complaint::Pain, say("pain.pain").to_owned()),
        (Complaint::Illness, say("pain.illness").to_owned()),
    ];
    view! {
        <div class="stack">
            <CautionBox text=say("pain.caution") />
            <ChoiceRow label=say("pain.kind") options=kinds value=kind big=true />
            <TextField label=say("pain.area") value=area hint=say("pain.area.hint") most=60 />
            <NumberField label=say("pain.level") value=level steps=Steps::whole(1, 0, 10) big=true hint=say("pain.level.hint") />
            <TextField label=say("pain.words") value=words lines=true most=500 />
            <p class="wrong" role="alert">{move || wrong.get()}</p>
            <p class="soft">{say("pain.who-reads")}</p>
            <Button label=say("pain.save").to_owned() kind=Kind::Main big=true full=true on_press=save />
        </div>
    }
}
