//! The Kaiser window: the nearly best window for a stop band of given depth.
//!
//! ```text
//! w(x) = I₀(β·√(1 − x²))/I₀(β)        −1 ≤ x ≤ 1
//! β = 0.1102·(A − 8.7)                 A > 50 dB
//! ```
//!
//! I₀: modified Bessel function of order 0; A: depth of the stop band, dB.
//! Source: J. F. Kaiser, "Nonrecursive digital filter design using the I₀-sinh window function", Proc. IEEE Int. Symp.
//! Circuits and Systems, 1974, 20–23; formulas as in A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal
//! Processing", section 7.5.3 (from memory).

/// I₀(x) by its power series `Σ ((x/2)^k/k!)²`, good to double precision for |x| < 100.
pub fn bessel_i0(x: f64) -> f64 {
    let quarter_square = 0.25 * x * x;
    let (mut sum, mut term, mut order) = (1.0, 1.0, 1.0);
    while term > sum * f64::EPSILON * 0.1 {
        term *= quarter_square / (order * order);
        sum += term;
        order += 1.0;
    }
    sum
}

/// The window of one β, ready to be read at many places.
///
/// The power series of I₀ is one in 1 − x² as well, and its coefficients depend on β alone.
pub struct Kaiser {
    coefficients: Vec<f64>,
}

impl Kaiser {
    /// The window of `beta`.
    pub fn new(beta: f64) -> Self {
        let quarter_square = 0.25 * beta * beta;
        let mut coefficients = vec![bessel_i0(beta).recip()];
        loop {
            let order = coefficients.len() as f64;
            let next = coefficients[coefficients.len() - 1] * quarter_square / (order * order);
            // They rise up to the order β/2 before they fall.
            if order > 0.5 * beta && next < 0.1 * f64::EPSILON {
                return Self { coefficients };
            }
            coefficients.push(next);
        }
    }

    /// w at `x`, zero outside −1 … 1.
    pub fn at(&self, x: f64) -> f64 {
        let [weight] = self.at_each([x]);
        weight
    }

    /// w at several places at once.
    pub fn at_each<const N: usize>(&self, x: [f64; N]) -> [f64; N] {
        let inside = x.map(|x| 1.0 - x * x);
        let mut weights = [0.0; N];
        for coefficient in self.coefficients.iter().rev() {
            weights.iter_mut().zip(&inside).for_each(|(weight, inside)| *weight = *weight * inside + coefficient);
        }
        weights.iter_mut().zip(&inside).for_each(|(weight, inside)| {
            if *inside < 0.0 {
                *weight = 0.0;
            }
        });
        weights
    }
}

/// β for a stop band `depth_db` deep (more than 50 dB).
pub fn kaiser_beta(depth_db: f64) -> f64 {
    0.1102 * (depth_db - 8.7)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1, `scipy.special.i0e(x)`, which is e^{−x}·I₀(x).
    #[test]
    fn i0_agrees_with_a_numerical_library() {
        let expected =
            [(1.0, 0.465_759_607_593_640_43), (5.0, 0.183_540_812_609_328_34), (20.0, 0.089_780_311_884_826)];
        for (x, scaled) in expected {
            let found = bessel_i0(x) * f64::exp(-x);
            // 1e-14: some tens of additions of positive terms.
            assert!((found / scaled - 1.0).abs() < 1e-14, "{x}: {found}");
        }
    }

    #[test]
    fn the_window_is_one_in_the_middle_and_ends_at_one_over_i0() {
        let beta = kaiser_beta(100.0);
        let window = Kaiser::new(beta);
        // 1e-15: the series is summed from its smallest terms.
        assert!((window.at(0.0) - 1.0).abs() < 1e-15);
        assert!((window.at(1.0) * bessel_i0(beta) - 1.0).abs() < 1e-15);
        assert_eq!([window.at(1.1), window.at(-1.1)], [0.0, 0.0]);
        // The definition, half-way out.
        assert!((window.at(0.5) / (bessel_i0(beta * 0.75f64.sqrt()) / bessel_i0(beta)) - 1.0).abs() < 1e-14);
        // 0.1102·(100 − 8.7), by hand; 1e-12: one product.
        assert!((beta - 10.06126).abs() < 1e-12);
    }
}
