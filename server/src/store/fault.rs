//! What went wrong in the database, sorted by what must happen next. Knows no request.

use std::error::Error;

use postgres::error::SqlState;
use rusqlite::ErrorCode;
use rusqlite::ffi;

use super::sql;

/// A storage operation that did not happen. Nothing was acknowledged.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The disk has no room. Comes back by itself when there is room again.
    #[error("the disk of the data folder is full")]
    Full,
    /// The data folder or its file cannot be written.
    #[error("the data folder is read-only")]
    ReadOnly,
    /// The disk failed, now or earlier. Nothing is acknowledged until people have looked at it.
    #[error("storage has stopped after a disk error")]
    Stopped,
    /// Too much is waiting, or another process holds the database.
    #[error("storage is busy")]
    Busy,
    /// The database server cannot be reached, or was lost before it had answered. What was being
    /// written may be there or not: it was not acknowledged, and sending it again does no harm.
    #[error("the database cannot be reached: {0}")]
    Unavailable(String),
    /// The database server cannot be used as it is set up.
    #[error("the database server cannot be used: {0}")]
    Unfit(String),
    /// The database holds something that this program never wrote.
    #[error("damaged database: {0}")]
    Damaged(String),
    /// The file was made by a newer program.
    #[error("the database has version {found}, this program knows up to {known}")]
    Newer {
        /// Version of the file.
        found: i64,
        /// Newest version known.
        known: i64,
    },
    /// The SQLite library is too old to be trusted with two connections.
    #[error("the SQLite library is {0}, at least 3.51.3 is needed")]
    OldLibrary(String),
    /// A file of the data folder cannot be used.
    #[error("{what}: {source}")]
    File {
        /// Which.
        what: String,
        /// Why.
        source: std::io::Error,
    },
    /// Anything else that the database said.
    #[error("database: {0}")]
    Sql(sql::Error),
}

impl StoreError {
    /// Whether the disk can no longer be trusted: a write or a flush failed, or the file is not
    /// what it was. After that nothing may be acknowledged, because the pages that the failed
    /// flush held may be gone although reading them back from the cache still works.
    #[must_use]
    pub fn stops(&self) -> bool {
        matches!(self, StoreError::Stopped)
    }
}

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> StoreError {
        StoreError::from(sql::Error::from(error))
    }
}

impl From<sql::Error> for StoreError {
    fn from(error: sql::Error) -> StoreError {
        let code = match &error {
            sql::Error::Lite(rusqlite::Error::SqliteFailure(code, _)) => code,
            sql::Error::Postgres(said) => return from_server(said).unwrap_or(StoreError::Sql(error)),
            _ => return StoreError::Sql(error),
        };
        match code.code {
            ErrorCode::DiskFull => StoreError::Full,
            // The memory-mapped index beside the log could not grow: no promise was touched.
            ErrorCode::SystemIoFailure if code.extended_code == ffi::SQLITE_IOERR_SHMSIZE => StoreError::Full,
            ErrorCode::SystemIoFailure | ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase => {
                StoreError::Stopped
            }
            ErrorCode::ReadOnly => StoreError::ReadOnly,
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => StoreError::Busy,
            _ => StoreError::Sql(error),
        }
    }
}

/// What a database server said, when it has a meaning of its own.
fn from_server(error: &postgres::Error) -> Option<StoreError> {
    let Some(code) = error.code() else {
        // Without a word of the server's: the connection broke, or there was none.
        let io = error.is_closed() || error.source().is_some_and(<dyn Error>::is::<std::io::Error>);
        return io.then(|| StoreError::Unavailable(in_full(error)));
    };
    if *code == SqlState::DISK_FULL {
        return Some(StoreError::Full);
    }
    if *code == SqlState::READ_ONLY_SQL_TRANSACTION {
        return Some(StoreError::ReadOnly);
    }
    match code.code().get(..2) {
        // It meets other transactions, or waited for them too long, or has no connection to spare.
        Some("40" | "53" | "55") => Some(StoreError::Busy),
        // The connection, or the server as a whole, goes away.
        Some("08") => Some(StoreError::Unavailable(in_full(error))),
        Some("57") if *code == SqlState::QUERY_CANCELED => Some(StoreError::Busy),
        Some("57") => Some(StoreError::Unavailable(in_full(error))),
        Some("25") if *code == SqlState::IDLE_IN_TRANSACTION_SESSION_TIMEOUT => Some(StoreError::Busy),
        _ => None,
    }
}

fn in_full(error: &postgres::Error) -> String {
    let mut text = error.to_string();
    let mut deeper = error.source();
    while let Some(error) = deeper {
        if !text.contains(&error.to_string()) {
            text += &format!(": {error}");
        }
        deeper = error.source();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(extended: i32) -> StoreError {
        rusqlite::Error::SqliteFailure(ffi::Error::new(extended), None).into()
    }

    #[test]
    fn a_failed_flush_stops_and_a_full_disk_does_not() {
        for code in [ffi::SQLITE_IOERR_FSYNC, ffi::SQLITE_IOERR_WRITE, ffi::SQLITE_IOERR, ffi::SQLITE_CORRUPT]
        {
            assert!(said(code).stops(), "{code}");
        }
        assert!(matches!(said(ffi::SQLITE_FULL), StoreError::Full));
        assert!(matches!(said(ffi::SQLITE_IOERR_SHMSIZE), StoreError::Full));
        assert!(matches!(said(ffi::SQLITE_READONLY), StoreError::ReadOnly));
        assert!(matches!(said(ffi::SQLITE_BUSY), StoreError::Busy));
        assert!(matches!(said(ffi::SQLITE_CONSTRAINT), StoreError::Sql(_)));
    }
}
