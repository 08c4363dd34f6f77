//! The library in the form that screens and rules ask for.

use std::collections::{BTreeMap, BTreeSet};

use crate::base::key::Key;
use crate::doc::open::Document;
use crate::doc::read::Entry;
use crate::model::plan::{Cue, Exercise, Prescription, Protocol, Settings, Venue};

/// A club's library, read once.
#[derive(Debug, Clone, Default)]
pub struct Library {
    /// Exercises by key, withdrawn ones included: old logs still name them.
    pub exercises: BTreeMap<Key, Entry<Exercise>>,
    /// Venues by key.
    pub venues: BTreeMap<Key, Entry<Venue>>,
    /// Cues by key.
    pub cues: BTreeMap<Key, Entry<Cue>>,
    /// Test protocols by key.
    pub protocols: BTreeMap<Key, Entry<Protocol>>,
    /// What the club has set.
    pub settings: Option<Settings>,
}

impl Library {
    /// Reads a library document.
    #[must_use]
    pub fn of(doc: &Document) -> Library {
        Library {
            exercises: doc
                .records::<Exercise>("exercises")
                .entries
                .into_iter()
                .map(|e| (e.key(), e))
                .collect(),
            venues: doc.records::<Venue>("venues").entries.into_iter().map(|e| (e.key(), e)).collect(),
            cues: doc.records::<Cue>("cues").entries.into_iter().map(|e| (e.key(), e)).collect(),
            protocols: doc
                .records::<Protocol>("protocols")
                .entries
                .into_iter()
                .map(|e| (e.key(), e))
                .collect(),
            settings: doc.records::<Settings>("settings").entries.into_iter().next().map(|e| e.record),
        }
    }

    /// The name of an exercise, or its key where the library does not have it.
    #[must_use]
    pub fn exercise_name(&self, key: &Key) -> String {
        self.exercises.get(key).map_or_else(|| key.to_string(), |e| e.record.name.to_string())
    }

    /// What a set of an exercise counts in the share of a session.
    #[must_use]
    pub fn weight(&self, key: &Key) -> f64 {
        let own = self.exercises.get(key).and_then(|e| e.record.weight);
        own.map_or(1.0, |w| w.as_f64() / 1000.0)
    }

    /// The cues of a prescription in words: its own, those it names, else those of the exercise.
    #[must_use]
    pub fn cues(&self, item: &Prescription, ex: &Key) -> Vec<String> {
        let named = item.cues.iter().flat_map(|k| &k.0).filter_map(|k| self.cues.get(k));
        let mut words: Vec<String> = item.cue.iter().map(ToString::to_string).collect();
        words.extend(named.filter(|c| c.live()).map(|c| c.record.text.to_string()));
        if words.is_empty() {
            let of_exercise = self.cues.values().filter(|c| c.live() && c.record.ex.as_ref() == Some(ex));
            words.extend(of_exercise.map(|c| c.record.text.to_string()));
        }
        words
    }

    /// Keys of all exercises, for checking commands.
    #[must_use]
    pub fn exercise_keys(&self) -> BTreeSet<Key> {
        self.exercises.keys().cloned().collect()
    }
}
