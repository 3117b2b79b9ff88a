//! The frequency response of what the gate lets through, with its uncertainty.
//!
//! ```text
//! H(f) = Σ h[n]·w[n]·e^{−2πif·(n − τ)/f_s} / Σ b[n]·w[n]·e^{−2πif·n/f_s}
//! u²(|H|)/|H|² = Σw²·S(f)/(2·K·|X(f)|²·|H(f)|²)
//! ```
//!
//! h: impulse response, w: gate, τ: arrival in frames, b: impulse response of the band limiter alone, which a gate blurs
//! in the same way; dividing by it takes the limiter off again, and keeps a flat response flat to the ends of the band. S: noise density of the
//! recording, X: spectrum of the excitation, K: number of repeats. Noise is as strong across the signal's phase as along
//! it: half of its power moves the level, and the phase in radians is as uncertain as the level in nepers.
//! Derivation: deconvolved stationary noise has the density S/|X|² around the arrival; a window lets Σw² of it through,
//! averaged over the window's own bandwidth. Source of the last step: F. J. Harris, "On the use of windows for harmonic
//! analysis with the discrete Fourier transform", Proc. IEEE 66 (January 1978) 51–83 (noise bandwidth).

use super::gate::Gate;
use super::{Deconvolution, NoiseDensity, WrappedImpulse};
use crate::math::SpectrumAt;
use crate::quantity::FrequencyGrid;
use num_complex::Complex64;
use std::sync::Arc;

/// So many bins tell the mean of a sweep's smooth spectrum well enough.
const SMOOTH_BINS: usize = 100;
/// So many that of a noise's, which has holes.
const ROUGH_BINS: usize = 5_000;

/// What a system does to each frequency: reply over drive, complex and linear, referred to the arrival.
#[derive(Debug, Clone, PartialEq)]
pub struct FrequencyResponse {
    /// The frequencies.
    pub grid: FrequencyGrid,
    /// One value for each frequency.
    pub values: Vec<Complex64>,
    /// Standard uncertainty of the real, and of the imaginary part, for each frequency.
    pub u_ratio: Vec<f64>,
}

/// A gated response that can be read at any frequency.
pub struct GatedResponse {
    response: SpectrumAt,
    limiter: Arc<SpectrumAt>,
}

/// The spectrum of what a gate lets through, from the arrival on.
fn let_through(impulse: &WrappedImpulse, arrival_frames: f64, gate: Gate, rate_hz: f64) -> SpectrumAt {
    let (first, _) = gate.span(arrival_frames);
    SpectrumAt::new(&gate.cut(impulse, arrival_frames), rate_hz, arrival_frames - first as f64)
}

impl GatedResponse {
    /// What `gate` lets through around `arrival_frames`, at the sample rate of the deconvolution.
    pub fn new(impulse: &WrappedImpulse, arrival_frames: f64, gate: Gate, deconvolution: &Deconvolution) -> Self {
        let rate_hz = deconvolution.rate_hz();
        let limiter = Arc::new(let_through(deconvolution.limiter_impulse(), 0.0, gate, rate_hz));
        Self { response: let_through(impulse, arrival_frames, gate, rate_hz), limiter }
    }

    /// The same of another impulse response, at the same gate and arrival.
    pub fn of_another(&self, impulse: &WrappedImpulse, arrival_frames: f64, gate: Gate, rate_hz: f64) -> Self {
        Self { response: let_through(impulse, arrival_frames, gate, rate_hz), limiter: self.limiter.clone() }
    }

    /// H at a frequency in the band.
    pub fn at(&self, frequency_hz: f64) -> Complex64 {
        self.response.at(frequency_hz) / self.limiter.at(frequency_hz)
    }
}

/// The noise that a deconvolved recording carries, ready to be read at any frequency.
pub struct NoiseThrough<'a> {
    /// Transform and limiter.
    pub deconvolution: &'a Deconvolution,
    /// What tells the noise.
    pub told_by: NoiseSource<'a>,
    /// K.
    pub repeats: usize,
}

/// What tells the noise of a deconvolved recording.
pub enum NoiseSource<'a> {
    /// The recording's silences, through what it was divided by.
    Silences {
        /// The excitation's spectrum, or the loopback's.
        drive: &'a [Complex64],
        /// Noise of the reply.
        reply: &'a NoiseDensity,
        /// Noise of the loopback, where it was divided by.
        reference: Option<&'a NoiseDensity>,
    },
    /// The impulse response itself, from before the arrival: there was no silence.
    Impulse(&'a NoiseDensity),
}

impl NoiseThrough<'_> {
    /// Power of one sample of deconvolved noise around a frequency, averaged over `bandwidth_hz`, for a response of
    /// magnitude `response_ratio` there.
    pub fn density(&self, frequency_hz: f64, bandwidth_hz: f64, response_ratio: f64) -> f64 {
        match &self.told_by {
            NoiseSource::Impulse(density) => density.at(frequency_hz),
            NoiseSource::Silences { drive, reply, reference } => {
                let replied = reply.at(frequency_hz);
                let driven = reference.map_or(0.0, |noise| noise.at(frequency_hz) * response_ratio * response_ratio);
                self.mean_inverse_power(drive, frequency_hz, bandwidth_hz) * (replied + driven) / self.repeats as f64
            }
        }
    }

    /// The mean of V²/|X|² around a frequency, over the mean of V squared: 1/|X|² where the spectrum has no holes.
    fn mean_inverse_power(&self, drive: &[Complex64], frequency_hz: f64, bandwidth_hz: f64) -> f64 {
        let pattern = self.deconvolution.pattern();
        let limiter = self.deconvolution.limiter();
        let step_hz = self.deconvolution.bin_hz(1);
        let last = drive.len() - 1;
        let first = ((frequency_hz - 0.5 * bandwidth_hz) / step_hz).round().max(1.0) as usize;
        let end = (((frequency_hz + 0.5 * bandwidth_hz) / step_hz).round() as usize).clamp(1, last);
        let most = if pattern.rate_constant_s.is_some() { SMOOTH_BINS } else { ROUGH_BINS };
        let stride = ((end.max(first) - first) / most).max(1);
        let (mut sum, mut passed, mut count) = (0.0, 0.0, 0.0);
        for bin in (first.min(end)..=end).step_by(stride) {
            // Nothing comes through from outside the band.
            let hz = bin as f64 * step_hz;
            if (pattern.band_hz[0]..=pattern.band_hz[1]).contains(&hz) && limiter[bin] != Complex64::ZERO {
                let open = limiter[bin].norm_sqr() / pattern.limiter_power_in_band(hz);
                sum += open / drive[bin].norm_sqr().max(f64::MIN_POSITIVE);
                passed += open.sqrt();
                count += 1.0;
            }
        }
        if passed > 0.0 { sum * count / (passed * passed) } else { 0.0 }
    }
}

/// The response on a grid, with the uncertainty that the noise leaves.
pub fn frequency_response(
    gated: &GatedResponse,
    grid: &FrequencyGrid,
    gate: Gate,
    noise: &NoiseThrough<'_>,
) -> FrequencyResponse {
    let rate_hz = noise.deconvolution.rate_hz();
    let bandwidth_hz = rate_hz / gate.noise_frames();
    let values: Vec<Complex64> = grid.hz().iter().map(|&hz| gated.at(hz)).collect();
    let u_ratio = grid
        .hz()
        .iter()
        .zip(&values)
        .map(|(&hz, value)| (0.5 * gate.noise_frames() * noise.density(hz, bandwidth_hz, value.norm())).sqrt())
        .collect();
    FrequencyResponse { grid: grid.clone(), values, u_ratio }
}

impl FrequencyResponse {
    /// 20·log₁₀|H|, one for each point.
    pub fn magnitude_db(&self) -> Vec<f64> {
        self.values.iter().map(|value| 20.0 * value.norm().log10()).collect()
    }

    /// Standard uncertainty of the level in dB, one for each point.
    pub fn u_db(&self) -> Vec<f64> {
        let decibels = 20.0 / std::f64::consts::LN_10;
        self.values.iter().zip(&self.u_ratio).map(|(value, u)| decibels * u / value.norm()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::response::Pattern;
    use std::f64::consts::TAU;

    /// One click of height 2, which excites everything alike, and a transform of 8,000 frames or more.
    fn click() -> Deconvolution {
        let pattern = Pattern {
            samples: vec![2.0, 0.0],
            rate_hz: 48_000.0,
            band_hz: [100.0, 18_000.0],
            played_hz: [50.0, 22_000.0],
            rate_constant_s: Some(10.0),
        };
        Deconvolution::new(&pattern, 8_000)
    }

    #[test]
    fn a_gated_delay_has_the_level_one_and_the_phase_zero_up_to_the_ends_of_the_band() {
        let deconvolution = click();
        let length = deconvolution.length() as f64;
        let arrival_frames = 700.25;
        // 0.6 of the click, late by the arrival, through the limiter.
        let turn = |bin: usize| Complex64::cis(-TAU * bin as f64 * arrival_frames / length);
        let bins: Vec<Complex64> =
            deconvolution.limiter().iter().enumerate().map(|(bin, b)| 0.6 * b * turn(bin)).collect();
        let samples = crate::math::InverseSpectrum::new(deconvolution.length()).samples(&bins);
        let impulse = WrappedImpulse { samples, bins };
        let gate = Gate::around(500.0, 1_000.0);
        let gated = GatedResponse::new(&impulse, arrival_frames, gate, &deconvolution);
        for hz in [100.0, 130.0, 1_000.0, 17_900.0, 18_000.0] {
            // 1e-4 (0.001 dB): the gate lies a quarter of a frame off that of the limiter's own response.
            assert!((gated.at(hz) - 0.6).norm() < 1e-4, "{hz}: {}", gated.at(hz));
        }
        // The reply of the click itself comes out as what it was multiplied with.
        let mut recorded = vec![0.0; 4_000];
        recorded[900] = 2.0 * -0.25;
        let gated = GatedResponse::new(&deconvolution.impulse_of(&recorded), 900.0, gate, &deconvolution);
        // 1e-6: a whole frame, so that both gates are the same; what is left is the interpolation between bins.
        assert!((gated.at(3_000.0) + 0.25).norm() < 1e-6);
    }

    /// Noise alone, at the same place as a response: what is left of it is the uncertainty. K repeats leave √(1/K) of it.
    #[test]
    fn the_uncertainty_is_the_scatter_that_noise_leaves() {
        let deconvolution = click();
        let gate = Gate::around(200.0, 1_000.0);
        let grid = FrequencyGrid::new((1..60).map(|n| 300.0 * f64::from(n)).collect()).unwrap();
        let mut random = Random::new(11);
        let (mut scatter, trials) = (vec![0.0; grid.hz().len()], 40);
        for _ in 0..trials {
            let recorded: Vec<f64> = (0..8_000).map(|_| 0.1 * random.normal()).collect();
            let gated = GatedResponse::new(&deconvolution.impulse_of(&recorded), 4_000.0, gate, &deconvolution);
            for (sum, &hz) in scatter.iter_mut().zip(grid.hz()) {
                *sum += gated.at(hz).re.powi(2) / f64::from(trials);
            }
        }
        let noise = NoiseDensity::white(0.01);
        let drive = deconvolution.played().to_vec();
        let told_by = |reference| NoiseSource::Silences { drive: &drive, reply: &noise, reference };
        let through = |told_by, repeats| NoiseThrough { deconvolution: &deconvolution, told_by, repeats };
        let flat = click();
        let mut recorded = vec![0.0; 8_000];
        recorded[4_000] = 2.0;
        let impulse = flat.impulse_of(&recorded);
        let gated = GatedResponse::new(&impulse, 4_000.0, gate, &flat);
        let response = frequency_response(&gated, &grid, gate, &through(told_by(None), 1));
        let share = scatter.iter().zip(&response.u_ratio).map(|(s, u)| s / (u * u)).sum::<f64>() / scatter.len() as f64;
        // 9 %: three standard errors of 59·40 squared normal values.
        assert!((share - 1.0).abs() < 0.09, "{share}");
        let at = |told_by, repeats| through(told_by, repeats).density(1_000.0, 50.0, 3.0);
        // 0.01/2²; the noise of the loopback counts by the response's own power, 1 + 9; four repeats leave a quarter.
        // 1e-6: the limiter is open to 1e-8 there.
        for (found, expected) in
            [(at(told_by(None), 1), 0.0025), (at(told_by(Some(&noise)), 1), 0.025), (at(told_by(None), 4), 0.000_625)]
        {
            assert!((found / expected - 1.0).abs() < 1e-6, "{found} {expected}");
        }
        // Already divided: nothing is divided again.
        assert_eq!(at(NoiseSource::Impulse(&noise), 4), 0.01);
    }

    /// du in dB: 20·log₁₀(1 + u/|H|) for a small u.
    #[test]
    fn levels_and_their_uncertainties_are_in_decibels() {
        let grid = FrequencyGrid::new(vec![100.0, 200.0]).unwrap();
        let values = vec![Complex64::new(0.0, -10.0), Complex64::new(3.0, 4.0)];
        let response = FrequencyResponse { grid, values, u_ratio: vec![0.001, 0.001] };
        assert_eq!(response.magnitude_db()[0], 20.0);
        for (u_db, norm) in response.u_db().iter().zip([10.0, 5.0]) {
            // 2e-4: the second term of the logarithm's series.
            assert!((u_db / (20.0 * f64::log10(1.0 + 0.001 / norm)) - 1.0).abs() < 2e-4);
        }
    }

    /// For |X|² = f the mean of 1/|X|² over a band of width b is ln((f + b/2)/(f − b/2))/b.
    #[test]
    fn the_noise_of_a_band_is_its_mean_not_that_of_its_middle() {
        let deconvolution = click();
        let drive: Vec<Complex64> =
            (0..deconvolution.played().len()).map(|bin| Complex64::from(deconvolution.bin_hz(bin).sqrt())).collect();
        let reply = NoiseDensity::white(1.0);
        let told_by = NoiseSource::Silences { drive: &drive, reply: &reply, reference: None };
        let noise = NoiseThrough { deconvolution: &deconvolution, told_by, repeats: 1 };
        for width_hz in [60.0f64, 600.0, 1_600.0] {
            let expected = ((1_000.0 + 0.5 * width_hz) / (1_000.0 - 0.5 * width_hz)).ln() / width_hz;
            // 1 %: a sum over bins of 6 Hz against the integral.
            assert!((noise.density(1_000.0, width_hz, 0.0) / expected - 1.0).abs() < 0.01, "{width_hz}");
        }
        // A short gate of 4 ms is 300 Hz wide, at 300 Hz wide enough to tell.
        let gate = Gate::around(1.0, 192.0);
        let frames: f64 = (0..=192).map(|n| gate.weight(f64::from(n)).powi(2)).sum();
        let half_hz = 0.5 * 48_000.0 / frames;
        let expected = ((300.0 + half_hz) / (300.0 - half_hz)).ln() / (2.0 * half_hz);
        let grid = FrequencyGrid::new(vec![300.0]).unwrap();
        let gated = GatedResponse::new(deconvolution.limiter_impulse(), 0.0, gate, &deconvolution);
        let u = frequency_response(&gated, &grid, gate, &noise).u_ratio[0];
        // 3 %: the sum over bins of 6 Hz, and over frames, against their integrals.
        assert!((u * u / (0.5 * frames * expected) - 1.0).abs() < 0.03, "{u}");
    }
}
