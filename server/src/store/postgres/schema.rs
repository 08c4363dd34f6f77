//! The tables in a PostgreSQL database: how they grow from version to version, and what the server
//! must be set up to before anything is promised on it.

use crate::secret;
use crate::store::file::KNOWN_VERSION;
use crate::store::sql::{Db, OptionalExtension, Session};
use crate::store::{StoreError, value};

/// The steps from an empty database to the newest version: the same numbers and names as SQLite's.
pub(super) const STEPS: &[&str] = &[
    include_str!("../../../migrations/postgres/0001_init.sql"),
    include_str!("../../../migrations/postgres/0002_board.sql"),
    include_str!("../../../migrations/postgres/0003_people.sql"),
    include_str!("../../../migrations/postgres/0004_care.sql"),
    include_str!("../../../migrations/postgres/0005_keeping.sql"),
    include_str!("../../../migrations/postgres/0006_calendars.sql"),
    include_str!("../../../migrations/postgres/0007_audit_links.sql"),
    include_str!("../../../migrations/postgres/0008_plans.sql"),
];

/// The oldest server that this program was made for.
const OLDEST: i64 = 140_000;

/// Refuses a server that does not keep what an acknowledgement promises.
///
/// # Errors
/// When it does not.
pub(super) fn refuse_unfit(db: &Db) -> Result<(), StoreError> {
    let set = |name: &str| -> Result<String, StoreError> {
        Ok(db.query_row("SELECT current_setting(?1)", [name], |r| r.get(0))?)
    };
    let number = set("server_version_num")?;
    if number.parse().is_ok_and(|n: i64| n < OLDEST) {
        let found = set("server_version")?;
        return Err(StoreError::Unfit(format!("it is version {found}, at least 14 is needed")));
    }
    for name in ["fsync", "full_page_writes"] {
        if set(name)? != "on" {
            return Err(StoreError::Unfit(format!("{name} is off: a power cut could damage everything")));
        }
    }
    if !["on", "remote_apply"].contains(&set("synchronous_commit")?.as_str()) {
        return Err(StoreError::Unfit("synchronous_commit cannot be set to on".to_owned()));
    }
    if set("server_encoding")? != "UTF8" {
        return Err(StoreError::Unfit("the encoding of the database is not UTF8".to_owned()));
    }
    if set("transaction_read_only")? != "off" {
        return Err(StoreError::ReadOnly);
    }
    Ok(())
}

/// Brings the database to the newest version. Of processes that start together one does it and the
/// others wait.
///
/// # Errors
/// When it is newer than this program, or a step fails.
pub(super) fn migrate(session: &Session) -> Result<(), StoreError> {
    let db: &Db = session;
    // A step may take its time on a large database, and the others wait as long.
    session.begin(&format!(
        "BEGIN; SET LOCAL lock_timeout = 0; SET LOCAL statement_timeout = 0;
         SELECT pg_advisory_xact_lock({})",
        super::MIGRATING
    ))?;
    db.execute_batch("CREATE TABLE IF NOT EXISTS migration (number BIGINT PRIMARY KEY)")?;
    let found = version(db)?;
    for (step, number) in STEPS.iter().zip(1..=KNOWN_VERSION) {
        if number > found {
            db.execute_batch(step)?;
            db.execute("INSERT INTO migration (number) VALUES (?1)", [number])?;
        }
    }
    if found == 0 {
        let mut put = db.prepare("INSERT INTO meta (key, value) VALUES (?1, ?2)")?;
        put.execute(("epoch", secret::random::<16>()))?;
        put.execute(("server", secret::random::<16>()))?;
    }
    Ok(session.commit()?)
}

/// The version that a database has reached.
///
/// # Errors
/// When it cannot be read, or is newer than this program.
pub(in crate::store) fn version(db: &Db) -> Result<i64, StoreError> {
    let found: i64 = db.query_row("SELECT coalesce(max(number), 0) FROM migration", [], |r| r.get(0))?;
    if found > KNOWN_VERSION {
        return Err(StoreError::Newer { found, known: KNOWN_VERSION });
    }
    Ok(found)
}

/// Refuses a folder whose keys are not those of the database: tokens of one process would be none to
/// the others.
///
/// # Errors
/// When they are not.
pub(super) fn same_keys(db: &Db, folder: &crate::folder::Folder) -> Result<(), StoreError> {
    let here = secret::keyed(&folder.keys()?.secret, "the keys of one database", &[]);
    db.execute("INSERT INTO meta (key, value) VALUES ('keys', ?1) ON CONFLICT (key) DO NOTHING", [here])?;
    let kept = db
        .query_row("SELECT value FROM meta WHERE key = 'keys'", [], |r| value::bytes::<32>(r, 0))
        .optional()?;
    if kept == Some(here) {
        return Ok(());
    }
    Err(StoreError::Unfit(
        "it is served with other keys than those of this data folder: copy the folder `keys` from the \
         process that was there first"
            .to_owned(),
    ))
}
