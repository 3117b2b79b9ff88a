//! A microphone a few millimetres before one surface that radiates.
//!
//! ```text
//! own surface:  p = ρ·c·u·(e^{−jkz} − e^{−jkR})     u = q'/(jω·S)     R = √(z² + a²)     a = √(S/π)
//!                 = q'·ρ·(R − z)/S·sinc(k·(R − z)/2)·e^{−jk·(R + z)/2}
//! any other:    p = q'·ρ/(2π·r)·e^{−jkr}            r = √(z² + s²)
//! ```
//!
//! p: pressure, Pa. q': volume acceleration, m³/s². S, a: area and radius of the surface, m² and m. z: distance of the
//! microphone before its centre, m. u: velocity of the surface, m/s. k = ω/c. s: from centre to centre, m. The first is
//! exact for a flat piston in an infinite wall; the second line is the first without its division by ω. Before the
//! centre (z = 0) the magnitude is that of low notes times sinc(ka/2): −1 dB at ka = 1.64.
//!
//! Holds while the wall is large and the surface moves as one; cones are deep, which lets the treble of a real one come
//! out otherwise. The room is left out: at 5 mm its walls are 30 dB and more below the surface itself. Whatever leaves the
//! same box elsewhere (the other surface, the other tubes, leaks, a wall that rings) sounds as one point at `apart_m`,
//! other ways as points as far away as their heights on the baffle differ, at least by both radii.
//!
//! Sources: D. B. Keele, "Low-Frequency Loudspeaker Assessment by Nearfield Sound-Pressure Measurement", J. Audio Eng.
//! Soc. 22 (April 1974) 154–162; P. M. Morse, K. U. Ingard, "Theoretical Acoustics" (1968), section 7.4 (the piston's
//! axis) — both from memory.

use super::air::{AIR_DENSITY_KG_M3, SPEED_OF_SOUND_M_S};
use super::enclosure::Opening;
use super::error::{BenchError, check};
use super::speaker::{Speaker, Way};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::{PI, TAU};

/// Where the microphone of a near field stands.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NearField {
    /// Which way of the loudspeaker, counted from 0.
    pub way: usize,
    /// Which of its surfaces.
    pub surface: Surface,
    /// z: from the centre of the surface to the microphone.
    pub distance_m: f64,
    /// From the centre of the cone to the centre of the opening.
    pub apart_m: f64,
}

/// A surface of a way that radiates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Surface {
    /// The driver's.
    Cone,
    /// The mouth of the vent, of one of its tubes if there are more, or the passive radiator.
    Opening,
}

/// As near as a capsule of half an inch gets without being touched. Ours.
const USUAL_M: f64 = 0.005;
/// Cone and opening on the baffle of a small loudspeaker. Ours.
const USUALLY_APART_M: f64 = 0.15;
/// Nearer than any small loudspeaker is wide: beyond it the room would be heard.
const FARTHEST_M: f64 = 0.1;

impl NearField {
    /// 5 mm before the cone of this way; its opening, if it has one, lies 15 cm beside it.
    pub fn cone(way: usize) -> Self {
        Self { way, surface: Surface::Cone, distance_m: USUAL_M, apart_m: USUALLY_APART_M }
    }

    /// 5 mm before the opening of this way's box, 15 cm beside its cone.
    pub fn opening(way: usize) -> Self {
        Self { surface: Surface::Opening, ..Self::cone(way) }
    }

    pub(super) fn check(&self, speaker: &Speaker) -> Result<(), BenchError> {
        let (found, ways) = (self.way, speaker.ways.len());
        let way = speaker.ways.get(found).ok_or(BenchError::NoSuchWay { found, ways })?;
        if self.surface == Surface::Opening && way.enclosure.opening.is_none() {
            return Err(BenchError::NoOpening { way: way.name.clone() });
        }
        check("distance of the near field in m", self.distance_m, [0.0, FARTHEST_M])?;
        let opening_m = way.enclosure.opening.map_or(0.0, |opening| radius_m(opening.area_m2()));
        let touching_m = radius_m(way.driver.sd_m2) + opening_m;
        check("distance from cone to opening in m, at least both radii", self.apart_m, [touching_m, 10.0])
    }

    /// The surface that the microphone stands before, of a loudspeaker that was checked.
    pub(super) fn ear(&self, way: &Way) -> Ear {
        match self.surface {
            Surface::Cone => Ear { area_m2: way.driver.sd_m2, cone_share: 1.0, opening_share: 0.0 },
            Surface::Opening => {
                let (area_m2, count) = way.enclosure.opening.map_or((1.0, 1), |it| (it.area_m2(), it.count()));
                Ear { area_m2, cone_share: 0.0, opening_share: 1.0 / f64::from(count) }
            }
        }
    }

    /// From another way to the microphone.
    pub(super) fn beside_m(&self, speaker: &Speaker, other: usize) -> f64 {
        let (own, other) = (&speaker.ways[self.way], &speaker.ways[other]);
        let touching_m = radius_m(self.ear(own).area_m2) + radius_m(other.driver.sd_m2);
        (own.above_axis_m - other.above_axis_m).abs().max(touching_m).hypot(self.distance_m)
    }
}

impl Opening {
    /// Area of the passive radiator or of one tube.
    fn area_m2(self) -> f64 {
        match self {
            Self::Vent { diameter_m, .. } => PI * (0.5 * diameter_m).powi(2),
            Self::PassiveRadiator { area_m2, .. } => area_m2,
        }
    }

    /// How many of them there are.
    fn count(self) -> u32 {
        match self {
            Self::Vent { count, .. } => count,
            Self::PassiveRadiator { .. } => 1,
        }
    }
}

/// What a microphone stands before.
#[derive(Debug, Clone, Copy)]
pub struct Ear {
    /// S.
    pub area_m2: f64,
    cone_share: f64,
    opening_share: f64,
}

impl Ear {
    /// Volume acceleration of that surface, from those of the cone and of the opening.
    pub fn own<T: std::ops::Mul<f64, Output = T> + std::ops::Add<Output = T>>(&self, [cone, opening]: [T; 2]) -> T {
        cone * self.cone_share + opening * self.opening_share
    }
}

/// From a surface to a microphone near it: gain at zero frequency and two delays.
#[derive(Debug, Clone, Copy)]
pub struct NearPath {
    /// Pressure over volume acceleration of low notes, Pa·s²/m³.
    gain: f64,
    /// (R + z)/(2c).
    middle_s: f64,
    /// (R − z)/(2c).
    half_s: f64,
}

impl NearPath {
    /// On the axis of a piston of this area.
    pub fn before(area_m2: f64, distance_m: f64) -> Self {
        let rim_m = distance_m.hypot(radius_m(area_m2));
        Self {
            gain: AIR_DENSITY_KG_M3 * (rim_m - distance_m) / area_m2,
            middle_s: 0.5 * (rim_m + distance_m) / SPEED_OF_SOUND_M_S,
            half_s: 0.5 * (rim_m - distance_m) / SPEED_OF_SOUND_M_S,
        }
    }

    /// From a point of the wall.
    pub fn from_point(distance_m: f64) -> Self {
        let middle_s = distance_m / SPEED_OF_SOUND_M_S;
        Self { gain: AIR_DENSITY_KG_M3 / (TAU * distance_m), middle_s, half_s: 0.0 }
    }

    /// The last sound of an impulse.
    pub fn longest_s(&self) -> f64 {
        self.middle_s + self.half_s
    }

    /// Pressure over volume acceleration, Pa·s²/m³.
    pub fn at(&self, frequency_hz: f64) -> Complex64 {
        let omega = TAU * frequency_hz;
        let half_rad = omega * self.half_s;
        let sinc = if half_rad == 0.0 { 1.0 } else { half_rad.sin() / half_rad };
        self.gain * sinc * Complex64::cis(-omega * self.middle_s)
    }
}

fn radius_m(area_m2: f64) -> f64 {
    (area_m2 / PI).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn before_a_piston_the_centre_and_the_rim_sound_against_each_other() {
        let (area_m2, distance_m) = (50e-4, 0.007);
        let rim_m = (distance_m * distance_m + area_m2 / PI).sqrt();
        for hz in [20.0, 300.0, 4_000.0, 20_000.0] {
            let k = TAU * hz / SPEED_OF_SOUND_M_S;
            let velocity = 1.0 / (Complex64::new(0.0, TAU * hz) * area_m2);
            let apart = Complex64::cis(-k * distance_m) - Complex64::cis(-k * rim_m);
            let expected = AIR_DENSITY_KG_M3 * SPEED_OF_SOUND_M_S * velocity * apart;
            let found = NearPath::before(area_m2, distance_m).at(hz);
            // The difference of two unit phasors is right to 1e-16 over the 0.01 rad that they are apart at 20 Hz.
            assert!((found / expected - 1.0).norm() < 1e-12, "{hz}: {found} {expected}");
        }
    }

    /// Keele's droop at the centre, and his factor 2r/a between the near field and the far one in half space.
    #[test]
    fn at_the_centre_the_reading_droops_by_a_decibel_at_ka_of_1_643() {
        let radius_m = 0.04;
        let centre = NearPath::before(PI * radius_m * radius_m, 0.0);
        let hz = |ka: f64| ka * SPEED_OF_SOUND_M_S / (TAU * radius_m);
        for ka in [0.1, 1.0, 1.643, 3.0] {
            let found = centre.at(hz(ka)).norm() / centre.at(0.0).norm();
            let expected = (0.5_f64 * ka).sin() / (0.5 * ka);
            assert!((found / expected - 1.0).abs() < 1e-12, "{ka}: {found}");
        }
        let droop_db = 20.0 * (centre.at(hz(1.643)).norm() / centre.at(0.0).norm()).log10();
        // ka is given to four figures: 0.0005 of it moves the droop by 0.0006 dB.
        assert!((droop_db + 1.0).abs() < 1e-3, "{droop_db}");
        let far = NearPath::from_point(1.0);
        assert!((centre.at(0.0) / far.at(0.0) - 2.0 * 1.0 / radius_m).norm() < 1e-10);
    }
}
