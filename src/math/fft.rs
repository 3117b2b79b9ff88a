//! The discrete Fourier transform of real samples.
//!
//! ```text
//! X[k] = Σ x[n]·e^{−2πikn/N}        x[n] = (1/N)·Σ X[k]·e^{+2πikn/N}
//! ```
//!
//! Forward unscaled, inverse divided by N; of the N bins the first N/2 + 1 are kept, the rest are their conjugates.
//! Source: the definition, A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", chapter 8. The work is
//! done by the crates `realfft` and `rustfft`.

use num_complex::Complex64;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::cell::RefCell;
use std::sync::Arc;

thread_local! {
    // Planning a million points costs as much as two transforms: one planner for the thread keeps its plans.
    static PLANNER: RefCell<RealFftPlanner<f64>> = RefCell::new(RealFftPlanner::new());
}

/// A forward transform of one length, with the memory it works in.
pub struct Spectrum {
    plan: Arc<dyn RealToComplex<f64>>,
    padded: Vec<f64>,
    scratch: Vec<Complex64>,
}

impl Spectrum {
    /// A transform of `length` samples (at least 2, even).
    pub fn new(length: usize) -> Self {
        let plan = PLANNER.with_borrow_mut(|planner| planner.plan_fft_forward(length));
        let (padded, scratch) = (plan.make_input_vec(), plan.make_scratch_vec());
        Self { plan, padded, scratch }
    }

    /// The bins 0 to N/2 of `samples`, padded with zeros (or cut) to N.
    pub fn bins(&mut self, samples: &[f64]) -> Vec<Complex64> {
        let used = samples.len().min(self.padded.len());
        self.padded[..used].copy_from_slice(&samples[..used]);
        self.padded[used..].fill(0.0);
        let mut bins = self.plan.make_output_vec();
        self.plan
            .process_with_scratch(&mut self.padded, &mut bins, &mut self.scratch)
            .expect("lengths come from the plan itself");
        bins
    }
}

/// An inverse transform of one length, with the memory it works in.
pub struct InverseSpectrum {
    plan: Arc<dyn ComplexToReal<f64>>,
    scratch: Vec<Complex64>,
    work: Vec<Complex64>,
}

impl InverseSpectrum {
    /// A transform to `length` samples (at least 2, even).
    pub fn new(length: usize) -> Self {
        let plan = PLANNER.with_borrow_mut(|planner| planner.plan_fft_inverse(length));
        let (scratch, work) = (plan.make_scratch_vec(), plan.make_input_vec());
        Self { plan, scratch, work }
    }

    /// N samples from the bins 0 to N/2; the imaginary parts of the first and last bin are taken as zero.
    ///
    /// # Panics
    /// When `bins` does not hold N/2 + 1 values: our own fault.
    pub fn samples(&mut self, bins: &[Complex64]) -> Vec<f64> {
        self.work.copy_from_slice(bins);
        let last = self.work.len() - 1;
        self.work[0].im = 0.0;
        self.work[last].im = 0.0;
        let mut samples = self.plan.make_output_vec();
        self.plan
            .process_with_scratch(&mut self.work, &mut samples, &mut self.scratch)
            .expect("lengths come from the plan itself and both ends are real");
        let scale = 1.0 / samples.len() as f64;
        samples.iter_mut().for_each(|sample| *sample *= scale);
        samples
    }
}

/// The smallest even length of factors 2, 3 and 5 only that holds `least` samples: such lengths transform fastest.
pub fn good_length(least: usize) -> usize {
    let mut best = least.max(2).next_power_of_two();
    let mut fives = 1;
    while fives < best {
        let mut threes = fives;
        while threes < best {
            let mut length = threes * 2;
            while length < least {
                length *= 2;
            }
            best = best.min(length);
            threes *= 3;
        }
        fives *= 5;
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// The definition itself.
    fn slow_bins(samples: &[f64]) -> Vec<Complex64> {
        let count = samples.len();
        (0..=count / 2)
            .map(|k| {
                let turn = |n: usize| Complex64::cis(-TAU * (k * n % count) as f64 / count as f64);
                samples.iter().enumerate().map(|(n, &x)| x * turn(n)).sum()
            })
            .collect()
    }

    #[test]
    fn the_transform_agrees_with_its_definition_and_comes_back() {
        let mut random = crate::math::Random::new(7);
        let samples: Vec<f64> = (0..90).map(|_| random.normal()).collect();
        let bins = Spectrum::new(90).bins(&samples);
        for (fast, slow) in bins.iter().zip(slow_bins(&samples)) {
            // 1e-12: 90 terms of order one in double precision.
            assert!((fast - slow).norm() < 1e-12);
        }
        let back = InverseSpectrum::new(90).samples(&bins);
        assert!(back.iter().zip(&samples).all(|(a, b)| (a - b).abs() < 1e-14));
    }

    #[test]
    fn good_lengths_are_the_next_even_numbers_of_small_factors() {
        let smooth = |mut n: usize| {
            for factor in [2, 3, 5] {
                while n.is_multiple_of(factor) {
                    n /= factor;
                }
            }
            n == 1
        };
        for least in (2..3000).chain([523_200, 1_048_573]) {
            let slow = (least..).find(|&n| n % 2 == 0 && smooth(n)).unwrap();
            assert_eq!(good_length(least), slow);
        }
    }
}
