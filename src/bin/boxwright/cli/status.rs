//! `boxwright status [JOB]`: where a job stands, and what brings it up to date.

use super::{Failure, TellingArgs, tell};
use boxwright::files::{CommandToRun, StatusDocument};
use boxwright::job::{Anew, Stage, name_unfinished, status};
use boxwright::report::{Entry, Layout, command_text, findings_text, numbers_text};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};

/// Say where a job stands: what is measured, what is out of date and why, what to do next
///
/// Every result knows the command that made it, the checksums of what it came from, and what it took from the job. Where one of these is no
/// longer so, it is out of date, and so is what rests on it. `--do` runs the commands that bring everything up to date, in order; what comes out as
/// it was needs no further command. A capture whose program was ended in the midst of it is told of with what it holds; `--do` gives it its
/// name, as one that broke off.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Job folder
    #[arg(default_value = ".")]
    job: PathBuf,
    /// Run the commands that bring everything up to date
    #[arg(long = "do")]
    is_done: bool,
    /// All results anew, not only those that are out of date
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    telling: TellingArgs,
}

/// Says where the job stands, after bringing it up to date if asked.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let anew = if args.all { Anew::All } else { Anew::OutOfDate };
    if args.is_done {
        name_what_broke_off(&args.job)?;
        bring_up_to_date(&args.job, anew)?;
    }
    let anew = if args.is_done { Anew::OutOfDate } else { anew };
    let document = standing(&args.job, anew)?;
    args.telling.result(&document, || summary(&document, &args.job))?;
    Ok(ExitCode::SUCCESS)
}

fn standing(job: &Path, anew: Anew) -> Result<StatusDocument, Failure> {
    status(job, anew).map_err(|error| Failure::input(&error, error.advice()))
}

/// Gives captures that broke off their names.
fn name_what_broke_off(job: &Path) -> Result<(), Failure> {
    let folder = standing(job, Anew::OutOfDate)?.folder;
    let named = name_unfinished(Path::new(&folder)).map_err(|error| Failure::input(&error, error.advice()))?;
    named.iter().for_each(|wav| tell::hint(&format!("{} has its name now", wav.display())));
    Ok(())
}

/// Runs one command after the other; before each it is asked anew what is out of date.
fn bring_up_to_date(job: &Path, anew: Anew) -> Result<(), Failure> {
    let is_same = |a: &CommandToRun, b: &CommandToRun| a.command == b.command && a.run_in == b.run_in;
    let mut done: Vec<CommandToRun> = Vec::new();
    loop {
        let document = standing(job, anew)?;
        let open = document.todo.iter().find(|one| !done.iter().any(|other| is_same(one, other)));
        let Some(command) = open.cloned() else {
            let stays = document.todo.first().filter(|_| anew == Anew::OutOfDate);
            return stays.map_or(Ok(()), |one| {
                Err(Failure::input(
                    format!("still out of date after its command: {}", one.says),
                    "look at the file it names; the command that made it may write somewhere else",
                ))
            });
        };
        tell::hint(&format!("{}\n  because {}", command_text(&command.command), command.says));
        run_one(&Path::new(&document.folder).join(&command.run_in), &command)?;
        done.push(command);
    }
}

/// Done, and done but not within limits.
const DONE: [i32; 2] = [0, 3];

fn run_one(folder: &Path, command: &CommandToRun) -> Result<(), Failure> {
    let refused = |error: std::io::Error| {
        Failure::input(format!("can't run {}: {error}", command_text(&command.command)), "run it by hand")
    };
    let program = std::env::current_exe().map_err(refused)?;
    let mut started = Command::new(program);
    started.args(&command.command).arg("--quiet").current_dir(folder).stdin(Stdio::null()).stdout(Stdio::null());
    let ended = started.stderr(Stdio::piped()).output().map_err(refused)?;
    let said = String::from_utf8_lossy(&ended.stderr);
    match ended.status.code() {
        Some(code) if DONE.contains(&code) => {
            said.lines().for_each(tell::hint);
            Ok(())
        }
        _ => {
            let after = |lead: &str| said.lines().rev().find_map(|line| line.trim_start().strip_prefix(lead));
            let why = after("error: ").map_or_else(|| ended.status.to_string(), str::to_owned);
            Err(Failure::input(
                format!("{} was not done: {why}", command_text(&command.command)),
                after("try: ").unwrap_or("run it by hand, then `boxwright status --do` once more"),
            ))
        }
    }
}

fn summary(document: &StatusDocument, job: &Path) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let mut text = format!("{}\n\n{}", document.name, numbers_text(&stages(document), layout));
    let count = |state: &str| document.results.iter().filter(|one| one.state == state).count();
    let [current, old, unknown] = ["current", "out-of-date", "unknown"].map(count);
    let mut counts = vec![format!("{current} current"), format!("{old} out of date")];
    counts.extend((unknown > 0).then(|| format!("{unknown} without a record")));
    let (captures, results) = (document.captures.len(), document.results.len());
    text.push_str(&format!(
        "\n{} and {}: {}\n",
        counted(captures, "capture"),
        counted(results, "result"),
        counts.join(", ")
    ));
    let faulty: Vec<&str> =
        document.results.iter().filter(|one| one.findings.fault > 0).map(|one| one.path.as_str()).collect();
    if !faulty.is_empty() {
        text.push_str(&format!("not to be trusted before you read its findings: {}\n", faulty.join(", ")));
    }
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str(&commands("to be done again", &document.todo));
    if !document.todo.is_empty() {
        let folder = if job == Path::new(".") { String::new() } else { format!(" {}", job.display()) };
        text.push_str(&format!("  `boxwright status{folder} --do` does all that\n"));
    }
    text.push_str(&commands("next", &document.next));
    text
}

fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

fn commands(heading: &str, commands: &[CommandToRun]) -> String {
    let one = |one: &CommandToRun| {
        let folder = if one.run_in == "." { String::new() } else { format!("  (in {})", one.run_in) };
        format!("  {}\n    {}{folder}\n", one.says, command_text(&one.command))
    };
    let all: String = commands.iter().map(one).collect();
    if all.is_empty() { all } else { format!("\n{heading}\n{all}") }
}

/// What was captured of which loudspeaker, by stages.
fn stages(document: &StatusDocument) -> Vec<Entry> {
    let mut entries = Vec::new();
    let of = |stage: Option<Stage>| {
        let at = move |text: &Option<String>| text.as_deref().and_then(Stage::named) == stage;
        let mut units: BTreeMap<String, BTreeMap<&str, usize>> = BTreeMap::new();
        for capture in document.captures.iter().filter(|one| at(&one.stage)) {
            let unit = capture.unit.clone().unwrap_or_else(|| "no name".into());
            *units.entry(unit).or_default().entry(capture.kind.as_str()).or_default() += 1;
        }
        let kinds = |kinds: &BTreeMap<&str, usize>| {
            let one = |(kind, count): (&&str, &usize)| {
                if *count == 1 { (*kind).to_owned() } else { format!("{count} x {kind}") }
            };
            kinds.iter().map(one).collect::<Vec<_>>().join(", ")
        };
        units.iter().map(|(unit, found)| format!("{unit} ({})", kinds(found))).collect::<Vec<_>>().join(", ")
    };
    for stage in Stage::ALL.map(Some).into_iter().chain([None]) {
        let words = of(stage);
        let name = stage.map_or("elsewhere", Stage::name);
        match (words.is_empty(), stage) {
            (true, None) => {}
            (true, Some(_)) => entries.push(Entry::text(name, "nothing yet")),
            (false, _) => entries.push(Entry::text(name, words)),
        }
    }
    entries
}
