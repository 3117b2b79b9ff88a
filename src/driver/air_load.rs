//! The air that moves with a cone, as a mass.
//!
//! ```text
//! free air  m = (8/3)·ρ·a³        in a large baffle  m = (16/3)·ρ·a³        a = √(S_d/π)
//! ```
//!
//! m: both sides of the cone together, kg; ρ: density of the air, kg/m³; S_d: area that moves the air, m². Holds below
//! `ka = 1`, which is far above any resonance in the bass. A mass found by measurement contains it, and so does M_ms on
//! a data sheet; M_md is without.
//! Source: L. L. Beranek, T. J. Mellow, "Acoustics: Sound Fields and Transducers" (2012), chapters 4 and 6, as quoted in
//! public lecture notes.

use crate::quantity::Air;
use std::f64::consts::PI;

/// How the driver stood when its free-air curve was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Mounting {
    /// Held free, no baffle.
    #[default]
    FreeAir,
    /// In a baffle large against the cone.
    Baffle,
}

/// Mass of the air that moves with a cone of this area, both sides, kg.
pub fn air_load_kg(sd_m2: f64, mounting: Mounting, air: &Air) -> f64 {
    let radius_m = (sd_m2 / PI).sqrt();
    let free_kg = 8.0 / 3.0 * air.density_kg_m3() * radius_m.powi(3);
    match mounting {
        Mounting::FreeAir => free_kg,
        Mounting::Baffle => 2.0 * free_kg,
    }
}

#[cfg(test)]
mod tests {
    use super::super::reference::{air_of, cases};
    use super::*;

    #[test]
    fn the_published_air_masses_are_reproduced() {
        let mut rows = 0;
        for case in cases(&["air_load_mass_baffle", "air_load_mass_free"]) {
            let mounting = if case.quantity == "air_load_mass_free" { Mounting::FreeAir } else { Mounting::Baffle };
            let sd_m2 = PI * case.input("a_m").powi(2);
            case.assert_close(air_load_kg(sd_m2, mounting, &air_of(case.input("rho"), 343.2)));
            rows += 1;
        }
        assert_eq!(rows, 3);
    }
}
