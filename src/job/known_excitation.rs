//! The excitation that was played, from its WAV and, where there is one, the description beside it.

use super::long_recording::is_short_enough;
use crate::files::{self, FileError};
use crate::signal::{Excitation, Kind, Plan};
use std::path::Path;

/// An excitation as its files have it.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownExcitation {
    /// Samples and plan.
    pub excitation: Excitation,
    /// Where the plan comes from.
    pub plan_from: PlanFrom,
}

/// Where an excitation's plan comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlanFrom {
    /// The description beside the WAV.
    Description,
    /// There is none: the whole WAV is one excitation.
    WholeFile,
    /// The description fits another WAV (other length or rate) and was left aside.
    DescriptionOfAnother,
}

/// The excitation in `wav`, of its first channel.
///
/// # Errors
/// [`FileError`] when the WAV or its description can't be read.
pub fn known_excitation(wav: &Path) -> Result<KnownExcitation, FileError> {
    is_short_enough(wav)?;
    let recording = files::read_wav_channels(wav, &[0])?.recording;
    let rate = recording.rate;
    let samples = recording.channels.into_iter().next().unwrap_or_default();
    let beside = wav.with_extension("toml");
    // A capture can be an excitation too, as one that a recorder heard; what lies beside it then is not the plan of one.
    if beside.is_file() && !is_of_capture(&beside) {
        let description = files::read_signal_description(&beside)?;
        if description.layout.total_frames == samples.len() && description.rate_hz == rate.whole_hz() {
            let excitation = Excitation { rate, samples, plan: description.plan() };
            return Ok(KnownExcitation { excitation, plan_from: PlanFrom::Description });
        }
        let plan = whole_file(&samples, rate.hz());
        let excitation = Excitation { rate, samples, plan };
        return Ok(KnownExcitation { excitation, plan_from: PlanFrom::DescriptionOfAnother });
    }
    let plan = whole_file(&samples, rate.hz());
    Ok(KnownExcitation { excitation: Excitation { rate, samples, plan }, plan_from: PlanFrom::WholeFile })
}

/// Whether a description is that of a capture.
pub(super) fn is_of_capture(description: &Path) -> bool {
    std::fs::read_to_string(description).is_ok_and(|text| text.contains(files::CAPTURE_SCHEMA))
}

/// The plan of a signal of which nothing is known but its samples; its sound begins and ends where they leave zero.
fn whole_file(samples: &[f64], rate_hz: f64) -> Plan {
    let first = samples.iter().position(|&x| x != 0.0).unwrap_or(0);
    let end = samples.iter().rposition(|&x| x != 0.0).map_or(samples.len(), |last| last + 1);
    let peak = samples.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
    Plan {
        kind: Kind::Other,
        level_dbfs: 20.0 * peak.max(f64::MIN_POSITIVE).log10(),
        band_hz: [0.0, 0.5 * rate_hz],
        starts: vec![first],
        frames: end - first,
        mark_starts: Vec::new(),
        mark_frames: 0,
        sweep: None,
    }
}
