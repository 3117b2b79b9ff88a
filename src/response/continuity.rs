//! Whether samples got lost between the sounds of a recording.
//!
//! Sound systems lose buffers without an error. The marks and each sweep, deconvolved one by one, show the same arrival;
//! once the clock is corrected they must show it at the same time. Where one comes early, as many frames are missing
//! before it. A sweep with a gap inside it shows two arrivals and agrees with no mark.
//! No equation: lags as in [`super::clock`]. Ours.

use super::clock::{Room, around, lag};
use super::{Deconvolution, NoiseDensity, Pattern};
use crate::signal::Excitation;

/// A sound of the excitation, and how much later than the first one it came than it should.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The frame of the recording at which the sound begins.
    pub at_frame: i64,
    /// Frames too late (or too early) after the sound before it; `None` where the two are not alike.
    pub late_frames: Option<f64>,
}

/// Half a frame is a step; marks and sweep agree to a few hundredths.
pub const STEP_FRAMES: f64 = 0.5;
/// What is compared begins this long before the arrival …
const BEFORE_S: f64 = 0.01;
/// … and ends this long after.
const AFTER_S: f64 = 0.02;
/// Bins weaker than this against the mean are left to the noise.
const FLOOR_POWER_RATIO: f64 = 1e-4;

/// The steps from each sound to the next, for a recording on the player's clock whose excitation lies at
/// `offset_frames`. Empty without marks and repeats.
pub fn steps(recorded: &[f64], excitation: &Excitation, pattern: &Pattern, offset_frames: i64) -> Vec<Step> {
    let plan = &excitation.plan;
    let mark = plan.mark_starts.first().map(|&start| mark_pattern(excitation, pattern, start));
    let mut sounds: Vec<(usize, &Pattern)> = plan.starts.iter().map(|&start| (start, pattern)).collect();
    if let Some(mark) = &mark {
        sounds.extend(plan.mark_starts.iter().map(|&start| (start, mark)));
    }
    sounds.sort_by_key(|&(start, _)| start);
    let arrivals: Vec<(i64, Vec<f64>)> = sounds
        .iter()
        .filter_map(|&(start, pattern)| {
            let at_frame = offset_frames + start as i64;
            Some((at_frame, first_sound(recorded, at_frame, pattern)?))
        })
        .collect();
    arrivals
        .windows(2)
        .map(|pair| Step { at_frame: pair[1].0, late_frames: late(&pair[0].1, &pair[1].1, pattern) })
        .collect()
}

/// A time mark as a pattern: its ramps are taken off the band.
fn mark_pattern(excitation: &Excitation, pattern: &Pattern, start: usize) -> Pattern {
    let samples = excitation.samples[start..start + excitation.plan.mark_frames].to_vec();
    let [from_hz, to_hz] = excitation.plan.band_hz;
    // A tenth of the octaves at each end is ramp.
    let ramp = (to_hz / from_hz).powf(0.1);
    Pattern {
        samples,
        rate_hz: pattern.rate_hz,
        band_hz: [from_hz * ramp, to_hz / ramp],
        played_hz: [from_hz, to_hz],
        rate_constant_s: None,
    }
}

/// The impulse response of one sound alone, around its arrival.
fn first_sound(recorded: &[f64], at_frame: i64, pattern: &Pattern) -> Option<Vec<f64>> {
    let frames = |duration_s: f64| (duration_s * pattern.rate_hz) as usize;
    let room = Room { before: frames(0.05), after: frames(0.2) };
    let piece = around(recorded, at_frame, pattern.samples.len(), room)?;
    let impulse = Deconvolution::new(pattern, piece.len()).impulse_of(piece);
    Some(impulse.cut(room.before as i64 - frames(BEFORE_S) as i64, frames(BEFORE_S + AFTER_S)))
}

fn late(first: &[f64], second: &[f64], pattern: &Pattern) -> Option<f64> {
    let power = first.iter().chain(second).map(|x| x * x).sum::<f64>() / (first.len() + second.len()) as f64;
    let floor = NoiseDensity::white(power * FLOOR_POWER_RATIO);
    let [from_hz, to_hz] = pattern.band_hz;
    let ramp = (to_hz / from_hz).powf(0.1);
    lag(first, second, pattern.rate_hz, [from_hz * ramp, to_hz / ramp], &floor).map(|lag| lag.frames)
}
