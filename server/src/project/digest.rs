//! What a document says about each session of the plan, as a number: the same number, the same said.
//! So that one more set in a log judges one session anew and not the whole month. Knows no storage.

use core::hash::{Hash, Hasher};
use std::collections::BTreeMap;
use std::hash::DefaultHasher;

use backstraight_core::base::key::Key;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::spec::{Record, Scalar};
use backstraight_core::view::done::Done;

/// The sessions of which a document speaks, each with the number of what it says. Another version of
/// the program may give other numbers: then more is judged anew than must be.
pub(super) fn said(done: &Done) -> BTreeMap<Key, i64> {
    let mut all: BTreeMap<Key, DefaultHasher> = BTreeMap::new();
    for session in &done.sessions {
        let Some(key) = &session.session.record.session else { continue };
        let hash = all.entry(key.clone()).or_default();
        note(hash, &session.session);
        for work in &session.works {
            note(hash, &work.work);
            for set in &work.sets {
                note(hash, &set.set);
                (set.earlier.len(), set.others.len(), set.first_at().0).hash(hash);
            }
        }
    }
    for entered in &done.entered {
        if let Some(key) = &entered.record.session {
            note(all.entry(key.clone()).or_default(), entered);
        }
    }
    for excuse in &done.excuses {
        note(all.entry(excuse.record.session.clone()).or_default(), excuse);
    }
    all.into_iter().map(|(key, hash)| (key, hash.finish().cast_signed())).collect()
}

fn note<R: Record>(hash: &mut DefaultHasher, entry: &Entry<R>) {
    entry.key().as_str().hash(hash);
    (entry.gone.is_some(), entry.unread.len(), entry.met.len()).hash(hash);
    for (name, value) in entry.record.fields() {
        name.hash(hash);
        match value {
            Scalar::Int(n) | Scalar::Time(n) => n.hash(hash),
            Scalar::Text(text) => text.hash(hash),
            Scalar::Bytes(bytes) => bytes.hash(hash),
            Scalar::Bool(yes) => yes.hash(hash),
        }
    }
}
