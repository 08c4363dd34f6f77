//! A question to the server that a screen keeps asking: the last answer with its time, and what is wrong when the
//! server is not reached. Knows no answer's meaning.

use backstraight_core::base::day::Day;
use backstraight_core::base::moment::Moment;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::de::DeserializeOwned;

use crate::hub::Hub;
use crate::kit::{ErrorBox, Progress, Trouble, dates};
use crate::platform::clock::zone_minutes;
use crate::words::{say, say_with};

/// A question and its last answer.
#[derive(Debug)]
pub struct Asked<T: Send + Sync + 'static> {
    answer: RwSignal<Option<T>>,
    at: RwSignal<Option<Moment>>,
    trouble: RwSignal<Option<String>>,
    busy: RwSignal<bool>,
    again: RwSignal<u64>,
}

impl<T: Send + Sync + 'static> Clone for Asked<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T: Send + Sync + 'static> Copy for Asked<T> {}

/// Asks now, whenever the question changes, and after each exchange. An empty path asks nothing.
pub fn ask<T>(hub: Hub, path: Signal<String>) -> Asked<T>
where
    T: DeserializeOwned + PartialEq + Clone + Send + Sync + 'static,
{
    let asked = Asked {
        answer: RwSignal::new(None::<T>),
        at: RwSignal::new(None),
        trouble: RwSignal::new(None),
        busy: RwSignal::new(false),
        again: RwSignal::new(0),
    };
    let turn = StoredValue::new(0_u64);
    Effect::new(move |before: Option<String>| {
        hub.revision.track();
        hub.report.track();
        asked.again.track();
        let path = path.get();
        if before.as_ref() != Some(&path) {
            let last = hub.last::<T>(&path);
            asked.at.set(last.as_ref().map(|(at, _)| *at));
            asked.answer.set(last.map(|(_, t)| t));
            asked.trouble.set(None);
        }
        turn.update_value(|n| *n += 1);
        let mine = turn.get_value();
        if path.is_empty() {
            return path;
        }
        asked.busy.set(true);
        let question = path.clone();
        spawn_local(async move {
            let got = hub.get::<T>(&question).await;
            // Another question came meanwhile, or the screen is gone.
            if turn.try_get_value() == Some(mine) {
                asked.hear(got.map_err(|e| e.to_string()), hub.now());
            }
        });
        path
    });
    asked
}

impl<T: PartialEq + Clone + Send + Sync + 'static> Asked<T> {
    fn hear(self, got: Result<T, String>, now: Moment) {
        self.busy.set(false);
        match got {
            Ok(new) => {
                self.trouble.set(None);
                self.at.set(Some(now));
                // The same answer draws nothing anew: focus and place in the page stay.
                if self.answer.with_untracked(|old| old.as_ref() != Some(&new)) {
                    self.answer.set(Some(new));
                }
            }
            Err(why) => self.trouble.set(Some(why)),
        }
    }

    /// The last answer.
    #[must_use]
    pub fn get(self) -> Option<T> {
        self.answer.get()
    }

    /// Asks once more.
    pub fn ask_again(self) {
        self.again.update(|n| *n += 1);
    }

    /// How it stands with the answer, and what `view` makes of it.
    pub fn shown(self, view: impl Fn(&T) -> AnyView + Send + 'static) -> impl IntoView {
        view! {
            {self.standing()}
            {move || self.answer.with(|a| a.as_ref().map(&view))}
        }
    }

    /// How it stands with the answer.
    pub fn standing(self) -> impl IntoView {
        let again = Callback::new(move |()| self.ask_again());
        let box_or_line = move || {
            let (why, at) = (self.trouble.get(), self.at.get());
            match (why, at) {
                (None, Some(_)) => ().into_any(),
                (None, None) if self.busy.get() => {
                    view! { <Progress label=Signal::stored(say("coach.asking").to_owned()) done=Signal::stored(None) /> }
                        .into_any()
                }
                (None, None) => ().into_any(),
                (Some(why), None) => {
                    let trouble = Trouble { what: why, todo: say("coach.no-answer").to_owned() };
                    view! { <ErrorBox trouble=trouble again=again /> }.into_any()
                }
                (Some(why), Some(at)) => {
                    let what = say_with("coach.as-of", &[("time", &clock_text(at, zone_minutes())), ("why", &why)]);
                    let trouble = Trouble { what, todo: say("coach.as-of.todo").to_owned() };
                    view! { <ErrorBox trouble=trouble again=again /> }.into_any()
                }
            }
        };
        view! { <div class="no-print">{box_or_line}</div> }
    }
}

/// Day and time of a moment at a place so many minutes ahead of UTC.
#[must_use]
pub fn clock_text(at: Moment, ahead: i32) -> String {
    let minutes = (at.0.div_euclid(60_000) + i64::from(ahead)).rem_euclid(24 * 60);
    let time = format!("{}:{:02}", minutes / 60, minutes % 60);
    match Day::of(at, ahead) {
        Ok(day) => format!("{}, {time}", dates::named(day)),
        Err(_) => time,
    }
}

/// A question with what it asks about; values may hold spaces.
#[must_use]
pub fn question(path: &str, asks: &[(&str, &str)]) -> String {
    let mut out = path.to_owned();
    for (i, (name, value)) in asks.iter().enumerate() {
        out.push(if i == 0 { '?' } else { '&' });
        out.push_str(name);
        out.push('=');
        for byte in value.bytes() {
            if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'.') {
                out.push(char::from(byte));
            } else {
                out.push_str(&format!("%{byte:02X}"));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn questions_are_put_so_that_nothing_in_them_is_taken_for_a_sign() {
        assert_eq!(question("/v1/board", &[]), "/v1/board");
        assert_eq!(
            question("/v1/board", &[("from", "2026-11-23"), ("state", "due today"), ("x", "a&b=é")]),
            "/v1/board?from=2026-11-23&state=due%20today&x=a%26b%3D%C3%A9"
        );
    }

    #[test]
    fn a_moment_is_told_at_its_place() {
        let at = Moment(1_795_615_559_000);
        assert_eq!(clock_text(at, 0), "Wed 25 Nov, 14:05");
        assert_eq!(clock_text(at, 10 * 60), "Thu 26 Nov, 0:05");
    }
}
