//! V_as from a second curve in an airtight box of known volume.
//!
//! ```text
//! α = V_as/V_b          x = f_c/f_s          μ: how much heavier the cone is in the box, for its air
//! α = x²·(1 + μ)/(1 + 0.465·λ_c²) − s        s = Re{1/(1 − λ·log₁₀(jx))}, one without creep
//! by the damping      1 + μ = ((Q_ec/R_ec)/(Q_es/R_e))/x
//! by the resonance    μ = Δm/M_ms, Δm: the air's mass in the box less the one before, between bounds
//! ```
//!
//! Without creep the first is the textbook's `V_as = V_b·(f_c·Q_ec/(f_s·Q_es) − 1)`, which any change of air mass leaves
//! right; with μ = 0 it is the plain `V_as = V_b·((f_c/f_s)² − 1)`.
//!
//! Derivation: the suspension's stiffness at f_c and the box's add up to the fitted reactance there; λ_c: creep as fitted
//! in the box, 0.465 = (π/(2·ln 10))². The box must be airtight, unlined, and small against the wavelength.
//! Bounds of Δm are ours: in the box each side of the cone carries between half of what it carries free, as if the air
//! flowed round it, and half of what it carries in a large baffle.
//! Source: R. H. Small, "Closed-Box Loudspeaker Systems, Part I: Analysis", J. Audio Eng. Soc. 20 (December 1972) 798–808.

use super::{Mounting, Resonance, air_load_kg};
use crate::quantity::Air;
use num_complex::Complex64;

/// (π/(2·ln 10))²: the square of the imaginary part of log₁₀ j.
const LOG_J_SQUARED: f64 = 0.465_371_7;

/// α by the damping: no matter how the air's mass changed.
pub fn stiffness_ratio_by_damping(free: &Resonance, boxed: &Resonance) -> f64 {
    let rise = boxed.fs_hz / free.fs_hz;
    let damping = (boxed.qes / boxed.re_ohm) / (free.qes / free.re_ohm);
    rise * damping / widening(boxed) - suspension_share(free, rise)
}

/// A box, a cone, and what its air weighs more in the box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoxedCone {
    /// Air volume of the box.
    pub volume_m3: f64,
    /// Area that moves the air.
    pub sd_m2: f64,
    /// Mass of the air in the box less the one before.
    pub more_air_kg: f64,
}

/// α by the resonance, with what is known of the air's mass.
pub fn stiffness_ratio_by_resonance(free: &Resonance, boxed: &Resonance, cone: &BoxedCone, air: &Air) -> f64 {
    let rise = boxed.fs_hz / free.fs_hz;
    let plain = rise * rise / widening(boxed);
    // μ = Δm/M_ms, and M_ms = ρc²·S_d²/(ω_s²·α·V_b): linear in α.
    let mu_over_alpha = cone.more_air_kg / free.mass_kg(cone.volume_m3, cone.sd_m2, air);
    (plain - suspension_share(free, rise)) / (1.0 - plain * mu_over_alpha)
}

/// Mean and standard uncertainty of what the air weighs more in the box than before, kg.
pub fn more_air_in_box_kg(sd_m2: f64, before: Mounting, air: &Air) -> [f64; 2] {
    let free_kg = air_load_kg(sd_m2, Mounting::FreeAir, air);
    let middle_kg = match before {
        Mounting::FreeAir => 0.5 * free_kg,
        Mounting::Baffle => -0.5 * free_kg,
    };
    // Anything between the bounds, half of free_kg to each side, is as likely: 1/√3 of that.
    [middle_kg, 0.5 * free_kg / 3f64.sqrt()]
}

fn widening(boxed: &Resonance) -> f64 {
    1.0 + LOG_J_SQUARED * boxed.lambda * boxed.lambda
}

/// The suspension's stiffness at f_c over that at f_s.
fn suspension_share(free: &Resonance, rise: f64) -> f64 {
    (1.0 - free.lambda * Complex64::new(0.0, rise).log10()).inv().re
}

#[cfg(test)]
mod tests {
    use super::super::reference::cases;
    use super::*;

    fn at(fs_hz: f64, qes: f64) -> Resonance {
        Resonance { re_ohm: 6.0, fs_hz, qms: 4.0, qes, lambda: 0.0 }
    }

    #[test]
    fn the_published_forms_are_reproduced() {
        let mut rows = 0;
        for case in cases(&["vas_from_box", "vas_from_box_q"]) {
            let (free, boxed) =
                (at(case.input("fs_hz"), 0.4), at(case.input("fc_hz"), case.maybe("qec").unwrap_or(0.6)));
            let volume_m3 = case.input("vb_m3");
            let alpha = if case.quantity == "vas_from_box_q" {
                stiffness_ratio_by_damping(&free, &boxed)
            } else {
                let cone = BoxedCone { volume_m3, sd_m2: 0.0137, more_air_kg: 0.0 };
                stiffness_ratio_by_resonance(&free, &boxed, &cone, &Air::default())
            };
            case.assert_close(volume_m3 * alpha);
            rows += 1;
        }
        assert_eq!(rows, 2);
    }

    /// M 15 g, of which the box adds 0.4 g: both ways give the α that went in.
    #[test]
    fn air_that_comes_with_the_box_is_no_stiffness() {
        let (air, volume_m3, sd_m2, mass_kg, more_air_kg) = (Air::default(), 0.012, 0.0137, 0.015, 0.0004);
        let free = at(38.0, 0.42);
        let alpha = air.bulk_modulus_pa() * sd_m2 * sd_m2 / (free.omega().powi(2) * mass_kg * volume_m3);
        let heavier: f64 = 1.0 + more_air_kg / mass_kg;
        let rise = ((1.0 + alpha) / heavier).sqrt();
        let boxed = at(38.0 * rise, 0.42 * ((1.0 + alpha) * heavier).sqrt());
        let cone = BoxedCone { volume_m3, sd_m2, more_air_kg };
        let found =
            [stiffness_ratio_by_damping(&free, &boxed), stiffness_ratio_by_resonance(&free, &boxed, &cone, &air)];
        for found in found {
            // 1e-12: a handful of roundings.
            assert!((found / alpha - 1.0).abs() < 1e-12, "{found} {alpha}");
        }
        // Forgotten, it would have cost 3.7 % of V_as.
        let plain = stiffness_ratio_by_resonance(&free, &boxed, &BoxedCone { more_air_kg: 0.0, ..cone }, &air);
        assert!((0.03..0.05).contains(&(1.0 - plain / alpha)), "{}", plain / alpha);
    }
}
