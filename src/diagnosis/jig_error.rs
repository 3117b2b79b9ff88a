//! How a jig that is a little off bends a curve.
//!
//! ```text
//! 1/H = A + B/(Z_l + Z)        δZ = ε₀·r₀ + ε₁·r₁·Z + ε₂·r₂·Z²
//! ```
//!
//! H: load over drive (`impedance/jig.rs`). Errors of leads, gain ratio or sense resistor, and of what the inputs draw
//! bend Z by a constant, in proportion to Z, and to its square. ε: complex, one for each, with a doubt of one; r: so
//! that each is as large as the curve's common doubt where |Z| is lowest, at its median, and where it is highest. The
//! driver was measured at another time, so that its curve may be bent otherwise.

use crate::impedance::Impedance;
use num_complex::Complex64;

/// Numbers that say how a jig is off: real and imaginary parts of the ε.
pub(super) const NUMBERS: usize = 6;

/// How large each shape is for an ε of one.
#[derive(Debug, Clone, Copy)]
pub(super) struct JigError {
    /// r₀ (ohm), r₁ (1), r₂ (1/ohm).
    sizes: [f64; 3],
}

impl JigError {
    /// Of a curve with its common doubt; none where there is no such doubt.
    pub(super) fn of(curve: &Impedance) -> Option<Self> {
        let common = curve.u_common_ohm().filter(|u| u.iter().any(|u| *u > 0.0))?;
        let magnitude = curve.magnitude_ohm();
        let mut order: Vec<usize> = (0..magnitude.len()).collect();
        order.sort_by(|&a, &b| magnitude[a].total_cmp(&magnitude[b]));
        let [lowest, median, highest] = [0, order.len() / 2, order.len() - 1].map(|place| order[place]);
        let [r0, r1] = [common[lowest], common[median] / magnitude[median]];
        let r2 = common[highest] / magnitude[highest].powi(2);
        Some(Self { sizes: [r0, r1, r2] })
    }

    /// What a jig that is off by these numbers shows too much of an impedance, ohm.
    ///
    /// Of the model's, not of the one that was measured: that one holds its noise and whatever the model does not know, and a
    /// jig that shows all of it twice would explain it all.
    pub(super) fn ohm(&self, numbers: &[f64], z_ohm: Complex64) -> Complex64 {
        let epsilons = numbers.chunks_exact(2).map(|parts| Complex64::new(parts[0], parts[1]));
        let [r0, r1, r2] = self.sizes;
        epsilons.zip([r0.into(), r1 * z_ohm, r2 * z_ohm * z_ohm]).map(|(epsilon, shape)| epsilon * shape).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::FrequencyGrid;

    /// Common doubt of 1 % at 2, 10 and 50 ohm: 0.02 ohm, 1 % and 0.5/2500 per ohm.
    #[test]
    fn each_shape_is_as_large_as_the_doubt_where_it_matters() {
        let z: Vec<Complex64> = [2.0, 10.0, 50.0].map(Complex64::from).to_vec();
        let grid = FrequencyGrid::new(vec![20.0, 40.0, 80.0]).unwrap();
        let plain = Impedance::new(grid, z).unwrap();
        assert!(JigError::of(&plain).is_none());
        let curve = plain.with_doubt(vec![1e-3; 3], vec![0.02, 0.1, 0.5], None).unwrap();
        let jig = JigError::of(&curve).unwrap();
        let of = |number: usize, ohm: f64| {
            let mut numbers = [0.0; NUMBERS];
            numbers[number] = 1.0;
            jig.ohm(&numbers, ohm.into())
        };
        for (found, expected) in
            [(of(0, 50.0), 0.02), (of(2, 2.0), 0.02), (of(2, 50.0), 0.5), (of(4, 50.0), 0.5), (of(4, 10.0), 0.02)]
        {
            // 1e-12: roundings.
            assert!((found - expected).norm() < 1e-12, "{found} {expected}");
        }
        assert!((of(3, 10.0) - Complex64::new(0.0, 0.1)).norm() < 1e-12);
    }
}
