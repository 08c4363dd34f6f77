//! One session on the desk: its fields, its groups and what is in them, cautions, and places where two edits met.
//! Each field is saved by itself, so that what somebody else changes beside it survives.

use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::Command;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Form;
use backstraight_core::model::plan::{Group, Session};
use backstraight_core::view::caution;
use backstraight_core::view::library::Library;
use backstraight_core::view::met::{MetHere, in_words};
use backstraight_core::view::planned::{PlannedGroup, PlannedSession};
use leptos::prelude::*;
use leptos::task::spawn_local;
use wasm_bindgen::JsCast as _;

use super::cell::{Cell, Pick};
use super::deeds::{self, Way};
use super::fields::{self, OfGroup, OfSession};
use super::give::{FromTemplate, Gift, keep_as_template};
use super::item::ItemView;
use super::scene::{Desk, belongs, writer};
use super::week::At;
use crate::kit::{Button, CautionBox, Combo, EmptyState, Kind, Offer, dates};
use crate::platform::clock::pause;
use crate::words::{say, say_n, say_with};

/// One session in its editor.
#[derive(Debug, Clone, Copy)]
pub struct In {
    /// The desk.
    pub at: At,
    /// Whose.
    pub who: PersonId,
    /// The document; none while there is no such athlete.
    pub doc: Memo<Option<DocName>>,
    /// The session as it stands; none when it is gone.
    pub session: Memo<Option<PlannedSession>>,
}

impl In {
    /// The library as it stands, without being told of later changes.
    pub fn with_library<T>(self, f: impl FnOnce(&Library) -> T) -> Option<T> {
        let library = self.at.bench.hub.peek(|device| device.library()).ok()?;
        Some(f(&library))
    }

    /// Carries out a command of this document.
    pub fn run(self, command: Option<Command>, said: &'static str) {
        if let (Some(doc), Some(command)) = (self.doc.get_untracked(), command) {
            self.at.bench.run(vec![(doc, command)], said);
        }
    }

    /// Saves an edit of a field.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn save(self, command: Option<Command>) -> Result<(), String> {
        match self.doc.get_untracked() {
            Some(doc) => self.at.bench.quietly(doc, command, say("desk.edited")),
            None => Ok(()),
        }
    }

    /// Does something with a group as it stands.
    pub fn with_group<T>(self, key: &Key, f: impl FnOnce(&PlannedSession, &PlannedGroup) -> T) -> Option<T> {
        self.session.with_untracked(|s| {
            let session = s.as_ref()?;
            let group = session.groups.iter().find(|g| g.group.key() == *key)?;
            Some(f(session, group))
        })
    }
}

/// Exercises to choose from.
#[must_use]
pub fn exercise_offers(library: &Library) -> Vec<Offer> {
    let mut all: Vec<Offer> = library
        .exercises
        .iter()
        .filter(|(_, e)| e.live())
        .map(|(key, e)| Offer {
            key: key.to_string(),
            text: e.record.name.to_string(),
            detail: format!("{}, {}", e.record.pattern, e.record.intent),
        })
        .collect();
    all.sort_by(|a, b| a.text.cmp(&b.text));
    all
}

/// The editor of a session.
#[component]
pub fn Editor(
    /// The desk.
    at: At,
    /// Whose session.
    who: PersonId,
    /// Which.
    session: Key,
) -> impl IntoView {
    let hub = at.bench.hub;
    let read = move || Desk::read(hub, at.whose, at.week.get()).ok();
    let own = session.clone();
    let doc = Memo::new(move |_| read()?.place(who)?.holding(&own).map(|p| p.doc));
    let own = session.clone();
    let found = Memo::new(move |_| read()?.place(who)?.plans.session(&own).map(|s| s.planned.clone()));
    let here = In { at, who, doc, session: found };
    let groups = move || {
        found
            .with(|s| s.as_ref().map(|s| s.groups.iter().map(|g| g.group.key()).collect::<Vec<_>>()))
            .unwrap_or_default()
    };
    let offers = Memo::new(move |_| {
        let library = hub.read_with(|device, readings| readings.library(device));
        library.map(|l| exercise_offers(&l)).unwrap_or_default()
    });
    let typed = RwSignal::new(String::new());
    let add = move |key: String| {
        let Ok(ex) = key.parse::<Key>() else { return };
        let command =
            found.with_untracked(|s| s.as_ref().map(|s| deeds::add_exercise(s, &ex, &mut || hub.key())));
        here.run(command, say("desk.exercise-added"));
        typed.set(String::new());
    };
    let there = Memo::new(move |_| found.with(Option::is_some));
    let key = StoredValue::new(session);
    view! {
        <div class="desk-editor stack">
            {move || if there.get() { view! {
                <div class="row apart">
                    <p class="soft">{move || found.with(|s| s.as_ref().map(|s| dates::full(s.session.record.date)))}</p>
                    <div class="row">
                        <Button label=say("desk.undo").to_owned() kind=Kind::Quiet on_press=move || at.bench.undo() />
                        <Button label=say("kit.close").to_owned() kind=Kind::Quiet on_press=move || at.open.set(None) />
                    </div>
                </div>
                <MetBoxes here=here />
                <Head here=here />
                <Cautions here=here />
                <For each=groups key=|k| k.clone() let:group>
                    <GroupView here=here group=group offers=offers />
                </For>
                <Combo label=say("desk.add-exercise") offers=offers text=typed on_pick=add hint=say("desk.add-exercise.hint") />
                <FromTemplate here=here />
                <div class="row">
                    <Button label=say("give.session").to_owned()
                        on_press=move || at.gift.set(Some(Gift::Sessions(who, vec![key.get_value()]))) />
                    <Button label=say("template.keep").to_owned() on_press=move || keep_as_template(here) />
                </div>
                <Button label=say("desk.withdraw").to_owned() kind=Kind::Grave
                    on_press=move || at.withdraw(who, &key.get_value()) />
            }.into_any() } else { view! {
                <EmptyState title=say("desk.session-gone") text=say("desk.session-gone.text") />
            }.into_any() }}
        </div>
    }
}

/// Puts the focus into the first field of the session that is open, with its text marked so that typing replaces it.
pub fn enter() {
    spawn_local(async {
        pause(0).await;
        let found = document().query_selector(".desk-editor .cells input").ok().flatten();
        if let Some(field) = found.and_then(|e| e.dyn_into::<web_sys::HtmlInputElement>().ok()) {
            // Without the focus the field can still be reached.
            let _ = field.focus();
            field.select();
        }
    });
}

/// What is always in sight of a session; the rest is unfolded.
const FIRST: [OfSession; 4] = [OfSession::Title, OfSession::Day, OfSession::Minutes, OfSession::Effort];

#[component]
fn Head(here: In) -> impl IntoView {
    if here.at.enter.get_untracked() {
        here.at.enter.set(false);
        enter();
    }
    let cell = move |field: OfSession| {
        let value = Signal::derive(move || {
            here.session.with(|s| {
                s.as_ref().map_or_else(String::new, |s| fields::print_session(&s.session.record, field))
            })
        });
        let save = move |text: String| {
            let next = here.session.with_untracked(|s| {
                let entry = &s.as_ref()?.session;
                Some(fields::read_session(&entry.record, field, &text).map(|to| deeds::edit(entry, to)))
            });
            next.map_or(Ok(()), |next| next.and_then(|command| here.save(command)))
        };
        let input_type = if field == OfSession::Day { "date" } else { "text" };
        let lines = field == OfSession::Note;
        view! { <Cell label=field.label().text() value=value save=save input_type=input_type lines=lines /> }
    };
    let venues = here.with_library(|l| {
        let live = l.venues.iter().filter(|(_, v)| v.live());
        live.map(|(k, v)| (k.to_string(), v.record.name.to_string())).collect::<Vec<_>>()
    });
    let mut options = vec![(String::new(), say("field.none").to_owned())];
    options.extend(venues.unwrap_or_default());
    let venue = Signal::derive(move || {
        here.session
            .with(|s| s.as_ref().and_then(|s| s.session.record.venue.clone()))
            .map_or_else(String::new, |k| k.to_string())
    });
    let save = move |text: String| {
        let command = here.session.with_untracked(|s| {
            let entry = &s.as_ref()?.session;
            deeds::edit(entry, Session { venue: text.parse().ok(), ..entry.record.clone() })
        });
        here.save(command)
    };
    view! {
        <div class="cells">{FIRST.iter().map(|f| cell(*f)).collect_view()}</div>
        <details class="more">
            <summary>{say("desk.more-of-session")}</summary>
            <div class="cells">
                <Pick label=say("field.venue") options=options value=venue save=save />
                {OfSession::ALL.iter().filter(|f| !FIRST.contains(f)).map(|f| cell(*f)).collect_view()}
            </div>
        </details>
    }
}

#[component]
fn Cautions(here: In) -> impl IntoView {
    let hub = here.at.bench.hub;
    // Kept apart from what is drawn, so that what is unfolded stays so when something else changes.
    let found = Memo::new(move |_| {
        let desk = Desk::read(hub, here.at.whose, here.at.week.get()).ok()?;
        let born = desk.place(here.who)?.born;
        let session = here.session.get()?;
        let mut own: Vec<String> = session
            .items()
            .filter_map(|(_, i)| desk.library.exercises.get(&i.record.ex))
            .filter_map(|e| e.record.caution.as_ref().map(|c| format!("{}: {c}", e.record.name)))
            .collect();
        own.dedup();
        Some((caution::planned(&session, &desk.library, born), own))
    });
    move || {
        let (known, own) = found.get()?;
        let known =
            known.into_iter().map(|c| view! { <CautionBox caution=c.caution text=c.words /> }.into_any());
        let own = own.into_iter().map(|text| view! { <CautionBox text=text /> }.into_any());
        let boxes: Vec<AnyView> = known.chain(own).collect();
        let n = u64::try_from(boxes.len()).unwrap_or(0);
        (n > 0).then(|| {
            view! {
                <details class="more">
                    <summary>{say_n("desk.cautions", n, &[])}</summary>
                    <div class="stack tight">{boxes}</div>
                </details>
            }
        })
    }
}

#[component]
fn MetBoxes(here: In) -> impl IntoView {
    let hub = here.at.bench.hub;
    let met = Memo::new(move |_| -> Option<Vec<MetHere>> {
        let desk = Desk::read(hub, here.at.whose, here.at.week.get()).ok()?;
        let session = here.session.get()?;
        let place = desk.place(here.who)?.holding(&session.key())?;
        let mine: Vec<_> =
            place.plan.met.iter().filter(|m| belongs(&session, m.place.keys.last())).cloned().collect();
        Some(in_words(&mine, &desk.library, &|install| writer(hub, install)))
    });
    let one = move |m: MetHere| {
        let choices = m
            .choices
            .into_iter()
            .map(|choice| {
                let (place, value) = (m.place.clone(), choice.value.clone());
                let field = m.field;
                let pick = move || {
                    let command = Command::Pick { place: place.clone(), field, value: value.clone() };
                    here.run(Some(command), say("desk.picked"));
                };
                let text = say_with("desk.met.choice", &[("words", &choice.words), ("who", &choice.who)]);
                view! { <Button label=text on_press=pick /> }
            })
            .collect_view();
        view! {
            <div class="box" role="group" aria-label=say("desk.met.title")>
                <h3>{say("desk.met.title")}</h3>
                <p>{say_with("desk.met.text", &[("field", &m.field.replace('_', " "))])}</p>
                <div class="row">{choices}</div>
            </div>
        }
    };
    move || met.get().unwrap_or_default().into_iter().map(one).collect_view()
}

/// A form of a group in words.
fn form_word(form: Form) -> &'static str {
    match form {
        Form::Single => say("group.single"),
        Form::Superset => say("group.superset"),
        Form::Contrast => say("group.contrast"),
        Form::Circuit => say("group.circuit"),
    }
}

#[component]
fn GroupView(here: In, group: Key, offers: Memo<Vec<Offer>>) -> impl IntoView {
    let key = StoredValue::new(group);
    let entry = Memo::new(move |_| {
        here.session.with(|s| {
            let groups = &s.as_ref()?.groups;
            groups.iter().find(|g| g.group.key() == key.get_value()).map(|g| g.group.clone())
        })
    });
    let items = move || {
        here.session
            .with(|s| {
                let groups = &s.as_ref()?.groups;
                let group = groups.iter().find(|g| g.group.key() == key.get_value())?;
                Some(group.items.iter().map(|i| i.key()).collect::<Vec<_>>())
            })
            .unwrap_or_default()
    };
    let cell = move |field: OfGroup| {
        let value = Signal::derive(move || {
            entry.with(|e| e.as_ref().map_or_else(String::new, |e| fields::print_group(&e.record, field)))
        });
        let save = move |text: String| {
            let next = entry.with_untracked(|e| {
                let entry = e.as_ref()?;
                Some(fields::read_group(&entry.record, field, &text).map(|to| deeds::edit(entry, to)))
            });
            next.map_or(Ok(()), |next| next.and_then(|command| here.save(command)))
        };
        view! { <Cell label=field.label().text() value=value save=save /> }
    };
    let forms = Form::ALL.iter().map(|f| (f.word().to_owned(), form_word(*f).to_owned())).collect();
    let form = Signal::derive(move || {
        entry.with(|e| e.as_ref().map_or_else(String::new, |e| e.record.form.word().to_owned()))
    });
    let save_form = move |text: String| {
        let command = entry.with_untracked(|e| {
            let (entry, form) = (e.as_ref()?, text.parse().ok()?);
            deeds::edit(entry, Group { form, ..entry.record.clone() })
        });
        here.save(command)
    };
    let shift = move |way: Way| {
        let command = here.session.with_untracked(|s| deeds::shift_group(s.as_ref()?, &key.get_value(), way));
        here.run(command, say("desk.shifted"));
    };
    let withdraw = move || {
        let command =
            here.with_group(&key.get_value(), |_, g| Command::Withdraw(vec![g.group.place.clone()]));
        here.run(command, say("desk.withdrawn"));
    };
    let typed = RwSignal::new(String::new());
    let add = move |ex: String| {
        let Ok(ex) = ex.parse::<Key>() else { return };
        let commands = here
            .with_group(&key.get_value(), |_, g| deeds::add_to_group(g, &ex, &mut || here.at.bench.hub.key()))
            .unwrap_or_default();
        if let Some(doc) = here.doc.get_untracked() {
            here.at.bench.run(commands.into_iter().map(|c| (doc, c)).collect(), say("desk.exercise-added"));
        }
        typed.set(String::new());
    };
    view! {
        <div class="desk-group card" role="group" aria-label=move || form.get()>
            <For each=items key=|k| k.clone() let:item>
                <ItemView here=here group=key item=item offers=offers />
            </For>
            <details class="more">
                <summary>{move || say_with("desk.group", &[("form", entry.with(|e| e.as_ref().map_or("", |e| form_word(e.record.form))))])}</summary>
                <div class="cells">
                    <Pick label=say("field.form") options=forms value=form save=save_form />
                    {OfGroup::ALL.iter().map(|f| cell(*f)).collect_view()}
                </div>
                <Combo label=say("desk.add-to-group") offers=offers text=typed on_pick=add />
                <div class="row">
                    <Button label=say("desk.group-up").to_owned() on_press=move || shift(Way::Up) />
                    <Button label=say("desk.group-down").to_owned() on_press=move || shift(Way::Down) />
                    <Button label=say("desk.withdraw-group").to_owned() kind=Kind::Grave on_press=withdraw />
                </div>
            </details>
        </div>
    }
}
