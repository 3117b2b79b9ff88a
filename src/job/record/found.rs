//! What lies in a job's folder: captures with their descriptions, and result documents.
//!
//! Hidden folders and symbolic links are left alone. A file that looks like one of ours and can't be read is told of, and does
//! not keep the rest from being read.

use super::place::inside;
use super::unfinished::{Unfinished, unfinished};
use crate::files::{self, CaptureDescription, FileError, InputFile, Provenance, WrittenFile};
use crate::job::known_excitation::is_of_capture;
use crate::quantity::{Code, Finding, Severity};
use serde::Deserialize;
use std::path::{Path, PathBuf};

/// A capture.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundCapture {
    /// The recording, relative to the job's folder.
    pub wav: PathBuf,
    /// What lies beside it.
    pub description: CaptureDescription,
}

/// A result document, as far as all kinds have it.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundResult {
    /// The document, relative to the job's folder.
    pub path: PathBuf,
    /// Which kind: `response`, `driver` …
    pub kind: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    pub provenance: Provenance,
    /// Where it was made, relative to the job's folder where it lies in it; absent where nothing says so.
    pub run_in: Option<PathBuf>,
    /// What it came from: paths relative to the job's folder where they lie in it.
    pub inputs: Vec<(PathBuf, InputFile)>,
    /// What was written with it, likewise.
    pub files: Vec<PathBuf>,
    /// The microphone's table among the inputs.
    pub mic: Option<PathBuf>,
    /// The severities of its findings.
    pub severities: Vec<Severity>,
}

/// All that was found.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// By when they were made, then by path.
    pub captures: Vec<FoundCapture>,
    /// Recordings that have not their names, by path.
    pub unfinished: Vec<Unfinished>,
    /// By path.
    pub results: Vec<FoundResult>,
    /// What can't be read.
    pub findings: Vec<Finding>,
}

/// So deep are folders looked into.
const DEEPEST: usize = 8;
/// A job has no more files than this.
const MOST_FILES: usize = 50_000;

/// Looks through the folder of a job.
///
/// # Errors
/// [`FileError::Io`] where the folder itself can't be looked into.
pub fn find(folder: &Path) -> Result<Found, FileError> {
    let mut found = Found::default();
    for path in files_below(folder)? {
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
        let looked = match ending {
            "toml" => capture(folder, &path).map(|one| found.captures.extend(one)),
            "part" => {
                found.unfinished.extend(unfinished(folder, &path));
                Ok(())
            }
            "json" => result(folder, &path).map(|one| found.results.extend(one)),
            _ => Ok(()),
        };
        if let Err(error) = looked {
            let finding = Finding::new(Code::Unreadable, Severity::Caution, error.to_string(), error.advice());
            found.findings.push(finding);
        }
    }
    found.captures.sort_by(|a, b| (moment(a), &a.wav).cmp(&(moment(b), &b.wav)));
    Ok(found)
}

/// When a capture began, for its place among the others.
fn moment(capture: &FoundCapture) -> Option<jiff::Timestamp> {
    capture.description.when.parse().ok()
}

/// All files below a folder by path; those in hidden folders and behind links are left out, and folders that can't be looked into.
///
/// # Errors
/// [`FileError::Io`] where the folder itself can't be looked into.
pub fn files_below(folder: &Path) -> Result<Vec<PathBuf>, FileError> {
    std::fs::read_dir(folder).map_err(|source| FileError::Io {
        path: folder.to_owned(),
        doing: "look into the folder",
        source,
    })?;
    let (mut files, mut folders) = (Vec::new(), vec![(folder.to_owned(), 0)]);
    while let Some((at, depth)) = folders.pop() {
        for entry in std::fs::read_dir(&at).into_iter().flatten().flatten() {
            let Ok(kind) = entry.file_type() else { continue };
            let is_hidden = entry.file_name().to_string_lossy().starts_with('.');
            match kind {
                kind if kind.is_dir() && !is_hidden && depth < DEEPEST => folders.push((entry.path(), depth + 1)),
                kind if kind.is_file() && !is_hidden && files.len() < MOST_FILES => files.push(entry.path()),
                _ => {}
            }
        }
    }
    files.sort();
    Ok(files)
}

/// The capture that a description belongs to; none of any other file.
fn capture(folder: &Path, path: &Path) -> Result<Option<FoundCapture>, FileError> {
    let wav = path.with_extension("wav");
    if !is_of_capture(path) || !wav.is_file() {
        return Ok(None);
    }
    let description = files::read_capture_description(path)?;
    Ok(Some(FoundCapture { wav: wav.strip_prefix(folder).unwrap_or(&wav).to_owned(), description }))
}

/// Documents that are results; what is printed of other commands may lie there as well.
const RESULTS: [&str; 11] =
    ["response", "impedance", "driver", "box", "simulation", "network", "compare", "join", "match", "average", "blend"];

/// What all documents have.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Head {
    schema: String,
    made_by: String,
    command: Vec<String>,
    run_in: Option<String>,
    from_job: Option<files::FromJob>,
    inputs: Vec<InputFile>,
    settings: SettingsHead,
    findings: Vec<FindingHead>,
    files: Vec<WrittenFile>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct SettingsHead {
    mic: Option<String>,
}

#[derive(Debug, Deserialize)]
struct FindingHead {
    severity: Severity,
}

/// The result in a JSON file; none of any other file.
fn result(folder: &Path, path: &Path) -> Result<Option<FoundResult>, FileError> {
    let text = files::read_text(path)?;
    if !text.contains("\"boxwright/") {
        return Ok(None);
    }
    let head: Head = serde_json::from_str(&text).map_err(|error| FileError::Document {
        path: path.to_owned(),
        line: error.line(),
        column: error.column(),
        says: "a result document that can't be read; it may have been cut off".into(),
    })?;
    let kind = head.schema.strip_prefix("boxwright/").and_then(|rest| rest.split('/').next()).unwrap_or_default();
    if !RESULTS.contains(&kind) {
        return Ok(None);
    }
    let own = path.strip_prefix(folder).unwrap_or(path).to_owned();
    let run_in = head.run_in.as_deref().filter(|_| !head.command.is_empty()).map(Path::new);
    let run_in = run_in.map(|way| inside(folder, own.parent().unwrap_or(Path::new("")), way));
    let place = |path: &str| match &run_in {
        Some(run_in) => inside(folder, run_in, Path::new(path)),
        None => PathBuf::from(path),
    };
    let files: Vec<PathBuf> = head.files.iter().map(|file| place(&file.path)).collect();
    Ok(Some(FoundResult {
        kind: kind.to_owned(),
        made_by: head.made_by,
        inputs: head.inputs.into_iter().map(|input| (place(&input.path), input)).collect(),
        files,
        mic: head.settings.mic.as_deref().map(place),
        severities: head.findings.iter().map(|finding| finding.severity).collect(),
        provenance: Provenance { command: head.command, run_in: head.run_in, from_job: head.from_job },
        run_in,
        path: own,
    }))
}
