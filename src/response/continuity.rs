//! Whether samples got lost between the sounds of a recording.
//!
//! Sound systems lose buffers without an error. The marks and each sweep, deconvolved one by one, show the same arrival;
//! once the clock is corrected they must show it at the same time. Where one comes early, as many frames are missing
//! before it. A sweep with a gap inside it shows two arrivals and agrees with no mark.
//! No equation: lags as in [`super::clock`]. Ours.

use super::clock::{Room, around, lag};
use super::{Deconvolution, MarksPath, NoiseDensity, Pattern};
use crate::signal::{Excitation, Plan};

/// A sound of the excitation, and how much later than the first one it came than it should.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The frame of the recording at which the sound begins.
    pub at_frame: i64,
    /// Frames too late (or too early) after the sound before it; `None` where the two are not alike.
    pub late_frames: Option<f64>,
    /// Its standard uncertainty, in frames.
    pub u_frames: f64,
}

impl Step {
    /// Whether it is more than a rounding and stands out of its uncertainty.
    pub fn is_broken(&self) -> bool {
        self.late_frames.is_none_or(|frames| frames.abs() > STEP_FRAMES.max(SIGNIFICANT * self.u_frames))
    }
}

/// Half a frame is a step; marks and sweep agree to a few hundredths.
const STEP_FRAMES: f64 = 0.5;
/// What is compared begins this long before the arrival …
const BEFORE_S: f64 = 0.01;
/// … and ends this long after; where the band is narrow, both are longer by the same ratio.
const AFTER_S: f64 = 0.02;
/// Periods of the band's highest frequency that fit in front of the arrival: sounds of a narrow band are long.
const PERIODS_BEFORE: f64 = 10.0;
/// Around a sound the recording is taken from this long before …
const ROOM_BEFORE_S: f64 = 0.05;
/// … to this long after, which holds its reply.
const ROOM_AFTER_S: f64 = 0.2;
/// A narrower band than an octave has no arrival that could be compared.
const NARROWEST_RATIO: f64 = 2.0;
/// A step is believed when it is this many times its uncertainty.
const SIGNIFICANT: f64 = 5.0;
/// Bins weaker than this against the mean are left to the noise.
const FLOOR_POWER_RATIO: f64 = 1e-4;

/// The steps from each sound to the next, for a recording on the player's clock whose excitation lies at
/// `offset_frames`. Empty without marks and repeats.
pub fn steps(recorded: &[f64], excitation: &Excitation, pattern: &Pattern, offset_frames: i64) -> Vec<Step> {
    let sounds = first_sounds(recorded, (excitation, &excitation.plan), pattern, offset_frames, MarksPath::Shared);
    steps_between(&sounds, pattern)
}

/// What one sound of the excitation tells of the arrival.
#[derive(Debug, Clone)]
pub(super) struct FirstSound {
    /// The frame of the recording at which it begins.
    pub at_frame: i64,
    pub played: Played,
    /// The impulse response around the arrival.
    pub impulse: Vec<f64>,
    /// The same for longer, with the bass and the room.
    pub whole: Vec<f64>,
}

/// Which kind of sound it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Played {
    Sweep,
    Mark,
}

/// The arrivals that sweeps and marks tell one by one, in the order of time. Marks that go another way are left out: their distance to the sweeps
/// tells of the ways, and their distance from each other has told of the clock.
pub(super) fn first_sounds(
    recorded: &[f64],
    (excitation, plan): (&Excitation, &Plan),
    pattern: &Pattern,
    offset_frames: i64,
    marks: MarksPath,
) -> Vec<FirstSound> {
    if pattern.band_hz[1] < NARROWEST_RATIO * pattern.band_hz[0] {
        return Vec::new();
    }
    let mark_starts = if marks == MarksPath::Shared { plan.mark_starts.as_slice() } else { &[] };
    let mark = mark_starts.first().map(|&start| Pattern::of_mark(excitation, pattern, start));
    let marks = mark_starts.iter().filter_map(|&start| Some((start, Played::Mark, mark.as_ref()?)));
    let sweeps = plan.starts.iter().map(|&start| (start, Played::Sweep, pattern));
    let mut sounds: Vec<(usize, Played, &Pattern)> = sweeps.chain(marks).collect();
    sounds.sort_by_key(|&(start, ..)| start);
    let before_s = (PERIODS_BEFORE / pattern.band_hz[1]).clamp(BEFORE_S, ROOM_BEFORE_S);
    sounds
        .iter()
        .filter_map(|&(start, played, pattern)| {
            let at_frame = offset_frames + start as i64;
            let [impulse, whole] = first_sound(recorded, at_frame, pattern, before_s)?;
            Some(FirstSound { at_frame, played, impulse, whole })
        })
        .collect()
}

/// The steps between sounds.
pub(super) fn steps_between(sounds: &[FirstSound], pattern: &Pattern) -> Vec<Step> {
    sounds.windows(2).map(|pair| step(pair[1].at_frame, [&pair[0].impulse, &pair[1].impulse], pattern)).collect()
}

/// The impulse response of one sound alone, around its arrival, and as long as the room around it.
fn first_sound(recorded: &[f64], at_frame: i64, pattern: &Pattern, before_s: f64) -> Option<[Vec<f64>; 2]> {
    let frames = |duration_s: f64| (duration_s * pattern.rate_hz) as usize;
    let room = Room { before: frames(ROOM_BEFORE_S), after: frames(ROOM_AFTER_S) };
    let piece = around(recorded, at_frame, pattern.samples.len(), room)?;
    let impulse = Deconvolution::new(pattern, piece.len()).impulse_of(piece);
    let after_s = before_s * AFTER_S / BEFORE_S;
    let near = impulse.cut(room.before as i64 - frames(before_s) as i64, frames(before_s + after_s));
    Some([near, impulse.cut(0, room.before + room.after)])
}

fn step(at_frame: i64, [first, second]: [&[f64]; 2], pattern: &Pattern) -> Step {
    let power = first.iter().chain(second).map(|x| x * x).sum::<f64>() / (first.len() + second.len()) as f64;
    let floor = NoiseDensity::white((power * FLOOR_POWER_RATIO).max(f64::MIN_POSITIVE));
    let [from_hz, to_hz] = pattern.band_hz;
    let ramp = (to_hz / from_hz).powf(0.1);
    let found = lag(first, second, pattern.rate_hz, [from_hz * ramp, to_hz / ramp], &floor);
    Step { at_frame, late_frames: found.map(|lag| lag.frames), u_frames: found.map_or(0.0, |lag| lag.u_frames) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::signal::{Marks, Sequence, SweepSettings};

    fn excitation(marks: Marks) -> Excitation {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 100.0, to_hz: 16_000.0, lowest_hz: None, duration_s: 0.5 };
        Sequence { sweep, level_dbfs: -6.0, repeats: 2, marks, pause_s: 0.5 }.excitation().unwrap()
    }

    /// 700 frames of start, the excitation, a little noise.
    fn recorded(excitation: &Excitation) -> Vec<f64> {
        let mut random = Random::new(6);
        let start = vec![0.0; 700];
        start.iter().chain(&excitation.samples).map(|x| x + 1e-4 * random.normal()).collect()
    }

    #[test]
    fn lost_frames_are_early_and_doubled_frames_late_at_the_sound_behind_them() {
        let excitation = excitation(Marks::BeforeAndAfter);
        let pattern = Pattern::of(&excitation).unwrap();
        // In the pause between the two sweeps.
        let gap = 700 + excitation.plan.starts[1] - 4_000;
        for moved in [-3i64, 0, 2] {
            let mut recorded = recorded(&excitation);
            if moved < 0 {
                recorded.drain(gap..gap + 3);
            } else {
                recorded.splice(gap..gap, vec![0.0; moved as usize]);
            }
            let steps = steps(&recorded, &excitation, &pattern, 700);
            // Mark, sweep, sweep, mark: three steps.
            assert_eq!(steps.len(), 3);
            let expected = [0.0, moved as f64, 0.0];
            for (step, expected) in steps.iter().zip(expected) {
                // 0.1: marks and sweeps agree to some hundredths, their bands being different.
                assert!((step.late_frames.unwrap() - expected).abs() < 0.1, "{moved}: {step:?}");
                assert_eq!(step.is_broken(), expected != 0.0);
            }
            assert_eq!(steps[1].at_frame, 700 + excitation.plan.starts[1] as i64);
        }
    }

    #[test]
    fn a_sound_that_is_not_like_the_one_before_is_a_break() {
        let excitation = excitation(Marks::None);
        let pattern = Pattern::of(&excitation).unwrap();
        let mut recorded = recorded(&excitation);
        let second = 700 + excitation.plan.starts[1];
        recorded[second - 1_000..second + 25_000].fill(0.0);
        let mut random = Random::new(8);
        recorded[second..second + 24_000].iter_mut().for_each(|x| *x = random.normal());
        let steps = steps(&recorded, &excitation, &pattern, 700);
        assert_eq!((steps.len(), steps[0].late_frames, steps[0].is_broken()), (1, None, true));
    }

    #[test]
    fn a_step_counts_from_half_a_frame_and_five_times_its_uncertainty() {
        let broken = |late: f64, u_frames| Step { at_frame: 0, late_frames: Some(late), u_frames }.is_broken();
        assert!(!broken(0.49, 0.0) && broken(0.51, 0.0) && broken(-0.51, 0.0));
        assert!(!broken(2.4, 0.5) && broken(2.6, 0.5));
    }

    #[test]
    fn a_band_without_an_octave_has_nothing_to_compare() {
        let excitation = excitation(Marks::BeforeAndAfter);
        let mut pattern = Pattern::of(&excitation).unwrap();
        pattern.band_hz = [1_000.0, 1_999.0];
        assert!(steps(&recorded(&excitation), &excitation, &pattern, 700).is_empty());
    }
}
