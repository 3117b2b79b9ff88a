//! Least squares of a model that is not linear in its unknowns, and what its slopes say of their doubt.
//!
//! ```text
//! minimise Σ rᵢ(p)²;    covariance (JᵀJ)⁻¹ when the r are residuals over their σ;    δp = −J⁺·δr for a small shift of the r
//! ```
//!
//! J: slopes ∂rᵢ/∂pⱼ; J⁺: its pseudo-inverse. Covariance and J⁺ come from the singular values of J with its columns brought
//! to one size; a direction that the residuals do not determine gets a very large variance instead of an infinite one.
//!
//! Source: J. J. Moré, "The Levenberg–Marquardt algorithm: implementation and theory", Lecture Notes in Mathematics 630
//! (1978) 105–116, by way of the crate; W. H. Press et al., "Numerical Recipes", section 15.4, for the covariance.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt, TerminationReason};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

/// Residuals and their slopes at one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Linearised {
    /// The rᵢ.
    pub residuals: Vec<f64>,
    /// ∂rᵢ/∂pⱼ, all i of the first unknown, then all of the second …
    pub slopes: Vec<f64>,
}

/// Where the search ended.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastSquares {
    /// The unknowns there.
    pub values: Vec<f64>,
    /// Residuals and slopes there.
    pub linearised: Linearised,
    /// Whether it is a minimum, as far as double precision tells.
    pub ending: Ending,
    /// How often the model was computed.
    pub evaluations: usize,
}

/// Why a search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// At a minimum.
    Minimum,
    /// After as many steps as it was given, or where steps lost their meaning.
    LostPatience,
}

/// How far a search goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effort {
    /// Until it is clear where it leads: to compare starts.
    Coarse,
    /// Until what is left to go is far below the doubt of any number.
    Good,
    /// As far as double precision goes.
    Full,
}

impl Effort {
    /// Relative change of the sum of squares, or of the unknowns, that counts as none (for the full search a few roundings of
    /// a double), and evaluations for each unknown, at most.
    fn limits(self) -> (f64, usize) {
        match self {
            Self::Coarse => (1e-3, 3),
            Self::Good => (1e-7, 8),
            Self::Full => (1e-14, 12),
        }
    }
}

/// Where the sum of squares is least, searched from `start`; `None` when the residuals are not finite on the way or fewer
/// than the unknowns.
pub fn least_squares(start: &[f64], effort: Effort, model: impl Fn(&[f64]) -> Linearised) -> Option<LeastSquares> {
    let at = DVector::from_column_slice(start);
    let linearised = model(start);
    if linearised.residuals.len() < start.len() || !linearised.residuals.iter().all(|r| r.is_finite()) {
        return None;
    }
    let squares = |linearised: &Linearised| linearised.residuals.iter().map(|r| r * r).sum::<f64>();
    let squares_at_start = squares(&linearised);
    let (no_change, patience) = effort.limits();
    let search = LevenbergMarquardt::new().with_ftol(no_change).with_xtol(no_change).with_gtol(1e-14);
    let search = search.with_patience(patience);
    let (found, report) = search.minimize(Search { at, linearised, model });
    let ending = match report.termination {
        TerminationReason::ResidualsZero
        | TerminationReason::Orthogonal
        | TerminationReason::Converged { .. }
        | TerminationReason::NoImprovementPossible(_) => Ending::Minimum,
        TerminationReason::LostPatience => Ending::LostPatience,
        // Stuck where an unknown does nothing any more: usable when it is better than the start.
        TerminationReason::Numerical(_) if squares(&found.linearised) <= squares_at_start => Ending::LostPatience,
        _ => return None,
    };
    Some(LeastSquares {
        values: found.at.as_slice().to_vec(),
        linearised: found.linearised,
        ending,
        evaluations: report.number_of_evaluations,
    })
}

struct Search<F> {
    at: DVector<f64>,
    linearised: Linearised,
    model: F,
}

impl<F: Fn(&[f64]) -> Linearised> LeastSquaresProblem<f64, Dyn, Dyn> for Search<F> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, at: &DVector<f64>) {
        self.at.copy_from(at);
        self.linearised = (self.model)(at.as_slice());
    }

    fn params(&self) -> DVector<f64> {
        self.at.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(DVector::from_column_slice(&self.linearised.residuals))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(DMatrix::from_column_slice(self.linearised.residuals.len(), self.at.len(), &self.linearised.slopes))
    }
}

/// How the unknowns follow the residuals near a minimum.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensitivity {
    /// (JᵀJ)⁻¹.
    pub covariance: Vec<Vec<f64>>,
    /// Largest over smallest singular value of J with columns of one size: how nearly two unknowns do the same.
    pub condition_ratio: f64,
    orthogonal: DMatrix<f64>,
    inverse: DMatrix<f64>,
}

/// Singular values below this part of the largest are rounding; they are lifted to it.
const LEAST_SINGULAR: f64 = 1e-11;

impl Sensitivity {
    /// Of `unknowns` unknowns with these slopes; `None` when slopes are not finite or fewer residuals than unknowns.
    pub fn new(linearised: &Linearised, unknowns: usize) -> Option<Self> {
        let rows = linearised.residuals.len();
        if rows < unknowns || unknowns == 0 || !linearised.slopes.iter().all(|slope| slope.is_finite()) {
            return None;
        }
        let mut slopes = DMatrix::from_column_slice(rows, unknowns, &linearised.slopes);
        let scales: Vec<f64> = slopes.column_iter().map(|column| column.norm()).collect();
        // An unknown that nothing depends on is as undetermined as one column in the rounding of the largest.
        let largest = scales.iter().fold(0.0f64, |most, scale| most.max(*scale));
        let scales: Vec<f64> = scales.into_iter().map(|scale| scale.max(1e-150 * largest)).collect();
        slopes.column_iter_mut().zip(&scales).for_each(|(mut column, scale)| column /= *scale);
        // The R of a QR holds all of the matrix's singular values and is as small as the number of unknowns.
        let qr = slopes.qr();
        let svd = qr.r().svd(true, true);
        let (u, v_t) = (svd.u?, svd.v_t?);
        let most = svd.singular_values.max();
        let lifted = svd.singular_values.map(|value| value.max(LEAST_SINGULAR * most));
        let scaled = DMatrix::from_fn(unknowns, unknowns, |row, k| v_t[(k, row)] / lifted[k] / scales[row]);
        let covariance = &scaled * scaled.transpose();
        Some(Self {
            covariance: (0..unknowns).map(|row| covariance.row(row).iter().copied().collect()).collect(),
            condition_ratio: most / svd.singular_values.min(),
            orthogonal: qr.q(),
            inverse: scaled * u.transpose(),
        })
    }

    /// J⁺·δr: by how much a small shift of the residuals would have to be met by the unknowns.
    pub fn shift(&self, residuals: &[f64]) -> Vec<f64> {
        let shift = &self.inverse * (self.orthogonal.transpose() * DVector::from_column_slice(residuals));
        shift.as_slice().to_vec()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Misra1a of the NIST Statistical Reference Datasets (nonlinear regression, lower difficulty): y = b₁·(1 − exp(−b₂x)).
    const X: [f64; 14] =
        [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0];
    const Y: [f64; 14] =
        [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78];

    fn misra(b: &[f64]) -> Linearised {
        let falling = X.map(|x| (-b[1] * x).exp());
        let residuals = (0..14).map(|at| b[0] * (1.0 - falling[at]) - Y[at]).collect();
        let first = falling.map(|fallen| 1.0 - fallen);
        let slopes = first.into_iter().chain((0..14).map(|at| b[0] * X[at] * falling[at])).collect();
        Linearised { residuals, slopes }
    }

    /// Certified: b₁ = 238.94212918 ± 2.7070075241, b₂ = 5.5015643181e-4 ± 7.2668688436e-6, residual standard deviation
    /// 0.10187876330.
    #[test]
    fn a_standard_reference_problem_gives_its_certified_values_and_deviations() {
        let found = least_squares(&[500.0, 0.0001], Effort::Full, misra).unwrap();
        assert_eq!(found.ending, Ending::Minimum);
        let left = (found.linearised.residuals.iter().map(|r| r * r).sum::<f64>() / 12.0).sqrt();
        let sensitivity = Sensitivity::new(&found.linearised, 2).unwrap();
        let u = |at: usize| left * sensitivity.covariance[at][at].sqrt();
        let pairs = [
            (found.values[0], 238.942_129_18),
            (found.values[1], 5.501_564_318_1e-4),
            (left, 0.101_878_763_30),
            (u(0), 2.707_007_524_1),
            (u(1), 7.266_868_843_6e-6),
        ];
        for (found, certified) in pairs {
            // 1e-8: half the certificate's eleven digits are left by a minimum, whose sum of squares is flat.
            assert!((found / certified - 1.0).abs() < 1e-8, "{found}, certified {certified}");
        }
    }

    #[test]
    fn a_shift_of_the_residuals_moves_the_unknowns_as_a_new_search_does() {
        let found = least_squares(&[250.0, 0.0005], Effort::Full, misra).unwrap();
        let shift: Vec<f64> = X.iter().map(|x| 1e-6 * x).collect();
        let predicted = Sensitivity::new(&found.linearised, 2).unwrap().shift(&shift);
        let moved = |b: &[f64]| {
            let mut linearised = misra(b);
            linearised.residuals.iter_mut().zip(&shift).for_each(|(r, shift)| *r -= shift);
            linearised
        };
        let again = least_squares(&found.values, Effort::Full, moved).unwrap();
        for ((predicted, again), before) in predicted.iter().zip(&again.values).zip(&found.values) {
            let actual = again - before;
            // 2 %: the residuals' curvature, which J⁺ leaves out, times residuals of 0.1 of 80.
            assert!((predicted / actual - 1.0).abs() < 0.02, "{predicted} {actual}");
        }
    }

    #[test]
    fn what_is_not_determined_has_a_very_large_variance_and_leaves_the_rest_alone() {
        let twins = |p: &[f64]| Linearised {
            residuals: vec![p[0] + p[1] - 1.0, p[0] + p[1] - 1.0, p[2] - 3.0],
            slopes: vec![1.0, 1.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 1.0],
        };
        let sensitivity = Sensitivity::new(&twins(&[0.5, 0.5, 3.0]), 3).unwrap();
        assert!(sensitivity.covariance[0][0] > 1e15 && sensitivity.covariance[0][0].is_finite());
        assert!((sensitivity.covariance[2][2] - 1.0).abs() < 1e-6, "{:?}", sensitivity.covariance[2]);
        assert!(sensitivity.condition_ratio > 1e10);
    }

    #[test]
    fn a_search_that_cannot_be_made_is_none() {
        assert!(
            least_squares(&[1.0, 2.0], Effort::Full, |_| Linearised { residuals: vec![1.0], slopes: vec![1.0, 1.0] })
                .is_none()
        );
        assert!(
            least_squares(&[1.0], Effort::Full, |_| Linearised { residuals: vec![f64::NAN], slopes: vec![1.0] })
                .is_none()
        );
    }
}
