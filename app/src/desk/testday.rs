//! A test day: athletes by trials, entered with the keyboard, saved one by one, reckoned at once. Trials that a coach
//! takes stand in the athlete's notes of the month; all of it works without a signal.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::log::Trial;
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::Protocol;
use backstraight_core::view::marks::{Reading, unit};
use backstraight_core::view::records;
use leptos::ev::KeyboardEvent;
use leptos::prelude::*;
use leptos::wasm_bindgen::JsCast;

use super::bench::Bench;
use super::deeds;
use super::scene::{Squad, squads};
use crate::kit::{
    Button, Chip, DateField, EmptyState, KeysHelp, Kind, NumberField, TextField, ToggleChip, fresh_id,
};
use crate::parse;
use crate::route::Route;
use crate::screens::head;
use crate::trial::caution::TestCaution;
use crate::trial::{self, best, hint};
use crate::words::{say, say_with};

use super::cell::Pick;

/// Columns where the test says no number of trials.
const USUAL: usize = 3;
/// Most columns.
const MOST: usize = 12;

/// What the parts share.
#[derive(Debug, Clone, Copy)]
struct At {
    bench: Bench,
    protocol: RwSignal<Option<Key>>,
    squad: RwSignal<usize>,
    day: RwSignal<Option<Day>>,
    wind: RwSignal<String>,
    conditions: RwSignal<String>,
    down: RwSignal<bool>,
    grid: StoredValue<String>,
}

impl At {
    fn test(self) -> Option<(Key, Protocol)> {
        let key = self.protocol.get()?;
        let library = self.bench.hub.read_with(|d, readings| readings.library(d)).ok()?;
        let found = library.protocols.get(&key)?.record.clone();
        Some((key, found))
    }

    /// An athlete's trials of this test and day, those that a coach took, in the order in which they were entered.
    fn trials(self, who: PersonId) -> Vec<Entry<Trial>> {
        let (Some(test), Some(day)) = (self.protocol.get(), self.day.get()) else { return Vec::new() };
        let mut all = self.bench.hub.read(|device| {
            let doc = device.document(DocName::Notes(who, day.month()));
            doc.map(|d| d.records::<Trial>("trials").entries).unwrap_or_default()
        });
        all.retain(|t| t.live() && t.record.protocol == test && t.record.date == day);
        all.sort_by_cached_key(|t| (t.record.at, t.key()));
        all
    }

    /// Saves what was typed for a trial; an emptied one is taken away.
    fn save(self, who: PersonId, column: usize, text: &str) -> Result<(), String> {
        let Some((key, test)) = untrack(|| self.test()) else { return Ok(()) };
        let Some(day) = self.day.get_untracked() else { return Err(say("testday.no-day").to_owned()) };
        let doc = DocName::Notes(who, day.month());
        let there = untrack(|| self.trials(who)).into_iter().nth(column);
        let hub = self.bench.hub;
        let command = match (there, text.trim().is_empty()) {
            (None, true) => return Ok(()),
            (Some(entry), true) => Some(Command::Withdraw(vec![entry.place])),
            (Some(entry), false) => {
                let to = trial::read(&entry.record, test.measure, text)?;
                deeds::edit(&entry, to)
            }
            (None, false) => {
                let wind = self.wind.get_untracked();
                let wind = match wind.trim() {
                    "" => None,
                    typed => Some(parse::wind(typed).map_err(|m| m.words())?),
                };
                let conditions = super::fields::name(&self.conditions.get_untracked())?;
                let by = Some(hub.me().person);
                let base = Trial { by, wind, conditions, ..Trial::new(day, hub.now(), key) };
                let record = trial::read(&base, test.measure, text)?;
                let place = Place::of("trials", &hub.key());
                Some(Command::Add(vec![New { place, record: record.into() }]))
            }
        };
        self.bench.quietly(doc, command, say("testday.trial"))
    }
}

/// A test day.
#[component]
pub fn TestDay() -> impl IntoView {
    head(say("testday.title"), say("testday.under"));
    let bench = Bench::provide();
    let hub = bench.hub;
    let at = At {
        bench,
        protocol: RwSignal::new(None),
        squad: RwSignal::new(0),
        day: RwSignal::new(hub.today()),
        wind: RwSignal::new(String::new()),
        conditions: RwSignal::new(String::new()),
        down: RwSignal::new(true),
        grid: StoredValue::new(fresh_id("trial")),
    };
    let help = RwSignal::new(false);
    let handle = window_event_listener(leptos::ev::keydown, move |event| {
        if event.ctrl_key() && !crate::kit::keys::typing(&event) {
            match (event.key().as_str(), event.shift_key()) {
                ("z" | "Z", true) | ("y", _) => bench.redo(),
                ("z", false) => bench.undo(),
                _ => return,
            }
            event.prevent_default();
        }
    });
    on_cleanup(move || handle.remove());
    let tests = Memo::new(move |_| {
        let library = hub.read_with(|d, readings| readings.library(d)).unwrap_or_default();
        let live = library.protocols.iter().filter(|(_, p)| p.live());
        let mut all: Vec<(String, String)> =
            live.map(|(k, p)| (k.to_string(), p.record.name.to_string())).collect();
        all.sort_by(|a, b| a.1.cmp(&b.1));
        all
    });
    let teams = Memo::new(move |_| {
        let all = hub.read(squads).unwrap_or_default();
        all.into_iter().enumerate().map(|(i, s)| (i.to_string(), s.name)).collect::<Vec<_>>()
    });
    let chosen = Signal::derive(move || at.protocol.get().map_or_else(String::new, |k| k.to_string()));
    let team = Signal::derive(move || at.squad.get().to_string());
    let choose = move |text: String| {
        at.protocol.set(text.parse().ok());
        Ok(())
    };
    let choose_team = move |text: String| {
        at.squad.set(text.parse().unwrap_or(0));
        Ok(())
    };
    let undo_off = Signal::derive(move || bench.last().is_none());
    let redo_off = Signal::derive(move || bench.next().is_none());
    let body = move || {
        if tests.with(Vec::is_empty) {
            let action = (say("way.library").to_owned(), Route::Library.href());
            return view! { <EmptyState title=say("testday.no-tests") text=say("testday.no-tests.text") action=action /> }
                .into_any();
        }
        if teams.with(Vec::is_empty) {
            let action = (say("way.people").to_owned(), Route::People.href());
            return view! { <EmptyState title=say("desk.nobody") text=say("desk.nobody.text") action=action /> }.into_any();
        }
        let mut options = vec![(String::new(), say("testday.choose").to_owned())];
        options.extend(tests.get());
        view! {
            <div class="choose no-print">
                <Pick label=say("testday.test") options=options value=chosen save=choose />
                <Pick label=say("testday.squad") options=teams.get() value=team save=choose_team />
                <DateField label=say("field.day") value=at.day />
                <NumberField label=say("testday.wind") value=at.wind signed=true unit=Signal::stored("m/s".to_owned()) />
                <TextField label=say("testday.conditions") value=at.conditions most=500 />
            </div>
            <div class="row no-print">
                <ToggleChip label=say("testday.down") value=at.down />
                <Button label=say("desk.undo").to_owned() disabled=undo_off on_press=move || bench.undo() />
                <Button label=say("desk.redo").to_owned() disabled=redo_off on_press=move || bench.redo() />
                <span class="desk-keys">
                    <Button label=say("desk.keys").to_owned() kind=Kind::Quiet on_press=move || help.set(true) />
                </span>
            </div>
            <h2 class="hidden-text">{say("testday.grid")}</h2>
            <Cautions at=at />
            <Grid at=at />
        }
        .into_any()
    };
    let keys = [
        ("Enter", say("testday.key.enter")),
        ("Shift+Enter", say("testday.key.back")),
        ("Ctrl+Z", say("desk.key.undo")),
        ("Ctrl+Shift+Z", say("desk.key.redo")),
        ("?", say("desk.key.help")),
    ];
    let keys = keys.iter().map(|(k, what)| ((*k).to_owned(), (*what).to_owned())).collect();
    view! {
        <div class="stack">{body}</div>
        <KeysHelp keys=keys open=help />
    }
}

fn squad(at: At) -> Option<Squad> {
    at.bench.hub.read(squads).ok()?.into_iter().nth(at.squad.get())
}

#[component]
fn Cautions(at: At) -> impl IntoView {
    move || {
        let (_, test) = at.test()?;
        let library = at.bench.hub.read_with(|d, readings| readings.library(d)).ok()?;
        let (today, squad) = (at.day.get()?, squad(at)?);
        let juniors = squad.members.iter().any(|m| !records::of_age(m.born, today, records::ADULT));
        let more = if juniors { say("testday.juniors") } else { "" };
        Some(view! { <TestCaution test=test library=library more=more /> })
    }
}

#[component]
fn Grid(at: At) -> impl IntoView {
    let people = Memo::new(move |_| {
        let squad = squad(at).unwrap_or_default();
        let day = at.day.get();
        squad
            .members
            .iter()
            .map(|m| {
                let junior =
                    day.is_some_and(|d| m.born.is_some() && !records::of_age(m.born, d, records::ADULT));
                (m.athlete, m.name.to_string(), junior)
            })
            .collect::<Vec<_>>()
    });
    let columns = Memo::new(move |_| {
        let wanted = at.test().and_then(|(_, t)| t.trials).and_then(|n| usize::try_from(n.get()).ok());
        let most = people.with(|all| all.iter().map(|(who, ..)| at.trials(*who).len()).max()).unwrap_or(0);
        wanted.unwrap_or(USUAL).max(most).min(MOST)
    });
    let measure = Memo::new(move |_| at.test().map(|(_, t)| (t.measure, unit(&t, Reading::Result))));
    move || {
        let Some((measure, unit)) = measure.get() else {
            return view! { <p class="soft">{say("testday.choose.text")}</p> }.into_any();
        };
        let (n, rows) = (columns.get(), people.with(Vec::len));
        let heads = (1..=n)
            .map(|i| view! { <th scope="col">{say_with("testday.nth", &[("n", &i.to_string())])}</th> });
        let body = people
            .get()
            .into_iter()
            .enumerate()
            .map(|(row, (who, name, junior))| {
                view! { <Row at=at who=who name=name junior=junior row=row size=(rows, n) unit=unit.clone() /> }
            })
            .collect_view();
        view! {
            <p class="hint">{hint(measure).text()}</p>
            <div class="table-frame" tabindex="0" role="region" aria-label=say("testday.grid")>
                <table class="trials">
                    <thead><tr>
                        <th scope="col">{say("testday.athlete")}</th>
                        {heads.collect_view()}
                        <th scope="col">{say_with("testday.best", &[("unit", &unit)])}</th>
                    </tr></thead>
                    <tbody>{body}</tbody>
                </table>
            </div>
        }
        .into_any()
    }
}

#[component]
fn Row(
    at: At,
    who: PersonId,
    name: String,
    junior: bool,
    row: usize,
    size: (usize, usize),
    unit: String,
) -> impl IntoView {
    let trials = Memo::new(move |_| at.trials(who));
    let found = Memo::new(move |_| {
        let (_, test) = at.test()?;
        trials.with(|all| Some(best(all, &test)))
    });
    let cells = (0..size.1)
        .map(|column| view! { <Trialled at=at who=who name=name.clone() at_cell=(row, column) size=size trials=trials found=found /> })
        .collect_view();
    let shown = move || {
        let (marks, top) = found.get()?;
        let mark = marks.into_iter().nth(top?)??;
        let windy = mark.wind.is_some_and(|w| w > records::MOST_WIND);
        let value = trial::figure(mark.value);
        Some(view! {
            <strong>{value}</strong>" "{unit.clone()}" "
            {windy.then(|| view! { <Chip text=say("testday.windy") /> })}
        })
    };
    view! {
        <tr>
            <th scope="row">{name}{junior.then(|| view! { " "<Chip text=say("testday.junior") /> })}</th>
            {cells}
            <td class="figure">{shown}</td>
        </tr>
    }
}

/// Where Enter leads from a cell: down its column and on in the next, or along its row and on in the next.
#[must_use]
pub fn onward(
    (row, column): (usize, usize),
    (rows, columns): (usize, usize),
    down: bool,
    back: bool,
) -> Option<(usize, usize)> {
    let all = rows * columns;
    let at = if down { column * rows + row } else { row * columns + column };
    let to = if back { at.checked_sub(1)? } else { at + 1 };
    (to < all).then(|| if down { (to % rows, to / rows) } else { (to / columns, to % columns) })
}

type Found = Memo<Option<(Vec<Option<backstraight_core::view::marks::Mark>>, Option<usize>)>>;

#[component]
fn Trialled(
    at: At,
    who: PersonId,
    name: String,
    at_cell: (usize, usize),
    size: (usize, usize),
    trials: Memo<Vec<Entry<Trial>>>,
    found: Found,
) -> impl IntoView {
    let (row, column) = at_cell;
    let id = move |(r, c): (usize, usize)| at.grid.with_value(|g| format!("{g}-{r}-{c}"));
    let held = Memo::new(move |_| {
        let measure = at.test().map(|(_, t)| t.measure);
        trials
            .with(|all| all.get(column).zip(measure).map(|(t, m)| trial::print(&t.record, m)))
            .unwrap_or_default()
    });
    let wind = move || {
        let text =
            trials.with(|all| all.get(column).map(|t| trial::wind_text(t.record.wind))).unwrap_or_default();
        (!text.is_empty()).then(|| format!("{text} m/s"))
    };
    let typed = RwSignal::new(held.get_untracked());
    let error = RwSignal::new(None::<String>);
    // What was handed over last, so that Enter and leaving the field do not save a trial twice.
    let sent = StoredValue::new(None::<String>);
    Effect::new(move |_| {
        typed.set(held.get());
        error.set(None);
        sent.set_value(None);
    });
    let commit = move || {
        // A field that goes from the page is left by it; what was typed was saved on the way out.
        let (Some(text), Some(held)) = (typed.try_get_untracked(), held.try_get_untracked()) else { return };
        if text == held || sent.get_value().as_ref() == Some(&text) {
            return;
        }
        let outcome = at.save(who, column, &text);
        if outcome.is_ok() {
            sent.set_value(Some(text));
        }
        error.set(outcome.err());
    };
    on_cleanup(commit);
    let press = move |event: KeyboardEvent| {
        if event.key() != "Enter" {
            return;
        }
        event.prevent_default();
        commit();
        if error.with_untracked(Option::is_some) {
            return;
        }
        let Some(to) = onward(at_cell, size, at.down.get_untracked(), event.shift_key()) else { return };
        let next =
            document().get_element_by_id(&id(to)).and_then(|e| e.dyn_into::<web_sys::HtmlElement>().ok());
        if let Some(next) = next {
            // Without a focus the trial is saved all the same.
            let _ = next.focus();
        }
    };
    let top = move || found.with(|f| f.as_ref().is_some_and(|(_, top)| *top == Some(column)));
    let label = say_with("testday.cell", &[("name", &name), ("n", &(column + 1).to_string())]);
    view! {
        <td class="trial" class:top=top>
            <input id=id((row, column)) type="text" inputmode="decimal" autocomplete="off" enterkeyhint="next" aria-label=label
                aria-invalid=move || error.with(Option::is_some).then_some("true")
                prop:value=move || typed.get()
                on:input:target=move |e| typed.set(e.target().value())
                on:change=move |_| commit()
                on:keydown=press />
            <span class="soft">{wind}</span>
            {move || top().then(|| view! { <span class="hidden-text">{say("testday.is-best")}</span> })}
            <div aria-live="polite">{move || error.get().map(|text| view! { <p class="wrong">{text}</p> })}</div>
        </td>
    }
}

#[cfg(test)]
mod tests {
    use super::onward;

    #[test]
    fn enter_goes_down_or_along_and_stops_at_the_end() {
        assert_eq!(onward((0, 0), (3, 2), true, false), Some((1, 0)));
        assert_eq!(onward((2, 0), (3, 2), true, false), Some((0, 1)));
        assert_eq!(onward((2, 1), (3, 2), true, false), None);
        assert_eq!(onward((0, 1), (3, 2), true, true), Some((2, 0)));
        assert_eq!(onward((0, 0), (3, 2), false, false), Some((0, 1)));
        assert_eq!(onward((0, 1), (3, 2), false, false), Some((1, 0)));
        assert_eq!(onward((0, 0), (3, 2), false, true), None);
    }
}
