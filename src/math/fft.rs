//! The discrete Fourier transform of real samples.
//!
//! ```text
//! X[k] = Σ x[n]·e^{−2πikn/N}        x[n] = (1/N)·Σ X[k]·e^{+2πikn/N}
//! ```
//!
//! Forward unscaled, inverse divided by N; of the N bins the first N/2 + 1 are kept, the rest are their conjugates. In double
//! precision, or in single precision for what is only looked for: half the time and half the memory, wrong by 1e-7 of the strongest bin.
//! Source: the definition, A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", chapter 8. The work is
//! done by the crates `realfft` and `rustfft`.

use num_complex::Complex;
use realfft::{ComplexToReal, FftNum, RealFftPlanner, RealToComplex};
use std::sync::{Arc, Mutex, PoisonError};

/// A precision that transforms are done in: `f64` or `f32`.
pub trait Precision: FftNum + Default {
    #[doc(hidden)]
    fn of(sample: f64) -> Self;
    #[doc(hidden)]
    fn kept() -> &'static Kept<Self>;
}

/// What is kept from one transform to the next.
#[doc(hidden)]
pub struct Kept<T> {
    forward: Mutex<Plans<dyn RealToComplex<T>>>,
    inverse: Mutex<Plans<dyn ComplexToReal<T>>>,
    workplaces: Mutex<Vec<Workplace<T>>>,
}

/// Plans by length, those used last at the end.
type Plans<P> = Vec<(usize, Arc<P>)>;

/// The memory that one transform works in: memory that is new to the process costs as much as a transform of it.
#[doc(hidden)]
#[derive(Default)]
pub struct Workplace<T> {
    samples: Vec<T>,
    bins: Vec<Complex<T>>,
    scratch: Vec<Complex<T>>,
}

macro_rules! precision {
    ($real:ty, $kept:ident) => {
        static $kept: Kept<$real> = Kept {
            forward: Mutex::new(Vec::new()),
            inverse: Mutex::new(Vec::new()),
            workplaces: Mutex::new(Vec::new()),
        };
        impl Precision for $real {
            fn of(sample: f64) -> Self {
                sample as Self
            }
            fn kept() -> &'static Kept<Self> {
                &$kept
            }
        }
    };
}
precision!(f64, DOUBLE);
precision!(f32, SINGLE);

/// Plans are kept as long as they are for no more points than this together, some hundred megabytes, or the last two.
const KEPT_POINTS: usize = 6_000_000;

/// The plan of a length. Planning a million points costs as much as two transforms, and keeping all plans would fill the memory with the lengths of a
/// year's captures.
fn planned<P: ?Sized>(plans: &Mutex<Plans<P>>, length: usize, plan: impl FnOnce() -> Arc<P>) -> Arc<P> {
    let lock = || plans.lock().unwrap_or_else(PoisonError::into_inner);
    let take = |plans: &mut Plans<P>| plans.iter().position(|(known, _)| *known == length).map(|at| plans.remove(at));
    let known = take(&mut lock());
    // Nobody waits for a plan of another length; two that plan the same one at once are rare and do no harm.
    let found = known.unwrap_or_else(|| (length, plan()));
    let mut plans = lock();
    take(&mut plans);
    plans.push((length, found.1.clone()));
    while plans.len() > 2 && plans.iter().map(|(length, _)| length).sum::<usize>() > KEPT_POINTS {
        plans.remove(0);
    }
    found.1
}

/// Lends a workplace that no other transform is at.
fn at_work<T: Precision>(work: impl FnOnce(&mut Workplace<T>)) {
    let shelf = || T::kept().workplaces.lock().unwrap_or_else(PoisonError::into_inner);
    let mut workplace = shelf().pop().unwrap_or_default();
    work(&mut workplace);
    shelf().push(workplace);
}

/// A part of `memory` that is at least so long.
fn part_of<V: Clone + Default>(memory: &mut Vec<V>, length: usize) -> &mut [V] {
    if memory.len() < length {
        memory.resize(length, V::default());
    }
    &mut memory[..length]
}

/// A forward transform of one length.
#[derive(Clone)]
pub struct Spectrum<T: Precision = f64> {
    plan: Arc<dyn RealToComplex<T>>,
}

impl Spectrum {
    /// A transform of `length` samples (at least 2, even).
    pub fn new(length: usize) -> Self {
        Self::of_length(length)
    }
}

impl Spectrum<f32> {
    /// The same in single precision.
    pub fn single(length: usize) -> Self {
        Self::of_length(length)
    }
}

impl<T: Precision> Spectrum<T> {
    fn of_length(length: usize) -> Self {
        Self { plan: planned(&T::kept().forward, length, || RealFftPlanner::new().plan_fft_forward(length)) }
    }

    /// The bins 0 to N/2 of `samples`, padded with zeros (or cut) to N.
    pub fn bins(&self, samples: &[f64]) -> Vec<Complex<T>> {
        let used = samples.len().min(self.plan.len());
        let mut bins = self.plan.make_output_vec();
        at_work(|workplace: &mut Workplace<T>| {
            let padded = part_of(&mut workplace.samples, self.plan.len());
            padded.iter_mut().zip(samples).for_each(|(padded, sample)| *padded = T::of(*sample));
            padded[used..].fill(T::default());
            let scratch = part_of(&mut workplace.scratch, self.plan.get_scratch_len());
            self.plan.process_with_scratch(padded, &mut bins, scratch).expect("lengths come from the plan itself");
        });
        bins
    }
}

/// An inverse transform of one length.
#[derive(Clone)]
pub struct InverseSpectrum<T: Precision = f64> {
    plan: Arc<dyn ComplexToReal<T>>,
}

impl InverseSpectrum {
    /// A transform to `length` samples (at least 2, even).
    pub fn new(length: usize) -> Self {
        Self::of_length(length)
    }
}

impl InverseSpectrum<f32> {
    /// The same in single precision.
    pub fn single(length: usize) -> Self {
        Self::of_length(length)
    }
}

impl<T: Precision> InverseSpectrum<T> {
    fn of_length(length: usize) -> Self {
        Self { plan: planned(&T::kept().inverse, length, || RealFftPlanner::new().plan_fft_inverse(length)) }
    }

    /// N samples from the bins 0 to N/2; the imaginary parts of the first and last bin are taken as zero.
    ///
    /// # Panics
    /// When `bins` does not hold N/2 + 1 values: our own fault.
    pub fn samples(&self, bins: &[Complex<T>]) -> Vec<T> {
        let mut samples = self.plan.make_output_vec();
        let scale = T::of(1.0 / samples.len() as f64);
        at_work(|workplace: &mut Workplace<T>| {
            let work = part_of(&mut workplace.bins, self.plan.len() / 2 + 1);
            work.iter_mut().zip(bins).for_each(|(work, bin)| *work = bin * scale);
            assert_eq!(work.len(), bins.len(), "bins of another length");
            let last = work.len() - 1;
            work[0].im = T::default();
            work[last].im = T::default();
            let scratch = part_of(&mut workplace.scratch, self.plan.get_scratch_len());
            self.plan
                .process_with_scratch(work, &mut samples, scratch)
                .expect("lengths come from the plan itself and both ends are real");
        });
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

/// The largest even length of factors 2, 3 and 5 only within `most` (at least 2).
pub fn good_length_within(most: usize) -> usize {
    let mut best = 2;
    let mut fives = 2;
    while fives <= most {
        let mut threes = fives;
        while threes <= most {
            best = best.max(threes << (most / threes).ilog2());
            threes *= 3;
        }
        fives *= 5;
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;
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
        // In single precision: 2⁻²⁴ of bins of the order of ten.
        let single = Spectrum::single(90).bins(&samples);
        assert!(single.iter().zip(&bins).all(|(a, b)| (Complex64::new(a.re.into(), a.im.into()) - b).norm() < 1e-5));
        let back = InverseSpectrum::single(90).samples(&single);
        assert!(back.iter().zip(&samples).all(|(a, b)| (f64::from(*a) - b).abs() < 1e-6));
    }

    #[test]
    fn plans_of_many_lengths_are_not_all_kept() {
        let plans = Mutex::new(Vec::new());
        for length in [1_000_000; 3].into_iter().chain((1..=20).map(|n| n * 500_000)) {
            assert_eq!(*planned(&plans, length, || Arc::new(length)), length);
            let kept = plans.lock().unwrap();
            assert!(kept.len() <= 2 || kept.iter().map(|(length, _)| length).sum::<usize>() <= KEPT_POINTS);
            assert_eq!(kept.last().unwrap().0, length);
        }
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
            let slow = (2..=least).rev().find(|&n| n % 2 == 0 && smooth(n)).unwrap();
            assert_eq!(good_length_within(least), slow);
        }
    }
}
