//! What was acknowledged in a simulated world, in the simplest form that can be compared: a list of facts. It follows
//! from what people were told alone and knows nothing of how documents merge.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ChangeHash, PersonId};
use backstraight_core::base::key::Key;
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::log::{Report, SessionDone, SetDone};
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::{Exercise, Session};
use backstraight_core::model::spec::Scalar;
use backstraight_core::view::done::Done;

use crate::stand::numbered;

/// Something that was acknowledged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum What {
    /// A set, known again by its number.
    Set(i64),
    /// A session was begun, of the plan or of nobody's.
    Begun(Option<Key>),
    /// A session was planned for a day.
    Planned(Day),
    /// The title of a planned session; every one is another.
    Title(String),
    /// A report of pain.
    Pain(String),
    /// An exercise of the library.
    Exercise(String),
}

/// A fact.
#[derive(Debug, Clone)]
pub(super) struct Fact {
    /// The document.
    pub(super) name: DocName,
    /// The record.
    pub(super) key: Key,
    /// What.
    pub(super) what: What,
    /// The change that holds it.
    pub(super) hash: ChangeHash,
    /// On which device it was said to be saved.
    pub(super) device: usize,
    /// Whether that device still has it.
    pub(super) here: bool,
    /// Whether it was said to be with the server, and the server was not set back since.
    pub(super) server: bool,
    /// Whether it was lost with the only thing that had it: a phone that was set back before it could send.
    pub(super) lost: bool,
    /// Whether the app died before it said "saved": it may be there or not.
    pub(super) unsure: bool,
    /// Whether a later title took its place, whose writer had seen it.
    pub(super) over: Option<usize>,
}

/// All facts.
#[derive(Debug, Clone, Default)]
pub(super) struct Book {
    /// In the order in which they were acknowledged.
    pub(super) facts: Vec<Fact>,
}

impl Book {
    /// Notes a fact.
    pub(super) fn add(
        &mut self,
        device: usize,
        name: DocName,
        key: &Key,
        hash: ChangeHash,
        what: What,
    ) -> usize {
        let (key, at) = (key.clone(), self.facts.len());
        self.facts.push(Fact {
            name,
            key,
            what,
            hash,
            device,
            here: true,
            server: false,
            lost: false,
            unsure: false,
            over: None,
        });
        at
    }

    /// Notes what may be there, or not.
    pub(super) fn add_unsure(&mut self, device: usize, name: DocName, key: &Key, what: What) -> usize {
        let at = self.add(device, name, key, ChangeHash([0; 32]), what);
        if let Some(fact) = self.facts.last_mut() {
            fact.unsure = true;
        }
        at
    }

    /// Facts that a device has.
    #[must_use]
    pub(super) fn on(&self, device: usize) -> BTreeSet<usize> {
        let on = self.facts.iter().enumerate().filter(|(_, f)| f.device == device && f.here);
        on.map(|(n, _)| n).collect()
    }

    /// A device was set back: of what it said it has only those facts.
    pub(super) fn device_set_back(&mut self, device: usize, had: &BTreeSet<usize>) {
        let of = self.facts.iter_mut().enumerate().filter(|(_, f)| f.device == device);
        for (_, fact) in of.filter(|(n, _)| !had.contains(n)) {
            fact.here = false;
            fact.lost |= !fact.server;
        }
    }

    /// The server was set back: it has only those facts.
    pub(super) fn server_set_back(&mut self, had: &BTreeSet<usize>) {
        for (n, fact) in self.facts.iter_mut().enumerate() {
            fact.server &= had.contains(&n);
            fact.lost |= !fact.server && !fact.here;
        }
    }

    /// Of a document the server has only those changes.
    pub(super) fn server_lost(&mut self, name: DocName, has: &BTreeSet<ChangeHash>) {
        let gone = |fact: &&mut Fact| fact.name == name && fact.server && !has.contains(&fact.hash);
        for fact in self.facts.iter_mut().filter(gone) {
            fact.server = false;
            fact.lost |= !fact.here;
        }
    }

    /// Facts that the server has.
    #[must_use]
    pub(super) fn with_server(&self) -> BTreeSet<usize> {
        self.facts.iter().enumerate().filter(|(_, f)| f.server).map(|(n, _)| n).collect()
    }

    /// What is known of a planned session, for a finding.
    #[must_use]
    pub(super) fn of(&self, key: &Key) -> Vec<&Fact> {
        self.facts.iter().filter(|f| f.key == *key || f.what == What::Begun(Some(key.clone()))).collect()
    }

    /// What is wrong with a document that ought to hold the facts that `wanted` picks: one that is missing, or one
    /// that reads otherwise than it was acknowledged.
    #[must_use]
    pub(super) fn wrong(&self, doc: &Document, wanted: impl Fn(&Fact) -> bool) -> Option<String> {
        let name = doc.name();
        let seen = Seen::of(doc);
        if let Some(why) = &seen.unreadable {
            return Some(format!("{name}: {why}"));
        }
        let of_doc = || self.facts.iter().enumerate().filter(|(_, f)| f.name == name);
        for (n, fact) in of_doc().filter(|(_, f)| !f.lost && !f.unsure && wanted(f)) {
            let there = match &fact.what {
                What::Set(number) => seen.sets.get(&fact.key) == Some(number),
                What::Begun(planned) => seen.begun.get(&fact.key) == Some(planned),
                What::Planned(day) => seen.planned.get(&fact.key) == Some(day),
                What::Pain(text) => seen.pain.get(&fact.key) == Some(text),
                What::Exercise(text) => seen.exercises.get(&fact.key) == Some(text),
                What::Title(text) if fact.over.is_none() => {
                    seen.titles.get(&fact.key).is_some_and(|titles| titles.contains(text))
                }
                What::Title(_) => true,
            };
            if !there {
                return Some(format!("{name}: fact {n} is not there as it was acknowledged: {fact:?}"));
            }
        }
        for (key, titles) in &seen.titles {
            for title in titles {
                let known = of_doc().find(|(_, f)| f.key == *key && f.what == What::Title(title.clone()));
                let replaced = known
                    .and_then(|(_, f)| f.over)
                    .and_then(|by| self.facts.get(by))
                    .is_some_and(|by| !by.lost && !by.unsure && wanted(by));
                if known.is_none() || replaced {
                    return Some(format!("{name}: session {key} still reads {title:?}"));
                }
            }
        }
        None
    }

    /// Planned sessions of an athlete of whose beginning the server was told: the log, the change, the day.
    #[must_use]
    pub(super) fn begun_on(&self, athlete: PersonId) -> Vec<(DocName, ChangeHash, Day)> {
        let of = || self.facts.iter().filter(|f| f.name.athlete() == Some(athlete));
        let day_of = |key: &Key| {
            of().find_map(|f| match f.what {
                What::Planned(day) if f.key == *key => Some(day),
                _ => None,
            })
        };
        let there = of().filter(|f| f.server && !f.lost && !f.unsure);
        let begun = there.filter_map(|f| match &f.what {
            What::Begun(Some(key)) => Some((f.name, f.hash, day_of(key)?)),
            _ => None,
        });
        begun.collect()
    }

    /// Planned sessions of an athlete that nobody can have begun, with their days; and keys of those that were begun
    /// on a device that may still say so.
    #[must_use]
    pub(super) fn planned(
        &self,
        athlete: PersonId,
        open: impl Fn(usize) -> bool,
    ) -> (BTreeMap<Key, Day>, BTreeSet<Key>) {
        let of = || self.facts.iter().filter(|f| f.name.athlete() == Some(athlete));
        let begun = |f: &Fact| if let What::Begun(planned) = &f.what { planned.clone() } else { None };
        let perhaps: BTreeSet<Key> = of().filter_map(begun).collect();
        let heard = |f: &&Fact| !f.lost && !f.unsure && (f.server || f.here && open(f.device));
        let surely = of().filter(heard).filter_map(begun).collect();
        let silent = of().filter(|f| f.server && !f.lost && !f.unsure).filter_map(|f| match f.what {
            What::Planned(day) if !perhaps.contains(&f.key) => Some((f.key.clone(), day)),
            _ => None,
        });
        (silent.collect(), surely)
    }
}

/// Whether a person of that role may have a document on a device, written anew from what the club agreed on: an
/// athlete what is their own and the library, a coach all but what is between athletes and care staff, care staff
/// what is about care.
#[must_use]
pub(super) fn may_have(role: Role, person: PersonId, name: &DocName) -> bool {
    let own = name.athlete() == Some(person);
    match name {
        DocName::Library(_) => true,
        DocName::Squad(_) => role.coaches(),
        DocName::Plan(..) | DocName::Log(..) | DocName::Notes(..) => own || role.coaches(),
        DocName::Care(_) | DocName::CareNotes(_) => own || role == Role::Care,
        DocName::Availability(_) => own || role == Role::Care || role.coaches(),
    }
}

/// What a person reads in a document.
#[derive(Debug, Default)]
struct Seen {
    sets: BTreeMap<Key, i64>,
    begun: BTreeMap<Key, Option<Key>>,
    planned: BTreeMap<Key, Day>,
    titles: BTreeMap<Key, BTreeSet<String>>,
    pain: BTreeMap<Key, String>,
    exercises: BTreeMap<Key, String>,
    unreadable: Option<String>,
}

impl Seen {
    fn of(doc: &Document) -> Seen {
        let mut seen = Seen::default();
        match doc.name() {
            DocName::Log(..) => {
                let done = Done::of([doc]);
                if !done.unreadable.is_empty() {
                    seen.unreadable = Some(format!("cannot be read: {:?}", done.unreadable));
                }
                for session in &done.sessions {
                    let planned = session.session.record.session.clone();
                    seen.begun.insert(session.session.key(), planned);
                    for set in session.works.iter().flat_map(|w| &w.sets) {
                        seen.sets.insert(set.set.key(), number(&set.set.record));
                    }
                }
                let begun = doc.records::<SessionDone>("sessions");
                seen.begun.extend(begun.entries.iter().map(|e| (e.key(), e.record.session.clone())));
            }
            DocName::Plan(..) => {
                for entry in doc.records::<Session>("sessions").entries {
                    seen.planned.insert(entry.key(), entry.record.date);
                    seen.titles.insert(entry.key(), titles(&entry));
                }
            }
            DocName::Care(_) => {
                let reports = doc.records::<Report>("reports").entries;
                let text = |r: &Report| r.text.as_ref().map(ToString::to_string).unwrap_or_default();
                seen.pain.extend(reports.iter().map(|e| (e.key(), text(&e.record))));
            }
            DocName::Library(_) => {
                let all = doc.records::<Exercise>("exercises").entries;
                seen.exercises.extend(all.iter().map(|e| (e.key(), e.record.name.to_string())));
            }
            _ => {}
        }
        seen
    }
}

/// The titles of a session: one, or all those that met.
#[must_use]
pub(super) fn titles(entry: &backstraight_core::doc::read::Entry<Session>) -> BTreeSet<String> {
    let met = entry.met.iter().find(|met| met.field == "title");
    let told = met.into_iter().flat_map(|met| &met.told).filter_map(|told| match &told.value {
        Some(Scalar::Text(text)) => Some(text.clone()),
        _ => None,
    });
    let mut all: BTreeSet<String> = told.collect();
    if all.is_empty() {
        all.insert(entry.record.title.to_string());
    }
    all
}

/// The number of a set whose every value is as it was given; 0 for another.
fn number(set: &SetDone) -> i64 {
    let n = (set.at.0 - crate::stand::START.0) / 1000;
    if *set == numbered(n) { n } else { 0 }
}
