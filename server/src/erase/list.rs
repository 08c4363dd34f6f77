//! Who was erased, as a file beside a database or beside backups: an older backup that is restored
//! does not know of it. Holds identities, and for squads the changes with which their copy begins.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::folder::{file_error, sync_folder};
use crate::secret;
use crate::store::StoreError;

/// The file's name.
const NAME: &str = "erased.json";

/// Everybody and everything that was erased.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ErasedList {
    /// By identity of the person.
    pub people: BTreeMap<String, ErasedPerson>,
    /// By name of the document.
    pub documents: BTreeMap<String, ErasedDocument>,
}

/// An erased person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ErasedPerson {
    /// Identity of the club.
    pub club: String,
    /// When, ms.
    pub at: i64,
}

/// An erased document.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ErasedDocument {
    /// Because of whom.
    pub person: String,
    /// When, ms.
    pub at: i64,
    /// What goes on in its place.
    pub successor: Option<String>,
    /// The changes with which that begins, in base64.
    pub beginning: Option<String>,
}

impl ErasedList {
    /// Whether a file is called so.
    #[must_use]
    pub fn is_name(name: &OsStr) -> bool {
        name == NAME
    }

    /// Whether nobody was erased.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.people.is_empty() && self.documents.is_empty()
    }

    /// The list of a folder; an empty one when there is none.
    ///
    /// # Errors
    /// When it cannot be read: a restore must not go on without it.
    pub fn read(folder: &Path) -> Result<ErasedList, StoreError> {
        let path = folder.join(NAME);
        match std::fs::read(&path) {
            Ok(bytes) => serde_json::from_slice(&bytes)
                .map_err(|e| file_error(&path, std::io::Error::new(ErrorKind::InvalidData, e))),
            Err(e) if e.kind() == ErrorKind::NotFound => Ok(ErasedList::default()),
            Err(e) => Err(file_error(&path, e)),
        }
    }

    /// Writes it, so that it is there whole or as it was.
    ///
    /// # Errors
    /// When the file system refuses.
    pub fn write(&self, folder: &Path) -> Result<(), StoreError> {
        let path = folder.join(NAME);
        if self.is_empty() && !path.exists() {
            return Ok(());
        }
        let draft = folder.join(format!("{NAME}.{}", data_encoding::HEXLOWER.encode(&secret::random::<4>())));
        let write = || {
            let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&draft)?;
            file.write_all(&serde_json::to_vec_pretty(self).map_err(std::io::Error::from)?)?;
            File::sync_all(&file)?;
            std::fs::rename(&draft, &path)?;
            sync_folder(folder)
        };
        write().map_err(|e| {
            drop(std::fs::remove_file(&draft));
            file_error(&path, e)
        })
    }

    /// Adds what another list has.
    pub fn add(&mut self, other: ErasedList) {
        for (person, note) in other.people {
            self.people.entry(person).or_insert(note);
        }
        for (name, note) in other.documents {
            match self.documents.get(&name) {
                // A copy that was erased itself does not begin any more.
                Some(here) if here.beginning.is_none() || note.beginning.is_some() => {}
                _ => {
                    self.documents.insert(name, note);
                }
            }
        }
    }

    /// What goes on in the place of a document in the end, and with which changes it begins.
    #[must_use]
    pub fn goes_on_as(&self, name: &str) -> Option<(&str, &str)> {
        let mut at = self.documents.get(name)?;
        // Each step is another document; no more steps than there are.
        for _ in 0..=self.documents.len() {
            let next = at.successor.as_deref()?;
            match self.documents.get(next) {
                Some(erased) => at = erased,
                None => return at.beginning.as_deref().map(|b| (next, b)),
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(successor: Option<&str>, beginning: Option<&str>) -> ErasedDocument {
        let owned = |t: Option<&str>| t.map(str::to_owned);
        ErasedDocument { person: "p".into(), at: 1, successor: owned(successor), beginning: owned(beginning) }
    }

    #[test]
    fn a_list_is_read_back_and_only_its_owner_reads_it() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        assert!(ErasedList::read(dir.path()).unwrap().is_empty());
        ErasedList::default().write(dir.path()).unwrap();
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0, "nobody erased, no file");
        let mut list = ErasedList::default();
        list.people.insert("p".into(), ErasedPerson { club: "c".into(), at: 5 });
        list.documents.insert("a".into(), note(Some("b"), Some("AA==")));
        list.write(dir.path()).unwrap();
        assert_eq!(ErasedList::read(dir.path()).unwrap(), list);
        let mode = std::fs::metadata(dir.path().join(NAME)).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        std::fs::write(dir.path().join(NAME), "not JSON").unwrap();
        assert!(ErasedList::read(dir.path()).is_err(), "never taken for an empty one");
    }

    #[test]
    fn a_copy_that_was_copied_goes_on_as_the_last_one() {
        let mut list = ErasedList::default();
        list.documents.insert("a".into(), note(Some("b"), None));
        list.documents.insert("b".into(), note(Some("c"), Some("AA==")));
        assert_eq!(list.goes_on_as("a"), Some(("c", "AA==")));
        assert_eq!(list.goes_on_as("c"), None);
        let mut older = ErasedList::default();
        older.documents.insert("a".into(), note(Some("b"), Some("BB==")));
        older.add(list.clone());
        assert_eq!(older, list, "the beginning of what was erased itself is forgotten");
        list.documents.insert("c".into(), note(Some("a"), None));
        assert_eq!(list.goes_on_as("a"), None, "a circle has no end");
    }
}
