//! Whether a result still holds: what it came from, compared with what is there now.

use super::found::{Found, FoundResult};
use super::place::{inside, shown};
use crate::files::{self, FromJob};
use serde_json::{Map, Value};
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};

/// How a result stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// Whether it holds.
    pub state: State,
    /// Why it does not.
    pub because: Vec<String>,
    /// What it came from that is gone and that no command makes.
    pub lost: Vec<PathBuf>,
    /// The results, by place in the record, that it came from.
    pub from: Vec<usize>,
}

/// Whether a result holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Everything that it came from is as it was.
    Current,
    /// Something is not.
    OutOfDate,
    /// Nothing says how it was made.
    Unknown,
}

impl State {
    /// Its name in documents.
    pub fn name(self) -> &'static str {
        match self {
            Self::Current => "current",
            Self::OutOfDate => "out-of-date",
            Self::Unknown => "unknown",
        }
    }
}

/// Checksums of files as they are now, each worked out once; none for a file that is not there.
struct Sums<'a> {
    folder: &'a Path,
    known: HashMap<PathBuf, Option<String>>,
}

impl Sums<'_> {
    fn of(&mut self, path: &Path) -> Option<String> {
        let whole = self.folder.join(path);
        self.known.entry(path.to_owned()).or_insert_with(|| files::sha256_of(&whole).ok()).clone()
    }
}

/// How every result stands, in the order of the record.
pub fn standings(folder: &Path, found: &Found) -> Vec<Standing> {
    let mut sums = Sums { folder, known: HashMap::new() };
    let made_by: BTreeMap<&Path, usize> = { found.results.iter().enumerate() }
        .flat_map(|(at, result)| result.files.iter().chain([&result.path]).map(move |path| (path.as_path(), at)))
        .collect();
    let mut all: Vec<Standing> =
        found.results.iter().enumerate().map(|(at, one)| standing(at, one, folder, &made_by, &mut sums)).collect();
    pass_on(found, &mut all);
    all
}

fn standing(
    at: usize,
    result: &FoundResult,
    folder: &Path,
    made_by: &BTreeMap<&Path, usize>,
    sums: &mut Sums<'_>,
) -> Standing {
    let mut standing = Standing { state: State::Unknown, because: Vec::new(), lost: Vec::new(), from: Vec::new() };
    let Some(run_in) = &result.run_in else {
        standing.because.push("nothing says by which command it was made".into());
        return standing;
    };
    let job = result.provenance.from_job.as_ref().map(|from| (from, inside(folder, run_in, Path::new(&from.path))));
    for (path, input) in &result.inputs {
        let maker = made_by.get(path.as_path()).copied().filter(|maker| *maker != at);
        standing.from.extend(maker.filter(|maker| !standing.from.contains(maker)));
        // What the command takes from the job is compared table by table.
        if job.as_ref().is_some_and(|(_, job)| job == path) {
            continue;
        }
        match sums.of(path) {
            None => {
                standing.because.push(format!("{} is not there", named(result, path)));
                standing.lost.extend(maker.is_none().then(|| path.clone()));
            }
            Some(now) if now != input.sha256 => standing.because.push(changed(result, path)),
            Some(_) => {}
        }
    }
    if let Some((from, path)) = &job {
        standing.because.extend(differences(from, &folder.join(path), path));
    }
    let missing = result.files.iter().filter(|path| !folder.join(path).is_file());
    standing.because.extend(missing.map(|path| format!("{} is not there any more", shown(path))));
    standing.state = if standing.because.is_empty() { State::Current } else { State::OutOfDate };
    standing
}

/// A file as a person knows it.
fn named(result: &FoundResult, path: &Path) -> String {
    let is_capture = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("wav"));
    let is_design = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("cir"));
    match () {
        () if result.mic.as_deref() == Some(path) => format!("the microphone's table {}", shown(path)),
        () if is_capture => format!("the recording {}", shown(path)),
        () if is_design => format!("the network {}", shown(path)),
        () => shown(path),
    }
}

fn changed(result: &FoundResult, path: &Path) -> String {
    let is_recording = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("wav"));
    let more = if is_recording { "; recordings don't change by themselves" } else { "" };
    format!("{} changed{more}", named(result, path))
}

/// In what the job's tables differ now from what they were, key by key.
fn differences(from: &FromJob, path: &Path, shown_as: &Path) -> Vec<String> {
    let names: Vec<String> = from.tables.keys().cloned().collect();
    let job = shown(shown_as);
    let Ok(tables) = files::job_tables(path, &names) else {
        return vec![format!("{job} can't be read")];
    };
    let (then, now) = (keys(&from.tables), keys(&tables));
    let gone = then.iter().filter_map(|(key, was)| match now.get(key) {
        None => Some(format!("{key} is no longer in {job}")),
        Some(is) if is != was => Some(format!("{key} in {job} was {was} and is {is}")),
        Some(_) => None,
    });
    let fresh = now.iter().filter(|(key, _)| !then.contains_key(*key));
    gone.chain(fresh.map(|(key, is)| format!("{key} = {is} is new in {job}"))).collect()
}

/// Values by dotted key.
fn keys(tables: &Map<String, Value>) -> BTreeMap<String, String> {
    fn collect(at: &str, value: &Value, keys: &mut BTreeMap<String, String>) {
        match value {
            Value::Object(table) => table.iter().for_each(|(key, value)| collect(&format!("{at}.{key}"), value, keys)),
            value => drop(keys.insert(at.to_owned(), value.to_string())),
        }
    }
    let mut all = BTreeMap::new();
    tables.iter().for_each(|(key, value)| collect(key, value, &mut all));
    all
}

/// What comes from a result that is out of date may be so too.
fn pass_on(found: &Found, all: &mut [Standing]) {
    let old = |standing: &Standing| standing.state == State::OutOfDate;
    // As many rounds as a chain can be long.
    for _ in 0..all.len() {
        let mut has_changed = false;
        for at in 0..all.len() {
            let above = all[at].from.iter().copied().find(|maker| old(&all[*maker]));
            let Some(maker) = above.filter(|_| all[at].state == State::Current) else { continue };
            all[at].state = State::OutOfDate;
            all[at].because = vec![format!("{} is out of date", shown(&found.results[maker].path))];
            has_changed = true;
        }
        if !has_changed {
            return;
        }
    }
}
