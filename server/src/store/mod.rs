//! The server's memory: business operations, each one transaction, each needing the grant that
//! allows it. SQL lives in this folder and nowhere else.

pub mod about;
pub mod account;
pub mod audit;
pub mod backup;
pub mod board;
pub mod calendars;
pub mod consents;
pub mod document;
pub mod erased;
mod fault;
pub mod figures;
mod file;
pub mod guardians;
pub mod heard;
pub mod installs;
pub mod job;
mod lite;
pub mod members;
pub mod news;
pub mod people;
pub mod postgres;
pub mod quarantine;
pub mod review;
pub mod setup;
pub mod sign_in;
pub mod snapshot;
pub mod sql;
mod value;
mod writer;

#[cfg(test)]
mod contract;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Semaphore;

pub use fault::StoreError;
pub use file::{KNOWN_VERSION, broken, check_library, open_reader, open_writer, version};
pub use sql::Db;
pub use value::{Epoch, epoch};
pub use writer::{Faults, Health};

use crate::folder::Folder;
use crate::watch::StoreFigures;
use lite::Lite;
use news::News;
use postgres::{Company, Database, Postgres};

/// How long a request waits for its turn to write before it is told that storage is busy.
const PATIENCE: Duration = Duration::from_secs(5);

/// How a store is opened.
#[derive(Debug, Default)]
pub struct StoreOptions {
    /// Another process may be writing: leave moving the log into the file to it.
    pub guest: bool,
    /// The database server that keeps everything; without an address SQLite in the data folder.
    pub database: Database,
    /// Faults to inject, for tests.
    pub faults: Arc<Faults>,
    /// Where the writing thread counts.
    pub figures: StoreFigures,
}

/// What is read once when a database is opened.
#[derive(Debug)]
struct Opened {
    server: [u8; 16],
    restored: bool,
}

/// An open database.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    base: Base,
    news: Arc<News>,
    /// Reads of handlers at the same time: each needs a connection of its own.
    readers: Semaphore,
    opened: Opened,
}

#[derive(Debug)]
enum Base {
    Lite(Lite),
    Postgres {
        base: Arc<Postgres>,
        /// Writes of handlers at the same time.
        writers: Arc<Semaphore>,
    },
}

impl Store {
    /// Opens the database that the options name, or that of the folder; makes it when there is none.
    /// Blocks.
    ///
    /// # Errors
    /// When it cannot be opened, or the disk failed since the machine was started.
    pub fn open(folder: &Folder, options: StoreOptions) -> Result<Store, StoreError> {
        let news = Arc::new(News::default());
        let (base, readers, opened) = match &options.database.url {
            None => {
                let (lite, opened) = Lite::open(folder, options, Arc::clone(&news))?;
                (Base::Lite(lite), lite::READERS, opened)
            }
            Some(url) => {
                let (base, opened) = Postgres::open(&options, url, folder, Arc::clone(&news))?;
                let (readers, writers) = base.limits();
                let writers = Arc::new(Semaphore::new(writers));
                (Base::Postgres { base: Arc::new(base), writers }, readers, opened)
            }
        };
        Ok(Store { path: folder.database(), base, news, readers: Semaphore::new(readers), opened })
    }

    /// The identity of the server, kept by a restore.
    #[must_use]
    pub fn server(&self) -> [u8; 16] {
        self.opened.server
    }

    /// Whether this database was restored from a backup at some time.
    #[must_use]
    pub fn restored(&self) -> bool {
        self.opened.restored
    }

    /// Whether storage has stopped after a disk error.
    #[must_use]
    pub fn stopped(&self) -> bool {
        match &self.base {
            Base::Lite(lite) => lite.stopped(),
            // A database server judges its own disk: it goes down, and is then unavailable.
            Base::Postgres { .. } => false,
        }
    }

    /// Whether other processes may serve the same database.
    #[must_use]
    pub fn shared(&self) -> bool {
        matches!(self.base, Base::Postgres { .. })
    }

    /// The database file of the data folder; nothing is there when a database server keeps everything.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What was made durable, as it happens: here, and in every process over the same database.
    #[must_use]
    pub fn news(&self) -> &News {
        &self.news
    }

    /// Reads something, to see that reading works.
    ///
    /// # Errors
    /// When it does not.
    pub async fn alive(self: &Arc<Self>) -> Result<(), StoreError> {
        self.read(|db| Ok(db.query_row("SELECT 1", [], |_| Ok(()))?)).await
    }

    /// Runs `work` in a transaction, as the only write of that moment; the answer comes after it is
    /// durable.
    ///
    /// # Errors
    /// What `work` said, or why it could not be made durable.
    pub async fn write<T, F>(&self, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        match &self.base {
            Base::Lite(lite) => lite.write(work).await,
            Base::Postgres { base, writers } => {
                let mut work = Some(work);
                on_server(base, writers, Company::Alone, move |db| once(&mut work, db)).await
            }
        }
    }

    /// [`Store::write`] for work that locks every row that it reads and then relies on (see
    /// `/*pg FOR NO KEY UPDATE */` in this folder): over PostgreSQL it runs beside other such work, and
    /// is done anew when the two met.
    ///
    /// # Errors
    /// As [`Store::write`].
    pub async fn write_beside<T, F>(&self, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: Fn(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        match &self.base {
            Base::Lite(lite) => lite.write(work).await,
            Base::Postgres { base, writers } => on_server(base, writers, Company::Beside, work).await,
        }
    }

    /// [`Store::write`] for callers outside the runtime.
    ///
    /// # Errors
    /// As [`Store::write`].
    pub fn write_blocking<T, F>(&self, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        match &self.base {
            Base::Lite(lite) => lite.write_blocking(work),
            Base::Postgres { base, .. } => {
                let mut work = Some(work);
                base.write(Company::Alone, &mut |db| once(&mut work, db))
            }
        }
    }

    /// [`Store::write_beside`] for callers outside the runtime.
    ///
    /// # Errors
    /// As [`Store::write`].
    pub fn write_beside_blocking<T, F>(&self, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: Fn(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        match &self.base {
            Base::Lite(lite) => lite.write_blocking(work),
            Base::Postgres { base, .. } => base.write(Company::Beside, &mut |db| work(db)),
        }
    }

    /// Runs `work` on one consistent view of the database, on this thread. For threads that may block.
    ///
    /// # Errors
    /// What `work` said.
    pub fn read_blocking<T>(&self, work: impl FnOnce(&Db) -> Result<T, StoreError>) -> Result<T, StoreError> {
        match &self.base {
            Base::Lite(lite) => lite.read(work),
            Base::Postgres { base, .. } => base.read(work),
        }
    }

    /// Runs `work` on one consistent view of the database.
    ///
    /// # Errors
    /// What `work` said.
    pub async fn read<T, F>(self: &Arc<Self>, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        let _permit = self.readers.acquire().await.map_err(|_| StoreError::Busy)?;
        let store = Arc::clone(self);
        tokio::task::spawn_blocking(move || store.read_blocking(work))
            .await
            .unwrap_or_else(|_| Err(StoreError::Damaged("a read panicked".to_owned())))
    }

    /// Moves the log into the file and empties it, so that bytes which were deleted are nowhere any
    /// more; false when somebody was still reading what was before. A database server keeps what was
    /// deleted until it cleans up, which only those who run it can see to: always false. Blocks.
    ///
    /// # Errors
    /// When storage fails.
    pub fn empty_log(&self) -> Result<bool, StoreError> {
        match &self.base {
            Base::Lite(lite) => lite.empty_log(),
            Base::Postgres { .. } => Ok(false),
        }
    }

    /// Finishes what waits and closes the database. Blocks; may be called twice.
    pub fn close(&self) {
        match &self.base {
            Base::Lite(lite) => lite.close(),
            Base::Postgres { base, .. } => base.close(),
        }
    }
}

/// Work that is not done anew: it has the database for itself, so it meets nobody.
fn once<T>(work: &mut Option<impl FnOnce(&Db) -> Result<T, StoreError>>, db: &Db) -> Result<T, StoreError> {
    work.take().ok_or(StoreError::Busy)?(db)
}

/// Writes on a database server, on a thread that may wait for it.
async fn on_server<T: Send + 'static>(
    base: &Arc<Postgres>,
    writers: &Arc<Semaphore>,
    company: Company,
    mut work: impl FnMut(&Db) -> Result<T, StoreError> + Send + 'static,
) -> Result<T, StoreError> {
    // Given back when the write has ended, not when somebody no longer waits for it.
    let waiting = base.waits();
    let permit = tokio::time::timeout(PATIENCE, Arc::clone(writers).acquire_owned()).await;
    drop(waiting);
    let Ok(Ok(permit)) = permit else { return Err(StoreError::Busy) };
    let base = Arc::clone(base);
    let span = tracing::Span::current();
    tokio::task::spawn_blocking(move || {
        let _permit = permit;
        span.in_scope(|| base.write(company, &mut work))
    })
    .await
    .unwrap_or_else(|_| Err(StoreError::Damaged("a write panicked".to_owned())))
}
