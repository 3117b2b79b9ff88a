//! Diffraction at the edges of a baffle: what arrives, over what would arrive from the same driver in an endless wall.
//!
//! ```text
//! H(k) = D(ka·sin θ) − D(ka)·g·Σ_i w_i·e^{−jk(s_i + r_i − r)}·(A + (½ − A)·e^{−jκks_i})        Σ w_i = 1
//! D(x) = 2·J₁(x)/x        g = 1 − 0.65·⟨s⟩/r        A = 0.6, κ = 1.2
//! ```
//!
//! i: pieces of the edge, seen from the driver under equal angles (`outline.rs`); s: way along the baffle to the piece; r_i,
//! r: ways from there and from the driver to the ear, m; k = 2πf/c; a: radius of the cone; θ: angle between the axis and
//! the ear. Each piece sends out what the wall there no longer holds back: more than half of the pressure, upside down, and after a
//! second way across the front what the other edges make of that, the right way up, so that in the bass exactly half of it is left (−6.02 dB) far
//! away. Near by it is a little more, since the bass of a box comes from a place in front of it: ⟨s⟩ is the mean of the s. A rounded edge is one whose place is spread evenly
//! over the width of the rounding, `u = sin ψ` from 0 to 1: the way there runs along the arc and the piece lies behind the
//! front, `s = d_0 + q·R·ψ`, place `d_0 + q·R·u`, depth `R·(1 − cos ψ)`; R: radius, m; q = d/n: how obliquely the ray
//! meets the edge.
//!
//! A, κ and the 0.65 were found on boundary elements of four boxes (`tests/reference/box_diffraction.py`, `box_near_field.py`), on the axis and 30° off
//! it: with A = ½, the plain theory of one order, the error is 0.5 to 0.7 dB rms, with them 0.2 to 0.4 dB. Left out: that a piece of
//! edge sends more in some directions than in others; a cone is taken as a stiff piston, in which D makes the treble
//! directive. Compared with the exact sphere, the fully rounded case is off by up to 1.4 dB (test).
//!
//! Sources: J. Vanderkooy, "A Simple Theory of Cabinet Edge Diffraction", J. Audio Eng. Soc. 39 (December 1991) 923–933,
//! from memory; H. F. Olson, "Direct Radiator Loudspeaker Enclosures", J. Audio Eng. Soc. 17 (1969) 22–29, for how deep the
//! ripples are, from memory; the spread over the rounding is ours, since it has the right limits at both ends.

use super::Outline;
use num_complex::Complex64;

/// From a driver on a baffle to an ear.
#[derive(Debug, Clone, PartialEq)]
pub struct Diffraction {
    /// Of each piece s + r_i − r and s, m.
    pieces_m: Vec<[f64; 2]>,
    /// g.
    near_by: f64,
    /// ka per k: radius of the cone, m.
    radius_m: f64,
    /// sin θ.
    sine: f64,
}

/// A baffle with its edges.
#[derive(Debug, Clone, PartialEq)]
pub struct FlatBaffle {
    /// Its front.
    pub outline: Outline,
    /// R.
    pub edge_radius_m: f64,
}

/// Angles under which the edge is looked at; twice as many change the result by less than 0.01 dB below 10 kHz (test).
const RAYS: usize = 240;
/// A: the edges' own answer.
const FIRST: f64 = 0.6;
/// κ: what they send to each other comes so many ways later.
const SECOND_WAYS: f64 = 1.2;
/// How far in front of the box its bass comes from, in mean ways to the edge.
const FORWARD_WAYS: f64 = 0.65;
/// Pieces over the width of a rounding: as many as its size asks for at 20 kHz, a quarter of a wave each.
const STRIPS: std::ops::RangeInclusive<f64> = 4.0..=24.0;
const STRIP_M: f64 = 4e-3;

impl FlatBaffle {
    /// From a cone of this radius at `place_m` to an ear at `ear_m`: x, y as on the baffle, and in front of it.
    ///
    /// `None` where the place is not on the baffle.
    pub fn diffraction(&self, place_m: [f64; 2], radius_m: f64, ear_m: [f64; 3]) -> Option<Diffraction> {
        self.by_rays(place_m, radius_m, ear_m, RAYS)
    }

    fn by_rays(&self, place_m: [f64; 2], radius_m: f64, ear_m: [f64; 3], rays: usize) -> Option<Diffraction> {
        let edges = self.outline.seen_from(place_m, rays)?;
        let [x, y] = place_m;
        let away = |at: [f64; 3]| {
            let [dx, dy, dz] = [ear_m[0] - at[0], ear_m[1] - at[1], ear_m[2] - at[2]];
            (dx * dx + dy * dy + dz * dz).sqrt()
        };
        let straight_m = away([x, y, 0.0]);
        let wanted = (self.edge_radius_m / STRIP_M).ceil().clamp(*STRIPS.start(), *STRIPS.end());
        let strips = if self.edge_radius_m > 0.0 { wanted as usize } else { 1 };
        let mut pieces_m = Vec::with_capacity(edges.len() * strips);
        for edge in &edges {
            let oblique = edge.distance_m / edge.normal_m;
            let rounding_m = self.edge_radius_m.min(edge.normal_m);
            let flat_m = edge.distance_m - oblique * rounding_m;
            for strip in 0..strips {
                let across = (strip as f64 + 0.5) / strips as f64;
                let arc = across.asin();
                let out_m = flat_m + oblique * rounding_m * across;
                let way_m = flat_m + oblique * rounding_m * arc;
                let behind_m = rounding_m * (1.0 - arc.cos());
                let [along_x, along_y] = edge.direction;
                let piece = [x + out_m * along_x, y + out_m * along_y, -behind_m];
                pieces_m.push([way_m + away(piece) - straight_m, way_m]);
            }
        }
        let sine = (ear_m[0] - x).hypot(ear_m[1] - y) / straight_m;
        let mean_m = pieces_m.iter().map(|[_, way_m]| way_m).sum::<f64>() / pieces_m.len() as f64;
        let near_by = (1.0 - FORWARD_WAYS * mean_m / straight_m).max(0.0);
        Some(Diffraction { pieces_m, near_by, radius_m, sine })
    }
}

impl Diffraction {
    /// H at a wave number, rad/m.
    pub fn at(&self, wave_number: f64) -> Complex64 {
        let ka = wave_number * self.radius_m;
        piston(ka * self.sine) - piston(ka) * self.near_by * self.edges(wave_number, FIRST)
    }

    /// What the edges answer, with this share of the first order.
    fn edges(&self, wave_number: f64, first: f64) -> Complex64 {
        let one = |[detour_m, way_m]: &[f64; 2]| {
            let later = Complex64::cis(-wave_number * SECOND_WAYS * way_m);
            Complex64::cis(-wave_number * detour_m) * (first + (0.5 - first) * later)
        };
        self.pieces_m.iter().map(one).sum::<Complex64>() / self.pieces_m.len() as f64
    }
}

/// 2·J₁(x)/x: how a stiff piston in a wall radiates to the side; P. M. Morse, K. U. Ingard, "Theoretical Acoustics", 7.4.
pub fn piston(x: f64) -> f64 {
    if x.abs() < 1e-4 { 1.0 - x * x / 8.0 } else { 2.0 * libm::j1(x) / x }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    const FAR_M: f64 = 1e5;

    fn db(h: Complex64) -> f64 {
        20.0 * h.norm().log10()
    }

    /// `edge_model.csv`: the sum of the first order alone, by an independent script with 3600 angles.
    #[test]
    fn rectangles_are_those_of_the_table_and_finer_rays_change_little() {
        let table = include_str!("../../tests/reference/edge_model.csv");
        let mut worst_db: [f64; 2] = [0.0; 2];
        let mut rows = 0;
        for line in table.lines().filter(|line| !line.starts_with('#')).skip(1) {
            let (name, rest) = match line.strip_prefix('"') {
                Some(quoted) => quoted.split_once("\",").unwrap(),
                None => line.split_once(',').unwrap(),
            };
            let numbers: Vec<f64> = rest.split(',').take(3).map(|number| number.parse().unwrap()).collect();
            let (size, place) = match name {
                "200x350, centred" => ([0.2, 0.35], [0.1, 0.175]),
                "220x380 offset" => ([0.22, 0.38], [0.11, 0.25]),
                "300x300 centred" => ([0.3, 0.3], [0.15, 0.15]),
                _ => continue,
            };
            let baffle = FlatBaffle { outline: Outline::rectangle(size[0], size[1]), edge_radius_m: 0.0 };
            let ear = [place[0], place[1], FAR_M];
            for (worst, rays) in worst_db.iter_mut().zip([RAYS, 3600]) {
                let wave_number = TAU * numbers[0] / 343.2;
                let found = 1.0 - baffle.by_rays(place, 0.0, ear, rays).unwrap().edges(wave_number, 0.5);
                let off = (db(found) - numbers[1]).abs();
                *worst = worst.max(off);
            }
            rows += 1;
        }
        // Five decimals in the table; 360 angles of a corner's kinks.
        assert!(rows >= 26 && worst_db[1] < 2e-3 && worst_db[0] < 0.02, "{worst_db:?}, {rows} rows");
    }

    /// On the axis of a disc all pieces arrive at once: |H|² = 5/4 − cos(kb): +3.52 dB where b is half a wave, −6.02 dB where
    /// it is a whole one, 9.5 dB between: the published depth of this worst of all shapes is about 10 dB (Olson, from memory).
    #[test]
    fn a_disc_ripples_as_deep_as_published_and_at_the_published_places() {
        let baffle =
            FlatBaffle { outline: Outline::Circle { centre_m: [0.0; 2], diameter_m: 0.3 }, edge_radius_m: 0.0 };
        let seen = baffle.diffraction([0.0; 2], 0.0, [0.0, 0.0, FAR_M]).unwrap();
        let at = |kb: f64| db(1.0 - seen.edges(kb / 0.15, 0.5));
        // The first order alone, in closed form; with the second the worst of all shapes ripples less deep. 1e-5: the ear is a hundred kilometres away.
        assert!((at(PI) - 20.0 * 1.5f64.log10()).abs() < 1e-5 && (at(TAU) + 20.0 * 2f64.log10()).abs() < 1e-5);
        assert!((at(1e-4) + 6.0206).abs() < 1e-4);
        for kb in [0.5, 1.7, 4.0] {
            assert!((at(kb) - 10.0 * (1.25 - f64::cos(kb)).log10()).abs() < 1e-5);
        }
        let depth = at(PI) - at(TAU);
        assert!((depth - 9.54).abs() < 0.01, "{depth}");
        // A centred rectangle of 2:3 spreads them: less deep, as Olson's box of 6 to 7 dB (published, from memory).
        let boxed = FlatBaffle { outline: Outline::rectangle(0.2, 0.3), edge_radius_m: 0.0 };
        let seen = boxed.diffraction([0.1, 0.15], 0.0, [0.1, 0.15, FAR_M]).unwrap();
        let levels: Vec<f64> = (1..400).map(|n| db(seen.at(TAU * 10.0 * f64::from(n) / 343.2))).collect();
        let highest = levels.iter().copied().fold(f64::MIN, f64::max);
        let after = levels.iter().position(|level| *level == highest).unwrap();
        let lowest = levels[after..].iter().copied().fold(f64::MAX, f64::min);
        assert!((2.0..4.0).contains(&highest) && (5.0..7.5).contains(&(highest - lowest)), "{highest}, {lowest}");
    }

    #[test]
    fn bass_is_halved_wherever_the_ear_is_and_however_round_the_edges_are() {
        for edge_radius_m in [0.0, 0.01, 0.2] {
            let baffle = FlatBaffle { outline: Outline::rectangle(0.14, 0.21), edge_radius_m };
            for ear in [[0.07, 0.16, 1.0], [0.6, 0.1, 0.5], [0.07, -0.3, 2.0]] {
                let seen = baffle.diffraction([0.07, 0.14], 0.03, ear).unwrap();
                // Near by a little more than half: the bass comes from in front of the box.
                let bass = seen.at(1e-6);
                assert!((0.5..0.62).contains(&bass.re) && bass.im.abs() < 1e-5, "{ear:?}: {bass}");
                let far = baffle.diffraction([0.07, 0.14], 0.03, ear.map(|side| 1e4 * side)).unwrap().at(1e-9);
                assert!((far - 0.5).norm() < 1e-4);
            }
        }
    }

    /// The exact sphere (`sphere_diffraction.csv`) is a disc rounded all over, with a deep body behind it.
    #[test]
    fn a_disc_rounded_all_over_comes_near_the_sphere() {
        let table = include_str!("../../tests/reference/sphere_diffraction.csv");
        let round = FlatBaffle { outline: Outline::Circle { centre_m: [0.0; 2], diameter_m: 2.0 }, edge_radius_m: 1.0 };
        let sharp = FlatBaffle { edge_radius_m: 0.0, ..round.clone() };
        let off = |baffle: &FlatBaffle| {
            let seen = baffle.diffraction([0.0; 2], 0.0, [0.0, 0.0, FAR_M]).unwrap();
            let rows = table.lines().filter(|line| !line.starts_with('#')).skip(1);
            let one = |line: &str| {
                let numbers: Vec<f64> = line.split(',').take(2).map(|number| number.parse().unwrap()).collect();
                (db(2.0 * seen.at(numbers[0])) - numbers[1]).abs()
            };
            rows.map(one).fold(0.0, f64::max)
        };
        let (of_round, of_sharp) = (off(&round), off(&sharp));
        assert!(of_round < 1.5 && of_sharp > 3.0, "{of_round}, {of_sharp}");
    }

    /// M. Abramowitz, I. A. Stegun, "Handbook of Mathematical Functions", table 9.1: J₁(1) = 0.4400505857, J₁(3.8317) = 0.
    #[test]
    fn a_piston_is_silent_at_the_first_zero_of_its_bessel_function() {
        assert!((piston(1.0) - 2.0 * 0.440_050_585_7).abs() < 1e-9);
        assert!(piston(3.831_705_970_2).abs() < 1e-9 && (piston(1e-5) - 1.0).abs() < 1e-9);
    }
}
