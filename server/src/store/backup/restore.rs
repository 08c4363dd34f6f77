//! From a backup to a served folder: verified first, under a new epoch, and without the people who
//! were erased since it was made.

use std::ffi::OsStr;
use std::fs::File;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use backstraight_core::base::moment::Moment;
use rusqlite::{Connection, OpenFlags};

use super::manifest::Manifest;
use super::{copy, draft, intact, remove};
use crate::erase::list::ErasedList;
use crate::folder::{Folder, file_error, sync_folder};
use crate::grant::AtTheMachine;
use crate::job::check;
use crate::store::postgres::Database;
use crate::store::{Store, StoreError, StoreOptions, audit, erased, file, value, version};

/// How a backup is taken.
#[derive(Debug, Clone, Copy, Default)]
pub struct Take {
    /// Set a database that is in the folder aside.
    pub replace: bool,
    /// Take a backup that is not what its manifest says, or holds documents that do not open.
    pub anyway: bool,
}

/// What a restore did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// The backup's manifest, when it has one.
    pub manifest: Option<Manifest>,
    /// What does not hold, in words; devices that have those documents refill them.
    pub trouble: Vec<String>,
    /// People who were erased after the backup was made, and were erased from it again.
    pub erased_again: u64,
}

/// Restores a backup into a folder, with a new epoch: devices then offer again whatever the backup
/// does not know. A database that is already there is only set aside, and only when `take` says so.
///
/// # Errors
/// When the folder is in use or not empty, or the file is no intact backup.
pub fn restore(from: &Path, folder: &Folder, take: Take, now: Moment) -> Result<Restored, StoreError> {
    if occupied(folder)? && !take.replace {
        let text = "the folder is not empty; --replace sets the database in it aside";
        return Err(file_error(folder.root(), std::io::Error::new(ErrorKind::AlreadyExists, text)));
    }
    let lock = folder.lock()?;
    let target = folder.database();
    let draft = draft(&target)?;
    let made = (|| {
        let Ready { manifest, trouble, keys, erased_again, list } = ready(from, folder, &draft, take, now)?;
        File::open(&draft).and_then(|f| f.sync_all()).map_err(|e| file_error(&draft, e))?;
        set_aside(folder, now)?;
        folder.put_key_files(&keys)?;
        list.write(folder.root())?;
        std::fs::rename(&draft, &target).map_err(|e| file_error(&target, e))?;
        sync_folder(folder.root()).map_err(|e| file_error(folder.root(), e))?;
        Ok(Restored { manifest, trouble, erased_again })
    })();
    if made.is_err() {
        remove(&draft);
    }
    drop(lock);
    made
}

/// Restores a backup into the empty database of a server, through a folder that is empty too and holds
/// its keys afterwards. Nothing that is there is ever replaced.
///
/// # Errors
/// When folder or database are not empty, the server cannot be reached, or the file is no intact backup.
pub fn restore_to(
    from: &Path,
    folder: &Folder,
    database: &Database,
    take: Take,
    now: Moment,
) -> Result<Restored, StoreError> {
    if occupied(folder)? {
        let text = "the folder is not empty: take a new one, it will hold the keys";
        return Err(file_error(folder.root(), std::io::Error::new(ErrorKind::AlreadyExists, text)));
    }
    let draft = draft(&folder.database())?;
    let made = (|| {
        let Ready { manifest, trouble, keys, erased_again, list } = ready(from, folder, &draft, take, now)?;
        // The database remembers with which keys it is served.
        folder.put_key_files(&keys)?;
        list.write(folder.root())?;
        let options = StoreOptions { guest: true, database: database.clone(), ..StoreOptions::default() };
        let store = Store::open(folder, options)?;
        let file = Connection::open_with_flags(&draft, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
        let copied = store.write_blocking(move |db| {
            let there: i64 =
                db.query_row("SELECT (SELECT count(*) FROM club) + (SELECT count(*) FROM audit)", [], |r| {
                    r.get(0)
                })?;
            if there > 0 {
                return Err(StoreError::Unfit("the database is not empty".to_owned()));
            }
            copy::from_file(&file, db)
        });
        store.close();
        copied?;
        Ok(Restored { manifest, trouble, erased_again })
    })();
    remove(&draft);
    if made.is_err() {
        // Whoever tries again, perhaps with an address that is right, finds the folder empty.
        folder.remove_key_files()?;
    }
    made
}

/// Whether a folder holds anything but the list of those who were erased, and the empty file by which it
/// is locked: a restore that broke off leaves that behind.
fn occupied(folder: &Folder) -> Result<bool, StoreError> {
    let found = std::fs::read_dir(folder.root()).map_err(|e| file_error(folder.root(), e))?;
    let nothing = |name: &OsStr| ErasedList::is_name(name) || Folder::is_lock(name);
    Ok(found.filter_map(Result::ok).any(|f| !nothing(&f.file_name())))
}

/// A backup that is verified and made a database of its own.
struct Ready {
    manifest: Option<Manifest>,
    trouble: Vec<String>,
    keys: KeyFiles,
    erased_again: u64,
    list: ErasedList,
}

/// Makes `draft` the database that is to be.
fn ready(from: &Path, folder: &Folder, draft: &Path, take: Take, now: Moment) -> Result<Ready, StoreError> {
    std::fs::copy(from, draft).map_err(|e| file_error(from, e))?;
    let (manifest, trouble) = look(draft)?;
    if let Some(first) = trouble.first().filter(|_| !take.anyway) {
        let more = trouble.len() - 1;
        let text = format!("{first} (and {more} more); --anyway takes the backup as it is");
        return Err(StoreError::Damaged(text));
    }
    // Erased since: noted in the folder itself, or beside the backup.
    let mut list = ErasedList::read(folder.root())?;
    if let Some(beside) = from.parent() {
        list.add(ErasedList::read(beside)?);
    }
    let (keys, erased_again, list) = renew(draft, list, now)?;
    Ok(Ready { manifest, trouble, keys, erased_again, list })
}

/// Looks at a backup without restoring it: its manifest, and what does not hold.
///
/// # Errors
/// When it is no backup of this program, or too damaged to be looked at.
pub fn verify(file: &Path) -> Result<(Option<Manifest>, Vec<String>), StoreError> {
    if !file.is_file() {
        return Err(file_error(file, std::io::Error::new(ErrorKind::NotFound, "there is no such file")));
    }
    look(file)
}

fn look(path: &Path) -> Result<(Option<Manifest>, Vec<String>), StoreError> {
    let db = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(|_| foreign())?;
    version(&db).map_err(damaged)?;
    intact(&db).map_err(damaged)?;
    db.query_row("SELECT count(*) FROM kept_key", [], |r| r.get::<_, i64>(0)).map_err(|_| foreign())?;
    let manifest = Manifest::read(&db);
    let mut trouble = match &manifest {
        Some(manifest) => manifest.differs(&db)?,
        None => vec!["the backup has no manifest".to_owned()],
    };
    if manifest.is_some() {
        trouble.extend(check::documents(&db)?.trouble);
    }
    Ok((manifest, trouble))
}

fn foreign() -> StoreError {
    StoreError::Damaged("the file is no backup of this program".to_owned())
}

/// A file that is no good says nothing about the disk of the data folder.
fn damaged(error: StoreError) -> StoreError {
    match error {
        StoreError::Stopped => foreign(),
        other => other,
    }
}

type KeyFiles = Vec<(String, Vec<u8>)>;

/// Makes the copy of a backup a database of its own; gives back the keys that came with it, how many
/// were erased again, and everybody who is erased.
fn renew(draft: &Path, list: ErasedList, now: Moment) -> Result<(KeyFiles, u64, ErasedList), StoreError> {
    let mut db = Connection::open_with_flags(draft, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    let keys = db
        .prepare("SELECT name, key FROM kept_key ORDER BY name")?
        .query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?
        .collect::<Result<KeyFiles, _>>()?;
    db.pragma_update(None, "secure_delete", true)?;
    db.pragma_update(None, "synchronous", "FULL")?;
    db.execute_batch("DROP TABLE kept_key; DROP TABLE IF EXISTS kept_manifest")?;
    // An older backup is brought to the present tables, which know of erasure.
    file::migrate(&mut db)?;
    db.pragma_update(None, "foreign_keys", true)?;
    db.execute_batch("BEGIN IMMEDIATE")?;
    value::begin_epoch(&db)?;
    db.execute(
        "INSERT INTO meta (key, value) VALUES ('restored_at', ?1) ON CONFLICT (key) DO UPDATE SET value = ?1",
        [now.0.to_be_bytes()],
    )?;
    audit::add(&db, &AtTheMachine::BY, "restored", "this server", now)?;
    let erased_again = erased::again(&db, &list, now)?;
    let mut all = erased::list(&db)?;
    all.add(list);
    db.execute_batch("COMMIT; VACUUM")?;
    db.close().map_err(|(_, e)| e)?;
    Ok((keys, erased_again, all))
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
