//! Noise and hum of a channel.
//!
//! ```text
//! S(f) ∝ (1 − p) + p·c/max(f, 20 Hz)        rms = 10^(L/20)/√2
//! ```
//!
//! p: share of pink noise in the power; c makes the pink part's power equal to a white one's; L: level, dBFS, that of a
//! sine of equal rms. Made from normal values, shaped in their spectrum. Hum: a sine, its double 6 dB and its triple 12 dB lower.
//! Ours, because a microphone has both: white from its amplifier, pink from the air of the room.

use super::error::{BenchError, check};
use crate::math::{InverseSpectrum, Random, Spectrum, good_length};
use crate::quantity::amplitude_from_db;
use serde::{Deserialize, Serialize};
use std::f64::consts::{SQRT_2, TAU};

/// Pink noise stops rising here.
const PINK_FROM_HZ: f64 = 20.0;

/// Mains hum in one channel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Hum {
    /// Frequency of the mains.
    pub frequency_hz: f64,
    /// Level of the fundamental.
    pub level_dbfs: f64,
}

impl Hum {
    pub(super) fn check(&self) -> Result<(), BenchError> {
        check("mains frequency in Hz", self.frequency_hz, [1.0, 1000.0])?;
        check("hum in dBFS", self.level_dbfs, [-300.0, 0.0])
    }
}

/// Noise of a level, with this share of its power pink.
pub fn noise(random: &mut Random, frames: usize, rate_hz: f64, level_dbfs: f64, pink_share: f64) -> Vec<f64> {
    let length = good_length(frames);
    let white: Vec<f64> = (0..length).map(|_| random.normal()).collect();
    let mut bins = Spectrum::new(length).bins(&white);
    let step_hz = rate_hz / length as f64;
    let pink: Vec<f64> = (0..bins.len()).map(|bin| 1.0 / (bin as f64 * step_hz).max(PINK_FROM_HZ)).collect();
    let mean = pink.iter().sum::<f64>() / pink.len() as f64;
    let rms = amplitude_from_db(level_dbfs) / SQRT_2;
    for (bin, pink) in bins.iter_mut().zip(&pink) {
        *bin *= rms * (1.0 - pink_share + pink_share * pink / mean).sqrt();
    }
    let mut samples = InverseSpectrum::new(length).samples(&bins);
    samples.truncate(frames);
    samples
}

/// Hum at a time.
pub fn hum_at(hum: Hum, time_s: f64) -> f64 {
    let phase_rad = TAU * hum.frequency_hz * time_s;
    amplitude_from_db(hum.level_dbfs)
        * (phase_rad.sin() + 0.5 * (2.0 * phase_rad).sin() + 0.25 * (3.0 * phase_rad).sin())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_has_its_level_and_its_share_of_pink() {
        let samples = noise(&mut Random::new(3), 480_000, 48_000.0, -80.0, 0.5);
        let power = samples.iter().map(|x| x * x).sum::<f64>() / 480_000.0;
        let level_dbfs = 10.0 * (2.0 * power).log10();
        // Half the power is pink, most of it in the first few thousand bins: a spread of about 0.1 dB.
        assert!((level_dbfs + 80.0).abs() < 0.3, "{level_dbfs}");
        // An octave of pink holds 1/log2(24000/20)-th of the pink half (a little less: the flat part below 20 Hz).
        let bins = Spectrum::new(480_000).bins(&samples);
        let band = |from: usize, to: usize| bins[from..to].iter().map(|b| b.norm_sqr()).sum::<f64>();
        let octave = band(10_000, 20_000) - band(5_000, 10_000);
        let white_octave = band(0, 240_000) * 0.5 * 5_000.0 / 240_000.0;
        // Pink octaves are equal, so the difference of two octaves is white; 5,000 bins spread by 4 % here.
        assert!((octave / white_octave - 1.0).abs() < 0.3, "{}", octave / white_octave);
    }
}
