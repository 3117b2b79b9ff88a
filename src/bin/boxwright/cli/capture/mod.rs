//! `boxwright capture KIND`: plays sweeps, records what comes back, leaves both on the disk.

mod impedance;
mod response;
mod sweep;
mod take;

use super::{Failure, chain, sound, typed};
use boxwright::job::CaptureError;
use clap::Subcommand;
use std::process::ExitCode;
pub use take::Ready;

/// Play sweeps and record what comes back: a WAV with its description, and beside it what was played
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    kind: KindArgs,
}

#[derive(Debug, Subcommand)]
enum KindArgs {
    Response(Box<response::ResponseArgs>),
    Impedance(Box<impedance::ImpedanceArgs>),
}

/// Captures and says what was captured.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    sound::on_the_terminal(ready(&args)?)
}

/// The capture that was asked for, ready to be made.
pub fn ready(args: &Args) -> Result<Ready, Failure> {
    let when = now();
    match &args.kind {
        KindArgs::Response(args) => response::ready(args, when),
        KindArgs::Impedance(args) => impedance::ready(args, when),
    }
}

fn now() -> String {
    let now = jiff::Zoned::now();
    format!("{:.3}", now.timestamp().display_with_offset(now.offset()))
}

fn failure(error: CaptureError) -> Failure {
    match error {
        CaptureError::Signal(_) => Failure::usage(&error, error.advice()),
        CaptureError::Audio(error) => chain::audio_failure(error),
        _ => Failure::input(&error, error.advice()),
    }
}
