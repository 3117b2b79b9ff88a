//! The files of a capture: its channels, what lies beside it, and what they give cause to say, whatever their content.
//!
//! No equation: names, checksums, and what the description of the capture counted.

use super::capture_names::beside;
use super::known_excitation::{KnownExcitation, PlanFrom, is_of_capture};
use crate::files::{self, CaptureDescription, CutShort, Ended, FileError};
use crate::quantity::{Code, Finding, Severity, Whereabouts};
use std::path::{Path, PathBuf};

/// The description of the capture that lies beside its WAV.
pub(super) fn description_beside(wav: &Path) -> Result<Option<CaptureDescription>, FileError> {
    description_path(wav).map(|path| files::read_capture_description(&path)).transpose()
}

/// Where that is: `NAME.toml`, or `NAME.toml.part` as long as the recording has not its name either.
pub(super) fn description_path(wav: &Path) -> Option<PathBuf> {
    let is_part = wav.extension().is_some_and(|ending| ending == "part");
    let names: &[&str] = if is_part { &["toml.part", "toml"] } else { &["toml"] };
    // A WAV that is itself an excitation has another kind of description beside it.
    names.iter().map(|ending| beside(wav, ending)).find(|path| is_of_capture(path))
}

/// What was played for a capture of which nothing says so: what lies beside it by name.
pub(super) fn excitation_beside(wav: &Path) -> Option<PathBuf> {
    Some(beside(wav, "excitation.wav")).filter(|path| path.is_file())
}

/// A capture's files, as they were found.
pub(super) struct CaptureFiles<'a> {
    pub wav: &'a Path,
    pub excitation: &'a Path,
    pub known: &'a KnownExcitation,
    pub cut_short: Option<&'a CutShort>,
    pub description: Option<&'a CaptureDescription>,
    /// How many of the excitation's repeats were used; absent where that is told elsewhere.
    pub repeats: Option<usize>,
}

impl CaptureFiles<'_> {
    /// What the files themselves give cause to say.
    pub fn findings(&self) -> Result<Vec<Finding>, FileError> {
        let name = self.wav.display();
        let mut all = Vec::new();
        if let Some(cut) = self.cut_short {
            all.push(caution(
                Code::Truncated,
                format!("{name}: the file was not closed properly: {cut}"),
                "what is there was used; record again if the end is missing",
            ));
        }
        if self.known.plan_from == PlanFrom::DescriptionOfAnother {
            all.push(caution(
                Code::WrongExcitation,
                format!(
                    "the description beside {} belongs to a WAV of another length or rate; it was left aside",
                    self.excitation.display()
                ),
                "make the excitation again with `boxwright signal`, or remove its description",
            ));
        }
        let Some(description) = self.description else { return Ok(all) };
        if files::sha256_of(self.excitation)? != description.excitation.sha256 {
            all.push(caution(
                Code::WrongExcitation,
                format!(
                    "{name}: {} is not, or no longer, the file that was played for it: its checksum differs",
                    self.excitation.display()
                ),
                "leave out --excitation, or take the excitation that lay beside the capture when it was made",
            ));
        }
        let stream = &description.stream;
        all.extend(self.ending(stream.ended));
        if stream.dropouts + stream.overruns > 0 {
            let (dropouts, overruns) = (stream.dropouts, stream.overruns);
            all.push(caution(
                Code::Dropout,
                format!("{name}: the sound card reported {dropouts} dropouts and {overruns} overruns"),
                "close other programs and measure again if the curve looks odd",
            ));
        }
        Ok(all)
    }

    /// That a recording is not whole, and what of it was used.
    fn ending(&self, ended: Ended) -> Option<Finding> {
        let how = match ended {
            Ended::Complete => return None,
            Ended::Stopped => "was stopped before its end",
            Ended::DeviceLost => "ends where its device went away",
            Ended::BrokenOff => "broke off before its end",
        };
        let played = self.known.excitation.plan.starts.len();
        let used = self
            .repeats
            .map_or_else(String::new, |used| format!(": {used} of {played} sweeps are whole and were used"));
        let says = format!("{}: the capture {how}{used}", self.wav.display());
        Some(caution(Code::Truncated, says, "take it again for a whole one if the doubt is too large"))
    }
}

fn caution(code: Code, says: String, advice: &str) -> Finding {
    Finding { code, severity: Severity::Caution, says, advice: advice.into(), at: Whereabouts::default() }
}
