//! The repeats of the reply, averaged and deconvolved by the loopback or by the excitation's file.
//!
//! No equation of its own: see [`super::deconvolve`] and [`super::repeats`].

use super::locate::strongest;
use super::timeline::Timeline;
use super::{Cut, Deconvolution, Interruption, Pattern, Repeats, ResponseError, WrappedImpulse, foreign, interruption};
use num_complex::Complex64;

/// The averaged repeats, deconvolved.
pub(super) struct Heard {
    pub deconvolution: Deconvolution,
    /// From loopback (or excitation) to reply.
    pub impulse: WrappedImpulse,
    /// From the excitation's file to reply: where the harmonics are.
    pub from_file: Option<WrappedImpulse>,
    /// What was divided by.
    pub drive: Vec<Complex64>,
    /// Index of the strongest arrival in `impulse`, and in `from_file`.
    pub peak: i64,
    pub file_peak: i64,
    pub repeats: Repeats,
    /// The loopback's repeats, where there is a loopback.
    pub loopback: Option<Repeats>,
    pub disturbed: Vec<usize>,
    /// What broke into the repeats, each with the repeat's number.
    pub interruptions: Vec<(usize, Interruption)>,
    pub cut: Cut,
    /// How much later than the loopback the reply comes; 0 without a loopback.
    pub flight_frames: i64,
    /// Frames of reply after the last frame of a sweep.
    pub longest_after: usize,
}

impl Heard {
    /// The impulse response that one repeat alone tells.
    pub(super) fn impulse_of_repeat(&mut self, index: usize) -> WrappedImpulse {
        let reply = self.deconvolution.spectrum(&self.repeats.pieces[index]);
        match &self.loopback {
            Some(loopback) => {
                let drive = self.deconvolution.spectrum(&loopback.pieces[index]);
                self.deconvolution.impulse(&reply, &drive)
            }
            None => self.deconvolution.impulse(&reply, &self.drive),
        }
    }
}

/// What `timeline` holds of the reply, which comes `flight_frames` after the loopback.
pub(super) fn hear(timeline: &Timeline, pattern: &Pattern, flight_frames: i64) -> Result<Heard, ResponseError> {
    let plan = &timeline.plan;
    let reply = &timeline.channels[timeline.channels.len() - 1];
    let cut = Cut::of(plan, pattern.rate_hz, timeline.offset_frames, reply.len());
    let all = Repeats::cut(reply, plan, timeline.offset_frames, cut);
    if all.pieces.is_empty() {
        return Err(ResponseError::NoWholeSweep {
            recorded_s: reply.len() as f64 / pattern.rate_hz,
            sweep_s: pattern.samples.len() as f64 / pattern.rate_hz,
        });
    }
    let mut deconvolution = Deconvolution::new(pattern, cut.before + cut.after);
    let expected = cut.before as i64 + flight_frames;
    let interruptions = all_interruptions(&mut deconvolution, &all, cut, expected);
    let disturbed = left_out(&all, &interruptions);
    let disturbed_numbers: Vec<usize> = disturbed.iter().map(|&index| all.numbers[index]).collect();
    let repeats = all.without(&disturbed);
    let replied = deconvolution.spectrum(&repeats.mean());
    let played = deconvolution.played().to_vec();
    let before = cut.before as i64;
    let reach = (0.01 * pattern.rate_hz) as i64;
    let mut loopback = None;
    let (impulse, from_file, drive) = if timeline.channels.len() > 1 {
        let references = Repeats::cut(&timeline.channels[0], plan, timeline.offset_frames, cut).without(&disturbed);
        let drive = deconvolution.spectrum(&references.mean());
        loopback = Some(references);
        let impulse = deconvolution.impulse(&replied, &drive);
        (impulse, Some(deconvolution.impulse(&replied, &played)), drive)
    } else {
        (deconvolution.impulse(&replied, &played), None, played)
    };
    let file_peak = strongest(from_file.as_ref().unwrap_or(&impulse), before + flight_frames, reach);
    let peak = if from_file.is_some() { strongest(&impulse, flight_frames, reach) } else { file_peak };
    let longest_after = (cut.before + cut.after).saturating_sub(pattern.samples.len() + file_peak.max(0) as usize);
    Ok(Heard {
        deconvolution,
        impulse,
        from_file,
        drive,
        peak,
        file_peak,
        repeats,
        loopback,
        disturbed: disturbed_numbers,
        interruptions,
        cut,
        flight_frames,
        longest_after,
    })
}

/// Indices of the repeats that stand out, or that something broke into, as long as others are left.
fn left_out(all: &Repeats, interruptions: &[(usize, Interruption)]) -> Vec<usize> {
    let standing_out = all.disturbed();
    let interrupted = |index: &usize| interruptions.iter().any(|(number, _)| *number == all.numbers[*index]);
    let either: Vec<usize> =
        (0..all.pieces.len()).filter(|index| standing_out.contains(index) || interrupted(index)).collect();
    if either.len() < all.pieces.len() { either } else { standing_out }
}

/// What broke into each of the repeats, whose first frame's reply is expected at `expected`.
fn all_interruptions(
    deconvolution: &mut Deconvolution,
    repeats: &Repeats,
    cut: Cut,
    expected: i64,
) -> Vec<(usize, Interruption)> {
    let found = |(piece, &number): (&Vec<f64>, &usize)| {
        Some((number, interruption(deconvolution, piece, cut.before, expected)?))
    };
    foreign(repeats.pieces.iter().zip(&repeats.numbers).filter_map(found).collect(), repeats.pieces.len())
}
