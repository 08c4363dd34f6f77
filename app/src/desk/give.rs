//! Giving a session or a week to members of the squad: whom, what would happen to each, how far it is, and the way
//! back. And templates: a session kept in the library, and taken from it.

use std::collections::BTreeMap;

use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place as Spot;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::{Group, Prescription, Session, SquadSession, Template};
use backstraight_core::view::planned::{PlannedGroup, PlannedSession};
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::deeds::copy_groups;
use super::editor::In;
use super::many::{Outcome, Past, Target, give};
use super::scene::{Desk, Place};
use super::undo::Steps;
use super::week::At;
use crate::error::AppError;
use crate::hub::Hub;
use crate::kit::{Button, Combo, Dialog, Kind, Offer, Progress};
use crate::words::{say, say_n, say_with};

/// What is given.
#[derive(Debug, Clone, PartialEq)]
pub enum Gift {
    /// Sessions of somebody's plan.
    Sessions(PersonId, Vec<Key>),
    /// A day of the whole squad: everybody finds it in their own plan.
    Day(Key),
}

/// A session that is given, with the document in which it stands.
type First = (DocName, PlannedSession);

/// The sessions that are given.
fn firsts(hub: Hub, desk: &Desk, gift: &Gift) -> Vec<First> {
    match gift {
        Gift::Sessions(who, keys) => {
            let Some(from) = desk.place(*who) else { return Vec::new() };
            let found = keys.iter().filter_map(|key| from.plans.session(key));
            found.map(|s| (DocName::Plan(*who, s.season), s.planned.clone())).collect()
        }
        Gift::Day(key) => {
            let day = desk.squad.days.iter().find(|d| d.key() == *key);
            let first = day.zip(desk.squad.id).map(|(day, squad)| (DocName::Squad(squad), of_day(hub, day)));
            first.into_iter().collect()
        }
    }
}

/// A squad's day as a session of a plan. Fields of the same name are the same in both.
fn of_day(hub: Hub, day: &Entry<SquadSession>) -> PlannedSession {
    let SquadSession { date, title, starts, venue, template, note } = day.record.clone();
    let groups = template.as_ref().map(|t| template_groups(hub, t)).unwrap_or_default();
    let record = Session { starts, venue, template, note, ..Session::new(date, title) };
    let session = Entry { place: day.place.clone(), record, gone: None, unread: Vec::new(), met: Vec::new() };
    PlannedSession { session, groups }
}

/// What would happen to one of them, in each of their plans: a week can lie in two seasons.
fn look(hub: Hub, firsts: &[First], to: &Place) -> Option<Vec<(DocName, Outcome)>> {
    let mut parts: BTreeMap<(DocName, DocName), (Place, Vec<&PlannedSession>)> = BTreeMap::new();
    for (source, planned) in firsts {
        let target = to.on(planned.session.record.date);
        let part = parts.entry((*source, target.doc)).or_insert_with(|| (target, Vec::new()));
        part.1.push(planned);
    }
    let mut all = Vec::new();
    for ((source, doc), (to, firsts)) in parts {
        let past = hub.peek(|device| device.document(source).map(Past::of)).ok()?;
        let records = hub.peek(|device| {
            let doc = device.document(doc)?;
            Ok::<_, AppError>((
                doc.records::<Group>("groups").entries,
                doc.records::<Prescription>("items").entries,
            ))
        });
        let (groups, items) = records.ok()?;
        let target = Target { plan: &to.plan, groups: &groups, items: &items };
        all.push((doc, give(&firsts, &past, target, &mut || hub.key())));
    }
    Some(all)
}

/// What would happen in all of them together.
fn sum(parts: &[(DocName, Outcome)]) -> Outcome {
    let mut all = Outcome::default();
    for (_, part) in parts {
        all.new += part.new;
        all.added += part.added;
        all.set += part.set;
        all.kept += part.kept;
        all.away += part.away;
        all.beside += part.beside;
    }
    all
}

/// What would happen, in words.
#[must_use]
pub fn words(outcome: &Outcome) -> String {
    let n = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
    let mut parts = Vec::new();
    if outcome.new > 0 {
        parts.push(say_n("give.new", n(outcome.new), &[]));
    }
    if outcome.added > 0 {
        parts.push(say_n("give.added", n(outcome.added), &[]));
    }
    if outcome.set > 0 {
        parts.push(say_n("give.set", n(outcome.set), &[]));
    }
    if outcome.kept > 0 {
        parts.push(say_n("give.kept", n(outcome.kept), &[]));
    }
    if outcome.away > 0 {
        parts.push(say_n("give.away", n(outcome.away), &[]));
    }
    if outcome.beside > 0 {
        parts.push(say_n("give.beside", n(outcome.beside), &[]));
    }
    if parts.is_empty() { say("give.same").to_owned() } else { parts.join(", ") }
}

/// The dialog in which something is given.
#[component]
pub fn Give(
    /// The desk.
    at: At,
    /// What is given; closed without.
    gift: RwSignal<Option<Gift>>,
) -> impl IntoView {
    let close = Callback::new(move |()| gift.set(None));
    let title = Signal::derive(move || {
        let of_day = gift.with(|g| matches!(g, Some(Gift::Day(_))));
        if of_day { say("give.title.day") } else { say("give.title") }.to_owned()
    });
    view! {
        <Dialog title=title
            open=Signal::derive(move || gift.with(Option::is_some)) on_close=close sheet=true>
            {move || gift.get().map(|gift| view! { <Inside at=at gift=gift close=close /> })}
        </Dialog>
    }
}

#[component]
fn Inside(at: At, gift: Gift, close: Callback<()>) -> impl IntoView {
    let hub = at.bench.hub;
    let desk = untrack(|| Desk::of_squad(hub, at.whose, at.week.get_untracked()));
    let Some(desk) = desk else {
        return view! { <p>{say("give.nobody")}</p> }.into_any();
    };
    let given = firsts(hub, &desk, &gift);
    let giver = match gift {
        Gift::Sessions(who, _) => Some(who),
        Gift::Day(_) => None,
    };
    let rows: Vec<(String, Outcome, Steps, RwSignal<bool>)> = desk
        .places
        .iter()
        .filter(|p| Some(p.who) != giver)
        .filter_map(|p| {
            let parts = look(hub, &given, p)?;
            let outcome = sum(&parts);
            let of = |(doc, part): (DocName, Outcome)| part.commands.into_iter().map(move |c| (doc, c));
            let steps: Steps = parts.into_iter().flat_map(of).collect();
            // Whoever has something else on these days is chosen by hand; a day of the squad is everybody's.
            let on = RwSignal::new(!steps.is_empty() && (outcome.beside == 0 || giver.is_none()));
            Some((p.name.clone(), outcome, steps, on))
        })
        .collect();
    if rows.is_empty() {
        return view! { <p>{say("give.nobody")}</p> }.into_any();
    }
    let list = rows
        .iter()
        .map(|(name, outcome, _, on)| {
            view! {
                <li class="row apart">
                    <crate::kit::Check label=name.clone() value=*on />
                    <span class="soft">{words(outcome)}</span>
                </li>
            }
        })
        .collect_view();
    let plain: Vec<(String, Steps, RwSignal<bool>)> =
        rows.into_iter().map(|(name, _, steps, on)| (name, steps, on)).collect();
    let plain = StoredValue::new(plain);
    let done = RwSignal::new(None::<(u32, u32)>);
    let failed = RwSignal::new(Vec::<String>::new());
    let go = move || {
        let wanted: Vec<_> = plain.with_value(|all| {
            all.iter().filter(|(_, steps, on)| on.get_untracked() && !steps.is_empty()).cloned().collect()
        });
        let all = u32::try_from(wanted.len()).unwrap_or(u32::MAX);
        if all == 0 || done.with_untracked(Option::is_some) {
            return;
        }
        done.set(Some((0, all)));
        spawn_local(async move {
            let (mut steps, mut n) = (Vec::new(), 0);
            for (name, todo, _) in wanted {
                let (did, trouble) = at.bench.carry_out(todo).await;
                steps.extend(did);
                if let Some(why) = trouble {
                    failed.update(|f| f.push(format!("{name}: {why}")));
                } else {
                    n += 1;
                }
                done.update(|d| *d = d.map(|(i, of)| (i + 1, of)));
            }
            let said = say_n("give.done", n, &[]);
            at.bench.remember(&steps, said.clone());
            at.bench.toaster.say(said);
            if failed.with_untracked(Vec::is_empty) {
                close.run(());
            }
        });
    };
    let loads = given.iter().any(|(_, s)| {
        s.items().any(|(_, i)| {
            matches!(i.record.intensity, Some(backstraight_core::model::packed::Intensity::Load(_)))
        })
    });
    view! {
        <div class="stack">
            <p>{say("give.text")}</p>
            {loads.then(|| view! { <p class="box">{say("give.loads")}</p> })}
            <ul class="stack tight">{list}</ul>
            {move || done.get().map(|d| view! {
                <Progress label=Signal::stored(say("give.busy").to_owned()) done=Signal::stored(Some(d)) />
            })}
            {move || failed.get().into_iter().map(|text| view! { <p class="wrong">{text}</p> }).collect_view()}
            <Button label=say("give.go").to_owned() kind=Kind::Main full=true on_press=go />
        </div>
    }
    .into_any()
}

/// A session as a template of the library.
pub fn keep_as_template(here: In) {
    let hub = here.at.bench.hub;
    let doc = DocName::Library(hub.me().club);
    let news = here.session.with_untracked(|s| {
        let session = s.as_ref()?;
        let own = hub.key();
        let record = Template {
            focus: session.session.record.focus.clone(),
            note: session.session.record.note.clone(),
            ..Template::new(session.session.record.title.clone())
        };
        let mut news = vec![New { place: Spot::of("templates", &own), record: record.into() }];
        news.extend(copy_groups(&session.groups, &own, &mut || hub.key()));
        Some(news)
    });
    if let Some(news) = news {
        here.at.bench.run(vec![(doc, Command::Add(news))], say("template.kept"));
    }
}

/// Groups of a template, in order.
fn template_groups(hub: Hub, template: &Key) -> Vec<PlannedGroup> {
    let doc = DocName::Library(hub.me().club);
    hub.peek(|device| {
        let Ok(doc) = device.document(doc) else { return Vec::new() };
        let items = doc.records::<Prescription>("items").entries;
        let mut groups: Vec<PlannedGroup> = doc
            .records::<Group>("groups")
            .live()
            .filter(|g| g.record.of == *template)
            .map(|g| {
                let own = g.key();
                let mut mine: Vec<_> =
                    items.iter().filter(|i| i.live() && i.record.of == own).cloned().collect();
                mine.sort_by_cached_key(|i| (i.record.pos.clone(), i.key()));
                PlannedGroup { group: g.clone(), items: mine }
            })
            .collect();
        groups.sort_by_cached_key(|g| (g.group.record.pos.clone(), g.group.key()));
        groups
    })
}

/// What fills an empty session: a template's groups. Nothing where the club has no template, or the session
/// has something in it.
#[component]
pub fn FromTemplate(
    /// The session.
    here: In,
) -> impl IntoView {
    let hub = here.at.bench.hub;
    let doc = DocName::Library(hub.me().club);
    let offers = Memo::new(move |_| -> Vec<Offer> {
        hub.read(|device| {
            let read = device.document(doc).map(|d| d.records::<Template>("templates")).unwrap_or_default();
            let offer = |t: &Entry<Template>| Offer {
                key: t.key().to_string(),
                text: t.record.title.to_string(),
                detail: t.record.focus.as_ref().map_or_else(String::new, ToString::to_string),
            };
            read.live().map(offer).collect()
        })
    });
    let typed = RwSignal::new(String::new());
    let empty = move || here.session.with(|s| s.as_ref().is_some_and(|s| s.groups.is_empty()));
    let take = move |key: String| {
        let Ok(template) = key.parse::<Key>() else { return };
        let groups = template_groups(hub, &template);
        let Some((session, doc)) = here.session.get_untracked().zip(here.doc.get_untracked()) else { return };
        let news = copy_groups(&groups, &session.key(), &mut || hub.key());
        if news.is_empty() {
            here.at.bench.toaster.say(say("template.empty"));
            return;
        }
        let mut to = session.session.record.clone();
        to.template = Some(template);
        let mut steps = vec![(doc, Command::Add(news))];
        steps.extend(super::deeds::edit(&session.session, to).map(|c| (doc, c)));
        here.at.bench.run(steps, say_with("template.taken", &[("title", &typed.get_untracked())]));
    };
    move || {
        (empty() && !offers.with(Vec::is_empty))
            .then(|| view! { <Combo label=say("template.from") offers=offers text=typed on_pick=take /> })
    }
}
