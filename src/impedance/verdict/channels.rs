//! What each channel of each capture shows before anything is computed from it.
//!
//! No equation: thresholds, each with its reason.

use super::Evidence;
use crate::impedance::ratio::JigCapture;
use crate::quantity::{Code, Finding, Severity, Whereabouts};
use crate::response::{Cause, clipping, flat_tops, held_samples, offset};

/// Quieter than this a 16-bit input spends half of its bits on nothing.
const QUIET_PEAK_DBFS: f64 = -50.0;

/// What each channel of each capture shows before anything is computed from it.
pub(super) fn sound(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut all = Vec::new();
    let load = ("", evidence.captures.load, evidence.heard);
    for (name, capture, heard) in std::iter::once(&load).chain(evidence.calibrations) {
        let recording = capture.recording;
        for channel in [capture.drive, capture.load] {
            let mut found = Vec::new();
            let clipped = clipping(recording, channel);
            found.extend(clipped.or_else(|| flat_tops(recording, channel, heard.sounding.clone())));
            found.extend(held_samples(recording, channel, heard.sounding.clone()));
            found.extend(offset(recording, channel, &heard.silences));
            if !name.is_empty() {
                found.iter_mut().for_each(|finding| finding.says = format!("{name} capture: {}", finding.says));
            }
            all.extend(found);
        }
        all.extend(quiet(name, capture));
    }
    all
}

fn quiet(name: &str, capture: &JigCapture<'_>) -> Option<Finding> {
    let peak = capture.recording.channels[capture.drive].iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
    let peak_dbfs = 20.0 * peak.max(f64::MIN_POSITIVE).log10();
    let which = if name.is_empty() { String::new() } else { format!("{name} capture: ") };
    (peak_dbfs < QUIET_PEAK_DBFS).then(|| Finding {
        at: Whereabouts { channel: Some(capture.drive + 1), ..Whereabouts::default() },
        ..Finding::new(
            Code::TooQuiet,
            Severity::Caution,
            format!("{which}the drive peaks at {peak_dbfs:.0} dBFS"),
            "raise the input gain of both channels alike before you raise the drive",
        )
    })
}

pub(super) fn broken_into(evidence: &Evidence<'_>) -> Vec<Finding> {
    let load = ("", evidence.captures.load, evidence.heard);
    let mut all = Vec::new();
    for (name, capture, heard) in std::iter::once(&load).chain(evidence.calibrations) {
        for (number, event) in &heard.interruptions {
            let start = heard.offset_frames + capture.excitation.plan.starts[*number] as i64 - heard.cut.before as i64;
            let seconds = |frame: usize| capture.recording.rate.seconds((start + frame as i64).max(0) as usize);
            let time_s = [seconds(event.frames.start), seconds(event.frames.end)];
            let left_out = !heard.load.numbers.contains(number);
            let (code, what) = match event.cause {
                Cause::LostSamples => (Code::Dropout, "samples got lost"),
                Cause::Noise => (Code::Disturbed, "something broke in"),
            };
            let severity = match (event.cause, left_out) {
                (_, true) => Severity::Note,
                (Cause::LostSamples, false) => Severity::Fault,
                (Cause::Noise, false) => Severity::Caution,
            };
            let which = if name.is_empty() { String::new() } else { format!("{name} capture: ") };
            let end = if left_out { "; that repeat was left out" } else { "" };
            let says = format!("{which}{what} within the sweep between {:.2} and {:.2} s{end}", time_s[0], time_s[1]);
            let advice = "close other programs, don't touch the driver or the table, and measure again";
            let at = Whereabouts { time_s: Some(time_s), ..Whereabouts::default() };
            all.push(Finding { at, ..Finding::new(code, severity, says, advice) });
        }
    }
    // Clipping comes and goes as suddenly as a noise does, and has its own words.
    let clips = |capture: &JigCapture<'_>| {
        [capture.drive, capture.load].into_iter().any(|channel| clipping(capture.recording, channel).is_some())
    };
    if clips(&evidence.captures.load) {
        all.retain(|finding| finding.code != Code::Disturbed);
    }
    all
}

pub(super) fn missing_repeats(evidence: &Evidence<'_>) -> Option<Finding> {
    let (planned, whole) = (evidence.captures.load.excitation.plan.starts.len(), evidence.heard.whole);
    (whole < planned).then(|| {
        Finding::new(
            Code::Truncated,
            Severity::Caution,
            format!("{whole} of {planned} sweeps lie whole in the recording; the others were left out"),
            "record from before the excitation to a second after its end",
        )
    })
}
