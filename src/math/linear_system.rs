//! A few complex equations in as many unknowns.
//!
//! ```text
//! A·x = b
//! ```
//!
//! Source: G. H. Golub, C. F. Van Loan, "Matrix Computations", section 3.4 (LU with partial pivoting), by way of the crate. The
//! crate does not notice equations that are as good as dependent; who builds them has to.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

/// x, or `None` where the equations have no single answer in double precision.
///
/// # Shape
/// `matrix`: row after row, as many rows as `right` has values.
pub fn solved(matrix: &[Complex64], right: &[Complex64]) -> Option<Vec<Complex64>> {
    let size = right.len();
    if size == 0 {
        return Some(Vec::new());
    }
    let equations = DMatrix::from_row_slice(size, size, matrix);
    let found = equations.lu().solve(&DVector::from_column_slice(right))?;
    found.iter().all(|value| value.is_finite()).then(|| found.as_slice().to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_equations_by_hand() {
        let [one, j] = [Complex64::ONE, Complex64::I];
        // x + j·y = 1, j·x + 3·y = 2 has the determinant 4: x = (3 − 2j)/4, y = (2 − j)/4.
        let found = solved(&[one, j, j, 3.0 * one], &[one, 2.0 * one]).unwrap();
        let expected = [Complex64::new(0.75, -0.5), Complex64::new(0.5, -0.25)];
        // 1e-15: a few roundings.
        assert!(found.iter().zip(expected).all(|(found, expected)| (found - expected).norm() < 1e-15), "{found:?}");
        assert_eq!(solved(&[one, one, one, one], &[one, one]), None);
        assert_eq!(solved(&[], &[]), Some(Vec::new()));
    }
}
