//! What the rules of the plans propose. The server lists it; a decision is made on the plan as it is on this device,
//! by core, and works without a connection. Nothing changes by itself.

use std::collections::BTreeSet;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::doc::command::Command;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::SeasonNo;
use backstraight_core::model::plan::Prescription;
use backstraight_core::model::rule::ProposalId;
use backstraight_core::view::board::Athlete;
use backstraight_core::view::proposal::{Hand, Proposal, Stale, gone, proposals};
use leptos::prelude::*;
use serde::Deserialize;

use super::answers::{Why, day_text};
use super::asked::{ask, question};
use super::dose::{Slot, slots, typed};
use super::parts::{Pages, why_of};
use crate::deed::carry_out;
use crate::error::AppError;
use crate::hub::{Hub, use_hub};
use crate::kit::number::MassesSetting;
use crate::kit::{Button, CautionBox, Dialog, EmptyState, ErrorBox, Kind, TextField, Toaster, Trouble};
use crate::parse::Masses;
use crate::route::{Route, Section};
use crate::screens::head;
use crate::words::{say, say_n, say_with};

/// What the server proposes.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Answer {
    /// For the next page.
    #[serde(default)]
    pub next: Option<String>,
    /// Athletes by name.
    pub athletes: Vec<OfAthlete>,
}

/// What is proposed for one athlete.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct OfAthlete {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// Open proposals.
    pub open: Vec<One>,
    /// Rules that propose nothing.
    #[serde(default)]
    pub quiet: Vec<QuietRule>,
}

/// A proposal as the server tells it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct One {
    /// Its name.
    pub id: String,
    /// Key of the planned session.
    pub session: String,
    /// Its day.
    pub date: String,
    /// The day of what was done.
    pub done_on: String,
    /// The exercise.
    pub exercise: String,
    /// What is asked now.
    pub from: String,
    /// What would be asked.
    pub to: String,
    /// In words.
    pub words: String,
    /// Its numbers and the rule.
    pub why: Why,
}

/// Why a rule proposes nothing.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct QuietRule {
    /// The exercise.
    pub exercise: String,
    /// Why.
    pub why: String,
}

/// What became of a proposal on this device.
enum Here {
    /// It is open here too.
    Open(Box<Proposal>),
    /// It is not, because of that.
    Gone(Stale),
    /// The athlete's plan is not on this device yet.
    NoPlan,
}

fn here(hub: Hub, person: PersonId, one: &One, today: Day) -> Result<Here, AppError> {
    let odd = |what: &str| AppError::Answer(format!("{what} is not well formed"));
    let id: ProposalId = one.id.parse().map_err(|_| odd("a proposal's name"))?;
    let session = one.session.parse().map_err(|_| odd("a session's key"))?;
    untrack(|| {
        hub.read_with(|device, readings| {
            let plans = readings.plans(device, person)?;
            if plans.is_empty() {
                return Ok(Here::NoPlan);
            }
            let library = readings.library(device)?;
            let done = readings.done(device, person, today)?;
            let athlete =
                Athlete { person, name: "", events: "", plans: &plans, done: &done, heard_through: None };
            let found = proposals(athlete, &library, today).open.into_iter().find(|p| p.id == id);
            Ok(match found {
                Some(proposal) => Here::Open(Box::new(proposal)),
                None => {
                    let plan = plans.holding(|p| p.item(&id.item).is_some());
                    Here::Gone(plan.map_or(Stale::Withdrawn, |(_, p)| gone(&id, &session, p, today)))
                }
            })
        })
    })
}

/// In words, why a proposal cannot be decided here.
fn gone_words(why: Stale) -> &'static str {
    match why {
        Stale::Past => say("proposals.past"),
        Stale::Withdrawn => say("proposals.withdrawn"),
        Stale::Changed => say("proposals.changed"),
        Stale::Decided => say("proposals.decided"),
    }
}

/// What is being edited.
#[derive(Debug, Clone)]
struct Editing {
    name: String,
    of: PersonId,
    proposal: Proposal,
}

/// What the parts of the screen share.
#[derive(Debug, Clone, Copy)]
struct At {
    hub: Hub,
    today: Day,
    toaster: Toaster,
    decided: RwSignal<BTreeSet<String>>,
    editing: RwSignal<Option<Editing>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Decision {
    Accept,
    Dismiss,
}

impl At {
    fn hand(self) -> Hand {
        Hand { key: self.hub.key(), by: self.hub.me().person, at: self.hub.now(), note: None }
    }

    /// The proposal as it is on this device; says why there is none.
    fn open(self, person: PersonId, one: &One) -> Option<Proposal> {
        match here(self.hub, person, one, self.today) {
            Ok(Here::Open(proposal)) => Some(*proposal),
            Ok(Here::Gone(why)) => {
                self.toaster.say(gone_words(why));
                None
            }
            Ok(Here::NoPlan) => {
                self.toaster.say(say("proposals.no-plan"));
                None
            }
            Err(error) => {
                self.toaster.say(error.to_string());
                None
            }
        }
    }

    fn run(self, (person, season): (PersonId, SeasonNo), id: String, command: Command, said: &'static str) {
        let stands = move |stands| {
            self.decided.update(|d| {
                if stands {
                    d.insert(id.clone());
                } else {
                    d.remove(&id);
                }
            });
        };
        let doc = DocName::Plan(person, season);
        carry_out(self.hub, self.toaster, doc, vec![command], said, stands);
    }

    fn decide(self, person: PersonId, one: &One, decision: Decision) {
        let Some(proposal) = self.open(person, one) else { return };
        let (command, said) = match decision {
            Decision::Accept => (proposal.accept(self.hand()), say("proposals.accepted")),
            Decision::Dismiss => (proposal.dismiss(self.hand()), say("proposals.dismissed")),
        };
        self.run((person, proposal.season), one.id.clone(), command, said);
    }

    fn edit(self, person: PersonId, one: &One) {
        if let Some(proposal) = self.open(person, one) {
            self.editing.set(Some(Editing { name: one.exercise.clone(), of: person, proposal }));
        }
    }
}

/// The screen.
#[component]
pub fn Proposals() -> impl IntoView {
    let hub = use_hub();
    head(say("way.proposals"), say("proposals.under"));
    let Some(today) = hub.today() else {
        return view! { <EmptyState title=say("coach.clock") text=say("coach.clock.text") /> }.into_any();
    };
    let at = At {
        hub,
        today,
        toaster: Toaster::here(),
        decided: RwSignal::new(BTreeSet::new()),
        editing: RwSignal::new(None),
    };
    let pages = Pages::new();
    let path = Signal::derive(move || {
        let (today, after) = (today.to_string(), pages.begins_after());
        let mut asks = vec![("limit", "100"), ("today", today.as_str())];
        asks.extend(after.as_deref().map(|after| ("after", after)));
        question("/v1/proposals", &asks)
    });
    let answer = ask::<Answer>(hub, path);
    let shown = move |list: &Answer| {
        let open = |a: &OfAthlete| at.decided.with(|d| a.open.iter().any(|p| !d.contains(&p.id)));
        let some: Vec<&OfAthlete> = list.athletes.iter().filter(|a| open(a)).collect();
        let none = some.is_empty().then(|| {
            view! { <EmptyState title=say("proposals.none") text=say("proposals.none.text") /> }
        });
        let turn = pages.buttons(list.next.clone(), say("attention.back"), say("attention.next"));
        view! {
            {none}
            <ul class="reasons-list">{some.into_iter().map(|a| athlete(at, a)).collect_view()}</ul>
            {quiet(&list.athletes)}
            {turn}
        }
        .into_any()
    };
    let title =
        Signal::derive(move || at.editing.with(|e| e.as_ref().map_or_else(String::new, |e| e.name.clone())));
    view! {
        <div class="stack">{answer.shown(shown)}</div>
        <Dialog title=title open=Signal::derive(move || at.editing.with(Option::is_some))
            on_close=move || at.editing.set(None) sheet=true>
            {move || at.editing.get().map(|editing| view! { <Edit at=at editing=editing /> })}
        </Dialog>
    }
    .into_any()
}

fn athlete(at: At, a: &OfAthlete) -> impl IntoView + use<> {
    let id = a.id.parse::<PersonId>().ok();
    let link = id.map(|id| Route::Athlete(id, Section::Overview).href());
    let cards = at.decided.with(|d| {
        a.open
            .iter()
            .filter(|p| !d.contains(&p.id))
            .filter_map(|p| Some(one(at, id?, &a.name, p).into_any()))
            .collect_view()
    });
    view! {
        <li class="card">
            <h2><a class="name" href=link>{a.name.clone()}</a></h2>
            {cards}
        </li>
    }
}

fn one(at: At, person: PersonId, name: &str, p: &One) -> impl IntoView + use<> {
    let caution = p.why.caution.clone().map(|c| view! { <CautionBox text=c.words /> });
    let days = say_with("proposals.days", &[("day", &day_text(&p.date)), ("done", &day_text(&p.done_on))]);
    let of = say_with("proposals.of", &[("name", name), ("exercise", &p.exercise)]);
    let (accepted, edited, dismissed) = (p.clone(), p.clone(), p.clone());
    let key = [("of", of.as_str())];
    view! {
        <article class="stack tight proposal">
            <h3>{p.exercise.clone()}</h3>
            <p class="soft">{days}</p>
            <dl class="facts">
                <dt>{say("proposals.from")}</dt>
                <dd>{p.from.clone()}</dd>
                <dt>{say("proposals.to")}</dt>
                <dd class="value">{p.to.clone()}</dd>
            </dl>
            <p>{p.words.clone()} {why_of(&of, Some(&p.why))}</p>
            {caution}
            <div class="row" role="group" aria-label=say_with("proposals.decide", &key)>
                <Button label=say("proposals.accept").to_owned() on_press=move || at.decide(person, &accepted, Decision::Accept) />
                <Button label=say("proposals.edit").to_owned() on_press=move || at.edit(person, &edited) />
                <Button label=say("proposals.dismiss").to_owned() kind=Kind::Quiet on_press=move || at.decide(person, &dismissed, Decision::Dismiss) />
            </div>
        </article>
    }
}

fn quiet(athletes: &[OfAthlete]) -> Option<impl IntoView + use<>> {
    let all: Vec<String> = athletes
        .iter()
        .flat_map(|a| a.quiet.iter().map(move |q| format!("{}, {}: {}", a.name, q.exercise, q.why)))
        .collect();
    (!all.is_empty()).then(|| {
        let n = u64::try_from(all.len()).unwrap_or(u64::MAX);
        let items = all.into_iter().map(|text| view! { <li>{text}</li> }).collect_view();
        view! {
            <details class="more">
                <summary>{say_n("proposals.quiet", n, &[])}</summary>
                <ul class="dashes">{items}</ul>
            </details>
        }
    })
}

#[component]
fn Edit(at: At, editing: Editing) -> impl IntoView {
    let masses = use_context::<MassesSetting>().map_or(Masses::Kilograms, |m| m.0.get_untracked());
    let to: Prescription = editing.proposal.to.clone();
    let fields: Vec<(Slot, RwSignal<String>)> =
        slots(&to, masses).into_iter().map(|(slot, text)| (slot, RwSignal::new(text))).collect();
    let wrong = RwSignal::new(None::<(Slot, String)>);
    let inputs = fields
        .iter()
        .map(|(slot, value)| {
            let this = *slot;
            let error = Signal::derive(move || {
                wrong.with(|w| w.as_ref().filter(|(s, _)| *s == this).map(|(_, text)| text.clone()))
            });
            view! { <TextField label=slot.label() value=*value error=error most=16 /> }
        })
        .collect_view();
    let refused = RwSignal::new(None::<&'static str>);
    let save = move || {
        let texts: Vec<(Slot, String)> = fields.iter().map(|(s, v)| (*s, v.get_untracked())).collect();
        let to = match typed(&to, &texts, masses) {
            Ok(to) => to,
            Err(why) => {
                wrong.set(Some(why));
                return;
            }
        };
        wrong.set(None);
        // The plan may have moved on while the form was open.
        let doc = DocName::Plan(editing.of, editing.proposal.season);
        let plan = untrack(|| at.hub.read_with(|device, readings| readings.plan(device, doc)));
        let stale = plan.ok().and_then(|plan| editing.proposal.stale(&plan, at.today));
        if let Some(why) = stale {
            refused.set(Some(gone_words(why)));
            return;
        }
        let command = editing.proposal.edit(to, at.hand());
        at.editing.set(None);
        at.run(
            (editing.of, editing.proposal.season),
            editing.proposal.id.to_string(),
            command,
            say("proposals.edited"),
        );
    };
    view! {
        <form class="stack" on:submit=|e| e.prevent_default()>
            <p>{say("proposals.edit.text")}</p>
            {inputs}
            {move || refused.get().map(|why| {
                let trouble = Trouble { what: why.to_owned(), todo: say("proposals.refused").to_owned() };
                view! { <ErrorBox trouble=trouble /> }
            })}
            <Button label=say("proposals.edit.save").to_owned() kind=Kind::Main full=true on_press=save />
        </form>
    }
}
