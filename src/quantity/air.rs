//! The air a loudspeaker works in: dry, at a temperature and a pressure.
//!
//! ```text
//! c = 343.2·√(T/293.15 K) m/s        ρ = p·M/(Z·R·T)        Z = 1 − (p/T)·(a₀ + a₁t + a₂t²) + (p²/T²)·d
//! ```
//!
//! Viscosity: `η = η₀·(T/T₀)^1.5·(T₀ + S)/(T + S)`, Sutherland's law.
//!
//! T: temperature, K; t: the same in °C; p: pressure, Pa; M: molar mass, kg/mol; R: gas constant, J/(mol·K); Z: how far
//! air is from an ideal gas. Sources: c: ISO 9613-1:1993; ρ: A. Picard et al., "Revised formula for the density of
//! moist air (CIPM-2007)", Metrologia 45 (2008) 149–155, for dry air. Damp air: c up to 0.4 % more, ρ up to 1 % less at
//! 20 °C.

use super::QuantityError;

/// Dry air of a temperature and a pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    temperature_c: f64,
    pressure_kpa: f64,
}

const ZERO_CELSIUS_K: f64 = 273.15;
/// Viscosity at 0 °C, Pa·s, and how it grows.
const VISCOSITY_AT_ZERO: f64 = 1.716e-5;
const SUTHERLAND_K: f64 = 110.4;
const GAS_CONSTANT: f64 = 8.314_472;
const MOLAR_MASS_KG: f64 = 28.965_46e-3;
const A0: f64 = 1.581_23e-6;
const A1: f64 = -2.9331e-8;
const A2: f64 = 1.1043e-10;
const D: f64 = 1.83e-11;

impl Air {
    /// The pressure that sound pressure levels refer to.
    pub const REFERENCE_PA: f64 = 20e-6;

    /// # Errors
    /// [`QuantityError::Air`] outside of −40 to 60 °C and 50 to 110 kPa.
    pub fn new(temperature_c: f64, pressure_kpa: f64) -> Result<Self, QuantityError> {
        if (-40.0..=60.0).contains(&temperature_c) && (50.0..=110.0).contains(&pressure_kpa) {
            Ok(Self { temperature_c, pressure_kpa })
        } else {
            Err(QuantityError::Air { temperature_c, pressure_kpa })
        }
    }

    /// In degrees Celsius.
    pub fn temperature_c(&self) -> f64 {
        self.temperature_c
    }

    /// In kilopascal.
    pub fn pressure_kpa(&self) -> f64 {
        self.pressure_kpa
    }

    /// Speed of sound, m/s.
    pub fn speed_of_sound_m_s(&self) -> f64 {
        343.2 * ((self.temperature_c + ZERO_CELSIUS_K) / 293.15).sqrt()
    }

    /// Density, kg/m³.
    pub fn density_kg_m3(&self) -> f64 {
        let (t, kelvin, pascal) = (self.temperature_c, self.temperature_c + ZERO_CELSIUS_K, 1e3 * self.pressure_kpa);
        let over = pascal / kelvin;
        let compressibility = 1.0 - over * (A0 + A1 * t + A2 * t * t) + over * over * D;
        pascal * MOLAR_MASS_KG / (compressibility * GAS_CONSTANT * kelvin)
    }

    /// Viscosity, Pa·s.
    pub fn viscosity_pa_s(&self) -> f64 {
        let kelvin = self.temperature_c + ZERO_CELSIUS_K;
        VISCOSITY_AT_ZERO * (kelvin / ZERO_CELSIUS_K).powf(1.5) * (ZERO_CELSIUS_K + SUTHERLAND_K)
            / (kelvin + SUTHERLAND_K)
    }

    /// Bulk modulus ρc², Pa: how hard a volume of air is to compress.
    pub fn bulk_modulus_pa(&self) -> f64 {
        self.density_kg_m3() * self.speed_of_sound_m_s().powi(2)
    }
}

impl Default for Air {
    /// 20 °C, 101.325 kPa.
    fn default() -> Self {
        Self { temperature_c: 20.0, pressure_kpa: 101.325 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Handbook values for dry air: 1.716e-5 at 0 °C, 1.825e-5 at 20 °C, 1.918e-5 at 40 °C (tables of heat transfer,
    /// from memory).
    #[test]
    fn viscosity_is_that_of_the_handbook() {
        for (celsius, printed) in [(0.0, 1.716e-5), (20.0, 1.825e-5), (40.0, 1.918e-5)] {
            let found = Air::new(celsius, 101.325).unwrap().viscosity_pa_s();
            // 1 %: handbooks differ by as much.
            assert!((found / printed - 1.0).abs() < 0.01, "{celsius}: {found}");
        }
    }

    /// Dry air at 101.325 kPa: ISO 9613-1, and the CIPM-2007 equation worked out elsewhere, six decimals.
    #[test]
    fn density_and_speed_of_sound_are_those_of_the_standards() {
        for (t, c, rho) in [
            (0.0, 331.2859, 1.293_049),
            (10.0, 337.2956, 1.247_230),
            (20.0, 343.2, 1.204_557),
            (30.0, 349.0046, 1.164_716),
            (35.0, 351.8710, 1.145_771),
        ] {
            let air = Air::new(t, 101.325).unwrap();
            // Half of the last digit.
            assert!((air.speed_of_sound_m_s() - c).abs() <= 0.5e-4, "{t}: {}", air.speed_of_sound_m_s());
            assert!((air.density_kg_m3() - rho).abs() <= 0.6e-6, "{t}: {}", air.density_kg_m3());
        }
        // ρc² = γp, 1.4 for two-atomic gases; 0.3 %: air is not quite one.
        let half = Air::new(20.0, 60.0).unwrap();
        assert!((half.bulk_modulus_pa() / (1.4 * 60e3) - 1.0).abs() < 0.003, "{}", half.bulk_modulus_pa());
    }

    #[test]
    fn air_that_nobody_works_in_is_refused() {
        for (t, p) in [(294.0, 101.325), (20.0, 1013.25), (f64::NAN, 101.325), (20.0, 0.0)] {
            assert!(matches!(Air::new(t, p), Err(QuantityError::Air { .. })), "{t} {p}");
        }
    }
}
