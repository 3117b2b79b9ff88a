//! The repeats of the reply, averaged and deconvolved by the loopback or by the excitation's file.
//!
//! No equation of its own: see [`super::deconvolve`] and [`super::repeats`].

use super::continuity::{FirstSound, in_order};
use super::each_repeat::{CutChannel, EachRepeat, Events};
use super::locate::strongest;
use super::timeline::Timeline;
use super::{Cut, Deconvolution, Interruption, Pattern, Repeats, ResponseError, WrappedImpulse, interruption};
use crate::math::both;
use num_complex::Complex64;
use std::sync::Arc;

/// The averaged repeats, deconvolved.
pub(super) struct Heard {
    pub deconvolution: Arc<Deconvolution>,
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
    /// What each sound alone tells of the arrival: those of the loopback, where there is one, then those of the reply.
    pub first_sounds: Vec<Vec<FirstSound>>,
    /// What broke into the repeats, each with the repeat's number; of a single one [`Heard::broken_into`] tells it.
    pub interruptions: Vec<(usize, Interruption)>,
    pub cut: Cut,
    /// Frame of a piece at which the first frame of the sweep is expected to arrive.
    pub arrival: i64,
    /// Frames of reply after the last frame of a sweep.
    pub longest_after: usize,
}

impl Heard {
    /// What broke into a single repeat; `None` where there are several.
    pub(super) fn broken_into(&self) -> Option<(usize, Interruption)> {
        let ([piece], true) = (self.repeats.pieces.as_slice(), self.disturbed.is_empty()) else { return None };
        let by_file = self.from_file.as_ref().unwrap_or(&self.impulse);
        let event = interruption(&self.deconvolution, piece, by_file, self.cut.before, self.arrival)?;
        Some((self.repeats.numbers[0], event))
    }

    /// The impulse response that one repeat alone tells.
    pub(super) fn impulse_of_repeat(&self, index: usize) -> WrappedImpulse {
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
    let deconvolution = match &timeline.sounds.sweep {
        prepared if cut.before + cut.after + pattern.samples.len() <= prepared.length() => prepared.clone(),
        // A corrected recording may be longer than it was.
        _ => Arc::new(Deconvolution::new(pattern, cut.before + cut.after)),
    };
    let before = cut.before as i64;
    let [first, last] = [0, timeline.channels.len() - 1];
    let references = (last > first).then(|| Repeats::cut(&timeline.channels[first], plan, timeline.offset_frames, cut));
    let sweeps = |channel: usize, repeats: &Repeats, late_frames: i64, events: Events| {
        let arrivals = plan.starts.iter().map(|&start| timeline.offset_frames + start as i64 + late_frames);
        let arrivals: Vec<i64> = arrivals.collect();
        let recorded = timeline.channels[channel].len();
        let channel = CutChannel { repeats, cut, recorded, arrivals: &arrivals, arrival: before + late_frames };
        EachRepeat::of(channel, &deconvolution, &timeline.sounds, events)
    };
    let marks = |channel: usize, late_frames: i64| {
        timeline.sounds.first_of_marks(&timeline.channels[channel], timeline.offset_frames + late_frames)
    };
    let ((of_loopback, marks_of_reply), of_reply) = both(
        || {
            let loopback = references.as_ref().map(|references| {
                let sweeps = sweeps(first, references, 0, Events::Ignored);
                (sweeps.only, in_order(sweeps.first_sounds, marks(first, 0)))
            });
            (loopback, marks(last, flight_frames))
        },
        || {
            // Of several repeats those that something broke into are left out; a single one stays, and it has time.
            let events = if all.pieces.len() > 1 { Events::LookedFor } else { Events::Ignored };
            sweeps(last, &all, flight_frames, events)
        },
    );
    let interruptions = of_reply.interruptions;
    let disturbed = left_out(&all, &interruptions);
    let disturbed_numbers: Vec<usize> = disturbed.iter().map(|&index| all.numbers[index]).collect();
    let repeats = all.without(&disturbed);
    let reach = (0.01 * pattern.rate_hz) as i64;
    let mut first_sounds = vec![in_order(of_reply.first_sounds, marks_of_reply)];
    let by_file = of_reply.only.map_or_else(|| deconvolution.impulse_of(&repeats.mean()), |(_, impulse)| impulse);
    let mut loopback = None;
    let (impulse, from_file, drive) = match (references, of_loopback) {
        (Some(references), Some((only, sounds))) => {
            first_sounds.insert(0, sounds);
            let references = references.without(&disturbed);
            let drive = only.map_or_else(|| deconvolution.spectrum(&references.mean()), |(bins, _)| bins);
            loopback = Some(references);
            (deconvolution.by_another(&by_file, &drive), Some(by_file), drive)
        }
        _ => (by_file, None, deconvolution.played().to_vec()),
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
        first_sounds,
        cut,
        arrival: before + flight_frames,
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
