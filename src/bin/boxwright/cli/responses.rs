//! `boxwright response CAPTURE…`: a folder of captures at once, on all cores.
//!
//! One capture a core is in work and in memory; one that can't be used does not stop the rest.

use super::response::{Args, one_line};
use super::{Failure, tell};
use boxwright::job::{ResponseOrder, respond};
use boxwright::math::each;
use boxwright::report::{Entry, Layout, numbers_text};
use clap::CommandFactory;
use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::LazyLock;

/// What became of one capture.
enum Done {
    /// Its document where it is wanted, and what there is to say of it in a line.
    Response(Option<serde_json::Value>, String),
    Failed(Failure),
}

/// All captures that were named; a folder stands for the WAV files in it.
pub fn captures(named: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut all = Vec::new();
    for path in named {
        if path.is_dir() {
            all.extend(captures_in(path)?);
        } else {
            all.push(path.clone());
        }
    }
    Ok(all)
}

fn captures_in(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let unreadable =
        |error| Failure::input(format!("{}: {error}", folder.display()), "look at the folder's permissions");
    let is_wav = |path: &PathBuf| {
        path.is_file() && path.extension().and_then(OsStr::to_str).is_some_and(|end| end.eq_ignore_ascii_case("wav"))
    };
    let entries = std::fs::read_dir(folder).map_err(unreadable)?;
    let paths = entries.map(|entry| entry.map(|entry| entry.path())).collect::<Result<Vec<_>, _>>();
    let mut found: Vec<PathBuf> = paths.map_err(unreadable)?.into_iter().filter(is_wav).collect();
    found.sort();
    if found.is_empty() {
        return Err(Failure::input(
            format!("{}: no WAV file lies in it", folder.display()),
            "name a folder of captures",
        ));
    }
    Ok(found)
}

/// Makes all responses and says what became of each.
pub fn run(args: &Args, captures: &[PathBuf]) -> Result<ExitCode, Failure> {
    let bench = args.bench()?;
    let orders: Vec<ResponseOrder> =
        captures.iter().map(|wav| args.order_of(wav, captures.len(), bench.clone())).collect();
    no_result_twice(&orders)?;
    let mut all: Vec<Option<Done>> = captures.iter().map(|_| None).collect();
    let mut progress =
        Progress { of: captures.len(), done: 0, failed: 0, watched: tell::is_terminal() && args.telling.in_words() };
    each(
        &orders,
        |order| {
            let responded = match respond(order) {
                Ok(responded) => responded,
                Err(error) => return Done::Failed(Failure::input(&error, error.advice())),
            };
            // Of what nobody will read nothing is kept.
            match args.telling.as_json().then(|| serde_json::to_value(&responded.document)).transpose() {
                Ok(document) => Done::Response(document, one_line(&responded.document)),
                Err(error) => Done::Failed(Failure::input(error, "report this, it is a fault of the program")),
            }
        },
        |place, done| {
            progress.tell(&captures[place], &done);
            all[place] = Some(done);
        },
    );
    let failed = progress.failed;
    let (mut documents, mut lines) = (Vec::new(), Vec::new());
    for (done, capture) in all.into_iter().flatten().zip(captures) {
        let name = capture.display().to_string();
        match done {
            Done::Response(document, line) => {
                documents.extend(document);
                lines.push(Entry::text(&name, line));
            }
            Done::Failed(failure) => {
                let says = failure.parts().0;
                let says = says.strip_prefix(&name).map_or(says, |rest| rest.trim_start_matches(": "));
                lines.push(Entry::text(&name, format!("FAILED: {says}")));
            }
        }
    }
    args.telling.result(&documents, || {
        let counts = format!("{} of {} captures, {failed} failed; ± is 2u", captures.len() - failed, captures.len());
        format!("{}\n{counts}\n", numbers_text(&lines, Layout { width: 120, paint: tell::paint() }))
    })?;
    Ok(if failed == 0 { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// Two captures whose results would go into one folder would replace each other.
fn no_result_twice(orders: &[ResponseOrder]) -> Result<(), Failure> {
    let mut seen = BTreeMap::new();
    for order in orders {
        let folder = std::path::absolute(order.folder()).unwrap_or_else(|_| order.folder());
        if let Some(before) = seen.insert(folder, &order.wav) {
            let says =
                format!("{} and {}: their results would go into one folder", before.display(), order.wav.display());
            return Err(Failure::usage(
                says,
                "name each capture once, and captures of one name in two runs with different --out",
            ));
        }
    }
    Ok(())
}

/// How far it has got, for whoever watches; failures for all.
struct Progress {
    of: usize,
    done: usize,
    failed: usize,
    watched: bool,
}

impl Progress {
    fn tell(&mut self, capture: &Path, done: &Done) {
        self.done += 1;
        if let Done::Failed(failure) = done {
            self.failed += 1;
            if self.watched {
                tell::redraw("");
            }
            let (says, advice) = failure.parts();
            tell::error(says, advice);
        }
        if self.watched {
            let name = capture.file_name().map(OsStr::to_string_lossy).unwrap_or_default();
            let failed = if self.failed > 0 { format!(", {} failed", self.failed) } else { String::new() };
            tell::redraw(&format!("{} of {}{failed}: {name}", self.done, self.of));
            if self.done == self.of {
                tell::redraw("");
            }
        }
    }
}

/// The command's options that take a value; worked out once, since it takes a millisecond.
static WITH_VALUE: LazyLock<BTreeSet<String>> = LazyLock::new(|| {
    let whole = super::Cli::command();
    let response = whole.find_subcommand("response").into_iter().flat_map(clap::Command::get_arguments);
    let valued = response.filter(|argument| argument.get_action().takes_values());
    valued.filter_map(|argument| argument.get_long().map(str::to_owned)).collect()
});

/// The command that makes the response of `wav` alone, into `out` where it was told where to, of `words` in which several captures are named.
pub fn alone(words: &[String], named: &[PathBuf], wav: &Path, out: Option<&Path>) -> Vec<String> {
    let takes_value = |word: &str| word.strip_prefix("--").is_some_and(|name| WITH_VALUE.contains(name));
    let mut kept: Vec<String> = Vec::new();
    let mut placed = false;
    for word in words {
        let is_value = kept.last().is_some_and(|before| takes_value(before));
        if let Some(out) = out.filter(|_| kept.last().is_some_and(|before| before == "--out")) {
            kept.push(out.display().to_string());
            continue;
        }
        if let Some(out) = out.filter(|_| word.starts_with("--out=")) {
            kept.push(format!("--out={}", out.display()));
            continue;
        }
        if is_value || !named.iter().any(|path| path.as_os_str() == OsStr::new(word)) {
            kept.push(word.clone());
        } else if !placed {
            kept.push(wav.display().to_string());
            placed = true;
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_record_keeps_the_command_for_one_capture_alone() {
        let words = |text: &str| text.split(' ').map(str::to_owned).collect::<Vec<_>>();
        let named = ["a.wav", "b.wav", "c.wav"].map(PathBuf::from);
        for (all, one) in [
            ("response a.wav b.wav c.wav", "response b.wav"),
            ("response --gate 5 a.wav b.wav c.wav --no-pictures", "response --gate 5 b.wav --no-pictures"),
            // The value of an option stays, whatever it is called.
            ("response --excitation a.wav a.wav b.wav c.wav", "response --excitation a.wav b.wav"),
            ("response a.wav --no-pictures b.wav --mic=b.wav c.wav", "response b.wav --no-pictures --mic=b.wav"),
        ] {
            assert_eq!(alone(&words(all), &named, Path::new("b.wav"), None), words(one), "{all}");
        }
        // A folder is named by itself.
        let folder = [PathBuf::from("captures")];
        for (out, told) in [("--out new", "--out new/x"), ("--out=new", "--out=new/x")] {
            let all = words(&format!("response captures {out} --gate 5"));
            let found = alone(&all, &folder, Path::new("captures/x.wav"), Some(Path::new("new/x")));
            assert_eq!(found, words(&format!("response captures/x.wav {told} --gate 5")));
        }
    }
}
