//! When the time marks arrive that another loudspeaker plays than the one that is measured.
//!
//! ```text
//! g_k = F⁻¹{B·Y_k·M*/|M|²}        e = |g + i·ĝ|        t_k: where e_k is highest
//! t = (t₁ + t₂)/2        u² = max((t₁ − t₂)²/4, ⟨n²⟩/(2·ë²))        n = F⁻¹{(ω − ω₀)·G_k}
//! ```
//!
//! Y_k: spectrum of the recording around mark k; M: of a mark as played; B: band limiter of the [`Pattern`]; ĝ: Hilbert transform of
//! g, whose spectrum is G; t_k counts from where the mark's first frame would lie if it came without delay. ω₀: how fast the phase of g + i·ĝ
//! turns at the top; ⟨n²⟩: mean before the arrival, where g is noise; ë: curvature of e at its top. The highest point is no onset: what counts is
//! that two recordings with the same way from output to microphone have it at the same time, so that it can be the zero of both. The marks
//! must then be the same ones, band included.
//! Derivation of u: noise adds to e what of its analytic signal is in phase with that of g, which turns with ω₀; the slope of that has the
//! power ⟨n²⟩, and moves the top, where ė = 0, by itself over ë. Two marks: half the power.
//! Envelope: see [`crate::math::envelope`]. Holds while the direct sound is the strongest one within 2 ms. Ours, because neither an
//! onset nor a minimum phase is as repeatable as a top.

use super::clock::{Room, around};
use super::locate::strongest;
use super::{Deconvolution, Pattern};
use crate::math::{InverseSpectrum, envelope, highest_place};
use crate::signal::{Excitation, Plan};
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::ops::Range;

/// Which way the time marks go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarksPath {
    /// That of the sweeps.
    Shared,
    /// One of their own: from an output that is the same in all captures of a place.
    Own,
}

/// When the marks arrive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkArrival {
    /// Frame of the recording in which the excitation would begin if its marks came without delay, fractions included.
    pub frames: f64,
    /// Standard uncertainty.
    pub u_frames: f64,
}

/// Marks are looked for in steps of this, which the smear of a wrong clock does not fill.
const STEP_S: f64 = 0.002;
/// Two marks may be nearer or further apart than when played by this: no clock is worse.
const LARGEST_DRIFT_RATIO: f64 = 5e-4;
/// What is before a mark's arrival from here …
const BEFORE_FROM_S: f64 = 0.06;
/// … to here is noise: the sound of a mark that runs downwards has its harmonics behind it.
const BEFORE_TO_S: f64 = 0.01;
/// The top stands this far (20 dB) out of the noise; of noise alone the highest of a minute's samples is five times its rms.
const CLEAR_RATIO: f64 = 10.0;
/// Two marks of one loudspeaker are equally loud, but for somebody who moves; one twice as high as the other is another sound.
const MOST_UNLIKE_RATIO: f64 = 2.0;
/// A piece around a mark has this much in front …
const ROOM_BEFORE_S: f64 = 0.1;
/// … and this much behind, which holds its reply.
const ROOM_AFTER_S: f64 = 0.2;
/// The curvature of the top is taken over this, a small part of any envelope.
const CURVE_FRAMES: f64 = 0.25;
/// The sweeps are looked for without what lies from so long before a mark …
const LEFT_OUT_BEFORE_S: f64 = 0.05;
/// … to so long after it, when the room has died away by 30 dB or more.
const LEFT_OUT_AFTER_S: f64 = 0.3;

/// The frames of `recorded` at which the two marks begin, by their strongest arrivals; `None` where they can't be told from noise.
pub fn find_marks(recorded: &[f64], excitation: &Excitation, pattern: &Pattern) -> Option<[i64; 2]> {
    let &[first_start, .., last_start] = excitation.plan.mark_starts.as_slice() else { return None };
    let rate_hz = pattern.rate_hz;
    let impulse =
        Deconvolution::new(&Pattern::of_mark(excitation, pattern, first_start), recorded.len()).impulse_of(recorded);
    let step = (STEP_S * rate_hz).max(1.0) as usize;
    let energies: Vec<f64> =
        impulse.samples[..recorded.len()].chunks(step).map(|chunk| chunk.iter().map(|x| x * x).sum()).collect();
    // An arrival on the seam of two steps is in both.
    let gathered: Vec<f64> = energies.windows(2).map(|pair| pair[0] + pair[1]).collect();
    let distance = (last_start - first_start) / step;
    let reach = (LARGEST_DRIFT_RATIO * distance as f64).ceil() as usize + 1;
    let highest = |range: Range<usize>| range.max_by(|&one, &other| gathered[one].total_cmp(&gathered[other]));
    let pairs = (0..gathered.len()).filter_map(|one| {
        let other = highest((one + distance).saturating_sub(reach)..(one + distance + reach + 1).min(gathered.len()))?;
        Some(([one, other], gathered[one].min(gathered[other])))
    });
    let ([one, other], _) = pairs.reduce(|best, pair| if pair.1 > best.1 { pair } else { best })?;
    let places = [one, other].map(|block| strongest(&impulse, ((block + 1) * step) as i64, step as i64));
    let frames = |duration_s: f64| (duration_s * rate_hz) as i64;
    let is_clear = |&place: &i64| {
        let first = place - frames(BEFORE_FROM_S);
        let before = impulse.cut(first, (frames(BEFORE_FROM_S) - frames(BEFORE_TO_S)) as usize);
        first >= 0 && impulse.at(place).abs() > CLEAR_RATIO * rms(&before)
    };
    let heights = places.map(|place| impulse.at(place).abs());
    let is_alike = heights[0].max(heights[1]) < MOST_UNLIKE_RATIO * heights[0].min(heights[1]);
    (is_alike && places.iter().all(is_clear)).then_some(places)
}

/// The marks' arrival in a recording on the player's clock, in which the first one begins near frame `first_place`. `None` where the
/// recording does not hold both whole.
pub fn mark_arrival(
    recorded: &[f64],
    excitation: &Excitation,
    pattern: &Pattern,
    first_place: i64,
) -> Option<MarkArrival> {
    let starts = &excitation.plan.mark_starts;
    let (&first, &last) = (starts.first()?, starts.last()?);
    let mark = Pattern::of_mark(excitation, pattern, first);
    let top = |start: usize| top_of_envelope(recorded, first_place + start as i64 - first as i64, &mark);
    let (one, other) = (top(first)?, top(last)?);
    let noise_frames = 0.5 * one.u_frames.hypot(other.u_frames);
    Some(MarkArrival {
        frames: 0.5 * (one.frames + other.frames) + (first_place - first as i64) as f64,
        u_frames: noise_frames.max(0.5 * (one.frames - other.frames).abs()),
    })
}

/// When a mark arrives, after the frame `place` at which it should begin.
fn top_of_envelope(recorded: &[f64], place: i64, mark: &Pattern) -> Option<MarkArrival> {
    let frames = |duration_s: f64| (duration_s * mark.rate_hz) as usize;
    let room = Room { before: frames(ROOM_BEFORE_S), after: frames(ROOM_AFTER_S) };
    let piece = around(recorded, place, mark.samples.len(), room)?;
    let deconvolution = Deconvolution::new(mark, piece.len());
    let (length, impulse) = (deconvolution.length(), deconvolution.impulse_of(piece));
    let heights = envelope(&impulse.bins, length);
    let reach = frames(STEP_S);
    let highest = (room.before - reach..=room.before + reach).max_by(|&a, &b| heights[a].total_cmp(&heights[b]))?;
    let height = |off: f64| height_at(&impulse.bins, length, highest as f64 + off);
    let late = highest_place(height, 1.0, 0.5);
    let curvature =
        (height(late - CURVE_FRAMES) - 2.0 * height(late) + height(late + CURVE_FRAMES)) / CURVE_FRAMES.powi(2);
    if curvature >= 0.0 {
        return None;
    }
    let carrier_rad = carrier_rad(&impulse.bins, length, highest as f64 + late);
    let off_carrier = |bin: usize| TAU * bin as f64 / length as f64 - carrier_rad;
    let slopes: Vec<Complex64> = impulse.bins.iter().enumerate().map(|(bin, value)| value * off_carrier(bin)).collect();
    let slopes = InverseSpectrum::new(length).samples(&slopes);
    let noise = rms(&slopes[room.before - frames(BEFORE_FROM_S)..room.before - frames(BEFORE_TO_S)]);
    Some(MarkArrival { frames: highest as f64 + late - room.before as f64, u_frames: noise / -curvature })
}

/// e at a place between the frames, but for a constant factor: the sum over all positive frequencies.
fn height_at(bins: &[Complex64], length: usize, frame: f64) -> f64 {
    let turn = TAU * frame / length as f64;
    let sum: Complex64 =
        bins.iter().enumerate().skip(1).map(|(bin, value)| value * Complex64::cis(turn * bin as f64)).sum();
    2.0 * sum.norm() / length as f64
}

/// ω₀ at a place, in radians a frame.
fn carrier_rad(bins: &[Complex64], length: usize, frame: f64) -> f64 {
    let turn = TAU * frame / length as f64;
    let turned =
        bins.iter().enumerate().skip(1).map(|(bin, value)| (bin as f64, value * Complex64::cis(turn * bin as f64)));
    let (sum, slope) = turned.fold((Complex64::ZERO, Complex64::ZERO), |(sum, slope), (bin, value)| {
        (sum + value, slope + value * (TAU * bin / length as f64))
    });
    (slope / sum).re
}

fn rms(samples: &[f64]) -> f64 {
    (samples.iter().map(|x| x * x).sum::<f64>() / samples.len().max(1) as f64).sqrt()
}

/// The recording without its marks, which begin at `places`: silence in their stead.
pub(super) fn without_marks(recorded: &[f64], places: [i64; 2], plan: &Plan, rate_hz: f64) -> Vec<f64> {
    let mut left = recorded.to_vec();
    let inside = |frame: i64| frame.clamp(0, recorded.len() as i64) as usize;
    for place in places {
        let first = inside(place - (LEFT_OUT_BEFORE_S * rate_hz) as i64);
        let last = inside(place + plan.mark_frames as i64 + (LEFT_OUT_AFTER_S * rate_hz) as i64);
        left[first..last].fill(0.0);
    }
    left
}

/// The plan with its marks where they are heard against the sweeps, whose frame 0 arrives at `offset_frames`.
pub(super) fn plan_as_heard(plan: &Plan, first_place: i64, offset_frames: i64) -> Plan {
    let first = plan.mark_starts.first().map_or(0, |&start| start as i64);
    let late = first_place - offset_frames - first;
    let mark_starts = plan.mark_starts.iter().map(|&start| (start as i64 + late).max(0) as usize).collect();
    Plan { mark_starts, ..plan.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::signal::{Marks, Sequence, SweepSettings};

    fn excitation() -> Excitation {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 100.0, to_hz: 16_000.0, lowest_hz: None, duration_s: 0.3 };
        Sequence { sweep, level_dbfs: -6.0, repeats: 2, marks: Marks::BeforeAndAfter, pause_s: 0.5 }
            .excitation()
            .unwrap()
    }

    /// The excitation at some gain behind 1,500 frames, with its marks 77 frames later than all else, in noise.
    fn recorded(excitation: &Excitation, marks_gain: f64, sweeps_gain: f64, noise: &mut Random, rms: f64) -> Vec<f64> {
        let plan = &excitation.plan;
        let mut heard = vec![0.0; 1_500 + 77 + excitation.samples.len()];
        for (frame, sample) in excitation.samples.iter().enumerate() {
            let is_mark = plan.mark_starts.iter().any(|&start| (start..start + plan.mark_frames).contains(&frame));
            heard[1_500 + frame + if is_mark { 77 } else { 0 }] +=
                sample * if is_mark { marks_gain } else { sweeps_gain };
        }
        heard.iter().map(|x| x + rms * noise.normal()).collect()
    }

    #[test]
    fn marks_are_found_among_sweeps_ten_times_as_loud_and_not_where_there_are_none() {
        let excitation = excitation();
        let pattern = Pattern::of(&excitation).unwrap();
        let found_in = |marks_gain, sweeps_gain, noise_rms| {
            let recorded = recorded(&excitation, marks_gain, sweeps_gain, &mut Random::new(4), noise_rms);
            find_marks(&recorded, &excitation, &pattern)
        };
        let found = |marks_gain, sweeps_gain| found_in(marks_gain, sweeps_gain, 1e-4);
        let starts = [excitation.plan.mark_starts[0], excitation.plan.mark_starts[1]];
        let expected = starts.map(|start| (1_577 + start) as i64);
        assert_eq!([found(0.1, 1.0), found(1.0, 0.0)], [Some(expected); 2]);
        assert_eq!([found(0.0, 1.0), found(0.0, 0.0), found(1e-4, 1.0)], [None; 3]);
        // Where there is no noise, nothing that is left of the sweeps passes for a mark either.
        assert_eq!([found_in(0.0, 1.0, 0.0), found_in(0.1, 1.0, 0.0)], [None, Some(expected)]);
    }

    #[test]
    fn an_arrival_in_noise_is_found_within_its_own_uncertainty() {
        let excitation = excitation();
        let pattern = Pattern::of(&excitation).unwrap();
        let mut random = Random::new(21);
        let first = (1_577 + excitation.plan.mark_starts[0]) as i64;
        let found = |recorded: &[f64]| mark_arrival(recorded, &excitation, &pattern, first + 3).unwrap();
        // Half a frame: the twelve poles of the band's limit at f₁ = 50 Hz delay f by 12·f₁/(2πf²), 1 kHz by five frames and 10 kHz by a
        // twentieth; the top lies between, always at the same place.
        let still = found(&recorded(&excitation, 0.3, 0.0, &mut random, 0.0)).frames;
        assert!((still - 1_577.0).abs() < 0.5, "{still}");
        let (mut spread, runs) = (0.0, 100);
        for _ in 0..runs {
            let found = found(&recorded(&excitation, 0.3, 0.0, &mut random, 3e-3));
            spread += ((found.frames - still) / found.u_frames).powi(2) / f64::from(runs);
        }
        // The larger of two doubts is taken: 0.85 is expected (by the integral over the normal distribution), with a standard error
        // of 0.13 or less over 100 runs; three of them.
        assert!((0.46..1.24).contains(&spread), "{spread}");
    }

    /// By hand at 1 kHz: 50 ms in front of a mark of 100 frames, 300 ms behind it.
    #[test]
    fn what_is_left_out_lies_around_the_marks_and_a_moved_plan_moves_nothing_else() {
        let plan = Plan { mark_starts: vec![1_000, 3_000], mark_frames: 100, starts: vec![1_600], ..excitation().plan };
        let left = without_marks(&[1.0; 3_200], [1_020, 3_021], &plan, 1_000.0);
        let silent = |frame: usize| (970..1_420).contains(&frame) || frame >= 2_971;
        assert!(left.iter().enumerate().all(|(frame, &x)| x == if silent(frame) { 0.0 } else { 1.0 }));
        let heard = plan_as_heard(&plan, 1_020, -7);
        assert_eq!((heard.mark_starts, heard.starts), (vec![1_027, 3_027], plan.starts));
    }
}
