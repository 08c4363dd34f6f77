//! Figures: counted where things happen, or looked up when somebody asks for them.

use std::path::PathBuf;
use std::sync::atomic::AtomicU64;
use std::time::Duration;

use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::{Histogram, exponential_buckets};
use prometheus_client::registry::{Registry, Unit};

use super::machine;
use crate::app::Shared;
use crate::problem::Problem;
use crate::store::figures::{self as rows, Rows};

type Labels<const N: usize> = [(&'static str, String); N];
type Seconds = Gauge<f64, AtomicU64>;

/// From a tenth of a millisecond to half a minute.
fn times() -> Histogram {
    Histogram::new(exponential_buckets(0.000_1, 2.5, 15))
}

/// What the store's writing thread counts.
#[derive(Debug, Clone)]
pub struct StoreFigures {
    /// Requests that wait for the writing thread.
    pub queue: Gauge,
    /// Requests of one transaction.
    pub batch: Histogram,
    /// Seconds of one transaction, the flush to the disk included.
    pub commit: Histogram,
    /// Transactions that failed.
    pub failed: Counter,
}

impl Default for StoreFigures {
    fn default() -> StoreFigures {
        StoreFigures {
            queue: Gauge::default(),
            batch: Histogram::new(exponential_buckets(1.0, 2.0, 8)),
            commit: times(),
            failed: Counter::default(),
        }
    }
}

/// The figures of one server.
#[derive(Debug)]
pub struct Figures {
    registry: Registry,
    requests: Family<Labels<3>, Counter>,
    latency: Family<Labels<1>, Histogram, fn() -> Histogram>,
    outcomes: Family<Labels<1>, Counter>,
    acknowledged: Counter,
    sign_ins: Family<Labels<2>, Counter>,
    compactions: Family<Labels<1>, Counter>,
    scrubbed: Counter,
    damaged: Gauge,
    scrub_round: Seconds,
    /// Connections that are open.
    pub connections: Gauge,
    /// Connections that were given up because their client took too little of what was sent.
    pub given_up: Counter,
    looked_up: LookedUp,
}

/// What is looked up when it is asked for.
#[derive(Debug, Default)]
struct LookedUp {
    documents: Gauge,
    chunks_bytes: Gauge,
    quarantined: Gauge,
    jobs: Gauge,
    lag: Seconds,
    due: Gauge,
    db: Gauge,
    wal: Gauge,
    free: Gauge,
    memory: Gauge,
    backup_age: Seconds,
    backup_bytes: Gauge,
    backup_failures: Gauge,
    stopped: Gauge,
}

impl Figures {
    /// Figures that all stand at nothing; the store's are counted by the store.
    #[must_use]
    pub fn new(store: &StoreFigures) -> Figures {
        let mut registry = Registry::with_prefix("backstraight");
        let r = &mut registry;
        let f = Figures {
            requests: Family::default(),
            latency: Family::new_with_constructor(times as fn() -> Histogram),
            outcomes: Family::default(),
            acknowledged: Counter::default(),
            sign_ins: Family::default(),
            compactions: Family::default(),
            scrubbed: Counter::default(),
            damaged: Gauge::default(),
            scrub_round: Seconds::default(),
            connections: Gauge::default(),
            given_up: Counter::default(),
            looked_up: LookedUp::default(),
            registry: Registry::default(),
        };
        let l = &f.looked_up;
        r.register("requests", "Requests by method, route and status", f.requests.clone());
        let latency = f.latency.clone();
        r.register_with_unit("request_duration", "Time to answer by route", Unit::Seconds, latency);
        r.register("exchange_outcomes", "Documents sent, by what became of them", f.outcomes.clone());
        r.register("changes_acknowledged", "Changes made durable", f.acknowledged.clone());
        r.register("sign_ins", "Enrolments and renewed sessions by outcome", f.sign_ins.clone());
        r.register("compactions", "Compactions by outcome", f.compactions.clone());
        r.register("scrubbed_documents", "Documents looked at in the background", f.scrubbed.clone());
        r.register("damaged_documents", "Documents found damaged in the present round", f.damaged.clone());
        let round = f.scrub_round.clone();
        let help = "Age of the last whole round over all documents";
        r.register_with_unit("scrub_round_age", help, Unit::Seconds, round);
        r.register("connections", "Connections that are open", f.connections.clone());
        let help = "Connections given up because their client read too slowly";
        r.register("slow_readers", help, f.given_up.clone());
        r.register("write_queue", "Requests that wait to be written", store.queue.clone());
        r.register("commit_requests", "Requests that shared one transaction", store.batch.clone());
        let help = "Time of one transaction with its flush to the disk";
        r.register_with_unit("commit_duration", help, Unit::Seconds, store.commit.clone());
        r.register("commits_failed", "Transactions that were not made durable", store.failed.clone());
        r.register("documents", "Documents stored", l.documents.clone());
        let bytes = |r: &mut Registry, name: &str, help: &str, gauge: &Gauge| {
            r.register_with_unit(name, help, Unit::Bytes, gauge.clone());
        };
        bytes(r, "chunks", "Changes that are kept one by one", &l.chunks_bytes);
        r.register("quarantined_documents", "Documents left alone in the background", l.quarantined.clone());
        r.register("projector_jobs", "Athletes, squads and libraries whose rows are old", l.jobs.clone());
        let help = "Age of the oldest mark of the projector";
        r.register_with_unit("projector_lag", help, Unit::Seconds, l.lag.clone());
        r.register("people_due_for_erasure", "Withdrawn people beyond their club's limit", l.due.clone());
        bytes(r, "database", "The database file", &l.db);
        bytes(r, "wal", "The log beside it", &l.wal);
        bytes(r, "disk_free", "Free disk of the data folder", &l.free);
        bytes(r, "memory", "Memory of this process", &l.memory);
        let help = "Age of the last good backup; -1 for none";
        r.register_with_unit("backup_age", help, Unit::Seconds, l.backup_age.clone());
        bytes(r, "backup", "The last good backup", &l.backup_bytes);
        r.register("backup_failures", "Backups that failed since the start", l.backup_failures.clone());
        r.register("storage_stopped", "1 once storage has stopped after a disk error", l.stopped.clone());
        Figures { registry, ..f }
    }

    /// Counts an answer.
    pub fn answered(&self, method: &str, route: &str, status: u16, took: Duration) {
        let labels =
            [("method", method.to_owned()), ("route", route.to_owned()), ("status", status.to_string())];
        self.requests.get_or_create(&labels).inc();
        self.latency.get_or_create(&[("route", route.to_owned())]).observe(took.as_secs_f64());
    }

    /// Counts what became of one document that was sent: `accepted`, `need`, or the code of a refusal.
    pub fn exchanged(&self, code: &str) {
        self.outcomes.get_or_create(&[("code", code.to_owned())]).inc();
    }

    /// Counts changes that are durable.
    pub fn acknowledged(&self, changes: u64) {
        self.acknowledged.inc_by(changes);
    }

    /// Counts a try to sign in, by its kind (`code`, `refresh`, …) and what came of it.
    pub fn sign_in(&self, kind: &'static str, outcome: &'static str) {
        self.sign_ins.get_or_create(&[("kind", kind.to_owned()), ("outcome", outcome.to_owned())]).inc();
    }

    /// Counts a compaction.
    pub fn compacted(&self, outcome: &'static str) {
        self.compactions.get_or_create(&[("outcome", outcome.to_owned())]).inc();
    }

    /// Counts a document that was looked at, and says how many were found damaged in this round.
    pub fn scrubbed(&self, damaged: u64) {
        self.scrubbed.inc();
        self.damaged.set(i64::try_from(damaged).unwrap_or(i64::MAX));
    }
}

/// All figures as text, after looking up what stands in the database and on the machine.
pub(super) async fn text(app: &Shared) -> Result<String, Problem> {
    let now = app.clock.now();
    let rows: Rows = app.store.read(move |db| rows::rows(db, now)).await?;
    let l = &app.figures.looked_up;
    let whole = |n: u64| i64::try_from(n).unwrap_or(i64::MAX);
    l.documents.set(whole(rows.documents));
    l.chunks_bytes.set(whole(rows.chunk_bytes));
    l.quarantined.set(whole(rows.quarantined));
    l.jobs.set(whole(rows.jobs));
    let seconds = |ms: i64| Duration::from_millis(u64::try_from(ms).unwrap_or(0)).as_secs_f64();
    l.lag.set(rows.oldest_job.map_or(0.0, |at| seconds(now.0 - at.0)));
    l.due.set(whole(rows.due));
    let db = app.store.path();
    l.db.set(whole(machine::size(db)));
    l.wal.set(whole(machine::size(&PathBuf::from(format!("{}-wal", db.display())))));
    if let Some((free, _)) = machine::disk(&app.config.data) {
        l.free.set(whole(free));
    }
    if let Some(memory) = machine::memory() {
        l.memory.set(whole(memory));
    }
    l.backup_age.set(app.backups.last_good().map_or(-1.0, |at| seconds(now.0 - at.0)));
    l.backup_bytes.set(whole(app.backups.bytes()));
    l.backup_failures.set(whole(app.backups.failures()));
    l.stopped.set(i64::from(app.store.stopped()));
    app.figures.scrub_round.set(app.scrub.last_round().map_or(-1.0, |at| seconds(now.0 - at.0)));
    let mut text = String::new();
    encode(&mut text, &app.figures.registry).map_err(|_| Problem::Internal)?;
    Ok(text)
}
