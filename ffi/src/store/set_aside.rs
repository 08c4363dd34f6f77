//! A damaged store: set aside under another name, never deleted, and read as far as it can be.

use std::fs;
use std::path::{Path, PathBuf};

use backstraight_core::device::rescue::{longest, unsure};
use backstraight_core::device::shelf::Shelf as _;
use backstraight_core::model::name::DocName;
use rusqlite::{Connection, OpenFlags};

use super::Store;
use crate::error::PhoneError;

/// Moves the store's files to the first free name beside them.
pub(super) fn move_away(path: &Path, why: &str) -> Result<PathBuf, PhoneError> {
    let fail = |e: std::io::Error| PhoneError::Storage {
        why: format!("{why}; and it cannot be set aside: {e}"),
        full: false,
    };
    let with = |path: &Path, end: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        PathBuf::from(name)
    };
    let mut n = 1;
    let aside = loop {
        let candidate = with(path, &format!(".damaged-{n}"));
        if !candidate.exists() {
            break candidate;
        }
        n += 1;
    };
    // The log of recent writes goes along: it may hold what the main file lacks.
    for end in ["-wal", "-shm"] {
        let from = with(path, end);
        if from.exists() {
            fs::rename(&from, with(&aside, end)).map_err(fail)?;
        }
    }
    fs::rename(path, &aside).map_err(fail)?;
    Ok(aside)
}

/// Takes over every document that still opens whole. What does not is in the file set aside, and
/// what the server had comes back from there.
pub(super) fn take_over(aside: &Path, store: &mut Store) {
    let Ok(old) = Connection::open_with_flags(aside, OpenFlags::SQLITE_OPEN_READ_WRITE) else { return };
    let Ok(mut names) = old.prepare("SELECT name, saved FROM doc") else { return };
    let Ok(mut rows) = names.query([]) else { return };
    while let Ok(Some(row)) = rows.next() {
        let (Ok(name), Ok(saved)) = (row.get::<_, Vec<u8>>(0), row.get::<_, Option<Vec<u8>>>(1)) else {
            continue;
        };
        let Ok(name) = DocName::from_bytes(&name) else { continue };
        let _ = take_one(&old, name, saved.unwrap_or_default(), store);
    }
    for row in super::carried::all(&old).unwrap_or_default() {
        if let Ok(name) = row.parcel.document() {
            let _ = store.keep_carried(&name, &row.parcel, None);
        }
    }
}

fn take_one(old: &Connection, name: DocName, saved: Vec<u8>, store: &mut Store) -> Option<()> {
    let mut query = old.prepare("SELECT body FROM chunk WHERE doc = ?1 ORDER BY n").ok()?;
    let mut rows = query.query([name.to_bytes().as_slice()]).ok()?;
    let mut chunks = Vec::new();
    while let Ok(Some(row)) = rows.next() {
        let Ok(body) = row.get::<_, Vec<u8>>(0) else { break };
        chunks.push(body);
    }
    let doc = longest(name, &saved, &chunks)?;
    store.take(&unsure(&doc), &[]).ok()?;
    store.compact(&name, &doc.save()).ok()
}
