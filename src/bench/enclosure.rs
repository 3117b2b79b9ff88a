//! The box behind a driver: its air, what of it leaks or is absorbed, and what else yields to its pressure.
//!
//! ```text
//!            S_d·v                 R_AB
//!   cone ──────────────┬─────────┬──────/\/\/── C_AB
//!                      R_AL      branches: M, R, 1/C in series, each
//! C_AB = g·V/(ρ·c²)
//! vent                M = ρ·(L + k·a)/(N·π·a²)   R = ω_b·M/Q_P                1/C = 0
//! passive radiator    M = m/S²                   R = ω_p·M/Q_mp               1/C = ω_p²·M
//! wall that rings     C = share·C_AB             M = 1/(ω_w²·C)               R = ω_w·M/Q
//! f_b = √((1/C + 1/C_AB)/M)/(2π)
//! ```
//!
//! V: volume of the air, m³; g: how much more it yields for its filling, 1 to 1.4 (isothermal). L, a, N: length, inner
//! radius, number of tubes; k = 0.85 + 0.61: one end flush, one free. m, S, f_p, Q_mp: mass, area, own resonance and Q
//! of a passive radiator. M: kg/m⁴.
//!
//! Sources: R. H. Small, "Vented-Box Loudspeaker Systems", J. Audio Eng. Soc. 21 (1973); "Passive-Radiator Loudspeaker
//! Systems", 22 (1974); ends of tubes: Rayleigh; H. Levine, J. Schwinger, Physical Review 73 (1948) 383–406. A wall as
//! one resonance beside the air: ours.

use super::air::{AIR_DENSITY_KG_M3, SPEED_OF_SOUND_M_S};
use super::error::{BenchError, check};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::{PI, TAU};

/// The box behind a driver.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Enclosure {
    /// Volume of the air.
    pub volume_m3: f64,
    /// Q of the leaks at the box's own resonance; absent: airtight.
    pub ql: Option<f64>,
    /// Q of the absorption there; absent: none.
    pub qa: Option<f64>,
    /// How much more the air yields for its filling, g; one: empty.
    #[serde(default = "empty", skip_serializing_if = "is_empty")]
    pub filling_ratio: f64,
    /// What lets air out on purpose.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub opening: Option<Opening>,
    /// A wall that rings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wall: Option<RingingWall>,
}

/// What lets air out of a box on purpose.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Opening {
    /// Tubes, one end flush with the wall, one free.
    Vent {
        /// Inner diameter.
        diameter_m: f64,
        /// Length.
        length_m: f64,
        /// How many.
        count: u32,
        /// Q of their losses at the tuning; absent: none.
        qp: Option<f64>,
    },
    /// A cone without a motor.
    PassiveRadiator {
        /// Its mass with its air.
        mass_kg: f64,
        /// Its area.
        area_m2: f64,
        /// Its resonance without the box.
        fp_hz: f64,
        /// Its Q there.
        qmp: f64,
    },
}

/// A wall that rings in one way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RingingWall {
    /// Where.
    pub hz: f64,
    /// Its Q.
    pub q: f64,
    /// How much it yields below that, as a share of the air.
    pub share: f64,
}

/// Something that yields to the box's pressure: mass, resistance and spring in series, acoustic units.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Branch {
    /// M, kg/m⁴.
    pub mass: f64,
    /// R, Pa·s/m³.
    pub resistance: f64,
    /// 1/C, Pa/m³.
    pub elastance: f64,
}

const FLUSH: f64 = 8.0 / (3.0 * PI);
const FREE: f64 = 0.6133;

fn empty() -> f64 {
    1.0
}

#[allow(clippy::trivially_copy_pass_by_ref)] // as serde wants it
fn is_empty(ratio: &f64) -> bool {
    *ratio == empty()
}

impl Enclosure {
    /// Airtight, empty, without losses.
    pub const fn closed(volume_m3: f64) -> Self {
        Self { volume_m3, ql: None, qa: None, filling_ratio: 1.0, opening: None, wall: None }
    }

    /// What the air's volume seems to be, g·V.
    pub fn air_m3(&self) -> f64 {
        self.volume_m3 * self.filling_ratio
    }

    /// C_AB, m³/Pa.
    pub fn compliance_m3_pa(&self) -> f64 {
        self.air_m3() / (AIR_DENSITY_KG_M3 * SPEED_OF_SOUND_M_S.powi(2))
    }

    /// f_b; none for a closed box.
    pub fn tuning_hz(&self) -> Option<f64> {
        let branch = self.opening.map(|opening| opening.branch(None))?;
        Some(((branch.elastance + 1.0 / self.compliance_m3_pa()) / branch.mass).sqrt() / TAU)
    }

    /// Opening and wall, as far as they are there.
    pub(super) fn branches(&self) -> [Option<Branch>; 2] {
        let wall = self.wall.map(|wall| wall.branch(self.compliance_m3_pa()));
        [self.opening.map(|opening| opening.branch(self.tuning_hz())), wall]
    }

    pub(super) fn check(&self) -> Result<(), BenchError> {
        check("box volume in m³", self.volume_m3, [1e-7, 10.0])?;
        check("filling of the box, a ratio", self.filling_ratio, [0.5, 2.0])?;
        let losses = [self.ql, self.qa].into_iter().flatten();
        losses.into_iter().try_for_each(|q| check("loss Q of the box", q, [0.5, 1e6]))?;
        self.opening.map_or(Ok(()), Opening::check)?;
        let Some(wall) = self.wall else { return Ok(()) };
        check("resonance of a wall in Hz", wall.hz, [20.0, 5000.0])?;
        check("Q of a wall", wall.q, [1.0, 1000.0])?;
        check("yielding of a wall, a share of the air", wall.share, [1e-6, 1.0])
    }
}

impl Opening {
    /// With the losses of a vent tuned to this; without a tuning none.
    fn branch(self, tuning_hz: Option<f64>) -> Branch {
        match self {
            Self::Vent { diameter_m, length_m, count, qp } => {
                let radius_m = 0.5 * diameter_m;
                let area = f64::from(count) * PI * radius_m * radius_m;
                let mass = AIR_DENSITY_KG_M3 * (length_m + (FLUSH + FREE) * radius_m) / area;
                let resistance = qp.zip(tuning_hz).map_or(0.0, |(qp, hz)| TAU * hz * mass / qp);
                Branch { mass, resistance, elastance: 0.0 }
            }
            Self::PassiveRadiator { mass_kg, area_m2, fp_hz, qmp } => {
                let (mass, omega) = (mass_kg / (area_m2 * area_m2), TAU * fp_hz);
                Branch { mass, resistance: omega * mass / qmp, elastance: omega * omega * mass }
            }
        }
    }

    fn check(self) -> Result<(), BenchError> {
        match self {
            Self::Vent { diameter_m, length_m, count, qp } => {
                check("diameter of a vent in m", diameter_m, [1e-3, 1.0])?;
                check("length of a vent in m", length_m, [0.0, 5.0])?;
                check("number of vents", f64::from(count), [1.0, 100.0])?;
                check("loss Q of a vent", qp.unwrap_or(1.0), [0.5, 1e6])
            }
            Self::PassiveRadiator { mass_kg, area_m2, fp_hz, qmp } => {
                check("mass of a passive radiator in kg", mass_kg, [1e-4, 10.0])?;
                check("area of a passive radiator in m²", area_m2, [1e-4, 1.0])?;
                check("resonance of a passive radiator in Hz", fp_hz, [1.0, 500.0])?;
                check("Q of a passive radiator", qmp, [0.5, 1000.0])
            }
        }
    }
}

impl RingingWall {
    fn branch(self, air_m3_pa: f64) -> Branch {
        let omega = TAU * self.hz;
        let elastance = 1.0 / (self.share * air_m3_pa);
        let mass = elastance / (omega * omega);
        Branch { mass, resistance: omega * mass / self.q, elastance }
    }
}

impl Branch {
    /// 1/(jωM + R + 1/(jωC)).
    pub(super) fn admittance(self, s: Complex64) -> Complex64 {
        (s * self.mass + self.resistance + self.elastance / s).inv()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::reference::rows;

    #[test]
    fn a_box_is_tuned_where_helmholtz_and_small_have_it() {
        let tuned_hz = |volume_m3, opening| {
            Enclosure { opening: Some(opening), ..Enclosure::closed(volume_m3) }.tuning_hz().unwrap()
        };
        for row in rows("port_fb") {
            let (diameter_m, length_m) = (2.0 * row.input("a_m"), row.input("lp_m"));
            let vent = Opening::Vent { diameter_m, length_m, count: row.input("n") as u32, qp: None };
            let found_hz = tuned_hz(row.input("vb_m3"), vent);
            assert!((found_hz / row.expected - 1.0).abs() < row.rel_tol, "{found_hz} {}", row.expected);
        }
        for row in rows("pr_fb") {
            // The mass that gives this V_ap = ρ·c²·S²·C at f_p.
            let (area_m2, fp_hz) = (0.02, row.input("fp_hz"));
            let stiffness_n_m = AIR_DENSITY_KG_M3 * (SPEED_OF_SOUND_M_S * area_m2).powi(2) / row.input("vap_m3");
            let mass_kg = stiffness_n_m / (TAU * fp_hz).powi(2);
            let found_hz = tuned_hz(row.input("vb_m3"), Opening::PassiveRadiator { mass_kg, area_m2, fp_hz, qmp: 5.0 });
            assert!((found_hz / row.expected - 1.0).abs() < row.rel_tol, "{found_hz} {}", row.expected);
        }
    }
}
