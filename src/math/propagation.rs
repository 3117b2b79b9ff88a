//! What the doubts of some numbers do to the numbers that follow from them.
//!
//! ```text
//! y = f(x):   C_y = J·C_x·Jᵀ        J_ik = ∂f_i/∂x_k
//! ```
//!
//! C: covariances. J is had by central differences of a step far below each number's doubt.
//! Holds while f is straight over a few doubts. Source: JCGM 102:2011, "Extension to any number of output quantities".

/// Numbers with their covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct Correlated {
    /// The numbers.
    pub values: Vec<f64>,
    /// Their covariance, as many rows and columns.
    pub covariance: Vec<Vec<f64>>,
}

impl Correlated {
    /// The standard uncertainty of one of them.
    pub fn u(&self, at: usize) -> f64 {
        self.covariance[at][at].max(0.0).sqrt()
    }

    /// The standard uncertainty of the difference of two of them.
    pub fn u_difference(&self, a: usize, b: usize) -> f64 {
        let c = &self.covariance;
        (c[a][a] + c[b][b] - c[a][b] - c[b][a]).max(0.0).sqrt()
    }
}

/// A step of this part of the doubt is straight enough; one of that part of the value is not lost to rounding.
const STEP_OF_DOUBT: f64 = 1e-3;
const STEP_OF_VALUE: f64 = 1e-6;

/// What follows from correlated numbers, with its covariance.
pub fn propagated(inputs: &Correlated, follows: impl Fn(&[f64]) -> Vec<f64>) -> Correlated {
    let values = follows(&inputs.values);
    let count = inputs.values.len();
    let certain = |at: usize| inputs.covariance[at].iter().all(|c| *c == 0.0);
    let doubtful: Vec<usize> = (0..count).filter(|&at| !certain(at)).collect();
    let slopes: Vec<Vec<f64>> = doubtful.iter().map(|&at| slope(inputs, at, &follows)).collect();
    let covariance = (0..values.len())
        .map(|i| {
            let along: Vec<f64> = doubtful
                .iter()
                .map(|&k| doubtful.iter().zip(&slopes).map(|(&l, slope)| inputs.covariance[k][l] * slope[i]).sum())
                .collect();
            (0..values.len()).map(|j| slopes.iter().zip(&along).map(|(slope, c)| slope[j] * c).sum()).collect()
        })
        .collect();
    Correlated { values, covariance }
}

fn slope(inputs: &Correlated, at: usize, follows: impl Fn(&[f64]) -> Vec<f64>) -> Vec<f64> {
    let step = (STEP_OF_DOUBT * inputs.u(at)).max(STEP_OF_VALUE * inputs.values[at].abs());
    let moved = |by: f64| {
        let mut values = inputs.values.clone();
        values[at] += by;
        follows(&values)
    };
    moved(step).iter().zip(moved(-step)).map(|(above, below)| (above - below) / (2.0 * step)).collect()
}

/// The weights, none negative and one in all, with which estimates of one number give the least doubtful mean.
///
/// ```text
/// w = C⁻¹·1/(1ᵀ·C⁻¹·1)
/// ```
///
/// A negative weight would lean on how errors hang together, which is known less well than their size: then each
/// estimate counts by its own variance. Estimates without doubt share all of the weight.
pub fn best_weights(covariance: &[Vec<f64>]) -> Vec<f64> {
    let count = covariance.len();
    if count < 2 {
        return vec![1.0; count];
    }
    let certain: Vec<bool> = (0..count).map(|at| covariance[at][at] <= 0.0).collect();
    if certain.contains(&true) {
        let share = certain.iter().filter(|known| **known).count() as f64;
        return certain.iter().map(|known| if *known { 1.0 / share } else { 0.0 }).collect();
    }
    let matrix = nalgebra::DMatrix::from_fn(count, count, |row, column| covariance[row][column]);
    let solved = matrix.lu().solve(&nalgebra::DVector::from_element(count, 1.0));
    let raw: Vec<f64> = match solved {
        Some(found) if found.iter().all(|w| w.is_finite() && *w >= 0.0) => found.iter().copied().collect(),
        _ => (0..count).map(|at| 1.0 / covariance[at][at]).collect(),
    };
    let sum: f64 = raw.iter().sum();
    raw.iter().map(|w| w / sum).collect()
}

/// How much each number must move for each unit by which conditions are missed, so that they hold and the numbers move
/// as little as their doubts allow: `x' = x − K·m(x)`.
///
/// ```text
/// K = C·Jᵀ·(J·C·Jᵀ)⁻¹        J = ∂m/∂x
/// ```
///
/// One row for each number. Nothing moves where the conditions are free of doubt or say the same twice.
/// Source: adjustment by conditions, F. R. Helmert, "Die Ausgleichungsrechnung nach der Methode der kleinsten Quadrate" (1872).
pub fn adjustment(inputs: &Correlated, missed: impl Fn(&[f64]) -> Vec<f64>) -> Vec<Vec<f64>> {
    let count = inputs.values.len();
    let both = propagated(inputs, |x| x.iter().copied().chain(missed(x)).collect());
    let conditions = both.values.len() - count;
    let of = |rows: std::ops::Range<usize>| {
        nalgebra::DMatrix::from_fn(rows.len(), conditions, |row, column| {
            both.covariance[rows.start + row][count + column]
        })
    };
    let gain = of(count..count + conditions).try_inverse().map(|inverse| of(0..count) * inverse);
    match gain {
        Some(gain) if gain.iter().all(|number| number.is_finite()) && conditions > 0 => {
            gain.row_iter().map(|row| row.iter().copied().collect()).collect()
        }
        _ => vec![vec![0.0; conditions]; count],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100:2008, H.2: resistance, reactance, impedance from voltage, current, phase, which are correlated.
    #[test]
    fn the_guides_own_example_is_reproduced() {
        let (v, i, phase): (f64, f64, f64) = (4.9990, 19.6610e-3, 1.044_46);
        let (u_v, u_i, u_phase) = (0.0032, 0.0095e-3, 0.000_75);
        let (r_vi, r_vp, r_ip) = (-0.36, 0.86, -0.65);
        let covariance = vec![
            vec![u_v * u_v, r_vi * u_v * u_i, r_vp * u_v * u_phase],
            vec![r_vi * u_v * u_i, u_i * u_i, r_ip * u_i * u_phase],
            vec![r_vp * u_v * u_phase, r_ip * u_i * u_phase, u_phase * u_phase],
        ];
        let inputs = Correlated { values: vec![v, i, phase], covariance };
        let found = propagated(&inputs, |x| vec![x[0] / x[1] * x[2].cos(), x[0] / x[1] * x[2].sin(), x[0] / x[1]]);
        // Printed: R = 127.732 ± 0.071, X = 219.847 ± 0.295, Z = 254.260 ± 0.236 ohm; r(R,X) = −0.588.
        // Half of the last printed digit, and the inputs' own rounding.
        for (at, (value, u)) in [(127.732, 0.071), (219.847, 0.295), (254.260, 0.236)].into_iter().enumerate() {
            assert!((found.values[at] - value).abs() < 0.001, "{found:?}");
            assert!((found.u(at) - u).abs() < 0.002, "{} {u}", found.u(at));
        }
        let r = found.covariance[0][1] / (found.u(0) * found.u(1));
        assert!((r + 0.588).abs() < 0.01, "{r}");
    }

    #[test]
    fn a_difference_of_what_is_wholly_shared_has_no_doubt() {
        let inputs = Correlated { values: vec![3.0], covariance: vec![vec![0.04]] };
        let found = propagated(&inputs, |x| vec![x[0] + 1.0, x[0] - 1.0]);
        assert!((found.u(0) - 0.2).abs() < 1e-9 && found.u_difference(0, 1) < 1e-6, "{found:?}");
    }

    /// Three angles of a triangle, measured 1° too large in all, one with twice the doubt: it takes four sixths.
    #[test]
    fn a_triangle_is_closed_where_it_was_measured_worst() {
        let covariance = vec![vec![1.0, 0.0, 0.0], vec![0.0, 4.0, 0.0], vec![0.0, 0.0, 1.0]];
        let angles = Correlated { values: vec![60.0, 61.0, 60.0], covariance };
        let missed = |x: &[f64]| vec![x.iter().sum::<f64>() - 180.0];
        let gain = adjustment(&angles, missed);
        for (row, share) in gain.iter().zip([1.0, 4.0, 1.0]) {
            // 1e-6: differences of a step that is 1e-3 of the doubt, of numbers around 60.
            assert!((row[0] - share / 6.0).abs() < 1e-6, "{gain:?}");
        }
        let closed = propagated(&angles, |x| {
            let by = missed(x)[0];
            x.iter().zip(&gain).map(|(x, row)| x - row[0] * by).collect()
        });
        assert!((closed.values.iter().sum::<f64>() - 180.0).abs() < 1e-6);
        // Variance of the worst one: 4 − 4²/6.
        assert!((closed.covariance[1][1] - 4.0 / 3.0).abs() < 1e-5, "{closed:?}");
        let certain = Correlated { values: vec![1.0], covariance: vec![vec![0.0]] };
        assert_eq!(adjustment(&certain, |x| vec![x[0] - 2.0]), [[0.0]]);
    }

    #[test]
    fn weights_are_those_of_the_inverse_variance_and_never_negative() {
        // 1/4 and 1/1: a fifth and four fifths.
        let weights = best_weights(&[vec![4.0, 0.0], vec![0.0, 1.0]]);
        assert!((weights[0] - 0.2).abs() < 1e-12 && (weights[1] - 0.8).abs() < 1e-12, "{weights:?}");
        // Correlation 0.9 of u 2 and 1 would give the first −0.571…
        let weights = best_weights(&[vec![4.0, 1.8], vec![1.8, 1.0]]);
        assert!((weights[0] - 0.2).abs() < 1e-12, "{weights:?}");
        assert_eq!(best_weights(&[vec![0.0, 0.0], vec![0.0, 1.0]]), [1.0, 0.0]);
    }
}
