//! Whether a server is ready, check by check. What only calls for somebody to look is a warning: the
//! server goes on taking what phones send.

use std::sync::Mutex;
use std::sync::PoisonError;
use std::time::{Duration, Instant};

use serde::Serialize;
use utoipa::ToSchema;

use super::machine;
use crate::app::Shared;
use crate::store::{KNOWN_VERSION, StoreError, figures};

/// A try to write stands for so long: whoever asks again and again writes no more often.
const WRITE_STANDS: Duration = Duration::from_secs(5);

/// Whether a server is ready.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Ready {
    /// `ok`, `warnings` (it takes requests, somebody should look), or `not-ready`.
    status: &'static str,
    /// What was looked at.
    checks: Checks,
}

/// What was looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = ReadyChecks)]
struct Checks {
    /// Storage has not stopped after a disk error.
    storage: Check,
    /// The tables are those of this program.
    tables: Check,
    /// A write was made durable a moment ago.
    write: Check,
    /// There is room on the disk of the data folder.
    disk: Check,
    /// The last backup is young enough.
    backup: Check,
    /// No stored document was found damaged.
    documents: Check,
}

/// One of them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = ReadyCheck)]
struct Check {
    /// `ok`, `warning`, `failed`, or `off` when it was not asked for.
    state: &'static str,
    /// In words.
    detail: String,
    /// The figure that was looked at, when there is one: free megabytes, minutes since the last
    /// backup, damaged documents.
    figure: Option<u64>,
}

impl Check {
    fn of(state: &'static str, detail: &str, figure: Option<u64>) -> Check {
        Check { state, detail: detail.to_owned(), figure }
    }
}

impl Ready {
    /// Whether requests are taken.
    #[must_use]
    pub fn takes_requests(&self) -> bool {
        self.status != "not-ready"
    }
}

/// The last try to write.
#[derive(Debug, Default)]
pub struct Probe(Mutex<Option<(Instant, Check)>>);

/// Looks at everything.
pub async fn look(app: &Shared) -> Ready {
    let checks = Checks {
        storage: if app.store.stopped() {
            Check::of("failed", "storage has stopped after a disk error", None)
        } else {
            Check::of("ok", "no disk error", None)
        },
        tables: tables(app).await,
        write: write(app).await,
        disk: disk(app),
        backup: backup(app),
        documents: documents(app),
    };
    let all =
        [&checks.storage, &checks.tables, &checks.write, &checks.disk, &checks.backup, &checks.documents];
    let any = |state| all.iter().any(|c| c.state == state);
    let status = match (any("failed"), any("warning")) {
        (true, _) => "not-ready",
        (false, true) => "warnings",
        (false, false) => "ok",
    };
    Ready { status, checks }
}

async fn tables(app: &Shared) -> Check {
    match app.store.read(crate::store::version).await {
        Ok(found) if found == KNOWN_VERSION => {
            Check::of("ok", "all steps are made", u64::try_from(found).ok())
        }
        Ok(found) => Check::of("failed", "steps are missing", u64::try_from(found).ok()),
        Err(error) => Check::of("failed", said(&error), None),
    }
}

async fn write(app: &Shared) -> Check {
    let last = app.probe.0.lock().unwrap_or_else(PoisonError::into_inner).clone();
    if let Some((_, check)) = last.filter(|(at, _)| at.elapsed() < WRITE_STANDS) {
        return check;
    }
    let now = app.clock.now();
    let check = match app.store.write(move |db| figures::probe(db, now)).await {
        Ok(()) => Check::of("ok", "a write was made durable", None),
        Err(error) => Check::of("failed", said(&error), None),
    };
    *app.probe.0.lock().unwrap_or_else(PoisonError::into_inner) = Some((Instant::now(), check.clone()));
    check
}

/// Words that hold no path and nothing that the database said of its rows.
const fn said(error: &StoreError) -> &'static str {
    match error {
        StoreError::Full => "the disk is full",
        StoreError::ReadOnly => "the data folder is read-only",
        StoreError::Stopped => "storage has stopped after a disk error",
        StoreError::Busy => "storage is busy",
        _ => "storage failed; the log says why",
    }
}

fn disk(app: &Shared) -> Check {
    let Some((free, _)) = machine::disk(&app.config.data) else {
        return Check::of("off", "the machine does not say", None);
    };
    let mb = free / 1_000_000;
    if mb < u64::from(app.config.low_disk_mb) {
        Check::of("warning", "little room is left: megabytes", Some(mb))
    } else {
        Check::of("ok", "free megabytes", Some(mb))
    }
}

fn backup(app: &Shared) -> Check {
    if app.config.backup_to.is_none() {
        return Check::of("off", "no backups are made by the clock", None);
    }
    let Some(last) = app.backups.last_good() else {
        return Check::of("warning", "no backup was made yet", None);
    };
    let minutes = u64::try_from((app.clock.now().0 - last.0) / 60_000).unwrap_or(0);
    // One may be late by the time that the next one takes.
    let late = minutes > u64::from(app.config.backup_every.0) + u64::from(app.config.backup_every.0 / 2) + 5;
    if app.backups.failed() {
        Check::of("warning", "the last try failed; minutes since the last good one", Some(minutes))
    } else if late {
        Check::of("warning", "it is late; minutes since the last good one", Some(minutes))
    } else {
        Check::of("ok", "minutes since the last good one", Some(minutes))
    }
}

fn documents(app: &Shared) -> Check {
    match app.scrub.damaged() {
        0 => Check::of("ok", "none found damaged", Some(0)),
        n => Check::of("warning", "damaged documents: run the check", Some(n)),
    }
}
