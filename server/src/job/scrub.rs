//! Looks at every stored document again, slowly, in the background: a byte that a disk changed is found
//! before somebody needs it. What is damaged is named; everything else is served as ever.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use backstraight_core::base::moment::Moment;

use crate::app::Shared;
use crate::job::check::{self, Report};
use crate::store::document;
use crate::store::quarantine;

/// Between two documents at least this long, however many there are: a core is busy for a twentieth.
const SHORTEST: Duration = Duration::from_millis(40);
/// And at most this long, so that a small folder is looked at within an hour or two.
const LONGEST: Duration = Duration::from_secs(30);
const DAY_MS: u64 = 86_400_000;

/// What is known of the present round and of the last whole one.
#[derive(Debug, Default)]
pub struct State {
    damaged: Mutex<BTreeSet<i64>>,
    last_round: AtomicI64,
}

impl State {
    /// Documents found damaged and not found whole since.
    #[must_use]
    pub fn damaged(&self) -> u64 {
        self.damaged.lock().unwrap_or_else(PoisonError::into_inner).len() as u64
    }

    /// When the last whole round ended.
    #[must_use]
    pub fn last_round(&self) -> Option<Moment> {
        Some(self.last_round.load(Ordering::Relaxed)).filter(|at| *at > 0).map(Moment)
    }
}

/// The pause between two documents, so that all are looked at within the days that are set.
#[must_use]
pub fn pause(documents: u64, days: u32) -> Duration {
    let all = u64::from(days).saturating_mul(DAY_MS);
    Duration::from_millis(all / documents.max(1)).clamp(SHORTEST, LONGEST)
}

/// Goes on and on until it is dropped.
pub async fn in_the_background(app: Shared) {
    let days = app.config.scrub_days;
    let mut after = 0;
    loop {
        let found = app.store.read(move |db| document::next(db, after)).await;
        let Ok((next, documents)) = found else {
            tokio::time::sleep(LONGEST).await;
            continue;
        };
        tokio::time::sleep(pause(documents, days)).await;
        match next {
            Some(id) => {
                one(&app, id).await;
                after = id;
            }
            None => {
                if after > 0 {
                    app.scrub.last_round.store(app.clock.now().0, Ordering::Relaxed);
                }
                after = 0;
                tokio::time::sleep(SHORTEST).await;
            }
        }
    }
}

/// Looks at one document; whether it holds.
pub async fn one(app: &Shared, id: i64) -> bool {
    let Ok(_permit) = app.work.acquire().await else { return true };
    let store = Arc::clone(&app.store);
    let looked = tokio::task::spawn_blocking(move || {
        store.read_blocking(|db| {
            let mut report = Report::default();
            if let Some(doc) = document::by_id(db, id)? {
                check::one(db, &doc, &mut report)?;
            }
            Ok(report.trouble)
        })
    });
    let trouble = match looked.await {
        Ok(Ok(trouble)) => trouble,
        // Storage has its own ways to say that it failed.
        Ok(Err(_)) => return true,
        Err(_) => vec![format!("document {id}: the check panicked")],
    };
    let sound = trouble.is_empty();
    {
        let mut damaged = app.scrub.damaged.lock().unwrap_or_else(PoisonError::into_inner);
        if sound {
            damaged.remove(&id)
        } else {
            damaged.insert(id)
        };
    }
    app.figures.scrubbed(app.scrub.damaged());
    for text in &trouble {
        tracing::error!(doc = id, text, "a stored document does not hold");
    }
    let now = app.clock.now();
    let why = trouble.into_iter().next();
    let kept = app
        .store
        .write(move |db| match &why {
            Some(why) => quarantine::put(db, id, "check", why, now),
            None => quarantine::release(db, id, "check"),
        })
        .await;
    if let Err(error) = kept {
        tracing::warn!(%error, "what was found could not be noted");
    }
    sound
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_round_takes_the_days_that_are_set_and_never_a_whole_core() {
        assert_eq!(pause(20_160, 7), Duration::from_secs(30));
        assert_eq!(pause(604_800, 7), Duration::from_secs(1));
        assert_eq!(pause(u64::MAX, 7), SHORTEST);
        assert_eq!(pause(0, 7), LONGEST);
    }
}
