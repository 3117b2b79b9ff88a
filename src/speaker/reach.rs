//! From the volume velocity of a cone to the pressure at the ear.
//!
//! ```text
//! p = U·jωρ/(2πr)·H(k)·e^{−jk(r − r_0)}
//! ```
//!
//! r, r_0: ways from the cone's acoustic centre, and from where the axis passes through the front, to the ear, m; H: what
//! the front makes of an endless wall (`baffle`), there a stiff piston's directivity. The time that sound takes along r_0 is
//! left out. L. L. Beranek, T. J. Mellow, "Acoustics: Sound Fields and Transducers" (2012), section 4.5.

use super::design::{Design, Ear, Front, Space};
use super::{SpeakerError, Way};
use crate::baffle::{Diffraction, piston, sphere_gain};
use crate::math::of_each;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// From each way to the ear, at each frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Reach {
    /// Frequencies.
    pub hz: Vec<f64>,
    /// p/U of each way, a value for each frequency, Pa·s/m³.
    pub of_flow: Vec<Vec<Complex64>>,
    /// The same for a way known by its curve: what path and distance make of that.
    pub of_curve: Vec<Vec<Complex64>>,
    /// p/U of an open back.
    pub of_back: Vec<Complex64>,
}

/// What a front does to one way.
pub(super) enum Before {
    Wall { sine: f64, radius_m: f64 },
    Edges(Box<Diffraction>),
    Ball { radius_m: f64, ear_m: f64, cosine: f64 },
    Nothing,
}

impl Before {
    /// Pressure over that in an endless wall.
    pub(super) fn at(&self, wave_number: f64) -> Complex64 {
        match self {
            Self::Wall { sine, radius_m } => piston(wave_number * radius_m * sine).into(),
            Self::Edges(diffraction) => diffraction.at(wave_number),
            Self::Ball { radius_m, ear_m, cosine } => 0.5 * sphere_gain(wave_number, *radius_m, *ear_m, *cosine),
            Self::Nothing => 0.5.into(),
        }
    }
}

impl Reach {
    /// Of a design at these frequencies.
    ///
    /// # Errors
    /// [`SpeakerError::BesideFront`] for a way that is not on the front.
    pub fn new(design: &Design, hz: &[f64]) -> Result<Self, SpeakerError> {
        let axis_m = design.axis_m();
        let ear_m = design.ear.place_m(axis_m);
        let c = design.air.speed_of_sound_m_s();
        let source = |hz: f64| Complex64::I * TAU * hz * design.air.density_kg_m3() / TAU;
        let mut of_flow = Vec::with_capacity(design.ways.len());
        let mut of_curve = Vec::with_capacity(design.ways.len());
        for way in &design.ways {
            let place_m = way.at_m.unwrap_or(axis_m);
            let straight_m = distance([place_m[0], place_m[1], -way.behind_m], ear_m);
            let before = before(design, way, place_m, ear_m)?;
            let path = |hz: f64| Complex64::cis(-TAU * hz / c * (straight_m - design.ear.distance_m));
            of_flow.push(of_each(hz, |&hz| source(hz) * before.at(TAU * hz / c) / straight_m * path(hz)));
            of_curve.push(hz.iter().map(|&hz| path(hz) / design.ear.distance_m).collect());
        }
        let detour_m = back_m(design);
        let back = |&hz: &f64| {
            // The back sees no wall that would double it.
            let halved = if matches!(design.space, Space::Half) { 1.0 } else { 0.5 };
            halved * source(hz) / (design.ear.distance_m + detour_m) * Complex64::cis(-TAU * hz / c * detour_m)
        };
        Ok(Self { hz: hz.to_vec(), of_flow, of_curve, of_back: hz.iter().map(back).collect() })
    }
}

/// How much longer the way from an open back to the ear is: along the box, and from the middle of its back to the nearest side.
fn back_m(design: &Design) -> f64 {
    match design.cabinet.map(|cabinet| (cabinet.volume_m3, cabinet.opening)) {
        Some((volume_m3, super::CabinetOpening::Back { area_m2 })) => volume_m3 / area_m2 + area_m2.sqrt() / 2.0,
        _ => 0.0,
    }
}

fn before(design: &Design, way: &Way, place_m: [f64; 2], ear_m: [f64; 3]) -> Result<Before, SpeakerError> {
    let radius_m = way.cone().map_or(0.0, super::Cone::radius_m);
    let beside = || SpeakerError::BesideFront { way: way.name.clone(), at_mm: place_m.map(|side| 1e3 * side) };
    Before::of(design.front.as_ref(), design.space, radius_m, place_m, ear_m).ok_or_else(beside)
}

impl Before {
    /// What surrounds a piston at a place; `None` where the place is not on the front.
    pub(super) fn of(
        front: Option<&Front>,
        space: Space,
        radius_m: f64,
        place_m: [f64; 2],
        ear_m: [f64; 3],
    ) -> Option<Self> {
        let aside_m = (ear_m[0] - place_m[0]).hypot(ear_m[1] - place_m[1]);
        match (front, space) {
            (_, Space::Full) => Some(Self::Nothing),
            (None, _) | (_, Space::Half) => {
                Some(Self::Wall { sine: aside_m / distance([place_m[0], place_m[1], 0.0], ear_m), radius_m })
            }
            (Some(Front::Flat(baffle)), Space::AsDesigned) => {
                baffle.diffraction(place_m, radius_m, ear_m).map(|seen| Self::Edges(Box::new(seen)))
            }
            (Some(front @ Front::Sphere { diameter_m }), Space::AsDesigned) => {
                let radius_m = diameter_m / 2.0;
                let middle_m = front.middle_m();
                let off = [place_m[0] - middle_m[0], place_m[1] - middle_m[1]];
                let behind = radius_m * radius_m - off[0] * off[0] - off[1] * off[1];
                if behind <= 0.0 {
                    return None;
                }
                let centre = [middle_m[0], middle_m[1], -radius_m];
                let to_ear = [0, 1, 2].map(|n| ear_m[n] - centre[n]);
                let ear = distance(centre, ear_m);
                let cosine = (off[0] * to_ear[0] + off[1] * to_ear[1] + behind.sqrt() * to_ear[2]) / (radius_m * ear);
                Some(Self::Ball { radius_m, ear_m: ear, cosine })
            }
        }
    }
}

pub(super) fn distance(from: [f64; 3], to: [f64; 3]) -> f64 {
    from.iter().zip(to).map(|(from, to)| (to - from).powi(2)).sum::<f64>().sqrt()
}

impl Ear {
    /// Where it is: x, y as on the front, and before it.
    fn place_m(&self, axis_m: [f64; 2]) -> [f64; 3] {
        let (across_sin, across_cos) = self.across_rad.sin_cos();
        let (up_sin, up_cos) = self.up_rad.sin_cos();
        let [x, y] = axis_m;
        let d = self.distance_m;
        [x + d * across_sin * up_cos, y + d * up_sin, d * across_cos * up_cos]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ear_to_the_right_and_above_is_as_far_away_as_one_in_front() {
        let ear = Ear { distance_m: 2.0, across_rad: 30f64.to_radians(), up_rad: 20f64.to_radians() };
        let place = ear.place_m([0.1, 0.2]);
        assert!((distance([0.1, 0.2, 0.0], place) - 2.0).abs() < 1e-12 && place[0] > 1.0 && place[2] > 1.5);
    }
}
