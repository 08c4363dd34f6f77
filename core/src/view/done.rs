//! Logs put together: sessions done with their exercises and sets, corrections applied.

use std::collections::BTreeSet;

use crate::base::key::Key;
use crate::doc::open::Document;
use crate::doc::read::{Entry, Met, Unreadable};
use crate::model::log::{CheckIn, Comment, Entered, Excuse, SessionDone, SetDone, Trial, Work};
use crate::model::name::DocName;

/// A set as it reads now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DoneSet {
    /// The set, the latest correction applied.
    pub set: Entry<SetDone>,
    /// Earlier values, latest first.
    pub earlier: Vec<Entry<SetDone>>,
    /// Other corrections of the same set that met this one; the later by its own time is shown.
    pub others: Vec<Entry<SetDone>>,
}

/// An exercise of a session as it was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DoneWork {
    /// The exercise.
    pub work: Entry<Work>,
    /// Its sets in the order in which they were logged; withdrawn ones left out.
    pub sets: Vec<DoneSet>,
}

/// A session as it was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DoneSession {
    /// The session.
    pub session: Entry<SessionDone>,
    /// Its exercises; withdrawn ones left out.
    pub works: Vec<DoneWork>,
    /// The log document in which it stands.
    pub doc: DocName,
}

/// What an athlete did over one or several months.
#[derive(Debug, Clone, Default)]
pub struct Done {
    /// Sessions by begin; withdrawn ones left out.
    pub sessions: Vec<DoneSession>,
    /// Check-ins by day.
    pub checkins: Vec<Entry<CheckIn>>,
    /// Test trials, the athlete's and the coach's.
    pub trials: Vec<Entry<Trial>>,
    /// Sets that a coach entered.
    pub entered: Vec<Entry<Entered>>,
    /// What coaches said about sessions that were not logged.
    pub excuses: Vec<Entry<Excuse>>,
    /// Comments of both, by time.
    pub comments: Vec<Entry<Comment>>,
    /// Fields at which two edits met.
    pub met: Vec<Met>,
    /// Records that could not be read.
    pub unreadable: Vec<Unreadable>,
}

impl Done {
    /// Reads log and notes documents of one athlete, in any order; each name is read once.
    #[must_use]
    pub fn of<'a>(docs: impl IntoIterator<Item = &'a Document>) -> Done {
        let mut done = Done::default();
        let mut seen = BTreeSet::new();
        // A document that is handed in twice is read once.
        for doc in docs.into_iter().filter(|d| seen.insert(d.name())) {
            match doc.name() {
                DocName::Log(..) => done.log(doc),
                DocName::Notes(..) => done.notes(doc),
                DocName::Library(_) | DocName::Squad(_) | DocName::Plan(..) | DocName::Care(_) => {}
            }
        }
        done.sort();
        done
    }

    /// Several readings of different documents as one, as if they had been read together.
    #[must_use]
    pub fn join(parts: impl IntoIterator<Item = Done>) -> Done {
        let mut done = Done::default();
        for part in parts {
            done.sessions.extend(part.sessions);
            done.checkins.extend(part.checkins);
            done.trials.extend(part.trials);
            done.entered.extend(part.entered);
            done.excuses.extend(part.excuses);
            done.comments.extend(part.comments);
            done.met.extend(part.met);
            done.unreadable.extend(part.unreadable);
        }
        done.sort();
        done
    }

    fn sort(&mut self) {
        self.sessions.sort_by_key(|s| (s.session.record.began, s.session.key()));
        self.checkins.sort_by_key(|c| (c.record.date, c.record.at, c.key()));
        self.trials.sort_by_key(|t| (t.record.date, t.record.at, t.key()));
        self.entered.sort_by_key(|t| (t.record.date, t.record.at, t.key()));
        self.excuses.sort_by_key(|t| (t.record.at, t.key()));
        self.comments.sort_by_key(|c| (c.record.at, c.key()));
    }

    fn log(&mut self, doc: &Document) {
        let sessions = doc.records::<SessionDone>("sessions");
        self.unreadable.extend(sessions.unreadable.iter().cloned());
        for session in sessions.entries.into_iter().filter(Entry::live) {
            self.met.extend(session.met.iter().cloned());
            let works = doc.inner_records::<Work>(&session.place);
            self.unreadable.extend(works.unreadable.iter().cloned());
            let mut list = Vec::new();
            for work in works.entries.into_iter().filter(Entry::live) {
                self.met.extend(work.met.iter().cloned());
                let sets = doc.inner_records::<SetDone>(&work.place);
                self.unreadable.extend(sets.unreadable.iter().cloned());
                self.met.extend(sets.live().flat_map(|s| s.met.iter().cloned()));
                list.push(DoneWork { work, sets: corrected(sets.entries) });
            }
            list.sort_by_key(|w| (w.sets.first().map(|s| s.first_at()), w.work.key()));
            self.sessions.push(DoneSession { session, works: list, doc: doc.name() });
        }
        self.take(doc);
        let checkins = doc.records::<CheckIn>("checkins");
        self.met.extend(checkins.live().flat_map(|c| c.met.iter().cloned()));
        self.unreadable.extend(checkins.unreadable.iter().cloned());
        self.checkins.extend(checkins.entries.into_iter().filter(Entry::live));
    }

    fn notes(&mut self, doc: &Document) {
        self.take(doc);
        let entered = doc.records::<Entered>("entered");
        let excuses = doc.records::<Excuse>("excuses");
        self.met.extend(excuses.live().flat_map(|c| c.met.iter().cloned()));
        self.met.extend(entered.live().flat_map(|c| c.met.iter().cloned()));
        self.entered.extend(entered.entries.into_iter().filter(Entry::live));
        self.excuses.extend(excuses.entries.into_iter().filter(Entry::live));
    }

    fn take(&mut self, doc: &Document) {
        let trials = doc.records::<Trial>("trials");
        let comments = doc.records::<Comment>("comments");
        self.met.extend(trials.live().flat_map(|c| c.met.iter().cloned()));
        self.trials.extend(trials.entries.into_iter().filter(Entry::live));
        self.comments.extend(comments.entries.into_iter().filter(Entry::live));
    }
}

impl DoneSet {
    /// When the set was first logged: its place in the order does not move with a correction.
    #[must_use]
    pub fn first_at(&self) -> crate::base::moment::Moment {
        self.earlier.last().map_or(self.set.record.at, |e| e.record.at)
    }
}

/// Applies corrections: each set that nothing amends is the start of a chain.
fn corrected(all: Vec<Entry<SetDone>>) -> Vec<DoneSet> {
    let keys: BTreeSet<Key> = all.iter().map(Entry::key).collect();
    let starts = all.iter().filter(|s| s.record.amends.as_ref().is_none_or(|k| !keys.contains(k)));
    let mut sets: Vec<DoneSet> = Vec::new();
    for start in starts {
        let mut chain = vec![start];
        let mut others = Vec::new();
        // A correction names an older key, so a chain cannot be longer than the list.
        for _ in 0..all.len() {
            let Some(last) = chain.last() else { break };
            let key = last.key();
            let mut next: Vec<&Entry<SetDone>> =
                all.iter().filter(|s| s.record.amends.as_ref() == Some(&key) && s.live()).collect();
            next.sort_by_key(|s| (s.record.at, s.key()));
            match next.pop() {
                Some(entry) if !chain.iter().any(|c| c.key() == entry.key()) => chain.push(entry),
                _ => break,
            }
            others.extend(next.into_iter().cloned());
        }
        // Withdrawing a set withdraws it with its corrections; withdrawing a correction undoes it.
        if !start.live() {
            continue;
        }
        let Some(set) = chain.pop() else { continue };
        sets.push(DoneSet { set: set.clone(), earlier: chain.into_iter().rev().cloned().collect(), others });
    }
    sets.sort_by_key(|s| (s.first_at(), s.set.key()));
    sets
}
