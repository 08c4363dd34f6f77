//! Backups by the clock, made by the serving process, and how long each is kept. A backup that fails
//! is told loudly and tried again; it never stops the service.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU64, Ordering};
use std::time::Duration;

use backstraight_core::base::day::Day;
use backstraight_core::base::moment::Moment;

use crate::app::Shared;
use crate::erase;
use crate::folder::{Folder, file_error};
use crate::store::backup::{self, Made};
use crate::store::{Store, StoreError};

/// How often the clock is looked at.
const PAUSE: Duration = Duration::from_secs(1);
/// After a failure it is tried again this soon, ms.
const AGAIN: i64 = 5 * 60_000;
/// A day, ms.
const DAY: i64 = 86_400_000;
const BEFORE: &str = "backstraight-";
const AFTER: &str = ".backup";

/// How long backups are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Retention {
    /// So many of the newest stay, however old.
    pub newest: u32,
    /// The last one of each day (UTC) stays for so many days.
    pub days: u32,
    /// The last one of each week (Monday to Sunday, UTC) stays for so many weeks.
    pub weeks: u32,
}

impl Retention {
    /// Days after which no backup is left that was made before, while the server goes on making them
    /// `every` ms.
    #[must_use]
    pub fn expire_days(self, every: i64) -> u32 {
        let by_count = i64::from(self.newest).saturating_mul(every).div_euclid(DAY) + 1;
        // The last one of a day is up to a day younger than what it holds; of a week, a week.
        let by_age = i64::from(self.days + 1).max(i64::from(self.weeks) * 7 + 1);
        u32::try_from(by_count.max(by_age)).unwrap_or(u32::MAX)
    }

    /// Which of these moments, newest first, are not kept any more.
    #[must_use]
    pub fn over(self, made: &[Moment], now: Moment) -> Vec<Moment> {
        let (mut last_day, mut last_week) = (None, None);
        let mut over = Vec::new();
        for (n, at) in made.iter().enumerate() {
            let day = Day::of(*at, 0).ok();
            let week = day.map(Day::week_start);
            let age = now.0.saturating_sub(at.0);
            let of_day = day != last_day && age <= i64::from(self.days) * DAY;
            let of_week = week != last_week && age <= i64::from(self.weeks) * 7 * DAY;
            (last_day, last_week) = (day, week);
            let newest = n < usize::try_from(self.newest.max(1)).unwrap_or(usize::MAX);
            if !(newest || of_day || of_week) {
                over.push(*at);
            }
        }
        over
    }
}

/// What is known of the backups of this process.
#[derive(Debug, Default)]
pub struct State {
    /// When the last good one was made, ms; 0 for none.
    last_good: AtomicI64,
    /// Its size.
    bytes: AtomicU64,
    /// Whether the last try failed.
    failed: AtomicBool,
    /// How many tries failed.
    failures: AtomicU64,
}

impl State {
    /// When the last good backup was made.
    #[must_use]
    pub fn last_good(&self) -> Option<Moment> {
        Some(self.last_good.load(Ordering::Relaxed)).filter(|at| *at > 0).map(Moment)
    }

    /// Bytes of the last good one that this process made.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.bytes.load(Ordering::Relaxed)
    }

    /// Whether the last try failed.
    #[must_use]
    pub fn failed(&self) -> bool {
        self.failed.load(Ordering::Relaxed)
    }

    /// How many tries failed.
    #[must_use]
    pub fn failures(&self) -> u64 {
        self.failures.load(Ordering::Relaxed)
    }
}

/// The file of a backup made at a moment.
fn file(folder: &Path, at: Moment) -> PathBuf {
    let plain: String = at.to_string().chars().filter(|c| !matches!(c, '-' | ':')).collect();
    folder.join(format!("{BEFORE}{plain}{AFTER}"))
}

/// The backups of a folder that this program named, newest first.
///
/// # Errors
/// When the folder cannot be read.
pub fn listed(folder: &Path) -> Result<Vec<(Moment, PathBuf)>, StoreError> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(|e| file_error(folder, e))? {
        let path = entry.map_err(|e| file_error(folder, e))?.path();
        let Some(name) = path.file_name().and_then(|n| n.to_str()) else { continue };
        let Some(text) = name.strip_prefix(BEFORE).and_then(|n| n.strip_suffix(AFTER)) else { continue };
        if let Some(at) = moment(text).filter(|at| file(folder, *at) == path) {
            found.push((at, path));
        }
    }
    found.sort();
    found.reverse();
    Ok(found)
}

/// The moment in `20261125T100000Z`.
fn moment(text: &str) -> Option<Moment> {
    let number = |from: usize, to: usize| text.get(from..to)?.parse::<i64>().ok();
    if text.len() != 16 || text.get(8..9) != Some("T") || text.get(15..) != Some("Z") {
        return None;
    }
    let (year, month) = (i16::try_from(number(0, 4)?).ok()?, i8::try_from(number(4, 6)?).ok()?);
    let day = Day::new(year, month, i8::try_from(number(6, 8)?).ok()?).ok()?;
    let since = i64::from(day.since(Day::new(1970, 1, 1).ok()?));
    let seconds = number(9, 11)? * 3600 + number(11, 13)? * 60 + number(13, 15)?;
    Some(Moment((since * 86_400 + seconds) * 1000))
}

/// Makes a backup in a folder and lets go of those that are over. Blocks.
///
/// # Errors
/// When it cannot be made; nothing is let go of then.
pub fn make(
    store: &Store,
    data: &Folder,
    to: &Path,
    keep: Retention,
    now: Moment,
) -> Result<Made, StoreError> {
    // The folder itself must be there: a disk that is not mounted is not to be filled beside it.
    let made = backup::backup_of(store, data, &file(to, now), now)?;
    let all = listed(to)?;
    let moments: Vec<Moment> = all.iter().map(|(at, _)| *at).collect();
    let over = keep.over(&moments, now);
    for (_, path) in all.iter().filter(|(at, _)| over.contains(at)) {
        std::fs::remove_file(path).map_err(|e| file_error(path, e))?;
    }
    Ok(made)
}

/// Makes backups when they are due, until it is dropped. With several processes on one database only
/// one of them is told where to put them.
pub async fn in_the_background(app: Shared) {
    let Some(to) = app.config.backup_to.clone() else { return };
    let every = i64::from(app.config.backup_every.0) * 60_000;
    let keep = app.config.retention();
    let newest = listed(&to).ok().and_then(|all| all.first().map(|(at, _)| *at));
    app.backups.last_good.store(newest.map_or(0, |at| at.0), Ordering::Relaxed);
    let mut due = newest.map_or(Moment(0), |at| at.plus_ms(every));
    let mut told = None;
    loop {
        let now = app.clock.now();
        // A clock that was set back does not stop backups.
        if now >= due || due.0 - now.0 > every.max(AGAIN) {
            due = if once(&app, &to, keep, now).await {
                now.plus_ms(every)
            } else {
                now.plus_ms(AGAIN.min(every))
            };
        }
        let erased = app.store.read(crate::store::erased::count).await.ok();
        if erased.is_some() && erased != told {
            let (store, folder) = (Arc::clone(&app.store), to.clone());
            match tokio::task::spawn_blocking(move || erase::tell_backups(&store, &folder)).await {
                Ok(Ok(())) => told = erased,
                Ok(Err(error)) => {
                    tracing::error!(%error, "the list of erased people is not beside the backups");
                }
                Err(_) => tracing::error!("writing the list of erased people panicked"),
            }
        }
        tokio::time::sleep(PAUSE).await;
    }
}

async fn once(app: &Shared, to: &Path, keep: Retention, now: Moment) -> bool {
    let (store, data, to) = (Arc::clone(&app.store), app.config.data.clone(), to.to_owned());
    let made = tokio::task::spawn_blocking(move || make(&store, &Folder::open(&data)?, &to, keep, now)).await;
    let state = &app.backups;
    let good = match made {
        Ok(Ok(made)) => {
            state.last_good.store(now.0, Ordering::Relaxed);
            state.bytes.store(made.bytes, Ordering::Relaxed);
            let documents = made.manifest.rows("doc");
            tracing::info!(bytes = made.bytes, documents, sha256 = made.sha256, "backup made");
            true
        }
        Ok(Err(error)) => {
            tracing::error!(%error, "NO BACKUP was made; it is tried again");
            false
        }
        Err(_) => {
            tracing::error!("NO BACKUP was made: it panicked; it is tried again");
            false
        }
    };
    state.failed.store(!good, Ordering::Relaxed);
    state.failures.fetch_add(u64::from(!good), Ordering::Relaxed);
    good
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Moment = Moment(1_795_600_800_000);

    #[test]
    fn files_are_named_by_their_moment_and_only_those_are_ours() {
        let dir = tempfile::tempdir().unwrap();
        let name = file(dir.path(), NOW);
        assert_eq!(name.file_name().unwrap(), "backstraight-20261125T100000Z.backup");
        for other in ["club.backup", "backstraight-20261325T100000Z.backup", "backstraight-x.backup"] {
            std::fs::write(dir.path().join(other), "").unwrap();
        }
        std::fs::write(&name, "").unwrap();
        assert_eq!(listed(dir.path()).unwrap(), [(NOW, name)]);
    }

    #[test]
    fn a_year_of_backups_leaves_the_newest_the_days_and_the_weeks() {
        let keep = Retention { newest: 4, days: 7, weeks: 5 };
        let every = 6 * 3_600_000;
        let mut held: Vec<Moment> = Vec::new();
        for n in 0..4 * 365 {
            let now = NOW.plus_ms(n * every);
            held.insert(0, now);
            let over = keep.over(&held, now);
            held.retain(|at| !over.contains(at));
            let oldest = (now.0 - held.last().unwrap().0) / DAY;
            assert!(oldest < i64::from(keep.expire_days(every)), "{n}: {oldest} days");
        }
        let now = NOW.plus_ms((4 * 365 - 1) * every);
        let ages: Vec<i64> = held.iter().map(|at| (now.0 - at.0) / DAY).collect();
        assert!(ages.starts_with(&[0, 0, 0, 0]), "{ages:?}");
        assert!((0..=6).all(|d| ages.contains(&d)), "a week of days: {ages:?}");
        assert!((4..=5).all(|w| ages.iter().any(|a| a / 7 == w || a / 7 + 1 == w)), "{ages:?}");
        assert!(held.len() <= 4 + 8 + 6, "{ages:?}");
    }

    #[test]
    fn the_newest_stays_whatever_is_said() {
        let none = Retention { newest: 0, days: 0, weeks: 0 };
        let old = NOW.plus_ms(-400 * DAY);
        assert_eq!(none.over(&[old], NOW), []);
        assert_eq!(none.over(&[NOW, old], NOW), [old]);
    }
}
