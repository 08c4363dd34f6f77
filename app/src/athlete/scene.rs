//! What an athlete's screens are made from, read from this phone's documents, and how far each record has come.

use std::collections::BTreeSet;
use std::rc::Rc;
use std::sync::Arc;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::device::shelf::Shelf as _;
use backstraight_core::doc::touched::keys_in;
use backstraight_core::model::name::DocName;
use backstraight_core::view::board::{Athlete, Review, row};
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::plans::Plans;
use backstraight_core::view::screen::{Scene, SessionScreen};
use backstraight_core::view::state::{State, heard_of_self};

use leptos::prelude::Get as _;

use crate::error::AppError;
use crate::hub::Hub;
use crate::kit::Kept;
use crate::saved::Saved;

/// Everything that is read for a day.
#[derive(Debug, Clone)]
pub struct Own {
    /// The athlete's day.
    pub day: Day,
    /// The library.
    pub library: Arc<Library>,
    /// What is asked, of every season.
    pub plans: Plans,
    /// The last months.
    pub done: Rc<Done>,
}

impl Own {
    /// Reads it; again when something changes.
    ///
    /// # Errors
    /// When a document cannot be opened, or the clock is outside the calendar.
    pub fn read(hub: Hub) -> Result<Own, AppError> {
        hub.read_with(|device, readings| {
            let day = device.today()?;
            let person = device.identity().person;
            Ok(Own {
                day,
                library: readings.library(device)?,
                plans: readings.plans(device, person)?,
                done: Rc::new(readings.done(device, person, day)?),
            })
        })
    }

    /// A session's screen: of the plan, or of the log when nobody asked it. None when neither knows it.
    #[must_use]
    pub fn screen(&self, hub: Hub, session: &Key, venue: Option<&Key>) -> Option<SessionScreen> {
        let (plans, done, library) = (&self.plans, &*self.done, &*self.library);
        SessionScreen::of(&Scene { plans, done, library, venue, day: self.day }, session, hub.now())
    }
}

/// A session as core judges it, for whoever did it.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Its day: planned, or done when nobody asked for it.
    pub day: Day,
    /// Its key in the plan, or in the log when nobody asked it.
    pub key: Key,
    /// Its title.
    pub title: String,
    /// Its state. On the own phone nothing is unheard: what is not in the log of a past day was not done.
    pub state: State,
    /// The share of what was asked.
    pub share: Option<f64>,
    /// Sets done and asked.
    pub sets: (usize, u32),
    /// Whether the plan asks something else now than what was shown when it was done.
    pub earlier: bool,
    /// The athlete's words to the coach.
    pub comment: Option<String>,
}

impl Own {
    /// The sessions of some days, by day.
    #[must_use]
    pub fn judged(&self, from: Day, to: Day) -> Vec<Judged> {
        let athlete = Athlete {
            person: PersonId(uuid::Uuid::nil()),
            name: "",
            events: "",
            plans: &self.plans,
            done: &self.done,
            heard_through: Some(heard_of_self(self.day)),
        };
        let row = row(athlete, &self.library, from, to, self.day);
        let judged = |r: &Review<'_>| {
            Some(Judged {
                day: r.date,
                key: r.key()?,
                title: r.title(),
                state: r.state,
                share: r.share.as_ref().and_then(|s| s.share),
                sets: r.sets(),
                earlier: r.share.as_ref().is_some_and(|s| s.earlier_version),
                comment: r
                    .logs
                    .iter()
                    .find_map(|l| l.session.record.comment.as_ref())
                    .map(ToString::to_string),
            })
        };
        row.sessions.iter().filter_map(judged).collect()
    }
}

impl Own {
    /// Whether a session of the plan asks something else now than what was shown when it was done: the same that the
    /// board says of it.
    #[must_use]
    pub fn saw_earlier(&self, session: &Key) -> bool {
        let Some(day) = self.plans.session(session).map(|s| s.day()) else { return false };
        self.judged(day, day).iter().any(|j| j.key == *session && j.earlier)
    }
}

/// How far the records of a log have come.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Standing {
    /// Keys of what the server has not acknowledged; none when that cannot be told.
    unsent: Option<BTreeSet<Key>>,
    saved: bool,
    refused: bool,
}

impl Standing {
    /// Of one document.
    #[must_use]
    pub fn of(hub: Hub, doc: DocName) -> Standing {
        let (saved, refused) = match hub.saved.get() {
            Saved::All => (true, false),
            Saved::Saving => (false, false),
            Saved::Not { .. } => (false, true),
        };
        let unsent = hub.read(|device| {
            let heads = device.shelf().doc(&doc).ok().flatten().map(|row| row.server_heads);
            let open = device.document(doc).ok()?;
            keys_in(&open.changes_since(&heads.unwrap_or_default()))
        });
        Standing { unsent, saved, refused }
    }

    /// Of one record in it.
    #[must_use]
    pub fn record(&self, key: &Key) -> Kept {
        let there = self.unsent.as_ref().is_some_and(|keys| !keys.contains(key));
        match () {
            () if there => Kept::There,
            () if self.saved => Kept::Here,
            () if self.refused => Kept::Not,
            () => Kept::Saving,
        }
    }
}
