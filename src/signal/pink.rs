//! Pink noise: equal power in each octave of a band, nothing outside it.
//!
//! ```text
//! |X(f)|² ∝ 1/f   for f₁ ≤ f ≤ f₂,   phases at random
//! ```
//!
//! Made in the frequency domain and brought back by one inverse transform, so that the slope is exact and the seed
//! gives the same noise on every machine. f₁, f₂: ends of the band, Hz.
//! Source: the definition of pink noise, IEC 60050-702:1992, 702-08-39 (from memory).

use super::{Excitation, Kind, SignalError, steady, with_ramps};
use crate::math::{InverseSpectrum, Random, good_length};
use crate::quantity::SampleRate;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// What pink noise is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PinkSettings {
    /// Frames a second.
    pub rate: SampleRate,
    /// Lowest and highest frequency.
    pub band_hz: [f64; 2],
    /// From the first to the last sample.
    pub duration_s: f64,
    /// Peak level.
    pub level_dbfs: f64,
    /// The same seed gives the same noise.
    pub seed: u64,
}

/// Ramps of 50 ms, too slow to startle.
const RAMP_S: f64 = 0.05;

/// Pink noise between silences; its peak has the level asked for.
///
/// # Errors
/// [`SignalError::AboveNyquist`], `Band`, `Duration` or `Level` for settings out of range.
pub fn pink(settings: PinkSettings) -> Result<Excitation, SignalError> {
    let PinkSettings { rate, band_hz, duration_s, level_dbfs, seed } = settings;
    super::excitation::check_band(rate, band_hz)?;
    super::excitation::check_duration(rate, duration_s)?;
    let frames = rate.frames(duration_s);
    let length = good_length(frames);
    let step_hz = rate.hz() / length as f64;
    let mut random = Random::new(seed);
    let spectrum: Vec<Complex64> = (0..=length / 2)
        .map(|bin| {
            let hz = bin as f64 * step_hz;
            let phase_rad = TAU * random.uniform();
            if hz >= band_hz[0] && hz <= band_hz[1] {
                Complex64::from_polar(hz.sqrt().recip(), phase_rad)
            } else {
                Complex64::ZERO
            }
        })
        .collect();
    let mut noise = InverseSpectrum::new(length).samples(&spectrum);
    noise.truncate(frames);
    let noise = with_ramps(noise, rate.frames(RAMP_S));
    let highest = noise.iter().fold(f64::MIN_POSITIVE, |high, sample| high.max(sample.abs()));
    let one: Vec<f64> = noise.iter().map(|sample| sample / highest).collect();
    steady(rate, Kind::Pink, band_hz, level_dbfs, &one)
}
