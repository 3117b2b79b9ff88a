//! The envelope of a band-limited signal.
//!
//! ```text
//! e(t) = √(x² + x̂²)        X̂[k] = −i·X[k]   for 0 < f < f_s/2
//! ```
//!
//! x̂: Hilbert transform of x. Source: A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", chapter 12;
//! as energy-time curve: R. C. Heyser, "Acoustical Measurements by Time Delay Spectrometry", J. Audio Eng. Soc. 15
//! (October 1967) 370–382.

use super::InverseSpectrum;
use num_complex::Complex64;

/// The envelope of the (periodic) signal whose bins 0 to N/2 are given; `length` is N.
pub fn envelope(bins: &[Complex64], length: usize) -> Vec<f64> {
    let inverse = InverseSpectrum::new(length);
    let samples = inverse.samples(bins);
    let turned: Vec<Complex64> = bins.iter().map(|bin| bin * -Complex64::I).collect();
    let hilbert = inverse.samples(&turned);
    samples.iter().zip(&hilbert).map(|(x, y)| x.hypot(*y)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Spectrum;
    use std::f64::consts::TAU;

    #[test]
    fn the_envelope_of_a_modulated_sine_is_its_modulation() {
        let length = 1000;
        let modulation = |n: usize| 1.0 + 0.5 * (TAU * 3.0 * n as f64 / length as f64).cos();
        let samples: Vec<f64> =
            (0..length).map(|n| modulation(n) * (TAU * 100.0 * n as f64 / length as f64).sin()).collect();
        let found = envelope(&Spectrum::new(length).bins(&samples), length);
        for (n, value) in found.iter().enumerate() {
            // 1e-12: double precision of two transforms.
            assert!((value - modulation(n)).abs() < 1e-12);
        }
    }
}
