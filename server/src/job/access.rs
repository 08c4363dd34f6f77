//! What changes access by itself: guardianships that end with the age of majority, keys of access tokens
//! that somebody changed at the machine.

use std::time::{Duration, Instant};

use crate::app::{App, Shared};
use crate::folder::Folder;
use crate::store::{StoreError, guardians};

/// How soon a new key signs.
const KEYS: Duration = Duration::from_secs(2);
/// How soon an end is written that counts already.
const AGES: Duration = Duration::from_secs(3600);

/// Works until it is stopped.
pub async fn in_the_background(app: Shared) {
    let mut ages: Option<Instant> = None;
    loop {
        let keys = app.clone();
        let read = tokio::task::spawn_blocking(move || renew_keys(&keys)).await;
        if let Ok(Err(error)) = read {
            tracing::error!(%error, "the keys cannot be read; those from before go on");
        }
        if ages.is_none_or(|last| last.elapsed() >= AGES) {
            ages = Some(Instant::now());
            let now = app.clock.now();
            match app.store.write(move |db| guardians::end_of_age(db, now)).await {
                Ok(0) => {}
                Ok(ended) => tracing::info!(ended, "guardianships ended with the age of majority"),
                Err(error) => tracing::error!(%error, "ends of guardianships were not written"),
            }
        }
        tokio::time::sleep(KEYS).await;
    }
}

/// Takes the keys that the folder holds.
///
/// # Errors
/// When they cannot be read.
pub fn renew_keys(app: &App) -> Result<(), StoreError> {
    let folder = Folder::open(&app.config.data)?;
    let keys = folder.keys()?;
    if app.tokens.renew(&keys, &folder.retired(app.clock.now())?) {
        tracing::info!("another key signs access tokens");
    }
    Ok(())
}
