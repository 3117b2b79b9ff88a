//! One repeat of the excitation, as the analysis uses it: its samples, its band, its spectrum.
//!
//! ```text
//! B(f) = (j·f/(j·f + f₁))¹² · T(f) · U(f) · V(f)
//! T(f) = 1 within the band,   1/(1 + (10⁻⁴·P/|X(f)|²)²)  outside
//! V(f) = 1 for a sweep,       |X|²/(|X|² + 10⁻⁴·⟨|X|²⟩)   for any other signal
//! ```
//!
//! f₁: first frequency that is played; X: spectrum of the excitation, P: its power at that end of the band. B limits the
//! response to what was excited and is divided out again after the gate. Its first factor is a high-pass of twelve equal
//! poles: causal, it rings nowhere, so that a limited response stays causal and short; a symmetric limit at 20 Hz would
//! ring for half a second before the arrival, where a gate cuts it off and bends the bass. T is the only regularisation
//! of a sweep, and exactly 1 within the band. V fills the holes that the spectrum of noise has, ⟨⟩ being the mean over a
//! twelfth of an octave. U falls symmetrically, by a raised cosine, above the band; it is short.
//! Ours, because a causal limit keeps the response short and the gate's side before the arrival with it.

use super::ResponseError;
use crate::math::{Spectrum, good_length, mean_around};
use crate::signal::{Excitation, rise};
use num_complex::Complex64;

/// One repeat of the excitation.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// The samples of one repeat.
    pub samples: Vec<f64>,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// The band that can be reported.
    pub band_hz: [f64; 2],
    /// Where something is played at all.
    pub played_hz: [f64; 2],
    /// L of a sweep; absent for any other signal.
    pub rate_constant_s: Option<f64>,
}

/// A known signal that is no sweep of ours is taken to excite what lies within 30 dB of its strongest band.
const EXCITED_DB: f64 = -30.0;
/// Its fades outside the band take this ratio of frequency, a sixth of an octave.
const FADE_RATIO: f64 = 1.122_462_048_309_373;

impl Pattern {
    /// The first repeat of an excitation.
    ///
    /// # Errors
    /// [`ResponseError::EmptyExcitation`] when it is silent.
    pub fn of(excitation: &Excitation) -> Result<Self, ResponseError> {
        let plan = &excitation.plan;
        let start = plan.starts.first().copied().unwrap_or(0).min(excitation.samples.len());
        let end = (start + plan.frames).min(excitation.samples.len());
        let samples = excitation.samples[start..end].to_vec();
        if samples.iter().all(|&sample| sample == 0.0) {
            return Err(ResponseError::EmptyExcitation);
        }
        let rate_hz = excitation.rate.hz();
        let pattern = match plan.sweep {
            Some(sweep) => Self {
                samples,
                rate_hz,
                band_hz: plan.band_hz,
                played_hz: sweep.played_hz,
                rate_constant_s: Some(sweep.rate_constant_s),
            },
            None => {
                let excited_hz = excited_band_hz(&samples, rate_hz);
                let band_hz = [excited_hz[0].max(plan.band_hz[0]), excited_hz[1].min(plan.band_hz[1])];
                let band_hz = if band_hz[0] < band_hz[1] { band_hz } else { excited_hz };
                let played_hz = [band_hz[0] / FADE_RATIO, (band_hz[1] * FADE_RATIO).min(0.5 * rate_hz)];
                Self { samples, rate_hz, band_hz, played_hz, rate_constant_s: None }
            }
        };
        let [lowest_hz, highest_hz] = pattern.band_hz;
        if lowest_hz > highest_hz { Err(ResponseError::NoValidBand { lowest_hz, highest_hz }) } else { Ok(pattern) }
    }

    /// A time mark, which begins at frame `start` of the excitation whose repeats have the pattern `sweep`: its ramps are taken off the
    /// band.
    pub(super) fn of_mark(excitation: &Excitation, sweep: &Self, start: usize) -> Self {
        let samples = excitation.samples[start..start + excitation.plan.mark_frames].to_vec();
        let [from_hz, to_hz] = excitation.plan.band_hz;
        // A tenth of the octaves at each end is ramp.
        let ramp = (to_hz / from_hz).powf(0.1);
        Self {
            samples,
            rate_hz: sweep.rate_hz,
            band_hz: [from_hz * ramp, to_hz / ramp],
            // The same limit as for the sweep, so that the two have the same phase.
            played_hz: [sweep.played_hz[0], to_hz],
            rate_constant_s: None,
        }
    }

    /// B at a frequency within the band.
    pub fn limiter_in_band(&self, frequency_hz: f64) -> Complex64 {
        // j·f/(j·f + f₁) is f·(f + j·f₁)/(f² + f₁²).
        let [hz, lowest_hz] = [frequency_hz, self.played_hz[0]];
        let share = hz / (hz * hz + lowest_hz * lowest_hz).max(f64::MIN_POSITIVE);
        let pole = Complex64::new(share * hz, share * lowest_hz);
        let square = pole * pole;
        let sixth = square * square * square;
        sixth * sixth
    }

    /// |B|² there.
    pub(super) fn limiter_power_in_band(&self, frequency_hz: f64) -> f64 {
        let [square, lowest_square] = [frequency_hz, self.played_hz[0]].map(|hz| hz * hz);
        let share = square / (square + lowest_square);
        let fourth = (share * share) * (share * share);
        fourth * fourth * fourth
    }

    /// B for each of the bins 0 to N/2 of the excitation's spectrum.
    pub fn limiter(&self, played: &[Complex64]) -> Vec<Complex64> {
        let mut limiter = vec![Complex64::ZERO; played.len()];
        self.each_limited(played.len(), |bin| played[bin].norm_sqr(), |bin, limit| limiter[bin] = limit);
        limiter
    }

    /// Hands B to `take` for each of `bins` bins, 0 to N/2, in which the excitation has the given power.
    pub(super) fn each_limited(
        &self,
        bins: usize,
        power: impl Fn(usize) -> f64,
        mut take: impl FnMut(usize, Complex64),
    ) {
        let step_hz = 0.5 * self.rate_hz / (bins - 1) as f64;
        let [from_hz, to_hz] = self.band_hz;
        let power_between = |first_hz: f64, last_hz: f64| {
            let first = ((first_hz / step_hz) as usize).min(bins - 1);
            let last = ((last_hz / step_hz) as usize).clamp(first, bins - 1);
            (first..=last).map(&power).sum::<f64>() / (last - first + 1) as f64
        };
        let low = power_between(from_hz, from_hz * FADE_RATIO);
        let high = power_between(to_hz / FADE_RATIO, to_hz);
        let holes = self.holes(bins, &power);
        for bin in 0..bins {
            let hz = bin as f64 * step_hz;
            let trusted = |reference: f64| trust(reference, power(bin));
            let open = match hz {
                hz if hz >= self.played_hz[1] => 0.0,
                hz if hz < from_hz => trusted(low),
                hz if hz > to_hz => trusted(high) * self.upper_end_ratio(hz),
                hz => self.upper_end_ratio(hz),
            };
            let open = open * holes.get(bin).copied().unwrap_or(1.0);
            take(bin, if open > 0.0 { self.limiter_in_band(hz) * open } else { Complex64::ZERO });
        }
    }

    /// V for each bin; nothing for a sweep, whose spectrum has no holes.
    fn holes(&self, bins: usize, power: impl Fn(usize) -> f64) -> Vec<f64> {
        if self.rate_constant_s.is_some() {
            return Vec::new();
        }
        let powers: Vec<f64> = (0..bins).map(power).collect();
        let around = mean_around(&powers, |bin| bin / 24 + 1);
        powers
            .iter()
            .zip(around)
            .map(|(power, around)| power / (power + HOLE_POWER_RATIO * around).max(f64::MIN_POSITIVE))
            .collect()
    }

    fn upper_end_ratio(&self, frequency_hz: f64) -> f64 {
        let last_hz = self.played_hz[1];
        let full_hz = (last_hz * self.band_hz[1]).sqrt();
        if frequency_hz <= full_hz {
            return 1.0;
        }
        if frequency_hz >= last_hz { 0.0 } else { rise((last_hz / frequency_hz).ln() / (last_hz / full_hz).ln()) }
    }
}

/// T outside the band.
fn trust(band_power: f64, power: f64) -> f64 {
    let weakness = UNTRUSTED_POWER_RATIO * band_power / power.max(f64::MIN_POSITIVE);
    1.0 / (1.0 + weakness * weakness)
}

/// A bin this much weaker than its neighbours is a hole in the spectrum of noise, or of a sound that comes twice: 40 dB.
const HOLE_POWER_RATIO: f64 = 1e-4;
/// 40 dB below the band's end the excitation is taken for noise.
const UNTRUSTED_POWER_RATIO: f64 = 1e-4;

/// Lowest and highest frequency whose surroundings hold enough energy.
fn excited_band_hz(samples: &[f64], rate_hz: f64) -> [f64; 2] {
    let length = good_length(samples.len());
    let bins = Spectrum::new(length).bins(samples);
    let powers: Vec<f64> = bins.iter().map(Complex64::norm_sqr).collect();
    // Energy by fractions of an octave: power times frequency, averaged over a twelfth.
    let smooth = mean_around(&powers, |bin| bin / 24);
    let strength: Vec<f64> = smooth.iter().enumerate().map(|(bin, power)| power * bin as f64).collect();
    let least = strength.iter().copied().fold(0.0, f64::max) * 10f64.powf(EXCITED_DB / 10.0);
    let hz = |bin: usize| bin as f64 * rate_hz / length as f64;
    let first = strength.iter().position(|&s| s >= least).unwrap_or(1).max(1);
    let last = strength.iter().rposition(|&s| s >= least).unwrap_or(length / 2);
    // The averages reach beyond what is excited, and a fade needs room below half the rate.
    let inside = 25.0 / 24.0;
    [hz(first) * inside, (hz(last) / inside).min(0.5 * rate_hz / FADE_RATIO)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::SampleRate;
    use crate::signal::{Marks, PinkSettings, Sequence, SweepSettings, ToneSettings, pink, tone};

    fn sweep() -> Excitation {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 80.0, to_hz: 10_000.0, lowest_hz: None, duration_s: 1.0 };
        Sequence { sweep, level_dbfs: 0.0, repeats: 2, marks: Marks::None, pause_s: 0.5 }.excitation().unwrap()
    }

    #[test]
    fn a_sweep_knows_its_band_and_is_cut_out_whole() {
        let excitation = sweep();
        let pattern = Pattern::of(&excitation).unwrap();
        assert_eq!((pattern.samples.len(), pattern.band_hz, pattern.played_hz[0]), (48_000, [80.0, 10_000.0], 40.0));
        assert_eq!(pattern.samples, excitation.samples[48_000..96_000]);
        assert!(pattern.rate_constant_s.is_some());
        let mut silent = excitation;
        silent.samples.fill(0.0);
        assert_eq!(Pattern::of(&silent), Err(ResponseError::EmptyExcitation));
    }

    /// Twelve equal real poles, in closed form: |B| = (1 + (f₁/f)²)^−6, arg B = 12·atan(f₁/f).
    #[test]
    fn the_limiter_is_twelve_poles_below_and_open_within_the_band() {
        let pattern = Pattern::of(&sweep()).unwrap();
        let played = Spectrum::new(96_000).bins(&pattern.samples);
        let limiter = pattern.limiter(&played);
        for hz in [80.0f64, 100.0, 1_000.0, 10_000.0] {
            let found = limiter[(2.0 * hz) as usize];
            let expected = Complex64::from_polar((1.0 + (40.0 / hz).powi(2)).powi(-6), 12.0 * (40.0 / hz).atan());
            // 1e-12: twelve products. Within the band nothing else is done to it.
            assert!(
                (found - expected).norm() < 1e-12 && (pattern.limiter_in_band(hz) - expected).norm() < 1e-12,
                "{hz}"
            );
        }
        // Above the band a raised cosine over the logarithm of frequency: half at the middle of the upper half …
        let last_hz = pattern.played_hz[1];
        let half_hz = (last_hz.powi(3) * 10_000.0).powf(0.25);
        let place = (2.0 * half_hz).round();
        // 0.02: half a bin of 0.5 Hz against the 290 Hz of the fall, and T near 1.
        assert!((limiter[place as usize].norm() - 0.5).abs() < 0.02, "{}", limiter[place as usize].norm());
        // … and nothing from the last frequency that is played.
        assert!(limiter[(2.0 * last_hz) as usize + 1..].iter().all(|b| *b == Complex64::ZERO));
        assert_eq!(limiter[0], Complex64::ZERO);
    }

    /// T = ½ where the excitation is 40 dB below the band's end, and falls with the fourth power of its amplitude.
    #[test]
    fn what_is_40_db_below_the_bands_end_is_trusted_by_half() {
        assert_eq!([trust(1.0, 1e-4), trust(3.0, 0.0)], [0.5, 0.0]);
        // 1e-9: the closed form for 20 dB less and more: 1/(1 + 10^±4).
        assert!((trust(2.0, 2e-6) - 1.0 / 10_001.0).abs() < 1e-9 && (trust(2.0, 2e-2) - 1.0 / 1.0001).abs() < 1e-9);
    }

    #[test]
    fn noise_is_taken_for_the_band_it_has_and_its_holes_are_not_divided_by() {
        let rate = SampleRate::new(48_000).unwrap();
        let settings = PinkSettings { rate, band_hz: [200.0, 5_000.0], duration_s: 1.0, level_dbfs: 0.0, seed: 3 };
        let mut excitation = pink(settings).unwrap();
        // As a file of somebody else's, that says nothing of its band.
        excitation.plan.band_hz = [1.0, 23_000.0];
        let pattern = Pattern::of(&excitation).unwrap();
        let [from_hz, to_hz] = pattern.band_hz;
        // 8 %: the mean over a twelfth of an octave at −30 dB, to each side.
        assert!((from_hz / 200.0 - 1.0).abs() < 0.08 && (to_hz / 5_000.0 - 1.0).abs() < 0.08, "{from_hz} {to_hz}");
        assert!((pattern.played_hz[0] * FADE_RATIO / from_hz - 1.0).abs() < 1e-12);
        let mut played = Spectrum::new(48_000).bins(&pattern.samples);
        let mean_power = played[990..=1_010].iter().map(Complex64::norm_sqr).sum::<f64>() / 21.0;
        played[1_000] = Complex64::from(1e-2 * mean_power.sqrt());
        let limiter = pattern.limiter(&played);
        let open = |bin: usize| limiter[bin].norm() / pattern.limiter_in_band(bin as f64).norm();
        // A hole 40 dB below its surroundings is half open; 15 %: those are of another width here.
        assert!((open(1_000) - 0.5).abs() < 0.15, "{}", open(1_000));
        assert!(open(1_001) > 0.9);
    }

    #[test]
    fn a_tone_is_known_at_its_own_frequency() {
        let rate = SampleRate::new(48_000).unwrap();
        let excitation = tone(ToneSettings { rate, at_hz: 1_000.0, duration_s: 0.5, level_dbfs: 0.0 }).unwrap();
        let [from_hz, to_hz] = Pattern::of(&excitation).unwrap().band_hz;
        assert!(from_hz < 1_000.0 && to_hz > 1_000.0 && to_hz / from_hz < 1.2, "{from_hz} {to_hz}");
    }
}
