//! What the machine says of this process and its disk. Where it says nothing, nothing is shown.

use std::path::Path;

/// Free and whole bytes of the disk of a folder, as far as this user may fill it.
pub(super) fn disk(folder: &Path) -> Option<(u64, u64)> {
    let about = rustix::fs::statvfs(folder).ok()?;
    Some((about.f_bavail.saturating_mul(about.f_frsize), about.f_blocks.saturating_mul(about.f_frsize)))
}

/// Bytes of memory that this process holds.
pub(super) fn memory() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/statm").ok()?;
    let pages: u64 = text.split(' ').nth(1)?.parse().ok()?;
    Some(pages.saturating_mul(u64::try_from(rustix::param::page_size()).ok()?))
}

/// Bytes of a file; 0 when it is not there.
pub(super) fn size(path: &Path) -> u64 {
    std::fs::metadata(path).map_or(0, |m| m.len())
}
