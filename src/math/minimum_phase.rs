//! The phase that belongs to a magnitude when nothing delays.
//!
//! ```text
//! arg H = −𝓗{ln|H|}:   c = IDFT(ln|H|);  keep c[0], c[N/2], double c[1…N/2−1], zero the rest;  arg H = Im DFT(c)
//! ```
//!
//! c: real cepstrum. A magnitude of zero has no logarithm: it is raised to [`LOWEST`] of the largest. The cepstrum
//! wraps around, so the magnitude must be smooth against its spacing.
//! Source: A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", chapters 12 and 13.

use super::{InverseSpectrum, Spectrum};
use num_complex::Complex64;

/// −160 dB: below anything that is measured, above what a logarithm minds.
const LOWEST: f64 = 1e-8;

/// Phase in radians for each of the magnitudes at the bins 0 to N/2.
pub fn minimum_phase_rad(magnitudes_ratio: &[f64]) -> Vec<f64> {
    let length = 2 * (magnitudes_ratio.len() - 1);
    let largest = magnitudes_ratio.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let logarithms: Vec<Complex64> =
        magnitudes_ratio.iter().map(|&m| Complex64::from(m.max(LOWEST * largest).ln())).collect();
    let mut cepstrum = InverseSpectrum::new(length).samples(&logarithms);
    cepstrum[1..length / 2].iter_mut().for_each(|value| *value *= 2.0);
    cepstrum[length / 2 + 1..].fill(0.0);
    Spectrum::new(length).bins(&cepstrum).iter().map(|bin| bin.im).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// A digital one-pole and one-zero filter inside the unit circle is minimum phase by definition.
    #[test]
    fn the_phase_of_a_minimum_phase_filter_follows_from_its_magnitude() {
        let length = 4096;
        let response = |bin: usize| {
            let delay = Complex64::cis(-TAU * bin as f64 / length as f64);
            (1.0 - 0.6 * delay) / (1.0 - 0.9 * delay + 0.5 * delay * delay)
        };
        let magnitudes: Vec<f64> = (0..=length / 2).map(|bin| response(bin).norm()).collect();
        for (bin, phase) in minimum_phase_rad(&magnitudes).iter().enumerate() {
            // 1e-9: the cepstrum decays as 0.71^n and is long gone at N/2.
            assert!((phase - response(bin).arg()).abs() < 1e-9, "{bin}");
        }
    }

    #[test]
    fn a_magnitude_of_zero_gives_a_number_all_the_same() {
        let mut magnitudes = vec![1.0; 65];
        magnitudes[0] = 0.0;
        magnitudes[64] = 0.0;
        let phases = minimum_phase_rad(&magnitudes);
        // Alike at both ends, so that the phase is odd about the middle, where it is zero; 1e-12: two transforms.
        assert!(phases.iter().all(|phase| phase.is_finite()) && phases[32].abs() < 1e-12);
        assert!((phases[11] + phases[53]).abs() < 1e-12 && phases[11] > 0.1, "{phases:?}");
    }
}
