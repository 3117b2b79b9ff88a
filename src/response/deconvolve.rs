//! The impulse response of everything between what was played and what was recorded.
//!
//! ```text
//! H[k] = B[k]·Y[k]·X*[k]/|X[k]|²
//! ```
//!
//! X: spectrum of what was played (the file, or the loopback channel's recording of it); Y: of the recording;
//! B: band limiter of the [`Pattern`]. Transforms are padded past recording and excitation together, so that the
//! convolution is linear: the responses of the harmonics lie at negative times, that is at the end of the buffer.
//! Source: S. Müller, P. Massarani, "Transfer-Function Measurement with Sweeps", J. Audio Eng. Soc. 49 (June 2001)
//! 443–471.

use super::Pattern;
use crate::math::{InverseSpectrum, Spectrum, good_length};
use crate::signal::{fall, rise};
use num_complex::Complex64;
use std::sync::OnceLock;

/// A transform length, the excitation's spectrum at that length, and the limiter.
pub struct Deconvolution {
    pattern: Pattern,
    length: usize,
    forward: Spectrum,
    inverse: InverseSpectrum,
    played: Vec<Complex64>,
    limiter: Vec<Complex64>,
    limiter_impulse: OnceLock<WrappedImpulse>,
}

/// An impulse response that wraps around: time zero at index 0, negative times at the end.
pub struct WrappedImpulse {
    /// The samples, reply unit over drive unit.
    pub samples: Vec<f64>,
    /// Their spectrum, bins 0 to N/2.
    pub bins: Vec<Complex64>,
}

impl Deconvolution {
    /// Ready for recordings of up to `frames` frames.
    pub fn new(pattern: &Pattern, frames: usize) -> Self {
        let length = good_length(frames + pattern.samples.len());
        let forward = Spectrum::new(length);
        let played = forward.bins(&pattern.samples);
        let limiter = pattern.limiter(&played);
        let inverse = InverseSpectrum::new(length);
        let limiter_impulse = OnceLock::new();
        Self { pattern: pattern.clone(), length, forward, inverse, played, limiter, limiter_impulse }
    }

    /// N, the length of the transform.
    pub fn length(&self) -> usize {
        self.length
    }

    /// The frequency of a bin.
    pub fn bin_hz(&self, bin: usize) -> f64 {
        bin as f64 * self.pattern.rate_hz / self.length as f64
    }

    /// Sample rate, Hz.
    pub fn rate_hz(&self) -> f64 {
        self.pattern.rate_hz
    }

    /// The excitation.
    pub fn pattern(&self) -> &Pattern {
        &self.pattern
    }

    /// The impulse response of the limiter alone.
    pub fn limiter_impulse(&self) -> &WrappedImpulse {
        self.limiter_impulse.get_or_init(|| {
            let samples = InverseSpectrum::new(self.length).samples(&self.limiter);
            WrappedImpulse { samples, bins: self.limiter.clone() }
        })
    }

    /// The spectrum of the excitation as the file has it.
    pub fn played(&self) -> &[Complex64] {
        &self.played
    }

    /// B at each bin.
    pub fn limiter(&self) -> &[Complex64] {
        &self.limiter
    }

    /// The spectrum of a recording, padded to N.
    pub fn spectrum(&self, recorded: &[f64]) -> Vec<Complex64> {
        self.forward.bins(recorded)
    }

    /// What turns `drive` into `reply`, band limited.
    pub fn impulse(&self, reply: &[Complex64], drive: &[Complex64]) -> WrappedImpulse {
        let bins: Vec<Complex64> = reply
            .iter()
            .zip(drive)
            .zip(&self.limiter)
            .map(|((y, x), &b)| if b == Complex64::ZERO { b } else { y * x.conj() * b / x.norm_sqr() })
            .collect();
        WrappedImpulse { samples: self.inverse.samples(&bins), bins }
    }

    /// What turns `drive` into the reply whose impulse response by the excitation's file is known.
    pub fn by_another(&self, by_file: &WrappedImpulse, drive: &[Complex64]) -> WrappedImpulse {
        let bins: Vec<Complex64> = by_file
            .bins
            .iter()
            .zip(&self.played)
            .zip(drive)
            .map(|((h, x), other)| if *h == Complex64::ZERO { *h } else { h * x / other })
            .collect();
        WrappedImpulse { samples: self.inverse.samples(&bins), bins }
    }

    /// What turns the excitation of the file into the recording.
    pub fn impulse_of(&self, recorded: &[f64]) -> WrappedImpulse {
        self.impulse(&self.spectrum(recorded), &self.played)
    }
}

impl WrappedImpulse {
    /// The sample at an index that may be negative.
    pub fn at(&self, index: i64) -> f64 {
        self.samples[index.rem_euclid(self.samples.len() as i64) as usize]
    }

    /// So many samples from an index that may be negative.
    pub fn cut(&self, first: i64, frames: usize) -> Vec<f64> {
        let mut samples = Vec::with_capacity(frames);
        let mut from = first.rem_euclid(self.samples.len() as i64) as usize;
        while samples.len() < frames {
            let end = (from + frames - samples.len()).min(self.samples.len());
            samples.extend_from_slice(&self.samples[from..end]);
            from = 0;
        }
        samples
    }

    /// All of its length, but nothing beyond so many frames before and after `peak`: it rises over the first half of what lies before it,
    /// and falls over the last quarter of what lies after it.
    pub fn around(&self, peak: i64, [before, after]: [f64; 2]) -> Vec<f64> {
        let length = self.samples.len() as i64;
        let mut kept = vec![0.0; self.samples.len()];
        let first = -(before as i64);
        let last = (after as i64).min(length - before as i64 - 1);
        let mut place = (peak + first).rem_euclid(length) as usize;
        for index in first..=last {
            let off = index as f64;
            let weight = if off < 0.0 { rise(2.0 + 2.0 * off / before) } else { fall(4.0 * off / after - 3.0) };
            kept[place] = weight * self.samples[place];
            place = if place + 1 == kept.len() { 0 } else { place + 1 };
        }
        kept
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    fn pattern() -> Pattern {
        let mut random = Random::new(9);
        let samples = (0..4_000).map(|_| random.normal()).collect();
        Pattern {
            samples,
            rate_hz: 48_000.0,
            band_hz: [500.0, 18_000.0],
            played_hz: [250.0, 22_000.0],
            rate_constant_s: Some(1.0),
        }
    }

    /// A reply that is the excitation, 37 frames later and at 0.3: in the band, H is 0.3·e^{−2πik·37/N} times the limiter.
    #[test]
    fn a_delayed_copy_gives_its_gain_and_its_delay() {
        let pattern = pattern();
        let mut recorded = vec![0.0; 37];
        recorded.extend(pattern.samples.iter().map(|x| 0.3 * x));
        let deconvolution = Deconvolution::new(&pattern, recorded.len());
        let impulse = deconvolution.impulse_of(&recorded);
        let length = deconvolution.length() as f64;
        assert!(deconvolution.length() >= recorded.len() + pattern.samples.len());
        for bin in 0..impulse.bins.len() {
            let hz = deconvolution.bin_hz(bin);
            if (500.0..=18_000.0).contains(&hz) {
                let turn = Complex64::cis(-std::f64::consts::TAU * bin as f64 * 37.0 / length);
                let expected = 0.3 * turn * pattern.limiter_in_band(hz);
                let open = deconvolution.limiter()[bin].norm() / pattern.limiter_in_band(hz).norm();
                // 1e-9: double precision over the weakest bins of the noise.
                assert!((impulse.bins[bin] - expected * open).norm() < 1e-9 && (open - 1.0).abs() < 1e-12, "{hz}");
            }
        }
        // Negative indices are negative times.
        assert_eq!(impulse.at(-1), impulse.samples[impulse.samples.len() - 1]);
        assert_eq!(impulse.cut(-2, 4)[2], impulse.samples[0]);
    }
}
