//! The job's folder: the only place to which a path of the page may lead.

use super::refusal::Refusal;
use std::path::{Component, Path, PathBuf};

/// A folder, by its real name.
pub struct JobFolder(PathBuf);

impl JobFolder {
    /// The folder that `path` leads to.
    pub fn new(path: &Path) -> std::io::Result<Self> {
        Ok(Self(path.canonicalize()?))
    }

    /// Its real name.
    pub fn path(&self) -> &Path {
        &self.0
    }

    /// Where a path really leads, if that is within the folder: links are followed, and of what does not exist yet the
    /// part that does.
    pub fn inside(&self, path: &Path) -> Result<PathBuf, Refusal> {
        let refuse = || {
            let says = format!("{}: leads out of the job's folder", path.display());
            Refusal::forbidden(says, "name a file of the job, or use the command in a terminal")
        };
        let real = real(&self.0.join(path)).ok_or_else(refuse)?;
        if real.starts_with(&self.0) { Ok(real) } else { Err(refuse()) }
    }
}

/// The real name of a path: of what exists by its links, of what does not as it is; `None` where that can't be told.
fn real(path: &Path) -> Option<PathBuf> {
    let mut missing = Vec::new();
    let mut there = path;
    loop {
        // Also a link to nothing is there.
        if there.symlink_metadata().is_ok() {
            let mut real = there.canonicalize().ok()?;
            real.extend(missing.iter().rev());
            return Some(real);
        }
        match there.components().next_back()? {
            Component::Normal(name) => missing.push(name),
            // What lies above something that does not exist, nobody knows.
            _ => return None,
        }
        there = there.parent()?;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_paths_into_the_folder_are_taken() {
        let outside = tempfile::tempdir().unwrap();
        let job = outside.path().join("job");
        std::fs::create_dir_all(job.join("captures")).unwrap();
        std::fs::write(outside.path().join("secret.csv"), "20 1\n").unwrap();
        std::fs::write(job.join("captures/a.wav"), "").unwrap();
        let folder = JobFolder::new(&job).unwrap();
        let real = job.canonicalize().unwrap();
        for (path, expected) in [
            ("captures/a.wav", "captures/a.wav"),
            ("./captures/../captures/a.wav", "captures/a.wav"),
            ("new/folder/b.csv", "new/folder/b.csv"),
            (".", ""),
            ("", ""),
        ] {
            assert_eq!(folder.inside(Path::new(path)).unwrap(), real.join(expected), "{path}");
        }
        assert!(folder.inside(&job.join("captures/a.wav")).is_ok());
        for path in
            ["..", "../secret.csv", "captures/../../secret.csv", "/etc/passwd", "new/../../secret.csv", "../job2"]
        {
            assert!(folder.inside(Path::new(path)).is_err(), "{path}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn links_count_for_where_they_lead() {
        let outside = tempfile::tempdir().unwrap();
        let job = outside.path().join("job");
        std::fs::create_dir_all(job.join("captures")).unwrap();
        let folder = JobFolder::new(&job).unwrap();
        let link = |to: &str, from: &str| std::os::unix::fs::symlink(to, job.join(from)).unwrap();
        link("captures", "within");
        link("..", "up");
        link("../not-there", "dangling");
        link("loop", "loop");
        assert!(folder.inside(Path::new("within/new.csv")).is_ok());
        for path in ["up", "up/new.csv", "dangling", "dangling/new.csv", "loop"] {
            assert!(folder.inside(Path::new(path)).is_err(), "{path}");
        }
    }
}
