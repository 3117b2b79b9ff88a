//! Decibels: 20·log₁₀ of an amplitude ratio, 10·log₁₀ of a power ratio.
//!
//! No equation beyond these. A level of zero amplitude is −∞ and must not leave the library.

/// 20·log₁₀ of an amplitude ratio.
pub fn db_from_amplitude(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

/// 10·log₁₀ of a power ratio.
pub fn db_from_power(ratio: f64) -> f64 {
    10.0 * ratio.log10()
}

/// The amplitude ratio that so many decibels stand for.
pub fn amplitude_from_db(gain_db: f64) -> f64 {
    10f64.powf(gain_db / 20.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twice_the_amplitude_is_6_02_db_and_ten_times_the_power_10_db() {
        // 5e-5: the published value has four decimals.
        assert!((db_from_amplitude(2.0) - 6.0206).abs() < 5e-5);
        assert_eq!([db_from_power(10.0), db_from_amplitude(10.0), amplitude_from_db(-20.0)], [10.0, 20.0, 0.1]);
        // 1e-12: a power and a logarithm.
        assert!((db_from_amplitude(amplitude_from_db(-57.3)) + 57.3).abs() < 1e-12);
    }
}
