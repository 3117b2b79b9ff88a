//! From the volume acceleration of a way to the pressure at the microphone, straight and by way of the walls.
//!
//! ```text
//! P(f) = q'(f)·ρ/(4π)·(Σ_i g_i·W(f)^{n_i}·D_i(f)·e^{−jωr_i/c}/r_i + S(f))
//! D = 1 + cosθ·(B − 1)        B(f) = (1 + jf/f_1)/(1 + jf/2f_1)        f_1 = 115 m/s/(√2·width)
//! ```
//!
//! i: the straight path and the images (`room.rs`); r: path, m; g: product of the walls' reflection factors; n: number of
//! walls met; W: low-pass of a wall; θ: angle between the path where it leaves the loudspeaker and the loudspeaker's axis.
//! B: step from full space (bass goes everywhere) to half space (+6 dB on the axis), +3 dB at 115/width Hz. D keeps B on the
//! axis, full space at the side and silences the treble behind; ours, because it has the right limits and is smooth. Edges
//! and the cone's own directivity are left out. S: what meets more walls, in the bass only (`late.rs`).
//!
//! Sources: L. L. Beranek, T. J. Mellow, "Acoustics: Sound Fields and Transducers" (2012), section 4.5 (simple source);
//! the frequency of the step is common practice: a sphere or baffle as wide as 0.33 wavelengths.

use super::air::{AIR_DENSITY_KG_M3, SPEED_OF_SOUND_M_S};
use super::colour::{low_pass, shelf};
use super::late::Late;
use super::room::Path;
use num_complex::Complex64;
use std::f64::consts::{PI, SQRT_2, TAU};

/// Middle of the baffle step times the baffle's width, m/s.
const STEP_TIMES_WIDTH_M_S: f64 = 115.0;

/// All paths from one way to the microphone.
pub struct Radiation {
    paths: Vec<Path>,
    step_from_hz: f64,
    wall_corner_hz: f64,
    late: Option<Late>,
}

impl Radiation {
    /// Along these paths, from a baffle of this width, by walls that absorb above `wall_corner_hz`.
    pub fn new(paths: Vec<Path>, baffle_width_m: f64, wall_corner_hz: f64) -> Self {
        Self { paths, step_from_hz: STEP_TIMES_WIDTH_M_S / (SQRT_2 * baffle_width_m), wall_corner_hz, late: None }
    }

    /// With what meets more walls.
    pub fn with_late(self, late: Option<Late>) -> Self {
        Self { late, ..self }
    }

    /// The longest path.
    pub fn longest_s(&self) -> f64 {
        let late_s = self.late.as_ref().map_or(0.0, Late::longest_s);
        self.paths.iter().map(|path| path.length_m / SPEED_OF_SOUND_M_S).fold(late_s, f64::max)
    }

    /// Pressure over volume acceleration, Pa·s²/m³, at one frequency.
    pub fn at(&self, frequency_hz: f64) -> Complex64 {
        let step = self.baffle_step(frequency_hz);
        let wall = low_pass(self.wall_corner_hz, frequency_hz);
        let one = |path: &Path| {
            let delay_s = path.length_m / SPEED_OF_SOUND_M_S;
            let directed = 1.0 + path.cosine * (step - 1.0);
            path.strength() * wall.powu(path.walls) * directed * Complex64::cis(-TAU * frequency_hz * delay_s)
        };
        let early = self.paths.iter().map(one).sum::<Complex64>();
        let all = self.late.as_ref().map_or(early, |late| early + late.at(frequency_hz));
        AIR_DENSITY_KG_M3 / (4.0 * PI) * all
    }

    /// The same at `count` frequencies from zero in steps of `step_hz`, by turning each path's phase step by step.
    pub fn along(&self, count: usize, step_hz: f64) -> Vec<Complex64> {
        let most = self.paths.iter().map(|path| path.walls as usize).max().unwrap_or(0);
        let mut sums = vec![Complex64::ZERO; count];
        for walls in (0..=most).rev() {
            // Horner's rule in W: what has met more walls passes the low-pass once more.
            let group: Vec<&Path> = self.paths.iter().filter(|path| path.walls as usize == walls).collect();
            self.add(&group, &mut sums, step_hz);
            if walls > 0 {
                for (bin, sum) in sums.iter_mut().enumerate() {
                    *sum *= low_pass(self.wall_corner_hz, bin as f64 * step_hz);
                }
            }
        }
        if let Some(late) = &self.late {
            let bass = ((Late::ENDS_HZ / step_hz).ceil() as usize).min(count);
            sums[..bass].iter_mut().enumerate().for_each(|(bin, sum)| *sum += late.at(bin as f64 * step_hz));
        }
        sums.iter_mut().for_each(|sum| *sum *= AIR_DENSITY_KG_M3 / (4.0 * PI));
        sums
    }

    fn add(&self, group: &[&Path], sums: &mut [Complex64], step_hz: f64) {
        let turn = |path: &&Path| Complex64::cis(-TAU * step_hz * path.length_m / SPEED_OF_SOUND_M_S);
        let turns: Vec<Complex64> = group.iter().map(turn).collect();
        let mut phases = vec![Complex64::ONE; group.len()];
        let strengths: Vec<[f64; 2]> =
            group.iter().map(|path| [path.strength(), path.strength() * path.cosine]).collect();
        for (bin, sum) in sums.iter_mut().enumerate() {
            let (mut round, mut forward) = (Complex64::ZERO, Complex64::ZERO);
            for ((phase, turn), [all, ahead]) in phases.iter_mut().zip(&turns).zip(&strengths) {
                round += *phase * *all;
                forward += *phase * *ahead;
                *phase *= turn;
            }
            *sum += round + forward * (self.baffle_step(bin as f64 * step_hz) - 1.0);
        }
    }

    fn baffle_step(&self, frequency_hz: f64) -> Complex64 {
        shelf(self.step_from_hz, 2.0 * self.step_from_hz, frequency_hz)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Room, Surroundings};

    #[test]
    fn turning_phases_step_by_step_gives_the_sum_over_paths() {
        let paths = Surroundings::Room(Room::default()).paths(0.5, -0.08);
        let radiation = Radiation::new(paths, 0.14, 6_000.0);
        let along = radiation.along(40_001, 0.5);
        for bin in [0, 1, 77, 4_000, 40_000] {
            let direct = radiation.at(0.5 * bin as f64);
            // 1e-9: forty thousand turns, each rounded to 1e-16 (1e-11), and 129 paths.
            assert!((along[bin] - direct).norm() < 1e-9 * direct.norm().max(0.1), "{bin}");
        }
    }

    /// On the axis: full space in the bass, half space (twice the pressure) in the treble, +3 dB at 115/width.
    #[test]
    fn the_baffle_doubles_the_pressure_of_high_notes() {
        let paths = Surroundings::Anechoic.paths(2.0, 0.0);
        let radiation = Radiation::new(paths, 0.2, f64::INFINITY);
        let full_space = AIR_DENSITY_KG_M3 / (8.0 * PI);
        let ratio = |hz| radiation.at(hz).norm() / full_space;
        assert!((ratio(0.01) - 1.0).abs() < 1e-8);
        assert!((ratio(1e8) - 2.0).abs() < 1e-8);
        assert!((ratio(115.0 / 0.2) - SQRT_2).abs() < 1e-12);
    }
}
