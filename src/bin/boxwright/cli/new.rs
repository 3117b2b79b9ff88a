//! `boxwright new DIR`: a job folder to begin with.

use super::{Failure, TellingArgs};
use boxwright::MADE_BY;
use boxwright::job::new_job;
use serde_json::json;
use std::path::PathBuf;
use std::process::ExitCode;

/// Start a job: a folder with a job.toml in which every key is explained
///
/// Nothing that exists is overwritten. The job is good as it stands; take the # from the keys that you know.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The folder
    dir: PathBuf,
    /// What you call the job [default: the folder's name]
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    #[command(flatten)]
    telling: TellingArgs,
}

/// Makes the job and says what comes next.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let folder_name = || {
        let whole = std::path::absolute(&args.dir).unwrap_or_else(|_| args.dir.clone());
        whole.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
    };
    let name = args.name.clone().unwrap_or_else(folder_name);
    let path = new_job(&args.dir, &name).map_err(|error| Failure::input(&error, error.advice()))?;
    let document = json!({
        "schema": "boxwright/new/1",
        "made_by": MADE_BY,
        "inputs": [],
        "settings": { "dir": args.dir.display().to_string(), "name": name },
        "findings": [],
        "files": [{ "path": path.display().to_string(), "what": "job" }],
    });
    args.telling.result(&document, || {
        format!(
            "{}: fill in what you know; then `boxwright status {}` says what comes next\n",
            path.display(),
            args.dir.display()
        )
    })?;
    Ok(ExitCode::SUCCESS)
}
