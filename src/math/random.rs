//! Chance from a seed: the same on every machine.
//!
//! The SplitMix64 generator: a counter that grows by the golden ratio, mixed by two multiplications.
//! Source: G. L. Steele, D. Lea, C. H. Flood, "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014, section 4;
//! normal values by G. E. P. Box, M. E. Muller, "A Note on the Generation of Random Normal Deviates",
//! Ann. Math. Statist. 29 (1958) 610–611.

use std::f64::consts::TAU;

/// A source of chance; equal seeds give equal values.
#[derive(Debug, Clone)]
pub struct Random(u64);

const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

impl Random {
    /// A source from a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(GOLDEN);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A value in [0, 1), each of 2⁵³ equally likely.
    pub fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A normal value of mean 0 and variance 1.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (TAU * self.uniform()).cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs for the seed 1234567, as printed by the authors' public reference program (from memory).
    #[test]
    fn the_generator_gives_the_published_first_values() {
        let mut random = Random::new(1_234_567);
        let expected = [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423];
        assert_eq!([random.bits(), random.bits(), random.bits()], expected);
    }

    #[test]
    fn normal_values_have_mean_zero_and_variance_one() {
        let mut random = Random::new(1);
        let count = 200_000;
        let values: Vec<f64> = (0..count).map(|_| random.normal()).collect();
        let mean = values.iter().sum::<f64>() / f64::from(count);
        let variance = values.iter().map(|v| v * v).sum::<f64>() / f64::from(count);
        // Five standard errors: 5/√n and 5·√(2/n).
        assert!(mean.abs() < 0.0112 && (variance - 1.0).abs() < 0.0158, "{mean} {variance}");
    }

    /// Fourth moment 3 and share within one σ 0.6827 of the normal distribution.
    #[test]
    fn normal_values_have_the_shape_of_the_normal_distribution() {
        let mut random = Random::new(1);
        let count = 200_000;
        let values: Vec<f64> = (0..count).map(|_| random.normal()).collect();
        let fourth = values.iter().map(|v| v.powi(4)).sum::<f64>() / f64::from(count);
        let within = values.iter().filter(|v| v.abs() < 1.0).count() as f64 / f64::from(count);
        // Five standard errors: 5·√(96/n) and 5·√(0.6827·0.3173/n).
        assert!((fourth - 3.0).abs() < 0.11 && (within - 0.6827).abs() < 0.0053, "{fourth} {within}");
        // Skewness 0 in both halves of the plane, and signs alike: 5/√n.
        let positive = values.iter().filter(|v| **v > 0.0).count() as f64 / f64::from(count);
        assert!((positive - 0.5).abs() < 0.0056, "{positive}");
    }
}
