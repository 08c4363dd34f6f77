//! Versions of the store's tables. Each step upgrades by one; a newer store is refused untouched.

use rusqlite::{Connection, TransactionBehavior};

use crate::error::PhoneError;

const STEPS: [&str; 3] = [
    "
    CREATE TABLE meta (key TEXT PRIMARY KEY, value BLOB NOT NULL) WITHOUT ROWID;
    CREATE TABLE doc (
        name BLOB PRIMARY KEY,
        cursor INTEGER NOT NULL DEFAULT 0,
        heads BLOB NOT NULL,
        server_heads BLOB NOT NULL DEFAULT x'',
        agreed INTEGER NOT NULL DEFAULT 0,
        tell_heads INTEGER NOT NULL DEFAULT 0,
        withdrawn INTEGER NOT NULL DEFAULT 0,
        saved BLOB
    );
    CREATE TABLE chunk (
        doc BLOB NOT NULL REFERENCES doc (name),
        n INTEGER NOT NULL,
        body BLOB NOT NULL,
        PRIMARY KEY (doc, n)
    );
    CREATE TABLE damaged (
        id INTEGER PRIMARY KEY,
        doc BLOB NOT NULL,
        n INTEGER NOT NULL,
        body BLOB NOT NULL
    );
    CREATE TABLE refused (doc BLOB PRIMARY KEY, code TEXT NOT NULL, text TEXT NOT NULL) WITHOUT ROWID;
",
    "
    -- What others wrote and gave to this phone to take along; a code when the server refused it.
    CREATE TABLE carried (
        id INTEGER PRIMARY KEY,
        doc BLOB NOT NULL,
        parcel BLOB NOT NULL,
        code TEXT,
        text TEXT
    );
    CREATE INDEX carried_doc ON carried (doc);
",
    "
    -- Deeds that an app asked for under a name of its own choice, so that each is done once.
    CREATE TABLE once (n INTEGER PRIMARY KEY AUTOINCREMENT, asked TEXT NOT NULL UNIQUE, answer TEXT NOT NULL);
",
];

pub(super) fn upgrade(db: &mut Connection) -> Result<(), PhoneError> {
    let known = i64::try_from(STEPS.len()).unwrap_or(i64::MAX);
    let version = |db: &Connection| db.pragma_query_value(None, "user_version", |r| r.get::<_, i64>(0));
    // Where nothing changes nothing is written: a full disk is no reason not to read.
    if version(db)? == known {
        return Ok(());
    }
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let found = version(&tx)?;
    if found > known {
        return Err(PhoneError::Newer { found, known });
    }
    for step in STEPS.iter().skip(usize::try_from(found).unwrap_or(0)) {
        tx.execute_batch(step)?;
    }
    tx.pragma_update(None, "user_version", known)?;
    tx.commit()?;
    Ok(())
}
