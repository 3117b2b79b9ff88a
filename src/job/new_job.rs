//! A new job: a folder with a `job.toml` that explains itself.

use crate::files::{self, FileError};
use std::path::{Path, PathBuf};

/// All that a job can say, each key explained; keys behind a `#` don't count yet.
const TEMPLATE: &str = include_str!("new_job.toml");

/// Makes the folder, where it is not there, and its `job.toml`; says where that is.
///
/// # Errors
/// [`FileError::Exists`] where there is a job already; [`FileError::Io`]. Nothing that exists is touched.
pub fn new_job(folder: &Path, name: &str) -> Result<PathBuf, FileError> {
    std::fs::create_dir_all(folder).map_err(|source| FileError::Io {
        path: folder.to_owned(),
        doing: "make the folder",
        source,
    })?;
    let path = folder.join("job.toml");
    files::create_new(&path, TEMPLATE.replace("\"NAME\"", &quoted(name)).as_bytes())?;
    Ok(path)
}

/// A text as TOML has it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_new_job_is_a_good_one_as_it_stands_and_with_all_its_keys() {
        let folder = tempfile::tempdir().unwrap();
        let path = new_job(&folder.path().join("a/b"), "my \"pair\"\\").unwrap();
        assert_eq!(files::read_job(&path).unwrap().job.name.as_deref(), Some("my \"pair\"\\"));
        let all: Vec<&str> = TEMPLATE
            .lines()
            .map(|line| line.strip_prefix('#').filter(|rest| !rest.starts_with(' ')).unwrap_or(line))
            .collect();
        let job = files::job_from(&all.join("\n"), Path::new("job.toml")).unwrap();
        assert_eq!((job.driver.len(), job.unit.len(), job.limits.pair_db), (2, 2, Some(1.0)));
        assert!(job.bench.input_full_scale_v.is_some() && job.enclosure["rear"].opening_cm2.is_some());
    }

    #[test]
    fn a_job_that_is_there_is_not_touched() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("job.toml"), "mine").unwrap();
        assert!(matches!(new_job(folder.path(), "x"), Err(FileError::Exists { .. })));
        assert_eq!(std::fs::read_to_string(folder.path().join("job.toml")).unwrap(), "mine");
    }
}
