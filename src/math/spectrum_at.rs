//! The spectrum of a short record at any frequency.
//!
//! ```text
//! X(f) = Σ x[n]·e^{−2πi·f·(n − n₀)/f_s}
//! ```
//!
//! f_s: sample rate, Hz; n₀: index of time zero, fractions included. A transform padded fourfold is interpolated between
//! its bins: a record of M samples in the middle of N ≥ 4M has a spectrum that a Kaiser-windowed sinc of [`TAPS`] bins
//! restores to −130 dB (transition from N/8 to 7N/8).
//! Derivation: the sampling theorem with time and frequency exchanged; depth by Kaiser's formula
//! A = 2.285·TAPS·Δω + 8 with Δω = 2π·6/8.

use super::{Kaiser, Spectrum, good_length, kaiser_beta};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Bins that take part in one value.
const TAPS: usize = 12;
/// Padding, in lengths of the record.
const PADDING: usize = 4;
const DEPTH_DB: f64 = 137.0;

/// A record's spectrum, ready to be read at any frequency.
pub struct SpectrumAt {
    bins: Vec<Complex64>,
    length: usize,
    rate_hz: f64,
    middle: usize,
    zero_index: f64,
    window: Kaiser,
}

impl SpectrumAt {
    /// The spectrum of `samples`, sampled at `rate_hz`, whose time zero lies at `zero_index`.
    pub fn new(samples: &[f64], rate_hz: f64, zero_index: f64) -> Self {
        let length = good_length((PADDING * samples.len()).max(8 * TAPS));
        let middle = samples.len() / 2;
        // Turned so that the middle of the record lies at index 0: its spectrum then turns slowest from bin to bin.
        let mut turned = vec![0.0; length];
        turned[..samples.len() - middle].copy_from_slice(&samples[middle..]);
        turned[length - middle..].copy_from_slice(&samples[..middle]);
        let bins = Spectrum::new(length).bins(&turned);
        Self { bins, length, rate_hz, middle, zero_index, window: Kaiser::new(kaiser_beta(DEPTH_DB)) }
    }

    /// The value at a frequency between 0 and half the sample rate.
    pub fn at(&self, frequency_hz: f64) -> Complex64 {
        let place = frequency_hz / self.rate_hz * self.length as f64;
        let below = place.floor();
        let first = below as i64 - (TAPS as i64 / 2 - 1);
        let offs: [f64; TAPS] = std::array::from_fn(|tap| place - (first + tap as i64) as f64);
        let weights = self.window.at_each(offs.map(|off| off / (TAPS as f64 / 2.0)));
        // sin(π·off) differs from tap to tap by its sign alone.
        let sine = (PI * (place - below)).sin();
        let sum: Complex64 = (0..TAPS)
            .map(|tap| {
                let sign = if tap % 2 == (TAPS / 2 - 1) % 2 { sine } else { -sine };
                let sinc = if offs[tap] == 0.0 { 1.0 } else { sign / (PI * offs[tap]) };
                self.bin(first + tap as i64) * (sinc * weights[tap])
            })
            .sum();
        let shift = self.middle as f64 - self.zero_index;
        sum * Complex64::cis(-TAU * frequency_hz / self.rate_hz * shift)
    }

    /// Bins beyond both ends are the conjugates of their mirror images.
    fn bin(&self, bin: i64) -> Complex64 {
        let last = self.bins.len() as i64 - 1;
        if bin < 0 {
            self.bins[(-bin).min(last) as usize].conj()
        } else if bin > last {
            self.bins[(self.length as i64 - bin).clamp(0, last) as usize].conj()
        } else {
            self.bins[bin as usize]
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    #[test]
    fn the_spectrum_at_any_frequency_agrees_with_the_direct_sum() {
        let mut random = Random::new(3);
        for frames in [1usize, 2, 37, 1000] {
            let samples: Vec<f64> = (0..frames).map(|_| random.normal()).collect();
            let zero_index = 12.3;
            let spectrum = SpectrumAt::new(&samples, 48_000.0, zero_index);
            for frequency_hz in [0.0, 0.7, 20.0, 997.3, 12_345.6, 23_990.0, 24_000.0] {
                let turn = |n: usize| Complex64::cis(-TAU * frequency_hz / 48_000.0 * (n as f64 - zero_index));
                let direct: Complex64 = samples.iter().enumerate().map(|(n, &x)| x * turn(n)).sum();
                let error = (spectrum.at(frequency_hz) - direct).norm() / (frames as f64).sqrt();
                // 3e-7: −130 dB of the record's own size.
                assert!(error < 3e-7, "{frames} {frequency_hz}: {error:e}");
            }
        }
    }
}
