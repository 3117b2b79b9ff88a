//! What the gate's end leaves in doubt: the tail of the loudspeaker that it cuts off.
//!
//! ```text
//! D²(f) = ⟨|H_T(f) − H_{¾T}(f)|²⟩ − noise of the difference        u² += D²/4
//! ```
//!
//! H_T: response through the gate of length T, H_{¾T}: through one of three quarters of it, both around the same arrival;
//! the mean is over neighbouring frequencies. Bass that has not died away at ¾T has not died away at T either: what the
//! last quarter of the gate still changes is the measure of what lies behind it.
//! Where the difference is no more than the noise explains, nothing is added.
//! Ours, because a gated curve is never as sure at its low end as its noise says. The quarter was found on a hundred closed
//! boxes and gates (`docs/gate_doubt.py`): the rms of error over u is 0.80, and 97.2 % of the points lie within 2u.

use super::frequency::{FrequencyResponse, GatedResponse, NoiseThrough};
use super::gate::Gate;
use super::{Deconvolution, WrappedImpulse};
use crate::math::mean_around;

/// Share of the change's power that stands for the error of the level.
const SHARE: f64 = 0.25;
/// The shorter gate.
const SHORTER: f64 = 0.75;
/// The error turns with frequency, about once in 1/T; the mean is taken over as much to each side.
const REACH_TURNS: f64 = 0.5;
/// The difference counts where it is this much above its own noise. A mean of a few independent values of mean 1 reaches
/// 3 in one of a hundred cases.
const ABOVE_NOISE_POWER: f64 = 3.0;

/// Adds to the uncertainty of `response`, seen through `gate` as `long`, what the end of the gate leaves in doubt.
pub(super) fn widen_by_truncation(
    response: &mut FrequencyResponse,
    long: &GatedResponse,
    impulse: &WrappedImpulse,
    arrival_frames: f64,
    gate: Gate,
    noise: &NoiseThrough<'_>,
) {
    let deconvolution: &Deconvolution = noise.deconvolution;
    let shorter = gate.shortened(SHORTER);
    let short = GatedResponse::new(impulse, arrival_frames, shorter, deconvolution);
    let hz = response.grid.hz();
    let differences: Vec<f64> = hz.iter().map(|&hz| (long.at(hz) - short.at(hz)).norm_sqr()).collect();
    let resolution_hz = deconvolution.rate_hz() / gate.after_frames;
    // On a logarithmic grid a band of fixed width holds ever fewer points.
    let means = mean_around(&differences, |point| {
        let step_hz = hz[(point + 1).min(hz.len() - 1)] - hz[point.min(hz.len().saturating_sub(2))];
        if step_hz > 0.0 { (REACH_TURNS * resolution_hz / step_hz).round() as usize } else { 0 }
    });
    let frames = gate.noise_frames_beyond(shorter);
    for ((&hz, mean), u) in hz.iter().zip(means).zip(&mut response.u_ratio) {
        let expected = frames * noise.density(hz, resolution_hz, long.at(hz).norm());
        if mean > ABOVE_NOISE_POWER * expected {
            *u = (*u * *u + SHARE * (mean - expected)).sqrt();
        }
    }
}
