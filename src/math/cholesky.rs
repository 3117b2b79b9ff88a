//! The root of a covariance: independent numbers of doubt one behind numbers that hang together.
//!
//! ```text
//! C = L·Lᵀ        z = L⁻¹·x  has the covariance 1
//! ```
//!
//! L: lower triangle. A number without doubt of its own gets the least that double precision can carry, so that L exists.
//! Source: G. H. Golub, C. F. Van Loan, "Matrix Computations", section 4.2 (Cholesky), by way of the crate.

use nalgebra::{DMatrix, DVector};

/// L of a covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct CovarianceRoot {
    lower: DMatrix<f64>,
}

/// Variances are lifted by this part, and covariances that leave no root by more.
const LIFTS: [f64; 3] = [0.0, 1e-12, 1e-6];
/// A number without doubt gets this variance.
const LEAST_VARIANCE: f64 = 1e-24;

impl CovarianceRoot {
    /// Of this covariance, as many rows as columns; `None` where it is none.
    pub fn new(covariance: &[Vec<f64>]) -> Option<Self> {
        let size = covariance.len();
        if covariance.iter().any(|row| row.len() != size || row.iter().any(|value| !value.is_finite())) {
            return None;
        }
        LIFTS.into_iter().find_map(|lift| {
            let lifted = |row: usize, column: usize| match row == column {
                true => covariance[row][row] * (1.0 + lift) + LEAST_VARIANCE,
                false => covariance[row][column],
            };
            let lower = DMatrix::from_fn(size, size, lifted).cholesky()?.l();
            Some(Self { lower })
        })
    }

    /// L⁻¹·x: the deviations x in independent parts of doubt one.
    pub fn whitened(&self, deviations: &[f64]) -> Option<Vec<f64>> {
        let solved = self.lower.solve_lower_triangular(&DVector::from_column_slice(deviations))?;
        Some(solved.as_slice().to_vec())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// C = [[4, 2], [2, 5]] has L = [[2, 0], [1, 2]]: L⁻¹·(2, 5) = (1, 2).
    #[test]
    fn deviations_come_out_in_independent_parts() {
        let root = CovarianceRoot::new(&[vec![4.0, 2.0], vec![2.0, 5.0]]).unwrap();
        let found = root.whitened(&[2.0, 5.0]).unwrap();
        // 1e-12: a few roundings.
        assert!((found[0] - 1.0).abs() < 1e-12 && (found[1] - 2.0).abs() < 1e-12, "{found:?}");
    }

    #[test]
    fn a_number_without_doubt_and_one_told_twice_have_a_root_too() {
        let certain = CovarianceRoot::new(&[vec![0.0, 0.0], vec![0.0, 1.0]]).unwrap();
        assert!(certain.whitened(&[1e-6, 1.0]).unwrap()[0] > 1e5);
        assert!(CovarianceRoot::new(&[vec![1.0, 1.0], vec![1.0, 1.0]]).is_some());
        assert!(CovarianceRoot::new(&[vec![1.0, 3.0], vec![3.0, 1.0]]).is_none());
        assert!(CovarianceRoot::new(&[vec![f64::NAN]]).is_none());
    }
}
