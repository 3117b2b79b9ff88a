//! A driver in its box, as its terminals and the air in front of it see it: closed, vented or with a passive radiator.
//!
//! ```text
//! Z = R_e + Z_coil + (R_0/Q_es)/D        D = φ/Q_v + jxμ + κ/(jx·c(x)) + z_b        x = f/f_s
//! 1/z_b = 1/(α/(jx) + α·d_A/x_r) + d_L·x_r/α + 1/z_o
//! vent                z_o = (α/h²)·(jx + h·d_P)                        h = f_b/f_s
//! passive radiator    z_o = m·(jx + h·d_P + x_p²/(jx))                 x_p = f_p/f_s,  m = α/(h² − x_p²)
//! ```
//!
//! R_0, f_s, Q_v, Q_es, c: the driver in free air (`driver/model.rs`). φ, μ, κ: friction, moving mass and stiffness in
//! the box over those in free air; R_e: resistance now. α: stiffness of the box's air over that of the suspension in
//! free air, `V_as/V_ab`. d = 1/Q: loss factors of leakage (across the box's compliance), absorption (in series with
//! it) and opening, taken at x_r: the box's own resonance, `√((κ + α)/μ)` for a closed box and h for an open one. f_p:
//! resonance of the passive radiator by itself; f_b: with the box's air. z_b, z_o, D: mechanical impedances over
//! ω_s·M_ms.
//!
//! Holds for small signals while the box is small against the wavelength.
//!
//! Sources: R. H. Small, "Closed-Box Loudspeaker Systems, Part I: Analysis", J. Audio Eng. Soc. 20 (December 1972)
//! 798–808; "Vented-Box Loudspeaker Systems, Part I", 21 (June 1973) 363–372; "Passive-Radiator Loudspeaker Systems,
//! Part I", 22 (October 1974) 592–601 (circuits). The normalisation is ours.

use crate::driver::DriverModel;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A driver in its box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoxedDriver {
    /// The driver in free air; its R_e is that of R_0.
    pub driver: DriverModel,
    /// What is different about it in the box.
    pub moved: Moved,
    /// The box.
    pub enclosure: Enclosure,
}

/// What of a driver in its box differs from free air; all ratios, in the box over free air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moved {
    /// Resistance of the voice coil: warmth.
    pub resistance_ratio: f64,
    /// Moving mass μ: the air that moves along.
    pub mass_ratio: f64,
    /// Stiffness of the suspension κ: warmth and rest.
    pub stiffness_ratio: f64,
    /// Friction φ.
    pub friction_ratio: f64,
}

impl Moved {
    /// As in free air.
    pub const NOTHING: Self =
        Self { resistance_ratio: 1.0, mass_ratio: 1.0, stiffness_ratio: 1.0, friction_ratio: 1.0 };
}

/// A box by what its air does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Enclosure {
    /// α = V_as/V_ab.
    pub alpha: f64,
    /// What else there is beside the driver.
    pub opening: Opening,
    /// What it loses.
    pub losses: LossFactors,
}

/// What a box has beside the driver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Opening {
    /// Nothing: closed.
    None,
    /// A vent that tunes the box.
    Vent {
        /// Tuning.
        fb_hz: f64,
    },
    /// A passive radiator.
    PassiveRadiator {
        /// Tuning of the box with it.
        fb_hz: f64,
        /// Its own resonance, without the box.
        fp_hz: f64,
    },
}

/// Loss factors 1/Q; zero: none.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct LossFactors {
    /// 1/Q_L: air that leaks out.
    pub leakage: f64,
    /// 1/Q_A: what the air loses in filling and at the walls.
    pub absorption: f64,
    /// 1/Q_P: vent or passive radiator.
    pub opening: f64,
}

/// Complex amplitudes at one frequency for one volt at the terminals, a common factor left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flows {
    /// Volume velocity of the cone, outwards at its front.
    pub cone: Complex64,
    /// Volume velocity of the opening, outwards; zero without one.
    pub opening: Complex64,
    /// Volume velocity of the leak, outwards.
    pub leak: Complex64,
}

impl BoxedDriver {
    /// Impedance in ohm.
    pub fn impedance_ohm(&self, hz: f64) -> Complex64 {
        let driver = &self.driver;
        let held = driver.re_ohm * self.moved.resistance_ratio + driver.voice_coil.impedance_ohm(TAU * hz);
        held + driver.re_ohm / driver.qes / self.mechanical(hz)
    }

    /// By how much the impedance changes for each relative change of the suspension's compliance at `hz`: ∂Z/∂ln c, ohm.
    pub fn compliance_slope_ohm(&self, hz: f64) -> Complex64 {
        let mechanical = self.mechanical(hz);
        self.driver.re_ohm / self.driver.qes * self.spring(hz) / (mechanical * mechanical)
    }

    /// What leaves the box, for one volt at the terminals: proportions are right, the unit is arbitrary.
    pub fn flows(&self, hz: f64) -> Flows {
        let cone = 1.0 / (self.mechanical(hz) * self.impedance_ohm(hz));
        // The cone's rear pushes into the box what its front draws in; pressure in the box per flow of the cone: −z_b.
        let jx = Complex64::new(0.0, hz / self.driver.fs_hz);
        let opening = self.opening_impedance(jx).map_or(Complex64::ZERO, |z| -cone / (1.0 + z * self.closed(jx)));
        let losses = self.enclosure.losses;
        let leak = -cone * self.box_impedance(hz) * (losses.leakage * self.reference_ratio() / self.enclosure.alpha);
        Flows { cone, opening, leak }
    }

    /// x_r·f_s: where the loss factors are taken. f_c without losses for a closed box, f_b for an open one.
    pub fn reference_hz(&self) -> f64 {
        self.reference_ratio() * self.driver.fs_hz
    }

    /// D: mechanical impedance of everything that moves, over ω_s·M_ms.
    pub fn mechanical(&self, hz: f64) -> Complex64 {
        let (driver, moved) = (&self.driver, &self.moved);
        let jx = Complex64::new(0.0, hz / driver.fs_hz);
        let friction = moved.friction_ratio * (1.0 / driver.qms - driver.suspension.loss_at_resonance());
        friction + jx * moved.mass_ratio + self.spring(hz) + self.box_impedance(hz)
    }

    /// κ/(jx·c).
    fn spring(&self, hz: f64) -> Complex64 {
        let jx = Complex64::new(0.0, hz / self.driver.fs_hz);
        self.moved.stiffness_ratio / (jx * self.driver.suspension.compliance_ratio(jx.im))
    }

    /// z_b: what the box adds to that, written so that an opening without impedance leaves none.
    pub fn box_impedance(&self, hz: f64) -> Complex64 {
        let jx = Complex64::new(0.0, hz / self.driver.fs_hz);
        let closed = self.closed(jx);
        self.opening_impedance(jx).map_or_else(|| closed.inv(), |z| z / (1.0 + z * closed))
    }

    /// 1/z_b of the box when its opening is shut.
    fn closed(&self, jx: Complex64) -> Complex64 {
        let Enclosure { alpha, losses, .. } = self.enclosure;
        let reference = self.reference_ratio();
        (alpha / jx + alpha * losses.absorption / reference).inv() + losses.leakage * reference / alpha
    }

    /// z_o; none for a closed box.
    fn opening_impedance(&self, jx: Complex64) -> Option<Complex64> {
        let Enclosure { alpha, losses, opening } = self.enclosure;
        let (tuning, own) = match opening {
            Opening::None => return None,
            Opening::Vent { fb_hz } => (fb_hz / self.driver.fs_hz, 0.0),
            Opening::PassiveRadiator { fb_hz, fp_hz } => (fb_hz / self.driver.fs_hz, fp_hz / self.driver.fs_hz),
        };
        let mass = alpha / (tuning * tuning - own * own);
        Some(mass * (jx + tuning * losses.opening + own * own / jx))
    }

    /// x_r.
    fn reference_ratio(&self) -> f64 {
        match self.enclosure.opening {
            Opening::None => {
                ((self.moved.stiffness_ratio + self.enclosure.alpha) / self.moved.mass_ratio).max(0.0).sqrt()
            }
            Opening::Vent { fb_hz } | Opening::PassiveRadiator { fb_hz, .. } => fb_hz / self.driver.fs_hz,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driver::{Suspension, VoiceCoil};

    /// Set A of `tests/reference/box_model_curves.csv` with its box.
    fn set_a(alpha: f64, opening: Opening, losses: LossFactors) -> BoxedDriver {
        let driver = DriverModel {
            re_ohm: 5.6,
            fs_hz: 38.0,
            qms: 4.2,
            qes: 0.42,
            voice_coil: VoiceCoil::PowerLaw { k: 0.0055, n: 0.68 },
            suspension: Suspension::Plain,
        };
        BoxedDriver { driver, moved: Moved::NOTHING, enclosure: Enclosure { alpha, opening, losses } }
    }

    #[test]
    fn the_slope_along_compliance_is_that_of_a_softer_suspension() {
        let boxed = set_a(1.5, Opening::None, LossFactors::default());
        let softer = |by: f64| {
            let moved = Moved { stiffness_ratio: 1.0 / (1.0 + by), ..Moved::NOTHING };
            BoxedDriver { moved, ..boxed }.impedance_ohm(50.0)
        };
        let difference = (softer(1e-5) - softer(-1e-5)) / 2e-5;
        // 1e-8: the square of the step.
        assert!((boxed.compliance_slope_ohm(50.0) / difference - 1.0).norm() < 1e-8);
    }

    #[test]
    fn the_tabulated_impedances_and_levels_are_reproduced() {
        let leaky = LossFactors { leakage: 1.0 / 7.0, ..LossFactors::default() };
        let closed = set_a(32.0 / 12.0, Opening::None, LossFactors::default());
        let vented = set_a(32.0 / 20.0, Opening::Vent { fb_hz: 42.0 }, leaky);
        let lines = include_str!("../../tests/reference/box_model_curves.csv").lines();
        let mut first_offsets_db = None;
        let mut rows = 0;
        for line in lines.filter(|line| !line.starts_with('#')).skip(1) {
            let fields: Vec<f64> = line.split(',').filter_map(|field| field.parse().ok()).collect();
            let hz = fields[0];
            let expected = [Complex64::new(fields[1], fields[2]), Complex64::new(fields[4], fields[5])];
            for (found, expected) in [closed.impedance_ohm(hz), vented.impedance_ohm(hz)].into_iter().zip(expected) {
                // 1e-6: seven digits and more are printed, and V_as of the set has ten.
                assert!((found / expected - 1.0).norm() < 1e-6, "{hz} Hz: {found}, expected {expected}");
            }
            // Sound far away: the sum of the flows' accelerations; the table's absolute level is a constant.
            let level_db = |boxed: &BoxedDriver| {
                let flows = boxed.flows(hz);
                20.0 * (hz * (flows.cone + flows.opening + flows.leak).norm()).log10()
            };
            let offsets_db = [level_db(&closed) - fields[3], level_db(&vented) - fields[6]];
            let first = *first_offsets_db.get_or_insert(offsets_db);
            // 2e-6 dB: six decimals are printed.
            assert!(
                (offsets_db[0] - first[0]).abs() < 2e-6 && (offsets_db[1] - first[1]).abs() < 2e-6,
                "{hz} Hz: {offsets_db:?}, {first:?}"
            );
            assert!((offsets_db[0] - offsets_db[1]).abs() < 2e-6);
            rows += 1;
        }
        assert!(rows > 100, "{rows}");
    }

    /// A passive radiator without a spring of its own is a vent.
    #[test]
    fn a_passive_radiator_without_stiffness_is_a_vent() {
        let losses = LossFactors { leakage: 0.05, absorption: 0.02, opening: 0.03 };
        let vent = set_a(1.6, Opening::Vent { fb_hz: 42.0 }, losses);
        let radiator = set_a(1.6, Opening::PassiveRadiator { fb_hz: 42.0, fp_hz: 1e-9 }, losses);
        for hz in [20.0, 42.0, 90.0] {
            // 1e-12: a few roundings.
            assert!((vent.impedance_ohm(hz) / radiator.impedance_ohm(hz) - 1.0).norm() < 1e-12);
        }
        // With one it is silent at its own resonance, where it stands still against the pressure without loss.
        let still = set_a(
            1.6,
            Opening::PassiveRadiator { fb_hz: 42.0, fp_hz: 25.0 },
            LossFactors { leakage: 0.05, ..LossFactors::default() },
        );
        let flows = still.flows(25.0);
        // All of what the cone moves then goes through it: the sum of both and the leak is zero.
        assert!((flows.cone + flows.opening).norm() < 1e-9 * flows.cone.norm(), "{flows:?}");
        assert!(flows.leak.norm() < 1e-9 * flows.cone.norm());
    }
}
