//! What the servers of these tests keep everything in: SQLite in their folder or, when a variable says
//! so, a PostgreSQL database for each folder. Knows nothing of what is kept.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;

use backstraight_cluster::Cluster;
use backstraight_core::base::moment::Moment;
use backstraight_server::folder::Folder;
use backstraight_server::store::StoreError;
use backstraight_server::store::backup::{self, Restored, Take};
use backstraight_server::store::postgres::Database;

/// Whether it is PostgreSQL.
pub(crate) fn postgres() -> bool {
    std::env::var("BACKSTRAIGHT_TEST_OVER").is_ok_and(|over| over == "postgres")
}

/// A database for a folder, the same one each time: a server on that folder may be started again.
fn address(folder: &Path) -> String {
    static KNOWN: Mutex<BTreeMap<PathBuf, String>> = Mutex::new(BTreeMap::new());
    let mut known = KNOWN.lock().unwrap();
    known.entry(folder.to_owned()).or_insert_with(|| Cluster::shared().database()).clone()
}

/// Where a server on this folder keeps everything.
pub(crate) fn database(folder: &Path) -> Database {
    if postgres() { Database::at(address(folder).parse().unwrap()) } else { Database::default() }
}

/// Tells a command that works on this folder.
pub(crate) fn tell(command: &mut Command, folder: &Path) {
    if postgres() {
        command.env("BACKSTRAIGHT_DATABASE", address(folder));
    }
}

/// Restores a backup into an empty folder, and what belongs to it.
pub(crate) fn restore(file: &Path, folder: &Path, take: Take, now: Moment) -> Result<Restored, StoreError> {
    let to = Folder::open(folder)?;
    if postgres() {
        backup::restore_to(file, &to, &database(folder), take, now)
    } else {
        backup::restore(file, &to, take, now)
    }
}
