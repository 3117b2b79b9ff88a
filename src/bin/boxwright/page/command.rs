//! An argument list as the page sends it: whether that command may be run from here, and where its paths lead.
//!
//! It is read by the program's own rules, so that nothing is a path for the one and something else for the other. A value is a
//! path if its option says so (`PathBuf`), or if it is a network's load.

use super::folder::JobFolder;
use super::refusal::Refusal;
use crate::cli::{Cli, Failure};
use axum::http::StatusCode;
use boxwright::job::LoadIs;
use clap::{ArgMatches, Command, CommandFactory};
use std::any::TypeId;
use std::path::{Path, PathBuf};

/// What may be asked for in which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Makes no sound.
    Silent,
    /// Plays and records.
    Sounding,
}

impl Way {
    fn commands(self) -> &'static [&'static str] {
        match self {
            Self::Silent => &[
                "average",
                "blend",
                "box",
                "check",
                "compare",
                "driver",
                "impedance",
                "join",
                "match",
                "network",
                "report",
                "response",
                "simulate",
                "status",
            ],
            Self::Sounding => &["capture", "level"],
        }
    }
}

/// An argument list holds no more than this: seats and units times curves.
const MOST_ARGUMENTS: usize = 500;

/// The argument list with `--json`, if it may be run and all its paths lead from the job's folder into it.
pub fn admitted(arguments: &[String], way: Way, folder: &JobFolder) -> Result<Vec<String>, Refusal> {
    admitted_in(Path::new(""), arguments, way, folder)
}

/// The same of one that is run in `run_in`, which lies in the job's folder.
pub fn admitted_in(run_in: &Path, arguments: &[String], way: Way, folder: &JobFolder) -> Result<Vec<String>, Refusal> {
    let name = arguments.first().map_or("", String::as_str);
    if !way.commands().contains(&name) {
        return Err(not_from_here(name, way));
    }
    if arguments.len() > MOST_ARGUMENTS {
        return Err(Refusal::cannot(format!("{} arguments", arguments.len()), "name fewer files at once"));
    }
    let command = Cli::command();
    let whole = std::iter::once("boxwright").chain(arguments.iter().map(String::as_str));
    let matches = command.clone().try_get_matches_from(whole).map_err(Failure::from)?;
    let mut admitted = arguments.to_vec();
    let (mut command, mut matches, mut depth) = (&command, &matches, 0);
    loop {
        check_paths(command, matches, &|path| folder.inside(&run_in.join(path)).map(|_| ()))?;
        let Some((name, below)) = matches.subcommand() else { break };
        let Some(found) = command.find_subcommand(name) else { break };
        (command, matches, depth) = (found, below, depth + 1);
    }
    let has_json = command.get_arguments().any(|arg| arg.get_id() == "json");
    if has_json && !matches.get_flag("json") {
        // Right behind the command's own name, where nothing can make a value of it.
        admitted.insert(depth, "--json".into());
    }
    Ok(admitted)
}

fn not_from_here(name: &str, way: Way) -> Refusal {
    let is_known = Cli::command().find_subcommand(name).is_some();
    let (status, says) = match is_known {
        true => (StatusCode::FORBIDDEN, format!("`boxwright {name}` is not run in this way from the page")),
        false => (StatusCode::UNPROCESSABLE_ENTITY, format!("{name:?} is no command")),
    };
    Refusal::new(status, says, format!("use one of {}", way.commands().join(", ")))
}

/// Every value of a command that is a path passes.
fn check_paths(
    command: &Command,
    matches: &ArgMatches,
    pass: &dyn Fn(&Path) -> Result<(), Refusal>,
) -> Result<(), Refusal> {
    for arg in command.get_arguments() {
        let id = arg.get_id().as_str();
        if is_path(arg) {
            let paths = matches.try_get_many::<PathBuf>(id).map_err(Refusal::own)?;
            paths.into_iter().flatten().try_for_each(|path| pass(path))?;
        } else if let Ok(Some(loads)) = matches.try_get_many::<(String, LoadIs)>(id) {
            for (_, load) in loads {
                if let LoadIs::Curve(path) = load {
                    pass(path)?;
                }
            }
        }
    }
    Ok(())
}

fn is_path(arg: &clap::Arg) -> bool {
    arg.get_value_parser().type_id() == TypeId::of::<PathBuf>()
}

/// A path that a request names by itself.
pub fn path_of(text: &str, folder: &JobFolder) -> Result<PathBuf, Refusal> {
    folder.inside(Path::new(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder() -> (tempfile::TempDir, JobFolder) {
        let folder = tempfile::tempdir().unwrap();
        let job = JobFolder::new(folder.path()).unwrap();
        (folder, job)
    }

    fn admit(words: &str, way: Way, job: &JobFolder) -> Result<String, u16> {
        let arguments: Vec<String> = words.split_whitespace().map(String::from).collect();
        admitted(&arguments, way, job).map(|all| all.join(" ")).map_err(|refusal| refusal.status.as_u16())
    }

    #[test]
    fn each_command_is_run_in_its_own_way_only() {
        let (_kept, job) = folder();
        for (words, way, expected) in [
            ("response x.wav --gate 5", Way::Silent, Ok("response --json x.wav --gate 5")),
            ("response --json x.wav", Way::Silent, Ok("response --json x.wav")),
            ("capture response --unit a", Way::Sounding, Ok("capture response --json --unit a")),
            ("level", Way::Sounding, Ok("level --json")),
            ("response -- -x.wav", Way::Silent, Ok("response --json -- -x.wav")),
            ("level", Way::Silent, Err(403)),
            ("response x.wav", Way::Sounding, Err(403)),
            ("demo", Way::Silent, Err(403)),
            ("man .", Way::Silent, Err(403)),
            ("page", Way::Silent, Err(403)),
            ("signal sweep", Way::Sounding, Err(403)),
            ("rm -rf x", Way::Silent, Err(422)),
            ("response --help", Way::Silent, Err(422)),
            ("response x.wav --nonsense", Way::Silent, Err(422)),
            ("", Way::Silent, Err(422)),
        ] {
            assert_eq!(admit(words, way, &job), expected.map(String::from), "{words}");
        }
    }

    #[test]
    fn no_option_leads_out_of_the_folder() {
        let (_kept, job) = folder();
        for words in [
            "response ../x.wav",
            "response x.wav --out /tmp",
            "response x.wav --mic ../../mic.txt",
            "response x.wav --job /",
            "impedance x.wav --short /etc/passwd",
            "network n.txt --load a=/etc/passwd",
            "network n.txt --load a=8 b=../z.csv",
            "blend --sat a.csv ../b.csv --sub c.csv d.csv",
            "match a.csv /b.csv",
            "compare a.csv b.csv --explain ..",
            "simulate ..",
        ] {
            assert_eq!(admit(words, Way::Silent, &job), Err(403), "{words}");
        }
        assert_eq!(admit("capture response --out ../x.wav", Way::Sounding, &job), Err(403));
        assert_eq!(admit("level --job ..", Way::Sounding, &job), Err(403));
        assert!(admit("network n.txt --load a=8 b=z.csv", Way::Silent, &job).is_ok());
        let from = |run_in: &str| {
            let arguments = ["response", "../x.wav"].map(String::from);
            admitted_in(Path::new(run_in), &arguments, Way::Silent, &job).map_err(|refusal| refusal.status.as_u16())
        };
        std::fs::create_dir(job.path().join("captures")).unwrap();
        assert!(from("captures").is_ok() && from(".") == Err(403) && from("..") == Err(403));
    }

    /// A new option that takes a file must say so, or it would lead anywhere.
    #[test]
    fn what_is_named_like_a_file_is_declared_as_one() {
        fn look(command: &Command, seen: &mut usize) {
            for arg in command.get_arguments() {
                let names: Vec<&str> = arg.get_value_names().into_iter().flatten().map(|name| name.as_str()).collect();
                let files =
                    ["FILE", "DIR", "PATH", "CURVE", "CURVE…", "CURVES", "WAV", "JSON", "JOB", "CAPTURE", "NETLIST"];
                if names.iter().any(|name| files.contains(name)) && arg.get_action().takes_values() {
                    assert!(is_path(arg), "{} {}", command.get_name(), arg.get_id());
                    *seen += 1;
                }
            }
            command.get_subcommands().for_each(|below| look(below, seen));
        }
        let mut seen = 0;
        look(&Cli::command(), &mut seen);
        assert!(seen > 30, "{seen}");
    }
}
