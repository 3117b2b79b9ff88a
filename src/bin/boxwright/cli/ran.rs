//! The command line as the record keeps it.

use boxwright::job::Ran;
use std::path::{Path, PathBuf};

/// For a command that does not look into a job.
pub const NO_TABLES: &[&str] = &[];
/// Options that say only how a result is told.
const TELLING: [&str; 3] = ["--json", "--quiet", "-q"];

/// The command that runs, in this folder; it looks into these `tables` of the job that was named, else of this folder's own.
pub fn ran(job: Option<&Path>, tables: &[impl AsRef<str>]) -> Ran {
    let words = std::env::args_os().skip(1).map(|word| word.to_string_lossy().into_owned());
    let own = || Path::new("job.toml").is_file().then(|| PathBuf::from("job.toml"));
    Ran {
        command: words.filter(|word| !TELLING.contains(&word.as_str())).collect(),
        folder: std::env::current_dir().unwrap_or_default(),
        job: job.map(boxwright::files::job_path).or_else(own),
        tables: tables.iter().map(|table| table.as_ref().to_owned()).collect(),
    }
}
