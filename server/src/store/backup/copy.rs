//! Every row of every table from one database into another, table by table. Backups have the same
//! form whatever the server runs on, so this is also the way from one kind of database to another:
//! what is read on the left and what is written on the right are the only things to be exchanged.

use rusqlite::Connection;
use rusqlite::types::Value;

use super::super::StoreError;
use super::manifest::{columns, select, tables};

/// Copies all rows that `from` shows in one consistent view into the empty tables of `to`, which has
/// the same version; how many.
///
/// # Errors
/// When one of them cannot be read or written, or a row would point to nothing.
pub fn copy_tables(from: &Connection, to: &Connection) -> Result<u64, StoreError> {
    // Rows point at rows of tables that come later: what points where is looked at in the end.
    to.pragma_update(None, "foreign_keys", false)?;
    let view = from.unchecked_transaction()?;
    let target = to.unchecked_transaction()?;
    let mut copied = 0;
    for table in tables(to)? {
        // A new database has some rows of its own.
        target.execute(&format!("DELETE FROM {table}"), [])?;
        let (names, _) = columns(to, &table)?;
        let marks: Vec<String> = (1..=names.len()).map(|n| format!("?{n}")).collect();
        let mut put = target.prepare(&format!(
            "INSERT INTO {table} ({}) VALUES ({})",
            names.join(", "),
            marks.join(", ")
        ))?;
        let mut ask = view.prepare(&select(&view, &table)?)?;
        let mut rows = ask.query([])?;
        while let Some(row) = rows.next()? {
            let values = (0..names.len()).map(|n| row.get::<_, Value>(n)).collect::<Result<Vec<_>, _>>()?;
            put.execute(rusqlite::params_from_iter(values))?;
            copied += 1;
        }
    }
    let lost: i64 = target.query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |r| r.get(0))?;
    if lost > 0 {
        return Err(StoreError::Damaged(format!("{lost} rows point to nothing")));
    }
    target.commit()?;
    to.pragma_update(None, "foreign_keys", true)?;
    Ok(copied)
}
