//! Everything in a PostgreSQL database, which several processes may serve at the same time. Why two of
//! them never write past each other is said in docs/adr/0012-writes-over-postgresql.md.

mod address;
mod listen;
mod pool;
pub(super) mod schema;
#[cfg(test)]
mod tests;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::time::{Duration, Instant};

pub use address::{Database, Url, UrlError};

use super::news::News;
use super::sql::{Db, Failed, Session};
use super::{Opened, StoreError, StoreOptions, value};
use crate::folder::Folder;
use crate::secret;
use crate::watch::StoreFigures;

/// The lock under which tables are made; by this program only, so any number will do.
const MIGRATING: i64 = 0x6261_636b_0001;
/// The lock that every write holds: alone, or beside others that lock the rows they read.
const WRITING: i64 = 0x6261_636b_0002;
/// How often a write that met another transaction is done anew.
const ATTEMPTS: u32 = 12;

/// Whether a write may run beside others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Company {
    /// It is the only one in the database, as every write is with SQLite.
    Alone,
    /// It locks each row that it reads and then relies on.
    Beside,
}

impl Company {
    fn begin(self) -> String {
        let lock = match self {
            Company::Alone => "pg_advisory_xact_lock",
            Company::Beside => "pg_advisory_xact_lock_shared",
        };
        // Each statement sees what was committed before it: also what was while it waited for a lock.
        format!("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE; SELECT {lock}({WRITING})")
    }
}

/// An open database.
#[derive(Debug)]
pub(super) struct Postgres {
    pool: pool::Pool,
    listener: Option<listen::Listener>,
    figures: StoreFigures,
}

/// A write that waits for its turn, for those who watch the server.
pub(super) struct Waits<'p>(&'p StoreFigures);

impl Drop for Waits<'_> {
    fn drop(&mut self) {
        self.0.queue.dec();
    }
}

impl Postgres {
    /// Opens a database, makes its tables when it has none, and, unless it is a guest, listens to what
    /// other processes say.
    pub(super) fn open(
        options: &StoreOptions,
        url: &Url,
        folder: &Folder,
        news: Arc<News>,
    ) -> Result<(Postgres, Opened), StoreError> {
        let (database, figures) = (&options.database, options.figures.clone());
        let way = address::Way::new(url, database.ca.as_deref())?;
        let session = way.session()?;
        schema::refuse_unfit(&session)?;
        schema::migrate(&session)?;
        let opened = Postgres::look(&session, folder)?;
        let listener = if options.guest { None } else { Some(listen::Listener::start(way.clone(), news)?) };
        Ok((
            Postgres { pool: pool::Pool::new(way, session, database.connections), listener, figures },
            opened,
        ))
    }

    fn look(session: &Session, folder: &Folder) -> Result<Opened, StoreError> {
        session.begin(&Company::Alone.begin())?;
        let db: &Db = session;
        schema::same_keys(db, folder)?;
        let restored: i64 =
            db.query_row("SELECT count(*) FROM meta WHERE key = 'restored_at'", [], |r| r.get(0))?;
        let opened = Opened { server: value::meta(db, "server")?, restored: restored > 0 };
        session.commit()?;
        Ok(opened)
    }

    /// Most that read, and most that write, at the same time.
    pub(super) const fn limits(&self) -> (usize, usize) {
        self.pool.limits()
    }

    /// Counts one more write that waits for its turn, until what comes back is dropped.
    pub(super) fn waits(&self) -> Waits<'_> {
        self.figures.queue.inc();
        Waits(&self.figures)
    }

    /// Runs `work` on one consistent view of the database.
    pub(super) fn read<T>(&self, work: impl FnOnce(&Db) -> Result<T, StoreError>) -> Result<T, StoreError> {
        let mut lease =
            self.pool.begin(pool::Use::Read, "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")?;
        let done = work(lease.session()?);
        // Nothing was written, so either end is as good; this one also cleans up after a failure.
        lease.roll_back();
        done
    }

    /// Runs `work` in a transaction and comes back when it is durable. Work that met another transaction
    /// was undone by the database as a whole, and is done anew.
    pub(super) fn write<T>(
        &self,
        company: Company,
        work: &mut dyn FnMut(&Db) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let begun = Instant::now();
        for attempt in 0..ATTEMPTS {
            let mut lease = self.pool.begin(pool::Use::Write, &company.begin())?;
            // A mistake in one request must not take anybody else along.
            let done = catch_unwind(AssertUnwindSafe(|| work(lease.session()?)))
                .unwrap_or_else(|_| Err(StoreError::Damaged("a storage operation panicked".to_owned())));
            let done = match done {
                Ok(value) => match lease.session()?.commit() {
                    Ok(()) => {
                        self.figures.commit.observe(begun.elapsed().as_secs_f64());
                        self.figures.batch.observe(1.0);
                        lease.committed();
                        return Ok(value);
                    }
                    Err(error) => {
                        self.figures.failed.inc();
                        Err(StoreError::from(error))
                    }
                },
                Err(error) => Err(error),
            };
            let met = lease.session()?.failed() == Some(Failed::Met);
            lease.roll_back();
            drop(lease);
            if !met || company == Company::Alone {
                return done;
            }
            tracing::debug!(attempt, "a write met another one and is done anew");
            let [pause] = secret::random::<1>();
            std::thread::sleep(Duration::from_millis(u64::from(pause % 16) << attempt.min(4)));
        }
        Err(StoreError::Busy)
    }

    /// Closes everything. Blocks; may be called twice.
    pub(super) fn close(&self) {
        if let Some(listener) = &self.listener {
            listener.close();
        }
        self.pool.close();
    }
}
