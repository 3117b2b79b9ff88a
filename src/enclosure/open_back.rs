//! A box whose back is open: a short, wide tube behind the cone.
//!
//! ```text
//! Z = Z_0·(Z_t + jZ_0·tan kL)/(Z_0 + jZ_t·tan kL)        q/U = 1/(cos kL + j(Z_t/Z_0)·sin kL)
//! Z_0 = ρc/S        L = V/S        Z_t = Z_0·(min((ka)²/4, 1) + j·0.6133·ka)        a = √(S/π)
//! ```
//!
//! U: flow that the cone's rear pushes in; q: flow that leaves the back, m³/s; V: volume, m³; S: area of the opening, m²;
//! Z: what the air behind adds to the cone's load, Pa·s/m³. Holds up to ka of about 1, where a wide tube's end begins to
//! radiate as a wave. Source: L. E. Kinsler et al., "Fundamentals of Acoustics", chapter 10 (pipes, unflanged end).

use crate::quantity::Air;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// A box whose back is open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenBack {
    /// V.
    pub volume_m3: f64,
    /// S.
    pub area_m2: f64,
}

/// What the air in it does at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenBackFlow {
    /// Z.
    pub impedance: Complex64,
    /// q over the flow of the cone's front, outwards: about −1 in the bass.
    pub opening_ratio: Complex64,
}

/// A free end, in radii (Levine and Schwinger 1948).
const FREE: f64 = 0.6133;

impl OpenBack {
    /// L.
    pub fn depth_m(&self) -> f64 {
        self.volume_m3 / self.area_m2
    }

    /// What the air does at a frequency.
    pub fn at(&self, hz: f64, air: &Air) -> OpenBackFlow {
        let k = TAU * hz / air.speed_of_sound_m_s();
        let ka = k * (self.area_m2 / PI).sqrt();
        let characteristic = air.density_kg_m3() * air.speed_of_sound_m_s() / self.area_m2;
        let end = Complex64::new((ka * ka / 4.0).min(1.0), FREE * ka);
        let (sine, cosine) = (k * self.depth_m()).sin_cos();
        let below = Complex64::from(cosine) + Complex64::I * end * sine;
        let impedance = characteristic * (end * cosine + Complex64::I * sine) / below;
        OpenBackFlow { impedance, opening_ratio: -below.inv() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// In the bass the tube is a mass, ρ·(L + 0.6133·a)/S, and what goes in at one end comes out at the other.
    #[test]
    fn a_short_tube_is_a_mass_in_the_bass_and_loudest_at_a_quarter_of_a_wave() {
        let air = Air::default();
        let back = OpenBack { volume_m3: 8e-3, area_m2: 0.04 };
        let flow = back.at(10.0, &air);
        let mass = air.density_kg_m3() * (0.2 + FREE * (0.04 / PI).sqrt()) / 0.04;
        // 1e-3: the square of k·L at 10 Hz.
        assert!((flow.impedance.im / (TAU * 10.0 * mass) - 1.0).abs() < 2e-3, "{flow:?}");
        assert!((flow.opening_ratio + 1.0).norm() < 4e-3);
        let quarter_hz = air.speed_of_sound_m_s() / 4.0 / (0.2 + FREE * (0.04 / PI).sqrt());
        let loud = |hz: f64| back.at(hz, &air).opening_ratio.norm();
        assert!(loud(quarter_hz) > 2.0 && loud(quarter_hz) > loud(0.7 * quarter_hz) && loud(2.0 * quarter_hz) < 1.5);
    }
}
