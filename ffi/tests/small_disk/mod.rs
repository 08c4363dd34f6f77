//! A disk of their own for tests that fill it.

use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A disk of 3 MB, where this process may make one.
pub(crate) struct SmallDisk(tempfile::TempDir);

impl SmallDisk {
    pub(crate) fn new() -> Option<SmallDisk> {
        let dir = tempfile::tempdir().unwrap();
        let mut mount = Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", "size=3m", "tmpfs"]).arg(dir.path());
        let made = mount.output().is_ok_and(|out| out.status.success());
        made.then(|| SmallDisk(dir))
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    /// Fills it to the last byte.
    pub(crate) fn fill(&self) -> PathBuf {
        let file = self.path().join("ballast");
        let mut out = File::create(&file).unwrap();
        while out.write_all(&[7; 4096]).is_ok() {}
        file
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        // Nothing else can be done about it.
        let _ = Command::new("umount").arg(self.path()).output();
    }
}
