//! What is left of a phase when the minimum phase is taken away: delay, polarity, and what a wrong clock does to a sweep.
//!
//! ```text
//! arg H(f) − arg H_min(f) = −2πf·(τ + L·δ·ln(f/f₁)) + {0 or π}
//! ```
//!
//! What lies beyond the band bends the minimum phase too: by a₃f³ + a₅f⁵ + a₇f⁷ from above and b/f from below, the
//! series of the Hilbert integral, which are fitted along where the drift is sought.
//!
//! τ: delay, s; δ: drift of the recorder's clock; L, f₁: rate constant and first frequency of the sweep. A loudspeaker's
//! drivers are minimum phase nearly everywhere, a crossover's sum is not: what it leaves shows as the misfit.
//! What a system does above half the sample rate is taken for delay: behind a pole at 15 kHz and at 48 kHz the arrival comes
//! 0.26 frames late, which the uncertainty leaves out.
//! Derivation: a sweep stretched by 1 + δ has L' = L·(1 + δ), f₁' = f₁/(1 + δ); the phase 2πfL·(1 − ln(f/f₁)) of its
//! spectrum changes by −2πf·L·δ·ln(f/f₁) to first order. Minimum phase: A. V. Oppenheim, R. W. Schafer, "Discrete-Time
//! Signal Processing", chapter 12.

use super::deconvolve::WrappedImpulse;
use super::gate::{Gate, Sides};
use super::{Drift, Pattern, ToldBy};
use crate::math::{InverseSpectrum, Spectrum, both, minimum_phase_rad, unwrapped, weighted_line, weighted_plane};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// When the first sound arrives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrival {
    /// Frames after time zero, fractions included.
    pub frames: f64,
    /// Standard uncertainty.
    pub u_frames: f64,
    /// Whether the first sound goes the way of the excitation.
    pub polarity: Polarity,
}

/// Which way the first sound goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Polarity {
    /// As played.
    Same,
    /// Upside down.
    Reversed,
    /// The phase does not say: it is far from any half turn.
    Unclear,
}

/// Points of the spectrum in which the minimum phase is computed; 1.5 Hz at 48 kHz.
const LENGTH: usize = 32_768;
/// Only bins within this of the strongest count: the phase of a dip says little.
const DEEPEST_DB: f64 = -30.0;
/// So many half frames of smear to each side fit into the piece that is looked at.
const MOST_STEPS: i64 = 2_000;
/// What the minimum phase leaves is one smooth curve, of about so many independent pieces.
const INDEPENDENT: f64 = 3.0;
/// What is not minimum phase is no chance: more of it hides in the slope than the misfit shows. Found so many times larger
/// at worst, over closed boxes, deep notches and two-way sums, for the arrival …
const ARRIVAL_MISFITS: f64 = 4.0;
/// … and for the drift.
const DRIFT_MISFITS: f64 = 7.0;

/// A window must hold so many periods of a frequency before the phase there is the system's own.
const RESOLVED_PERIODS: f64 = 2.0;

/// How the magnitude goes on above the band.
#[derive(Clone, Copy)]
enum Beyond {
    /// As high as it ended.
    Level,
    /// As steep as it ended.
    Slope,
}

/// The steepest end that is believed, as a power of frequency: 24 dB an octave down, none up.
const STEEPEST: [f64; 2] = [-4.0, 0.0];
/// The end's slope is that of the last third of an octave.
const END_RATIO: f64 = 0.793_700_525_984_1;
/// So much of the difference between the two guesses is the standard uncertainty.
const BEYOND_SHARE: f64 = 0.5;

/// The power of frequency by which the band ends.
fn end_slope(bins: &[Complex64], first: usize, last: usize) -> f64 {
    let from = ((last as f64 * END_RATIO) as usize).max(first + 1);
    let logarithm = |bin: usize| bins[bin].norm().max(f64::MIN_POSITIVE).ln();
    let rows: Vec<(Vec<f64>, f64, f64)> =
        (from..=last).map(|bin| (vec![1.0, (bin as f64 / last as f64).ln()], logarithm(bin), 1.0)).collect();
    weighted_plane(&rows).map_or(0.0, |fit| fit.values[1].clamp(STEEPEST[0], STEEPEST[1]))
}

/// A phase further from a half turn than this says nothing about polarity.
const CLEAR_HALF_TURNS: f64 = 0.25;

/// Excess phase of the first sound, by bins.
struct Excess {
    /// 2πf/f_s, frequency in Hz, phase, weight.
    points: Vec<[f64; 4]>,
    polarity: Polarity,
}

/// When the first sound arrives: the delay that the minimum phase leaves, near the strongest sample at `peak`.
pub fn arrival(impulse: &WrappedImpulse, peak: i64, pattern: &Pattern) -> Arrival {
    let reach_frames = (reach_s(pattern) * pattern.rate_hz).max(2.0);
    let bins = first_sound(impulse, peak, pattern, reach_frames);
    let excess = excess_phase(&bins, pattern, Beyond::Slope);
    let level = excess_phase(&bins, pattern, Beyond::Level);
    let line =
        |excess: &Excess| weighted_line(excess.points.iter().map(|&[turn, _, phase, weight]| (-turn, phase, weight)));
    let fit = line(&excess);
    let plain = Arrival { frames: peak as f64, u_frames: 0.5, polarity: excess.polarity };
    let Some(fit) = fit else { return plain };
    // Further from the peak than the sound is long: no minimum phase here, the peak is the better word.
    if fit.slope_ratio.abs() > reach_frames {
        return plain;
    }
    let misfit =
        ARRIVAL_MISFITS * (fit.variance_ratio * fit.residual_ratio * excess.points.len() as f64 / INDEPENDENT).sqrt();
    // Nobody knows how the magnitude goes on above the band: what the two guesses differ by is doubt.
    let guess = BEYOND_SHARE * line(&level).map_or(0.0, |level| fit.slope_ratio - level.slope_ratio);
    let u_frames = misfit.hypot(guess);
    Arrival { frames: peak as f64 + fit.slope_ratio, u_frames, polarity: excess.polarity }
}

/// The drift that a single sweep without marks tells of itself.
///
/// Its uncertainty is what the minimum phase leaves: some hundred ppm for a crossover that is not minimum phase, so that
/// a right clock is not corrected there.
/// `None` for anything but a sweep.
pub fn drift_of_sweep(impulse: &WrappedImpulse, peak: i64, pattern: &Pattern) -> Option<Drift> {
    let rate_constant = pattern.rate_constant_s? * pattern.rate_hz;
    let smeared = Smeared::of(impulse, peak, pattern, rate_constant);
    let coarse = compact_drift(&smeared);
    let reach_frames = (reach_s(pattern) * pattern.rate_hz).max(2.0);
    let bins = smeared.without(coarse);
    let unsmeared = WrappedImpulse { samples: smeared.inverse.samples(&bins), bins };
    let peak = super::locate::strongest(&unsmeared, 0, unsmeared.samples.len() as i64 / 4);
    let excess = excess_phase(&first_sound(&unsmeared, peak, pattern, reach_frames), pattern, Beyond::Level);
    let first_hz = pattern.played_hz[0];
    let [low_hz, high_hz] = pattern.band_hz;
    let lowest_hz = RESOLVED_PERIODS * pattern.rate_hz / reach_frames;
    let rows: Vec<(Vec<f64>, f64, f64)> = excess
        .points
        .iter()
        .filter(|point| point[1] > lowest_hz)
        .map(|&[turn, hz, phase, weight]| {
            let (above, below) = (hz / high_hz, low_hz / hz);
            let smear = -turn * rate_constant * (hz / first_hz).ln();
            (vec![-turn, smear, above.powi(3), above.powi(5), above.powi(7), below], phase, weight)
        })
        .collect();
    let fit = weighted_plane(&rows)?;
    let weights: f64 = excess.points.iter().map(|point| point[3]).sum();
    let u_ratio = DRIFT_MISFITS * (fit.variances[1] * fit.residual_ratio * weights / INDEPENDENT).sqrt();
    Some(Drift { ratio: coarse + fit.values[1], u_ratio, told_by: ToldBy::Sweep })
}

/// How long the first sound is taken to last: until reflections come, but some periods of the highest frequency.
fn reach_s(pattern: &Pattern) -> f64 {
    (10.0 / pattern.band_hz[1]).max(0.004)
}

/// The spectrum of the first sound around its peak, the band's limit taken off.
fn first_sound(impulse: &WrappedImpulse, peak: i64, pattern: &Pattern, reach_frames: f64) -> Vec<Complex64> {
    let rate_hz = pattern.rate_hz;
    let sides = Sides::of(pattern);
    let gate = Gate::around(sides.before_s * rate_hz, reach_frames);
    let mut turned = gate.cut_to_zero(impulse, peak as f64, LENGTH);
    turned.resize(LENGTH, 0.0);
    let mut bins = Spectrum::new(LENGTH).bins(&turned);
    for (bin, value) in bins.iter_mut().enumerate().skip(1) {
        *value /= pattern.limiter_in_band(bin as f64 * rate_hz / LENGTH as f64);
    }
    bins
}

fn excess_phase(bins: &[Complex64], pattern: &Pattern, beyond: Beyond) -> Excess {
    let rate_hz = pattern.rate_hz;
    let bin_of = |hz: f64| ((hz / rate_hz * LENGTH as f64).round() as usize).clamp(1, LENGTH / 2 - 1);
    let first = bin_of(pattern.band_hz[0]);
    let last = bin_of(pattern.band_hz[1]).max(first);
    // Below the band the magnitude goes on as it ended; above it, as `beyond` says.
    let slope = match beyond {
        Beyond::Level => 0.0,
        Beyond::Slope => end_slope(bins, first, last),
    };
    let magnitudes: Vec<f64> = (0..bins.len())
        .map(|bin| bins[bin.clamp(first, last)].norm() * (bin.max(last) as f64 / last as f64).powf(slope))
        .collect();
    let minimum = minimum_phase_rad(&magnitudes);
    let strongest = magnitudes[first..=last].iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let least = strongest * 10f64.powf(DEEPEST_DB / 20.0);
    let phases = unwrapped((first..=last).map(|bin| (bins[bin] * Complex64::cis(-minimum[bin])).arg()));
    let raw: Vec<[f64; 4]> = (first..=last)
        .zip(phases)
        .map(|(bin, phase_rad)| {
            let weight = if magnitudes[bin] >= least { magnitudes[bin].powi(2) } else { 0.0 };
            [TAU * bin as f64 / LENGTH as f64, bin as f64 * rate_hz / LENGTH as f64, phase_rad, weight]
        })
        .collect();
    settle_polarity(raw)
}

/// The constant part of the phase is 0 or half a turn (or whole turns): it is taken off, and named.
fn settle_polarity(mut points: Vec<[f64; 4]>) -> Excess {
    let rows: Vec<(Vec<f64>, f64, f64)> =
        points.iter().map(|&[turn, _, phase, weight]| (vec![1.0, -turn], phase, weight)).collect();
    let level = weighted_plane(&rows).map_or(0.0, |fit| fit.values[0]);
    let half_turns = (level / PI).round();
    points.iter_mut().for_each(|point| point[2] -= half_turns * PI);
    let polarity = match half_turns.rem_euclid(2.0) == 0.0 {
        _ if (level / PI - half_turns).abs() > CLEAR_HALF_TURNS => Polarity::Unclear,
        true => Polarity::Same,
        false => Polarity::Reversed,
    };
    Excess { points, polarity }
}

/// The drift, to some ppm, that makes the first sound most compact.
fn compact_drift(smeared: &Smeared) -> f64 {
    // In steps that move the top of the band by half a frame against the bottom; up to 1000 ppm.
    let pattern = smeared.pattern;
    let spread = smeared.rate_constant * (pattern.band_hz[1] / pattern.band_hz[0]).ln();
    let step = 0.5 / spread;
    let steps = ((1e-3 / step).ceil() as i64).min(MOST_STEPS);
    let compactness = |bins: &[Complex64]| {
        let samples = smeared.inverse.samples(bins);
        let (squares, fourths) = samples.iter().fold((0.0, 0.0), |(two, four), x| (two + x * x, four + x.powi(4)));
        fourths / (squares * squares)
    };
    let turns = smeared.turns(step);
    // The most compact of so many steps from the first on; from each to the next all bins turn by the same.
    let best_of = |first: i64, count: i64| {
        let mut bins = smeared.without(first as f64 * step);
        let mut best = (first, compactness(&bins));
        for index in first + 1..first + count {
            bins.iter_mut().zip(&turns).for_each(|(bin, turn)| *bin *= turn);
            let value = compactness(&bins);
            if value > best.1 {
                best = (index, value);
            }
        }
        best
    };
    let ((below, low), (above, high)) = both(|| best_of(-steps, steps), || best_of(0, steps + 1));
    step * (if low > high { below } else { above }) as f64
}

/// The first sound of a sweep that a wrong clock smears; good enough to look for the drift, not to measure with.
struct Smeared<'a> {
    pattern: &'a Pattern,
    /// L in frames.
    rate_constant: f64,
    bins: Vec<Complex64>,
    inverse: InverseSpectrum,
}

/// Frames of it.
const SMEARED_FRAMES: usize = 8192;

impl<'a> Smeared<'a> {
    fn of(impulse: &WrappedImpulse, peak: i64, pattern: &'a Pattern, rate_constant: f64) -> Self {
        let mut samples = impulse.cut(peak - SMEARED_FRAMES as i64 / 2, SMEARED_FRAMES);
        samples.rotate_left(SMEARED_FRAMES / 2);
        let bins = Spectrum::new(SMEARED_FRAMES).bins(&samples);
        Self { pattern, rate_constant, bins, inverse: InverseSpectrum::new(SMEARED_FRAMES) }
    }

    /// What takes a drift off the phase of each bin.
    fn turns(&self, drift: f64) -> Vec<Complex64> {
        let turn = |bin: usize| {
            let hz = bin as f64 * self.pattern.rate_hz / SMEARED_FRAMES as f64;
            // Relative to the top of the band, so that the strongest part stays where it is.
            let later = self.rate_constant * drift * (hz / self.pattern.band_hz[1]).ln();
            Complex64::cis(TAU * bin as f64 / SMEARED_FRAMES as f64 * later)
        };
        (0..self.bins.len()).map(|bin| if bin == 0 { 1.0.into() } else { turn(bin) }).collect()
    }

    /// The spectrum with a drift's smear taken off.
    fn without(&self, drift: f64) -> Vec<Complex64> {
        self.bins.iter().zip(self.turns(drift)).map(|(bin, turn)| bin * turn).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::InverseSpectrum;
    use crate::quantity::SampleRate;
    use crate::response::Deconvolution;
    use crate::signal::{Sweep, SweepSettings};

    fn sweep() -> Sweep {
        let rate = SampleRate::new(48_000).unwrap();
        Sweep::new(SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 1.0 }).unwrap()
    }

    fn pattern() -> Pattern {
        let sweep = sweep();
        Pattern {
            samples: sweep.samples(),
            rate_hz: 48_000.0,
            band_hz: sweep.band_hz(),
            played_hz: sweep.played_hz(),
            rate_constant_s: Some(sweep.rate_constant_s()),
        }
    }

    /// A closed box at 60 Hz and a zero inside the unit circle, 6 dB down at 15 kHz, `late` frames late: minimum phase in
    /// closed form, times a delay.
    fn loudspeaker(pattern: &Pattern, late: f64, sign: f64) -> WrappedImpulse {
        let deconvolution = Deconvolution::new(pattern, 48_000);
        let length = deconvolution.length();
        let bins: Vec<Complex64> = deconvolution
            .limiter()
            .iter()
            .enumerate()
            .map(|(bin, limit)| {
                let s = Complex64::new(0.0, deconvolution.bin_hz(bin) / 60.0);
                let box_response = s * s / (s * s + s / 0.8 + 1.0);
                let zero = (1.0 + 0.5 * Complex64::cis(-TAU * bin as f64 / length as f64)) / 1.5;
                sign * limit * box_response * zero * Complex64::cis(-TAU * bin as f64 * late / length as f64)
            })
            .collect();
        WrappedImpulse { samples: InverseSpectrum::new(length).samples(&bins), bins }
    }

    #[test]
    fn a_minimum_phase_loudspeaker_is_as_late_as_it_was_made_and_keeps_its_polarity() {
        let pattern = pattern();
        for (late, sign, polarity) in [(500.0, 1.0, Polarity::Same), (500.37, -1.0, Polarity::Reversed)] {
            let impulse = loudspeaker(&pattern, late, sign);
            let peak = super::super::locate::strongest(&impulse, 500, 100);
            let found = arrival(&impulse, peak, &pattern);
            let error = found.frames - late;
            // 0.05: a degree of phase at 2.7 kHz; how the level goes on above 20 kHz is a guess.
            assert!(error.abs() < 0.05 && error.abs() < 3.0 * found.u_frames, "{late}: {found:?}");
            // Two-sided: a doubt of half a frame would say nothing.
            assert!(found.u_frames < 0.2, "{found:?}");
            assert_eq!(found.polarity, polarity);
        }
    }

    /// The recording of the sweep itself on a clock that is fast by δ: frame n holds the sweep at n/(1 + δ).
    #[test]
    fn the_drift_of_a_sweep_is_found_with_its_sign() {
        let (sweep, pattern) = (sweep(), pattern());
        for drift in [-150e-6, 0.0, 60e-6] {
            let recorded: Vec<f64> =
                (0..60_000).map(|n| sweep.value_at((f64::from(n) / (1.0 + drift) - 3_000.0) / 48_000.0)).collect();
            let impulse = Deconvolution::new(&pattern, recorded.len()).impulse_of(&recorded);
            let peak = super::super::locate::strongest(&impulse, 3_000, 240);
            let found = drift_of_sweep(&impulse, peak, &pattern).unwrap();
            assert_eq!(found.told_by, ToldBy::Sweep);
            // 10 ppm: a tenth of what bad clocks differ by; a second round on the corrected recording leaves less.
            assert!((found.ratio - drift).abs() < 10e-6, "{drift}: {found:?}");
            assert!((found.ratio - drift).abs() < 3.0 * found.u_ratio + 1e-6, "{drift}: {found:?}");
        }
        let mut other = pattern;
        other.rate_constant_s = None;
        assert!(drift_of_sweep(&loudspeaker(&other, 500.0, 1.0), 500, &other).is_none());
    }

    /// |H| ∝ f^p by definition.
    #[test]
    fn the_end_of_a_band_is_as_steep_as_its_power_of_frequency_and_never_rises() {
        for (power, expected) in [(-2.0, -2.0), (0.0, 0.0), (-3.5, -3.5), (-7.0, -4.0), (2.0, 0.0)] {
            let bins: Vec<Complex64> =
                (0..1_000).map(|bin| Complex64::from(f64::from(bin.max(1)).powf(power))).collect();
            // 1e-9: a straight line through exact logarithms.
            assert!((end_slope(&bins, 10, 900) - expected).abs() < 1e-9, "{power}");
        }
    }

    /// An all-pass of second order at 1 kHz, as a crossover's sum leaves it: no minimum phase, and the doubt says so.
    #[test]
    fn what_is_not_minimum_phase_is_covered_by_the_uncertainty() {
        let pattern = pattern();
        let mut impulse = loudspeaker(&pattern, 500.0, 1.0);
        let length = impulse.samples.len();
        for (bin, value) in impulse.bins.iter_mut().enumerate() {
            let s = Complex64::new(0.0, bin as f64 * 48_000.0 / length as f64 / 1_000.0);
            *value *= (s * s - s / 0.7 + 1.0) / (s * s + s / 0.7 + 1.0);
        }
        impulse.samples = InverseSpectrum::new(length).samples(&impulse.bins);
        let peak = super::super::locate::strongest(&impulse, 500, 100);
        let found = arrival(&impulse, peak, &pattern);
        assert!((found.frames - 500.0).abs() < 2.0 * found.u_frames, "{found:?}");
        // Between a tenth of a frame, which only a minimum-phase system allows, and the all-pass's own delay.
        assert!((0.1..30.0).contains(&found.u_frames), "{found:?}");
        let drift = drift_of_sweep(&impulse, peak, &pattern).unwrap();
        assert!(drift.ratio.abs() < 2.0 * drift.u_ratio && (1e-6..2e-3).contains(&drift.u_ratio), "{drift:?}");
    }
}
