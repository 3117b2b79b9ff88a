//! A driver by its parameters, in acoustic units.
//!
//! ```text
//! e = Z_c·i + g·U        g·i = Z_d·U + p        g = Bl/S_d
//! g² = (R_e/Q_es)·ρc²/(ω_s·V_as)        Z_d = D·ρc²/(ω_s·V_as)        D = (R_e/Q_es)/Z_motional
//! ```
//!
//! e: voltage; i: current; U: volume velocity of the cone, outwards, m³/s; p: pressure that opposes it, Pa; Z_c: impedance
//! of the blocked voice coil, Ω; Z_d: acoustic impedance of what moves. So that neither Bl nor M_ms nor S_d has to be
//! known: f_s, both Q, R_e and V_as say it all. Derivation: `ω_s·M_ms/S_d² = ρc²/(ω_s·V_as)` from `V_as = ρc²·S_d²·C_ms`
//! and `Bl² = ω_s·M_ms·R_e/Q_es`.

use crate::driver::DriverModel;
use crate::quantity::Air;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A driver known by its parameters.
#[derive(Debug, Clone, PartialEq)]
pub struct Cone {
    /// In free air.
    pub model: DriverModel,
    /// V_as.
    pub vas_m3: f64,
    /// Area that moves the air.
    pub sd_m2: Option<f64>,
    /// How far the cone may go to one side.
    pub xmax_m: Option<f64>,
    /// What the voice coil bears for long.
    pub power_w: Option<f64>,
    /// How far such drivers differ from one to the next.
    pub spread: DriverSpread,
}

/// Standard deviations between drivers of one kind, relative.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)] // each is the parameter of that name
pub struct DriverSpread {
    pub re: f64,
    pub fs: f64,
    pub qms: f64,
    pub qes: f64,
    pub vas: f64,
    /// All inductances.
    pub le: f64,
}

impl DriverSpread {
    /// Drivers of which only the data sheet is known: f_s ± 10 %, V_as ± 20 % and so on, twice these numbers (common practice).
    pub const OF_DATA_SHEET: Self = Self { re: 0.02, fs: 0.05, qms: 0.15, qes: 0.07, vas: 0.10, le: 0.10 };
    /// A driver that was measured itself: what changes until it is in its box (warmth, rest, the air that moves along).
    pub const OF_MEASURED: Self = Self { re: 0.005, fs: 0.012, qms: 0.04, qes: 0.015, vas: 0.03, le: 0.02 };

    /// All parameters alike, twice this.
    pub fn of_all(relative: f64) -> Self {
        Self { re: relative, fs: relative, qms: relative, qes: relative, vas: relative, le: relative }
    }
}

/// A cone at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ConeAt {
    /// Z_c.
    pub blocked_ohm: Complex64,
    /// g.
    pub force: f64,
    /// Z_d.
    pub moving: Complex64,
}

impl Cone {
    pub(super) fn at(&self, hz: f64, air: &Air) -> ConeAt {
        let per_mass = air.bulk_modulus_pa() / (TAU * self.model.fs_hz * self.vas_m3);
        let motional = self.model.motional_ohm(hz);
        let braking = self.model.re_ohm / self.model.qes;
        let blocked_ohm = self.model.re_ohm + self.model.voice_coil.impedance_ohm(TAU * hz);
        ConeAt { blocked_ohm, force: (braking * per_mass).sqrt(), moving: braking / motional * per_mass }
    }

    /// Radius of a piston of its area; zero where that is not known.
    pub fn radius_m(&self) -> f64 {
        self.sd_m2.map_or(0.0, super::radius_of_m)
    }
}
