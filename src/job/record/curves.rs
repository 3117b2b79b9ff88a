//! The curves that the record has of a loudspeaker, for whoever judges or proposes.

use super::find;
use super::found::{Found, FoundResult};
use super::stage::Stage;
use super::subject::{Subject, subjects};
use crate::files::FileError;
use std::path::{Path, PathBuf};

/// The record by units and designs.
pub struct RecordedCurves {
    found: Found,
    subjects: Vec<Subject>,
}

/// A name as it is compared: letters and digits, small, parted by dashes.
pub fn plain_name(name: &str) -> String {
    name.trim().chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect()
}

impl RecordedCurves {
    /// Of the job in a folder.
    ///
    /// # Errors
    /// [`FileError::Io`] where the folder can't be looked into.
    pub fn of(folder: &Path) -> Result<Self, FileError> {
        let found = find(folder)?;
        Ok(Self { subjects: subjects(&found), found })
    }

    /// The response of a unit: of the whole where it was joined, else of the stand, else any; relative to the folder.
    pub fn response_of(&self, unit: &str) -> Option<PathBuf> {
        response_of(&self.found, &self.subjects, unit).and_then(csv_of).map(Path::to_owned)
    }

    /// The responses of several units that can be laid beside each other: all of the whole where all were joined, else none of them.
    pub fn responses_of<'a>(&self, units: &[&'a String]) -> Vec<(&'a String, PathBuf)> {
        let found = responses_of(&self.found, &self.subjects, units);
        found.into_iter().filter_map(|(unit, result)| Some((unit, csv_of(result)?.to_owned()))).collect()
    }

    /// The simulated response of a loudspeaker of the job.
    pub fn simulation_of(&self, speaker: &str) -> Option<PathBuf> {
        simulation_of(&self.found, speaker).map(Path::to_owned)
    }
}

/// The result with the response of a unit: of the stand where there is one, a joined one before a gated one.
pub(super) fn response_of<'a>(found: &'a Found, subjects: &[Subject], unit: &str) -> Option<&'a FoundResult> {
    best_of(found, subjects, unit, &["response", "join"])
}

/// The results with the responses of several units, all joined or all gated: a joined curve knows more of the bass.
pub(super) fn responses_of<'a, 'u>(
    found: &'a Found,
    subjects: &[Subject],
    units: &[&'u String],
) -> Vec<(&'u String, &'a FoundResult)> {
    let of_kind = |kind: &str| -> Vec<(&'u String, &'a FoundResult)> {
        units.iter().filter_map(|unit| Some((*unit, best_of(found, subjects, unit, &[kind])?))).collect()
    };
    let joined = of_kind("join");
    if joined.len() == units.len() { joined } else { of_kind("response") }
}

fn best_of<'a>(found: &'a Found, subjects: &[Subject], unit: &str, kinds: &[&str]) -> Option<&'a FoundResult> {
    let is_its = |subject: &Subject| subject.unit.as_deref().map(plain_name) == Some(plain_name(unit));
    let rank = |result: &FoundResult, subject: &Subject| {
        let stands = subject.stage.as_deref().and_then(Stage::named) == Some(Stage::OnTheStand);
        (stands, result.kind == "join")
    };
    let its = found.results.iter().zip(subjects).filter(|(result, subject)| {
        kinds.contains(&result.kind.as_str()) && is_its(subject) && csv_of(result).is_some()
    });
    // Of equals the first by path.
    let best = its.fold(None, |best: Option<(&FoundResult, &Subject)>, (result, subject)| match best {
        Some((one, its)) if rank(one, its) >= rank(result, subject) => Some((one, its)),
        _ => Some((result, subject)),
    });
    best.map(|(result, _)| result)
}

pub(super) fn simulation_of<'a>(found: &'a Found, speaker: &str) -> Option<&'a Path> {
    let simulations = found.results.iter().filter(|result| result.kind == "simulation");
    let name = format!("{speaker}-response.csv");
    simulations.flat_map(|result| &result.files).map(PathBuf::as_path).find(|path| path.ends_with(&name))
}

/// The curve of a response or joined curve.
pub(super) fn csv_of(result: &FoundResult) -> Option<&Path> {
    let names = ["response.csv", "joined.csv"];
    result.files.iter().map(PathBuf::as_path).find(|path| names.iter().any(|name| path.ends_with(name)))
}
