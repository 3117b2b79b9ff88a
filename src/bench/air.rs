//! The air of the bench: dry, 20 °C, 101.325 kPa.
//!
//! Sources: ISO 9613-1:1993, annex A (speed of sound 343.2·√(T/293.15 K) m/s); A. Picard et al., "Revised formula for
//! the density of moist air (CIPM-2007)", Metrologia 45 (2008) 149–155.

/// Density.
pub const AIR_DENSITY_KG_M3: f64 = 1.204_557;
/// Speed of sound.
pub const SPEED_OF_SOUND_M_S: f64 = 343.2;
/// The pressure that sound pressure levels refer to.
pub const REFERENCE_PA: f64 = 20e-6;
