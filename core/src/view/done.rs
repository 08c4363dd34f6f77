//! Logs put together: sessions done with their exercises and sets, corrections applied.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::doc::open::Document;
use crate::doc::place::Place;
use crate::doc::read::{Entry, Met, Nodes, Read, Unreadable};
use crate::doc::touched::Touched;
use crate::model::care::Availability;
use crate::model::log::{CheckIn, Comment, Entered, Excuse, SessionDone, SetDone, Trial, Work};
use crate::model::name::DocName;
use crate::model::spec::Record;

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
    /// What care staff said about what the athlete may train, by time; withdrawn records left out.
    pub availability: Vec<Entry<Availability>>,
    /// Fields at which two edits met.
    pub met: Vec<Met>,
    /// Records that could not be read.
    pub unreadable: Vec<Unreadable>,
}

impl Done {
    /// Reads log, notes and availability documents of one athlete, in any order; each name is read once.
    #[must_use]
    pub fn of<'a>(docs: impl IntoIterator<Item = &'a Document>) -> Done {
        let mut done = Done::default();
        let mut seen = BTreeSet::new();
        // A document that is handed in twice is read once.
        for doc in docs.into_iter().filter(|d| seen.insert(d.name())) {
            match doc.name() {
                DocName::Log(..) => done.log(doc, None),
                DocName::Notes(..) => done.notes(doc, None),
                DocName::Availability(_) => done.available(doc),
                DocName::Library(_)
                | DocName::Squad(_)
                | DocName::Plan(..)
                | DocName::Care(_)
                | DocName::CareNotes(_) => {}
            }
        }
        done.sort();
        done
    }

    /// Reads some records of a log or notes document: those of which [`Document::touched`] speaks, say.
    #[must_use]
    pub fn of_records(doc: &Document, records: &Touched) -> Done {
        let mut done = Done::default();
        let some = Some(records);
        match doc.name() {
            DocName::Log(..) => done.log(doc, some),
            DocName::Notes(..) => done.notes(doc, some),
            DocName::Library(_)
            | DocName::Squad(_)
            | DocName::Plan(..)
            | DocName::Care(_)
            | DocName::CareNotes(_)
            | DocName::Availability(_) => {}
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
            done.availability.extend(part.availability);
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
        self.availability.sort_by_key(|a| (a.record.at, a.key()));
    }

    fn log(&mut self, doc: &Document, some: Option<&Touched>) {
        let mut nodes = match some {
            None => doc.with_inner("sessions"),
            Some(records) => records
                .get("sessions")
                .map_or_else(Nodes::default, |keys| doc.some_with_inner("sessions", keys)),
        };
        let (sessions, works, sets) =
            (nodes.take::<SessionDone>(), nodes.take::<Work>(), nodes.take::<SetDone>());
        let mut sets_of = by_holder(sets.entries);
        let mut works_of = by_holder(works.entries);
        for session in sessions.entries.into_iter().filter(Entry::live) {
            self.met.extend(session.met.iter().cloned());
            let mut list = Vec::new();
            for work in works_of.remove(&session.place.keys).unwrap_or_default() {
                if !work.live() {
                    continue;
                }
                self.met.extend(work.met.iter().cloned());
                let sets = sets_of.remove(&work.place.keys).unwrap_or_default();
                list.push(DoneWork { work, sets: corrected(sets) });
            }
            list.sort_by_key(|w| (w.sets.first().map(|s| s.first_at()), w.work.key()));
            self.sessions.push(DoneSession { session, works: list, doc: doc.name() });
        }
        self.unreadable.extend(sessions.unreadable);
        self.unreadable.extend(works.unreadable);
        self.unreadable.extend(sets.unreadable);
        self.take(doc, some);
        let checkins = records::<CheckIn>(doc, "checkins", some);
        self.met.extend(checkins.live().flat_map(|c| c.met.iter().cloned()));
        self.unreadable.extend(checkins.unreadable.iter().cloned());
        self.checkins.extend(checkins.entries.into_iter().filter(Entry::live));
    }

    fn notes(&mut self, doc: &Document, some: Option<&Touched>) {
        self.take(doc, some);
        let entered = records::<Entered>(doc, "entered", some);
        let excuses = records::<Excuse>(doc, "excuses", some);
        self.met.extend(excuses.live().flat_map(|c| c.met.iter().cloned()));
        self.met.extend(entered.live().flat_map(|c| c.met.iter().cloned()));
        self.unreadable.extend(entered.unreadable.iter().chain(&excuses.unreadable).cloned());
        self.entered.extend(entered.entries.into_iter().filter(Entry::live));
        self.excuses.extend(excuses.entries.into_iter().filter(Entry::live));
    }

    fn available(&mut self, doc: &Document) {
        let read = doc.records::<Availability>("availability");
        self.met.extend(read.live().flat_map(|a| a.met.iter().cloned()));
        self.availability.extend(read.entries.into_iter().filter(Entry::live));
        self.unreadable.extend(read.unreadable);
    }

    fn take(&mut self, doc: &Document, some: Option<&Touched>) {
        let trials = records::<Trial>(doc, "trials", some);
        let comments = records::<Comment>(doc, "comments", some);
        self.unreadable.extend(trials.unreadable.iter().chain(&comments.unreadable).cloned());
        self.met.extend(trials.live().flat_map(|c| c.met.iter().cloned()));
        self.trials.extend(trials.entries.into_iter().filter(Entry::live));
        self.comments.extend(comments.entries.into_iter().filter(Entry::live));
    }
}

impl DoneSet {
    /// When the set was first logged: its place in the order does not move with a correction.
    #[must_use]
    pub fn first_at(&self) -> Moment {
        self.earlier.last().map_or(self.set.record.at, |e| e.record.at)
    }
}

/// All records of a root map, or some.
fn records<R: Record>(doc: &Document, root: &'static str, some: Option<&Touched>) -> Read<R> {
    let Some(records) = some else { return doc.records(root) };
    let keys = records.get(root).into_iter().flatten();
    keys.filter_map(|key| doc.record(&Place::of(root, key)).transpose()).collect()
}

/// Records by the keys of the record in which they stand.
fn by_holder<R>(entries: Vec<Entry<R>>) -> HashMap<Vec<Key>, Vec<Entry<R>>> {
    fn holder<R>(entry: &Entry<R>) -> &[Key] {
        entry.place.keys.split_last().map_or(&[], |(_, above)| above)
    }
    let mut map: HashMap<Vec<Key>, Vec<Entry<R>>> = HashMap::new();
    let mut run: Vec<Entry<R>> = Vec::new();
    let mut keep = |run: Vec<Entry<R>>| {
        if let Some(first) = run.first() {
            map.entry(holder(first).to_vec()).or_default().extend(run);
        }
    };
    // They come map by map.
    for entry in entries {
        if run.last().is_some_and(|last| holder(last) != holder(&entry)) {
            keep(core::mem::take(&mut run));
        }
        run.push(entry);
    }
    keep(run);
    map
}

/// Applies strikes and corrections: each set that nothing amends is the start of a chain.
fn corrected(all: Vec<Entry<SetDone>>) -> Vec<DoneSet> {
    // Mostly there are neither.
    if all.iter().all(|s| s.record.amends.is_none() && s.record.strikes.is_none()) {
        let plain = |set| DoneSet { set, earlier: Vec::new(), others: Vec::new() };
        return in_order(all.into_iter().map(plain).collect());
    }
    let (strikes, sets): (Vec<_>, Vec<_>) = all.into_iter().partition(|s| s.record.strikes.is_some());
    let struck = struck(&strikes);
    let live = |s: &Entry<SetDone>| !struck.contains(&s.key());
    let keys: BTreeSet<Key> = sets.iter().map(Entry::key).collect();
    // Each correction amends one record, so that what hangs on a start is a tree.
    let mut corrections: BTreeMap<&Key, Vec<&Entry<SetDone>>> = BTreeMap::new();
    let mut starts = Vec::new();
    for set in &sets {
        match set.record.amends.as_ref().filter(|k| keys.contains(k)) {
            Some(earlier) if live(set) => corrections.entry(earlier).or_default().push(set),
            // Striking a correction takes it back.
            Some(_) => {}
            // Striking a set strikes it with its corrections.
            None if live(set) => starts.push(set),
            None => {}
        }
    }
    let mut done: Vec<DoneSet> = Vec::new();
    for start in starts {
        let (mut set, mut earlier, mut others) = (start, Vec::new(), Vec::new());
        while let Some(mut next) = corrections.remove(&set.key()) {
            next.sort_by_key(|s| order(s.record.at, s));
            let Some(latest) = next.pop() else { break };
            others.extend(next.into_iter().cloned());
            earlier.push(set.clone());
            set = latest;
        }
        earlier.reverse();
        done.push(DoneSet { set: set.clone(), earlier, others });
    }
    in_order(done)
}

fn in_order(mut sets: Vec<DoneSet>) -> Vec<DoneSet> {
    sets.sort_by_cached_key(|s| order(s.first_at(), &s.set));
    sets
}

/// Sets of one second stand in the order in which their keys were made.
fn order(at: Moment, set: &Entry<SetDone>) -> (Moment, usize, Key) {
    let key = set.key();
    (at, key.as_str().len(), key)
}

/// Keys of the records that count no more. A strike counts unless one that counts strikes it; made-up
/// rings of strikes count for nothing.
fn struck(strikes: &[Entry<SetDone>]) -> BTreeSet<Key> {
    let target: BTreeMap<Key, &Key> =
        strikes.iter().filter_map(|s| Some((s.key(), s.record.strikes.as_ref()?))).collect();
    let mut waits: BTreeMap<&Key, usize> = target.keys().map(|k| (k, 0)).collect();
    for struck in target.values() {
        waits.entry(struck).and_modify(|n| *n += 1);
    }
    let mut ready: Vec<&Key> = waits.iter().filter(|(_, n)| **n == 0).map(|(k, _)| *k).collect();
    let mut struck = BTreeSet::new();
    while let Some(strike) = ready.pop() {
        let Some(of) = target.get(strike) else { continue };
        if !struck.contains(strike) {
            struck.insert((*of).clone());
        }
        if let Some(n) = waits.get_mut(*of) {
            *n -= 1;
            if *n == 0 {
                ready.push(of);
            }
        }
    }
    struck
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::number::Load;

    fn key(n: u32) -> Key {
        format!("aaaaaa-{n}").parse().unwrap()
    }

    fn entry(n: u32, amends: Option<u32>, strikes: Option<u32>) -> Entry<SetDone> {
        let mut record = SetDone::new(Moment(1_790_000_000_000));
        record.load = Load::new(i64::from(n)).ok();
        record.amends = amends.map(key);
        record.strikes = strikes.map(key);
        Entry { place: Place::of("sets", &key(n)), record, gone: None, unread: Vec::new(), met: Vec::new() }
    }

    /// What reads, each with how many earlier values and other corrections it has.
    fn reads(all: &[(u32, Option<u32>, Option<u32>)]) -> Vec<(i64, usize, usize)> {
        let forwards: Vec<_> = all.iter().map(|(n, a, s)| entry(*n, *a, *s)).collect();
        let read = |all| -> Vec<_> {
            corrected(all)
                .into_iter()
                .map(|s| (s.set.record.load.unwrap().get(), s.earlier.len(), s.others.len()))
                .collect()
        };
        let found = read(forwards.clone());
        assert_eq!(found, read(forwards.into_iter().rev().collect()), "the order of arrival matters");
        found
    }

    #[test]
    fn a_struck_set_counts_no_more_and_striking_the_strike_brings_it_back() {
        let set = (1, None, None);
        assert_eq!(reads(&[set, (2, None, Some(1))]), []);
        assert_eq!(reads(&[set, (2, None, Some(1)), (3, None, Some(2))]), [(1, 0, 0)]);
        assert_eq!(reads(&[set, (2, None, Some(1)), (3, None, Some(2)), (4, None, Some(3))]), []);
        // Struck twice, by two devices: one strike that is taken back leaves the other.
        assert_eq!(reads(&[set, (2, None, Some(1)), (3, None, Some(1)), (4, None, Some(3))]), []);
    }

    #[test]
    fn striking_a_correction_takes_it_back_and_striking_a_set_strikes_its_corrections() {
        let corrected = [(1, None, None), (2, Some(1), None)];
        assert_eq!(reads(&corrected), [(2, 1, 0)]);
        assert_eq!(reads(&[corrected[0], corrected[1], (3, None, Some(2))]), [(1, 0, 0)]);
        assert_eq!(reads(&[corrected[0], corrected[1], (3, None, Some(1))]), []);
        // Two corrections of one set that met: the later key of one second is shown, both are kept.
        assert_eq!(reads(&[corrected[0], corrected[1], (3, Some(1), None)]), [(3, 1, 1)]);
    }

    #[test]
    fn what_nobody_honest_writes_is_no_trouble() {
        // A ring of strikes, a strike of nothing, a set that amends itself.
        assert_eq!(reads(&[(1, None, None), (2, None, Some(3)), (3, None, Some(2))]), [(1, 0, 0)]);
        assert_eq!(reads(&[(1, None, None), (2, None, Some(9))]), [(1, 0, 0)]);
        assert_eq!(reads(&[(1, Some(1), None), (2, None, None)]), [(2, 0, 0)]);
    }

    #[test]
    fn sets_of_one_second_stand_in_the_order_of_their_keys() {
        assert_eq!(reads(&[(10, None, None), (9, None, None)]), [(9, 0, 0), (10, 0, 0)]);
    }
}
