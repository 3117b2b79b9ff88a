//! Writing that never leaves half a file and never destroys one unasked.
//!
//! A result is written beside its place under a name of its own and then renamed, so that a reader sees the old file
//! or the new one, whenever the program is ended. A capture takes a name only if nobody has it: the disk decides that in one step.
//! A program that is killed while it writes leaves at most a hidden `.boxwright-…` that nobody reads.

use super::FileError;
use sha2::{Digest, Sha256};
use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

/// Puts `bytes` at `path` whole or not at all; what was there before is replaced.
///
/// # Errors
/// [`FileError::Io`]; then the old file is still there.
pub fn replace(path: &Path, bytes: &[u8]) -> Result<(), FileError> {
    let io = |source| FileError::Io { path: path.into(), doing: "write it", source };
    let folder = folder_of(path);
    let mut fresh = new_file().prefix(".boxwright-").tempfile_in(&folder).map_err(io)?;
    fresh.write_all(bytes).map_err(io)?;
    fresh.as_file().sync_all().map_err(io)?;
    fresh.persist(path).map_err(|error| io(error.error))?;
    sync_folder(&folder);
    Ok(())
}

/// Writes a file that did not exist: it gets its name once it is whole.
///
/// # Errors
/// [`FileError::Exists`], and nothing is touched; [`FileError::Io`], and no half file stays.
pub fn create_new(path: &Path, bytes: &[u8]) -> Result<(), FileError> {
    let io = |source| FileError::Io { path: path.into(), doing: "write it", source };
    if path.symlink_metadata().is_ok() {
        return Err(FileError::Exists { path: path.into() });
    }
    let mut fresh = new_file().prefix(".boxwright-").tempfile_in(folder_of(path)).map_err(io)?;
    fresh.write_all(bytes).map_err(io)?;
    fresh.as_file().sync_all().map_err(io)?;
    rename_new(fresh.path(), path)?;
    // Its own name is gone: there is nothing left to remove.
    let _ = fresh.into_temp_path().keep();
    Ok(())
}

/// Opens a file that did not exist, for writing.
pub(super) fn open_new(path: &Path) -> Result<File, FileError> {
    OpenOptions::new().write(true).create_new(true).open(path).map_err(|source| match source.kind() {
        ErrorKind::AlreadyExists => FileError::Exists { path: path.into() },
        _ => FileError::Io { path: path.into(), doing: "create it", source },
    })
}

/// Gives the finished file `from` the name `to`, unless somebody has it by now; the disk decides in one step.
///
/// # Errors
/// [`FileError::Exists`], [`FileError::Io`]; then `from` is still there.
pub fn rename_new(from: &Path, to: &Path) -> Result<(), FileError> {
    let io = |source| FileError::Io { path: to.into(), doing: "give the finished file this name", source };
    match rename_at_once(from, to) {
        Ok(()) => {
            sync_folder(&folder_of(to));
            return Ok(());
        }
        Err(error) if error.kind() == ErrorKind::AlreadyExists => return Err(FileError::Exists { path: to.into() }),
        // Not every disk can: then by a second name.
        Err(_) => {}
    }
    match std::fs::hard_link(from, to) {
        Ok(()) => std::fs::remove_file(from).map_err(io)?,
        Err(error) if error.kind() == ErrorKind::AlreadyExists => return Err(FileError::Exists { path: to.into() }),
        // No second names on this disk: take the name with an empty file, which is then ours to replace.
        Err(_) => rename_over_own(from, to)?,
    }
    sync_folder(&folder_of(to));
    Ok(())
}

/// One step, where the system has it: nobody sees the file under two names or under none.
#[cfg(target_os = "linux")]
fn rename_at_once(from: &Path, to: &Path) -> std::io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE)?)
}

#[cfg(not(target_os = "linux"))]
fn rename_at_once(_: &Path, _: &Path) -> std::io::Result<()> {
    Err(ErrorKind::Unsupported.into())
}

fn rename_over_own(from: &Path, to: &Path) -> Result<(), FileError> {
    drop(open_new(to)?);
    std::fs::rename(from, to).map_err(|source| {
        let _ = std::fs::remove_file(to);
        FileError::Io { path: to.into(), doing: "give the finished file this name", source }
    })
}

/// The SHA-256 of a file, in hexadecimal.
///
/// # Errors
/// [`FileError::Io`].
pub fn sha256_of(path: &Path) -> Result<String, FileError> {
    let io = |source| FileError::Io { path: path.into(), doing: "read it", source };
    let mut file = File::open(path).map_err(io)?;
    let mut hash = Sha256::new();
    let mut bytes = vec![0; 1 << 16];
    loop {
        match file.read(&mut bytes) {
            Ok(0) => return Ok(hex(&hash.finalize())),
            Ok(read) => hash.update(&bytes[..read]),
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return Err(io(error)),
        }
    }
}

/// The SHA-256 of some bytes, in hexadecimal.
pub fn sha256_of_bytes(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A path that nobody has: `STEM.EXT`, else `STEM-2.EXT`, `STEM-3.EXT` …; an unfinished `.part` counts as taken.
///
/// Only a proposal: whoever writes there must still use a function that refuses to overwrite.
pub fn fresh_name(folder: &Path, stem: &str, extension: &str) -> PathBuf {
    let taken = |path: &Path| path.symlink_metadata().is_ok() || part_of(path).symlink_metadata().is_ok();
    let mut path = folder.join(format!("{stem}.{extension}"));
    let mut number = 2u64;
    while taken(&path) {
        path = folder.join(format!("{stem}-{number}.{extension}"));
        number += 1;
    }
    path
}

/// The name of a file while it is written: `NAME.wav.part`.
pub fn part_of(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".part");
    name.into()
}

pub(super) fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.into(),
        _ => ".".into(),
    }
}

/// A temporary file that gets the rights of any new file, not those of a secret.
#[cfg(unix)]
fn new_file() -> tempfile::Builder<'static, 'static> {
    use std::os::unix::fs::PermissionsExt;
    let mut builder = tempfile::Builder::new();
    builder.permissions(std::fs::Permissions::from_mode(0o644));
    builder
}

#[cfg(not(unix))]
fn new_file() -> tempfile::Builder<'static, 'static> {
    tempfile::Builder::new()
}

/// Makes a rename survive a power cut. Where a folder can't be synced the file itself is safe all the same.
fn sync_folder(folder: &Path) {
    if let Ok(opened) = File::open(folder) {
        let _ = opened.sync_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_checksum_is_the_published_one() {
        // FIPS 180-4 example: the message "abc".
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("abc");
        create_new(&path, b"abc").unwrap();
        assert_eq!(sha256_of(&path).unwrap(), expected);
        assert_eq!(sha256_of_bytes(b"abc"), expected);
    }

    #[test]
    fn what_exists_is_replaced_only_when_asked() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        create_new(&path, b"first").unwrap();
        assert!(matches!(create_new(&path, b"second"), Err(FileError::Exists { .. })));
        assert_eq!(std::fs::read(&path).unwrap(), b"first");
        replace(&path, b"third").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"third");
        let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
        assert_eq!(left.len(), 1, "nothing temporary stays");
    }

    #[cfg(unix)]
    #[test]
    fn a_replaced_file_can_be_read_by_others_as_far_as_new_files_can() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let mode = |name: &str| folder.path().join(name).metadata().unwrap().permissions().mode() & 0o777;
        std::fs::write(folder.path().join("plain"), b"").unwrap();
        replace(&folder.path().join("ours"), b"").unwrap();
        assert_eq!(mode("ours"), mode("plain") & 0o644);
    }

    #[test]
    fn a_fresh_name_counts_up_past_files_and_unfinished_ones() {
        let folder = tempfile::tempdir().unwrap();
        let name = || fresh_name(folder.path(), "take", "wav").file_name().unwrap().to_str().unwrap().to_owned();
        assert_eq!(name(), "take.wav");
        create_new(&folder.path().join("take.wav"), b"").unwrap();
        assert_eq!(name(), "take-2.wav");
        create_new(&folder.path().join("take-2.wav.part"), b"").unwrap();
        assert_eq!(name(), "take-3.wav");
    }

    #[test]
    fn a_finished_file_does_not_take_a_name_that_was_taken_meanwhile() {
        let folder = tempfile::tempdir().unwrap();
        let (part, name) = (folder.path().join("a.part"), folder.path().join("a"));
        create_new(&part, b"ours").unwrap();
        create_new(&name, b"theirs").unwrap();
        for rename in [rename_new, rename_over_own] {
            assert!(matches!(rename(&part, &name), Err(FileError::Exists { .. })));
            assert_eq!(std::fs::read(&name).unwrap(), b"theirs");
            assert_eq!(std::fs::read(&part).unwrap(), b"ours");
        }
        for (rename, free) in [(rename_over_own as fn(&Path, &Path) -> _, "b"), (rename_new, "c")] {
            create_new(&part, b"again").unwrap_or_default();
            rename(&part, &folder.path().join(free)).unwrap();
            assert!(!part.exists() && folder.path().join(free).exists());
        }
    }
}
