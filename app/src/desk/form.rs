//! Records as forms: a table of fields says what a record is made of, one component shows and saves it field by
//! field, another lists all of a kind. Knows no particular record.

use std::sync::Arc;

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::name::DocName;
use backstraight_core::model::spec::Record;
use backstraight_core::view::library::Library;
use leptos::prelude::*;

use super::bench::Bench;
use super::cell::{Cell, Pick};
use super::deeds;
use super::fields::Read;
use crate::kit::{Button, Kind as Weight, TextField};
use crate::words::{Word, say, say_with};

/// How a field is filled.
#[derive(Debug, Clone, Copy)]
pub enum How {
    /// A line of text.
    Text,
    /// A day.
    Date,
    /// Several lines.
    Lines,
    /// One of several.
    List(fn(&Library) -> Vec<(String, String)>),
}

/// A field of a record.
#[derive(Debug, Clone, Copy)]
pub struct FieldOf<R: 'static> {
    /// Its label.
    pub label: Word,
    /// What helps to fill it.
    pub hint: Option<Word>,
    /// How it is filled.
    pub how: How,
    /// From the record.
    pub print: fn(&R) -> String,
    /// To the record.
    pub read: fn(&R, &str) -> Read<R>,
}

/// A record that has a form.
pub trait Formed: Record + PartialEq + Into<AnyRecord> + Send + Sync + 'static {
    /// The map in which it stands.
    const ROOT: &'static str;
    /// Its fields.
    const FIELDS: &'static [FieldOf<Self>];
    /// What it is called in a list.
    fn title(&self, library: &Library) -> String;
    /// What it is sorted by.
    fn order(&self) -> String;
}

/// Makes a record of its name and today.
pub type Make<R> = fn(&str, Day) -> Read<R>;

/// Words of a list of words, the first for none.
#[must_use]
pub fn choices<T: ToString>(all: &[T], may_be_none: bool) -> Vec<(String, String)> {
    let none = may_be_none.then(|| (String::new(), say("field.none").to_owned()));
    none.into_iter().chain(all.iter().map(|w| (w.to_string(), w.to_string()))).collect()
}

/// Exercises of the library for a list, the first for none.
#[must_use]
pub fn exercises(library: &Library) -> Vec<(String, String)> {
    let offers = super::editor::exercise_offers(library).into_iter().map(|o| (o.key, o.text));
    std::iter::once((String::new(), say("field.none").to_owned())).chain(offers).collect()
}

/// The form of one record.
#[component]
pub fn RecordForm<R: Formed>(
    /// What was done.
    bench: Bench,
    /// The document.
    doc: DocName,
    /// The record as it stands.
    entry: Memo<Option<Entry<R>>>,
) -> impl IntoView {
    let library = bench.hub.peek(|device| device.library()).unwrap_or_default();
    let cells = R::FIELDS
        .iter()
        .map(|field| {
            let value = Signal::derive(move || {
                entry.with(|e| e.as_ref().map_or_else(String::new, |e| (field.print)(&e.record)))
            });
            let save = move |text: String| -> Result<(), String> {
                let next = entry.with_untracked(|e| {
                    let entry = e.as_ref()?;
                    Some((field.read)(&entry.record, &text).map(|to| deeds::edit(entry, to)))
                });
                next.map_or(Ok(()), |next| {
                    next.and_then(|command| bench.quietly(doc, command, say("desk.edited")))
                })
            };
            let (label, hint) = (field.label.text(), field.hint.map_or("", |h| h.text()));
            match field.how {
                How::Text => view! { <Cell label=label value=value save=save hint=hint /> }.into_any(),
                How::Date => view! { <Cell label=label value=value save=save hint=hint input_type="date" /> }
                    .into_any(),
                How::Lines => {
                    view! { <Cell label=label value=value save=save hint=hint lines=true /> }.into_any()
                }
                How::List(options) => {
                    view! { <Pick label=label options=options(&library) value=value save=save /> }.into_any()
                }
            }
        })
        .collect_view();
    view! { <div class="cells">{cells}</div> }
}

/// All records of a kind in a document, each with its form, and one more by its name.
#[component]
pub fn RecordList<R: Formed>(
    /// What was done.
    bench: Bench,
    /// The document.
    doc: DocName,
    /// What the field for a new one says, and what makes it of its name; none where it is made elsewhere.
    #[prop(optional_no_strip)]
    add: Option<(Word, Make<R>)>,
    /// What is said while there is none.
    none: Word,
) -> impl IntoView {
    let hub = bench.hub;
    let all = Memo::new(move |_| {
        hub.read(|device| {
            let read = device.document(doc).map(|d| d.records::<R>(R::ROOT).entries).unwrap_or_default();
            let mut live: Vec<(String, Key)> =
                read.iter().filter(|e| e.live()).map(|e| (e.record.order(), e.key())).collect();
            live.sort();
            live.into_iter().map(|(_, key)| key).collect::<Vec<_>>()
        })
    });
    let filter = RwSignal::new(String::new());
    let name = RwSignal::new(String::new());
    let error = RwSignal::new(None::<String>);
    let go = move || {
        let (Some(today), Some((_, make))) = (hub.today(), add) else { return };
        match make(&name.get_untracked(), today) {
            Ok(record) => {
                let place = Place::of(R::ROOT, &hub.key());
                bench.run(
                    vec![(doc, Command::Add(vec![New { place, record: record.into() }]))],
                    say("form.added"),
                );
                name.set(String::new());
                error.set(None);
            }
            Err(why) => error.set(Some(why)),
        }
    };
    let many = move || all.with(Vec::len) > 12;
    view! {
        <div class="stack">
            {add.map(|(label, _)| view! {
                <form class="row desk-form" on:submit=move |e| { e.prevent_default(); go(); }>
                    <TextField label=label.text() value=name error=error />
                    <Button label=say("form.add").to_owned() submit=true on_press=|| () />
                </form>
            })}
            {move || many().then(|| view! { <TextField label=say("form.filter") value=filter /> })}
            {move || all.with(Vec::is_empty).then(|| view! { <p class="soft">{none.text()}</p> })}
            <ul class="stack tight">
                <For each=move || all.get() key=|k| k.clone() let:key>
                    <OneRecord<R> bench=bench doc=doc record=key filter=filter />
                </For>
            </ul>
        </div>
    }
}

#[component]
fn OneRecord<R: Formed>(
    bench: Bench,
    doc: DocName,
    record: Key,
    filter: RwSignal<String>,
    #[prop(optional)] _kind: core::marker::PhantomData<fn() -> R>,
) -> impl IntoView {
    let hub = bench.hub;
    let place = Arc::new(Place::of(R::ROOT, &record));
    let at = Arc::clone(&place);
    let entry: Memo<Option<Entry<R>>> =
        Memo::new(move |_| hub.read(|device| device.document(doc).ok()?.record::<R>(&at).ok().flatten()));
    let library = move || hub.read_with(|device, readings| readings.library(device)).unwrap_or_default();
    let title = move || entry.with(|e| e.as_ref().map_or_else(String::new, |e| e.record.title(&library())));
    let hidden = move || {
        let wanted = filter.get().trim().to_lowercase();
        !wanted.is_empty() && !title().to_lowercase().contains(&wanted)
    };
    let open = RwSignal::new(false);
    let withdraw = move || {
        bench.run(vec![(doc, Command::Withdraw(vec![Place::clone(&place)]))], say("desk.withdrawn"));
    };
    let withdraw = Callback::new(move |()| withdraw());
    view! {
        <li class="card desk-record" hidden=hidden>
            <button type="button" class="button quiet full" aria-expanded=move || if open.get() { "true" } else { "false" }
                on:click=move |_| open.update(|o| *o = !*o)>{title}</button>
            {move || open.get().then(|| view! {
                <RecordForm bench=bench doc=doc entry=entry />
                <Button label=say_with("form.withdraw", &[("name", &untrack(title))]) kind=Weight::Grave on_press=withdraw />
            })}
        </li>
    }
}
