//! How much noise a recording holds, by frequency: from its silences.
//!
//! ```text
//! S(f) = ⟨|DFT{w·x}|²⟩/Σw²
//! ```
//!
//! Welch's method: the mean over half-overlapping Hann-windowed pieces of the silences, smoothed over frequency. S is
//! the power of white noise of the same strength: of N recorded frames of noise, each bin has the power N·S.
//! Source: P. D. Welch, "The Use of Fast Fourier Transform for the Estimation of Power Spectra", IEEE Trans. Audio
//! Electroacoust. 15 (June 1967) 70–73.

use crate::math::{Spectrum, good_length_within, mean_around};
use crate::signal::{Plan, rise};
use std::ops::Range;

/// Noise power by frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct NoiseDensity {
    step_hz: f64,
    powers: Vec<f64>,
}

/// Pieces of half a second resolve 2 Hz, finer than anything a loudspeaker does.
const PIECE_S: f64 = 0.5;
/// A silence shorter than this tells nothing about bass.
const SHORTEST_S: f64 = 0.1;
/// The room has this long to die away after the last sound.
const DECAY_S: f64 = 0.8;
/// Nothing is taken for silence this shortly before the first sound.
const GUARD_S: f64 = 0.02;
/// Neighbouring bins are averaged over at least this many to each side …
const REACH_BINS: usize = 5;
/// … and over this share of their frequency, a sixth of an octave in all.
const REACH_SHARE: f64 = 0.058;

/// The stretches of a recording before the first and after the last sound of the excitation, where they are long enough.
pub fn silences(plan: &Plan, offset_frames: i64, frames: usize, rate_hz: f64) -> Vec<Range<usize>> {
    let sounds = plan.starts.iter().map(|&start| (start, start + plan.frames));
    let marks = plan.mark_starts.iter().map(|&start| (start, start + plan.mark_frames));
    let first = sounds.clone().chain(marks.clone()).map(|(start, _)| start).min().unwrap_or(0);
    let last = sounds.chain(marks).map(|(_, end)| end).max().unwrap_or(0);
    let inside = |frame: f64| (frame.max(0.0) as usize).min(frames);
    let before = 0..inside((offset_frames + first as i64) as f64 - GUARD_S * rate_hz);
    let after = inside((offset_frames + last as i64) as f64 + DECAY_S * rate_hz)..frames;
    [before, after].into_iter().filter(|range| range.len() as f64 >= SHORTEST_S * rate_hz).collect()
}

impl NoiseDensity {
    /// From the silences of `recorded`, and never below `least_power`, the rounding noise of one sample. `None` where
    /// there is no silence.
    pub fn of(recorded: &[f64], silences: &[Range<usize>], rate_hz: f64, least_power: f64) -> Option<Self> {
        let shortest = silences.iter().map(Range::len).max()?;
        let piece = good_length_within(((PIECE_S * rate_hz) as usize).min(shortest));
        let window: Vec<f64> = (0..piece).map(|n| hann((n as f64 + 0.5) / piece as f64)).collect();
        let window_power: f64 = window.iter().map(|w| w * w).sum();
        let spectrum = Spectrum::new(piece);
        let mut powers = vec![0.0; piece / 2 + 1];
        let mut pieces = 0.0;
        for silence in silences {
            let mut start = silence.start;
            while start + piece <= silence.end {
                let cut = &recorded[start..start + piece];
                let mean = cut.iter().sum::<f64>() / piece as f64;
                let shaped: Vec<f64> = cut.iter().zip(&window).map(|(x, w)| (x - mean) * w).collect();
                for (power, bin) in powers.iter_mut().zip(spectrum.bins(&shaped)) {
                    *power += bin.norm_sqr() / window_power;
                }
                pieces += 1.0;
                start += piece / 2;
            }
        }
        powers.iter_mut().for_each(|power| *power /= pieces);
        // The bins next to 0 Hz lost power to the removal of the mean.
        powers[0] = powers[2.min(piece / 2)];
        powers[1] = powers[2.min(piece / 2)];
        let smooth = mean_around(&powers, |bin| REACH_BINS.max((bin as f64 * REACH_SHARE) as usize));
        let powers = smooth.into_iter().map(|power| power.max(least_power)).collect();
        Some(Self { step_hz: rate_hz / piece as f64, powers })
    }

    /// The same at all frequencies.
    pub fn white(power: f64) -> Self {
        Self { step_hz: f64::MAX, powers: vec![power; 2] }
    }

    /// S at a frequency.
    pub fn at(&self, frequency_hz: f64) -> f64 {
        let place = (frequency_hz / self.step_hz).min((self.powers.len() - 1) as f64);
        let below = place.floor() as usize;
        let above = (below + 1).min(self.powers.len() - 1);
        self.powers[below] + place.fract() * (self.powers[above] - self.powers[below])
    }

    /// The power of one sample of the noise.
    pub fn power(&self) -> f64 {
        self.powers.iter().sum::<f64>() / self.powers.len() as f64
    }
}

fn hann(ratio: f64) -> f64 {
    rise(2.0 * ratio.min(1.0 - ratio))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    #[test]
    fn white_noise_has_its_own_variance_at_all_frequencies() {
        let mut random = Random::new(5);
        let recorded: Vec<f64> = (0..96_000).map(|_| 0.01 * random.normal()).collect();
        let noise = NoiseDensity::of(&recorded, &[0..48_000, 50_000..96_000], 48_000.0, 0.0).unwrap();
        for frequency_hz in [30.0, 100.0, 1_000.0, 10_000.0, 23_000.0] {
            let found = noise.at(frequency_hz) / 1e-4;
            // 40 %: three standard errors of 6 pieces times 11 bins at the least, which are about 36 independent values.
            assert!((found - 1.0).abs() < 0.4, "{frequency_hz}: {found}");
        }
        // 5 %: three standard errors of the variance of 94,000 samples, and the window's correlation.
        assert!((noise.power() / 1e-4 - 1.0).abs() < 0.05);
    }

    #[test]
    fn rounding_is_the_least_there_can_be() {
        let noise = NoiseDensity::of(&[0.0; 10_000], std::slice::from_ref(&(0..10_000)), 48_000.0, 1e-12).unwrap();
        assert_eq!(noise.at(1_000.0), 1e-12);
        assert!(NoiseDensity::of(&[0.0; 10_000], &[], 48_000.0, 1e-12).is_none());
    }

    /// By hand: sound from frame 2,000 + 500 to 4,000 + 500 at 1 kHz; 20 ms before it and 0.8 s after it are left out.
    #[test]
    fn silences_end_before_the_first_sound_and_begin_when_the_room_has_died_away() {
        let plan = Plan {
            kind: crate::signal::Kind::Other,
            level_dbfs: 0.0,
            band_hz: [20.0, 400.0],
            starts: vec![2_300],
            frames: 1_000,
            mark_starts: vec![2_000, 3_900],
            mark_frames: 100,
            sweep: None,
        };
        assert_eq!(silences(&plan, 500, 6_000, 1_000.0), [0..2_480, 5_300..6_000]);
        // What is shorter than 0.1 s tells nothing.
        assert!(silences(&plan, -1_920, 2_979, 1_000.0).is_empty());
        assert_eq!(silences(&plan, -1_880, 3_020, 1_000.0), [0..100, 2_920..3_020]);
    }

    #[test]
    fn between_two_bins_the_density_is_linear() {
        let noise = NoiseDensity { step_hz: 2.0, powers: vec![1.0, 3.0, 4.0] };
        assert_eq!([0.5, 2.0, 3.0, 99.0].map(|hz| noise.at(hz)), [1.5, 3.0, 3.5, 4.0]);
    }
}
