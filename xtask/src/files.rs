//! The files of the workspace as git sees them, so that nothing ignored is looked at.

use std::path::PathBuf;
use std::process::Command;

use crate::run::{read, root};

/// Paths from the workspace's folder, `/` between, of all files that are tracked or new.
pub(crate) fn all() -> Result<Vec<String>, String> {
    let mut git = Command::new("git");
    git.current_dir(root());
    git.args(["ls-files", "-z", "--cached", "--others", "--exclude-standard"]);
    let listed = read(git)?;
    let names = listed.split('\0').filter(|n| !n.is_empty());
    // A file that was removed but not yet committed is still listed.
    let mut names: Vec<String> = names.filter(|n| path(n).is_file()).map(str::to_owned).collect();
    names.sort_unstable();
    names.dedup();
    Ok(names)
}

/// The file of that name.
pub(crate) fn path(name: &str) -> PathBuf {
    root().join(name)
}

/// Its text.
pub(crate) fn text(name: &str) -> Result<String, String> {
    std::fs::read_to_string(path(name)).map_err(|e| format!("{name}: {e}"))
}
