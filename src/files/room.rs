//! How much room a disk has.
//!
//! No equation: the system's own answer for whoever is no administrator. Where it has none, nothing is known, and nothing is refused.

use super::FileError;
use super::safe::folder_of;
use std::path::Path;

/// Left free beside what is asked for: descriptions, and what else happens on the disk meanwhile.
const SPARE_BYTES: u64 = 1 << 20;

/// Bytes that can still be written where `path` lies, or will lie.
pub fn free_bytes(path: &Path) -> Option<u64> {
    let mut folder = if path.is_dir() { path.to_owned() } else { folder_of(path) };
    while !folder.is_dir() {
        folder = folder_of(&folder);
        if folder.as_os_str() == "." {
            break;
        }
    }
    free_in(&folder)
}

#[cfg(unix)]
fn free_in(folder: &Path) -> Option<u64> {
    let disk = rustix::fs::statvfs(folder).ok()?;
    Some(disk.f_bavail.saturating_mul(disk.f_frsize))
}

#[cfg(not(unix))]
fn free_in(_: &Path) -> Option<u64> {
    None
}

/// Whether so many bytes have room where `path` will lie.
///
/// # Errors
/// [`FileError::NoRoom`] with both numbers.
pub fn has_room(path: &Path, needed_bytes: u64) -> Result<(), FileError> {
    let needed_bytes = needed_bytes + SPARE_BYTES;
    match free_bytes(path) {
        Some(free_bytes) if free_bytes < needed_bytes => {
            Err(FileError::NoRoom { path: path.into(), needed_bytes, free_bytes })
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_than_any_disk_holds_is_refused_with_both_numbers_and_nothing_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("not/there/yet.wav");
        has_room(&path, 0).unwrap();
        // 2⁶² bytes, 4 EiB.
        let refused = has_room(&path, 1 << 62);
        let is_known = free_bytes(&path).is_some();
        assert_eq!(matches!(refused, Err(FileError::NoRoom { free_bytes, .. }) if free_bytes > 0), is_known);
        assert_eq!(is_known, cfg!(unix));
    }
}
