//! The data folder: where the database and the keys are, who may read them, and who holds the
//! folder. Knows no request and no table.

use std::ffi::OsStr;
use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read, Write};
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

use backstraight_core::base::moment::Moment;

use crate::secret;
use crate::store::StoreError;

/// Tells one start of the machine from the next.
const BOOT_ID: &str = "/proc/sys/kernel/random/boot_id";

/// Names of keys that sign no more, before the moment until which their tokens are good.
const RETIRED: &str = "retired-";
/// Names of keys that are about to sign.
const NEXT: &str = "next-";
/// The empty file that a serving process holds.
const LOCK: &str = "serve.lock";

/// A data folder.
#[derive(Debug, Clone)]
pub struct Folder {
    root: PathBuf,
}

/// The two keys of a server.
#[derive(Clone)]
pub struct Keys {
    /// Seed of the Ed25519 key that signs access tokens.
    pub signing: [u8; 32],
    /// Key of refresh tokens and invitation codes.
    pub secret: [u8; 32],
}

impl std::fmt::Debug for Keys {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Keys { .. }")
    }
}

impl Folder {
    /// The folder at `root`, made when it is missing.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn open(root: &Path) -> Result<Folder, StoreError> {
        if !root.is_dir() {
            std::fs::create_dir_all(root).map_err(|e| file_error(root, e))?;
            std::fs::set_permissions(root, std::fs::Permissions::from_mode(0o700))
                .map_err(|e| file_error(root, e))?;
        }
        Ok(Folder { root: root.to_owned() })
    }

    /// The folder itself.
    #[must_use]
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The database file.
    #[must_use]
    pub fn database(&self) -> PathBuf {
        self.root.join("backstraight.db")
    }

    fn key_file(&self, name: &str) -> PathBuf {
        self.root.join("keys").join(name)
    }

    fn marker(&self) -> PathBuf {
        self.root.join("stopped")
    }

    /// Whether there is a database here.
    #[must_use]
    pub fn has_database(&self) -> bool {
        self.database().exists()
    }

    /// The keys; made at the first start.
    ///
    /// # Errors
    /// When they cannot be read or written, or others than the owner may read them.
    pub fn keys(&self) -> Result<Keys, StoreError> {
        Ok(Keys { signing: self.key("signing.key")?, secret: self.key("secret.key")? })
    }

    /// Every key file with its bytes, by name, for a backup.
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn key_files(&self) -> Result<Vec<(String, Vec<u8>)>, StoreError> {
        self.keys()?;
        let folder = self.root.join("keys");
        let mut files = Vec::new();
        for entry in std::fs::read_dir(&folder).map_err(|e| file_error(&folder, e))? {
            let path = entry.map_err(|e| file_error(&folder, e))?.path();
            let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
            // Drafts of keys have a longer ending.
            if path.extension().is_some_and(|e| e == "key") {
                files.push((name, std::fs::read(&path).map_err(|e| file_error(&path, e))?));
            }
        }
        files.sort();
        Ok(files)
    }

    /// Writes key files that come from a backup. Keys that are already here stay.
    ///
    /// # Errors
    /// When they cannot be written, or one has a name that leads out of the folder of keys.
    pub fn put_key_files(&self, files: &[(String, Vec<u8>)]) -> Result<(), StoreError> {
        for (name, bytes) in files {
            let plain = name.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_'));
            if !plain || name.starts_with('.') || !name.ends_with(".key") {
                let error = std::io::Error::new(ErrorKind::InvalidData, "not the name of a key");
                return Err(file_error(&self.root.join("keys"), error));
            }
            if !self.key_file(name).exists() {
                self.write_key(name, bytes)?;
            }
        }
        Ok(())
    }

    /// Takes back all keys of a folder that was empty before they were put there.
    ///
    /// # Errors
    /// When they cannot be removed.
    pub fn remove_key_files(&self) -> Result<(), StoreError> {
        let folder = self.root.join("keys");
        match std::fs::remove_dir_all(&folder) {
            Err(e) if e.kind() != ErrorKind::NotFound => Err(file_error(&folder, e)),
            _ => Ok(()),
        }
    }

    fn key(&self, name: &str) -> Result<[u8; 32], StoreError> {
        match self.read_key(name) {
            Err(StoreError::File { source, .. }) if source.kind() == ErrorKind::NotFound => {
                let key = secret::random::<32>();
                match self.write_key(name, hex_line(&key).as_bytes()) {
                    // Another process was quicker: its key is the key.
                    Err(StoreError::File { source, .. }) if source.kind() == ErrorKind::AlreadyExists => {
                        self.read_key(name)
                    }
                    done => done.map(|()| key),
                }
            }
            read => read,
        }
    }

    fn read_key(&self, name: &str) -> Result<[u8; 32], StoreError> {
        let path = self.key_file(name);
        let mut file = File::open(&path).map_err(|e| file_error(&path, e))?;
        let mode = file.metadata().map_err(|e| file_error(&path, e))?.permissions().mode();
        if mode & 0o077 != 0 {
            let text = format!("mode {:o} lets others read it, 600 is needed", mode & 0o777);
            return Err(file_error(&path, std::io::Error::new(ErrorKind::PermissionDenied, text)));
        }
        let mut text = String::new();
        file.read_to_string(&mut text).map_err(|e| file_error(&path, e))?;
        data_encoding::HEXLOWER
            .decode(text.trim().as_bytes())
            .ok()
            .and_then(|bytes| bytes.try_into().ok())
            .ok_or_else(|| file_error(&path, std::io::Error::new(ErrorKind::InvalidData, "not a key")))
    }

    fn write_key(&self, name: &str, bytes: &[u8]) -> Result<(), StoreError> {
        let path = self.key_file(name);
        let folder = self.root.join("keys");
        std::fs::create_dir_all(&folder).map_err(|e| file_error(&folder, e))?;
        // Under another name until it is whole and on the disk: a key cut short is no key.
        let draft = folder.join(format!("{name}.{}", data_encoding::HEXLOWER.encode(&secret::random::<4>())));
        let write = || {
            let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&draft)?;
            file.write_all(bytes)?;
            file.sync_all()?;
            let linked = std::fs::hard_link(&draft, &path);
            std::fs::remove_file(&draft)?;
            linked?;
            sync_folder(&folder)
        };
        write().map_err(|e| file_error(&path, e))
    }

    /// Puts a new key for access tokens in the place of the old one, whose tokens stay good until `until`.
    ///
    /// # Errors
    /// When it cannot be written; then the old key is still the key.
    pub fn rotate_signing(&self, until: Moment) -> Result<Keys, StoreError> {
        let old = self.keys()?;
        let public = ed25519_dalek::SigningKey::from_bytes(&old.signing).verifying_key().to_bytes();
        // First the old one's public half: at no moment are good tokens refused.
        let end = data_encoding::HEXLOWER.encode(&secret::random::<4>());
        self.write_key(&format!("{RETIRED}{}-{end}.key", until.0), hex_line(&public).as_bytes())?;
        let (draft, path) = (format!("{NEXT}{end}"), self.key_file("signing.key"));
        let new = secret::random::<32>();
        self.write_key(&draft, hex_line(&new).as_bytes())?;
        std::fs::rename(self.key_file(&draft), &path).map_err(|e| file_error(&path, e))?;
        sync_folder(&self.root.join("keys")).map_err(|e| file_error(&path, e))?;
        Ok(Keys { signing: new, ..old })
    }

    /// The public halves of keys whose tokens are still good, and until when.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn retired(&self, now: Moment) -> Result<Vec<([u8; 32], Moment)>, StoreError> {
        let folder = self.root.join("keys");
        let mut found = Vec::new();
        for entry in std::fs::read_dir(&folder).map_err(|e| file_error(&folder, e))? {
            let name = entry.map_err(|e| file_error(&folder, e))?.file_name();
            let Some(name) = name.to_str().filter(|n| n.ends_with(".key")) else { continue };
            let until = name.strip_prefix(RETIRED).and_then(|r| r.split('-').next()?.parse().ok());
            if let Some(until) = until.map(Moment).filter(|until| now.0 < until.0) {
                found.push((self.read_key(name)?, until));
            }
        }
        found.sort_by_key(|(_, until)| *until);
        Ok(found)
    }

    /// Whether a file of this name is the one by which a folder is taken.
    #[must_use]
    pub fn is_lock(name: &OsStr) -> bool {
        name == LOCK
    }

    /// Takes the folder for a serving process; it is given back when the file is dropped.
    ///
    /// # Errors
    /// When another process serves it.
    pub fn lock(&self) -> Result<File, StoreError> {
        let path = self.root.join(LOCK);
        let file = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(&path);
        let file = file.map_err(|e| file_error(&path, e))?;
        file.try_lock().map_err(|e| {
            let source = match e {
                std::fs::TryLockError::Error(e) => e,
                std::fs::TryLockError::WouldBlock => {
                    std::io::Error::new(ErrorKind::WouldBlock, "another process serves this folder")
                }
            };
            file_error(&path, source)
        })?;
        Ok(file)
    }

    /// Leaves word that the disk failed during this start of the machine.
    pub fn mark_stopped(&self) {
        // Best effort: the disk has just failed.
        drop(std::fs::write(self.marker(), std::fs::read_to_string(BOOT_ID).unwrap_or_default()));
    }

    /// Forgets that the disk failed.
    ///
    /// # Errors
    /// When the word cannot be removed.
    pub fn forget_stopped(&self) -> Result<(), StoreError> {
        match std::fs::remove_file(self.marker()) {
            Err(e) if e.kind() != ErrorKind::NotFound => Err(file_error(&self.marker(), e)),
            _ => Ok(()),
        }
    }

    /// Refuses a folder whose disk failed since the machine was started: pages that a failed flush
    /// dropped may still be read back from the cache, and a restart would build on them.
    ///
    /// # Errors
    /// When it did.
    pub fn refuse_warm_cache(&self) -> Result<(), StoreError> {
        let Ok(then) = std::fs::read_to_string(self.marker()) else { return Ok(()) };
        let now = std::fs::read_to_string(BOOT_ID).unwrap_or_default();
        if then == now {
            return Err(StoreError::Stopped);
        }
        tracing::warn!("the disk failed before the machine was restarted; run the check");
        self.forget_stopped()
    }
}

/// Makes an empty file that only the owner may read and write; one that is there stays.
///
/// # Errors
/// When the file system refuses.
pub fn create_private(path: &Path) -> Result<(), StoreError> {
    let made = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(path);
    made.map(drop).map_err(|e| file_error(path, e))
}

/// Makes new names in a folder durable.
///
/// # Errors
/// When the folder cannot be flushed.
pub fn sync_folder(path: &Path) -> std::io::Result<()> {
    File::open(path)?.sync_all()
}

pub(crate) fn file_error(path: &Path, source: std::io::Error) -> StoreError {
    StoreError::File { what: path.display().to_string(), source }
}

/// A key as it stands in its file.
fn hex_line(key: &[u8; 32]) -> String {
    format!("{}\n", data_encoding::HEXLOWER.encode(key))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_made_once_and_only_for_the_owner() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::open(dir.path()).unwrap();
        let (a, b) = (folder.keys().unwrap(), folder.keys().unwrap());
        assert_eq!((a.signing, a.secret), (b.signing, b.secret));
        assert_ne!(a.signing, a.secret);
        let path = dir.path().join("keys/signing.key");
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        assert_eq!(std::fs::read_dir(dir.path().join("keys")).unwrap().count(), 2);
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
        assert!(folder.keys().is_err());
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
        std::fs::write(&path, "not hex").unwrap();
        assert!(folder.keys().is_err());
    }

    #[test]
    fn one_process_serves_a_folder() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::open(dir.path()).unwrap();
        let held = folder.lock().unwrap();
        assert!(folder.lock().is_err());
        drop(held);
        assert!(folder.lock().is_ok());
    }

    #[test]
    fn a_failed_disk_is_remembered_until_the_machine_restarts() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::open(dir.path()).unwrap();
        assert!(folder.refuse_warm_cache().is_ok());
        folder.mark_stopped();
        assert!(matches!(folder.refuse_warm_cache(), Err(StoreError::Stopped)));
        std::fs::write(dir.path().join("stopped"), "another start").unwrap();
        assert!(folder.refuse_warm_cache().is_ok());
        assert!(folder.refuse_warm_cache().is_ok());
    }
}
