//! What a backup says of itself: when, of which server, and a digest of every table, so that a byte
//! that changed on a disk since is found wherever it is. Knows no file names.

use std::collections::BTreeMap;

use backstraight_core::base::moment::Moment;
use rusqlite::Connection;
use rusqlite::types::ValueRef;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::super::{StoreError, value, version};

/// The form of backups that this program writes.
const FORM: u32 = 1;

/// The manifest of a backup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// Form of the backup.
    pub form: u32,
    /// When it was made, ms since 1970.
    pub made_at_ms: i64,
    /// The same in words, UTC.
    pub made_at: String,
    /// The program that made it.
    pub program: String,
    /// The version of its tables.
    pub tables_version: i64,
    /// Identity of the server.
    pub server: String,
    /// The epoch at that time.
    pub epoch: String,
    /// Rows and digest of each table.
    pub tables: BTreeMap<String, TableNote>,
}

/// What is noted of a table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TableNote {
    /// Rows.
    pub rows: u64,
    /// SHA-256 over all values in the order of the table's key.
    pub sha256: String,
}

impl Manifest {
    /// Of an open file.
    pub(super) fn of(db: &Connection, now: Moment) -> Result<Manifest, StoreError> {
        let hex = |bytes: [u8; 16]| data_encoding::HEXLOWER.encode(&bytes);
        Ok(Manifest {
            form: FORM,
            made_at_ms: now.0,
            made_at: now.to_string(),
            program: concat!("backstraight ", env!("CARGO_PKG_VERSION")).to_owned(),
            tables_version: version(db)?,
            server: hex(value::meta(db, "server")?),
            epoch: hex(value::meta(db, "epoch")?),
            tables: tables(db)?
                .into_iter()
                .map(|t| note(db, &t).map(|n| (t, n)))
                .collect::<Result<_, _>>()?,
        })
    }

    /// The manifest that a backup holds; none when the file is none, or an older one.
    pub(super) fn read(db: &Connection) -> Option<Manifest> {
        let text: String = db.query_row("SELECT text FROM kept_manifest", [], |r| r.get(0)).ok()?;
        serde_json::from_str(&text).ok()
    }

    pub(super) fn to_json(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    /// How many rows a table has.
    #[must_use]
    pub fn rows(&self, table: &str) -> u64 {
        self.tables.get(table).map_or(0, |t| t.rows)
    }

    /// What in an open backup is not what its manifest says, in words.
    pub(super) fn differs(&self, db: &Connection) -> Result<Vec<String>, StoreError> {
        let mut found = Vec::new();
        if self.form != FORM {
            found.push(format!("the backup has form {}, this program knows form {FORM}", self.form));
        }
        if self.tables_version != version(db)? {
            found.push("the version of the tables is another one than noted".to_owned());
        }
        let here = tables(db)?;
        for table in &here {
            match self.tables.get(table) {
                None => found.push(format!("table {table} is not in the manifest")),
                Some(said) => {
                    let is = note(db, table)?;
                    if is.rows != said.rows {
                        found.push(format!("table {table} has {} rows, {} were written", is.rows, said.rows));
                    } else if is != *said {
                        found.push(format!("table {table} holds other values than were written"));
                    }
                }
            }
        }
        let lost = self.tables.keys().filter(|t| !here.contains(t));
        found.extend(lost.map(|t| format!("table {t} is missing")));
        Ok(found)
    }
}

/// The server's own tables, by name: not those of SQLite, nor those that only a backup has.
pub(super) fn tables(db: &Connection) -> Result<Vec<String>, StoreError> {
    let mut ask = db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")?;
    let names = ask.query_map([], |r| r.get::<_, String>(0))?.collect::<Result<Vec<_>, _>>()?;
    Ok(names.into_iter().filter(|n| !n.starts_with("sqlite_") && !n.starts_with("kept_")).collect())
}

/// The columns of a table.
pub(super) fn columns(db: &Connection, table: &str) -> Result<Vec<String>, StoreError> {
    let mut ask = db.prepare("SELECT name FROM pragma_table_info(?1) ORDER BY cid")?;
    Ok(ask.query_map([table], |r| r.get(0))?.collect::<Result<_, _>>()?)
}

/// The columns of the key of a table, in order.
pub(super) fn key(db: &Connection, table: &str) -> Result<Vec<String>, StoreError> {
    let mut ask = db.prepare("SELECT name FROM pragma_table_info(?1) WHERE pk > 0 ORDER BY pk")?;
    Ok(ask.query_map([table], |r| r.get(0))?.collect::<Result<_, _>>()?)
}

/// All rows of a table in the order of its key.
pub(super) fn select(db: &Connection, table: &str) -> Result<String, StoreError> {
    let (columns, key) = (columns(db, table)?, key(db, table)?);
    if key.is_empty() {
        return Err(StoreError::Damaged(format!("table {table} has no key")));
    }
    Ok(format!("SELECT {} FROM {table} ORDER BY {}", columns.join(", "), key.join(", ")))
}

fn note(db: &Connection, table: &str) -> Result<TableNote, StoreError> {
    let mut ask = db.prepare(&select(db, table)?)?;
    let columns = ask.column_count();
    let mut rows = ask.query([])?;
    let (mut hasher, mut count) = (Sha256::new(), 0);
    while let Some(row) = rows.next()? {
        count += 1;
        for column in 0..columns {
            let (tag, bytes): (u8, &[u8]) = match row.get_ref(column)? {
                ValueRef::Null => (0, &[]),
                ValueRef::Integer(n) => {
                    hasher.update([1]);
                    hasher.update(n.to_be_bytes());
                    continue;
                }
                ValueRef::Real(n) => {
                    hasher.update([2]);
                    hasher.update(n.to_bits().to_be_bytes());
                    continue;
                }
                ValueRef::Text(text) => (3, text),
                ValueRef::Blob(bytes) => (4, bytes),
            };
            hasher.update([tag]);
            hasher.update((bytes.len() as u64).to_be_bytes());
            hasher.update(bytes);
        }
    }
    Ok(TableNote { rows: count, sha256: data_encoding::HEXLOWER.encode(&hasher.finalize()) })
}
