//! A session under way: groups with their exercises side by side, the target resolved for the place, one tap for a
//! set as asked, everything else in a sheet. What was logged shows how far it has come.

use backstraight_core::base::key::Key;
use backstraight_core::doc::command::Command;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Form;
use backstraight_core::model::plan::Group;
use backstraight_core::science::Caution;
use backstraight_core::view::judge::{SetAsked, set_asked};
use backstraight_core::view::screen::{Doing, ScreenGroup, ScreenItem, SessionScreen, SetHere};
use backstraight_core::view::show;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::scene::{Own, Standing};
use super::set_form::SetForm;
use super::sheets::{Leave, Pain, Place, Swap};
use crate::deed::carry_out;
use crate::hub::{Hub, use_hub};
use crate::kit::rest::Rest;
use crate::kit::{
    Button, ButtonLink, CautionBox, Chip, Dialog, EmptyState, Kind, Plates, RestTimer, SaveMark, Toaster,
    WhyButton, WhyParts, dates,
};
use crate::platform::wake::{self, Awake};
use crate::route::Route;
use crate::screens::head;
use crate::settings::RestSignal;
use crate::start::busy;
use crate::words::{say, say_with};

/// What is open over the session.
#[derive(Debug, Clone, PartialEq)]
pub enum Sheet {
    /// A set to log that differs from what is asked.
    Log {
        /// The prescription.
        item: Key,
        /// Another exercise in its place.
        instead: Option<Key>,
    },
    /// A set that nobody asked, of that exercise.
    Extra(Key),
    /// A set to correct.
    Correct {
        /// The exercise in the log.
        work: Key,
        /// The set.
        set: Key,
    },
    /// What to do in the place of a prescription.
    Swap(Key),
    /// Why a prescription is left out.
    Leave(Key),
    /// Why the whole session is left out.
    LeaveAll,
    /// Another place.
    Place,
    /// Something hurts.
    Pain,
    /// Which exercise to do beside the plan.
    More,
}

/// What the parts of this screen share.
#[derive(Debug, Clone, Copy)]
pub struct At {
    /// The hub.
    pub hub: Hub,
    /// The session: of the plan, or of the log.
    pub key: StoredValue<Key>,
    /// Another place than the plan's.
    pub venue: RwSignal<Option<Key>>,
    /// What is open.
    pub sheet: RwSignal<Option<Sheet>>,
    rest: RwSignal<Option<Rest>>,
    toaster: Toaster,
}

impl At {
    /// The session as it stands now.
    #[must_use]
    pub fn screen(self) -> Option<(Own, SessionScreen)> {
        let own = Own::read(self.hub).ok()?;
        let screen = own.screen(self.hub, &self.key.get_value(), self.venue.get().as_ref())?;
        Some((own, screen))
    }

    fn doc(self, screen: &SessionScreen) -> DocName {
        let person = self.hub.me().person;
        screen.doc(|day| DocName::Log(person, day.month()))
    }

    /// Carries commands out and says so, with the way back where there is one.
    pub fn run(self, screen: &SessionScreen, commands: Vec<Command>, said: &'static str) {
        self.sheet.set(None);
        carry_out(self.hub, self.toaster, self.doc(screen), commands, said, |_| ());
    }

    fn log(self, item: &Key, instead: Option<&Key>, set: SetDone) {
        let Some((_, screen)) = untrack(|| self.screen()) else { return };
        let Some(item) = screen.item(item) else { return };
        let seconds = item.shown.target.rest.map(|r| r.get()).filter(|s| *s > 0);
        let commands = screen.log(item, instead, set, &mut || self.hub.key());
        self.run(&screen, commands, say("session.set-saved"));
        if let Some(seconds) = seconds {
            self.rest.set(Some(Rest::of(seconds, self.hub.now())));
        }
    }
}

/// A session.
#[component]
pub fn Session(
    /// Its key in the plan, or in the log when nobody asked it.
    key: Key,
) -> impl IntoView {
    let at = At {
        hub: use_hub(),
        key: StoredValue::new(key),
        venue: RwSignal::new(None),
        sheet: RwSignal::new(None),
        rest: RwSignal::new(None),
        toaster: Toaster::here(),
    };
    // Nothing may load the page anew while somebody trains.
    busy(true);
    on_cleanup(|| busy(false));
    let awake = StoredValue::new_local(None::<Awake>);
    let keep_awake = move |on: bool| {
        awake.set_value(None);
        if on {
            spawn_local(async move {
                awake.try_set_value(wake::keep_on().await);
            });
        }
    };
    let shown = window_event_listener_untyped("visibilitychange", move |_| {
        if at.rest.with_untracked(Option::is_some) {
            keep_awake(true);
        }
    });
    on_cleanup(move || shown.remove());
    let signal = expect_context::<RestSignal>().0;
    let over = move |()| {
        if signal.get_untracked() {
            wake::shake();
        }
    };
    view! {
        {move || match at.screen() {
            Some((own, screen)) => body(at, &own, &screen).into_any(),
            None => {
                head(say("session.gone"), "");
                let home = (say("way.today").to_owned(), Route::Today.href());
                view! { <EmptyState title=say("session.gone") text=say("session.gone.text") action=home /> }.into_any()
            }
        }}
        <RestTimer rest=at.rest now=Callback::new(move |()| at.hub.now()) keep_awake=Callback::new(move |(on,)| keep_awake(on))
            on_over=over />
        <Dialog title=Signal::derive(move || at.sheet.with(|s| s.as_ref().map_or_else(String::new, title)))
            open=Signal::derive(move || at.sheet.with(Option::is_some)) on_close=move || at.sheet.set(None) sheet=true>
            {move || at.sheet.get().map(|sheet| content(at, sheet))}
        </Dialog>
    }
}

fn title(sheet: &Sheet) -> String {
    match sheet {
        Sheet::Log { .. } | Sheet::Extra(_) => say("session.log"),
        Sheet::Correct { .. } => say("session.correct"),
        Sheet::Swap(_) => say("session.swap"),
        Sheet::Leave(_) => say("session.leave"),
        Sheet::LeaveAll => say("session.leave-all"),
        Sheet::Place => say("session.place"),
        Sheet::Pain => say("session.pain"),
        Sheet::More => say("session.extra"),
    }
    .to_owned()
}

fn content(at: At, sheet: Sheet) -> Option<AnyView> {
    let (own, screen) = untrack(|| at.screen())?;
    let now = at.hub.now();
    Some(match sheet {
        Sheet::Log { item, instead } => {
            let found = screen.item(&item)?;
            let asked = set_asked(found.doing.sets.len(), Some(&found.shown.target));
            let mut set = screen.next_set(found, now);
            if instead.is_some() {
                // Another exercise has another load.
                set.load = None;
            }
            let done =
                move |set: SetDone| at.log(&item, instead.as_ref(), SetDone { at: at.hub.now(), ..set });
            view! { <SetForm set=set asked=asked label=say("session.save") on_done=done /> }.into_any()
        }
        Sheet::Extra(ex) => {
            let last = screen.extra.iter().find(|d| d.ex == ex).and_then(|d| d.sets.last());
            let last = last.map(|s| &s.done.set.record);
            let asked = SetAsked { dose: None, intensity: None, load: last.and_then(|s| s.load) };
            let set = last.map_or_else(
                || SetDone::new(now),
                |s| SetDone { at: now, amends: None, note: None, speeds: None, ..s.clone() },
            );
            let done = move |set: SetDone| {
                let set = SetDone { at: at.hub.now(), ..set };
                let commands = screen.log_extra(&ex, set, &mut || at.hub.key());
                at.run(&screen, commands, say("session.set-saved"));
            };
            view! { <SetForm set=set asked=asked label=say("session.save") on_done=done /> }.into_any()
        }
        Sheet::Correct { work, set } => {
            let all = screen.items().map(|i| &i.doing).chain(&screen.extra);
            let found = all.flat_map(|d| &d.sets).find(|s| s.done.set.key() == set)?;
            let record = found.done.set.record.clone();
            let asked = SetAsked { dose: None, intensity: None, load: record.load };
            let (strike_work, strike_set, strike_screen) = (work.clone(), set.clone(), screen.clone());
            let done = move |new: SetDone| {
                let new = SetDone { at: at.hub.now(), ..new };
                let command = screen.correct(&work, &set, new, at.hub.key());
                at.run(&screen, command.into_iter().collect(), say("session.corrected"));
            };
            let strike = move || {
                let command = strike_screen.strike(&strike_work, &strike_set, at.hub.now(), at.hub.key());
                at.run(&strike_screen, command.into_iter().collect(), say("session.struck"));
            };
            view! {
                <SetForm set=record asked=asked label=say("session.save-correction") on_done=done />
                <Button label=say("session.strike").to_owned() kind=Kind::Grave full=true on_press=strike />
                <p class="soft">{say("session.strike.hint")}</p>
            }
            .into_any()
        }
        Sheet::Swap(item) => view! { <Swap at=at own=own screen=screen item=item /> }.into_any(),
        Sheet::Leave(item) => view! { <Leave at=at screen=screen item=Some(item) /> }.into_any(),
        Sheet::LeaveAll => view! { <Leave at=at screen=screen item=None /> }.into_any(),
        Sheet::Place => view! { <Place at=at own=own /> }.into_any(),
        Sheet::Pain => view! { <Pain at=at screen=screen /> }.into_any(),
        Sheet::More => view! { <super::sheets::More at=at own=own /> }.into_any(),
    })
}

fn body(at: At, own: &Own, screen: &SessionScreen) -> impl IntoView + use<> {
    let place =
        screen.venue.as_ref().and_then(|v| own.library.venues.get(v)).map(|v| v.record.name.to_string());
    let day = dates::named(screen.day);
    let title = if screen.title.is_empty() { say("session.own").to_owned() } else { screen.title.clone() };
    head(title, place.clone().map_or(day.clone(), |p| format!("{day}, {p}")));
    let standing = Standing::of(at.hub, at.doc(screen));
    let limits = screen.limits.as_ref().map(|said| {
        view! { <CautionBox caution=Caution::Availability text=said.words() /> }
    });
    let mut cautions: Vec<Caution> = screen.items().filter_map(|i| i.resolved.caution).collect();
    cautions.dedup();
    let changed = screen.changed_since || screen.planned.as_ref().is_some_and(|key| own.saw_earlier(key));
    let changed = changed.then(|| view! { <p class="box">{say("session.changed-since")}</p> });
    let (done, asked) = screen.progress();
    let progress = (asked > 0).then(|| {
        let text =
            say_with("session.progress", &[("done", &done.to_string()), ("asked", &asked.to_string())]);
        view! { <span>{text}</span> }
    });
    // A test day may name nothing: what is tested stands among the tests.
    let bare = (screen.planned.is_some() && asked == 0).then(|| {
        let label = say("session.bare.tests").to_owned();
        view! {
            <p class="soft">{say("session.bare")}</p>
            <p><ButtonLink label=label href=Route::Tests.href() /></p>
        }
    });
    let minutes = screen.minutes.map(|m| say_with("session.minutes", &[("n", &m.get().to_string())]));
    let skipped = screen.begun.as_ref().and_then(|b| b.record.skipped);
    let ended = is_ended(screen);
    let open = move |sheet: Sheet| move || at.sheet.set(Some(sheet.clone()));
    view! {
        <div class="stack">
        {limits}
        <p class="row">
            {progress}
            {minutes.map(|m| view! { <Chip text=m /> })}
            {skipped.map(|why| view! { <Chip text=say_with("session.skipped", &[("why", why.word())]) strong=true /> })}
            {ended.then(|| view! { <Chip text=say("session.closed") strong=true /> })}
            <Button label=place.unwrap_or_else(|| say("session.place").to_owned()) kind=Kind::Quiet on_press=open(Sheet::Place) />
        </p>
        {screen.notes.iter().map(|note| view! { <p>{note.clone()}</p> }).collect_view()}
        {bare}
        {changed}
        {screen.groups.iter().enumerate().map(|(n, g)| group(at, screen, &standing, n, g)).collect_view()}
        {screen.extra.iter().map(|d| extra(at, &standing, d)).collect_view()}
        {cautions.into_iter().map(|c| view! { <CautionBox caution=c /> }).collect_view()}
        <div class="stack">
            <Button label=say("session.extra").to_owned() full=true on_press=open(Sheet::More) />
            <Button label=say("session.pain").to_owned() full=true on_press=open(Sheet::Pain) />
            {(done == 0 && skipped.is_none()).then(|| view! {
                <Button label=say("session.leave-all").to_owned() kind=Kind::Quiet full=true on_press=open(Sheet::LeaveAll) />
            })}
            <ButtonLink label=if ended { say("session.close-again") } else { say("session.close") }.to_owned()
                href=Route::Close(Some(at.key.get_value())).href()
                kind=if ended { Kind::Plain } else { Kind::Main } big=true full=true />
        </div>
        </div>
    }
}

/// Whether the athlete said that it is over. More can be logged, but nothing is next.
fn is_ended(screen: &SessionScreen) -> bool {
    screen.begun.as_ref().is_some_and(|b| b.record.ended.is_some())
}

/// Where the athlete is: the group that is not done yet and in it the partner with the fewest sets, the first
/// of equals; so partners go round by round. None when all is done.
#[must_use]
pub fn next_up(groups: &[ScreenGroup]) -> Option<(usize, usize)> {
    let open = |i: &ScreenItem| i.doing.skipped.is_none() && i.doing.sets.len() < i.asked;
    groups.iter().enumerate().find_map(|(n, g)| {
        let items = g.items.iter().enumerate().filter(|(_, i)| open(i));
        items.min_by_key(|(at, i)| (i.doing.sets.len(), *at)).map(|(at, _)| (n, at))
    })
}

fn group_title(n: usize, group: &Group, items: usize) -> String {
    let form = match group.form {
        Form::Single => say("group.single"),
        Form::Superset if items == 2 => say("group.pair"),
        Form::Superset => say("group.superset"),
        Form::Contrast => say("group.contrast"),
        Form::Circuit => say("group.circuit"),
    };
    let letter = char::from_u32(u32::from(b'A') + u32::try_from(n.min(25)).unwrap_or(0)).unwrap_or('A');
    format!("{letter} {form}")
}

fn group(
    at: At,
    screen: &SessionScreen,
    standing: &Standing,
    n: usize,
    group: &ScreenGroup,
) -> impl IntoView + use<> {
    let rounds = group.group.rounds.map(|r| say_with("group.rounds", &[("n", &r.get().to_string())]));
    let change = group.group.change.map(|r| say_with("group.change", &[("n", &r.get().to_string())]));
    let rest = group.group.rest.map(|r| say_with("group.rest", &[("n", &r.get().to_string())]));
    let facts: Vec<String> = rounds.into_iter().chain(change).chain(rest).collect();
    let items = &group.items;
    let next = next_up(&screen.groups).filter(|(of, _)| *of == n && !is_ended(screen)).map(|(_, at)| at);
    view! {
        <section class="stack">
            <h2>{group_title(n, &group.group, items.len())}</h2>
            {(!facts.is_empty()).then(|| view! { <p class="soft">{facts.join(", ")}</p> })}
            {group.group.note.as_ref().map(|note| view! { <p>{note.to_string()}</p> })}
            <div class="partners">
                {items.iter().enumerate().map(|(k, i)| item(at, screen, standing, i, next == Some(k))).collect_view()}
            </div>
        </section>
    }
}

fn item(
    at: At,
    screen: &SessionScreen,
    standing: &Standing,
    item: &ScreenItem,
    next: bool,
) -> impl IntoView + use<> {
    let swapped = item.doing.ex != item.shown.ex;
    let name = item.doing.name.clone();
    let instead = swapped.then(|| say_with("item.instead-of", &[("name", &item.shown.name)]));
    let done = item.doing.sets.len();
    let filled = screen.next_set(item, at.hub.now());
    let next_words = show::set(&filled);
    let label = if next_words.is_empty() {
        say_with("item.set", &[("n", &(done + 1).to_string())])
    } else {
        say_with("item.done-as", &[("set", &next_words)])
    };
    let count = say_with("item.count", &[("done", &done.to_string()), ("asked", &item.asked.to_string())]);
    let why = (!item.resolved.why.is_empty()).then(|| {
        let parts = WhyParts::of_lines(item.resolved.why.clone());
        view! { <WhyButton of=name.clone() why=parts /> }
    });
    let missing = item.resolved.missing.map(|m| {
        let words = item.resolved.fallback.clone().unwrap_or_default();
        view! { <p class="soft">{format!("{}: {words}", m.words())}</p> }
    });
    let bar = item.resolved.on_the_bar.clone().map(|bar| view! { <Plates bar=bar /> });
    let skipped = item
        .doing
        .skipped
        .map(|why| view! { <Chip text=say_with("session.skipped", &[("why", why.word())]) strong=true /> });
    let key = item.shown.item.clone();
    // Each set draws the session anew; by this the focus finds its button again, whatever it says then.
    let log_id = format!("log-{key}");
    let (for_log, for_form, for_swap, for_leave) = (key.clone(), key.clone(), key.clone(), key);
    let log = move || at.log(&for_log, None, SetDone { at: at.hub.now(), ..filled.clone() });
    view! {
        <article class="card stack tight" class:next=next>
            <h3>{name}</h3>
            {instead.map(|text| view! { <p class="soft">{text}</p> })}
            <p class="bold">{item.shown.words.clone()} {why}</p>
            {missing}
            {bar}
            {item.shown.cues.iter().map(|cue| view! { <p class="soft">{cue.clone()}</p> }).collect_view()}
            {item.shown.caution.clone().map(|text| view! { <CautionBox text=text /> })}
            {skipped}
            {sets(at, standing, &item.doing)}
            <p class="soft">{count}</p>
            <Button label=label kind={if next { Kind::Main } else { Kind::Plain }} big=true full=true id=log_id on_press=log />
            <div class="row close">
                <Button label=say("item.other").to_owned() on_press=move || {
                    at.sheet.set(Some(Sheet::Log { item: for_form.clone(), instead: None }));
                } />
                <Button label=say("item.swap").to_owned() kind=Kind::Quiet on_press=move || {
                    at.sheet.set(Some(Sheet::Swap(for_swap.clone())));
                } />
                <Button label=say("item.leave").to_owned() kind=Kind::Quiet on_press=move || {
                    at.sheet.set(Some(Sheet::Leave(for_leave.clone())));
                } />
            </div>
        </article>
    }
}

fn sets(at: At, standing: &Standing, doing: &Doing) -> impl IntoView + use<> {
    let row = |(n, here): (usize, &SetHere)| {
        let (set, work) = (here.done.set.key(), here.work.clone());
        let words = show::set(&here.done.set.record);
        let name = say_with("item.nth", &[("n", &(n + 1).to_string())]);
        let corrected =
            (!here.done.earlier.is_empty()).then(|| view! { <Chip text=say("item.corrected") /> });
        let kept = standing.record(&set);
        let label = say_with("item.correct", &[("n", &(n + 1).to_string())]);
        let correct = move || at.sheet.set(Some(Sheet::Correct { work: work.clone(), set: set.clone() }));
        view! {
            <li>
                <div class="set">
                    <span class="figure">{name}" "{words}</span>
                    {corrected}
                    <SaveMark kept=Signal::stored(kept) />
                </div>
                <Button label=label kind=Kind::Quiet on_press=correct />
            </li>
        }
    };
    let rows = doing.sets.iter().enumerate().map(row).collect_view();
    view! { <ol class="sets">{rows}</ol> }
}

fn extra(at: At, standing: &Standing, doing: &Doing) -> impl IntoView + use<> {
    let ex = doing.ex.clone();
    view! {
        <section class="stack">
            <h2>{say("session.beside")}</h2>
            <article class="card">
                <h3>{doing.name.clone()}</h3>
                {sets(at, standing, doing)}
                <Button label=say("session.another").to_owned() full=true on_press=move || at.sheet.set(Some(Sheet::Extra(ex.clone()))) />
            </article>
        </section>
    }
}
