//! One folder, one object: within this process by a list of what is open, between processes by a lock that
//! ends with the process.

use std::collections::BTreeSet;
use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use super::error::DoorError;
use crate::error::PhoneError;

static OPEN: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// The right to use a folder.
#[derive(Debug)]
pub(super) struct Hold {
    folder: PathBuf,
    /// Locked for as long as it is open.
    lock: Option<File>,
}

impl Hold {
    /// Takes a folder, which is made when it is not there.
    pub(super) fn take(folder: &Path) -> Result<Hold, DoorError> {
        std::fs::create_dir_all(folder).map_err(file_trouble)?;
        let folder = folder.canonicalize().map_err(file_trouble)?;
        if !OPEN.lock().unwrap_or_else(PoisonError::into_inner).insert(folder.clone()) {
            return Err(DoorError::AlreadyOpen);
        }
        match lock(&folder) {
            Ok(lock) => Ok(Hold { folder, lock: Some(lock) }),
            Err(e) => {
                OPEN.lock().unwrap_or_else(PoisonError::into_inner).remove(&folder);
                Err(e)
            }
        }
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        // First: whoever finds it off the list takes the lock.
        drop(self.lock.take());
        OPEN.lock().unwrap_or_else(PoisonError::into_inner).remove(&self.folder);
    }
}

fn lock(folder: &Path) -> Result<File, DoorError> {
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(false);
    let file = options.open(folder.join("in-use")).map_err(file_trouble)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => {
            Err(DoorError::Busy { detail: "another process holds this folder".to_owned() })
        }
        // A file system without locks: the list above is what is left.
        Err(TryLockError::Error(e)) if e.kind() == std::io::ErrorKind::Unsupported => Ok(file),
        Err(TryLockError::Error(e)) => Err(file_trouble(e)),
    }
}

/// What a trouble with a file means to an app.
pub(super) fn file_trouble(e: std::io::Error) -> DoorError {
    PhoneError::from(e).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_that_was_let_go_of_is_free_in_the_same_instant() {
        let dir = tempfile::tempdir().unwrap();
        std::thread::scope(|s| {
            for _ in 0..8 {
                s.spawn(|| {
                    let mut taken = 0;
                    while taken < 3_000 {
                        match Hold::take(dir.path()) {
                            Ok(_hold) => taken += 1,
                            Err(DoorError::AlreadyOpen) => {}
                            // No other process is there.
                            Err(other) => panic!("{other:?}"),
                        }
                    }
                });
            }
        });
    }
}
