//! Backup and restore. A backup is one file: the database as it was at one moment, and the keys, so
//! that phones are still let in by the server that is restored from it. Whoever has the file has
//! everything: it is kept like the data folder itself.

use std::fs::{File, OpenOptions};
use std::io::ErrorKind;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use backstraight_core::base::moment::Moment;
use rusqlite::{Connection, OpenFlags};

use super::{StoreError, version};
use crate::folder::{Folder, Keys, file_error, sync_folder};
use crate::secret;

/// Writes a backup of a folder, which may be served meanwhile. An existing file is only replaced by
/// a whole and checked one.
///
/// # Errors
/// When the database cannot be read, the file not be written, or the copy does not pass its check.
pub fn backup(folder: &Folder, to: &Path) -> Result<u64, StoreError> {
    if !folder.has_database() {
        return Err(no_database(folder));
    }
    let keys = folder.keys()?;
    let parent = to.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let draft = draft(to)?;
    let made = (|| {
        let from = Connection::open_with_flags(
            folder.database(),
            OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
        )?;
        from.busy_timeout(std::time::Duration::from_secs(10))?;
        from.pragma_update(None, "wal_autocheckpoint", 0)?;
        version(&from)?;
        from.execute("VACUUM INTO ?1", [draft.to_string_lossy()])?;
        drop(from);
        let copy = Connection::open(&draft)?;
        copy.execute_batch("CREATE TABLE kept_key (name TEXT PRIMARY KEY, key BLOB NOT NULL) STRICT")?;
        let mut put = copy.prepare("INSERT INTO kept_key (name, key) VALUES (?1, ?2)")?;
        put.execute(("signing", keys.signing))?;
        put.execute(("secret", keys.secret))?;
        drop(put);
        intact(&copy)?;
        copy.close().map_err(|(_, e)| e)?;
        let file = File::open(&draft).map_err(|e| file_error(&draft, e))?;
        file.sync_all().map_err(|e| file_error(&draft, e))?;
        let size = file.metadata().map_err(|e| file_error(&draft, e))?.len();
        std::fs::rename(&draft, to).map_err(|e| file_error(to, e))?;
        sync_folder(parent).map_err(|e| file_error(parent, e))?;
        Ok(size)
    })();
    if made.is_err() {
        drop(std::fs::remove_file(&draft));
    }
    made
}

/// Restores a backup into a folder, with a new epoch: devices then offer again whatever the backup
/// does not know. A database that is already there is only set aside, and only when `replace` says so.
///
/// # Errors
/// When the folder is in use or not empty, or the file is no intact backup.
pub fn restore(from: &Path, folder: &Folder, replace: bool, now: Moment) -> Result<(), StoreError> {
    let occupied =
        std::fs::read_dir(folder.root()).map_err(|e| file_error(folder.root(), e))?.next().is_some();
    if occupied && !replace {
        let text = "the folder is not empty; --replace sets the database in it aside";
        return Err(file_error(folder.root(), std::io::Error::new(ErrorKind::AlreadyExists, text)));
    }
    let lock = folder.lock()?;
    let target = folder.database();
    let draft = draft(&target)?;
    let made = (|| {
        std::fs::copy(from, &draft).map_err(|e| file_error(from, e))?;
        let keys = renew(&draft, now)?;
        File::open(&draft).and_then(|f| f.sync_all()).map_err(|e| file_error(&draft, e))?;
        set_aside(folder, now)?;
        folder.put_keys(&keys)?;
        std::fs::rename(&draft, &target).map_err(|e| file_error(&target, e))?;
        sync_folder(folder.root()).map_err(|e| file_error(folder.root(), e))
    })();
    if made.is_err() {
        drop(std::fs::remove_file(&draft));
    }
    drop(lock);
    made
}

/// Makes the copy of a backup a database of its own; gives back the keys that came with it.
fn renew(draft: &Path, now: Moment) -> Result<Keys, StoreError> {
    let db = Connection::open_with_flags(draft, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    let foreign = |_| StoreError::Damaged("the file is no backup of this program".to_owned());
    version(&db)?;
    intact(&db)?;
    let key = |name: &str| {
        db.query_row("SELECT key FROM kept_key WHERE name = ?1", [name], |r| r.get::<_, [u8; 32]>(0))
            .map_err(foreign)
    };
    let keys = Keys { signing: key("signing")?, secret: key("secret")? };
    db.pragma_update(None, "secure_delete", true)?;
    db.pragma_update(None, "synchronous", "FULL")?;
    db.execute_batch("BEGIN IMMEDIATE; DROP TABLE kept_key")?;
    db.execute("UPDATE meta SET value = ?1 WHERE key = 'epoch'", [secret::random::<16>()])?;
    db.execute(
        "INSERT INTO meta (key, value) VALUES ('restored_at', ?1) ON CONFLICT (key) DO UPDATE SET value = ?1",
        [now.0.to_be_bytes()],
    )?;
    db.execute("INSERT INTO audit (at, what, subject) VALUES (?1, 'restored', 'this server')", [now.0])?;
    db.execute_batch("COMMIT; VACUUM")?;
    db.close().map_err(|(_, e)| e)?;
    Ok(keys)
}

fn set_aside(folder: &Folder, now: Moment) -> Result<(), StoreError> {
    let target = folder.database();
    for end in ["", "-wal", "-shm"] {
        let old = PathBuf::from(format!("{}{end}", target.display()));
        if old.exists() {
            let aside = PathBuf::from(format!("{}.before-{}{end}", target.display(), now.0));
            std::fs::rename(&old, &aside).map_err(|e| file_error(&old, e))?;
        }
    }
    // The disk that failed is judged anew with the database that it failed under out of the way.
    folder.forget_stopped()
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

pub(crate) fn no_database(folder: &Folder) -> StoreError {
    let error = std::io::Error::new(ErrorKind::NotFound, "there is no database in it");
    file_error(folder.root(), error)
}
