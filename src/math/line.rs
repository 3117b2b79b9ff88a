//! Weighted least squares for a few unknowns.
//!
//! ```text
//! minimise Σ wᵢ·(yᵢ − Σⱼ aⱼ·uᵢⱼ)²:   (Uᵀ W U)·a = Uᵀ W y,   covariance (Uᵀ W U)⁻¹ for wᵢ = 1/σᵢ²
//! ```
//!
//! Source: P. R. Bevington, D. K. Robinson, "Data Reduction and Error Analysis for the Physical Sciences", chapter 7.

use nalgebra::{DMatrix, DVector};

/// What a fit of `y = a·u` gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineFit {
    /// a.
    pub slope_ratio: f64,
    /// Variance of a, when the weights were 1/σ².
    pub variance_ratio: f64,
    /// Weighted sum of squared residuals over the number of points less one.
    pub residual_ratio: f64,
}

/// The a that makes `y = a·u` fit best; `None` where nothing determines it.
pub fn weighted_line(points: impl Iterator<Item = (f64, f64, f64)> + Clone) -> Option<LineFit> {
    let (mut uu, mut uy, mut count) = (0.0, 0.0, 0.0);
    for (u, y, weight) in points.clone() {
        uu += weight * u * u;
        uy += weight * u * y;
        count += 1.0;
    }
    if !(uu > 0.0 && uu.is_finite() && uy.is_finite() && count > 1.0) {
        return None;
    }
    let slope = uy / uu;
    let squares: f64 = points.map(|(u, y, weight)| weight * (y - slope * u).powi(2)).sum();
    Some(LineFit { slope_ratio: slope, variance_ratio: 1.0 / uu, residual_ratio: squares / (count - 1.0) })
}

/// What a fit of `y = Σ aⱼ·uⱼ` gives.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneFit {
    /// The aⱼ.
    pub values: Vec<f64>,
    /// Their variances, when the weights were 1/σ².
    pub variances: Vec<f64>,
    /// Weighted sum of squared residuals over the sum of weights: the mean square of what is left.
    pub residual_ratio: f64,
}

/// The aⱼ that make `y = Σ aⱼ·uⱼ` fit best, from rows of uⱼ, each with its y and weight; `None` where they are not
/// determined. Solved by singular values on columns brought to one size.
pub fn weighted_plane(rows: &[(Vec<f64>, f64, f64)]) -> Option<PlaneFit> {
    let columns = rows.first()?.0.len();
    let used: Vec<&(Vec<f64>, f64, f64)> = rows.iter().filter(|row| row.2 > 0.0).collect();
    let scales: Vec<f64> = (0..columns)
        .map(|column| used.iter().map(|row| row.2 * row.0[column] * row.0[column]).sum::<f64>().sqrt())
        .collect();
    if used.len() <= columns || scales.iter().any(|scale| !(*scale > 0.0 && scale.is_finite())) {
        return None;
    }
    let matrix =
        DMatrix::from_fn(used.len(), columns, |row, column| used[row].2.sqrt() * used[row].0[column] / scales[column]);
    let wanted = DVector::from_fn(used.len(), |row, _| used[row].2.sqrt() * used[row].1);
    // The R of a QR holds all of the matrix's singular values and is as small as the number of unknowns.
    let qr = matrix.qr();
    let projected = qr.q().transpose() * &wanted;
    let svd = qr.r().svd(true, true);
    // Columns that nearly coincide determine nothing.
    if svd.singular_values.min() < 1e-9 * svd.singular_values.max() {
        return None;
    }
    let scaled = svd.solve(&projected, 0.0).ok()?;
    let v_t = svd.v_t.as_ref()?;
    let variances = (0..columns)
        .map(|column| {
            let sum: f64 = (0..columns).map(|k| (v_t[(k, column)] / svd.singular_values[k]).powi(2)).sum();
            sum / (scales[column] * scales[column])
        })
        .collect();
    let values: Vec<f64> = (0..columns).map(|column| scaled[column] / scales[column]).collect();
    let left = |row: &(Vec<f64>, f64, f64)| row.1 - row.0.iter().zip(&values).map(|(u, a)| u * a).sum::<f64>();
    let squares: f64 = used.iter().map(|row| row.2 * left(row).powi(2)).sum();
    let weights: f64 = used.iter().map(|row| row.2).sum();
    Some(PlaneFit { values, variances, residual_ratio: squares / weights })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_data_give_the_exact_line_and_plane() {
        let line = weighted_line((1..5).map(|n| (f64::from(n), 3.0 * f64::from(n), 1.0))).unwrap();
        assert_eq!((line.slope_ratio, line.residual_ratio), (3.0, 0.0));
        assert_eq!(line.variance_ratio, 1.0 / 30.0);
        let rows: Vec<(Vec<f64>, f64, f64)> = (1..9)
            .map(|n| {
                let (u, v) = (f64::from(n), f64::from(n * n));
                (vec![u, v], 2.0 * u - 0.5 * v, 1.0 + u)
            })
            .collect();
        let plane = weighted_plane(&rows).unwrap();
        // 1e-12: a 2×2 system of condition below 1e3.
        assert!((plane.values[0] - 2.0).abs() < 1e-12 && (plane.values[1] + 0.5).abs() < 1e-12);
    }

    /// Two straight-line points with weights 1 and 4 through the origin: a = Σwuy/Σwu² = (2 + 4·2·3)/(1 + 4·4) = 26/17.
    #[test]
    fn weights_count_as_the_textbook_says() {
        let line = weighted_line([(1.0, 2.0, 1.0), (2.0, 3.0, 4.0)].into_iter()).unwrap();
        assert_eq!(line.slope_ratio, 26.0 / 17.0);
        // Residuals 2 − 26/17 and 3 − 52/17, squared, the second four times, over one degree of freedom: (64 + 4·1)/289.
        assert!((line.residual_ratio - 68.0 / 289.0).abs() < 1e-15);
    }

    /// numpy 2.4.6 `linalg.inv` and `linalg.solve` of the normal equations of the rows below.
    #[test]
    fn a_plane_and_its_variances_agree_with_a_numerical_library() {
        let rows = [([1.0, 1.0, 0.2], 1.0, 1.0), ([1.0, 2.0, 0.1], 2.5, 2.0), ([1.0, 3.0, -0.4], 2.0, 1.0)]
            .into_iter()
            .chain([([1.0, 4.0, 0.3], 4.5, 0.5), ([1.0, 5.0, 0.0], 5.0, 3.0)])
            .map(|(u, y, weight)| (u.to_vec(), y, weight))
            .collect::<Vec<_>>();
        let plane = weighted_plane(&rows).unwrap();
        for (found, expected) in plane.values.iter().zip([-0.06151035322777254, 1.0152253349573694, 2.2046285018270395])
        {
            // 1e-12: three unknowns of condition below 1e3.
            assert!((found - expected).abs() < 1e-12, "{found} {expected}");
        }
        for (found, expected) in
            plane.variances.iter().zip([0.8150121802679664, 0.05983556638246045, 4.034713763702801])
        {
            assert!((found - expected).abs() < 1e-12, "{found} {expected}");
        }
    }

    #[test]
    fn what_is_not_determined_is_not_given() {
        assert!(weighted_line([(0.0, 1.0, 1.0), (0.0, 2.0, 1.0)].into_iter()).is_none());
        let twins: Vec<_> = (1..9).map(|n| (vec![f64::from(n), 2.0 * f64::from(n)], 1.0, 1.0)).collect();
        assert!(weighted_plane(&twins).is_none());
    }
}
