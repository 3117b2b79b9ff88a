//! A part of the cone that has come loose: it lifts off where the cone falls away too fast and knocks as it lands.
//!
//! ```text
//! seated:   M·dv/dt = F                        until dv/dt < −g
//! lifted:   (M − m)·dv/dt = F − N + m·g        m·(dv/dt + d²y/dt²) = N − m·g
//!           N = m·max(0, −ω_c²·y − 2ζ·ω_c·dy/dt)  for y < 0,  else 0
//! seated again once  (dy/dt/ω_c)² + (y + (g + dv/dt)/ω_c²)² < (0.05·g/ω_c²)²  and  dv/dt > −g/2
//! ```
//!
//! M: moving mass with the part, kg. F: all other force on the cone, N. m: mass of the part, kg. m·g: what holds it down
//! (its own lead, old glue, its weight), N; g: the acceleration of the cone, inwards, that lifts it, m/s². y: how far the
//! part has lifted, m, outwards. N: force of the contact, N. ω_c = 2π·f_c, ζ: rate and damping of the part on its contact.
//!
//! While it is seated the way is the healthy one to the last bit. A landing lasts half a period of f_c and gives the cone a
//! push of that length, which sounds up to about f_c; without damping a part would bounce for ever, ζ = 0.3 returns
//! 0.45 of the speed. The last step to rest lets go of less than a twentieth of m·g. The sound that the part itself
//! gives off is left out, so is a stop that catches it above.
//!
//! Sources: P. J. Holmes, "The dynamics of repeated impacts with a sinusoidally vibrating table", J. Sound Vib. 84 (1982)
//! 173–189 (a ball on a table that shakes; from memory); contact: a spring with a damper that can push and not pull.
//! Derivation of the rest: momentum of the part and of the cone without it.

use super::circuit::{AgainstCone, Circuit, NUMBERS, State};
use super::error::{BenchError, check};
use super::runge_kutta::{self, Equations};
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// A part that lifts off the cone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LoosePart {
    /// m: its mass, which the driver's moving mass includes.
    pub mass_kg: f64,
    /// g: the acceleration of the cone that lifts it.
    pub lifts_at_m_s2: f64,
    /// f_c: the frequency at which it would ring on its contact.
    pub contact_hz: f64,
    /// ζ: damping of that.
    pub damping_ratio: f64,
}

/// Share of g/ω_c² below which what is left of the motion is let go.
const RESTS_WITHIN: f64 = 0.05;

impl LoosePart {
    /// A lead that lies on the cone or a corner of its dust cap, 20 mg, that this acceleration lifts.
    ///
    /// Ours: a few millimetres of braid; it meets paper for a tenth of a millisecond, so that it rings at 5 kHz.
    pub fn lead(lifts_at_m_s2: f64) -> Self {
        Self { mass_kg: 2e-5, lifts_at_m_s2, contact_hz: 5_000.0, damping_ratio: 0.3 }
    }

    /// Rate of part and cone against each other, 1/s: faster than ω_c, as both give way.
    pub(super) fn fastest_per_s(&self, mms_kg: f64) -> f64 {
        TAU * self.contact_hz * (mms_kg / (mms_kg - self.mass_kg)).sqrt()
    }

    pub(super) fn check(&self, mms_kg: f64) -> Result<(), BenchError> {
        check("mass of a loose part in kg, at most half the moving mass", self.mass_kg, [1e-9, 0.5 * mms_kg])?;
        check("acceleration that lifts a loose part in m/s²", self.lifts_at_m_s2, [0.1, 1e6])?;
        check("contact frequency of a loose part in Hz", self.contact_hz, [100.0, 30_000.0])?;
        // Beyond 1 the contact no longer rings and its rate is faster than ω_c.
        check("damping of the contact of a loose part, a ratio", self.damping_ratio, [0.0, 1.0])
    }

    /// N, for the part at y, moving at dy/dt.
    fn push_n(&self, lifted_m: f64, rising_m_s: f64) -> f64 {
        if lifted_m >= 0.0 {
            return 0.0;
        }
        let omega = TAU * self.contact_hz;
        self.mass_kg * (-omega * omega * lifted_m - 2.0 * self.damping_ratio * omega * rising_m_s).max(0.0)
    }

    /// One step of the way with the part in the air or on its contact; outcome as `runge_kutta::step` has it.
    pub fn step(
        &self,
        flight: &mut Flight,
        circuit: &Circuit,
        state: &mut State,
        drive_v: [f64; 3],
        step_s: f64,
    ) -> (State, f64) {
        let mut whole = [0.0; NUMBERS + 2];
        whole[..NUMBERS].copy_from_slice(state);
        whole[NUMBERS..].copy_from_slice(&[flight.lifted_m, flight.rising_m_s]);
        let (changes, leaving) = runge_kutta::step(&Lifted { part: self, circuit }, &mut whole, drive_v, step_s);
        let (own, [lifted_m, rising_m_s]) = parted(&whole);
        *state = own;
        *flight = Flight { lifted_m, rising_m_s };
        (parted(&changes).0, leaving)
    }

    /// Whether what is left of the part's motion may be let go, for this acceleration of the cone.
    pub fn rests(&self, flight: Flight, acceleration_m_s2: f64) -> bool {
        let (omega, g) = (TAU * self.contact_hz, self.lifts_at_m_s2);
        let off_m = flight.lifted_m + (g + acceleration_m_s2) / (omega * omega);
        let within_m = RESTS_WITHIN * g / (omega * omega);
        acceleration_m_s2 > -0.5 * g && off_m.hypot(flight.rising_m_s / omega) < within_m
    }
}

/// A way with its part in the air or on its contact.
struct Lifted<'a> {
    part: &'a LoosePart,
    circuit: &'a Circuit,
}

impl Equations<{ NUMBERS + 2 }> for Lifted<'_> {
    fn change(&self, whole: &[f64; NUMBERS + 2], drive_v: f64) -> ([f64; NUMBERS + 2], f64) {
        let part = self.part;
        let (own, [lifted_m, rising_m_s]) = parted(whole);
        let on_part_n = part.push_n(lifted_m, rising_m_s) - part.mass_kg * part.lifts_at_m_s2;
        let against = AgainstCone { force_n: on_part_n, without_kg: part.mass_kg };
        let (change, leaving) = self.circuit.change_against(&own, drive_v, 0.0, against);
        let mut changes = [0.0; NUMBERS + 2];
        changes[..NUMBERS].copy_from_slice(&change);
        changes[NUMBERS] = rising_m_s;
        changes[NUMBERS + 1] = on_part_n / part.mass_kg - change[3];
        (changes, leaving)
    }
}

/// Where a part that has lifted is.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Flight {
    /// y.
    pub lifted_m: f64,
    /// dy/dt.
    pub rising_m_s: f64,
}

fn parted(whole: &[f64; NUMBERS + 2]) -> (State, [f64; 2]) {
    (std::array::from_fn(|n| whole[n]), [whole[NUMBERS], whole[NUMBERS + 1]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    /// A spring with a damper that does not pull returns `e^(−β/ω·(π − atan(2βω/(ω² − β²))))` of the speed, β = ζ·ω_c, ω =
    /// ω_c·√(1 − ζ²): T. Schwager, T. Pöschel, "Coefficient of restitution and linear-dashpot model revisited", Granular
    /// Matter 9 (2007) 465–469 (from memory), here for ζ < 0.7.
    #[test]
    fn a_contact_gives_back_the_speed_that_its_damping_leaves() {
        for zeta in [0.0, 0.1, 0.3, 0.6_f64] {
            let part = LoosePart { damping_ratio: zeta, ..LoosePart::lead(300.0) };
            let mut flight = [0.0, -0.2];
            let step_s = 1e-8;
            // Half a period of 5 kHz is 1e-4 s; a fixed anvil, nothing that holds the part down.
            for _ in 0..20_000 {
                let halfway = flight[0] + 0.5 * step_s * flight[1];
                flight[1] += step_s * part.push_n(halfway, flight[1]) / part.mass_kg;
                flight[0] = halfway + 0.5 * step_s * flight[1];
            }
            let (beta, omega) = (zeta, (1.0 - zeta * zeta).sqrt());
            let expected = (-beta / omega * (PI - (2.0 * beta * omega / (omega * omega - beta * beta)).atan())).exp();
            // 1e-3: steps of 3e-4 of a radian.
            assert!((flight[1] / 0.2 / expected - 1.0).abs() < 1e-3, "{zeta}: {} {expected}", flight[1] / 0.2);
        }
    }
}
