//! What belongs to a program besides itself: completions for shells, and manual pages.

use super::{Cli, Failure, tell};
use boxwright::files;
use clap::CommandFactory;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Print completions for a shell
#[derive(Debug, clap::Args)]
pub struct CompletionsArgs {
    shell: clap_complete::Shell,
}

/// Write manual pages into a folder
#[derive(Debug, clap::Args)]
pub struct ManArgs {
    /// The folder; it is made if it is not there
    dir: PathBuf,
}

/// Prints completions.
pub fn completions(args: CompletionsArgs) -> Result<ExitCode, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "boxwright", &mut script);
    tell::result(&String::from_utf8_lossy(&script))?;
    Ok(ExitCode::SUCCESS)
}

/// Writes a page for the program and for each of its commands.
pub fn man(args: ManArgs) -> Result<ExitCode, Failure> {
    let mut program = Cli::command().disable_help_subcommand(true);
    program.build();
    let refused = |error: std::io::Error| {
        Failure::input(format!("{}: {error}", args.dir.display()), "name a folder that can be made and written to")
    };
    std::fs::create_dir_all(&args.dir).map_err(refused)?;
    page(&program, &args.dir)?;
    Ok(ExitCode::SUCCESS)
}

fn page(command: &clap::Command, folder: &Path) -> Result<(), Failure> {
    let name = command.get_display_name().unwrap_or(command.get_name()).to_owned();
    let mut text = Vec::new();
    clap_mangen::Man::new(command.clone()).title(name.to_uppercase()).render(&mut text)?;
    let path = folder.join(format!("{name}.1"));
    files::replace(&path, &text).map_err(|error| Failure::input(&error, error.advice()))?;
    command.get_subcommands().filter(|part| !part.is_hide_set()).try_for_each(|part| page(part, folder))
}
