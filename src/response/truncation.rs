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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::FrequencyGrid;
    use crate::response::frequency::{NoiseSource, frequency_response};
    use crate::response::{NoiseDensity, Pattern};
    use num_complex::Complex64;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 8_000.0;
    const ARRIVAL: i64 = 1_000;

    fn click() -> Deconvolution {
        let pattern = Pattern {
            samples: vec![1.0, 0.0],
            rate_hz: RATE_HZ,
            band_hz: [20.0, 3_000.0],
            played_hz: [10.0, 3_600.0],
            rate_constant_s: Some(10.0),
        };
        Deconvolution::new(&pattern, 8_000)
    }

    /// u before and after the widening, for a click and a bass tail of a 40 Hz resonance that dies away over `tail_s`.
    fn widened(tail_s: f64, density: f64) -> (FrequencyResponse, FrequencyResponse, WrappedImpulse) {
        let deconvolution = click();
        let mut recorded = vec![0.0; 8_000];
        for (n, sample) in recorded[ARRIVAL as usize..].iter_mut().enumerate() {
            let time_s = n as f64 / RATE_HZ;
            *sample = f64::from(n == 0) - 0.05 * (-time_s / tail_s).exp() * (TAU * 40.0 * time_s).sin();
        }
        let impulse = deconvolution.impulse_of(&recorded);
        let gate = Gate::around(200.0, 160.0);
        let gated = GatedResponse::new(&impulse, ARRIVAL as f64, gate, &deconvolution);
        let grid = FrequencyGrid::of_octave_fractions([30.0, 2_000.0], 48).unwrap();
        let noise = NoiseDensity::white(density);
        let noise = NoiseThrough { deconvolution: &deconvolution, told_by: NoiseSource::Impulse(&noise), repeats: 1 };
        let before = frequency_response(&gated, &grid, gate, &noise);
        let mut after = before.clone();
        widen_by_truncation(&mut after, &gated, &impulse, ARRIVAL as f64, gate, &noise);
        (before, after, impulse)
    }

    /// The slow twin: both gates by direct sums, the mean point by point.
    #[test]
    fn the_uncertainty_grows_by_half_of_what_the_gates_last_quarter_still_changes() {
        let (before, after, impulse) = widened(0.02, 1e-16);
        let deconvolution = click();
        let limiter = deconvolution.limiter_impulse();
        let sum = |impulse: &WrappedImpulse, arrival: i64, length: f64, hz: f64| -> Complex64 {
            (-200..=160)
                .map(|n| {
                    // Flat over three quarters, then a half cosine; half of the part before the arrival rises.
                    let after = f64::from(n);
                    let weight = if n < 0 {
                        0.5 - 0.5 * (std::f64::consts::PI * ((after + 200.0) / 100.0).min(1.0)).cos()
                    } else if after > length {
                        0.0
                    } else {
                        0.5 + 0.5 * (std::f64::consts::PI * ((after - 0.75 * length) / (0.25 * length)).max(0.0)).cos()
                    };
                    impulse.at(arrival + i64::from(n)) * weight * Complex64::cis(-TAU * hz / RATE_HZ * after)
                })
                .sum()
        };
        let at = |length: f64, hz: f64| sum(&impulse, ARRIVAL, length, hz) / sum(limiter, 0, length, hz);
        let hz = before.grid.hz();
        let change = |point: usize| (at(160.0, hz[point]) - at(120.0, hz[point])).norm_sqr();
        for point in [40, 100, 200, 250] {
            // Half of 1/T, 25 Hz, to each side.
            let reach = (25.0 / (hz[point + 1] - hz[point])).round() as usize;
            let reach = reach.min(point).min(hz.len() - 1 - point);
            let mean = (point - reach..=point + reach).map(change).sum::<f64>() / (2 * reach + 1) as f64;
            let expected = (before.u_ratio[point].powi(2) + mean / 4.0).sqrt();
            // 1e-4: spectra interpolated to −130 dB of the strongest, against differences some 60 dB below it.
            assert!((after.u_ratio[point] / expected - 1.0).abs() < 1e-4, "{}: {expected}", hz[point]);
        }
        // The bass has not died away at the gate's end: there the doubt is real, and above 1 kHz it is small.
        assert!(after.u_ratio[20] > 0.05 && after.u_ratio[280] < 0.01);
    }

    #[test]
    fn a_change_that_the_noise_explains_adds_nothing() {
        let (before, after, _) = widened(0.02, 1.0);
        assert_eq!(before.u_ratio, after.u_ratio);
        // A tail that is over before three quarters of the gate, 1e-5 of its height by then, is no doubt.
        let (before, after, _) = widened(0.001, 1e-10);
        assert_eq!(before.u_ratio[200], after.u_ratio[200]);
    }

    /// Noise that is a fifth of the change is taken off the change; the gates' difference lets Σ(w − v)² of it through.
    #[test]
    fn the_noise_of_the_difference_is_not_counted_twice() {
        let (_, quiet, _) = widened(0.02, 1e-16);
        let mut frames = 0.0;
        for n in 0..=160 {
            let weight = |length: f64| {
                let falling = ((f64::from(n) - 0.75 * length) / (0.25 * length)).clamp(0.0, 1.0);
                0.5 + 0.5 * (std::f64::consts::PI * falling).cos()
            };
            frames += (weight(160.0) - weight(120.0)).powi(2);
        }
        let point = 100;
        let change_power = 4.0 * quiet.u_ratio[point].powi(2);
        let (before, after, _) = widened(0.02, 0.2 * change_power / frames);
        let expected = (before.u_ratio[point].powi(2) + 0.8 * change_power / 4.0).sqrt();
        // 1e-3: the quiet one has its own noise of 1e-16, and the sums are those of 161 frames.
        assert!((after.u_ratio[point] / expected - 1.0).abs() < 1e-3, "{} {expected}", after.u_ratio[point]);
    }
}
