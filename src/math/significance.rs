//! Whether differences are more than their own doubt.
//!
//! ```text
//! z = max|d_i|/u_i        chance: p(z) = N·2·(1 − Φ(z))        z_c: p(z_c) = α
//! ```
//!
//! d_i: differences, u_i: their standard uncertainties; N: how many of them are independent; Φ: the normal distribution. Among N independent
//! differences that are all zero, one beyond z_c is seen with a chance of α at the most (Bonferroni's inequality).
//! Source: JCGM 100:2008 (GUM), annex G, for normal quantiles; M. Abramowitz, I. A. Stegun, "Handbook of Mathematical Functions",
//! 26.2.23, for their approximation (from memory; checked below against tabulated values).

/// z that a standard normal value exceeds with a chance of `upper` (0 to 0.5); error below 5e-4.
pub fn normal_quantile(upper: f64) -> f64 {
    let t = (-2.0 * upper.clamp(1e-300, 0.5).ln()).sqrt();
    let over = 2.515_517 + t * (0.802_853 + t * 0.010_328);
    let under = 1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308));
    t - over / under
}

/// z_c for so many independent values and a chance of a false alarm, both sides counted.
pub fn significant_times(independent: f64, chance: f64) -> f64 {
    normal_quantile(0.5 * chance / independent.max(1.0))
}

/// How many of the points at `hz`, rising, are independent when values nearer than `width_hz` say the same.
pub fn independent_points(hz: &[f64], width_hz: f64) -> f64 {
    let steps = hz.windows(2).map(|pair| if width_hz > 0.0 { ((pair[1] - pair[0]) / width_hz).min(1.0) } else { 1.0 });
    (1.0 + steps.sum::<f64>()).min(hz.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tabulated: 1.6449, 1.9600, 2.5758, 3.2905 leave 5, 2.5, 0.5 and 0.05 % above them; 4.2649 leaves 1e-5.
    #[test]
    fn quantiles_are_those_of_the_tables() {
        for (upper, z) in [(0.05, 1.6449), (0.025, 1.9600), (0.005, 2.5758), (0.0005, 3.2905), (1e-5, 4.2649)] {
            assert!((normal_quantile(upper) - z).abs() < 5e-4, "{upper}: {}", normal_quantile(upper));
        }
        assert!((significant_times(1.0, 0.05) - 1.96).abs() < 5e-4 && significant_times(500.0, 0.01) > 4.2);
    }

    #[test]
    fn points_nearer_than_the_resolution_count_by_their_distance() {
        let hz: Vec<f64> = (0..101).map(|n| 100.0 + f64::from(n)).collect();
        assert!((independent_points(&hz, 20.0) - 6.0).abs() < 1e-9);
        assert_eq!((independent_points(&hz, 0.5), independent_points(&hz, 0.0)), (101.0, 101.0));
    }
}
