//! Everything in the SQLite file of the data folder: one thread writes, readers have connections of
//! their own.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use rusqlite::Connection;
use rusqlite::config::DbConfig;

use super::news::News;
use super::sql::Db;
use super::writer::{Health, Writer};
use super::{Opened, StoreError, StoreOptions, open_reader, open_writer, value};
use crate::folder::Folder;

/// Most reads of handlers at the same time.
pub(super) const READERS: usize = 8;

/// An open file.
#[derive(Debug)]
pub(super) struct Lite {
    path: PathBuf,
    writer: Writer,
    idle: Mutex<Vec<Connection>>,
    health: Arc<Health>,
}

impl Lite {
    pub(super) fn open(
        folder: &Folder,
        options: StoreOptions,
        news: Arc<News>,
    ) -> Result<(Lite, Opened), StoreError> {
        folder.refuse_warm_cache()?;
        let path = folder.database();
        let db = open_writer(&path)?;
        if options.guest {
            db.pragma_update(None, "wal_autocheckpoint", 0)?;
            db.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
        }
        let restored: i64 =
            db.query_row("SELECT count(*) FROM meta WHERE key = 'restored_at'", [], |r| r.get(0))?;
        let opened = Opened { server: value::meta(&db, "server")?, restored: restored > 0 };
        let health = Arc::new(Health::new(folder.clone()));
        let writer = Writer::start(db, Arc::clone(&health), options, news)?;
        Ok((Lite { path, writer, idle: Mutex::default(), health }, opened))
    }

    pub(super) fn stopped(&self) -> bool {
        self.health.stopped()
    }

    pub(super) async fn write<T, F>(&self, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        if self.stopped() {
            return Err(StoreError::Stopped);
        }
        self.writer.run(work).await
    }

    pub(super) fn write_blocking<T, F>(&self, work: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&Db) -> Result<T, StoreError> + Send + 'static,
    {
        if self.stopped() {
            return Err(StoreError::Stopped);
        }
        self.writer.run_blocking(work)
    }

    pub(super) fn read<T>(&self, work: impl FnOnce(&Db) -> Result<T, StoreError>) -> Result<T, StoreError> {
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

    /// Moves the log into the file and empties it.
    pub(super) fn empty_log(&self) -> Result<bool, StoreError> {
        // Connections that wait for the next reader hold nothing, but they need not be there either.
        self.idle.lock().unwrap_or_else(PoisonError::into_inner).clear();
        self.writer.empty_log()
    }

    /// Finishes what waits and closes the file.
    pub(super) fn close(&self) {
        self.idle.lock().unwrap_or_else(PoisonError::into_inner).clear();
        self.writer.close();
    }
}
