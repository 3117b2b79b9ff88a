//! The command behind a result, as the program knows it while it runs.

use super::place::plain;
use crate::files::{FileError, FromJob, Provenance, job_tables};
use std::path::{Path, PathBuf};

/// The command that asked for a result; empty where no command did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ran {
    /// Word by word, without the program's name.
    pub command: Vec<String>,
    /// The folder in which it runs, absolute.
    pub folder: PathBuf,
    /// The job that supplies what was not said.
    pub job: Option<PathBuf>,
    /// The tables of it into which the command looks, by dotted name.
    pub tables: Vec<String>,
}

impl Ran {
    /// What the document in `folder` says of it.
    ///
    /// # Errors
    /// [`FileError`] where the job can't be read.
    pub(in crate::job) fn told(&self, folder: &Path) -> Result<Provenance, FileError> {
        if self.command.is_empty() {
            return Ok(Provenance::default());
        }
        let from_job = match self.job.as_deref().filter(|_| !self.tables.is_empty()) {
            Some(path) => {
                let tables = job_tables(&self.folder.join(path), &self.tables)?;
                (!tables.is_empty()).then(|| FromJob { path: path.display().to_string(), tables })
            }
            None => None,
        };
        let run_in = Some(way(&self.folder.join(folder), &self.folder).display().to_string());
        Ok(Provenance { command: self.command.clone(), run_in, from_job })
    }
}

/// The way from one folder to another: up, then down; the whole path where they have nothing but the root in common.
pub(in crate::job) fn way(from: &Path, to: &Path) -> PathBuf {
    let (from, to) = (parts(from), parts(to));
    let shared = from.iter().zip(&to).take_while(|(a, b)| a == b).count();
    if shared <= 1 {
        return to.iter().collect();
    }
    let up = std::iter::repeat_n("..", from.len() - shared).map(PathBuf::from);
    let way: PathBuf = up.chain(to[shared..].iter().map(PathBuf::from)).collect();
    if way.as_os_str().is_empty() { PathBuf::from(".") } else { way }
}

/// The parts of an absolute path without `.` and `..`.
fn parts(path: &Path) -> Vec<std::ffi::OsString> {
    let whole = plain(&std::path::absolute(path).unwrap_or_else(|_| path.to_owned()));
    whole.components().map(|part| part.as_os_str().to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_back_goes_up_and_then_down() {
        let between = |from: &str, to: &str| way(Path::new(from), Path::new(to)).display().to_string();
        assert_eq!(between("/home/a/job/captures/x", "/home/a/job"), "../..");
        assert_eq!(between("/home/a/job", "/home/a/job"), ".");
        assert_eq!(between("/home/a/./out/../job/x", "/home/a/job"), "..");
        assert_eq!(between("/home/a/results", "/home/a/job"), "../job");
        // Nothing but the root: moving both together is unlikely.
        assert_eq!(between("/tmp/out", "/home/a/job"), "/home/a/job");
    }

    #[test]
    fn a_result_that_no_command_made_says_nothing() {
        assert_eq!(Ran::default().told(Path::new("x")).unwrap(), Provenance::default());
    }
}
