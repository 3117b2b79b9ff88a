//! A moving-coil driver whose parameters change with its excursion.
//!
//! ```text
//! Bl(x) = Bl₀·b(x)        K(x) = k(x)/C_ms        L_e(x) = L_e0·λ(x)        L₂(x) = L₂₀·λ(x)
//! b, k, λ = 1 + a₁·x + a₂·x² + a₃·x³ + a₄·x⁴        for |x| ≤ x_limit, constant beyond
//! ```
//!
//! x: excursion, m, positive outwards. Bl: force factor, T·m. K: stiffness, N/m. C_ms: compliance at rest, m/N.
//! L_e: voice-coil inductance, H. L₂ ∥ R₂: its lossy part (eddy currents), H and Ω; R₂ does not depend on x.
//! Small signals: `f_s = 1/(2π·√(M_ms·C_ms))`, `Q_ms = 2π·f_s·M_ms/R_ms`, `Q_es = 2π·f_s·M_ms·R_e/Bl₀²`,
//! `V_as = ρ·c²·S_d²·C_ms`.
//!
//! Holds while the cone moves as a piston and the suspension has no memory (no creep).
//! Sources: W. Klippel, "Loudspeaker Nonlinearities – Causes, Parameters, Symptoms", J. Audio Eng. Soc. 54 (October
//! 2006) 907–939 (the curves and what they do); R. H. Small, "Direct-Radiator Loudspeaker System Analysis",
//! J. Audio Eng. Soc. 20 (June 1972) 383–395 (small signals).

use super::air::{AIR_DENSITY_KG_M3, SPEED_OF_SOUND_M_S};
use super::error::{BenchError, check};
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// A driver: small-signal parameters and how three of them change with excursion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Driver {
    /// Resistance of the voice coil.
    pub re_ohm: f64,
    /// Inductance of the voice coil at rest.
    pub le_h: f64,
    /// The lossy part of the inductance at rest; absent: none.
    pub lossy: Option<LossyInductance>,
    /// Force factor at rest.
    pub bl_tm: f64,
    /// Moving mass with its air load.
    pub mms_kg: f64,
    /// Mechanical resistance.
    pub rms_kg_s: f64,
    /// Compliance of the suspension at rest.
    pub cms_m_n: f64,
    /// Area of the piston.
    pub sd_m2: f64,
    /// b(x): force factor over its value at rest.
    pub force_factor: Bend,
    /// k(x): stiffness over its value at rest.
    pub stiffness: Bend,
    /// λ(x): inductance over its value at rest.
    pub inductance: Bend,
    /// The excursion up to which the three curves hold.
    pub limit_m: f64,
}

/// An inductance in parallel with a resistance: the part of a voice coil that eddy currents damp.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LossyInductance {
    /// L₂.
    pub l2_h: f64,
    /// R₂.
    pub r2_ohm: f64,
}

/// The coefficients a₁ to a₄ of `1 + a₁·x + a₂·x² + a₃·x³ + a₄·x⁴`, in 1/m, 1/m², 1/m³, 1/m⁴.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Bend(pub [f64; 4]);

impl Bend {
    /// No change with excursion.
    pub const STRAIGHT: Self = Self([0.0; 4]);

    /// The polynomial's value.
    #[inline]
    pub fn at(&self, x_m: f64) -> f64 {
        let [a1, a2, a3, a4] = self.0;
        1.0 + x_m * (a1 + x_m * (a2 + x_m * (a3 + x_m * a4)))
    }

    /// The polynomial's slope, 1/m.
    #[inline]
    pub fn slope_at(&self, x_m: f64) -> f64 {
        let [a1, a2, a3, a4] = self.0;
        a1 + x_m * (2.0 * a2 + x_m * (3.0 * a3 + x_m * 4.0 * a4))
    }
}

impl Driver {
    /// Resonance in free air.
    pub fn fs_hz(&self) -> f64 {
        1.0 / (TAU * (self.mms_kg * self.cms_m_n).sqrt())
    }

    /// Mechanical Q.
    pub fn qms(&self) -> f64 {
        TAU * self.fs_hz() * self.mms_kg / self.rms_kg_s
    }

    /// Electrical Q.
    pub fn qes(&self) -> f64 {
        TAU * self.fs_hz() * self.mms_kg * self.re_ohm / (self.bl_tm * self.bl_tm)
    }

    /// Total Q.
    pub fn qts(&self) -> f64 {
        1.0 / (1.0 / self.qms() + 1.0 / self.qes())
    }

    /// The volume of air that is as stiff as the suspension.
    pub fn vas_m3(&self) -> f64 {
        AIR_DENSITY_KG_M3 * SPEED_OF_SOUND_M_S.powi(2) * self.sd_m2.powi(2) * self.cms_m_n
    }

    /// The same driver with curves that don't bend: what it does to very small signals, at any level.
    pub fn straightened(&self) -> Self {
        let straight = Bend::STRAIGHT;
        Self { force_factor: straight, stiffness: straight, inductance: straight, ..self.clone() }
    }

    /// Refuses values without physical sense and curves that reach zero within their limit.
    pub(super) fn check(&self, way: &str) -> Result<(), BenchError> {
        check("voice-coil resistance in ohm", self.re_ohm, [0.1, 1000.0])?;
        check("voice-coil inductance in H", self.le_h, [1e-7, 1.0])?;
        if let Some(lossy) = self.lossy {
            check("lossy inductance in H", lossy.l2_h, [1e-7, 1.0])?;
            check("resistance across the lossy inductance in ohm", lossy.r2_ohm, [1e-3, 1e4])?;
        }
        check("force factor in T·m", self.bl_tm, [0.01, 100.0])?;
        check("moving mass in kg", self.mms_kg, [1e-6, 10.0])?;
        check("mechanical resistance in kg/s", self.rms_kg_s, [1e-4, 1000.0])?;
        check("compliance in m/N", self.cms_m_n, [1e-7, 1.0])?;
        check("piston area in m²", self.sd_m2, [1e-6, 1.0])?;
        check("excursion limit of the curves in m", self.limit_m, [1e-6, 0.1])?;
        let curves = [
            ("force factor", &self.force_factor),
            ("stiffness", &self.stiffness),
            ("voice-coil inductance", &self.inductance),
        ];
        for (what, curve) in curves {
            self.check_curve(what, curve, way)?;
        }
        Ok(())
    }

    fn check_curve(&self, what: &'static str, curve: &Bend, way: &str) -> Result<(), BenchError> {
        // A polynomial of order four cannot dip unseen between points this close for coefficients in use.
        let steps = 200;
        for step in -steps..=steps {
            let x_m = self.limit_m * f64::from(step) / f64::from(steps);
            let found = curve.at(x_m);
            if !(found > 0.0 && found.is_finite()) {
                return Err(BenchError::CurveBelowZero { what, way: way.to_owned(), found, at_mm: x_m * 1e3 });
            }
        }
        Ok(())
    }
}
