//! `boxwright page [JOB]`: the job as a live page on this machine.

use super::{Failure, tell};
use crate::page::{self, Listening};
use boxwright::MADE_BY;
use serde_json::json;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::sync::Arc;
use tokio::sync::Notify;

/// Work with a job in the browser: measure, gate, compare, blend, and see which command does the same
///
/// Prints the page's address and answers until Ctrl-C; a capture under way then fades out and is kept. Only this machine is
/// answered, and only who knows the address: it holds a token that is another one each time. Nothing is read or written
/// outside of the job's folder.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The job's folder; any folder with captures will do
    #[arg(value_name = "JOB", default_value = ".")]
    job: PathBuf,
    /// Port of this machine [default: any that is free]
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    port: u16,
    /// Open the page in the system's browser
    #[arg(long)]
    open: bool,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    /// Print nothing but the address (or the JSON document) and errors
    #[arg(long, short)]
    quiet: bool,
}

/// Serves the page until Ctrl-C.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let listening = page::listen(&args.job, args.port)?;
    let ended = Arc::new(Notify::new());
    let asked = Arc::clone(&ended);
    ctrlc::set_handler(move || asked.notify_one()).map_err(|error| {
        Failure::input(format!("can't watch for Ctrl-C: {error}"), "start it from a plain terminal")
    })?;
    // As long as the program runs.
    let _way = if args.open { Some(open(&listening.address())?) } else { None };
    say(&args, &listening)?;
    listening.run(ended)?;
    Ok(ExitCode::SUCCESS)
}

fn say(args: &Args, listening: &Listening) -> Result<(), Failure> {
    let address = listening.address();
    if args.json {
        tell::json(&json!({
            "schema": "boxwright/page/1",
            "made_by": MADE_BY,
            "inputs": [],
            "settings": { "job": listening.folder().display().to_string() },
            "findings": [],
            "files": [],
            "address": address,
        }))?;
    } else {
        tell::result(&format!("{address}\n"))?;
    }
    if !args.json && !args.quiet {
        tell::hint("Open this address in a browser on this machine. Ctrl-C ends the page.");
    }
    Ok(())
}

/// Opens the address in the system's browser, by a file that leads there: what stands on a command line, others can read.
fn open(address: &str) -> Result<tempfile::NamedTempFile, Failure> {
    let failure = |error: std::io::Error| {
        Failure::input(
            format!("can't open a browser: {error}"),
            "leave out --open, and open the printed address yourself",
        )
    };
    let mut way = tempfile::Builder::new().prefix("boxwright-").suffix(".html").tempfile().map_err(failure)?;
    let page = format!(
        "<!doctype html><meta charset=\"utf-8\"><title>boxwright</title>\
         <meta http-equiv=\"refresh\" content=\"0; url={address}\"><a href=\"{address}\">Open the page</a>\n"
    );
    way.write_all(page.as_bytes()).and_then(|()| way.flush()).map_err(failure)?;
    let status = opener(way.path()).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn();
    status.map_err(failure)?;
    Ok(way)
}

#[cfg(target_os = "macos")]
fn opener(path: &Path) -> Command {
    let mut command = Command::new("open");
    command.arg(path);
    command
}

#[cfg(windows)]
fn opener(path: &Path) -> Command {
    let mut command = Command::new("cmd");
    command.args(["/C", "start", ""]).arg(path);
    command
}

#[cfg(not(any(target_os = "macos", windows)))]
fn opener(path: &Path) -> Command {
    let mut command = Command::new("xdg-open");
    command.arg(path);
    command
}
