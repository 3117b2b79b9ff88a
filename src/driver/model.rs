//! The driver as its terminals show it.
//!
//! ```text
//! Z = R_e + Z_coil + (R_e/Q_es)/(1/Q_v + jx + 1/(jx·c(x)))        x = f/f_s,  c(x) = C(jω)/C_ms
//! 1/Q_ms = 1/Q_v + Re{1/(j·c(1))}
//! ```
//!
//! The same as `Z = R_e + Z_coil + Bl²/(R_ms + jωM_ms + 1/(jωC(jω)))` with `ω_s = 1/√(M_ms·C_ms)`,
//! `Q_es = ω_s·M_ms·R_e/Bl²`, `Q_v = ω_s·M_ms/R_v`. Q_v is what friction alone would give; Q_ms counts every mechanical
//! loss at f_s, creep included, since that is what the height of the peak shows and what data sheets mean.
//! Source: R. H. Small, "Direct-Radiator Loudspeaker System Analysis", J. Audio Eng. Soc. 20 (June 1972) 383–395.

use super::{Suspension, VoiceCoil};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A driver by its electrical parameters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriverModel {
    /// Resistance of the voice coil.
    pub re_ohm: f64,
    /// Resonance.
    pub fs_hz: f64,
    /// Mechanical Q at f_s, all losses.
    pub qms: f64,
    /// Electrical Q.
    pub qes: f64,
    /// What the voice coil adds.
    pub voice_coil: VoiceCoil,
    /// How the suspension yields.
    pub suspension: Suspension,
}

impl DriverModel {
    /// Impedance in ohm.
    pub fn impedance_ohm(&self, hz: f64) -> Complex64 {
        self.re_ohm + self.voice_coil.impedance_ohm(TAU * hz) + self.motional_ohm(hz)
    }

    /// The part that the moving cone gives back, ohm.
    pub fn motional_ohm(&self, hz: f64) -> Complex64 {
        let jx = Complex64::new(0.0, hz / self.fs_hz);
        let spring = (jx * self.suspension.compliance_ratio(hz / self.fs_hz)).inv();
        let friction = 1.0 / self.qms - self.suspension.loss_at_resonance();
        (self.re_ohm / self.qes) / (friction + jx + spring)
    }

    /// Whether its numbers can be those of a thing: both Q finite, creep within bounds, a power between resistance and inductance, a voice coil
    /// whose corner does not lie far below the resonance, where R₂ would be a part of R_e.
    pub fn is_possible(&self) -> bool {
        let creeps = match self.suspension {
            Suspension::Plain => true,
            Suspension::Creep { lambda } => lambda > 0.0 && lambda < MOST_CREEP,
        };
        let coils = match self.voice_coil {
            VoiceCoil::PowerLaw { n, .. } => n > 0.0 && n < 1.0,
            VoiceCoil::Ladder { l2_h, r2_ohm, .. } => r2_ohm > LOWEST_CORNER * TAU * self.fs_hz * l2_h,
            _ => true,
        };
        let swings = self.qms < MOST_Q && self.qes < MOST_Q;
        creeps && coils && swings
    }

    /// Q_ts, from both Q.
    pub fn qts(&self) -> f64 {
        self.qms * self.qes / (self.qms + self.qes)
    }
}

/// A voice coil's corner lies above this multiple of the resonance (ours).
const LOWEST_CORNER: f64 = 0.25;
/// No resonance of a mechanical thing in air has such a Q (ours).
const MOST_Q: f64 = 1000.0;
/// More creep than any suspension has (common practice: 0.05 to 0.2).
const MOST_CREEP: f64 = 0.6;
