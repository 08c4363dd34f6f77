//! Everything that a person can do to a document, as one closed list. A command is checked to a
//! list of problems, then applied as exactly one change.

pub mod apply;
mod check;

use std::collections::BTreeSet;

use super::open::Document;
use super::place::Place;
use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::model::any::AnyRecord;
use crate::model::log::{SetDone, Work};
use crate::model::number::{Effort, Minutes, Note};
use crate::model::plan::{Decision, Prescription};
use crate::model::spec::Scalar;

/// A record to be made, at its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct New {
    /// Where; its last key is new.
    pub place: Place,
    /// What.
    pub record: AnyRecord,
}

/// The exercise of a session to which a set belongs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WorkOf {
    /// One that was begun before.
    Open(Key),
    /// A new one, begun with this set.
    New(Key, Box<Work>),
}

/// One deed of a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// Makes records, all in one: a session with its groups and prescriptions, an exercise, a trial.
    Add(Vec<New>),
    /// Changes what differs between two states of one record, and nothing else, so that another
    /// person's edit of another field survives.
    Edit {
        /// Which record.
        place: Place,
        /// As the person saw it.
        from: AnyRecord,
        /// As the person wants it.
        to: AnyRecord,
    },
    /// Withdraws records; they stay readable.
    Withdraw(Vec<Place>),
    /// Brings withdrawn records back.
    Restore(Vec<Place>),
    /// Picks one value where two edits met.
    Pick {
        /// Which record.
        place: Place,
        /// Which field.
        field: &'static str,
        /// The value; `None` clears the field.
        value: Option<Scalar>,
    },
    /// Logs a set.
    LogSet {
        /// The session in this log.
        session: Key,
        /// The exercise in that session.
        work: WorkOf,
        /// The new set's key.
        key: Key,
        /// The set.
        set: Box<SetDone>,
    },
    /// Leaves an exercise out, with the reason in the record. Silence would say less.
    Skip {
        /// The session in this log.
        session: Key,
        /// The new record's key.
        key: Key,
        /// The exercise with its reason.
        work: Box<Work>,
    },
    /// Corrects a set; the earlier values stay readable.
    CorrectSet {
        /// The session in this log.
        session: Key,
        /// The exercise in that session.
        work: Key,
        /// The set to correct.
        earlier: Key,
        /// The correction's own key.
        key: Key,
        /// The set as it should read.
        set: Box<SetDone>,
    },
    /// Closes a session.
    Close {
        /// The session in this log.
        session: Key,
        /// When.
        ended: Moment,
        /// How long it took.
        minutes: Option<Minutes>,
        /// How hard it was.
        effort: Option<Effort>,
        /// Words to the coach.
        comment: Option<Note>,
    },
    /// Takes a proposal, as it stands or edited: changes the prescription and says who decided, in
    /// one change. Refused when the fields that it would change are no longer as they were seen.
    Decide {
        /// The prescription.
        item: Key,
        /// As the person saw it.
        from: Box<Prescription>,
        /// As it should read.
        to: Box<Prescription>,
        /// The new decision's key.
        key: Key,
        /// The decision.
        decision: Box<Decision>,
    },
    /// Takes a decision back: the prescription reads as before and the proposal is open again.
    /// Refused when somebody changed the same fields meanwhile.
    Undecide {
        /// The prescription.
        item: Key,
        /// As the decision left it.
        from: Box<Prescription>,
        /// As it was before.
        to: Box<Prescription>,
        /// The decision.
        key: Key,
    },
}

/// What a command is checked against.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The clock, handed in.
    pub now: Moment,
    /// Exercises of the library, when at hand; without it they are not checked.
    pub exercises: Option<&'a BTreeSet<Key>>,
}

impl Command {
    /// The command that takes this one back, where one command can.
    #[must_use]
    pub fn inverse(&self) -> Option<Command> {
        match self {
            Command::Add(news) => Some(Command::Withdraw(news.iter().map(|n| n.place.clone()).collect())),
            Command::Edit { place, from, to } => {
                Some(Command::Edit { place: place.clone(), from: to.clone(), to: from.clone() })
            }
            Command::Withdraw(places) => Some(Command::Restore(places.clone())),
            Command::Restore(places) => Some(Command::Withdraw(places.clone())),
            Command::LogSet { session, work, key, .. } => {
                let work = match work {
                    WorkOf::Open(key) | WorkOf::New(key, _) => key,
                };
                Some(Command::Withdraw(vec![Place::of("sessions", session).inner(work).inner(key)]))
            }
            Command::Skip { session, key, .. } => {
                Some(Command::Withdraw(vec![Place::of("sessions", session).inner(key)]))
            }
            Command::CorrectSet { session, work, key, .. } => {
                Some(Command::Withdraw(vec![Place::of("sessions", session).inner(work).inner(key)]))
            }
            Command::Decide { item, from, to, key, .. } => Some(Command::Undecide {
                item: item.clone(),
                from: to.clone(),
                to: from.clone(),
                key: key.clone(),
            }),
            // A decision that was taken back is taken anew from the proposal, which is open again.
            Command::Pick { .. } | Command::Close { .. } | Command::Undecide { .. } => None,
        }
    }
}

impl Document {
    /// What is wrong with a command, without applying it. Empty: it may be applied.
    #[must_use]
    pub fn problems(&self, command: &Command, scene: &Scene<'_>) -> Vec<super::problem::Problem> {
        check::problems(self, command, scene)
    }
}
