//! What measurement and model leave even when nothing is the matter.
//!
//! ```text
//! C = diag(u² + u_0²) + σ²·exp(−½·(Δ/ℓ)²)
//! ```
//!
//! u: doubt of a point; u_0: what is read off a curve at the best; σ: how far a model of a healthy loudspeaker is off; Δ:
//! distance of two points in octaves; ℓ: how far such an error reaches, octaves. One such block for levels, and one for each
//! part of the impedance. C. E. Rasmussen, C. K. I. Williams, "Gaussian Processes for Machine Learning" (2006), chapter 2.

use super::Evidence;
use crate::math::CovarianceRoot;

/// How large the error of the model is in each block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ModelError {
    /// Of levels, dB.
    pub level_db: f64,
    /// Of the logarithm of an impedance.
    pub ohm_ratio: f64,
}

impl ModelError {
    /// A design with its drivers' own numbers, edges and all (ours).
    pub const USUAL: Self = Self { level_db: 0.35, ohm_ratio: 0.006 };

    /// Larger by what was left over.
    pub fn grown(self, level: f64, ohm: f64) -> Self {
        Self { level_db: self.level_db * level, ohm_ratio: self.ohm_ratio * ohm }
    }
}

const LEVEL_REACH_OCTAVES: f64 = 0.3;
const OHM_REACH_OCTAVES: f64 = 0.3;
const LEAST_DB: f64 = 0.07;
/// Where a loudspeaker's sound starts: within its depth, near enough.
const ARRIVAL_M: f64 = 0.03;
const LEAST_RATIO: f64 = 0.0015;

/// C by its blocks.
pub(super) fn covariance(evidence: &Evidence, error: ModelError) -> Vec<Vec<f64>> {
    let [levels, ohms] = [evidence.level.len(), evidence.ohm.len()];
    let size = levels + 2 * ohms + usize::from(evidence.travelled_m.is_some());
    let mut all = vec![vec![0.0; size]; size];
    let octave = |place: usize| evidence.hz[place].log2();
    let together = |one: f64, other: f64, reach: f64| (-0.5 * ((one - other) / reach).powi(2)).exp();
    for (row, (at, _)) in evidence.level.iter().enumerate() {
        for (column, (by, _)) in evidence.level.iter().enumerate() {
            all[row][column] = error.level_db.powi(2) * together(octave(*at), octave(*by), LEVEL_REACH_OCTAVES);
        }
        all[row][row] += evidence.u_level_db[row].powi(2) + LEAST_DB.powi(2);
    }
    for first in [levels, levels + ohms] {
        for (row, (at, _)) in evidence.ohm.iter().enumerate() {
            for (column, (by, _)) in evidence.ohm.iter().enumerate() {
                all[first + row][first + column] =
                    error.ohm_ratio.powi(2) * together(octave(*at), octave(*by), OHM_REACH_OCTAVES);
            }
            all[first + row][first + row] += evidence.u_ohm_ratio[row].powi(2) + LEAST_RATIO.powi(2);
        }
    }
    if let Some(travelled_m) = evidence.travelled_m {
        all[size - 1][size - 1] = (ARRIVAL_M / travelled_m).powi(2);
    }
    all
}

/// The root of C with these columns of doubt added: `C + Σ σ_k²·s_k·s_kᵀ`.
pub(super) fn widened(covariance: &[Vec<f64>], columns: &[(f64, Vec<f64>)]) -> Option<CovarianceRoot> {
    let mut all = covariance.to_vec();
    for (sigma, column) in columns {
        for (row, one) in column.iter().enumerate() {
            let scaled = sigma * sigma * one;
            if scaled != 0.0 {
                all[row].iter_mut().zip(column).for_each(|(value, other)| *value += scaled * other);
            }
        }
    }
    CovarianceRoot::new(&all)
}
