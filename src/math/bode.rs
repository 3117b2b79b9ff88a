//! The phase that belongs to a magnitude which is known over a long range of log f.
//!
//! ```text
//! φ(u₀) = (1/π)·∫ (dA/du)·ln coth(|u − u₀|/2) du        A = ln|H|,  u = ln f
//! F(u) = ∫₀ᵘ ln coth(|v|/2) dv = sgn(u)·(π²/4 − 2·Σ_{k odd} e^{−k|u|}/k²)        F(∞) = π²/4
//! ```
//!
//! A is straight between its points, so that each step adds its slope times a difference of F; beyond both ends it goes
//! on with a slope that is given. A slope of n everywhere has the phase n·90°.
//! Source: H. W. Bode, "Network Analysis and Feedback Amplifier Design" (1945), chapter XIV, from memory; F by integrating the series
//! of ln coth term by term.

use super::{InverseSpectrum, Spectrum, good_length};
use std::f64::consts::PI;

const QUARTER: f64 = PI * PI / 4.0;
/// From here on the series is short.
const SHORT_FROM: f64 = 0.5;
/// e^{−0.5·61} is 6e-14.
const TERMS: i32 = 61;

/// Phases in rad at the points `wanted` of `ln_magnitude`, which stands on a grid of even steps in ln f; `slopes` are those
/// before its first and after its last point.
pub fn bode_phase_rad(ln_magnitude: &[f64], step: f64, slopes: [f64; 2], wanted: std::ops::Range<usize>) -> Vec<f64> {
    let points = ln_magnitude.len();
    let rises: Vec<f64> = ln_magnitude.windows(2).map(|pair| (pair[1] - pair[0]) / step).collect();
    let whole: Vec<f64> = (0..=points).map(|n| integral(n as f64 * step)).collect();
    let within = by_distance(&rises, &whole);
    wanted
        .map(|at| {
            let ends = slopes[0] * (QUARTER - whole[at]) + slopes[1] * (QUARTER - whole[points - 1 - at]);
            (within[at] + ends) / PI
        })
        .collect()
}

/// For each point the sum of all steps' rises, each times its share of F: a step d to d + 1 steps away on either side has F(d + 1) − F(d).
/// That is a convolution, done by transforms.
fn by_distance(rises: &[f64], whole: &[f64]) -> Vec<f64> {
    let steps = rises.len();
    let length = good_length(2 * steps + 2);
    // Point `at` and step `j`: at − j = 1 … above the step, 0 … −steps below it.
    let mut share = vec![0.0; length];
    for d in 0..steps {
        let between = whole[d + 1] - whole[d];
        share[d + 1] = between;
        share[(length - d) % length] = between;
    }
    let forward = Spectrum::new(length);
    let (rises, share) = (forward.bins(rises), forward.bins(&share));
    let product: Vec<_> = rises.iter().zip(share).map(|(rise, share)| rise * share).collect();
    let mut sums = InverseSpectrum::new(length).samples(&product);
    sums.truncate(steps + 1);
    sums
}

/// F for u ≥ 0.
fn integral(u: f64) -> f64 {
    if u == 0.0 {
        return 0.0;
    }
    if u >= SHORT_FROM {
        let (first, square) = ((-u).exp(), (-2.0 * u).exp());
        let (mut power, mut sum) = (first, 0.0);
        for k in (1..=TERMS).step_by(2).map(f64::from) {
            sum += power / (k * k);
            power *= square;
            if power < f64::EPSILON * sum {
                break;
            }
        }
        return QUARTER - 2.0 * sum;
    }
    // ln coth(v/2) = −ln(v/2) + v²/12 − 7v⁴/1440 + 31v⁶/90720 − …, integrated.
    let square = u * u;
    u * (1.0 - (0.5 * u).ln() + square * (1.0 / 36.0 - square * (7.0 / 7200.0 - square * 31.0 / 635_040.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Both forms of F where they meet; ∫₀^∞ = π²/4 (Σ 1/k² over odd k is π²/8).
    #[test]
    fn the_two_forms_of_the_integral_meet() {
        let long = |u: f64| {
            QUARTER - 2.0 * (1..400).step_by(2).map(|k| (-f64::from(k) * u).exp() / f64::from(k * k)).sum::<f64>()
        };
        // 1e-8: the next term of the short form is 127·u⁹/43,545,600 = 6e-9 at 0.5.
        for u in [0.1, 0.3, 0.499] {
            assert!((integral(u) - long(u)).abs() < 1e-8, "{u}");
        }
        assert!((integral(40.0) - QUARTER).abs() < 1e-15);
    }

    /// A slope of n has the phase n·π/2; a first-order low-pass has −atan(f/f₁), closed form.
    #[test]
    fn slopes_and_a_first_order_low_pass_have_the_phase_they_must_have() {
        let step = 0.01;
        let straight: Vec<f64> = (0..500).map(|n| 3.0 * step * f64::from(n)).collect();
        let phases = bode_phase_rad(&straight, step, [3.0; 2], 0..500);
        assert!(phases.iter().all(|phase| (phase - 1.5 * PI).abs() < 1e-9));
        let u = |n: usize| (n as f64 - 1_000.0) * step;
        let low_pass: Vec<f64> = (0..2_001).map(|n| -0.5 * (2.0 * u(n)).exp().ln_1p()).collect();
        let phases = bode_phase_rad(&low_pass, step, [0.0, -1.0], 500..1_500);
        for (phase, n) in phases.iter().zip(500..) {
            // 2e-5: chords instead of the curve, h²·|A''|/12 with A'' of 0.5 at most, over the width of the bend.
            assert!((phase + u(n).exp().atan()).abs() < 2e-5, "{n}: {phase}");
        }
    }
}
