//! The plan desk: a strip of the season over a week's grid, sessions to add, copy, repeat, move, take away and
//! bring back, one beside which its editor opens.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::Command;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Text;
use backstraight_core::view::planned::PlannedSession;
use leptos::ev::KeyboardEvent;
use leptos::prelude::*;
use leptos::wasm_bindgen::JsValue;

use super::around::{Repeat, gone};
use super::bench::Bench;
use super::deeds::{self, Way};
use super::editor::Editor;
use super::give::{Gift, Give};
use super::link::person_link;
use super::scene::{Card, Desk, Place, Row, rows};
use super::season::SeasonPart;
use super::strip::Strip;
use crate::kit::keys::typing;
use crate::kit::number::masses;
use crate::kit::screen::broad;
use crate::kit::{Button, Chip, Dialog, EmptyState, ErrorBox, KeysHelp, Kind, Trouble, dates};
use crate::route::{Route, Whose};
use crate::screens::{head, unreadable};
use crate::words::{say, say_with};

/// What was taken up to be put elsewhere.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// Whose it is.
    pub who: PersonId,
    /// Which sessions.
    pub sessions: Vec<Key>,
    /// The day from which it counts: the session's, or the Monday of a whole week.
    pub from: Day,
    /// A whole week.
    pub week: bool,
    /// Taken away there when it is put down.
    pub cut: bool,
    /// In words.
    pub words: String,
}

/// What the parts of this screen share.
#[derive(Debug, Clone, Copy)]
pub struct At {
    /// What was done.
    pub bench: Bench,
    /// Whose plans.
    pub whose: Whose,
    /// The Monday of the week that is shown.
    pub week: RwSignal<Day>,
    /// The session that is open: whose, which.
    pub open: RwSignal<Option<(PersonId, Key)>>,
    /// Whether the focus is to go into the session once it is drawn.
    pub enter: RwSignal<bool>,
    /// What is held.
    pub held: RwSignal<Option<Held>>,
    /// Weeks over which to repeat: whose, which session.
    pub repeat: RwSignal<Option<(PersonId, Key)>>,
    gone: RwSignal<bool>,
    season: RwSignal<bool>,
    /// What is given to others.
    pub gift: RwSignal<Option<Gift>>,
}

impl At {
    /// The desk as it stands now.
    pub fn desk(self) -> Option<Desk> {
        Desk::read(self.bench.hub, self.whose, self.week.get_untracked()).ok()
    }

    /// Does something with a session as it stands now.
    pub fn with(self, who: PersonId, key: &Key, f: impl FnOnce(&Place, &PlannedSession)) {
        let Some(desk) = untrack(|| self.desk()) else { return };
        let Some(place) = desk.place(who).and_then(|p| p.holding(key)) else { return };
        if let Some(session) = place.plan.session(key) {
            f(&place, session);
        }
    }

    /// Keys for new records.
    pub fn mint(self) -> impl FnMut() -> Key {
        move || self.bench.hub.key()
    }

    fn add(self, who: PersonId, day: Day) {
        let Some(desk) = untrack(|| self.desk()) else { return };
        let Some(place) = desk.place(who).map(|p| p.on(day)) else { return };
        let title = Text::new(say("desk.new-session")).unwrap_or_default();
        let (key, command) = deeds::add_session(&place.plan, day, title, &mut self.mint());
        self.bench.run(vec![(place.doc, command)], say("desk.added"));
        // A new session wants its title first.
        self.enter.set(true);
        self.open.set(Some((who, key)));
    }

    fn hold(self, who: PersonId, key: &Key, cut: bool) {
        self.with(who, key, |_, session| {
            let words = session.session.record.title.to_string();
            let from = session.session.record.date;
            self.held.set(Some(Held { who, sessions: vec![key.clone()], from, week: false, cut, words }));
        });
    }

    fn hold_week(self, row: &Row) {
        let from = self.week.get_untracked();
        let sessions: Vec<Key> = row.days.iter().flatten().map(|c| c.key.clone()).collect();
        let words = say_with("desk.week-of", &[("day", &dates::short(from))]);
        self.held.set(Some(Held { who: row.who, sessions, from, week: true, cut: false, words }));
    }

    /// Puts down what is held: a session on that day, a week from that Monday.
    fn put(self, who: PersonId, day: Day) {
        let Some(held) = self.held.get_untracked() else { return };
        let Some(desk) = untrack(|| self.desk()) else { return };
        let Some(place) = desk.place(who) else { return };
        let source = self.bench.hub.read_with(|device, readings| readings.plans(device, held.who));
        let Ok(source) = source else { return };
        let day = if held.week { day.week_start() } else { day };
        let by = day.since(held.from);
        // By the plan into which they go: a week can lie in two seasons.
        let mut into: BTreeMap<DocName, (Place, Vec<&PlannedSession>)> = BTreeMap::new();
        let mut steps: Vec<(DocName, Command)> = Vec::new();
        let mut away: Vec<(DocName, Command)> = Vec::new();
        for session in held.sessions.iter().filter_map(|key| source.session(key)) {
            let (from, planned) = (DocName::Plan(held.who, session.season), session.planned);
            let target = place.on(session.day().plus(by));
            if held.cut && from == target.doc {
                steps.extend(deeds::move_to(&target.plan, planned, day).map(|c| (from, c)));
                continue;
            }
            if held.cut {
                away.push((from, Command::Withdraw(vec![planned.session.place.clone()])));
            }
            into.entry(target.doc).or_insert_with(|| (target, Vec::new())).1.push(planned);
        }
        for (doc, (target, sessions)) in &into {
            let copies = deeds::copy_by(&target.plan, sessions, &[by], &mut self.mint());
            steps.extend(copies.into_iter().map(|c| (*doc, c)));
        }
        // What is taken away goes last: when a step fails it stands twice rather than nowhere.
        steps.extend(away);
        let said = if held.cut { say("desk.moved") } else { say("desk.copied") };
        self.bench.run(steps, said);
        if held.cut {
            self.held.set(None);
        }
    }

    /// Takes a session away; it stays readable and can be brought back.
    pub fn withdraw(self, who: PersonId, key: &Key) {
        self.with(who, key, |place, session| {
            let command = Command::Withdraw(vec![session.session.place.clone()]);
            self.bench.run(vec![(place.doc, command)], say("desk.withdrawn"));
        });
        if self.open.with_untracked(|o| o.as_ref().is_some_and(|(_, k)| k == key)) {
            self.open.set(None);
        }
    }

    fn shift(self, who: PersonId, key: &Key, way: Way) {
        self.with(who, key, |place, session| {
            if let Some(command) = deeds::shift_session(&place.plan, session, way) {
                self.bench.run(vec![(place.doc, command)], say("desk.shifted"));
            }
        });
    }

    fn go(self, weeks: i32) {
        self.show(self.week.get_untracked().plus(weeks * 7));
    }

    /// Shows the week in which a day lies.
    pub fn show(self, day: Day) {
        let week = day.week_start();
        self.week.set(week);
        // The address follows, so that a page that is loaded again shows the same week; what can be undone stays.
        let href = Route::Plan(self.whose, Some(week)).href();
        if let Ok(history) = window().history() {
            let nothing = JsValue::NULL;
            // Without it the address is that of another week, which is no harm.
            let _ = history.replace_state_with_url(&nothing, "", Some(&href));
        }
    }
}

/// The plan desk.
#[component]
pub fn PlanDesk(
    /// Whose plans.
    whose: Whose,
    /// The week's Monday; this week when missing.
    week: Option<Day>,
) -> impl IntoView {
    let bench = Bench::provide();
    let first = week.or_else(|| bench.hub.today()).map(Day::week_start);
    let Some(first) = first else {
        let trouble = Trouble { what: say("desk.clock").to_owned(), todo: say("welcome.clock").to_owned() };
        return view! { <ErrorBox trouble=trouble /> }.into_any();
    };
    let at = At {
        bench,
        whose,
        week: RwSignal::new(first),
        open: RwSignal::new(None),
        enter: RwSignal::new(false),
        held: RwSignal::new(None),
        repeat: RwSignal::new(None),
        gone: RwSignal::new(false),
        season: RwSignal::new(false),
        gift: RwSignal::new(None),
    };
    let help = RwSignal::new(false);
    let handle = window_event_listener(leptos::ev::keydown, move |event| keys(at, &event));
    on_cleanup(move || handle.remove());
    let wide = broad();
    let masses = masses();
    let grid = Memo::new(move |_| {
        Desk::read(bench.hub, whose, at.week.get())
            .map(|desk| rows(&desk, at.week.get(), masses.get()))
            .map_err(|e| e.to_string())
    });
    // Only how many there are: a change of a session draws its own card anew, not the grid.
    let people = Memo::new(move |_| grid.with(|g| g.as_ref().map(Vec::len).map_err(Clone::clone)));
    Effect::new(move |_| {
        let title = match (whose, grid.get()) {
            (Whose::Athlete(_), Ok(rows)) => rows.first().map_or_else(String::new, |r| r.name.clone()),
            (Whose::Squad(_), _) => at.desk().map_or_else(String::new, |d| d.squad.name),
            (Whose::Athlete(_), Err(_)) => String::new(),
        };
        let title = if title.is_empty() {
            say("desk.title").to_owned()
        } else {
            say_with("desk.title-of", &[("name", &title)])
        };
        let (from, to) = (at.week.get(), at.week.get().plus(6));
        head(title, say_with("desk.under", &[("from", &dates::named(from)), ("to", &dates::full(to))]));
    });
    view! {
        <div class="stack desk">
            <Bar at=at help=help />
            <Strip at=at />
            {move || at.season.get().then(|| view! { <SeasonPart at=at /> })}
            <div class="desk-floor" class:with-panel=move || wide.get() && at.open.with(Option::is_some)>
                {move || match people.get() {
                    Ok(0) => view! { <EmptyState title=say("desk.nobody") text=say("desk.nobody.text") /> }.into_any(),
                    Ok(_) => view! { <Grid at=at grid=grid /> }.into_any(),
                    Err(why) => unreadable(why),
                }}
                {move || (wide.get()).then(|| at.open.get()).flatten().map(|(who, key)| view! {
                    <aside class="desk-panel card" aria-label=say("desk.session")>
                        <h2 class="hidden-text">{say("desk.session")}</h2>
                        <Editor at=at who=who session=key />
                    </aside>
                })}
            </div>
            {move || at.gone.get().then(|| gone(at))}
        </div>
        <Dialog title=Signal::stored(say("desk.session").to_owned()) 
            open=Signal::derive(move || at.open.with(Option::is_some) && !wide.get())
            on_close=move || at.open.set(None) sheet=true>
            {move || at.open.get().map(|(who, key)| view! { <Editor at=at who=who session=key /> })}
        </Dialog>
        <Repeat at=at />
        <Give at=at gift=at.gift />
        <KeysHelp keys=all_keys() open=help />
    }
    .into_any()
}

fn all_keys() -> Vec<(String, String)> {
    let line = |keys: &str, what: &str| (keys.to_owned(), what.to_owned());
    vec![
        line("Enter", say("desk.key.open")),
        line("←", say("desk.key.before")),
        line("→", say("desk.key.after")),
        line("t", say("desk.key.today")),
        line("Ctrl+Z", say("desk.key.undo")),
        line("Ctrl+Shift+Z", say("desk.key.redo")),
        line("c", say("desk.key.copy")),
        line("m", say("desk.key.move")),
        line("r", say("desk.key.repeat")),
        line("Delete", say("desk.key.withdraw")),
        line("Alt+↑", say("desk.key.up")),
        line("Alt+↓", say("desk.key.down")),
        line("Escape", say("desk.key.let-go")),
        line("?", say("desk.key.help")),
    ]
}

/// Keys of the whole desk. Those of a session are at its card.
fn keys(at: At, event: &KeyboardEvent) {
    if typing(event) {
        return;
    }
    let control = event.ctrl_key() || event.meta_key();
    let key = event.key();
    match key.as_str() {
        "z" | "Z" if control => {
            if event.shift_key() {
                at.bench.redo();
            } else {
                at.bench.undo();
            }
        }
        "y" if control => at.bench.redo(),
        _ if control || event.alt_key() => return,
        "ArrowLeft" => at.go(-1),
        "ArrowRight" => at.go(1),
        "t" => {
            if let Some(day) = at.bench.hub.today() {
                at.show(day);
            }
        }
        "Escape" => {
            if at.held.with_untracked(Option::is_some) {
                at.held.set(None);
            } else {
                at.open.set(None);
            }
        }
        _ => return,
    }
    event.prevent_default();
}

#[component]
fn Bar(at: At, help: RwSignal<bool>) -> impl IntoView {
    let bench = at.bench;
    let undo_off = Signal::derive(move || bench.last().is_none());
    let redo_off = Signal::derive(move || bench.next().is_none());
    let today = move || {
        if let Some(day) = bench.hub.today() {
            at.show(day);
        }
    };
    view! {
        <div class="row apart no-print">
            <div class="row">
                <Button label=say("desk.before").to_owned() on_press=move || at.go(-1) />
                <Button label=say("desk.today").to_owned() on_press=today />
                <Button label=say("desk.after").to_owned() on_press=move || at.go(1) />
            </div>
            <div class="row">
                <Button label=say("desk.undo").to_owned() disabled=undo_off on_press=move || bench.undo() />
                <Button label=say("desk.redo").to_owned() disabled=redo_off on_press=move || bench.redo() />
                <Button label=say("season.open").to_owned() kind=Kind::Quiet
                    on_press=move || at.season.update(|s| *s = !*s) />
                <Button label=say("desk.gone").to_owned() kind=Kind::Quiet
                    on_press=move || at.gone.update(|g| *g = !*g) />
                <span class="desk-keys">
                    <Button label=say("desk.keys").to_owned() kind=Kind::Quiet on_press=move || help.set(true) />
                </span>
            </div>
        </div>
        {move || at.held.get().map(|held| {
            let text = if held.cut { say_with("desk.holding-cut", &[("what", &held.words)]) }
                else { say_with("desk.holding", &[("what", &held.words)]) };
            view! {
                <div class="box row apart" role="status">
                    <p>{text}</p>
                    <Button label=say("desk.let-go").to_owned() kind=Kind::Quiet on_press=move || at.held.set(None) />
                </div>
            }
        })}
    }
}

type Rows = Memo<Result<Vec<Row>, String>>;

#[component]
fn Grid(at: At, grid: Rows) -> impl IntoView {
    let people = Memo::new(move |_| {
        grid.with(|g| g.iter().flatten().map(|r| (r.who, r.name.clone())).collect::<Vec<_>>())
    });
    let squad = matches!(at.whose, Whose::Squad(_));
    let today = at.bench.hub.today();
    let heads = move || {
        (0..7)
            .map(|n| {
                let day = at.week.get().plus(n);
                let now = today == Some(day);
                view! {
                    <div class="desk-day-head" class:now=now aria-hidden="true">
                        {dates::named(day)}
                        {now.then(|| view! { <Chip text=say("desk.now") strong=true /> })}
                    </div>
                }
            })
            .collect_view()
    };
    view! {
        <div class="desk-grid" class:squad=squad>
            <div class="desk-heads">{heads}</div>
            <For each=move || people.get() key=|p| p.clone() let:row>
                <section class="desk-row" aria-label=row.1>
                    {squad.then(|| person_link(&row))}
                    <Week at=at grid=grid who=row.0 />
                </section>
            </For>
        </div>
    }
}

#[component]
fn Week(at: At, grid: Rows, who: PersonId) -> impl IntoView {
    let row =
        move || grid.with(|g| g.as_ref().ok().and_then(|rows| rows.iter().find(|r| r.who == who).cloned()));
    let hold = move || {
        if let Some(row) = untrack(row) {
            at.hold_week(&row);
        }
    };
    let spread = move || {
        let sessions = untrack(row).map(|r| r.days.iter().flatten().map(|c| c.key.clone()).collect());
        at.gift.set(sessions.map(|sessions| Gift::Sessions(who, sessions)));
    };
    let none = Signal::derive(move || row().is_none_or(|r| r.days.iter().all(Vec::is_empty)));
    view! {
        <ol class="desk-week">
            {(0..7_usize).map(|n| {
                let by = i32::try_from(n).unwrap_or(0);
                let day = move || at.week.get().plus(by);
                let cards = move || row().and_then(|r| r.days.get(n).cloned()).unwrap_or_default();
                let now = move || at.bench.hub.today() == Some(day());
                let label = move || dates::full(day());
                let add = move || say_with("desk.add-on", &[("day", &dates::named(day()))]);
                view! {
                    <li class="desk-day" class:now=now aria-label=label>
                        <p class="desk-day-name">{move || dates::named(day())}</p>
                        <For each=cards key=|c| c.clone() let:card>
                            <CardView at=at who=who card=card />
                        </For>
                        <div class="row no-print">
                            {move || at.held.get().filter(|h| !h.week).map(|_| view! {
                                <Button label=say("desk.put").to_owned()
                                    on_press=move || at.put(who, untrack(day)) />
                            })}
                            <button type="button" class="button quiet desk-add" aria-label=add
                                on:click=move |_| at.add(who, untrack(day))>"+"</button>
                        </div>
                    </li>
                }
            }).collect_view()}
        </ol>
        <div class="row no-print">
            <Button label=say("give.week").to_owned() kind=Kind::Quiet disabled=none on_press=spread />
            <Button label=say("desk.copy-week").to_owned() kind=Kind::Quiet disabled=none on_press=hold />
            {move || at.held.get().filter(|h| h.week).map(|_| view! {
                <Button label=say("desk.put-week").to_owned()
                    on_press=move || at.put(who, at.week.get_untracked()) />
            })}
        </div>
    }
}

#[component]
fn CardView(at: At, who: PersonId, card: Card) -> impl IntoView {
    let key = StoredValue::new(card.key.clone());
    let own = move || key.get_value();
    let open = move || at.open.with(|o| o.as_ref().is_some_and(|(w, k)| *w == who && *k == own()));
    let press = move |event: KeyboardEvent| {
        let free = !event.ctrl_key() && !event.meta_key();
        match event.key().as_str() {
            "c" if free => at.hold(who, &own(), false),
            "m" if free => at.hold(who, &own(), true),
            "r" if free => at.repeat.set(Some((who, own()))),
            "Delete" => at.withdraw(who, &own()),
            "ArrowUp" if event.alt_key() => at.shift(who, &own(), Way::Up),
            "ArrowDown" if event.alt_key() => at.shift(who, &own(), Way::Down),
            _ => return,
        }
        event.prevent_default();
        event.stop_propagation();
    };
    // Once opens it, and leaves the focus where keys mean the session; once more goes into it.
    let pressed = move |_| {
        if untrack(open) {
            super::editor::enter();
        } else {
            at.open.set(Some((who, own())));
        }
    };
    let met = card.met.then(|| view! { <Chip text=say("desk.met") brick=true /> });
    view! {
        <article class="desk-card" class:open=open>
            <button type="button" class="desk-open" on:click=pressed on:keydown=press
                aria-expanded=move || if open() { "true" } else { "false" }>
                <strong>{card.title.clone()}</strong>
                <span class="soft">{card.under.clone()}</span>
            </button>
            {met}
            <ul class="desk-lines">{card.lines.iter().map(|l| view! { <li>{l.clone()}</li> }).collect_view()}</ul>
            <details class="more no-print">
                <summary>{say("desk.do")}</summary>
                <div class="row">
                    <Button label=say("desk.copy").to_owned() on_press=move || at.hold(who, &own(), false) />
                    <Button label=say("desk.move").to_owned() on_press=move || at.hold(who, &own(), true) />
                    <Button label=say("desk.repeat").to_owned() on_press=move || at.repeat.set(Some((who, own()))) />
                    <Button label=say("desk.up").to_owned() on_press=move || at.shift(who, &own(), Way::Up) />
                    <Button label=say("desk.withdraw").to_owned() kind=Kind::Grave on_press=move || at.withdraw(who, &own()) />
                </div>
            </details>
        </article>
    }
}
