//! The hole that a leak is.
//!
//! ```text
//! R = Q_L·ρc²/(ω_c·V)
//! round hole   R = 128·η·t/(π·d⁴) + 24·η/d³ + (4/(3π))·ρ·V̂/(C_d²·A²)        V̂ = p̂/R,  A = π·d²/4
//! seam         R = 12·η·t/(w³·l)
//! ```
//!
//! R: acoustic resistance of the leak, Pa·s/m³; t: thickness of the wall, m; d: diameter; w, l: width and length of a
//! seam; η: viscosity of air, Pa·s; p̂: amplitude of the pressure in the box, Pa; C_d = 0.61: discharge coefficient of
//! a sharp edge. First the friction along the hole's wall (Hagen and Poiseuille), then that at its mouths (Sampson),
//! then the jet behind it, `Δp = ρv²/(2C_d²)`, as the resistance that a sine loses as much in: ⟨|sin|³⟩/⟨sin²⟩ =
//! 8/(3π).
//!
//! Holds for slow flow, in narrow holes: wider than a few times √(2η/(ρω)) the air's mass holds it back too
//! ([`Hole::mass_over_friction`]), and the diameter is no more than an order of size. Sources: R. A. Sampson,
//! Philosophical Transactions A 182 (1891) 449–518; Z. Dagan, S. Weinbaum, R. Pfeffer, Journal of Fluid Mechanics 115
//! (1982) 505–523 (the sum, within 1 %); C_d: handbooks of hydraulics.

use crate::quantity::Air;
use std::f64::consts::{PI, TAU};

/// A round hole through a wall that lets through as much as a leak does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hole {
    /// Its diameter.
    pub diameter_m: f64,
    /// What holds the air back in it.
    pub flow: HoleFlow,
    /// Reactance of the air in it over the resistance; above one it is more a small vent than a leak.
    pub mass_over_friction: f64,
}

/// What holds the air back in a hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HoleFlow {
    /// Friction.
    Laminar,
    /// The jet behind it.
    Orifice,
}

impl HoleFlow {
    /// Its name in documents.
    pub fn name(self) -> &'static str {
        match self {
            Self::Laminar => "laminar",
            Self::Orifice => "orifice",
        }
    }
}

/// A leak as a wall sees it; SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeakPath {
    /// Acoustic resistance, Pa·s/m³.
    pub resistance_pa_s_m3: f64,
    /// How thick the wall is.
    pub wall_m: f64,
    /// Where the resistance holds.
    pub hz: f64,
    /// Amplitude of the pressure in the box; absent where it is not known.
    pub pressure_pa: Option<f64>,
}

/// C_d.
const DISCHARGE: f64 = 0.61;
/// Holes between which is looked: a pore, and more than any hole that is overlooked.
const DIAMETERS_M: [f64; 2] = [1e-6, 0.2];

/// Acoustic resistance of the leak with this Q_L in a box of this volume and resonance, Pa·s/m³.
pub fn leak_resistance_pa_s_m3(ql: f64, volume_m3: f64, hz: f64, air: &Air) -> f64 {
    ql * air.bulk_modulus_pa() / (TAU * hz * volume_m3)
}

/// The round hole that lets through as much; `None` where there is none of that kind.
pub fn equivalent_hole(path: &LeakPath, air: &Air) -> Option<Hole> {
    let parts = |diameter_m: f64| {
        let area = PI / 4.0 * diameter_m * diameter_m;
        let eta = air.viscosity_pa_s();
        let friction = 128.0 * eta * path.wall_m / (PI * diameter_m.powi(4)) + 24.0 * eta / diameter_m.powi(3);
        let flow = path.pressure_pa.unwrap_or(0.0) / path.resistance_pa_s_m3;
        let jet = 4.0 / (3.0 * PI) * air.density_kg_m3() * flow / (DISCHARGE * area).powi(2);
        (friction, jet)
    };
    let excess = |diameter_m: f64| {
        let (friction, jet) = parts(diameter_m);
        friction + jet - path.resistance_pa_s_m3
    };
    let [mut narrow, mut wide] = DIAMETERS_M;
    if !(excess(narrow) > 0.0 && excess(wide) < 0.0) {
        return None;
    }
    // Sixty halvings of five decades leave rounding.
    for _ in 0..60 {
        let middle = (narrow * wide).sqrt();
        if excess(middle) > 0.0 { narrow = middle } else { wide = middle }
    }
    let diameter_m = (narrow * wide).sqrt();
    let (friction, jet) = parts(diameter_m);
    // In a narrow tube a third more than its air counts; at each mouth 0.85 radii move along.
    let length_m = 4.0 / 3.0 * path.wall_m + 2.0 * 0.85 * diameter_m / 2.0;
    let reactance = TAU * path.hz * air.density_kg_m3() * length_m / (PI / 4.0 * diameter_m * diameter_m);
    Some(Hole {
        diameter_m,
        flow: if friction >= jet { HoleFlow::Laminar } else { HoleFlow::Orifice },
        mass_over_friction: reactance / path.resistance_pa_s_m3,
    })
}

/// Width of a seam of this length that lets through as much, m.
pub fn equivalent_seam_m(path: &LeakPath, length_m: f64, air: &Air) -> f64 {
    (12.0 * air.viscosity_pa_s() * path.wall_m / (path.resistance_pa_s_m3 * length_m)).cbrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn path(resistance_pa_s_m3: f64, wall_m: f64, pressure_pa: Option<f64>) -> LeakPath {
        LeakPath { resistance_pa_s_m3, wall_m, hz: 60.0, pressure_pa }
    }

    /// Hagen and Poiseuille's law, `V̇ = π·d⁴·Δp/(128·η·t)`, for a tube long against its diameter; its ends add
    /// 3π·d/(16·t).
    #[test]
    fn a_long_narrow_hole_is_a_capillary() {
        let air = Air::default();
        let (d, t): (f64, f64) = (0.5e-3, 50e-3);
        let resistance = 128.0 * air.viscosity_pa_s() * t / (PI * d.powi(4)) * (1.0 + 3.0 * PI / 16.0 * d / t);
        let hole = equivalent_hole(&path(resistance, t, None), &air).unwrap();
        // 1e-9: sixty halvings.
        assert!((hole.diameter_m / d - 1.0).abs() < 1e-9 && hole.flow == HoleFlow::Laminar, "{hole:?}");
    }

    /// A sharp hole passes `V̇ = C_d·A·√(2Δp/ρ)`; a sine of flow loses 8/(3π) of what its amplitude would lose steadily.
    #[test]
    fn at_high_pressure_it_is_an_orifice() {
        let air = Air::default();
        let (d, p): (f64, f64) = (4e-3, 100.0);
        let steady = DISCHARGE * PI / 4.0 * d * d * (2.0 * p / air.density_kg_m3()).sqrt();
        // R·V̂ = p and R = (8/(3π))·p_steady(V̂)/V̂: V̂ is larger than the steady flow by √(3π/8).
        let flow = steady * (3.0 * PI / 8.0).sqrt();
        let hole = equivalent_hole(&path(p / flow, 1e-4, Some(p)), &air).unwrap();
        // 2 %: friction's part in a hole of 4 mm.
        assert!((hole.diameter_m / d - 1.0).abs() < 0.02 && hole.flow == HoleFlow::Orifice, "{hole:?}");
    }

    #[test]
    fn a_seam_of_a_tenth_of_a_millimetre_leaks_as_flow_between_plates() {
        let air = Air::default();
        // V̇ = w³·l·Δp/(12·η·t).
        let resistance = 12.0 * air.viscosity_pa_s() * 6e-3 / (1e-4f64.powi(3) * 0.2);
        assert!((equivalent_seam_m(&path(resistance, 6e-3, None), 0.2, &air) / 1e-4 - 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_no_hole_can_be_has_none() {
        assert_eq!(equivalent_hole(&path(1e-3, 5e-3, None), &Air::default()), None);
        assert_eq!(equivalent_hole(&path(f64::NAN, 5e-3, None), &Air::default()), None);
    }
}
