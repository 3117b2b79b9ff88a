//! Which model, and what the choice itself adds to the doubt.
//!
//! ```text
//! AICc = χ²/ĉ + 2k + 2k(k+1)/(n − k − 1)        w_i ∝ exp(−(AICc_i − AICc_best)/2)
//! cov = Σ w_i·(cov_i + d_i·d_iᵀ),   d_i = θ_i − θ_chosen          (for R_e, f_s, Q_ms, Q_es, which every model has)
//! ```
//!
//! χ²: weighted squares of the residuals; n: independent real numbers in the curve; k: numbers fitted; ĉ: what the nearest
//! model leaves over what the noise explains, times the length over which residuals go together, 1 where noise explains
//! all. With ĉ > 1 no model is right and differences of χ² are worth so much less. The voice coil's and the creep's own
//! numbers exist in the chosen model only: they follow the four shared ones as they do in its own fit.
//!
//! Chosen is the model with the fewest numbers among those within 2 of the best AICc, which the curve supports as well:
//! a number that the curve does not need makes the others uncertain.
//!
//! Source: K. P. Burnham, D. R. Anderson, "Model Selection and Multimodel Inference", 2nd edition (2002), sections 2.4
//! (AICc), 2.5 (ĉ), 2.6 (within 2), 4.3 (variance over models), from memory.

use super::candidate::Fitted;
use super::parameters::{SHARED, natural};
use super::weighting::{Noise, Weighting};
use super::whiteness::whiteness;
use crate::impedance::Impedance;
use crate::math::with_first_replaced;
use num_complex::Complex64;

/// The models in the order of the choice.
pub(super) struct Choice {
    /// The chosen one first, then by AICc, each with its AICc less the best one's.
    pub(super) ranked: Vec<(Fitted, f64)>,
    /// ĉ.
    pub(super) inflation: f64,
    /// Mean square of the residuals over what the noise explains, of the chosen model.
    pub(super) misfit: f64,
}

/// Models within this AICc of the best are as well supported by the curve.
const AS_GOOD: f64 = 2.0;
/// A mean square beyond noise by this many σ is not chance (one fit in a thousand).
const NOT_CHANCE: f64 = 3.1;
/// Residuals below this part of |Z| are rounding, not noise.
const ROUNDING: f64 = 1e-9;

/// The models ranked; `None` when there are none.
pub(super) fn choose(curve: &Impedance, weighting: &Weighting, fitted: Vec<Fitted>) -> Option<Choice> {
    let numbers = weighting.numbers();
    let free = |fitted: &Fitted| (numbers - fitted.shape.count() as f64).max(1.0);
    let mut possible: Vec<Fitted> = fitted.iter().filter(|fitted| fitted.model.is_possible()).cloned().collect();
    if possible.is_empty() {
        possible = fitted;
    }
    let nearest = possible.iter().min_by(|a, b| a.chi_square.total_cmp(&b.chi_square))?;
    let residuals = nearest.residuals(curve, weighting);
    let inflation = inflation(weighting, &residuals, nearest.chi_square / free(nearest), free(nearest));
    let aicc = |fitted: &Fitted| {
        let k = fitted.shape.count() as f64;
        fitted.chi_square / inflation + 2.0 * k + 2.0 * k * (k + 1.0) / (numbers - k - 1.0).max(0.1)
    };
    let mut ranked: Vec<(Fitted, f64)> =
        possible.into_iter().map(|fitted| (aicc(&fitted), fitted)).map(|(a, f)| (f, a)).collect();
    ranked.sort_by(|a, b| a.1.total_cmp(&b.1));
    let best = ranked[0].1;
    ranked.iter_mut().for_each(|(_, aicc)| *aicc -= best);
    let as_good = ranked.iter().take_while(|(_, above)| *above <= AS_GOOD);
    let simplest = as_good.enumerate().min_by_key(|(_, (fitted, _))| fitted.shape.count()).map_or(0, |(at, _)| at);
    let chosen = ranked.remove(simplest);
    ranked.insert(0, chosen);
    let misfit = ranked[0].0.chi_square / free(&ranked[0].0);
    Some(Choice { ranked, inflation, misfit })
}

/// ĉ of residuals over their σ, of which `free` real numbers are not used up and whose squares add up to `misfit` a
/// number.
pub(crate) fn inflation(weighting: &Weighting, residuals: &[Complex64], misfit: f64, free: f64) -> f64 {
    let length = whiteness(residuals, &weighting.share).length;
    match weighting.noise {
        Noise::Unknown => (misfit * length).max(ROUNDING * ROUNDING),
        Noise::Known if misfit > 1.0 + NOT_CHANCE * (2.0 / free).sqrt() => misfit * length,
        Noise::Known if length > 1.0 => (misfit * length).max(1.0),
        Noise::Known => 1.0,
    }
}

impl Choice {
    /// Covariance of the chosen model's numbers in SI, the choice counted.
    pub(super) fn covariance(&self) -> Option<Vec<Vec<f64>>> {
        let chosen = &self.ranked[0].0;
        let own: Vec<Vec<f64>> =
            chosen.covariance()?.iter().map(|row| row.iter().map(|value| value * self.inflation).collect()).collect();
        let values = natural(&chosen.model);
        let total: f64 = self.ranked.iter().map(|(_, above)| (-above / 2.0).exp()).sum();
        let mut shared = vec![vec![0.0; SHARED]; SHARED];
        for (fitted, above) in &self.ranked {
            let weight = (-above / 2.0).exp() / total;
            // Less than a part in a million changes nothing that is shown.
            let Some(covariance) = (weight > 1e-6).then(|| fitted.covariance()).flatten() else { continue };
            let other = natural(&fitted.model);
            for row in 0..SHARED {
                for column in 0..SHARED {
                    let apart = (other[row] - values[row]) * (other[column] - values[column]);
                    shared[row][column] += weight * (covariance[row][column] * self.inflation + apart);
                }
            }
        }
        Some(with_first_replaced(&own, &shared))
    }
}
