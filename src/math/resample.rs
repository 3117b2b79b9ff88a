//! The same signal on another clock.
//!
//! ```text
//! y[n] = x(n·r) = Σ x[m]·s(n·r − m)        s(t) = sinc(t)·w(t/K)
//! ```
//!
//! r: ratio of the clocks, near 1; s: sinc under a Kaiser window of K samples to each side. The kernel is tabulated at
//! [`PHASES`] places between two samples and interpolated linearly, with an error below (π²/24)·PHASES⁻² of full scale.
//! Flat to 0.46 of the sample rate; above that the kernel rolls off.
//! Source: A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", sections 4.2 and 7.5 (band-limited
//! interpolation; Kaiser's design).

use super::{Kaiser, kaiser_beta};
use std::f64::consts::PI;

/// K, samples of the kernel to each side.
const HALF_TAPS: usize = 48;
/// Places between two samples at which the kernel is tabulated: −144 dB by the bound above.
const PHASES: usize = 2048;
/// Depth of the stop band, dB; with 96 taps the transition takes 0.08 of the sample rate.
const DEPTH_DB: f64 = 118.0;

/// The signal at every `ratio`-th place of `samples`: as long as fits, with zeros taken beyond both ends.
pub fn stretched(samples: &[f64], ratio: f64) -> Vec<f64> {
    let kernel = kernel_table();
    let taps = 2 * HALF_TAPS;
    let mut padded = vec![0.0; HALF_TAPS];
    padded.extend_from_slice(samples);
    padded.resize(padded.len() + taps, 0.0);
    let frames = (samples.len() as f64 / ratio).floor() as usize;
    (0..frames)
        .map(|n| {
            let place = n as f64 * ratio;
            let (whole, fraction) = (place.floor() as usize, place.fract());
            let phase = fraction * PHASES as f64;
            let (row, between) = (phase as usize, phase.fract());
            // x[whole − K + 1 …] in the padded samples.
            let around = &padded[whole + 1..whole + 1 + taps];
            let dot = |row: usize| {
                let weights = &kernel[row * taps..(row + 1) * taps];
                around.iter().zip(weights).map(|(x, weight)| x * weight).sum::<f64>()
            };
            (1.0 - between) * dot(row) + between * dot(row + 1)
        })
        .collect()
}

/// Rows of weights for fractions 0, 1/PHASES … 1; weight j belongs to sample `whole − K + 1 + j`.
fn kernel_table() -> Vec<f64> {
    let window = Kaiser::new(kaiser_beta(DEPTH_DB));
    let mut table = Vec::with_capacity((PHASES + 1) * 2 * HALF_TAPS);
    for row in 0..=PHASES {
        let fraction = row as f64 / PHASES as f64;
        for tap in 0..2 * HALF_TAPS {
            let off = fraction + (HALF_TAPS as f64 - 1.0) - tap as f64;
            let sinc = if off == 0.0 { 1.0 } else { (PI * off).sin() / (PI * off) };
            table.push(sinc * window.at(off / HALF_TAPS as f64));
        }
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn a_stretched_sine_is_the_sine_of_the_other_clock() {
        for (share_of_rate, ratio) in [(0.001, 1.0003), (0.2, 0.9997), (0.43, 1.0003), (0.45, 1.000_05)] {
            let sine = |place: f64| (TAU * share_of_rate * place).sin();
            let samples: Vec<f64> = (0..20_000).map(|n| sine(f64::from(n))).collect();
            let found = stretched(&samples, ratio);
            // 2e-6: −118 dB of the stop band and −144 dB of the table, with both images adding up.
            let worst = (100..19_800).map(|n| (found[n] - sine(n as f64 * ratio)).abs()).fold(0.0, f64::max);
            assert!(worst < 2e-6, "{share_of_rate}: {worst:e}");
        }
    }

    #[test]
    fn a_ratio_of_one_changes_nothing() {
        let samples: Vec<f64> = (0..500).map(|n| f64::from(n % 17) - 8.0).collect();
        let found = stretched(&samples, 1.0);
        // 1e-12: the sinc's zeros are exact to a rounding of π.
        assert!(found.iter().zip(&samples).all(|(a, b)| (a - b).abs() < 1e-12));
    }

    #[test]
    fn a_signal_is_as_long_as_fits() {
        assert_eq!([stretched(&[1.0; 1_000], 1.01).len(), stretched(&[1.0; 1_000], 0.99).len()], [990, 1_010]);
    }
}
