//! Every row of every table from one database into another, table by table. Backups have the same
//! form whatever the server runs on, so this is also the way from one kind of database to the other.

use rusqlite::Connection;

use super::super::StoreError;
use super::super::sql::{Db, Kind, Row, ToSql};
use super::manifest::{columns, key, select, tables};

/// Rows that are asked for at once: one may hold a whole document.
const AT_ONCE: usize = 32;

/// Copies all rows that `from` shows in one consistent view into the empty file `to`, which has the
/// same version; how many.
///
/// # Errors
/// When one of them cannot be read or written, or a row would point to nothing.
pub fn copy_tables(from: &Db, to: &mut Connection) -> Result<u64, StoreError> {
    // Rows point at rows of tables that come later: what points where is looked at in the end.
    to.pragma_update(None, "foreign_keys", false)?;
    let target = to.transaction()?;
    let mut copied = 0;
    for table in tables(&target)? {
        // A new database has some rows of its own.
        target.execute(&format!("DELETE FROM {table}"), [])?;
        copied += one_table(from, &*target, &table, &columns(&target, &table)?, &select(&target, &table)?)?;
    }
    // With which keys a database server is served says nothing of a file.
    target.execute("DELETE FROM meta WHERE key = 'keys'", [])?;
    let lost: i64 = target.query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |r| r.get(0))?;
    if lost > 0 {
        return Err(StoreError::Damaged(format!("{lost} rows point to nothing")));
    }
    target.commit()?;
    to.pragma_update(None, "foreign_keys", true)?;
    Ok(copied)
}

/// Copies all rows of a file into the empty tables of a database server, in the transaction of `to`.
///
/// # Errors
/// When one of them cannot be read or written.
pub(super) fn from_file(from: &Connection, to: &Db) -> Result<u64, StoreError> {
    // What was drawn when the tables were made; with which keys they are served stays.
    to.execute("DELETE FROM meta WHERE key <> 'keys'", [])?;
    let mut copied = 0;
    for table in pointed_at_first(from)? {
        let names = columns(from, &table)?;
        copied += one_table(from, to, &table, &names, &select(from, &table)?)?;
        if key(from, &table)? == ["id"] && counted(from, &table)? {
            // Numbers go on where they were.
            to.query_row(
                &format!(
                    "SELECT setval(pg_get_serial_sequence('{table}', 'id'), greatest(coalesce(max(id), 0) + 1, 1), false)
                     FROM {table}"
                ),
                [],
                |_| Ok(()),
            )?;
        }
    }
    Ok(copied)
}

fn one_table(from: &Db, to: &Db, table: &str, names: &[String], ask: &str) -> Result<u64, StoreError> {
    let marks: Vec<String> = (1..=names.len()).map(|n| format!("?{n}")).collect();
    let text = format!("INSERT INTO {table} ({}) VALUES ({})", names.join(", "), marks.join(", "));
    let mut put = to.prepare(&text)?;
    let mut one = |row: &Row<'_>| -> Result<(), StoreError> {
        let values = (0..names.len()).map(|n| row.get_ref(n)).collect::<Result<Vec<_>, _>>()?;
        let values: Vec<&dyn ToSql> = values.iter().map(|v| v as &dyn ToSql).collect();
        put.execute(values.as_slice())?;
        Ok(())
    };
    let mut copied = 0;
    if from.kind() == Kind::Lite {
        let mut ask = from.prepare(ask)?;
        let mut rows = ask.query([])?;
        while let Some(row) = rows.next()? {
            one(row)?;
            copied += 1;
        }
        return Ok(copied);
    }
    // A database server sends an answer as a whole: it is asked in pieces.
    from.execute_batch(&format!("DECLARE copied NO SCROLL CURSOR FOR {ask}"))?;
    loop {
        let mut ask = from.prepare(&format!("FETCH FORWARD {AT_ONCE} FROM copied"))?;
        let mut rows = ask.query([])?;
        let before = copied;
        while let Some(row) = rows.next()? {
            one(row)?;
            copied += 1;
        }
        if copied == before {
            from.execute_batch("CLOSE copied")?;
            return Ok(copied);
        }
    }
}

/// The tables of a file, each after those that its rows point at.
fn pointed_at_first(db: &Connection) -> Result<Vec<String>, StoreError> {
    let mut left = Vec::new();
    for table in tables(db)? {
        let mut ask = db.prepare("SELECT DISTINCT \"table\" FROM pragma_foreign_key_list(?1)")?;
        let names = ask.query_map([&table], |r| r.get::<_, String>(0))?.collect::<Result<Vec<_>, _>>()?;
        left.push((table, names));
    }
    let mut sorted: Vec<String> = Vec::new();
    while !left.is_empty() {
        let ready = |(_, of): &(String, Vec<String>)| of.iter().all(|t| sorted.contains(t));
        let (now, later): (Vec<_>, Vec<_>) = left.into_iter().partition(ready);
        if now.is_empty() {
            return Err(StoreError::Damaged("tables point at each other".to_owned()));
        }
        sorted.extend(now.into_iter().map(|(table, _)| table));
        left = later;
    }
    Ok(sorted)
}

/// Whether the key is a number that the database gives out.
fn counted(db: &Connection, table: &str) -> Result<bool, StoreError> {
    let kind: String =
        db.query_row("SELECT type FROM pragma_table_info(?1) WHERE name = 'id'", [table], |r| r.get(0))?;
    Ok(kind == "INTEGER")
}
