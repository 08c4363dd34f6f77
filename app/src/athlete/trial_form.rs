//! The form of a trial: fields by what the test measures, each with its mistake under it. What is typed becomes a
//! trial in `trial_draft`.

use backstraight_core::base::day::Day;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::log::Trial;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Measure;
use leptos::prelude::*;

use super::trial_draft::{Draft, Field, MOST, Rows, rows_of, windy};
use super::trials::Test;
use crate::deed::carry_out;
use crate::desk::deeds;
use crate::hub::Hub;
use crate::kit::number::masses;
use crate::kit::{Button, DateField, Kind, NumberField, TextField, Toaster};
use crate::words::{Word, say, say_with, word};

/// What is typed in a form.
#[derive(Debug, Clone, Copy)]
struct Typed {
    load: RwSignal<String>,
    reps: RwSignal<String>,
    result: RwSignal<String>,
    rows: RwSignal<Vec<(RwSignal<String>, RwSignal<String>)>>,
    wind: RwSignal<String>,
    mass: RwSignal<String>,
    conditions: RwSignal<String>,
    wrong: RwSignal<Vec<(Field, String)>>,
}

fn row(texts: (String, String)) -> (RwSignal<String>, RwSignal<String>) {
    (RwSignal::new(texts.0), RwSignal::new(texts.1))
}

impl Typed {
    fn of(draft: Draft) -> Typed {
        Typed {
            load: RwSignal::new(draft.load),
            reps: RwSignal::new(draft.reps),
            result: RwSignal::new(draft.result),
            rows: RwSignal::new(draft.rows.into_iter().map(row).collect()),
            wind: RwSignal::new(draft.wind),
            mass: RwSignal::new(draft.mass),
            conditions: RwSignal::new(draft.conditions),
            wrong: RwSignal::new(Vec::new()),
        }
    }

    fn draft(self) -> Draft {
        Draft {
            load: self.load.get_untracked(),
            reps: self.reps.get_untracked(),
            result: self.result.get_untracked(),
            rows: self
                .rows
                .get_untracked()
                .iter()
                .map(|(a, b)| (a.get_untracked(), b.get_untracked()))
                .collect(),
            wind: self.wind.get_untracked(),
            mass: self.mass.get_untracked(),
            conditions: self.conditions.get_untracked(),
        }
    }

    /// Puts texts into the fields; nothing where the form is gone from the page.
    fn put(self, draft: Draft) {
        let put = |to: RwSignal<String>, text: String| drop(to.try_set(text));
        put(self.load, draft.load);
        put(self.reps, draft.reps);
        put(self.result, draft.result);
        put(self.wind, draft.wind);
        put(self.mass, draft.mass);
        put(self.conditions, draft.conditions);
        for ((a, b), (to_a, to_b)) in
            draft.rows.into_iter().zip(self.rows.try_get_untracked().unwrap_or_default())
        {
            put(to_a, a);
            put(to_b, b);
        }
    }

    fn error(self, field: Field) -> Signal<Option<String>> {
        Signal::derive(move || {
            self.wrong.with(|all| all.iter().find(|(f, _)| *f == field).map(|(_, why)| why.clone()))
        })
    }
}

/// Adds a trial, or corrects one.
#[component]
pub(crate) fn TrialForm(
    hub: Hub,
    test: Test,
    /// The trial that is corrected; its day stays.
    #[prop(optional_no_strip, into)]
    fixing: Option<Entry<Trial>>,
    /// What a new trial begins with.
    #[prop(default = Draft::default())]
    begin: Draft,
    /// Today, by this device.
    today: Day,
    /// Called when the trial stands.
    #[prop(into)]
    on_saved: Callback<()>,
) -> impl IntoView {
    let (toaster, masses) = (Toaster::here(), masses());
    let measure = test.protocol.measure;
    let unit = test.unit.clone();
    let key = test.key;
    let draft = match &fixing {
        Some(entry) => Draft::of(&entry.record, measure, masses.get_untracked()),
        None => begin,
    };
    let typed = Typed::of(draft);
    let day = RwSignal::new(Some(fixing.as_ref().map_or(today, |e| e.record.date)));
    let late = RwSignal::new(None::<String>);
    let is_new = fixing.is_none();
    let save = move || {
        let on = day.get_untracked().filter(|d| *d <= today);
        late.set(on.is_none().then(|| say("trial.day.wrong").to_owned()));
        let base = match &fixing {
            Some(entry) => entry.record.clone(),
            None => Trial::new(on.unwrap_or(today), hub.now(), key.clone()),
        };
        let draft = typed.draft();
        let trial = match draft.read(&base, measure, masses.get_untracked()) {
            Ok(trial) => trial,
            Err(list) => return typed.wrong.set(list),
        };
        typed.wrong.set(Vec::new());
        if on.is_none() {
            return;
        }
        let (command, said) = match &fixing {
            None => {
                let place = Place::of("trials", &hub.key());
                (Command::Add(vec![New { place, record: trial.clone().into() }]), say("trial.saved"))
            }
            Some(entry) => match deeds::edit(entry, trial.clone()) {
                Some(command) => (command, say("trial.corrected")),
                None => return on_saved.run(()),
            },
        };
        let doc = DocName::Log(hub.me().person, trial.date.month());
        let next = draft.next();
        carry_out(hub, toaster, doc, vec![command], said, move |stands| {
            // What was typed goes only once it is on disk.
            if stands && is_new {
                typed.put(next.clone());
            }
            if stands {
                let _ = on_saved.try_run(());
            }
        });
    };
    let fields = result_fields(typed, measure, unit);
    let wind = windy(measure).then(|| {
        view! {
            <NumberField label=say("trial.wind") value=typed.wind signed=true hint=say("trial.wind.hint")
                unit=Signal::stored("m/s".to_owned()) error=typed.error(Field::Wind) />
        }
    });
    let mass = (measure == Measure::Hops).then(|| {
        let unit = Signal::derive(move || masses.get().unit().to_owned());
        view! {
            <NumberField label=say("trial.mass") value=typed.mass hint=say("trial.mass.hint") unit=unit
                error=typed.error(Field::Mass) />
        }
    });
    let day_field =
        is_new.then(|| view! { <DateField label=say("field.day") value=day last=today error=late /> });
    let label = if is_new { say("trial.save") } else { say("trial.correct") };
    view! {
        <form class="stack trial-form" on:submit=move |event| { event.prevent_default(); save(); }>
            {day_field}
            {fields}
            {wind}
            {mass}
            <TextField label=say("trial.conditions") value=typed.conditions hint=say("trial.conditions.hint") most=500
                error=typed.error(Field::Conditions) />
            <Button label=label.to_owned() kind=Kind::Main big=true full=true submit=true on_press=|| () />
        </form>
    }
}

/// The fields of what a test measures.
fn result_fields(typed: Typed, measure: Measure, unit: String) -> AnyView {
    let masses = masses();
    let of_mass = Signal::derive(move || masses.get().unit().to_owned());
    if let Some(rows) = rows_of(measure) {
        return row_fields(typed, rows).into_any();
    }
    match measure {
        Measure::Load => view! {
            <NumberField label=say("trial.load-field") value=typed.load unit=of_mass error=typed.error(Field::Load) />
            <NumberField label=say("trial.reps-field") value=typed.reps whole=true hint=say("trial.reps.hint")
                error=typed.error(Field::Reps) />
        }
        .into_any(),
        Measure::Reps => view! {
            <NumberField label=say("trial.reps-field") value=typed.reps whole=true error=typed.error(Field::Reps) />
        }
        .into_any(),
        _ => {
            let (label, hint) = if measure == Measure::Time {
                (say("trial.time-field"), say("trial.time.hint"))
            } else {
                (say("trial.mark-field"), "")
            };
            view! {
                <NumberField label=label value=typed.result hint=hint unit=Signal::stored(unit)
                    error=typed.error(Field::Result) />
            }
            .into_any()
        }
    }
}

/// The words of rows: heading, hint, one more, one less.
const fn words_of(rows: Rows) -> [Word; 4] {
    match rows {
        Rows::Hops => [
            word("trial.hops-field"),
            word("trial.hops.hint"),
            word("trial.hop-more"),
            word("trial.hop-less"),
        ],
        Rows::Times => [
            word("trial.times-field"),
            word("trial.times.hint"),
            word("trial.time-more"),
            word("trial.time-less"),
        ],
        Rows::Speeds => [
            word("trial.speeds-field"),
            word("trial.speeds.hint"),
            word("trial.speed-more"),
            word("trial.speed-less"),
        ],
    }
}

fn row_fields(typed: Typed, rows: Rows) -> impl IntoView {
    let [title, hint, more, less] = words_of(rows);
    let one = move |(i, (a, b)): (usize, (RwSignal<String>, RwSignal<String>))| {
        let n = (i + 1).to_string();
        let label = |key: &str| match (rows, key) {
            (Rows::Hops, "second") => say_with("trial.contact-n", &[("n", &n)]),
            (Rows::Hops, _) => say_with("trial.flight-n", &[("n", &n)]),
            (Rows::Times, _) => say_with("trial.time-n", &[("n", &n)]),
            (Rows::Speeds, _) => say_with("trial.speed-n", &[("n", &n)]),
        };
        let unit = match rows {
            Rows::Hops => "ms",
            Rows::Times => "s",
            Rows::Speeds => "m/s",
        };
        let unit = Signal::stored(unit.to_owned());
        let error = typed.error(Field::Row(i));
        let second = (rows == Rows::Hops).then(|| {
            view! { <NumberField label=label("second") value=b unit=unit /> }
        });
        view! {
            <li class="trial-row">
                <NumberField label=label("first") value=a unit=unit error=error />
                {second}
            </li>
        }
    };
    let add = move || typed.rows.update(|all| all.push(row(Default::default())));
    let take = move || typed.rows.update(|all| all.truncate(all.len().saturating_sub(1)));
    let full = Signal::derive(move || typed.rows.with(|all| all.len() >= MOST));
    let last = Signal::derive(move || typed.rows.with(|all| all.len() <= 1));
    view! {
        <fieldset class="stack tight">
            <legend class="label">{title.text()}</legend>
            <p class="hint">{hint.text()}</p>
            <ol class="stack tight trial-rows">
                <For each=move || typed.rows.get().into_iter().enumerate() key=|(i, _)| *i children=one />
            </ol>
            <div class="row">
                <Button label=more.text().to_owned() disabled=full on_press=add />
                <Button label=less.text().to_owned() kind=Kind::Quiet disabled=last on_press=take />
            </div>
        </fieldset>
    }
}
