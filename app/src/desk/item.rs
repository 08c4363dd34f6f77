//! One prescription in the editor: the exercise, its line, and every field by itself.

use backstraight_core::base::key::Key;
use backstraight_core::model::number::{Landing, Side};
use backstraight_core::model::plan::Prescription;
use backstraight_core::view::show;
use leptos::ev::KeyboardEvent;
use leptos::prelude::*;

use super::cell::{Cell, Pick};
use super::deeds::{self, Way};
use super::editor::In;
use super::fields::{self, OfItem};
use super::scene::with_names;
use super::written::Line;
use crate::kit::number::masses;
use crate::kit::{Button, Combo, Kind, Offer};
use crate::words::{say, say_with};

/// A prescription.
#[component]
pub fn ItemView(
    /// The session.
    here: In,
    /// Its group.
    group: StoredValue<Key>,
    /// Which.
    item: Key,
    /// Exercises to choose from.
    offers: Memo<Vec<Offer>>,
) -> impl IntoView {
    let masses = masses();
    let key = StoredValue::new(item);
    let entry = Memo::new(move |_| {
        here.session.with(|s| {
            let found = s.as_ref()?.items().map(|(_, i)| i).find(|i| i.key() == key.get_value());
            found.cloned()
        })
    });
    let save = move |read: &dyn Fn(&Prescription) -> Result<Prescription, String>| -> Result<(), String> {
        let next = entry.with_untracked(|e| {
            let entry = e.as_ref()?;
            Some(read(&entry.record).map(|to| deeds::edit(entry, to)))
        });
        next.map_or(Ok(()), |next| next.and_then(|command| here.save(command)))
    };
    let hub = here.at.bench.hub;
    let library = move || hub.read_with(|device, readings| readings.library(device)).unwrap_or_default();
    let name = move || {
        entry.with(|e| e.as_ref().map_or_else(String::new, |e| library().exercise_name(&e.record.ex)))
    };
    let line = Signal::derive(move || {
        entry.with(|e| {
            let Some(e) = e else { return String::new() };
            with_names(&library(), masses.get(), |names| Line::of(&e.record).print(names))
        })
    });
    let save_line = move |text: String| {
        save(&|p| {
            with_names(&untrack(library), masses.get_untracked(), |names| Line::read(&text, names))
                .map(|line| line.put(p))
                .map_err(|e| e.words())
        })
    };
    let varied = move || entry.with(|e| e.as_ref().map_or_else(String::new, |e| show::variation(&e.record)));
    let shift = move |way: Way| {
        let command = here.session.with_untracked(|s| deeds::shift_item(s.as_ref()?, &key.get_value(), way));
        here.run(command, say("desk.shifted"));
    };
    let double = move || {
        let command = here.with_group(&group.get_value(), |_, g| {
            deeds::double_item(g, &key.get_value(), &mut || hub.key())
        });
        here.run(command.flatten(), say("desk.exercise-added"));
    };
    let withdraw = move || {
        let command = here.with_group(&group.get_value(), |_, g| {
            let item = g.items.iter().find(|i| i.key() == key.get_value())?;
            Some(deeds::withdraw_item(g, item))
        });
        here.run(command.flatten(), say("desk.withdrawn"));
    };
    let press = move |event: KeyboardEvent| {
        let way = match event.key().as_str() {
            "ArrowUp" if event.alt_key() => Way::Up,
            "ArrowDown" if event.alt_key() => Way::Down,
            _ => return,
        };
        event.prevent_default();
        event.stop_propagation();
        shift(way);
    };
    let more = RwSignal::new(false);
    view! {
        <div class="desk-item" on:keydown=press>
            <h3>{name}</h3>
            <Cell label=say("desk.line") value=line save=save_line />
            <p class="soft">{varied}</p>
            <div class="row">
                <button type="button" class="button round" aria-label=move || say_with("desk.item-up", &[("name", &name())])
                    on:click=move |_| shift(Way::Up)>"↑"</button>
                <button type="button" class="button round" aria-label=move || say_with("desk.item-down", &[("name", &name())])
                    on:click=move |_| shift(Way::Down)>"↓"</button>
                <Button label=say("desk.double").to_owned() kind=Kind::Quiet on_press=double />
                <Button label=say("desk.withdraw-item").to_owned() kind=Kind::Quiet on_press=withdraw />
                <Button label=Signal::derive(move || if more.get() { say("desk.less") } else { say("desk.fields") }.to_owned())
                    kind=Kind::Quiet on_press=move || more.update(|m| *m = !*m) />
            </div>
            {move || more.get().then(|| view! { <Fields here=here entry=entry offers=offers /> })}
        </div>
    }
}

type Entry = Memo<Option<backstraight_core::doc::read::Entry<Prescription>>>;

const fn hint(field: OfItem) -> Option<crate::words::Word> {
    use crate::words::word;
    Some(match field {
        OfItem::Dose => word("field.dose.hint"),
        OfItem::Intensity => word("field.intensity.hint"),
        OfItem::Gaps => word("field.gaps.hint"),
        OfItem::Lateral => word("field.lateral.hint"),
        OfItem::Rule => word("field.rule.hint"),
        OfItem::Band => word("field.band.wrong"),
        _ => return None,
    })
}

#[component]
fn Fields(here: In, entry: Entry, offers: Memo<Vec<Offer>>) -> impl IntoView {
    let masses = masses();
    let hub = here.at.bench.hub;
    let library = move || hub.read_with(|device, readings| readings.library(device)).unwrap_or_default();
    let change = move |f: &dyn Fn(&Prescription) -> Prescription| {
        let command = entry.with_untracked(|e| e.as_ref().and_then(|e| deeds::edit(e, f(&e.record))));
        if let Err(why) = here.save(command) {
            here.at.bench.toaster.say(why);
        }
    };
    let cell = move |field: OfItem| {
        let value = Signal::derive(move || {
            entry.with(|e| {
                let Some(e) = e else { return String::new() };
                with_names(&library(), masses.get(), |names| fields::print_item(&e.record, field, names))
            })
        });
        let save = move |text: String| {
            let next = entry.with_untracked(|e| {
                let entry = e.as_ref()?;
                let read = with_names(&untrack(library), masses.get_untracked(), |names| {
                    fields::read_item(&entry.record, field, &text, names)
                });
                Some(read.map(|to| deeds::edit(entry, to)))
            });
            next.map_or(Ok(()), |next| next.and_then(|command| here.save(command)))
        };
        let hint = hint(field).map_or("", |w| w.text());
        let lines = field == OfItem::Note;
        view! { <Cell label=field.label().text() value=value save=save hint=hint lines=lines /> }
    };
    let none = || (String::new(), say("field.none").to_owned());
    let sides =
        std::iter::once(none()).chain(Side::ALL.iter().map(|s| (s.word().to_owned(), s.word().to_owned())));
    let side = Signal::derive(move || {
        entry.with(|e| {
            e.as_ref().and_then(|e| e.record.side).map_or_else(String::new, |s| s.word().to_owned())
        })
    });
    let landings = std::iter::once(none())
        .chain(Landing::ALL.iter().map(|s| (s.word().to_owned(), s.word().to_owned())));
    let landing = Signal::derive(move || {
        entry.with(|e| {
            e.as_ref().and_then(|e| e.record.landing).map_or_else(String::new, |s| s.word().to_owned())
        })
    });
    let typed = RwSignal::new(String::new());
    let swap = move |text: String| {
        if let Ok(key) = text.parse::<Key>() {
            change(&|p| Prescription { swaps: fields::turned(p.swaps.as_ref(), &key), ..p.clone() });
        }
        typed.set(String::new());
    };
    let other = RwSignal::new(String::new());
    let replace = move |text: String| {
        if let Ok(ex) = text.parse::<Key>() {
            change(&|p| Prescription { ex: ex.clone(), ..p.clone() });
        }
        other.set(String::new());
    };
    let swaps = move || {
        let keys = entry.with(|e| e.as_ref().and_then(|e| e.record.swaps.clone()));
        keys.map_or_else(Vec::new, |k| k.0)
            .into_iter()
            .map(|key| {
                let name = library().exercise_name(&key);
                let off = move || {
                    change(&|p| Prescription { swaps: fields::turned(p.swaps.as_ref(), &key), ..p.clone() });
                };
                view! { <Button label=say_with("desk.swap-off", &[("name", &name)]) kind=Kind::Quiet on_press=off /> }
            })
            .collect_view()
    };
    let chosen = Memo::new(move |_| {
        entry.with(|e| e.as_ref().and_then(|e| e.record.cues.clone())).map_or_else(Vec::new, |k| k.0)
    });
    let fitting = Memo::new(move |_| {
        let ex = entry.with(|e| e.as_ref().map(|e| e.record.ex.clone()));
        let chosen = chosen.get();
        let library = library();
        let fits = library
            .cues
            .iter()
            .filter(|(k, c)| c.live() && (chosen.contains(k) || c.record.ex.is_none() || c.record.ex == ex));
        fits.map(|(key, cue)| (key.clone(), cue.record.text.to_string())).collect::<Vec<_>>()
    });
    let cue = move |(key, text): (Key, String)| {
        let this = key.clone();
        let on = move || if chosen.with(|all| all.contains(&this)) { "true" } else { "false" };
        let turn = move |_| {
            change(&|p| Prescription { cues: fields::turned(p.cues.as_ref(), &key), ..p.clone() });
        };
        view! {
            <button type="button" class="chip" aria-pressed=on on:click=turn>
                {text}
            </button>
        }
    };
    let save_side = move |text: String| {
        change(&|p| Prescription { side: fields::side(&text), ..p.clone() });
        Ok(())
    };
    let save_landing = move |text: String| {
        change(&|p| Prescription { landing: fields::landing(&text), ..p.clone() });
        Ok(())
    };
    view! {
        <div class="stack">
            <Combo label=say("desk.other-exercise") offers=offers text=other on_pick=replace />
            <div class="cells">
                {OfItem::ALL.iter().map(|f| cell(*f)).collect_view()}
                <Pick label=say("field.side") options=sides.collect() value=side save=save_side />
                <Pick label=say("field.landing") options=landings.collect() value=landing save=save_landing />
            </div>
            <div class="field">
                <p class="label">{say("field.cues")}</p>
                <div class="row">
                    <For each=move || fitting.get() key=|c| c.clone() children=cue />
                </div>
            </div>
            <Combo label=say("field.swaps") offers=offers text=typed on_pick=swap hint=say("field.swaps.hint") />
            <div class="row">{swaps}</div>
        </div>
    }
}
