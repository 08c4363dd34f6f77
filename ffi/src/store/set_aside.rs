//! A damaged store: read as far as it can be into a new one, then set aside under another name, never deleted.
//!
//! Until the new store is whole and on disk, the damaged files are where they were and nothing is lost by a
//! kill: the next opening begins again. From then on a marker says so, and the next opening finishes what is
//! left, which is renaming. Knows tables and files; what a document is, core knows.

use std::collections::BTreeSet;
use std::fs::{self, OpenOptions};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use backstraight_core::device::rescue::{longest, unsure};
use backstraight_core::device::shelf::{DocRow, Shelf as _};
use backstraight_core::model::name::DocName;
use rusqlite::types::Value;
use rusqlite::{Connection, OpenFlags, params_from_iter};

use super::{FILE, Store, put_meta};
use crate::error::PhoneError;
use crate::files::{self, Readers, beside};

/// The new store while it is filled.
const MENDING: &str = ".mending";
/// Says that the new store is whole, and as what the damaged one is set aside.
const MENDED: &str = ".mended";
/// What a store writes beside its file.
const SIDES: [&str; 2] = ["-wal", "-shm"];
/// The fact that names what was set aside.
const FACT: &str = "set-aside";
/// Tables that are taken over row by row, with their columns. Documents are taken over one by one.
const ROWS: [(&str, &str); 5] = [
    ("meta", "key, value"),
    ("once", "n, asked, answer"),
    ("refused", "doc, code, text"),
    ("carried", "id, doc, parcel, code, text"),
    ("damaged", "id, doc, n, body"),
];

/// Called after each step that a kill could be the end of.
pub(super) type Step<'a> = &'a mut dyn FnMut();

/// Finishes what an earlier opening left when it was killed.
pub(super) fn finish(path: &Path, step: Step<'_>) -> Result<(), PhoneError> {
    match fs::read_to_string(beside(path, MENDED)) {
        Ok(name) => swap(path, &name, step),
        // One that is not whole is worth nothing: what it was made from is still there.
        Err(e) if e.kind() == ErrorKind::NotFound => remove(&beside(path, MENDING)),
        Err(e) => Err(e.into()),
    }
}

/// Puts a new store in place of a damaged one, with what can be read of it.
pub(super) fn mend(path: &Path, step: Step<'_>) -> Result<(), PhoneError> {
    let mending = beside(path, MENDING);
    let name = free_name(path)?;
    let filled = fill(path, &mending, &name, step);
    if filled.is_err() {
        // The room is needed, and the next opening begins again anyway.
        let _ = remove(&mending);
    }
    filled?;
    step();
    files::put(&beside(path, MENDED), name.as_bytes(), Readers::Owner)?;
    step();
    swap(path, &name, step)
}

/// The files that were set aside and are still there.
pub(super) fn list(store: &Store, dir: &Path) -> Result<Vec<PathBuf>, PhoneError> {
    let names = store.meta(FACT)?.unwrap_or_default();
    let names = String::from_utf8_lossy(&names);
    Ok(names.lines().map(|name| dir.join(name)).filter(|file| file.exists()).collect())
}

/// From here on nobody is told of them any more.
pub(super) fn told(db: &Connection) -> Result<(), PhoneError> {
    db.execute("DELETE FROM meta WHERE key = ?1", [FACT])?;
    Ok(())
}

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| FILE.to_owned(), |name| name.to_string_lossy().into_owned())
}

/// A name that no file beside the store has.
fn free_name(path: &Path) -> Result<String, PhoneError> {
    let mut n: u64 = 1;
    loop {
        let name = format!("{}.damaged-{n}", file_name(path));
        let file = path.with_file_name(&name);
        let mut taken = file.try_exists()?;
        for end in SIDES {
            taken |= beside(&file, end).try_exists()?;
        }
        if !taken {
            return Ok(name);
        }
        n += 1;
    }
}

/// Moves the damaged files away and the new one into their place. Each part is done once, however often it is
/// begun: while the new store has its own name, what has the store's name is the damaged one.
fn swap(path: &Path, name: &str, step: Step<'_>) -> Result<(), PhoneError> {
    let mending = beside(path, MENDING);
    if mending.try_exists()? {
        // A marker that cannot be made out is as good as its message.
        let known = name.starts_with(&file_name(path)) && !name.contains(['/', '\\', '\n']);
        let aside = path.with_file_name(if known { name.to_owned() } else { free_name(path)? });
        // The log of recent writes goes along: it may hold what the main file lacks.
        for end in SIDES.iter().copied().chain([""]) {
            let from = beside(path, end);
            if from.try_exists()? {
                fs::rename(&from, beside(&aside, end))?;
                step();
            }
        }
        fs::rename(&mending, path)?;
        files::flush_folder(path)?;
        step();
    }
    fs::remove_file(beside(path, MENDED))?;
    files::flush_folder(path)?;
    step();
    Ok(())
}

fn remove(file: &Path) -> Result<(), PhoneError> {
    for end in SIDES.iter().copied().chain([""]) {
        match fs::remove_file(beside(file, end)) {
            Err(e) if e.kind() != ErrorKind::NotFound => return Err(e.into()),
            _ => {}
        }
    }
    Ok(())
}

/// Fills a new store, and gives it back as one file that is on disk.
fn fill(path: &Path, mending: &Path, name: &str, step: Step<'_>) -> Result<(), PhoneError> {
    remove(mending)?;
    let mut store = Store::of(Store::connect(mending)?);
    // Worth nothing until it is whole, it is flushed once, at the end.
    store.db.pragma_update(None, "synchronous", "OFF")?;
    step();
    take_over(path, &mut store, step)?;
    let mut names =
        store.meta(FACT)?.map(|all| String::from_utf8_lossy(&all).into_owned()).unwrap_or_default();
    names.push_str(name);
    names.push('\n');
    put_meta(&store.db, FACT, names.as_bytes())?;
    step();
    store.forget()?;
    store.db.close().map_err(|(_, e)| e)?;
    if beside(mending, "-wal").try_exists()? {
        return Err(PhoneError::Storage { why: "the new store does not close".to_owned(), full: false });
    }
    OpenOptions::new().write(true).open(mending)?.sync_all()?;
    Ok(())
}

/// Takes over what can be read. What cannot is in the file set aside, and what the server had comes back from
/// there. That something cannot be read now, or written, is another matter, and ends it.
fn take_over(path: &Path, store: &mut Store, step: Step<'_>) -> Result<(), PhoneError> {
    let Some(old) = readable(open_as_it_is(path))? else { return Ok(()) };
    let mut seen = BTreeSet::new();
    // Behind a page that cannot be read there may be more: from the other end.
    for order in ["ASC", "DESC"] {
        let sql = format!("SELECT name, saved, withdrawn FROM doc ORDER BY rowid {order}");
        each(&old, &sql, [], |row| {
            let (name, saved, withdrawn): (Vec<u8>, Option<Vec<u8>>, bool) =
                (row.get(0)?, row.get(1)?, row.get(2).unwrap_or_default());
            let Ok(name) = DocName::from_bytes(&name) else { return Ok(()) };
            if seen.insert(name) {
                take_document(&old, name, &saved.unwrap_or_default(), withdrawn, store)?;
                step();
            }
            Ok(())
        })?;
    }
    // After the documents: one that is taken in ends its refusal.
    for (table, columns) in ROWS {
        take_rows(&old, store, table, columns)?;
        step();
    }
    Ok(())
}

/// Opens the damaged store, and leaves its log of writes beside it when it is closed.
fn open_as_it_is(path: &Path) -> rusqlite::Result<Connection> {
    let old = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    super::keep_log(&old, true)?;
    Ok(old)
}

/// None for what is damaged; an error when it may be readable another time.
fn readable<T>(read: rusqlite::Result<T>) -> Result<Option<T>, PhoneError> {
    match read {
        Ok(read) => Ok(Some(read)),
        Err(e) => match PhoneError::from(e) {
            e @ (PhoneError::Busy | PhoneError::Locked(_) | PhoneError::Storage { full: true, .. }) => Err(e),
            _ => Ok(None),
        },
    }
}

/// What goes wrong with one row.
enum RowError {
    /// It cannot be read.
    Old(rusqlite::Error),
    /// What was read cannot be kept.
    New(PhoneError),
}

impl From<rusqlite::Error> for RowError {
    fn from(e: rusqlite::Error) -> RowError {
        RowError::Old(e)
    }
}

impl From<PhoneError> for RowError {
    fn from(e: PhoneError) -> RowError {
        RowError::New(e)
    }
}

/// Does something with each row until one cannot be read; whether all could.
fn each(
    old: &Connection,
    sql: &str,
    key: impl rusqlite::Params,
    mut with: impl FnMut(&rusqlite::Row<'_>) -> Result<(), RowError>,
) -> Result<bool, PhoneError> {
    let Some(mut query) = readable(old.prepare(sql))? else { return Ok(false) };
    let Some(mut rows) = readable(query.query(key))? else { return Ok(false) };
    loop {
        match readable(rows.next())? {
            None => return Ok(false),
            Some(None) => return Ok(true),
            Some(Some(row)) => match with(row) {
                Ok(()) => {}
                // A row of other types than it should be is one row.
                Err(RowError::Old(e)) => drop(readable::<()>(Err(e))?),
                Err(RowError::New(e)) => return Err(e),
            },
        }
    }
}

fn take_rows(old: &Connection, store: &mut Store, table: &str, columns: &str) -> Result<(), PhoneError> {
    let count = columns.split(',').count();
    let places = vec!["?"; count].join(", ");
    let tx = store.db.transaction()?;
    {
        // A row that the table does not take is none.
        let mut put = tx.prepare(&format!("INSERT OR IGNORE INTO {table} ({columns}) VALUES ({places})"))?;
        for order in ["ASC", "DESC"] {
            let sql = format!("SELECT {columns} FROM {table} ORDER BY 1 {order}");
            let whole = each(old, &sql, [], |row| {
                let values: Vec<Value> = (0..count).map(|n| row.get(n)).collect::<Result<_, _>>()?;
                put.execute(params_from_iter(values)).map_err(PhoneError::from)?;
                Ok(())
            })?;
            if whole {
                break;
            }
        }
    }
    tx.commit()?;
    Ok(())
}

fn take_document(
    old: &Connection,
    name: DocName,
    saved: &[u8],
    withdrawn: bool,
    store: &mut Store,
) -> Result<(), PhoneError> {
    let key = name.to_bytes();
    let read = |from: &str| {
        let mut chunks: Vec<Vec<u8>> = Vec::new();
        let sql = format!("SELECT body FROM {from} WHERE doc = ?1 ORDER BY n");
        let whole = each(old, &sql, [key.as_slice()], |row| {
            chunks.push(row.get(0)?);
            Ok(())
        })?;
        Ok::<_, PhoneError>((whole, chunks))
    };
    let (whole, mut chunks) = read("chunk")?;
    if !whole {
        // The way to them may be what is damaged, and they themselves sound.
        let (_, others) = read("chunk NOT INDEXED")?;
        if others.len() > chunks.len() {
            chunks = others;
        }
    }
    let Some(doc) = longest(name, saved, &chunks) else { return Ok(()) };
    store.take(&DocRow { withdrawn, ..unsure(&doc) }, &[])?;
    store.compact(&name, &doc.save())
}

#[cfg(test)]
mod tests;
