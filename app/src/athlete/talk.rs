//! Words between athlete and coach. The athlete writes to the own log, a coach to the notes about that athlete;
//! both read both. Works on documents, so also without a connection.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::model::log::Comment;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Note;
use backstraight_core::view::done::Done;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::scene::Standing;
use crate::coach::asked::clock_text;
use crate::coach::care::{athletes, name_of};
use crate::hub::{Hub, use_hub};
use crate::kit::{Button, EmptyState, Kind, SaveMark, TextField, Toaster};
use crate::platform::clock::zone_minutes;
use crate::route::Route;
use crate::screens::{head, unreadable};
use crate::words::{say, say_with};

/// The document in which somebody's words about an athlete stand.
#[must_use]
pub fn doc_of(me: PersonId, athlete: PersonId, day: Day) -> DocName {
    if me == athlete { DocName::Log(athlete, day.month()) } else { DocName::Notes(athlete, day.month()) }
}

fn done(hub: Hub, athlete: PersonId, today: Day) -> Result<Done, String> {
    hub.read_with(|device, readings| readings.done(device, athlete, today)).map_err(|e| e.to_string())
}

/// The newest words of both.
fn newest(hub: Hub, athlete: PersonId, today: Day) -> Option<Comment> {
    done(hub, athlete, today).ok()?.comments.last().map(|c| c.record.clone())
}

/// Athletes with their newest words, for a coach.
#[component]
pub fn TalkList() -> impl IntoView {
    let hub = use_hub();
    head(say("way.talk"), say("talk.under"));
    move || {
        let (all, today) = (athletes(hub), hub.today());
        if all.is_empty() {
            return view! { <EmptyState title=say("care.none") text=say("care.none.text") /> }.into_any();
        }
        let rows = all
            .into_iter()
            .map(|(id, name)| {
                let words = today.and_then(|day| newest(hub, id, day)).map_or_else(
                    || say("talk.nothing").to_owned(),
                    |c| format!("{}: {}", clock_text(c.at, zone_minutes()), c.text),
                );
                view! {
                    <li class="card">
                        <a class="name" href=Route::Talk(Some(id)).href()>{name}</a>
                        <p class="soft">{words}</p>
                    </li>
                }
            })
            .collect_view();
        view! { <ul class="board-list">{rows}</ul> }.into_any()
    }
}

/// The words about one athlete.
#[component]
pub fn Talk(
    /// Whose.
    athlete: PersonId,
) -> impl IntoView {
    let (hub, toaster) = (use_hub(), Toaster::here());
    let me = hub.me().person;
    let name = name_of(hub, athlete);
    let under = if me == athlete { say("talk.own").to_owned() } else { name.clone().unwrap_or_default() };
    head(say("way.talk"), under);
    let Some(today) = hub.today() else {
        return view! { <EmptyState title=say("coach.clock") text=say("coach.clock.text") /> }.into_any();
    };
    let doc = doc_of(me, athlete, today);
    let typed = RwSignal::new(String::new());
    let wrong = RwSignal::new(None::<String>);
    let blank = Signal::derive(move || typed.with(|t| t.trim().is_empty()));
    let send = move || {
        let words = typed.get_untracked();
        if words.trim().is_empty() {
            return;
        }
        let text = match Note::new(words.trim()) {
            Ok(text) => text,
            Err(error) => return wrong.set(Some(error.to_string())),
        };
        wrong.set(None);
        let record = Comment::new(hub.now(), me, text);
        let place = Place::of("comments", &hub.key());
        let command = Command::Add(vec![New { place, record: record.into() }]);
        spawn_local(async move {
            match hub.run(doc, &command).await {
                // What was typed goes only once it is on disk.
                Ok(_) => typed.set(String::new()),
                Err(error) => toaster.say(error.to_string()),
            }
        });
    };
    let list = move || match done(hub, athlete, today) {
        Ok(done) => words(hub, &done, me, athlete, name.as_deref()).into_any(),
        Err(why) => unreadable(why),
    };
    view! {
        <div class="stack">
            {list}
            <form class="stack" on:submit=move |event| { event.prevent_default(); send(); }>
                <TextField label=say("talk.words") value=typed lines=true most=2000 error=wrong />
                <Button label=say("talk.send").to_owned() kind=Kind::Main big=true full=true submit=true
                    disabled=blank on_press=|| () />
            </form>
            <p class="soft">{say("talk.who-reads")}</p>
        </div>
    }
    .into_any()
}

fn words(
    hub: Hub,
    done: &Done,
    me: PersonId,
    athlete: PersonId,
    name: Option<&str>,
) -> impl IntoView + use<> {
    if done.comments.is_empty() {
        return view! { <EmptyState title=say("talk.none") text=say("talk.none.text") /> }.into_any();
    }
    let rows = done
        .comments
        .iter()
        .map(|c| {
            let by = match c.record.by {
                by if by == me => say("talk.me").to_owned(),
                by if by == athlete => name.map_or_else(|| say("care.unknown").to_owned(), str::to_owned),
                _ => say("talk.coach").to_owned(),
            };
            let at = clock_text(c.record.at, zone_minutes());
            let day = Day::of(c.record.at, zone_minutes()).ok();
            let kept = (c.record.by == me).then_some(day).flatten().map(|day| {
                let kept = Standing::of(hub, doc_of(me, athlete, day)).record(&c.key());
                view! { <SaveMark kept=Signal::stored(kept) /> }
            });
            view! {
                <li class="card">
                    <p class="soft">{say_with("talk.by", &[("who", &by), ("when", &at)])}</p>
                    <p>{c.record.text.to_string()}</p>
                    {kept}
                </li>
            }
        })
        .collect_view();
    view! { <ol class="stack tight">{rows}</ol> }.into_any()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_writes_where_each_may() {
        let athlete: PersonId = "018bcfe5-6800-7707-8707-070707070707".parse().unwrap();
        let coach: PersonId = "018bcfe5-6800-7707-8707-070707070708".parse().unwrap();
        let day: Day = "2026-11-25".parse().unwrap();
        assert_eq!(doc_of(athlete, athlete, day), DocName::Log(athlete, day.month()));
        assert_eq!(doc_of(coach, athlete, day), DocName::Notes(athlete, day.month()));
    }
}
