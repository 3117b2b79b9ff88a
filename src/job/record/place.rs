//! Places of files, as the record names them: relative to the job's folder where they lie in it, whole elsewhere.

use std::path::{Component, Path, PathBuf};

/// The path without `.` and with `..` taken back, by its letters.
pub(in crate::job) fn plain(path: &Path) -> PathBuf {
    let mut parts = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if parts.file_name().is_some() => drop(parts.pop()),
            part => parts.push(part),
        }
    }
    parts
}

/// A path as the record names it: `path` as seen from `from`, which is relative to the job's `folder` or absolute.
pub(super) fn inside(folder: &Path, from: &Path, path: &Path) -> PathBuf {
    let whole = |path: &Path| plain(&std::path::absolute(path).unwrap_or_else(|_| path.to_owned()));
    let (home, place) = (whole(folder), whole(&folder.join(from).join(path)));
    place.strip_prefix(&home).map_or_else(|_| place.clone(), Path::to_owned)
}

/// A path for people and documents; the folder itself is `.`.
pub(super) fn shown(path: &Path) -> String {
    if path.as_os_str().is_empty() { ".".into() } else { path.display().to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_in_the_job_are_relative_and_others_whole() {
        let place = |from: &str, path: &str| shown(&inside(Path::new("/home/a/job"), Path::new(from), Path::new(path)));
        assert_eq!(place("captures/x/../..", "captures/x.wav"), "captures/x.wav");
        assert_eq!(place("captures/x/../..", "./mic.txt"), "mic.txt");
        assert_eq!(place("", "../mic.txt"), "/home/a/mic.txt");
        assert_eq!(place("", "/home/a/job/mic.txt"), "mic.txt");
        assert_eq!(place("captures/..", ""), ".");
        assert_eq!(shown(&plain(Path::new("../../a/./b/../c"))), "../../a/c");
    }
}
