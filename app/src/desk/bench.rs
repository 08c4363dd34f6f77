//! What the parts of a desk share: the hub, what was done and can be taken back, what is held to be put elsewhere.
//! Knows no screen.

use backstraight_core::device::error::DeviceError;
use backstraight_core::doc::command::{Command, Scene};
use backstraight_core::doc::problem::Code;
use backstraight_core::model::name::DocName;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::undo::{Deed, Stack, Steps, still_so, way_back};
use crate::error::AppError;
use crate::hub::{Hub, use_hub};
use crate::kit::Toaster;
use crate::words::{say, say_with};

/// What went wrong, for a person: problems of a command without the names of records, each once.
#[must_use]
pub fn why(error: &AppError) -> String {
    let AppError::Device(DeviceError::Invalid(problems)) = error else { return error.to_string() };
    let mut texts: Vec<&str> = Vec::new();
    for problem in problems {
        if !texts.contains(&problem.text.as_str()) {
            texts.push(&problem.text);
        }
    }
    let outside = problems.iter().any(|p| p.code == Code::OutsideSeason);
    let todo = if outside { say("desk.wrong.season") } else { say("desk.wrong") };
    let more = if texts.len() > MOST_TEXTS { " …" } else { "" };
    let texts: Vec<&str> = texts.into_iter().take(MOST_TEXTS).collect();
    format!("{}{more}. {todo}", texts.join("; "))
}

/// Most problems that are told at once.
const MOST_TEXTS: usize = 2;

/// A desk at work. Copy it where it is needed.
#[derive(Debug, Clone, Copy)]
pub struct Bench {
    /// Documents and exchange.
    pub hub: Hub,
    /// Where is said what was done.
    pub toaster: Toaster,
    stack: RwSignal<Stack>,
}

impl Bench {
    /// One for a screen and everything in it.
    #[must_use]
    pub fn provide() -> Bench {
        let bench =
            Bench { hub: use_hub(), toaster: Toaster::here(), stack: RwSignal::new(Stack::default()) };
        provide_context(bench);
        bench
    }

    /// Carries out what a person did, and says so.
    pub fn run(self, steps: Steps, said: impl Into<String>) {
        self.go(steps, said.into(), true);
    }

    /// The same for a field, which shows by itself that it was saved.
    ///
    /// # Errors
    /// What is wrong with it, for the line under the field. Nothing was changed then.
    pub fn quietly(
        self,
        doc: DocName,
        command: Option<Command>,
        said: impl Into<String>,
    ) -> Result<(), String> {
        let Some(command) = command else { return Ok(()) };
        let scene = Scene { now: self.hub.now(), exercises: None };
        let problems = self.hub.peek(|device| device.document(doc).map(|d| d.problems(&command, &scene)));
        match problems {
            Ok(problems) if problems.is_empty() => {
                self.go(vec![(doc, command)], said.into(), false);
                Ok(())
            }
            Ok(problems) => Err(why(&AppError::Device(DeviceError::Invalid(problems)))),
            Err(error) => Err(error.to_string()),
        }
    }

    fn go(self, steps: Steps, said: String, aloud: bool) {
        if steps.is_empty() {
            return;
        }
        spawn_local(async move {
            let (done, trouble) = self.carry_out(steps).await;
            let back = way_back(&done, &mut || self.hub.key(), self.hub.now());
            match (back, done.is_empty()) {
                (Some(back), false) => {
                    let deed = Deed { said: said.clone(), back };
                    self.stack.update(|s| s.push(deed.clone()));
                    if aloud && trouble.is_none() {
                        self.toaster.with_undo(said, Callback::new(move |()| self.undo_only(&deed)));
                    }
                }
                _ if aloud && trouble.is_none() => self.toaster.say(said),
                _ => {}
            }
            if let Some(why) = trouble {
                self.toaster.say(why);
            }
        });
    }

    /// One after the other until one fails; what was done, and why not all of it.
    pub async fn carry_out(self, steps: Steps) -> (Steps, Option<String>) {
        let mut done = Vec::new();
        for (doc, command) in steps {
            match self.hub.run(doc, &command).await {
                Ok(_) => done.push((doc, command)),
                Err(error) => return (done, Some(why(&error))),
            }
        }
        (done, None)
    }

    /// Remembers what was carried out elsewhere.
    pub fn remember(self, done: &Steps, said: String) {
        if let Some(back) = way_back(done, &mut || self.hub.key(), self.hub.now()) {
            self.stack.update(|s| s.push(Deed { said, back }));
        }
    }

    fn undo_only(self, deed: &Deed) {
        if self.stack.with_untracked(|s| s.last() == Some(deed)) {
            self.undo();
        } else {
            self.toaster.say(say("desk.undo.later"));
        }
    }

    /// Takes the last deed back.
    pub fn undo(self) {
        let Some(deed) = self.stack.with_untracked(|s| s.last().cloned()) else { return };
        self.turn(
            deed,
            |stack, steps| stack.took_back(steps),
            |said| say_with("desk.undone", &[("what", said)]),
        );
    }

    /// Does what was taken back anew.
    pub fn redo(self) {
        let Some(deed) = self.stack.with_untracked(|s| s.next().cloned()) else { return };
        self.turn(
            deed,
            |stack, steps| stack.did_again(steps),
            |said| say_with("desk.redone", &[("what", said)]),
        );
    }

    fn turn(self, deed: Deed, then: fn(&mut Stack, Steps), words: fn(&str) -> String) {
        let so = deed.back.iter().all(|(doc, command)| {
            self.hub.peek(|device| device.document(*doc).is_ok_and(|d| still_so(d, command)))
        });
        if !so {
            self.toaster.say(say("desk.undo.changed"));
            return;
        }
        spawn_local(async move {
            let (done, trouble) = self.carry_out(deed.back.clone()).await;
            if let Some(why) = trouble {
                self.toaster.say(why);
            }
            if done.len() == deed.back.len()
                && let Some(again) = way_back(&done, &mut || self.hub.key(), self.hub.now())
            {
                self.stack.update(|s| then(s, again));
                self.toaster.say(words(&deed.said));
            }
        });
    }

    /// What would be taken back, in words.
    #[must_use]
    pub fn last(self) -> Option<String> {
        self.stack.with(|s| s.last().map(|d| d.said.clone()))
    }

    /// What would be done again, in words.
    #[must_use]
    pub fn next(self) -> Option<String> {
        self.stack.with(|s| s.next().map(|d| d.said.clone()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::doc::problem::Problem;

    #[test]
    fn problems_are_told_once_and_without_names_of_records() {
        let one = |n: u32, code, text: &str| Problem {
            place: format!("sessions/abcdef-{n}"),
            field: "date",
            code,
            text: text.to_owned(),
        };
        let told = |problems| why(&AppError::Device(DeviceError::Invalid(problems)));
        let twice = told(vec![
            one(1, Code::Contradiction, "a is before b"),
            one(2, Code::Contradiction, "a is before b"),
        ]);
        assert_eq!(twice, format!("a is before b. {}", say("desk.wrong")));
        let many = told((0..5).map(|n| one(n, Code::OutsideSeason, &format!("{n} lies outside"))).collect());
        assert_eq!(many, format!("0 lies outside; 1 lies outside …. {}", say("desk.wrong.season")));
    }
}
