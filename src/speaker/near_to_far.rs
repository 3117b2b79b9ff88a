//! What measurements right before the cone and the ports say of the sound far away.
//!
//! ```text
//! p_i = jωρ·Σ_j M_ij·q_j        M_ii = P_i(k)        M_ij = e^{−jkd}/(2πd)
//! p = jωρ·Σ_i n_i·q_i·H_i(k)·e^{−jk(r_i − r_1)}/(2πr_i)
//! ```
//!
//! p_i: pressure before surface i, of which there are n_i; q: volume velocities; P: near field (`baffle/near_field.rs`); M_ij: what a
//! surface hears of another at the distance d, once its place is known; H: what the front makes of an endless wall; r_i: way from the surface to the ear, r_1 that from
//! the cone, m. The result is what the microphone would read at the ear with the same gain.
//! Valid up to ka = 1 of the largest surface, c/(2πa): above it a cone is not stiff, and reads lower in its middle.
//!
//! The relative delay of the surfaces must be known: from one time reference, or by [`delay_to_port_s`], where below and around the tuning the
//! port's flow is that of the cone through a mass and the air in the box,
//!
//! ```text
//! q_port/q_cone = −1/(1 − (f/f_b)² + jf/(f_b·Q))
//! ```
//!
//! Sources: D. B. Keele, "Low-Frequency Loudspeaker Assessment by Nearfield Sound-Pressure Measurement", J. Audio Eng. Soc. 22 (April 1974) 154–162; R. H.
//! Small, "Vented-Box Loudspeaker Systems", J. Audio Eng. Soc. 21 (June 1973) 363–372 (from memory) for the ratio. Taking out what is heard of the other surface is ours.

use super::design::{Front, Space};
use super::reach::{Before, distance};
use crate::baffle::{NearField, cap_gain};
use crate::math::{highest_place, solved, weighted_plane};
use crate::response::{Point, Reader, ResponseError, Sampled};
use num_complex::Complex64;
use std::f64::consts::{PI, SQRT_2, TAU};

/// A cone or a port before which was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Surface {
    /// Radius of a circle of its area.
    pub radius_m: f64,
    /// Where it is on the front; absent: where the cone is.
    pub place_m: Option<[f64; 2]>,
    /// So many there are of it, of which one was measured.
    pub count: u32,
    /// From its middle to the microphone.
    pub away_m: f64,
}

/// What the loudspeaker sounds into, and where it is heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Surround {
    /// The front.
    pub front: Around,
    /// Where the cone is on it.
    pub cone_m: [f64; 2],
    /// Where the axis of the far measurement leaves it.
    pub axis_m: [f64; 2],
    /// From there to the far microphone.
    pub distance_m: f64,
    /// Speed of sound.
    pub speed_m_s: f64,
}

/// The front of a loudspeaker, as far as it is known.
#[derive(Debug, Clone, PartialEq)]
pub enum Around {
    /// An endless wall.
    Wall,
    /// Its outline.
    Front(Front),
    /// Its width alone: a smooth step from full to half space, +3 dB at 115 m/s over the width (common practice).
    Step {
        /// The width.
        width_m: f64,
    },
}

/// How far a front's model is off, dB: a wall or a ball and a stiff piston; edges (`tests/diffraction_published.rs`); a mere step.
const EXACT_U_DB: f64 = 0.05;
const EDGES_U_DB: f64 = 0.3;
const STEP_U_DB: f64 = 1.0;
/// The step's middle times the width, m/s.
const STEP_TIMES_WIDTH_M_S: f64 = 115.0;
/// Share of a piston's droop that a real cone may differ by.
const DROOP_SHARE: f64 = 0.25;

/// From pressures near to the pressure far away.
pub struct NearToFar<'a> {
    surfaces: &'a [Surface],
    surround: &'a Surround,
    near: Vec<NearField>,
    before: Vec<Option<Before>>,
}

impl<'a> NearToFar<'a> {
    /// For these surfaces, the cone first; `None` where one is not on the front.
    pub fn new(surfaces: &'a [Surface], surround: &'a Surround) -> Option<Self> {
        let [x, y] = surround.axis_m;
        let ear_m = [x, y, surround.distance_m];
        let mut near = Vec::new();
        let mut before = Vec::new();
        for surface in surfaces {
            let place_m = surface.place_m.unwrap_or(surround.cone_m);
            let (radius_m, away_m) = (surface.radius_m, surface.away_m);
            near.push(match &surround.front {
                Around::Front(Front::Flat(baffle)) => NearField::in_front(baffle, place_m, radius_m, away_m)?,
                Around::Front(Front::Sphere { diameter_m }) => NearField::in_ball(*diameter_m, radius_m, away_m),
                Around::Wall | Around::Step { .. } => NearField::in_wall(radius_m, away_m),
            });
            before.push(match &surround.front {
                Around::Front(front) => Some(Before::of(Some(front), Space::AsDesigned, radius_m, place_m, ear_m)?),
                Around::Wall => Before::of(None, Space::Half, radius_m, place_m, ear_m),
                Around::Step { .. } => None,
            });
        }
        Some(Self { surfaces, surround, near, before })
    }

    /// c/(2πa) of the largest surface.
    pub fn highest_hz(&self) -> f64 {
        let largest_m = self.surfaces.iter().map(|surface| surface.radius_m).fold(0.0, f64::max);
        self.surround.speed_m_s / (TAU * largest_m)
    }

    /// The pressure at the ear from the pressures at the surfaces, Pa from Pa, at a frequency.
    pub fn at(&self, hz: f64, near_pa: &[Complex64]) -> Complex64 {
        let k = TAU * hz / self.surround.speed_m_s;
        let count = self.surfaces.len();
        let matrix: Vec<Complex64> = (0..count * count).map(|n| self.heard(k, n / count, n % count)).collect();
        let Some(flows) = solved(&matrix, near_pa) else { return Complex64::ZERO };
        let straight_m = self.way_m(0);
        let far = |at: usize| {
            let turn = Complex64::cis(k * straight_m);
            f64::from(self.surfaces[at].count) * flows[at] * self.far(at, k) * turn
        };
        (0..count).map(far).sum()
    }

    /// The curve at the ear from the curves at the surfaces, where all of them hold and ka is at most 1; `earlier_s`: how much earlier each is
    /// referred than the cone's. Its uncertainty is that of the curves, each by its share of the sum, and the model's.
    ///
    /// # Errors
    /// [`ResponseError::NoValidBand`] where they share no two frequencies of the cone's curve, `BrokenCurve`.
    pub fn curve(&self, near: &[Sampled], earlier_s: &[f64]) -> Result<Sampled, ResponseError> {
        let readers: Option<Vec<Reader>> = near.iter().map(Sampled::reader).collect();
        let readers = readers.ok_or(ResponseError::BrokenCurve)?;
        let ends = |pick: fn(&[f64]) -> Option<&f64>| near.iter().filter_map(move |side| pick(&side.hz).copied());
        let lowest_hz = ends(<[f64]>::first).fold(0.0, f64::max);
        let highest_hz = ends(<[f64]>::last).fold(self.highest_hz(), f64::min);
        let cone_hz = near.first().map_or(&[][..], |side| &side.hz);
        let hz: Vec<f64> = cone_hz.iter().copied().filter(|hz| (lowest_hz..=highest_hz).contains(hz)).collect();
        if hz.len() < 2 {
            return Err(ResponseError::NoValidBand { lowest_hz, highest_hz });
        }
        let mut whole = Sampled { hz, ..Sampled::default() };
        for at in 0..whole.hz.len() {
            let hz = whole.hz[at];
            let points: Vec<Point> = readers.iter().map(|reader| reader.nearest(hz)).collect();
            let turned = |(point, earlier_s): (&Point, &f64)| point.value() * Complex64::cis(TAU * hz * earlier_s);
            let heard: Vec<Complex64> = points.iter().zip(earlier_s).map(turned).collect();
            let sum = self.at(hz, &heard);
            let share_db = |surface: usize| {
                let mut alone = vec![Complex64::ZERO; heard.len()];
                alone[surface] = heard[surface];
                points[surface].u_db * self.at(hz, &alone).norm() / sum.norm()
            };
            let measured_db = (0..heard.len()).map(|surface| share_db(surface).powi(2)).sum::<f64>().sqrt();
            whole.level_db.push(20.0 * sum.norm().log10());
            whole.phase_rad.push(sum.arg());
            whole.u_db.push(measured_db.hypot(self.u_db(hz)));
        }
        Ok(whole)
    }

    /// Standard uncertainty of that by the model alone, dB.
    pub fn u_db(&self, hz: f64) -> f64 {
        let front_db = match &self.surround.front {
            Around::Wall | Around::Front(Front::Sphere { .. }) => EXACT_U_DB,
            Around::Front(Front::Flat(_)) => EDGES_U_DB,
            Around::Step { .. } => STEP_U_DB,
        };
        let half = 0.5 * TAU * hz / self.surround.speed_m_s * self.surfaces[0].radius_m;
        let droop_db = if half > 1e-3 { 20.0 * (half.sin() / half).abs().log10() } else { 0.0 };
        front_db.hypot(DROOP_SHARE * droop_db)
    }

    fn place_m(&self, at: usize) -> [f64; 2] {
        self.surfaces[at].place_m.unwrap_or(self.surround.cone_m)
    }

    /// From a surface to the ear; of one that lies behind the foremost place of a ball as if it did not, which only turns the whole.
    fn way_m(&self, at: usize) -> f64 {
        let ([x, y], [axis_x, axis_y]) = (self.place_m(at), self.surround.axis_m);
        distance([x, y, 0.0], [axis_x, axis_y, self.surround.distance_m])
    }

    /// M_ij.
    fn heard(&self, k: f64, by: usize, of: usize) -> Complex64 {
        if by == of {
            return self.near[by].at(k);
        }
        let [here, there] = [by, of].map(|at| self.place_m(at));
        let flat_m = (here[0] - there[0]).hypot(here[1] - there[1]);
        // Where the places are not told apart nothing is known of it.
        let known = self.surfaces[by].place_m.is_some() || self.surfaces[of].place_m.is_some();
        if !known || flat_m < self.surfaces[of].radius_m {
            return Complex64::ZERO;
        }
        let count = f64::from(self.surfaces[of].count);
        if let Around::Front(front @ Front::Sphere { diameter_m }) = &self.surround.front {
            let radius_m = diameter_m / 2.0;
            let ear_m = radius_m + self.surfaces[by].away_m;
            return count * cap_gain(k, radius_m, self.surfaces[of].radius_m, ear_m, front.cosine_between(here, there));
        }
        // Seen from the side, a disc of even flow is a little nearer than its middle: a²/(8d²) in the bass.
        let spread = 1.0 + (self.surfaces[of].radius_m / flat_m).powi(2) / 8.0;
        count * spread * Complex64::cis(-k * flat_m) / (TAU * flat_m)
    }

    /// p/(jωρq) of a surface at the ear.
    fn far(&self, at: usize, k: f64) -> Complex64 {
        let way_m = self.way_m(at);
        let in_wall = Complex64::cis(-k * way_m) / (TAU * way_m);
        match (&self.before[at], &self.surround.front) {
            (Some(Before::Ball { radius_m, ear_m, cosine }), _) => {
                cap_gain(k, *radius_m, self.surfaces[at].radius_m, *ear_m, *cosine)
            }
            (Some(before), _) => in_wall * before.at(k),
            (None, Around::Step { width_m }) => {
                let from_hz = STEP_TIMES_WIDTH_M_S / (SQRT_2 * width_m);
                let ratio = k * self.surround.speed_m_s / TAU / from_hz;
                in_wall * 0.5 * Complex64::new(1.0, ratio) / Complex64::new(1.0, 0.5 * ratio)
            }
            (None, _) => in_wall,
        }
    }
}

/// The widest delay between two captures that is looked for, and the periods' share of a step.
const WIDEST_S: f64 = 20e-3;
const STEP_TURNS: f64 = 0.02;

/// How much earlier a port's curve is referred than the cone's, s, from the ratio of port over cone (flows, or pressures of one scale) at
/// frequencies around the tuning; `None` where no delay makes it a resonance.
pub fn delay_to_port_s(hz: &[f64], ratio: &[Complex64]) -> Option<f64> {
    let highest_hz = hz.last().copied()?;
    // 1/ratio = −(c_0 + j·c_1·f − c_2·f²)·e^{jωτ}: linear in the c for each τ.
    let left = |delay_s: f64| {
        let rows: Vec<(Vec<f64>, f64, f64)> = hz
            .iter()
            .zip(ratio)
            .flat_map(|(&hz, ratio)| {
                // Each row divided by its own size, so that all octaves count alike.
                let inverse = -(Complex64::cis(TAU * hz * delay_s) * ratio).inv();
                let size = inverse.norm().max(f64::MIN_POSITIVE);
                let scaled = hz / highest_hz;
                [
                    (vec![1.0 / size, 0.0, -scaled * scaled / size], inverse.re / size, 1.0),
                    (vec![0.0, scaled / size, 0.0], inverse.im / size, 1.0),
                ]
            })
            .collect();
        let fit = weighted_plane(&rows)?;
        let is_resonance = fit.values[0] > 0.0 && fit.values[2] > 0.0 && fit.values[1] > -0.2 * fit.values[0];
        is_resonance.then_some(fit.residual_ratio)
    };
    let height = |delay_s: f64| left(delay_s).map_or(f64::NEG_INFINITY, |left| -left);
    let best = highest_place(height, WIDEST_S, STEP_TURNS / highest_hz);
    left(best).map(|_| best)
}

/// Radius of the circle of an area.
pub fn radius_of_m(area_m2: f64) -> f64 {
    (area_m2 / PI).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn surround(front: Around) -> Surround {
        Surround { front, cone_m: [0.1, 0.1], axis_m: [0.1, 0.1], distance_m: 2.0, speed_m_s: 343.2 }
    }

    fn surface(radius_m: f64, place_m: Option<[f64; 2]>) -> Surface {
        Surface { radius_m, place_m, count: 1, away_m: 0.0 }
    }

    /// Keele 1974: far pressure is a/(2r) of the near one in half space, half of that in full space, in the bass.
    #[test]
    fn the_bass_is_scaled_by_a_over_2r() {
        let cone = [surface(0.04, None)];
        for (front, share) in [(Around::Wall, 1.0), (Around::Step { width_m: 0.2 }, 0.5)] {
            let surround = surround(front);
            let way = NearToFar::new(&cone, &surround).unwrap();
            let found = way.at(0.5, &[Complex64::from(3.0)]);
            // 1e-3: at 0.5 Hz the step has begun by as much.
            assert!((found.norm() / (3.0 * share * 0.04 / 4.0) - 1.0).abs() < 1e-3, "{found}");
        }
        let surround = surround(Around::Step { width_m: 0.2 });
        let way = NearToFar::new(&cone, &surround).unwrap();
        // +3.01 dB at 115/width; the droop of the reading, which is put back, is 0.18 dB there.
        let ka: f64 = TAU * 575.0 / 343.2 * 0.04;
        let droop = (0.5 * ka).sin() / (0.5 * ka);
        assert!(
            (way.at(575.0, &[Complex64::ONE]).norm() * droop / (0.01 / SQRT_2) - 0.5 * 2.0f64.powf(1.0)).abs() < 0.01
        );
        assert!((way.highest_hz() - 1_365.5).abs() < 0.1, "ka = 1");
    }

    /// What the port's microphone hears of the cone is taken out: both flows come back as they were.
    #[test]
    fn what_is_heard_of_the_other_surface_is_taken_out() {
        let surround = surround(Around::Wall);
        let both = [surface(0.04, None), surface(0.015, Some([0.1, 0.22]))];
        let way = NearToFar::new(&both, &surround).unwrap();
        let hz = 300.0;
        let k = TAU * hz / 343.2;
        let flows = [Complex64::new(1e-3, 2e-4), Complex64::new(-2e-4, 3e-5)];
        let cross =
            |radius_m: f64| Complex64::cis(-k * 0.12) / (TAU * 0.12) * (1.0 + (radius_m / 0.12f64).powi(2) / 8.0);
        let own = |radius_m: f64| NearField::in_wall(radius_m, 0.0).at(k);
        let near = [own(0.04) * flows[0] + cross(0.015) * flows[1], own(0.015) * flows[1] + cross(0.04) * flows[0]];
        let ways = [2.0, 2.0f64.hypot(0.12)];
        let expected = flows[0] / (TAU * 2.0)
            + flows[1] * Complex64::cis(-k * (ways[1] - 2.0)) / (TAU * ways[1])
                * crate::baffle::piston(k * 0.015 * 0.12 / ways[1]);
        assert!((way.at(hz, &near) / expected - 1.0).norm() < 1e-9);
    }

    /// A port of 55 Hz whose curve lags by 1.7 ms, over three octaves.
    #[test]
    fn the_delay_to_a_port_is_found_by_its_resonance() {
        let hz: Vec<f64> = (0..96).map(|n| 22.0 * (f64::from(n) / 32.0).exp2()).collect();
        let ratio = |hz: &f64| {
            let x = hz / 55.0;
            -Complex64::cis(-TAU * hz * 1.7e-3) / Complex64::new(1.0 - x * x, x / 12.0)
        };
        let found = delay_to_port_s(&hz, &hz.iter().map(ratio).collect::<Vec<_>>()).unwrap();
        assert!((found - 1.7e-3).abs() < 1e-7, "{found}");
    }
}
