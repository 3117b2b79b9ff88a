//! The command line: one file a command, each with its `Args` and a `run`.
//!
//! Exit status: 0 done, 1 the input can't be used, 2 wrong usage 3 done, and not within limits.

mod alike;
mod average;
mod blend;
mod box_summary;
mod boxed;
mod capture;
mod chain;
mod check;
mod compare;
mod demo;
mod devices;
mod driver;
mod driver_summary;
mod failure;
mod impedance;
mod jig;
mod join;
mod level;
mod loudspeaker;
mod network;
mod new;
mod page;
mod paper;
mod placement;
mod ran;
mod report;
mod response;
mod responses;
mod signal;
mod simulate;
mod simulated;
mod sound;
mod status;
mod tell;
mod telling;
mod typed;

use clap::{Parser, Subcommand};
pub use failure::Failure;
pub use sound::{Announcement, Sounded, Sounding, Told, cautions};

use boxwright::job::{BlendOrder, ResponseOrder};
use ran::ran;
use std::process::ExitCode;
use telling::TellingArgs;

/// Tells builders of boxed loudspeakers what they built: measures, explains, keeps the record
#[derive(Debug, Parser)]
#[command(name = "boxwright", version, propagate_version = true, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Args),
    New(new::Args),
    Status(status::Args),
    Check(check::Args),
    Devices(devices::Args),
    Level(level::Args),
    Capture(capture::Args),
    Signal(signal::Args),
    Report(report::Args),
    Response(response::Args),
    Driver(driver::Args),
    Box(boxed::Args),
    Match(alike::Args),
    Average(average::Args),
    Impedance(impedance::Args),
    Simulate(simulate::Args),
    Network(network::Args),
    Compare(compare::Args),
    Join(join::Args),
    Blend(Box<blend::Args>),
    Page(page::Args),
    Completions(paper::CompletionsArgs),
    Man(paper::ManArgs),
}

/// Reads the command line, does what it says, and gives the exit status.
pub fn run() -> ExitCode {
    let done = match Cli::parse().command {
        Command::Devices(args) => devices::run(args),
        Command::Level(args) => level::run(args),
        Command::Capture(args) => capture::run(args),
        Command::Demo(args) => demo::run(args),
        Command::New(args) => new::run(args),
        Command::Status(args) => status::run(args),
        Command::Check(args) => check::run(args),
        Command::Signal(args) => signal::run(args),
        Command::Report(args) => report::run(args),
        Command::Response(args) => response::run(args),
        Command::Driver(args) => driver::run(args),
        Command::Box(args) => boxed::run(args),
        Command::Match(args) => alike::run(args),
        Command::Average(args) => average::run(args),
        Command::Impedance(args) => impedance::run(args),
        Command::Simulate(args) => simulate::run(args),
        Command::Network(args) => network::run(args),
        Command::Compare(args) => compare::run(args),
        Command::Join(args) => join::run(args),
        Command::Blend(args) => blend::run(*args),
        Command::Page(args) => page::run(args),
        Command::Completions(args) => paper::completions(args),
        Command::Man(args) => paper::man(args),
    };
    match done {
        Ok(status) => status,
        Err(failure) => failure.report(),
    }
}

/// The command in an argument list.
fn command(arguments: &[String]) -> Result<Command, Failure> {
    let whole = std::iter::once("boxwright").chain(arguments.iter().map(String::as_str));
    Ok(Cli::try_parse_from(whole)?.command)
}

/// What an argument list lets sound, ready to do it.
pub fn sounding(arguments: &[String]) -> Result<Box<dyn Sounding>, Failure> {
    match command(arguments)? {
        Command::Level(args) => Ok(Box::new(level::ready(&args)?)),
        Command::Capture(args) => Ok(Box::new(capture::ready(&args)?)),
        _ => Err(Failure::usage("this command makes no sound", "use level or capture")),
    }
}

/// The response that an argument list asks for.
pub fn response_order(arguments: &[String]) -> Result<ResponseOrder, Failure> {
    match command(arguments)? {
        Command::Response(args) => args.order(),
        _ => Err(Failure::usage("this command makes no response", "use response")),
    }
}

/// The blend that an argument list asks for.
pub fn blend_order(arguments: &[String]) -> Result<BlendOrder, Failure> {
    match command(arguments)? {
        Command::Blend(args) => Ok(args.order()),
        _ => Err(Failure::usage("this command makes no blend", "use blend")),
    }
}
