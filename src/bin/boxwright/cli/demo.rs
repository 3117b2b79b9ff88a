//! `boxwright demo [DIR]`: the main job on the simulated bench.

use super::{Failure, tell};
use boxwright::MADE_BY;
use boxwright::job::{Demo, DemoError, DemoOrder, demo};
use serde_json::json;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Measure a simulated loudspeaker from signal to report; needs no sound card
///
/// The folder then holds a job, its captures with their truth, every result as JSON, pictures, and report.html.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The folder to make
    #[arg(default_value = "boxwright-demo")]
    dir: PathBuf,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    /// Print nothing but errors (and the JSON document)
    #[arg(long, short)]
    quiet: bool,
}

/// Makes the demo and says where it is.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    enter(&args.dir)?;
    let order = DemoOrder { folder: PathBuf::new(), when: jiff::Zoned::now().strftime("%FT%T%:z").to_string() };
    let step = |says: &str| {
        if !args.quiet {
            tell::hint(&format!("{says} …"));
        }
    };
    let made = demo(&order, &mut { step }).map_err(|error| Failure::input(&error, error.advice()))?;
    if args.json {
        tell::json(&document(&args, &made))?;
    } else if !args.quiet {
        tell::result(&format!("{}: open it in a browser\n", args.dir.join(&made.report).display()))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Makes the folder and goes there, so that what the demo writes down are paths as a person in that folder types them.
fn enter(folder: &Path) -> Result<(), Failure> {
    let refused = |error: std::io::Error| {
        Failure::input(format!("{}: {error}", folder.display()), "name a folder that can be made and written to")
    };
    std::fs::create_dir_all(folder).map_err(refused)?;
    if std::fs::read_dir(folder).map_err(refused)?.next().is_some() {
        let error = DemoError::NotEmpty { folder: folder.to_owned() };
        return Err(Failure::input(&error, error.advice()));
    }
    std::env::set_current_dir(folder).map_err(refused)
}

fn document(args: &Args, made: &Demo) -> serde_json::Value {
    let files: Vec<_> = made
        .files
        .iter()
        .map(|(path, what)| json!({ "path": args.dir.join(path).display().to_string(), "what": what }))
        .collect();
    json!({
        "schema": "boxwright/demo/1",
        "made_by": MADE_BY,
        "inputs": [],
        "settings": { "dir": args.dir.display().to_string() },
        "findings": [],
        "files": files,
    })
}
