//! Steady tones in the silences: the mains and its harmonics, or a whine.
//!
//! ```text
//! line at f:   P(f) > 20·median of P around f        P: periodogram of the longest silence, Hann's window
//! ```
//!
//! In noise P is distributed as an exponential whose median is ln 2 of its mean: a bin reaches 20 medians by chance once in a million. Two
//! lines of one family (50 Hz or 60 Hz) make a hum; a single line that reaches 200 medians makes a whine: 200 medians come never.
//! The curve's uncertainty holds what they do to it, since the silences tell it; they are named because they can be got rid of.
//! Source of the distribution: P. D. Welch, "The Use of Fast Fourier Transform for the Estimation of Power Spectra" (1967). Ours otherwise.

use crate::math::{Spectrum, good_length_within, median};
use std::f64::consts::TAU;
use std::ops::Range;

/// Steady tones.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Lines {
    /// 50 or 60 for the mains; the tone's own frequency for a whine.
    pub hz: f64,
    /// Whether it is the mains.
    pub is_mains: bool,
    /// Root mean square of all lines of the family.
    pub rms: f64,
    /// Lowest and highest line that was seen.
    pub band_hz: [f64; 2],
}

const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// Orders that are looked at.
const ORDERS: u32 = 10;
const OF_MEDIAN: f64 = 20.0;
const WHINE_OF_MEDIAN: f64 = 200.0;
/// The surroundings of a line, bins to each side.
const AROUND: usize = 24;
/// The mains' frequency is kept within this.
const MAINS_OFF: f64 = 0.004;
/// A silence must be this long to part 50 from 60 Hz.
const SHORTEST_S: f64 = 0.4;
/// No more of a silence is looked at: lines of the mains move.
const LONGEST_S: f64 = 2.0;
/// Below this a line of a room is a rumble.
const LOWEST_WHINE_HZ: f64 = 300.0;

/// The tones of the longest silence of a channel, the mains first.
pub(super) fn lines(samples: &[f64], silences: &[Range<usize>], rate_hz: f64) -> Vec<Lines> {
    let Some(longest) = silences.iter().max_by_key(|silence| silence.len()) else { return Vec::new() };
    let end = longest.end.min(samples.len());
    let frames = good_length_within(end.saturating_sub(longest.start).min((LONGEST_S * rate_hz) as usize));
    if (frames as f64) < SHORTEST_S * rate_hz {
        return Vec::new();
    }
    // From its end, where a room has died away.
    let cut = &samples[end - frames..end];
    let mean = cut.iter().sum::<f64>() / frames as f64;
    let window = |n: usize| 0.5 - 0.5 * (TAU * (n as f64 + 0.5) / frames as f64).cos();
    let windowed: Vec<f64> = cut.iter().enumerate().map(|(n, x)| (x - mean) * window(n)).collect();
    let powers: Vec<f64> = Spectrum::new(frames).bins(&windowed).iter().map(|bin| bin.norm_sqr()).collect();
    let look = Look { powers, step_hz: rate_hz / frames as f64 };
    let mut found: Vec<Lines> = MAINS_HZ.iter().filter_map(|&hz| look.mains(hz)).collect();
    found.sort_by(|a, b| b.rms.total_cmp(&a.rms));
    // 300 Hz belongs to both.
    found.truncate(1);
    found.extend(look.whine(&found));
    // Parseval with Hann's window, whose mean is a half: a sine of amplitude a has the bin a·N/4, its neighbours half of that.
    let scale = 4.0 * 2f64.sqrt().recip() / frames as f64 / 1.5f64.sqrt();
    found.iter_mut().for_each(|lines| lines.rms *= scale);
    found
}

struct Look {
    powers: Vec<f64>,
    step_hz: f64,
}

impl Look {
    fn median_around(&self, bin: usize) -> f64 {
        let near = 3;
        let below = bin.saturating_sub(AROUND)..bin.saturating_sub(near);
        let above = (bin + near + 1).min(self.powers.len())..(bin + AROUND + 1).min(self.powers.len());
        median(self.powers[below].iter().chain(&self.powers[above]).copied().collect()).unwrap_or(f64::MAX)
    }

    /// Power of a line within a stretch of bins, its skirts included; `None` where none stands out.
    fn line(&self, bins: Range<usize>, times: f64) -> Option<(usize, f64)> {
        let bins = bins.start.max(2)..bins.end.min(self.powers.len());
        let top = bins.max_by(|&a, &b| self.powers[a].total_cmp(&self.powers[b]))?;
        let stands_out = self.powers[top] > times * self.median_around(top) && self.powers[top] > 0.0;
        let skirts = top.saturating_sub(2)..(top + 3).min(self.powers.len());
        stands_out.then(|| (top, self.powers[skirts].iter().sum()))
    }

    fn mains(&self, mains_hz: f64) -> Option<Lines> {
        let found: Vec<(f64, f64)> = (1..=ORDERS)
            .filter_map(|order| {
                let hz = f64::from(order) * mains_hz;
                let reach_hz = (MAINS_OFF * hz).max(0.6 * self.step_hz);
                let bins = ((hz - reach_hz) / self.step_hz).round() as usize
                    ..((hz + reach_hz) / self.step_hz).round() as usize + 1;
                let (_, power) = self.line(bins, OF_MEDIAN)?;
                Some((hz, power))
            })
            .collect();
        let [first, .., last] = found.as_slice() else { return None };
        let rms = found.iter().map(|line| line.1).sum::<f64>().sqrt();
        Some(Lines { hz: mains_hz, is_mains: true, rms, band_hz: [first.0, last.0] })
    }

    fn whine(&self, known: &[Lines]) -> Option<Lines> {
        let first = (LOWEST_WHINE_HZ / self.step_hz) as usize;
        // One bin of a hundred thousand: looked up only where it is far above the mean of its neighbourhood.
        let (top, power) = (first..self.powers.len())
            .step_by(AROUND)
            .filter_map(|start| self.line(start..start + AROUND, WHINE_OF_MEDIAN))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        let hz = top as f64 * self.step_hz;
        let is_mains = |lines: &Lines| {
            let order = (hz / lines.hz).round();
            (hz - order * lines.hz).abs() < (MAINS_OFF * hz).max(1.5 * self.step_hz) && order < 2.0 * f64::from(ORDERS)
        };
        (!known.iter().any(is_mains)).then_some(Lines { hz, is_mains: false, rms: power.sqrt(), band_hz: [hz, hz] })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    fn silence(hum: f64, whine: f64) -> Vec<f64> {
        let mut random = Random::new(5);
        (0..72_000)
            .map(|n| {
                let time_s = f64::from(n) / 48_000.0;
                let mains: f64 = [50.0, 100.0, 150.0].iter().map(|hz| (TAU * hz * time_s).sin()).sum();
                1e-3 * random.normal() + hum * mains + whine * (TAU * 7_310.3 * time_s).sin()
            })
            .collect()
    }

    #[test]
    fn hum_and_whine_are_told_with_their_size_and_noise_is_neither() {
        let all = std::slice::from_ref(&(0..72_000)).to_vec();
        assert!(lines(&silence(0.0, 0.0), &all, 48_000.0).is_empty());
        let found = lines(&silence(1e-3, 0.0), &all, 48_000.0);
        assert_eq!((found.len(), found[0].hz, found[0].band_hz), (1, 50.0, [50.0, 150.0]));
        // √(3/2) of the amplitude; 15 %: what the noise adds to each line.
        assert!((found[0].rms / (1e-3 * 1.5f64.sqrt()) - 1.0).abs() < 0.15, "{found:?}");
        let found = lines(&silence(0.0, 1e-3), &all, 48_000.0);
        assert!(found.len() == 1 && !found[0].is_mains && (found[0].hz - 7_310.3).abs() < 0.5, "{found:?}");
    }

    #[test]
    fn none_of_two_hundred_noises_hums() {
        let mut random = Random::new(9);
        for _ in 0..200 {
            let noise: Vec<f64> = (0..24_000).map(|_| random.normal()).collect();
            assert!(lines(&noise, std::slice::from_ref(&(0..24_000)), 48_000.0).is_empty());
        }
    }
}
