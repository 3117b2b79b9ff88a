//! The files of a capture: its channels, what lies beside it, and what they give cause to say, whatever their content.
//!
//! No equation: names, checksums, and what the description of the capture counted.

use super::known_excitation::{KnownExcitation, PlanFrom, is_of_capture};
use crate::files::{self, CaptureDescription, CutShort, FileError};
use crate::quantity::{Code, Finding, Severity, Whereabouts};
use crate::signal::Recording;
use std::path::Path;

/// The description of the capture that lies beside its WAV.
pub(super) fn description_beside(wav: &Path) -> Result<Option<CaptureDescription>, FileError> {
    let beside = wav.with_extension("toml");
    // A WAV that is itself an excitation has another kind of description beside it.
    if is_of_capture(&beside) { files::read_capture_description(&beside).map(Some) } else { Ok(None) }
}

/// Only the `wanted` channels, from 0, are read; others are silence in their places, so that each keeps its number.
pub(super) fn read_channels(wav: &Path, mut wanted: Vec<usize>) -> Result<(Recording, Option<CutShort>), FileError> {
    wanted.sort_unstable();
    wanted.dedup();
    let file = files::read_wav_channels(wav, &wanted)?;
    let mut channels = vec![vec![0.0; file.recording.frames()]; wanted.last().map_or(0, |last| last + 1)];
    for (&place, samples) in wanted.iter().zip(file.recording.channels) {
        channels[place] = samples;
    }
    Ok((Recording { channels, ..file.recording }, file.cut_short))
}

/// A capture's files, as they were found.
pub(super) struct CaptureFiles<'a> {
    pub wav: &'a Path,
    pub excitation: &'a Path,
    pub known: &'a KnownExcitation,
    pub cut_short: Option<&'a CutShort>,
    pub description: Option<&'a CaptureDescription>,
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
}

fn caution(code: Code, says: String, advice: &str) -> Finding {
    Finding { code, severity: Severity::Caution, says, advice: advice.into(), at: Whereabouts::default() }
}
