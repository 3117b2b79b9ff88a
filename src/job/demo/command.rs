//! The commands with which a person gets the demo's results again, in its folder.

use super::DemoOrder;
use crate::job::Ran;
use std::path::{Path, PathBuf};

impl DemoOrder {
    /// The command of these words; it looks into these tables of the demo's job.
    pub(super) fn ran(&self, tables: &[&str], words: &[&str]) -> Ran {
        Ran {
            command: words.iter().map(|word| (*word).to_owned()).collect(),
            folder: std::path::absolute(&self.folder).or_else(|_| std::env::current_dir()).unwrap_or_default(),
            job: Some(PathBuf::from("job.toml")),
            tables: tables.iter().map(|table| (*table).to_owned()).collect(),
        }
    }

    /// A path as it is written in the demo's folder.
    pub(super) fn inside(&self, path: &Path) -> String {
        path.strip_prefix(&self.folder).unwrap_or(path).display().to_string()
    }
}
