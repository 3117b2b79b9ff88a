//! What is refused before anything is computed: input that is no sound, or that does not fit together.
//!
//! No equation: each rule is one line of a list, and its refusal names the value at fault.

use super::{ResponseError, Settings};
use crate::signal::{Excitation, Recording};

/// Finer grids show nothing but the gate's own shape.
const MOST_POINTS_PER_OCTAVE: u32 = 1_000;
/// Full scale is 1; a float file may hold more, but whose square overflows is no sound.
const LARGEST_SAMPLE: f64 = 1e30;

/// Whether recording, excitation and settings can go together at all.
pub(super) fn check(recording: &Recording, excitation: &Excitation, settings: &Settings) -> Result<(), ResponseError> {
    if !(1..=MOST_POINTS_PER_OCTAVE).contains(&settings.points_per_octave) {
        let found = settings.points_per_octave;
        return Err(ResponseError::PointsPerOctave { found, most: MOST_POINTS_PER_OCTAVE });
    }
    let offset_db = settings.level.offset_db();
    if !offset_db.is_finite() {
        return Err(ResponseError::LevelReference { offset_db });
    }
    let channels: Vec<usize> = settings.reference.into_iter().chain([settings.reply]).collect();
    admit(recording, excitation, &channels)
}

/// Whether a recording can hold an excitation, and has the `channels` (from 0) that are asked for.
///
/// # Errors
/// [`ResponseError::RatesDiffer`], `Plan`, `UnequalChannels`, `NotFinite`, `NoSuchChannel`.
pub fn admit(recording: &Recording, excitation: &Excitation, channels: &[usize]) -> Result<(), ResponseError> {
    if recording.rate != excitation.rate {
        return Err(ResponseError::RatesDiffer { recorded_hz: recording.rate.hz(), played_hz: excitation.rate.hz() });
    }
    check_plan(excitation)?;
    let found = recording.channels.len();
    let needed = recording.frames();
    for (index, samples) in recording.channels.iter().enumerate() {
        if samples.len() != needed {
            return Err(ResponseError::UnequalChannels { channel: index + 1, found: samples.len(), needed });
        }
        if let Some(frame) = samples.iter().position(|&sample| !is_sound(sample)) {
            return Err(ResponseError::NotFinite { channel: index + 1, frame, found: samples[frame] });
        }
    }
    match channels.iter().find(|&&channel| channel >= found) {
        Some(channel) => Err(ResponseError::NoSuchChannel { wanted: channel + 1, found }),
        None => Ok(()),
    }
}

/// Neither a NaN nor too large to be squared.
fn is_sound(sample: f64) -> bool {
    sample.abs() < LARGEST_SAMPLE
}

/// A plan that points beyond its samples, or to a band that can't be, comes from another excitation's description.
fn check_plan(excitation: &Excitation) -> Result<(), ResponseError> {
    let plan = &excitation.plan;
    let played = excitation.samples.len();
    let highest_hz = 0.5 * excitation.rate.hz();
    let fits = |start: &usize, frames: usize| frames > 0 && start.checked_add(frames).is_some_and(|end| end <= played);
    let rises = |[from_hz, to_hz]: [f64; 2]| 0.0 < from_hz && from_hz < to_hz && to_hz <= highest_hz;
    let problem = if plan.starts.is_empty() {
        "it names no sound".to_owned()
    } else if !plan.starts.iter().all(|start| fits(start, plan.frames)) {
        format!("a sound of {} frames is said to lie where none of the {played} frames are", plan.frames)
    } else if !plan.mark_starts.iter().all(|start| fits(start, plan.mark_frames)) {
        format!("a time mark of {} frames is said to lie where none of the {played} frames are", plan.mark_frames)
    } else if !plan.starts.is_sorted_by(|a, b| a < b) || !plan.mark_starts.is_sorted_by(|a, b| a < b) {
        "its sounds are not in order".to_owned()
    } else if !plan.sweep.is_none_or(|sweep| {
        let constant_s = sweep.rate_constant_s;
        rises(plan.band_hz) && rises(sweep.played_hz) && constant_s > 0.0 && constant_s.is_finite()
    }) {
        format!("a sweep from {} to {} Hz can't be", plan.band_hz[0], plan.band_hz[1])
    } else if let Some(frame) = excitation.samples.iter().position(|&sample| !is_sound(sample)) {
        format!("frame {frame} is {}", excitation.samples[frame])
    } else {
        return Ok(());
    };
    Err(ResponseError::Plan { problem })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::SampleRate;
    use crate::signal::{Marks, Sequence, SweepSettings};

    #[test]
    fn a_plan_of_another_excitation_is_refused() {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 0.5 };
        let sequence = Sequence { sweep, level_dbfs: 0.0, repeats: 2, marks: Marks::BeforeAndAfter, pause_s: 0.5 };
        let excitation = sequence.excitation().unwrap();
        assert_eq!(check_plan(&excitation), Ok(()));
        let refused = |change: fn(&mut Excitation)| {
            let mut changed = excitation.clone();
            change(&mut changed);
            matches!(check_plan(&changed), Err(ResponseError::Plan { .. }))
        };
        assert!(refused(|e| e.samples.truncate(50_000)));
        assert!(refused(|e| e.plan.starts.clear()));
        assert!(refused(|e| e.plan.starts.reverse()));
        assert!(refused(|e| e.plan.frames = usize::MAX));
        assert!(refused(|e| e.plan.mark_frames = 0));
        assert!(refused(|e| e.plan.band_hz = [20.0, 30_000.0]));
        assert!(refused(|e| e.samples[3] = f64::NAN));
    }
}
