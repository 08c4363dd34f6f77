//! The form of one set, in a sheet: what is asked is filled in, everything else is behind "more".

use backstraight_core::model::log::SetDone;
use backstraight_core::view::judge::SetAsked;
use leptos::prelude::*;

use super::draft::{Draft, Field, first_fields};
use crate::kit::number::{Steps, masses};
use crate::kit::{Button, Kind, LoadField, NumberField, TextField};
use crate::words::{Word, say, word};

/// A form's fields as they are typed.
#[derive(Clone, Copy)]
struct Typed {
    fields: [RwSignal<String>; 10],
    wrong: RwSignal<Vec<(Field, String)>>,
}

impl Typed {
    fn of(draft: &Draft) -> Typed {
        Typed {
            fields: Field::ALL.map(|field| RwSignal::new(draft.text(field).to_owned())),
            wrong: RwSignal::new(Vec::new()),
        }
    }

    fn field(&self, field: Field) -> RwSignal<String> {
        self.fields[field as usize]
    }

    fn draft(&self) -> Draft {
        let mut draft = Draft::default();
        for field in Field::ALL {
            draft.set(field, &self.field(field).get_untracked());
        }
        draft
    }

    fn error(&self, field: Field) -> Signal<Option<String>> {
        let wrong = self.wrong;
        Signal::derive(move || {
            wrong.with(|w| w.iter().find(|(f, _)| *f == field).map(|(_, why)| why.clone()))
        })
    }
}

const fn label(field: Field) -> Word {
    match field {
        Field::Load => word("set.load"),
        Field::Reps => word("set.reps"),
        Field::Contacts => word("set.contacts"),
        Field::Hold => word("set.hold"),
        Field::Dist => word("set.dist"),
        Field::Time => word("set.time"),
        Field::Speeds => word("set.speeds"),
        Field::Effort => word("set.effort"),
        Field::Reserve => word("set.reserve"),
        Field::Note => word("set.note"),
    }
}

fn input(typed: Typed, field: Field) -> AnyView {
    let (label, value, error) = (label(field).text(), typed.field(field), typed.error(field));
    let seconds = Signal::stored("s".to_owned());
    let metres = Signal::stored("m".to_owned());
    match field {
        Field::Load => view! { <LoadField label=label value=value big=true may_be_empty=true /> }.into_any(),
        Field::Reps | Field::Contacts => {
            view! { <NumberField label=label value=value steps=Steps::whole(1, 0, 1_000) whole=true big=true error=error /> }
                .into_any()
        }
        Field::Hold => {
            view! { <NumberField label=label value=value steps=Steps::whole(5, 0, 3_600) unit=seconds big=true error=error /> }
                .into_any()
        }
        Field::Time => view! { <NumberField label=label value=value unit=seconds big=true error=error /> }.into_any(),
        Field::Dist => view! { <NumberField label=label value=value unit=metres big=true error=error /> }.into_any(),
        Field::Effort => {
            let hint = say("set.effort.hint");
            view! { <NumberField label=label value=value steps=Steps::fine(500, 0, 10) big=true hint=hint error=error /> }
                .into_any()
        }
        Field::Reserve => {
            view! { <NumberField label=label value=value steps=Steps::fine(500, 0, 10) big=true error=error /> }.into_any()
        }
        Field::Speeds => {
            let hint = say("set.speeds.hint");
            view! { <TextField label=label value=value hint=hint error=error most=200 /> }.into_any()
        }
        Field::Note => view! { <TextField label=label value=value lines=true error=error most=500 /> }.into_any(),
    }
}

/// The form of a set.
#[component]
pub fn SetForm(
    /// What is filled in.
    set: SetDone,
    /// What was asked, which says what the form begins with.
    asked: SetAsked,
    /// What its button says.
    #[prop(into)]
    label: String,
    /// Called with the set as it was typed.
    #[prop(into)]
    on_done: Callback<(SetDone,)>,
) -> impl IntoView {
    let masses = masses();
    let first = first_fields(&asked, &set);
    let typed = Typed::of(&Draft::of(&set, masses.get_untracked()));
    let rest: Vec<Field> = Field::ALL.into_iter().filter(|f| !first.contains(f)).collect();
    let filled = rest.iter().any(|f| typed.field(*f).with_untracked(|t| !t.is_empty()));
    let failed = RwSignal::new(set.failed == Some(true));
    let base = StoredValue::new(set);
    let done = move || match typed.draft().read(&base.get_value(), masses.get_untracked()) {
        Ok(set) => {
            let failed = failed.get_untracked().then_some(true);
            on_done.run((SetDone { failed, ..set },));
        }
        Err(wrong) => typed.wrong.set(wrong),
    };
    view! {
        <form class="stack" on:submit=move |event| { event.prevent_default(); done(); }>
            {first.into_iter().map(|field| input(typed, field)).collect_view()}
            <details class="more" open=filled>
                <summary>{say("set.more")}</summary>
                {rest.into_iter().map(|field| input(typed, field)).collect_view()}
                <crate::kit::Check label=say("set.failed") value=failed />
            </details>
            <Button label=Signal::stored(label) kind=Kind::Main big=true full=true submit=true on_press=|| () />
        </form>
    }
}
