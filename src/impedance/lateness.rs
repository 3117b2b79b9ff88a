//! By how much the load channel lags behind the drive channel, by the ratio's own phase.
//!
//! ```text
//! arg(A·H) = φ(|A·H|) − 2πfτ        1/(A·H) = 1 + R_s/(Z_lead + Z)
//! ```
//!
//! A load that takes power has a positive real part, so A·H has neither poles nor zeros in the right half plane: its phase is the one that
//! belongs to its magnitude ([`crate::math::bode_phase_rad`]), and what is left of it is a delay τ between the channels. By least squares
//! through zero over the upper part of the band; beyond the band the magnitude goes on with half of its last octave's slope, as it bends
//! towards 1 there, and that is good for a tenth of a radian at the upper end.
//! Source: H. W. Bode, "Network Analysis and Feedback Amplifier Design" (1945), from memory; the use is ours.

use crate::math::{bode_phase_rad, unwrapped};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// The fit covers this share of the band's upper end …
const FIT_SHARE: [f64; 2] = [0.05, 0.8];
/// … and needs so many points.
const FEWEST: usize = 12;
/// A band that ends sooner above the highest peak does not tell how the magnitude goes on.
const ABOVE_PEAK: f64 = 6.0;
/// Points in an octave whose slope goes on beyond the band.
const OCTAVE: f64 = 2.0;

/// τ in seconds (positive: the load is late); `None` where the band is too short to tell.
pub(super) fn lateness_s(hz: &[f64], open_ratios: &[Complex64], highest_peak_hz: Option<f64>) -> Option<f64> {
    let last = hz.len().checked_sub(1)?;
    if hz[last] < ABOVE_PEAK * highest_peak_hz? {
        return None;
    }
    let from = hz.partition_point(|&hz_| hz_ < FIT_SHARE[0] * hz[last]);
    let end = hz.partition_point(|&hz_| hz_ < FIT_SHARE[1] * hz[last]);
    if end < from + FEWEST || open_ratios.iter().any(|ratio| ratio.norm() == 0.0) {
        return None;
    }
    let ln_magnitude: Vec<f64> = open_ratios.iter().map(|ratio| ratio.norm().ln()).collect();
    let step = (hz[last] / hz[0]).ln() / last as f64;
    let octave_below = hz.partition_point(|&hz_| hz_ < hz[last] / OCTAVE);
    let rise = (ln_magnitude[last] - ln_magnitude[octave_below]) / (hz[last] / hz[octave_below]).ln();
    let own = bode_phase_rad(&ln_magnitude, step, [0.0, 0.5 * rise], from..end);
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
    Some(-slope(&left) / TAU)
}

/// A delay counts from this phase at the band's upper end on.
pub(super) const LATE_RAD: f64 = 0.25;
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
            let found_s = lateness_s(grid.hz(), &ratios, Some(50.0)).unwrap();
            // 1 µs: an eighth of a radian at 20 kHz, what is not known of the magnitude above the band.
            assert!((found_s - late_s).abs() < 1e-6, "{late_s}: {found_s}");
        }
    }
}
