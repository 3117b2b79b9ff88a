//! What a new covariance of some values does to others that are tied to them.
//!
//! ```text
//! G = C_os·C_ss⁻¹        C′_os = G·S        C′_oo = C_oo + G·(S − C_ss)·Gᵀ
//! ```
//!
//! C: covariance of all, the first values s, the others o; S: the new covariance of the first. The regression of the others on
//! the first stays as it is, and so does what is left of the others when the first are known.
//! Source: the conditional normal distribution, T. W. Anderson, "An Introduction to Multivariate Statistical Analysis", section
//! 2.5; the two last equations by the law of total covariance.

use nalgebra::DMatrix;

/// `covariance` with its first block replaced by `first`, and the rest following.
///
/// Where the old first block is not positive definite nothing can be said to follow: the others keep their own block and lose
/// their ties to the first.
pub fn with_first_replaced(covariance: &[Vec<f64>], first: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let (all, count) = (covariance.len(), first.len());
    let whole = DMatrix::from_fn(all, all, |row, column| covariance[row][column]);
    let new = DMatrix::from_fn(count, count, |row, column| first[row][column]);
    let old = whole.view((0, 0), (count, count)).into_owned();
    let ties = whole.view((0, count), (count, all - count)).into_owned();
    let gains = match old.clone().cholesky() {
        Some(factor) => factor.solve(&ties).transpose(),
        None => DMatrix::zeros(all - count, count),
    };
    let across = &gains * &new;
    let others = whole.view((count, count), (all - count, all - count)) + &gains * (&new - old) * gains.transpose();
    let value = |row: usize, column: usize| match (row < count, column < count) {
        (true, true) => new[(row, column)],
        (false, true) => across[(row - count, column)],
        (true, false) => across[(column - count, row)],
        (false, false) => others[(row - count, column - count)],
    };
    (0..all).map(|row| (0..all).map(|column| value(row, column)).collect()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// G = 2/4; 0.5·9 = 4.5; 3 + 0.5²·(9 − 4) = 4.25.
    #[test]
    fn the_second_of_two_follows_the_first_by_half() {
        let found = with_first_replaced(&[vec![4.0, 2.0], vec![2.0, 3.0]], &[vec![9.0]]);
        assert_eq!(found, [[9.0, 4.5], [4.5, 4.25]]);
    }

    #[test]
    fn the_same_first_block_changes_nothing_and_one_that_determines_nothing_ties_nothing() {
        let covariance = [vec![4.0, 1.0, 0.5], vec![1.0, 2.0, -0.3], vec![0.5, -0.3, 1.0]];
        let found = with_first_replaced(&covariance, &[vec![4.0, 1.0], vec![1.0, 2.0]]);
        for (found, expected) in found.iter().flatten().zip(covariance.iter().flatten()) {
            // 1e-14: ten roundings of numbers near one.
            assert!((found - expected).abs() < 1e-14, "{found} {expected}");
        }
        let singular = [vec![0.0, 0.0], vec![0.0, 5.0]];
        assert_eq!(with_first_replaced(&singular, &[vec![1.0]]), [[1.0, 0.0], [0.0, 5.0]]);
    }
}
