//! Backup and restore. A backup is one SQLite file, whatever database the server runs on: all rows
//! as they were at one moment, the keys, and a manifest with a digest of each table. Whoever has the
//! file has everything: it is kept like the data folder itself.

mod copy;
mod manifest;
mod restore;

use std::fs::{File, OpenOptions};
use std::io::ErrorKind;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use backstraight_core::base::moment::Moment;
use rusqlite::{Connection, OpenFlags};
use sha2::{Digest, Sha256};

pub use copy::copy_tables;
pub use manifest::{Manifest, TableNote};
pub use restore::{Restored, Take, restore, restore_to, verify};

use super::{Store, StoreError, open_reader, open_writer, sql, version};
use crate::folder::{Folder, file_error, sync_folder};
use crate::secret;

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    /// Bytes of the file.
    pub bytes: u64,
    /// SHA-256 of the file, in hexadecimal digits: what `sha256sum` says of it.
    pub sha256: String,
    /// What is in it.
    pub manifest: Manifest,
}

/// Writes a backup of a folder, which may be served meanwhile. An existing file is only replaced by
/// a whole and checked one.
///
/// # Errors
/// When the database cannot be read, the file not be written, or the copy does not pass its check.
pub fn backup(folder: &Folder, to: &Path, now: Moment) -> Result<Made, StoreError> {
    if !folder.has_database() {
        return Err(no_database(folder));
    }
    write(folder, to, now, |draft| {
        // The fast way when the database is SQLite itself: one consistent copy without the bytes of
        // what was deleted.
        let from = open_reader(&folder.database())?;
        version(&from)?;
        from.pragma_update(None, "query_only", false)?;
        from.execute("VACUUM INTO ?1", [draft.to_string_lossy()])
            .map_err(|e| not_written(&folder.database(), to, e))?;
        Ok(())
    })
}

/// The same of an open store, whatever it stands on: over a database server all rows are copied as they
/// were at one moment. The keys are those of the folder.
///
/// # Errors
/// As [`backup`].
pub fn backup_of(store: &Store, folder: &Folder, to: &Path, now: Moment) -> Result<Made, StoreError> {
    if !store.shared() {
        return backup(folder, to, now);
    }
    write(folder, to, now, |draft| {
        let copied = || {
            let mut file = open_writer(draft)?;
            // A draft that breaks off is thrown away, so that it need not be durable before it is whole.
            file.pragma_update(None, "synchronous", "OFF")?;
            store.read_blocking(|db| copy_tables(db, &mut file))?;
            // One file, without a log beside it.
            file.pragma_update(None, "journal_mode", "DELETE")?;
            file.close().map_err(|(_, e)| e)?;
            Ok(())
        };
        copied().map_err(|e| of_the_copy(e, draft, to))
    })
}

fn write(
    folder: &Folder,
    to: &Path,
    now: Moment,
    fill: impl FnOnce(&Path) -> Result<(), StoreError>,
) -> Result<Made, StoreError> {
    let keys = folder.key_files()?;
    let parent = to.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let draft = draft(to)?;
    let made = (|| {
        fill(&draft)?;
        let manifest = seal(&draft, &keys, now).map_err(|e| of_the_copy(e, &draft, to))?;
        let file = File::open(&draft).map_err(|e| file_error(&draft, e))?;
        file.sync_all().map_err(|e| file_error(&draft, e))?;
        let bytes = file.metadata().map_err(|e| file_error(&draft, e))?.len();
        let sha256 = sha256(file).map_err(|e| file_error(&draft, e))?;
        std::fs::rename(&draft, to).map_err(|e| file_error(to, e))?;
        sync_folder(parent).map_err(|e| file_error(parent, e))?;
        Ok(Made { bytes, sha256, manifest })
    })();
    if made.is_err() {
        remove(&draft);
    }
    made
}

/// Makes a filled file a backup: keys, manifest, check.
fn seal(draft: &Path, keys: &[(String, Vec<u8>)], now: Moment) -> Result<Manifest, StoreError> {
    let copy = Connection::open_with_flags(draft, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    copy.execute_batch(
        "CREATE TABLE kept_key (name TEXT PRIMARY KEY, key BLOB NOT NULL) STRICT;
         CREATE TABLE kept_manifest (text TEXT NOT NULL) STRICT;",
    )?;
    let mut put = copy.prepare("INSERT INTO kept_key (name, key) VALUES (?1, ?2)")?;
    for (name, key) in keys {
        put.execute((name, key))?;
    }
    drop(put);
    let manifest = Manifest::of(&copy, now)?;
    copy.execute("INSERT INTO kept_manifest (text) VALUES (?1)", [manifest.to_json()])?;
    intact(&copy)?;
    copy.close().map_err(|(_, e)| e)?;
    Ok(manifest)
}

/// What stands in the way of a copy is no fault of the folder that is served: service goes on.
fn not_written(from: &Path, to: &Path, error: rusqlite::Error) -> StoreError {
    match StoreError::from(error) {
        StoreError::Full => no_room(to),
        StoreError::Stopped => {
            let text = format!("{} could not be copied: the disk of one of them failed", from.display());
            file_error(to, std::io::Error::other(text))
        }
        other => other,
    }
}

/// What went wrong with the file that is being written is told of that file.
fn of_the_copy(error: StoreError, draft: &Path, to: &Path) -> StoreError {
    match error {
        StoreError::Sql(sql::Error::Lite(e)) => not_written(draft, to, e),
        StoreError::Full => no_room(to),
        StoreError::Stopped => broken(to),
        other => other,
    }
}

fn no_room(to: &Path) -> StoreError {
    file_error(to, std::io::Error::new(ErrorKind::StorageFull, "no room for the backup"))
}

fn broken(to: &Path) -> StoreError {
    file_error(to, std::io::Error::other("the copy is damaged: the disk of the backup failed"))
}

fn sha256(mut file: File) -> std::io::Result<String> {
    let mut hasher = Sha256::new();
    let mut buffer = vec![0; 1 << 20];
    loop {
        let n = std::io::Read::read(&mut file, &mut buffer)?;
        let Some(read) = buffer.get(..n).filter(|b| !b.is_empty()) else { break };
        hasher.update(read);
    }
    Ok(data_encoding::HEXLOWER.encode(&hasher.finalize()))
}

fn intact(db: &Connection) -> Result<(), StoreError> {
    let said: String = db.query_row("PRAGMA integrity_check(1)", [], |r| r.get(0))?;
    if said == "ok" { Ok(()) } else { Err(StoreError::Damaged(said)) }
}

/// An empty file beside `path` that only the owner may read.
fn draft(path: &Path) -> Result<PathBuf, StoreError> {
    let end = data_encoding::HEXLOWER.encode(&secret::random::<4>());
    let draft = PathBuf::from(format!("{}.draft-{end}", path.display()));
    let made = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&draft);
    made.map(|_| draft.clone()).map_err(|e| file_error(&draft, e))
}

/// Removes a draft and what SQLite may have put beside it.
fn remove(draft: &Path) {
    for end in ["", "-journal", "-wal", "-shm"] {
        // One that is not there is as good as removed.
        drop(std::fs::remove_file(format!("{}{end}", draft.display())));
    }
}

pub(crate) fn no_database(folder: &Folder) -> StoreError {
    let error = std::io::Error::new(ErrorKind::NotFound, "there is no database in it");
    file_error(folder.root(), error)
}
