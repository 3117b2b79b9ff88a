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
use num_complex::Complex64;

/// A transform length, the excitation's spectrum at that length, and the limiter.
pub struct Deconvolution {
    pattern: Pattern,
    length: usize,
    forward: Spectrum,
    inverse: InverseSpectrum,
    played: Vec<Complex64>,
    limiter: Vec<Complex64>,
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
        let mut forward = Spectrum::new(length);
        let played = forward.bins(&pattern.samples);
        let limiter = pattern.limiter(&played);
        Self { pattern: pattern.clone(), length, forward, inverse: InverseSpectrum::new(length), played, limiter }
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
    pub fn limiter_impulse(&self) -> WrappedImpulse {
        let samples = InverseSpectrum::new(self.length).samples(&self.limiter);
        WrappedImpulse { samples, bins: self.limiter.clone() }
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
    pub fn spectrum(&mut self, recorded: &[f64]) -> Vec<Complex64> {
        self.forward.bins(recorded)
    }

    /// What turns `drive` into `reply`, band limited.
    pub fn impulse(&mut self, reply: &[Complex64], drive: &[Complex64]) -> WrappedImpulse {
        let bins: Vec<Complex64> = reply
            .iter()
            .zip(drive)
            .zip(&self.limiter)
            .map(|((y, x), &b)| if b == Complex64::ZERO { b } else { y * x.conj() * b / x.norm_sqr() })
            .collect();
        WrappedImpulse { samples: self.inverse.samples(&bins), bins }
    }

    /// What turns the excitation of the file into the recording.
    pub fn impulse_of(&mut self, recorded: &[f64]) -> WrappedImpulse {
        let reply = self.spectrum(recorded);
        let played = std::mem::take(&mut self.played);
        let impulse = self.impulse(&reply, &played);
        self.played = played;
        impulse
    }
}

impl WrappedImpulse {
    /// The sample at an index that may be negative.
    pub fn at(&self, index: i64) -> f64 {
        self.samples[index.rem_euclid(self.samples.len() as i64) as usize]
    }

    /// So many samples from an index that may be negative.
    pub fn cut(&self, first: i64, frames: usize) -> Vec<f64> {
        (first..first + frames as i64).map(|index| self.at(index)).collect()
    }
}
