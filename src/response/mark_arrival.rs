//! When the time marks arrive that another loudspeaker plays than the one that is measured.
//!
//! ```text
//! g_k = F⁻¹{B·Y_k·M*/|M|²}        e = |g + i·ĝ|        t_k: where e_k is highest
//! t = (t₁ + t₂)/2        u² = max((t₁ − t₂)²/4, ⟨ġ²⟩/(2·ë²))
//! ```
//!
//! Y_k: spectrum of the recording around mark k; M: of a mark as played; B: band limiter of the [`Pattern`]; ĝ: Hilbert transform of
//! g; t_k counts from where the mark's first frame would lie if it came without delay. ⟨ġ²⟩: noise of g's slope, from before the arrival; ë: curvature of e at
//! its top. The highest point is no onset: what counts is that two recordings with the same way from output to microphone have it at
//! the same time, so that it can be the zero of both. The marks must then be the same ones, band included.
//! Derivation of u: at the top of e, ė = 0; noise adds the part of its analytic signal's slope that is in phase with g, whose power is that of ġ,
//! and moves the top by that over ë. Two marks: half the power.
//! Envelope: see [`crate::math::envelope`]. Holds while the direct sound is the strongest one within 2 ms. Ours, because neither an
//! onset nor a minimum phase is as repeatable as a top.

use super::clock::{Room, around};
use super::locate::strongest;
use super::{Deconvolution, Pattern};
use crate::math::{InverseSpectrum, envelope};
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
/// A piece around a mark has this much in front …
const ROOM_BEFORE_S: f64 = 0.1;
/// … and this much behind, which holds its reply.
const ROOM_AFTER_S: f64 = 0.2;
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
    places.iter().all(is_clear).then_some(places)
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
    let top = |start: usize| {
        let place = first_place + start as i64 - first as i64;
        let found = top_of_envelope(recorded, place, &mark)?;
        Some((found.0 + (place - start as i64) as f64, found.1))
    };
    let ([one, u_one], [other, u_other]) = (top(first).map(<[f64; 2]>::from)?, top(last).map(<[f64; 2]>::from)?);
    let noise = 0.5 * u_one.hypot(u_other);
    Some(MarkArrival { frames: 0.5 * (one + other), u_frames: noise.max(0.5 * (one - other).abs()) })
}

/// By how many frames a mark that should begin at `place` is late, and what the noise makes of that (k = 1).
fn top_of_envelope(recorded: &[f64], place: i64, mark: &Pattern) -> Option<(f64, f64)> {
    let frames = |duration_s: f64| (duration_s * mark.rate_hz) as usize;
    let room = Room { before: frames(ROOM_BEFORE_S), after: frames(ROOM_AFTER_S) };
    let piece = around(recorded, place, mark.samples.len(), room)?;
    let mut deconvolution = Deconvolution::new(mark, piece.len());
    let (length, impulse) = (deconvolution.length(), deconvolution.impulse_of(piece));
    let heights = envelope(&impulse.bins, length);
    let reach = frames(STEP_S);
    let highest = (room.before - reach..=room.before + reach).max_by(|&a, &b| heights[a].total_cmp(&heights[b]))?;
    let [before, top, after] = [highest - 1, highest, highest + 1].map(|frame| heights[frame]);
    // A parabola through three points; at this rate it is off by a fiftieth of a frame at most.
    let curvature = before - 2.0 * top + after;
    if curvature >= 0.0 {
        return None;
    }
    let late = 0.5 * (before - after) / curvature;
    let slopes: Vec<Complex64> = impulse
        .bins
        .iter()
        .enumerate()
        .map(|(bin, value)| value * Complex64::new(0.0, TAU * bin as f64 / length as f64))
        .collect();
    let slopes = InverseSpectrum::new(length).samples(&slopes);
    let noise = rms(&slopes[room.before - frames(BEFORE_FROM_S)..room.before - frames(BEFORE_TO_S)]);
    Some((highest as f64 + late - room.before as f64, noise / -curvature))
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
