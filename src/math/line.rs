//! Weighted least squares for one or two unknowns.
//!
//! ```text
//! minimise Σ wᵢ·(yᵢ − a·uᵢ − b·vᵢ)²:   (Uᵀ W U)·(a, b)ᵀ = Uᵀ W y,   covariance (Uᵀ W U)⁻¹ for wᵢ = 1/σᵢ²
//! ```
//!
//! Source: P. R. Bevington, D. K. Robinson, "Data Reduction and Error Analysis for the Physical Sciences", chapter 7.

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

/// What a fit of `y = a·u + b·v` gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneFit {
    /// a and b.
    pub values: [f64; 2],
    /// Their variances, when the weights were 1/σ².
    pub variances: [f64; 2],
    /// Weighted sum of squared residuals over the sum of weights: the mean square of what is left.
    pub residual_ratio: f64,
}

/// The a and b that make `y = a·u + b·v` fit best, from points (u, v, y, weight); `None` where nothing determines them.
pub fn weighted_plane(points: impl Iterator<Item = (f64, f64, f64, f64)> + Clone) -> Option<PlaneFit> {
    let [mut uu, mut uv, mut vv, mut uy, mut vy, mut weights] = [0.0; 6];
    for (u, v, y, weight) in points.clone() {
        uu += weight * u * u;
        uv += weight * u * v;
        vv += weight * v * v;
        uy += weight * u * y;
        vy += weight * v * y;
        weights += weight;
    }
    let determinant = uu * vv - uv * uv;
    // 1e-12 of the largest possible: two columns that nearly coincide determine nothing.
    if !(determinant > 1e-12 * uu * vv && determinant.is_finite()) {
        return None;
    }
    let values = [(uy * vv - vy * uv) / determinant, (vy * uu - uy * uv) / determinant];
    let squares: f64 = points.map(|(u, v, y, weight)| weight * (y - values[0] * u - values[1] * v).powi(2)).sum();
    Some(PlaneFit { values, variances: [vv / determinant, uu / determinant], residual_ratio: squares / weights })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_data_give_the_exact_line_and_plane() {
        let line = weighted_line((1..5).map(|n| (f64::from(n), 3.0 * f64::from(n), 1.0))).unwrap();
        assert_eq!((line.slope_ratio, line.residual_ratio), (3.0, 0.0));
        assert_eq!(line.variance_ratio, 1.0 / 30.0);
        let plane = weighted_plane((1..9).map(|n| {
            let (u, v) = (f64::from(n), f64::from(n * n));
            (u, v, 2.0 * u - 0.5 * v, 1.0 + u)
        }))
        .unwrap();
        // 1e-12: a 2×2 system of condition below 1e3.
        assert!((plane.values[0] - 2.0).abs() < 1e-12 && (plane.values[1] + 0.5).abs() < 1e-12);
    }

    /// Two straight-line points with weights 1 and 4 through the origin: a = Σwuy/Σwu² = (2 + 4·2·3)/(1 + 4·4) = 26/17.
    #[test]
    fn weights_count_as_the_textbook_says() {
        let line = weighted_line([(1.0, 2.0, 1.0), (2.0, 3.0, 4.0)].into_iter()).unwrap();
        assert_eq!(line.slope_ratio, 26.0 / 17.0);
    }

    #[test]
    fn what_is_not_determined_is_not_given() {
        assert!(weighted_line([(0.0, 1.0, 1.0), (0.0, 2.0, 1.0)].into_iter()).is_none());
        assert!(weighted_plane((1..9).map(|n| (f64::from(n), 2.0 * f64::from(n), 1.0, 1.0))).is_none());
    }
}
