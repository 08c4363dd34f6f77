//! The database file: how it is opened, which promises each connection keeps, and how it grows
//! from version to version.

use std::path::Path;
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use super::fault::StoreError;
use super::postgres::schema;
use super::sql::{Db, Kind};
use crate::secret;

/// The steps from an empty file to the newest version, in order; the version is their number.
const STEPS: &[&str] = &[
    include_str!("../../migrations/sqlite/0001_init.sql"),
    include_str!("../../migrations/sqlite/0002_board.sql"),
    include_str!("../../migrations/sqlite/0003_people.sql"),
    include_str!("../../migrations/sqlite/0004_care.sql"),
    include_str!("../../migrations/sqlite/0005_keeping.sql"),
    include_str!("../../migrations/sqlite/0006_calendars.sql"),
    include_str!("../../migrations/sqlite/0007_audit_links.sql"),
    include_str!("../../migrations/sqlite/0008_plans.sql"),
];

/// The oldest library in which two connections cannot damage the file when the log restarts.
const OLDEST_LIBRARY: i32 = 3_051_003;

/// The newest version that this program knows.
pub const KNOWN_VERSION: i64 = 8;

/// Refuses a library that is too old.
///
/// # Errors
/// When it is.
pub fn check_library() -> Result<(), StoreError> {
    if rusqlite::version_number() < OLDEST_LIBRARY {
        return Err(StoreError::OldLibrary(rusqlite::version().to_owned()));
    }
    Ok(())
}

/// Opens the one connection that writes, makes the file when there is none, and brings it to the
/// newest version.
///
/// # Errors
/// When the file cannot be opened, is newer than this program, or a step fails.
pub fn open_writer(path: &Path) -> Result<Connection, StoreError> {
    check_library()?;
    if !path.exists() {
        // Before the database makes it: the files beside it get the same mode.
        crate::folder::create_private(path)?;
    }
    let mut db = Connection::open_with_flags(
        path,
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    db.busy_timeout(Duration::from_secs(5))?;
    db.pragma_update(None, "journal_mode", "WAL")?;
    let mode: String = db.pragma_query_value(None, "journal_mode", |r| r.get(0))?;
    if mode != "wal" {
        return Err(StoreError::Damaged(format!("journal mode is {mode}, not wal")));
    }
    // An acknowledgement is a promise that survives a power cut.
    db.pragma_update(None, "synchronous", "FULL")?;
    db.pragma_update(None, "foreign_keys", true)?;
    db.pragma_update(None, "secure_delete", true)?;
    db.pragma_update(None, "cell_size_check", true)?;
    db.pragma_update(None, "trusted_schema", false)?;
    keep_plans(&db)?;
    migrate(&mut db)?;
    Ok(db)
}

/// Opens a connection that can only read.
///
/// # Errors
/// When the file cannot be opened.
pub fn open_reader(path: &Path) -> Result<Connection, StoreError> {
    let db = Connection::open_with_flags(
        path,
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    db.busy_timeout(Duration::from_secs(5))?;
    db.pragma_update(None, "cell_size_check", true)?;
    db.pragma_update(None, "trusted_schema", false)?;
    db.pragma_update(None, "query_only", true)?;
    keep_plans(&db)?;
    Ok(db)
}

/// Statements are prepared once a connection. Without the first line the planner may look at bound
/// values and then makes its plan anew at every call with others.
fn keep_plans(db: &Connection) -> Result<(), StoreError> {
    db.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    db.set_prepared_statement_cache_capacity(64);
    Ok(())
}

/// The version that a database has reached.
///
/// # Errors
/// When it cannot be read, or it is newer than this program.
pub fn version(db: &Db) -> Result<i64, StoreError> {
    if db.kind() == Kind::Postgres {
        return schema::version(db);
    }
    let found: i64 = db.query_row("PRAGMA user_version", [], |r| r.get(0))?;
    if found > KNOWN_VERSION {
        return Err(StoreError::Newer { found, known: KNOWN_VERSION });
    }
    Ok(found)
}

/// What the database itself finds wrong with its pages and rows.
///
/// # Errors
/// When it cannot even be read.
pub fn broken(db: &Db) -> Result<Vec<String>, StoreError> {
    let mut found = Vec::new();
    if db.kind() == Kind::Postgres {
        // Its server has tools of its own for its files, which need other rights than ours.
        return Ok(found);
    }
    let mut ask = db.prepare("PRAGMA integrity_check(20)")?;
    for line in ask.query_map([], |r| r.get::<_, String>(0))? {
        found.push(line?);
    }
    found.retain(|line| line != "ok");
    let lost: i64 = db.query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |r| r.get(0))?;
    if lost > 0 {
        found.push(format!("{lost} rows point to nothing"));
    }
    Ok(found)
}

/// Brings a file to the newest version.
///
/// # Errors
/// When it is newer than this program, or a step fails.
pub(super) fn migrate(db: &mut Connection) -> Result<(), StoreError> {
    version(db)?;
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Read again inside the transaction: another process may have been quicker.
    let found = version(&*tx)?;
    for (step, number) in STEPS.iter().zip(1..=KNOWN_VERSION) {
        if number > found {
            tx.execute_batch(step)?;
            tx.pragma_update(None, "user_version", number)?;
        }
    }
    if found == 0 {
        let mut put = tx.prepare("INSERT INTO meta (key, value) VALUES (?1, ?2)")?;
        put.execute(("epoch", secret::random::<16>()))?;
        put.execute(("server", secret::random::<16>()))?;
    }
    tx.commit()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_promises_of_the_writing_connection() {
        let dir = tempfile::tempdir().unwrap();
        let db = open_writer(&dir.path().join("a.db")).unwrap();
        let ask = |name: &str| db.pragma_query_value::<i64, _>(None, name, |r| r.get(0)).unwrap();
        assert_eq!(ask("synchronous"), 2);
        assert_eq!(ask("foreign_keys"), 1);
        assert_eq!(ask("secure_delete"), 1);
        assert_eq!(ask("user_version"), KNOWN_VERSION);
        assert!(rusqlite::version_number() >= OLDEST_LIBRARY);
    }

    #[test]
    fn only_the_owner_reads_the_files() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.db");
        let _open = open_writer(&path).unwrap();
        let files: Vec<_> = std::fs::read_dir(dir.path()).unwrap().map(|f| f.unwrap().path()).collect();
        assert_eq!(files.len(), 3, "{files:?}");
        for file in files {
            assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600, "{file:?}");
        }
    }

    #[test]
    fn every_step_has_its_version() {
        assert_eq!(i64::try_from(STEPS.len()).unwrap(), KNOWN_VERSION);
    }

    #[test]
    fn a_newer_file_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.db");
        open_writer(&path).unwrap().pragma_update(None, "user_version", KNOWN_VERSION + 1).unwrap();
        assert!(matches!(open_writer(&path), Err(StoreError::Newer { .. })));
    }

    #[test]
    fn the_reading_connection_cannot_write() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.db");
        open_writer(&path).unwrap();
        let db = open_reader(&path).unwrap();
        assert!(db.execute("DELETE FROM meta", []).is_err());
    }

    /// A file of the version before keeps its people, and everything that points to them.
    #[test]
    fn people_of_an_older_file_stay() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.db");
        let db = Connection::open(&path).unwrap();
        db.pragma_update(None, "foreign_keys", true).unwrap();
        for step in STEPS.get(..2).unwrap() {
            db.execute_batch(step).unwrap();
        }
        db.pragma_update(None, "user_version", 2).unwrap();
        db.execute_batch(
            "INSERT INTO club (id, name, created_at) VALUES (zeroblob(16), 'Cinder Lane', 1);
             INSERT INTO person (id, club, role, name, care_open_to_coaches, created_at, care_version)
             VALUES (zeroblob(16), zeroblob(16), 'athlete', 'Mira Aalto', 1, 5, 3);
             INSERT INTO install (id, person, device, created_at, refresh_salt, refresh_generation)
             VALUES (zeroblob(8), zeroblob(16), 'phone', 6, zeroblob(16), 1);
             INSERT INTO invite (selector, code_mac, person, created_at, expires_at)
             VALUES ('ABC', zeroblob(32), zeroblob(16), 6, 7);",
        )
        .unwrap();
        drop(db);
        let db = open_writer(&path).unwrap();
        assert!(broken(&db).unwrap().is_empty());
        let (name, version, born): (String, i64, Option<String>) = db
            .query_row("SELECT name, care_version, born FROM person", [], |r| {
                Ok((r.get(0)?, r.get(1)?, r.get(2)?))
            })
            .unwrap();
        assert_eq!((name.as_str(), version, born), ("Mira Aalto", 3, None));
        let count = |sql: &str| db.query_row(sql, [], |r| r.get::<_, i64>(0)).unwrap();
        assert_eq!(count("SELECT count(*) FROM install JOIN person ON person.id = install.person"), 1);
        assert_eq!(count("SELECT count(*) FROM consent WHERE agrees = 1 AND what LIKE 'care%'"), 1);
        assert!(db.execute("DELETE FROM person", []).is_err(), "what points to people still does");
        assert!(db.execute("UPDATE person SET role = 'king'", []).is_err());
    }

    #[test]
    fn the_audit_list_is_append_only() {
        let dir = tempfile::tempdir().unwrap();
        let db = open_writer(&dir.path().join("a.db")).unwrap();
        db.execute("INSERT INTO audit (at, what, subject) VALUES (1, 'test', 'x')", []).unwrap();
        assert!(db.execute("DELETE FROM audit", []).is_err());
        assert!(db.execute("UPDATE audit SET what = 'other'", []).is_err());
    }
}
