//! Whether samples got lost between the sounds of a recording.
//!
//! Sound systems lose buffers without an error. The marks and each sweep, deconvolved one by one, show the same arrival;
//! once the clock is corrected they must show it at the same time. Where one comes early, as many frames are missing
//! before it. A sweep with a gap inside it shows two arrivals and agrees with no mark.
//! No equation: lags as in [`super::clock`]. Ours.

use super::clock::{Room, around, lag};
use super::deconvolve::WrappedImpulse;
use super::{Deconvolution, MarksPath, NoiseDensity, Pattern};
use crate::signal::Excitation;
use std::sync::Arc;

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

/// The sweeps and marks of an excitation, each ready to be deconvolved by itself.
pub(super) struct Sounds {
    pub sweep: Arc<Deconvolution>,
    pub mark: Option<Deconvolution>,
    /// By time.
    starts: Vec<(usize, Played)>,
    before_s: f64,
}

impl Sounds {
    /// Those of an excitation; recordings of up to `frames` frames of one sweep will be deconvolved. Marks that go another way are left out:
    /// their distance to the sweeps tells of the ways, and their distance from each other has told of the clock.
    pub fn of(excitation: &Excitation, pattern: &Pattern, marks: MarksPath, frames: usize) -> Self {
        let plan = &excitation.plan;
        let mark_starts = if marks == MarksPath::Shared { plan.mark_starts.as_slice() } else { &[] };
        let mark = mark_starts.first().map(|&start| {
            let mark = Pattern::of_mark(excitation, pattern, start);
            Deconvolution::new(&mark, piece_frames(&mark))
        });
        let sweep = Arc::new(Deconvolution::new(pattern, frames.max(piece_frames(pattern))));
        let mut starts: Vec<(usize, Played)> = plan.starts.iter().map(|&start| (start, Played::Sweep)).collect();
        starts.extend(mark_starts.iter().map(|&start| (start, Played::Mark)));
        starts.sort_by_key(|&(start, _)| start);
        if pattern.band_hz[1] < NARROWEST_RATIO * pattern.band_hz[0] {
            starts.clear();
        }
        let before_s = (PERIODS_BEFORE / pattern.band_hz[1]).clamp(BEFORE_S, ROOM_BEFORE_S);
        Self { sweep, mark, starts, before_s }
    }

    /// What deconvolves one kind of sound.
    pub fn deconvolution(&self, played: Played) -> Option<&Deconvolution> {
        match played {
            Played::Sweep => Some(&self.sweep),
            Played::Mark => self.mark.as_ref(),
        }
    }

    /// The arrivals that they tell one by one, in the order of time, in a recording whose excitation lies at `offset_frames`.
    #[cfg(test)]
    pub fn first(&self, recorded: &[f64], offset_frames: i64) -> Vec<FirstSound> {
        let room = room(self.sweep.rate_hz());
        let sweep = |&(start, played): &(usize, Played)| {
            let at_frame = offset_frames + start as i64;
            let piece = around(recorded, at_frame, self.sweep.pattern().samples.len(), room)?;
            let impulse = (played == Played::Sweep).then(|| self.sweep.impulse_of(piece))?;
            self.first_of_sweep(&impulse, room.before as i64, at_frame)
        };
        let sweeps = self.starts.iter().filter_map(sweep).collect();
        in_order(sweeps, self.first_of_marks(recorded, offset_frames))
    }

    /// The arrivals that the marks tell one by one.
    pub fn first_of_marks(&self, recorded: &[f64], offset_frames: i64) -> Vec<FirstSound> {
        let Some(mark) = &self.mark else { return Vec::new() };
        let room = room(mark.rate_hz());
        let heard = |&(start, played): &(usize, Played)| {
            let at_frame = offset_frames + start as i64;
            let piece = around(recorded, at_frame, mark.pattern().samples.len(), room)?;
            Some(self.first_sound(&mark.impulse_of(piece), room.before as i64, at_frame, played))
        };
        self.starts.iter().filter(|(_, played)| *played == Played::Mark).filter_map(heard).collect()
    }

    /// What one sweep at `at_frame` tells, whose impulse response has its time zero `zero` frames after its first index; `None` where the band is too
    /// narrow to compare arrivals.
    pub fn first_of_sweep(&self, impulse: &WrappedImpulse, zero: i64, at_frame: i64) -> Option<FirstSound> {
        (!self.starts.is_empty()).then(|| self.first_sound(impulse, zero, at_frame, Played::Sweep))
    }

    /// Whether a recording of so many frames holds a sweep at `at_frame` with all its room.
    pub fn has_room(&self, recorded: usize, at_frame: i64) -> bool {
        let room = room(self.sweep.rate_hz());
        let last = at_frame + (self.sweep.pattern().samples.len() + room.after) as i64;
        at_frame >= room.before as i64 && last <= recorded as i64
    }

    fn first_sound(&self, impulse: &WrappedImpulse, zero: i64, at_frame: i64, played: Played) -> FirstSound {
        let rate_hz = self.sweep.rate_hz();
        let frames = |duration_s: f64| (duration_s * rate_hz) as usize;
        let (room, after_s) = (room(rate_hz), self.before_s * AFTER_S / BEFORE_S);
        FirstSound {
            at_frame,
            played,
            impulse: impulse.cut(zero - frames(self.before_s) as i64, frames(self.before_s + after_s)),
            whole: impulse.cut(zero - room.before as i64, room.before + room.after),
        }
    }
}

/// Sounds in the order of time.
pub(super) fn in_order(sweeps: Vec<FirstSound>, marks: Vec<FirstSound>) -> Vec<FirstSound> {
    let mut all = [sweeps, marks].concat();
    all.sort_by_key(|sound| sound.at_frame);
    all
}

/// Frames left around a sound, which hold its reply.
fn room(rate_hz: f64) -> Room {
    let frames = |duration_s: f64| (duration_s * rate_hz) as usize;
    Room { before: frames(ROOM_BEFORE_S), after: frames(ROOM_AFTER_S) }
}

fn piece_frames(pattern: &Pattern) -> usize {
    let room = room(pattern.rate_hz);
    room.before + pattern.samples.len() + room.after
}

/// Where samples got lost between sounds.
pub(super) fn broken(sounds: &[FirstSound], pattern: &Pattern) -> Vec<Step> {
    steps_between(sounds, pattern).into_iter().filter(Step::is_broken).collect()
}

/// The steps from each sound to the next. Empty without marks and repeats.
fn steps_between(sounds: &[FirstSound], pattern: &Pattern) -> Vec<Step> {
    sounds.windows(2).map(|pair| step(pair[1].at_frame, [&pair[0].impulse, &pair[1].impulse], pattern)).collect()
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

    /// The steps from each sound to the next, in a recording whose excitation lies at frame 700.
    fn steps(recorded: &[f64], excitation: &Excitation, pattern: &Pattern) -> Vec<Step> {
        steps_between(&Sounds::of(excitation, pattern, MarksPath::Shared, 0).first(recorded, 700), pattern)
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
            let steps = steps(&recorded, &excitation, &pattern);
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
        let steps = steps(&recorded, &excitation, &pattern);
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
        assert!(steps(&recorded(&excitation), &excitation, &pattern).is_empty());
    }
}
