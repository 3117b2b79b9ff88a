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
