//! What the files of a response give cause to refuse or to say, whatever their content.
//!
//! No equation: names, checksums, and what the description of the capture counted.

use super::known_excitation::{KnownExcitation, PlanFrom};
use super::respond::{Filled, RespondError, ResponseOrder};
use crate::files::{self, CaptureDescription, FileError};
use crate::quantity::{Code, Finding, Severity, Whereabouts};
use std::path::Path;

/// The results' names that a file of the person could have as well.
const RESULT_NAMES: [&str; 4] = ["impulse.wav", "response.csv", "distortion.csv", "result.json"];

/// Whether results can go into `folder` without taking the place of what they come from.
pub(super) fn check_out(folder: &Path, order: &ResponseOrder, filled: &Filled) -> Result<(), RespondError> {
    if folder.is_file() {
        return Err(RespondError::FileInTheWay { folder: folder.to_owned() });
    }
    let real = |path: &Path| path.canonicalize().ok();
    let results: Vec<_> = RESULT_NAMES.iter().filter_map(|name| real(&folder.join(name))).collect();
    let inputs = [Some(order.wav.as_path()), Some(&filled.excitation), filled.microphone.as_deref()];
    let is_result = |path: &&Path| real(path).is_some_and(|path| results.contains(&path));
    match inputs.into_iter().flatten().find(is_result) {
        Some(path) => Err(RespondError::OverInput { path: path.to_owned() }),
        None => Ok(()),
    }
}

/// What the files themselves give cause to say.
pub(super) fn file_findings(
    filled: &Filled,
    known: &KnownExcitation,
    cut_short: Option<files::CutShort>,
    description: Option<&CaptureDescription>,
) -> Result<Vec<Finding>, FileError> {
    let mut all = Vec::new();
    if let Some(cut) = cut_short {
        all.push(caution(
            Code::Truncated,
            format!("the capture's file was not closed properly: {cut}"),
            "what is there was used; record again if the end is missing",
        ));
    }
    if known.plan_from == PlanFrom::DescriptionOfAnother {
        all.push(caution(
            Code::WrongExcitation,
            "the description beside the excitation belongs to a WAV of another length or rate; it was left aside"
                .into(),
            "make the excitation again with `boxwright signal`, or remove its description",
        ));
    }
    let Some(description) = description else { return Ok(all) };
    if files::sha256_of(&filled.excitation)? != description.excitation.sha256 {
        all.push(caution(
            Code::WrongExcitation,
            format!(
                "{} is not, or no longer, the file that was played for this capture: its checksum differs",
                filled.excitation.display()
            ),
            "leave out --excitation, or take the excitation that lay beside the capture when it was made",
        ));
    }
    let stream = &description.stream;
    if stream.dropouts + stream.overruns > 0 {
        let (dropouts, overruns) = (stream.dropouts, stream.overruns);
        all.push(caution(
            Code::Dropout,
            format!("while recording, the sound card reported {dropouts} dropouts and {overruns} overruns"),
            "close other programs and measure again if the curve looks odd",
        ));
    }
    Ok(all)
}

fn caution(code: Code, says: String, advice: &str) -> Finding {
    Finding { code, severity: Severity::Caution, says, advice: advice.into(), at: Whereabouts::default() }
}
