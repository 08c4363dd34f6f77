//! The one thread that writes. Several requests share a transaction (each in a savepoint of its
//! own), and each is answered only after the commit has returned: the cost of one flush to the
//! disk is shared, the promise is not. Knows no business.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicI32, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rusqlite::{Connection, config::DbConfig, ffi};
use tokio::sync::{mpsc, oneshot};

use super::StoreOptions;
use super::fault::StoreError;
use super::news::{News, Told};
use super::sql::{Db, Telling};
use crate::folder::Folder;

/// Most requests of one transaction.
const BATCH: usize = 64;
/// Most requests that wait.
const QUEUE: usize = 512;
/// How long a request waits for a place in the queue before it is told that storage is busy.
const PATIENCE: Duration = Duration::from_secs(5);

/// Faults that tests inject. In service nothing ever sets them.
#[derive(Debug, Default)]
pub struct Faults {
    /// The extended error code with which the next commit fails; 0 for none.
    pub next_commit: AtomicI32,
    /// How many commits go well before that one.
    pub commits_before: AtomicU32,
    /// The size in pages beyond which the file counts as a full disk; 0 leaves it as it is.
    pub max_pages: AtomicU32,
}

impl Faults {
    /// The code with which this commit fails; 0 for none.
    fn of_this_commit(&self) -> i32 {
        let before = |n: u32| n.checked_sub(1);
        if self.next_commit.load(Ordering::SeqCst) == 0
            || self.commits_before.fetch_update(Ordering::SeqCst, Ordering::SeqCst, before).is_ok()
        {
            return 0;
        }
        self.next_commit.swap(0, Ordering::SeqCst)
    }
}

/// What the writer and the readers both know.
#[derive(Debug)]
pub struct Health {
    stopped: AtomicBool,
    folder: Folder,
}

impl Health {
    /// Storage that works, as far as anybody knows.
    pub fn new(folder: Folder) -> Health {
        Health { stopped: AtomicBool::new(false), folder }
    }

    /// Whether storage has stopped for good.
    pub fn stopped(&self) -> bool {
        self.stopped.load(Ordering::SeqCst)
    }

    /// Looks at a failure; stops when the disk cannot be trusted any more.
    pub fn note(&self, error: &StoreError) {
        if error.stops() && !self.stopped.swap(true, Ordering::SeqCst) {
            self.folder.mark_stopped();
            tracing::error!("storage has stopped after a disk error: nothing is acknowledged any more");
        }
    }
}

trait Job: Send {
    fn run(&mut self, db: &Telling) -> Result<(), StoreError>;
    fn answer(self: Box<Self>, commit: Result<(), StoreError>, news: &News);
}

struct Task<T, F> {
    work: Option<F>,
    outcome: Result<T, StoreError>,
    told: Vec<Told>,
    reply: oneshot::Sender<Result<T, StoreError>>,
}

impl<T: Send, F: FnOnce(&Db) -> Result<T, StoreError> + Send> Job for Task<T, F> {
    fn run(&mut self, db: &Telling) -> Result<(), StoreError> {
        let Some(work) = self.work.take() else { return Err(StoreError::Busy) };
        // A mistake in one request must not take the writer, and with it everybody, along.
        let got = catch_unwind(AssertUnwindSafe(|| work(db)))
            .unwrap_or_else(|_| Err(StoreError::Damaged("a storage operation panicked".to_owned())));
        let told = db.told();
        match got {
            Ok(value) => {
                self.outcome = Ok(value);
                self.told = told;
                Ok(())
            }
            Err(error) => {
                let copy = replica(&error);
                self.outcome = Err(error);
                Err(copy)
            }
        }
    }

    fn answer(self: Box<Self>, commit: Result<(), StoreError>, news: &News) {
        if commit.is_ok() {
            self.told.iter().for_each(|told| news.publish(*told));
        }
        // The caller may have gone away; what was committed stays committed.
        drop(self.reply.send(commit.and(self.outcome)));
    }
}

/// The same failure once more: an error of the database cannot be cloned.
fn replica(error: &StoreError) -> StoreError {
    match error {
        StoreError::Full => StoreError::Full,
        StoreError::ReadOnly => StoreError::ReadOnly,
        StoreError::Stopped => StoreError::Stopped,
        StoreError::Busy => StoreError::Busy,
        other => StoreError::Damaged(other.to_string()),
    }
}

enum Message {
    Job(Box<dyn Job>),
    EmptyLog(oneshot::Sender<Result<bool, StoreError>>),
    Close,
}

/// The handle of the writing thread.
#[derive(Debug)]
pub(super) struct Writer {
    queue: mpsc::Sender<Message>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl Writer {
    /// Starts the thread on a connection.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub(super) fn start(
        db: Connection,
        health: Arc<Health>,
        options: StoreOptions,
        news: Arc<News>,
    ) -> Result<Writer, StoreError> {
        let (queue, inbox) = mpsc::channel(QUEUE);
        let thread = std::thread::Builder::new()
            .name("writer".to_owned())
            .spawn(move || serve(db, inbox, &health, &options, &news))
            .map_err(|source| StoreError::File { what: "writing thread".to_owned(), source })?;
        Ok(Writer { queue, thread: Mutex::new(Some(thread)) })
    }

    /// Runs `work` in a transaction and answers after it is durable.
    ///
    /// # Errors
    /// What `work` said, or why it could not be made durable.
    pub(super) async fn run<T, F>(&self, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        let (reply, answer) = oneshot::channel();
        let task = Task { work: Some(work), outcome: Err(StoreError::Busy), told: Vec::new(), reply };
        match tokio::time::timeout(PATIENCE, self.queue.send(Message::Job(Box::new(task)))).await {
            Ok(Ok(())) => {}
            Ok(Err(_)) => return Err(StoreError::Stopped),
            Err(_) => return Err(StoreError::Busy),
        }
        answer.await.unwrap_or(Err(StoreError::Stopped))
    }

    /// The same for callers outside the runtime.
    ///
    /// # Errors
    /// As [`Writer::run`].
    pub(super) fn run_blocking<T, F>(&self, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        let (reply, answer) = oneshot::channel();
        let task = Task { work: Some(work), outcome: Err(StoreError::Busy), told: Vec::new(), reply };
        self.queue.blocking_send(Message::Job(Box::new(task))).map_err(|_| StoreError::Stopped)?;
        answer.blocking_recv().unwrap_or(Err(StoreError::Stopped))
    }

    /// Moves the log into the file and empties it; false when a reader stood in the way.
    ///
    /// # Errors
    /// When it cannot be moved.
    pub(super) fn empty_log(&self) -> Result<bool, StoreError> {
        let (reply, answer) = oneshot::channel();
        self.queue.blocking_send(Message::EmptyLog(reply)).map_err(|_| StoreError::Stopped)?;
        answer.blocking_recv().unwrap_or(Err(StoreError::Stopped))
    }

    /// Does what still waits, moves the log into the file and closes it. Blocks; may be called twice.
    pub(super) fn close(&self) {
        let thread = self.thread.lock().unwrap_or_else(std::sync::PoisonError::into_inner).take();
        let Some(thread) = thread else { return };
        let mut message = Message::Close;
        while let Err(mpsc::error::TrySendError::Full(back)) = self.queue.try_send(message) {
            message = back;
            std::thread::sleep(Duration::from_millis(2));
        }
        drop(thread.join());
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.close();
    }
}

fn serve(
    db: Connection,
    mut inbox: mpsc::Receiver<Message>,
    health: &Health,
    options: &StoreOptions,
    news: &News,
) {
    let db = Telling::new(db);
    while let Some(first) = inbox.blocking_recv() {
        let mut batch = Vec::new();
        let mut emptied = Vec::new();
        let mut next = Some(first);
        // Whatever arrived while the last commit was flushed shares the next one.
        while let Some(message) = next.take() {
            match message {
                Message::Job(job) => batch.push(job),
                Message::EmptyLog(reply) => emptied.push(reply),
                // What waits is still done; nothing more is taken. An empty queue then ends the loop.
                Message::Close => inbox.close(),
            }
            if batch.len() < BATCH {
                next = inbox.try_recv().ok();
            }
        }
        options.figures.queue.set(i64::try_from(inbox.len()).unwrap_or(i64::MAX));
        if !batch.is_empty() {
            one_transaction(&db, batch, health, options, news);
        }
        for reply in emptied {
            // Whoever asked may have gone away.
            drop(reply.send(empty_log(&db.db, health)));
        }
    }
    let db = db.db;
    if health.stopped() {
        // The disk is not to be trusted: leave file and log exactly as they are.
        drop(db.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true));
    } else {
        // A guest leaves that to the process that serves the folder, when there is one.
        let alone = if options.guest { health.folder.lock().ok() } else { None };
        let moved = (!options.guest || alone.is_some()).then(|| {
            db.execute_batch("PRAGMA optimize")?;
            db.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
        });
        if let Some(Err(error)) = moved {
            tracing::warn!(%error, "the log could not be moved into the file at the end");
        }
    }
    if let Err((_, error)) = db.close() {
        tracing::warn!(%error, "the database did not close cleanly");
    }
}

/// Waits for readers a moment: a read takes milliseconds.
fn empty_log(db: &Connection, health: &Health) -> Result<bool, StoreError> {
    if health.stopped() {
        return Err(StoreError::Stopped);
    }
    let done = db
        .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |r| r.get::<_, i64>(0))
        .map(|busy| busy == 0)
        .map_err(StoreError::from);
    match done {
        Err(StoreError::Busy) => Ok(false),
        Err(error) => {
            health.note(&error);
            Err(error)
        }
        done => done,
    }
}

fn one_transaction(
    telling: &Telling,
    mut batch: Vec<Box<dyn Job>>,
    health: &Health,
    options: &StoreOptions,
    news: &News,
) {
    if health.stopped() {
        return batch.into_iter().for_each(|job| job.answer(Err(StoreError::Stopped), news));
    }
    let db = &telling.db;
    let begun = Instant::now();
    let done = attempt(telling, &mut batch, &options.faults);
    options.figures.commit.observe(begun.elapsed().as_secs_f64());
    options.figures.batch.observe(f64::from(u32::try_from(batch.len()).unwrap_or(u32::MAX)));
    if let Err(error) = &done {
        options.figures.failed.inc();
        health.note(error);
        if !db.is_autocommit()
            && let Err(error) = db.execute_batch("ROLLBACK")
        {
            health.note(&StoreError::from(error));
        }
    }
    for job in batch {
        let commit = done.as_ref().map_or_else(|error| Err(replica(error)), |()| Ok(()));
        job.answer(commit, news);
    }
}

fn attempt(telling: &Telling, batch: &mut [Box<dyn Job>], faults: &Faults) -> Result<(), StoreError> {
    let db = &telling.db;
    let pages = faults.max_pages.swap(0, Ordering::SeqCst);
    if pages != 0 {
        db.query_row(&format!("PRAGMA max_page_count = {pages}"), [], |_| Ok(()))?;
    }
    db.execute_batch("BEGIN IMMEDIATE")?;
    for job in batch {
        db.execute_batch("SAVEPOINT one")?;
        match job.run(telling) {
            Ok(()) => db.execute_batch("RELEASE one")?,
            Err(StoreError::Stopped) => return Err(StoreError::Stopped),
            // A full disk may end the whole transaction by itself; then nobody's work is in it.
            Err(error) if db.is_autocommit() => return Err(error),
            Err(_) => db.execute_batch("ROLLBACK TO one; RELEASE one")?,
        }
    }
    let fault = faults.of_this_commit();
    if fault != 0 {
        return Err(rusqlite::Error::SqliteFailure(ffi::Error::new(fault), None).into());
    }
    db.execute_batch("COMMIT")?;
    Ok(())
}
