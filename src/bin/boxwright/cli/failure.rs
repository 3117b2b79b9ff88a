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
