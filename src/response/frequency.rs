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
    limiter: SpectrumAt,
}

impl GatedResponse {
    /// What `gate` lets through around `arrival_frames`, at the sample rate of the deconvolution.
    pub fn new(impulse: &WrappedImpulse, arrival_frames: f64, gate: Gate, deconvolution: &Deconvolution) -> Self {
        let rate_hz = deconvolution.rate_hz();
        let (first, _) = gate.span(arrival_frames);
        let response = SpectrumAt::new(&gate.cut(impulse, arrival_frames), rate_hz, arrival_frames - first as f64);
        let limiter_impulse = deconvolution.limiter_impulse();
        let (first, _) = gate.span(0.0);
        let limiter = SpectrumAt::new(&gate.cut(limiter_impulse, 0.0), rate_hz, -(first as f64));
        Self { response, limiter }
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
                let open = limiter[bin].norm() / pattern.limiter_in_band(hz).norm();
                sum += open * open / drive[bin].norm_sqr().max(f64::MIN_POSITIVE);
                passed += open;
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
