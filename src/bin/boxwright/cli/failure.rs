//! How a command ends when it can't do what was asked.

use super::tell;
use std::fmt::Display;
use std::process::ExitCode;

/// Why a command ends early.
#[derive(Debug)]
pub enum Failure {
    /// The input can't be used: exit status 1.
    Input { says: String, advice: String },
    /// The command line asks for something that can't be: exit status 2.
    Usage { says: String, advice: String },
    /// Whoever read the output went away: nothing is wrong.
    Closed,
}

impl Failure {
    /// The input can't be used.
    pub fn input(error: impl Display, advice: &str) -> Self {
        Self::Input { says: error.to_string(), advice: advice.into() }
    }

    /// The command line asks for something that can't be.
    pub fn usage(error: impl Display, advice: &str) -> Self {
        Self::Usage { says: error.to_string(), advice: advice.into() }
    }

    /// What was wrong, and what to do.
    pub fn parts(&self) -> (&str, &str) {
        match self {
            Self::Input { says, advice } | Self::Usage { says, advice } => (says, advice),
            Self::Closed => ("whoever read the result went away", "try again"),
        }
    }

    /// Tells the person, and gives the exit status.
    pub fn report(&self) -> ExitCode {
        let (says, advice, status) = match self {
            Self::Input { says, advice } => (says, advice, 1),
            Self::Usage { says, advice } => (says, advice, 2),
            Self::Closed => return ExitCode::SUCCESS,
        };
        tell::error(says, advice);
        ExitCode::from(status)
    }
}

impl From<std::io::Error> for Failure {
    /// From writing to standard output.
    fn from(error: std::io::Error) -> Self {
        match error.kind() {
            std::io::ErrorKind::BrokenPipe => Self::Closed,
            _ => Self::input(format!("can't write to standard output: {error}"), "check where the output goes"),
        }
    }
}

impl From<clap::Error> for Failure {
    /// From an argument list that the program can't read: what it says of it, without how it is used.
    fn from(error: clap::Error) -> Self {
        if !error.use_stderr() {
            return Self::usage("help and version are shown in a terminal", "leave that option out");
        }
        let text = error.render().to_string();
        let mut parts = text.split("\n\n").map(str::trim);
        let says = parts.next().unwrap_or_default().trim_start_matches("error: ").to_owned();
        let tip = parts.find_map(|part| part.strip_prefix("tip: "));
        Self::usage(says, tip.unwrap_or("look at the command's --help"))
    }
}
