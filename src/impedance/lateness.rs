//! By how much the load channel lags behind the drive channel, and what else there is in its phase that the magnitude does not bring.
//!
//! ```text
//! arg(A·H) = φ(|A·H|) − 2πfτ        1/(A·H) = 1 + R_s/(Z_lead + Z)
//! ```
//!
//! A load that takes power has a positive real part, so A·H has neither poles nor zeros in the right half plane: its phase is the one that
//! belongs to its magnitude ([`crate::math::bode_phase_rad`]), and what is left of it is a delay τ between the channels. By least squares
//! through zero over the upper part of the band. Beyond the band the load goes on for a decade as the coil that its last octave shows,
//! `K·(jω)^p`, and below it as a resistance with a reactance that falls with f; that needs the phase without the delay, so it is done in rounds.
//! What then is left of the phase in the middle of the band no steady pair of inputs makes: a gain or a contact that changes while the sweep
//! passes bends the magnitude and not the phase. Of 300 clean captures of `examples/damage_table` none was accused by it.
//! Source: H. W. Bode, "Network Analysis and Feedback Amplifier Design" (1945), from memory; the use is ours.

use crate::math::{bode_phase_rad, unwrapped};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use std::ops::Range;

/// The fit covers this share of the band's upper end …
const FIT_SHARE: [f64; 2] = [0.05, 0.8];
/// … and needs so many points.
const FEWEST: usize = 12;
/// A band that ends sooner above the highest peak does not tell how the magnitude goes on.
const ABOVE_PEAK: f64 = 6.0;
/// A band that begins on the flank of a resonance does not tell how the magnitude was before.
const BELOW_PEAK: f64 = 2.5;
/// The octave whose slope goes on beyond the band …
const OCTAVE: f64 = 2.0;
/// … for so much in ln f.
const BEYOND: f64 = std::f64::consts::LN_10;
/// The first takes the load with the delay in it, each other one with what the one before left.
const ROUNDS: usize = 4;

/// τ in seconds (positive: the load is late); `None` where the band is too short to tell.
pub(super) fn lateness_s(hz: &[f64], open_ratios: &[Complex64], highest_peak_hz: f64) -> Option<f64> {
    let last = hz.len().checked_sub(1)?;
    if hz[last] < ABOVE_PEAK * highest_peak_hz {
        return None;
    }
    let from = hz.partition_point(|&hz_| hz_ < FIT_SHARE[0] * hz[last]);
    let end = hz.partition_point(|&hz_| hz_ < FIT_SHARE[1] * hz[last]);
    if end < from + FEWEST || open_ratios.iter().any(|ratio| ratio.norm() == 0.0) {
        return None;
    }
    let mut late_s = 0.0;
    for _ in 0..ROUNDS {
        late_s = left_of_own(hz, open_ratios, from..end, late_s);
    }
    // A ratio of 1 leaves no load to go on from.
    Some(late_s).filter(|late_s| late_s.is_finite())
}

/// ln of the modulus of `z/(1 + z)`, z = Z/R_s, for a decade below and one above the band in the band's own steps of ln f, if the load is late by
/// `late_s`: a coil above it; below it a resistance with the reactance that a compliance leaves.
fn beyond(hz: &[f64], open_ratios: &[Complex64], late_s: f64, step: f64) -> [Vec<f64>; 2] {
    let load = |at: usize| {
        let ratio = open_ratios[at] * Complex64::cis(TAU * hz[at] * late_s);
        ratio / (1.0 - ratio)
    };
    let ln_ratio = |load: Complex64| (load / (1.0 + load)).norm().ln();
    let count = (BEYOND / step) as usize;
    let last = hz.len() - 1;
    let octave_below = hz.partition_point(|&hz_| hz_ < hz[last] / OCTAVE);
    let [first, end] = [load(0), load(last)];
    let power = (end.norm() / load(octave_below).norm()).ln() / (hz[last] / hz[octave_below]).ln();
    // A coil that loses nothing, and a resistor.
    let power = if power.is_nan() { 0.0 } else { power.clamp(0.0, 1.0) };
    let above = |number: usize| {
        ln_ratio(Complex64::from_polar(end.norm() * (number as f64 * step * power).exp(), 0.5 * PI * power))
    };
    let below = |number: usize| ln_ratio(Complex64::new(first.re, first.im * (-(number as f64) * step).exp()));
    [(1..=count).rev().map(below).collect(), (1..=count).map(above).collect()]
}

/// The phase that belongs to the magnitude at the points `wanted`, the magnitude beyond the band being that of a load late by `late_s`.
fn own_phase_rad(hz: &[f64], open_ratios: &[Complex64], wanted: Range<usize>, late_s: f64) -> Vec<f64> {
    let last = hz.len() - 1;
    let step = (hz[last] / hz[0]).ln() / last as f64;
    let [mut below, mut above] = beyond(hz, open_ratios, late_s, step);
    let within: Vec<f64> = open_ratios.iter().map(|ratio| ratio.norm().ln()).collect();
    // What noise or another gain shifts the whole by is no step of the load.
    let meets = [below.last().map_or(0.0, |ln| within[0] - ln), above.first().map_or(0.0, |ln| within[last] - ln)];
    below.iter_mut().for_each(|ln| *ln += meets[0]);
    above.iter_mut().for_each(|ln| *ln += meets[1]);
    let before = below.len();
    let all = [below, within, above].concat();
    bode_phase_rad(&all, step, [0.0, 0.0], wanted.start + before..wanted.end + before)
}

/// τ by what the phase has beyond the magnitude's own.
fn left_of_own(hz: &[f64], open_ratios: &[Complex64], fitted: Range<usize>, late_s: f64) -> f64 {
    let (from, end) = (fitted.start, fitted.end);
    let own = own_phase_rad(hz, open_ratios, fitted, late_s);
    let phases = unwrapped((from..end).map(|at| open_ratios[at].arg()));
    let mut left: Vec<f64> = phases.iter().zip(&own).map(|(phase, own)| phase - own).collect();
    // Whole turns at the first point can't be told: the nearest is taken.
    let turns = (left[0] / TAU).round() * TAU;
    left.iter_mut().for_each(|phase| *phase -= turns);
    let slope = |phases: &[f64]| {
        let sums =
            phases.iter().zip(&hz[from..end]).fold([0.0; 2], |[xy, xx], (phase, hz)| [xy + phase * hz, xx + hz * hz]);
        sums[0] / sums[1]
    };
    // A line without the zero tells the turns that lie before the first point.
    let (n, sums) = (left.len() as f64, left.iter().zip(&hz[from..end]));
    let [x, y, xy, xx] =
        sums.fold([0.0; 4], |[x, y, xy, xx], (phase, hz)| [x + hz, y + phase, xy + hz * phase, xx + hz * hz]);
    let free = (n * xy - x * y) / (n * xx - x * x);
    let missing = ((free * hz[from] - left[0]) / TAU).round() * TAU;
    left.iter_mut().for_each(|phase| *phase += missing);
    -slope(&left) / TAU
}

/// Where the phase is furthest from the magnitude's own and from any delay: frequency and by how much, rad. `None` where the band is too short
/// to tell.
pub(super) fn not_own_rad(
    hz: &[f64],
    open_ratios: &[Complex64],
    peaks_hz: [f64; 2],
    late_s: f64,
) -> Option<(f64, f64)> {
    let [lowest_hz, highest_hz] = peaks_hz;
    let last = hz.len() - 1;
    if lowest_hz < BELOW_PEAK * hz[0] || hz[last] < ABOVE_PEAK * highest_hz {
        return None;
    }
    let wanted = hz.partition_point(|&hz_| hz_ < OCTAVE * hz[0])..hz.partition_point(|&hz_| hz_ < hz[last] / OCTAVE);
    let own = own_phase_rad(hz, open_ratios, wanted.clone(), late_s);
    let left = |(at, own): (usize, f64)| {
        let turned = (open_ratios[at] * Complex64::cis(TAU * hz[at] * late_s - own)).arg();
        (hz[at], turned)
    };
    wanted.zip(own).map(left).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
}

/// A delay counts from this phase at the band's upper end on.
pub(super) const LATE_RAD: f64 = 0.25;
/// A phase this far from the magnitude's own is none of the load's: seven degrees.
pub(super) const NOT_OWN_RAD: f64 = 0.12;
/// From here on the curve is another one.
pub(super) const VERY_LATE_RAD: f64 = PI / 4.0;

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // a test that can't go on may stop
    use super::*;
    use crate::quantity::FrequencyGrid;

    /// A coil of 6 Ω and 0.5 mH with a resonance at 50 Hz behind 10 Ω, in closed form, and delays that are known.
    #[test]
    fn a_delay_between_the_channels_is_told_from_the_loads_own_phase() {
        let grid = FrequencyGrid::of_octave_fractions([20.0, 20_000.0], 48).unwrap();
        for late_s in [0.0, 5e-6, 20.8e-6, -20.8e-6, 166.7e-6, -1.333e-3] {
            let ratio = |&hz: &f64| {
                let x = hz / 50.0;
                let ohm =
                    6.0 + Complex64::new(0.0, TAU * hz * 0.5e-3) + 40.0 / Complex64::new(1.0, 4.0 * (x - 1.0 / x));
                ohm / (ohm + 10.0) * Complex64::cis(-TAU * hz * late_s)
            };
            let ratios: Vec<Complex64> = grid.hz().iter().map(ratio).collect();
            let found_s = lateness_s(grid.hz(), &ratios, 50.0).unwrap();
            // 0.5 µs: a sixteenth of a radian at 20 kHz, what is not known of the magnitude above the band.
            assert!((found_s - late_s).abs() < 0.5e-6, "{late_s}: {found_s}");
        }
    }

    /// A sweep that ends at 2 kHz, where a coil of losses is far below 47 Ω and still rises: Z = 4 + K·(jω)^0.6, 4 Ω of it at 1 kHz.
    #[test]
    fn a_load_that_still_rises_at_the_end_of_the_band_is_not_late() {
        let grid = FrequencyGrid::of_octave_fractions([20.0, 2_000.0], 48).unwrap();
        let ratio = |&hz: &f64| {
            let x = hz / 85.0;
            let coil = 4.0 + 4.0 * Complex64::new(0.0, hz / 1_000.0).powf(0.6);
            let ohm = coil + 36.0 / Complex64::new(1.0, 6.0 * (x - 1.0 / x));
            ohm / (ohm + 47.0)
        };
        let ratios: Vec<Complex64> = grid.hz().iter().map(ratio).collect();
        let found_s = lateness_s(grid.hz(), &ratios, 85.0).unwrap();
        // A third of what counts: its last octave holds the resistance too, so that the coil goes on more steeply than it shows.
        assert!(TAU * 2_000.0 * found_s.abs() < LATE_RAD / 3.0, "{found_s}");
    }

    /// A gain that falls by 6 dB while the sweep passes from 20 Hz to 20 kHz, as a real factor; a coil of little resistance, whose resonance reaches
    /// far down.
    #[test]
    fn a_gain_that_moves_with_the_sweep_leaves_a_phase_that_is_not_the_magnitudes_own() {
        let grid = FrequencyGrid::of_octave_fractions([20.0, 20_000.0], 48).unwrap();
        let left_rad = |fall_db: f64, coil_ohm: f64| {
            let ratio = |&hz: &f64| {
                let x = hz / 80.0;
                let ohm =
                    coil_ohm + Complex64::new(0.0, TAU * hz * 0.3e-3) + 40.0 / Complex64::new(1.0, 4.0 * (x - 1.0 / x));
                ohm / (ohm + 10.0) * 10f64.powf(-fall_db / 20.0 * (hz / 20.0).ln() / 1_000f64.ln())
            };
            let ratios: Vec<Complex64> = grid.hz().iter().map(ratio).collect();
            let late_s = lateness_s(grid.hz(), &ratios, 80.0).unwrap();
            not_own_rad(grid.hz(), &ratios, [80.0, 80.0], late_s).unwrap().1.abs()
        };
        for coil_ohm in [6.0, 1.8] {
            let (steady, moved) = (left_rad(0.0, coil_ohm), left_rad(6.0, coil_ohm));
            assert!(steady < 0.5 * NOT_OWN_RAD && moved > NOT_OWN_RAD, "{coil_ohm}: {steady} {moved}");
        }
    }
}
