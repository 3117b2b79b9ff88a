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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Spectrum;

    fn settings(seed: u64) -> PinkSettings {
        let rate = SampleRate::new(48_000).unwrap();
        PinkSettings { rate, band_hz: [100.0, 12_800.0], duration_s: 1.0, level_dbfs: -20.0, seed }
    }

    #[test]
    fn each_octave_of_the_band_has_the_same_power_and_the_rest_nearly_none() {
        let excitation = pink(settings(1)).unwrap();
        let plan = &excitation.plan;
        let one = &excitation.samples[plan.starts[0]..plan.starts[0] + plan.frames];
        // One second at 48 kHz: bins of 1 Hz.
        let bins = Spectrum::new(one.len()).bins(one);
        let power = |from: usize, to: usize| bins[from..to].iter().map(Complex64::norm_sqr).sum::<f64>();
        let octaves: Vec<f64> = (0..7).map(|octave| power(100 << octave, 200 << octave)).collect();
        let mean = octaves.iter().sum::<f64>() / 7.0;
        for (octave, found) in octaves.iter().enumerate() {
            // 10 %: the ramps take 50 ms of a noise that is random in time; in the lowest octave, of 100 lines, these
            // hold 0.1 ± 0.03 of the energy before they take 5/8 of it.
            assert!((found / mean - 1.0).abs() < 0.1, "{octave}: {}", found / mean);
        }
        // 1e-3: the ramps spread the edges by some bins.
        assert!(power(0, 90) < 1e-3 * mean && power(12_900, 24_001) < 1e-3 * mean);
    }

    #[test]
    fn the_seed_decides_the_noise_and_the_level_its_peak() {
        let [first, again, other] = [7, 7, 8].map(|seed| pink(settings(seed)).unwrap());
        assert!(first == again && first.samples != other.samples);
        let peak = |samples: &[f64]| samples.iter().fold(0.0f64, |high, x| high.max(x.abs()));
        // 1e-15: a division and a product.
        assert!((peak(&first.samples) - 0.1).abs() < 1e-15 && (peak(&other.samples) - 0.1).abs() < 1e-15);
        // The ramps of 50 ms begin and end in silence.
        let plan = &first.plan;
        assert!(first.samples[plan.starts[0]].abs() < 1e-6);
        assert!(first.samples[plan.starts[0] + plan.frames - 1].abs() < 1e-6);
    }
}
