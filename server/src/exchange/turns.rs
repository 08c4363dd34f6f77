//! Whose turn it is to write a document. The database would notice by itself that a document moved
//! on between check and append, and the check would be done again; waiting is cheaper.

use std::collections::BTreeSet;
use std::hash::{BuildHasher, RandomState};

use backstraight_core::model::name::DocName;
use tokio::sync::{Mutex, MutexGuard};

/// How many documents can be written at the same time without two ever sharing a turn by chance.
const STRIPES: usize = 4_096;

/// Turns of all documents, shared by chance when there are many.
#[derive(Debug)]
pub struct Turns {
    stripes: Vec<Mutex<()>>,
    hash: RandomState,
}

impl Default for Turns {
    fn default() -> Turns {
        Turns { stripes: (0..STRIPES).map(|_| Mutex::new(())).collect(), hash: RandomState::new() }
    }
}

impl Turns {
    /// Waits until it is one's turn for all of these documents. They are taken in one order by
    /// everybody, so nobody waits for somebody who waits for them.
    pub async fn take(&self, names: impl Iterator<Item = DocName> + Send) -> Vec<MutexGuard<'_, ()>> {
        let count = self.stripes.len() as u64;
        let places: BTreeSet<u64> = names.map(|name| self.hash.hash_one(name) % count).collect();
        let mut taken = Vec::with_capacity(places.len());
        for place in places {
            if let Some(stripe) = usize::try_from(place).ok().and_then(|place| self.stripes.get(place)) {
                taken.push(stripe.lock().await);
            }
        }
        taken
    }
}
