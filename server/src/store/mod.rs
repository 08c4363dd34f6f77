//! The server's memory: business operations, each one transaction, each needing the grant that
//! allows it. SQL lives in this folder and nowhere else.

pub mod about;
pub mod account;
pub mod audit;
pub mod backup;
pub mod board;
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
pub mod members;
pub mod people;
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

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use rusqlite::Connection;
use tokio::sync::Semaphore;

pub use fault::StoreError;
pub use file::{KNOWN_VERSION, broken, check_library, open_reader, open_writer, version};
pub use sql::Db;
pub use writer::{Faults, Health};

use crate::folder::Folder;
use crate::watch::StoreFigures;

/// Most reads of handlers at the same time.
const READERS: usize = 8;

/// How a store is opened.
#[derive(Debug, Default)]
pub struct StoreOptions {
    /// Another process may be writing: leave moving the log into the file to it.
    pub guest: bool,
    /// Faults to inject, for tests.
    pub faults: Arc<Faults>,
    /// Where the writing thread counts.
    pub figures: StoreFigures,
}

/// An open database.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    writer: writer::Writer,
    idle: Mutex<Vec<Connection>>,
    /// Reads at the same time: each needs a connection of its own.
    readers: Semaphore,
    health: Arc<Health>,
    epoch: [u8; 16],
    server: [u8; 16],
    restored: bool,
}

impl Store {
    /// Opens the database of a folder; makes it when there is none.
    ///
    /// # Errors
    /// When it cannot be opened, or the disk failed since the machine was started.
    pub fn open(folder: &Folder, options: StoreOptions) -> Result<Store, StoreError> {
        folder.refuse_warm_cache()?;
        let path = folder.database();
        let db = open_writer(&path)?;
        if options.guest {
            db.pragma_update(None, "wal_autocheckpoint", 0)?;
            db.set_db_config(rusqlite::config::DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
        }
        let epoch = value::meta(&db, "epoch")?;
        let server = value::meta(&db, "server")?;
        let restored =
            db.query_row("SELECT count(*) FROM meta WHERE key = 'restored_at'", [], |r| r.get::<_, i64>(0))?;
        let health = Arc::new(Health::new(folder.clone()));
        let writer =
            writer::Writer::start(db, Arc::clone(&health), options.faults, options.figures, options.guest)?;
        Ok(Store {
            path,
            writer,
            idle: Mutex::default(),
            readers: Semaphore::new(READERS),
            health,
            epoch,
            server,
            restored: restored > 0,
        })
    }

    /// The epoch: another one after each restore.
    #[must_use]
    pub fn epoch(&self) -> [u8; 16] {
        self.epoch
    }

    /// The identity of the server, kept by a restore.
    #[must_use]
    pub fn server(&self) -> [u8; 16] {
        self.server
    }

    /// Whether this database was restored from a backup at some time.
    #[must_use]
    pub fn restored(&self) -> bool {
        self.restored
    }

    /// Whether storage has stopped after a disk error.
    #[must_use]
    pub fn stopped(&self) -> bool {
        self.health.stopped()
    }

    /// Reads something, to see that reading works.
    ///
    /// # Errors
    /// When it does not.
    pub async fn alive(self: &Arc<Self>) -> Result<(), StoreError> {
        self.read(|db| Ok(db.query_row("SELECT 1", [], |_| Ok(()))?)).await
    }

    /// The database file.
    #[must_use]
    pub fn path(&self) -> &std::path::Path {
        &self.path
    }

    /// Runs `work` in a transaction; the answer comes after it is durable.
    ///
    /// # Errors
    /// What `work` said, or why it could not be made durable.
    pub async fn write<T, F>(&self, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        if self.stopped() {
            return Err(StoreError::Stopped);
        }
        self.writer.run(work).await
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
        if self.stopped() {
            return Err(StoreError::Stopped);
        }
        self.writer.run_blocking(work)
    }

    /// Runs `work` on one consistent view of the database, on this thread. For threads that may block.
    ///
    /// # Errors
    /// What `work` said.
    pub fn read_blocking<T>(&self, work: impl FnOnce(&Db) -> Result<T, StoreError>) -> Result<T, StoreError> {
        let idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let mut db = match idle {
            Some(db) => db,
            None => open_reader(&self.path)?,
        };
        let done = db.transaction().map_err(StoreError::from).and_then(|tx| work(&*tx));
        match &done {
            Ok(_) => self.idle.lock().unwrap_or_else(PoisonError::into_inner).push(db),
            // The connection goes with the failure: the next reader opens a fresh one.
            Err(error) => self.health.note(error),
        }
        done
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
    /// more; false when somebody was still reading what was before. Blocks.
    ///
    /// # Errors
    /// When storage fails.
    pub fn empty_log(&self) -> Result<bool, StoreError> {
        // Connections that wait for the next reader hold nothing, but they need not be there either.
        self.idle.lock().unwrap_or_else(PoisonError::into_inner).clear();
        self.writer.empty_log()
    }

    /// Finishes what waits and closes the file. Blocks; may be called twice.
    pub fn close(&self) {
        self.idle.lock().unwrap_or_else(PoisonError::into_inner).clear();
        self.writer.close();
    }
}
