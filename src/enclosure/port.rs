//! A vent: its tuning and its length.
//!
//! ```text
//! f_b = (c/2π)·√(N·S/(V·L_eff))        S = π·a²        L_eff = L + (k₁ + k₂)·a
//! ```
//!
//! N: equal tubes of inner radius a and length L, m; V: air volume of the box, m³; c: speed of sound. k: how much of
//! the air outside an end moves along, in radii: 8/(3π) = 0.8488 flush with a wall, 0.6133 free. Each of several tubes
//! keeps its own ends. Holds without losses and while the tube is short against the wavelength. Sources: Lord Rayleigh
//! (flanged end, piston); H. Levine, J. Schwinger, Physical Review 73 (1948) 383–406 (free end).

use crate::quantity::Air;
use std::f64::consts::{PI, TAU};

/// Equal tubes in a box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Port {
    /// Inner diameter of one tube.
    pub diameter_m: f64,
    /// Length of one tube.
    pub length_m: f64,
    /// How many there are.
    pub count: u32,
    /// How the tubes end.
    pub ends: PortEnds,
}

/// How a tube ends: flush with a wall, or free in the air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[allow(missing_docs)] // as they are named
pub enum PortEnds {
    #[default]
    FlangedFree,
    FlangedFlanged,
    FreeFree,
}

const FLANGED: f64 = 8.0 / (3.0 * PI);
const FREE: f64 = 0.6133;

impl PortEnds {
    /// The names in a job and on the command line.
    pub const NAMES: [(&'static str, Self); 3] =
        [("flanged-free", Self::FlangedFree), ("flanged-flanged", Self::FlangedFlanged), ("free-free", Self::FreeFree)];

    /// k₁ + k₂.
    pub fn in_radii(self) -> f64 {
        match self {
            Self::FlangedFree => FLANGED + FREE,
            Self::FlangedFlanged => 2.0 * FLANGED,
            Self::FreeFree => 2.0 * FREE,
        }
    }
}

impl Port {
    /// N·S.
    pub fn area_m2(&self) -> f64 {
        f64::from(self.count) * PI * (self.diameter_m / 2.0).powi(2)
    }

    /// L_eff.
    pub fn effective_length_m(&self) -> f64 {
        self.length_m + self.ends.in_radii() * self.diameter_m / 2.0
    }

    /// Tuning of a box of this air volume with it, losses left out.
    pub fn fb_hz(&self, volume_m3: f64, air: &Air) -> f64 {
        let c = air.speed_of_sound_m_s();
        c / TAU * (self.area_m2() / (volume_m3 * self.effective_length_m())).sqrt()
    }

    /// The same tubes as long as a tuning wants them; `None` where their ends alone are longer.
    pub fn tuned_to(&self, fb_hz: f64, volume_m3: f64, air: &Air) -> Option<Self> {
        let effective_m = self.area_m2() / volume_m3 * (air.speed_of_sound_m_s() / (TAU * fb_hz)).powi(2);
        self.of_effective(effective_m)
    }

    /// The same tubes as long as they must be so that a box found at one tuning comes to another, whatever its volume is.
    pub fn retuned(&self, found_hz: f64, wanted_hz: f64) -> Option<Self> {
        self.of_effective(self.effective_length_m() * (found_hz / wanted_hz).powi(2))
    }

    fn of_effective(&self, effective_m: f64) -> Option<Self> {
        let length_m = self.length_m + effective_m - self.effective_length_m();
        (length_m > 0.0).then_some(Self { length_m, ..*self })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of `tests/reference/box_relations.csv`: quantities port_fb and port_length, and the printed end corrections.
    #[test]
    fn tunings_and_lengths_are_those_of_the_published_relations() {
        // The published rows give c; the temperature that has it by c = 343.2·√(T/293.15 K).
        let air_of = |c: f64| Air::new((c / 343.2).powi(2) * 293.15 - 273.15, 101.325).unwrap();
        for ends in [PortEnds::FlangedFree, PortEnds::FlangedFlanged, PortEnds::FreeFree] {
            let printed = match ends {
                PortEnds::FlangedFree => 1.462_126_4,
                PortEnds::FlangedFlanged => 1.697_652_7,
                PortEnds::FreeFree => 1.2266,
            };
            // 1e-6: eight digits printed, Levine and Schwinger's four.
            assert!((ends.in_radii() / printed - 1.0).abs() < 1e-6);
        }
        // N·π·a²·c²/(4π²·f²·V) − k·a for N = 2, a = 25 mm, V = 30 l, f = 40 Hz, c = 344: 0.152 m by hand.
        let port = Port { diameter_m: 0.05, length_m: 0.1, count: 2, ends: PortEnds::FlangedFree };
        let tuned = port.tuned_to(40.0, 0.03, &air_of(344.0)).unwrap();
        let by_hand =
            2.0 * PI * 0.025f64.powi(2) * 344.0 * 344.0 / (4.0 * PI * PI * 1600.0 * 0.03) - 1.462_126_4 * 0.025;
        // 1e-6: the correction's digits.
        assert!((tuned.length_m / by_hand - 1.0).abs() < 1e-6, "{tuned:?}");
        assert!((tuned.fb_hz(0.03, &air_of(344.0)) / 40.0 - 1.0).abs() < 1e-12);
    }

    #[test]
    fn retuning_needs_no_volume_and_ends_where_nothing_is_left_to_cut() {
        let air = Air::default();
        let port = Port { diameter_m: 0.032, length_m: 0.085, count: 1, ends: PortEnds::FlangedFree };
        let found_hz = port.fb_hz(4e-3, &air);
        let cut = port.retuned(found_hz, 1.1 * found_hz).unwrap();
        assert!((cut.fb_hz(4e-3, &air) / found_hz / 1.1 - 1.0).abs() < 1e-12 && cut.length_m < port.length_m);
        assert_eq!(port.retuned(found_hz, 3.0 * found_hz), None);
    }
}
