//! Whether what a model leaves looks like noise, and how far neighbours in it go together.
//!
//! ```text
//! ρ_k = Re Σ rᵢ·r*ᵢ₊ₖ / Σ |rᵢ|²        σ(ρ_k) = 1/√(2n)        τ = 1 + 2·Σ ρ_k  up to the first ρ_k < 2σ
//! ```
//!
//! rᵢ: complex residuals over their σ along rising frequency, one for each independent stretch of the curve (points closer
//! than the resolution are taken together); n: how many. White noise has ρ_k near 0; a model that misses a curve leaves long
//! waves. τ: how many points count as one, the factor on all variances. Source: G. E. P. Box, G. M. Jenkins, "Time Series
//! Analysis" (1970), chapter 2, for σ(ρ); τ is the integrated autocorrelation of time-series statistics.

use num_complex::Complex64;

/// What there is to say about residuals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Whiteness {
    /// ρ₁.
    pub(super) neighbours: f64,
    /// τ, at least 1; 1 when the residuals look white.
    pub(super) length: f64,
}

/// ρ₁ beyond this many σ is not chance (one white set in a thousand).
const NOT_CHANCE: f64 = 3.1;

/// Of residuals over their σ; `share`: which part of an independent point each is.
pub(super) fn whiteness(residuals: &[Complex64], share: &[f64]) -> Whiteness {
    let independent = together(residuals, share);
    let power: f64 = independent.iter().map(|r| r.norm_sqr()).sum();
    let count = independent.len();
    if count < 8 || power <= 0.0 {
        return Whiteness { neighbours: 0.0, length: 1.0 };
    }
    let sigma = 1.0 / (2.0 * count as f64).sqrt();
    let correlation =
        |lag: usize| independent.iter().zip(&independent[lag..]).map(|(a, b)| (a * b.conj()).re).sum::<f64>() / power;
    let neighbours = correlation(1);
    if neighbours < NOT_CHANCE * sigma {
        return Whiteness { neighbours, length: 1.0 };
    }
    let length = 1.0 + 2.0 * (1..count / 4).map(correlation).take_while(|&rho| rho > 2.0 * sigma).sum::<f64>();
    Whiteness { neighbours, length }
}

/// One residual for each stretch of points whose shares add up to one point: their mean, by share.
fn together(residuals: &[Complex64], share: &[f64]) -> Vec<Complex64> {
    let mut independent = Vec::new();
    let (mut sum, mut weight) = (Complex64::ZERO, 0.0);
    for (residual, share) in residuals.iter().zip(share) {
        sum += residual * share;
        weight += share;
        // 1 − 1e-9: shares of whole points add up in floating point.
        if weight >= 1.0 - 1e-9 {
            independent.push(sum / weight);
            (sum, weight) = (Complex64::ZERO, 0.0);
        }
    }
    independent
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    fn white(count: usize, seed: u64) -> Vec<Complex64> {
        let mut random = Random::new(seed);
        (0..count).map(|_| Complex64::new(random.normal(), random.normal())).collect()
    }

    #[test]
    fn white_noise_is_white_and_points_within_the_resolution_do_not_spoil_it() {
        let wrong = (0..300).filter(|&seed| whiteness(&white(400, seed), &[1.0; 400]).length > 1.0).count();
        // One in a thousand expected of 300; three would be a chance of 0.3 %.
        assert!(wrong < 3, "{wrong}");
        let same: Vec<Complex64> = white(100, 5).into_iter().flat_map(|r| [r; 4]).collect();
        assert_eq!(whiteness(&same, &[0.25; 400]).length, 1.0);
        assert!(whiteness(&same, &[1.0; 400]).length > 2.0);
    }

    /// A first-order process of neighbour correlation a has τ = (1 + a)/(1 − a).
    #[test]
    fn the_length_of_a_known_process_is_found() {
        let a: f64 = 0.6;
        let mut state = Complex64::ZERO;
        let process: Vec<Complex64> = white(20_000, 1)
            .into_iter()
            .map(|r| {
                state = a * state + r;
                state
            })
            .collect();
        let found = whiteness(&process, &vec![1.0; process.len()]);
        // 5 %: ten lags of deviation 0.005 each, and a cut tail of 1 %.
        assert!((found.neighbours - a).abs() < 0.02 && (found.length / 4.0 - 1.0).abs() < 0.08, "{found:?}");
    }
}
