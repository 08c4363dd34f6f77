//! Files that are there whole or not at all, also after a kill or a loss of power. Knows nothing of what is in them.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// Who may read a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Readers {
    /// Who owns it, and nobody else.
    Owner,
    /// Whoever may read files in its folder.
    Usual,
}

/// Writes a file: under another name, flushed, then put in place. What was there before stays until then.
pub(crate) fn put(file: &Path, bytes: &[u8], readers: Readers) -> io::Result<()> {
    let draft = beside(file, ".new");
    let write = || {
        let mut options = OpenOptions::new();
        options.write(true).create(true).truncate(true);
        if readers == Readers::Owner {
            only_owner(&mut options);
        }
        let mut out = options.open(&draft)?;
        out.write_all(bytes)?;
        out.sync_all()?;
        fs::rename(&draft, file)?;
        flush_folder(file)
    };
    write().inspect_err(|_| {
        // What is left of the draft is of no use.
        let _ = fs::remove_file(&draft);
    })
}

#[cfg(unix)]
fn only_owner(options: &mut OpenOptions) {
    std::os::unix::fs::OpenOptionsExt::mode(options, 0o600);
}

#[cfg(not(unix))]
const fn only_owner(_: &mut OpenOptions) {}

/// Makes durable which names the folder of a file has.
pub(crate) fn flush_folder(file: &Path) -> io::Result<()> {
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    // Elsewhere a folder is no file that could be flushed.
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

/// The name of a file with something behind it.
pub(crate) fn beside(file: &Path, end: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(end);
    PathBuf::from(name)
}
