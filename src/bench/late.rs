//! What meets many walls, in the bass: the sum of images that makes the modes of a room.
//!
//! ```text
//! S(f) = K(f)·Σ_i g_i·e^{−jωr_i/c}/r_i        more than `most_walls` walls met, r_i ≤ c·late_s
//! s[n] = Σ_i g_i/r_i·k(n − f_g·r_i/c)         S(f) = Σ_n s[n]·e^{−jωn/f_g} below ENDS_HZ, zero above
//! modes of hard walls: f = c/2·√((n_x/L_x)² + (n_y/L_y)² + (n_z/L_z)²)
//! ```
//!
//! g: product of the reflection factors met, a real number; r: path, m. f_g: rate of a coarse grid, 1/s; k: the windowed
//! sinc of `converter.rs`, K its spectrum: real, 1 up to 300 Hz, a half at 600 Hz, nothing from 900 Hz on, to one part in
//! 100,000. The images grow with the cube of time, half a million in half a second of a living room; each costs as many
//! products as the sinc is long, and each frequency as many as the grid has points.
//!
//! Left out for these paths: directivity (in the bass there is none) and the walls' low-pass, which would only make a room
//! seem larger by 9 mm a wall. Holds below 300 Hz; there a loss that does not depend on the angle is a guess like any other.
//!
//! Sources: J. B. Allen, D. A. Berkley, "Image Method for Efficiently Simulating Small-Room Acoustics", J. Acoust. Soc.
//! Am. 65 (April 1979) 943–950; P. M. Peterson, "Simulating the Response of Multiple Microphones to a Single Acoustic
//! Source in a Reverberant Room", J. Acoust. Soc. Am. 80 (November 1986) 1527–1529 (a band-limited impulse for each
//! image); H. Kuttruff, "Room Acoustics", section 3.2 (modes) — all from memory.

use super::air::SPEED_OF_SOUND_M_S;
use super::converter::Kernel;
use super::error::{BenchError, check};
use super::room::{AxisImage, Ends, Room};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// f_g.
const GRID_HZ: f64 = 2_000.0;
const FLAT_TO_HZ: f64 = 300.0;
const HALF_AT_HZ: f64 = 600.0;
const ATTENUATION_DB: f64 = 100.0;
/// The sinc is tabulated at so many places between two points of the grid, straight lines between them: 1.5e-7 of it.
const TABLE_STEPS: usize = 2_048;
/// More images than these take minutes.
const MOST_IMAGES: f64 = 4e6;

/// The sound that meets many walls, from one place to another.
pub struct Late {
    /// s, its first value [`Self::before`] points before the sound begins.
    samples: Vec<f64>,
    before: usize,
}

impl Late {
    /// From here on there is nothing.
    pub const ENDS_HZ: f64 = 2.0 * HALF_AT_HZ - FLAT_TO_HZ;

    /// In a room, whose values were checked.
    pub fn new(room: &Room, ends: Ends) -> Self {
        let sinc = Sinc::new();
        let reach_m = SPEED_OF_SOUND_M_S * room.late_s;
        let mut samples = vec![0.0; (room.late_s * GRID_HZ).ceil() as usize + 2 * sinc.half + 1];
        for_each_image(room, ends, reach_m, |strength, length_m| {
            sinc.add(&mut samples, strength, length_m / SPEED_OF_SOUND_M_S * GRID_HZ);
        });
        Self { samples, before: sinc.half }
    }

    /// S, 1/m.
    pub fn at(&self, frequency_hz: f64) -> Complex64 {
        if frequency_hz >= Self::ENDS_HZ {
            return Complex64::ZERO;
        }
        let turn_rad = -TAU * frequency_hz / GRID_HZ;
        let turn = Complex64::cis(turn_rad);
        // Horner's rule from the last point.
        let sum = self.samples.iter().rev().fold(Complex64::ZERO, |sum, &sample| sum * turn + sample);
        sum * Complex64::cis(-turn_rad * self.before as f64)
    }

    /// When it is over.
    pub fn longest_s(&self) -> f64 {
        self.samples.len() as f64 / GRID_HZ
    }

    /// Refuses more than can be followed.
    pub fn check(room: &Room) -> Result<(), BenchError> {
        check("time for which the walls are followed in the bass in s", room.late_s, [0.0, 10.0])?;
        let images = 4.0 / 3.0 * PI * (SPEED_OF_SOUND_M_S * room.late_s).powi(3) / room.size_m.iter().product::<f64>();
        check("number of images in the bass", images, [0.0, MOST_IMAGES])
    }
}

/// Strength, 1/m, and length of each late path up to `reach_m`, in no order.
fn for_each_image(room: &Room, ends: Ends, reach_m: f64, mut take: impl FnMut(f64, f64)) {
    let [source_m, microphone_m] = [ends.source_m, ends.microphone_m].map(|place_m| room.inside_m(place_m));
    // Along an axis two walls are a whole room apart, the first one less.
    let most_walls = room.size_m.map(|length_m| (reach_m / length_m).ceil() as u32 + 2);
    let axes: [Vec<AxisImage>; 3] = std::array::from_fn(|axis| {
        let images = room.axis_images(axis, source_m[axis], most_walls[axis]);
        images.into_iter().filter(|image| image.gain != 0.0).collect()
    });
    let apart_m2 = |axis: usize, image: &AxisImage| (microphone_m[axis] - image.at_m).powi(2);
    let up: Vec<(f64, &AxisImage)> = axes[2].iter().map(|image| (apart_m2(2, image), image)).collect();
    for along in &axes[0] {
        for across in &axes[1] {
            let flat_m2 = apart_m2(0, along) + apart_m2(1, across);
            if flat_m2 > reach_m * reach_m {
                continue;
            }
            let (gain, walls) = (along.gain * across.gain, along.walls + across.walls);
            for (up_m2, up) in &up {
                let length_m = (flat_m2 + up_m2).sqrt();
                if length_m <= reach_m && walls + up.walls > room.most_walls {
                    take(gain * up.gain / length_m, length_m);
                }
            }
        }
    }
}

/// k, as a table.
struct Sinc {
    half: usize,
    table: Vec<f64>,
}

impl Sinc {
    fn new() -> Self {
        let kernel = kernel();
        let half = kernel.half();
        let place = |step: usize| step as f64 / TABLE_STEPS as f64 - half as f64;
        Self { half, table: (0..=2 * half * TABLE_STEPS + 1).map(|step| kernel.at(place(step))).collect() }
    }

    /// Adds an impulse `place` points after the sound begins.
    fn add(&self, samples: &mut [f64], strength: f64, place: f64) {
        // samples[n] stands at n − half: the sinc reaches from n = place to place + 2·half.
        let first = place.ceil();
        let into = (first - place) * TABLE_STEPS as f64;
        let (step, share) = (into as usize, into.fract());
        let (from, to) = (strength * (1.0 - share), strength * share);
        let steps = (step..self.table.len() - 1).step_by(TABLE_STEPS);
        for (sample, step) in samples[first as usize..].iter_mut().zip(steps) {
            *sample += from * self.table[step] + to * self.table[step + 1];
        }
    }
}

fn kernel() -> Kernel {
    Kernel::new(FLAT_TO_HZ / GRID_HZ, HALF_AT_HZ / GRID_HZ, ATTENUATION_DB)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Surroundings;
    use crate::bench::air::AIR_DENSITY_KG_M3;
    use crate::bench::radiation::Radiation;

    const NEVER_HZ: f64 = 1e9;
    /// So narrow that nothing is directed in the bass.
    const NARROW_M: f64 = 1e-6;

    fn radiation(room: Room, ends: Ends) -> Radiation {
        let around = Surroundings::Room(room);
        let (paths, late) = (around.paths_between(ends), around.late_between(ends));
        Radiation::new(paths, NARROW_M, room.wall_corner_hz).with_late(late)
    }

    /// K by the middle rule over its impulse response.
    fn spectrum_of_the_sinc(hz: f64) -> f64 {
        let (kernel, steps) = (kernel(), 400);
        let half = (kernel.half() * steps) as i32;
        let place = |step: i32| (f64::from(step) + 0.5) / steps as f64;
        let one = |step| kernel.at(place(step)) * (TAU * hz / GRID_HZ * place(step)).cos();
        (-half..half).map(one).sum::<f64>() / steps as f64
    }

    #[test]
    fn the_grid_gives_the_sum_over_its_images() {
        let room = Room { late_s: 0.15, ..Room::living_room() };
        let ends = Ends { source_m: [0.0, 0.0, -0.08], microphone_m: [3.1, 0.75, 0.05] };
        let late = Late::new(&room, ends);
        let mut images = Vec::new();
        // Every image anywhere near, one by one, by the formula in the head of `room.rs`.
        for n in 0..40_i32.pow(3) {
            let n = [n % 40 - 20, n / 40 % 40 - 20, n / 1_600 - 20];
            for p in 0..8 {
                let p = [p & 1, p >> 1 & 1, p >> 2];
                let (mut gain, mut walls, mut square_m2) = (1.0, 0, 0.0);
                for axis in 0..3 {
                    let source_m = room.source_m[axis] + ends.source_m[axis];
                    let at_m = f64::from(1 - 2 * p[axis]) * source_m + 2.0 * f64::from(n[axis]) * room.size_m[axis];
                    square_m2 += (room.source_m[axis] + ends.microphone_m[axis] - at_m).powi(2);
                    let met = [(n[axis] - p[axis]).abs(), n[axis].abs()];
                    gain *= room.reflection[axis][0].powi(met[0]) * room.reflection[axis][1].powi(met[1]);
                    walls += met[0] + met[1];
                }
                if walls > 4 && square_m2.sqrt() <= 0.15 * SPEED_OF_SOUND_M_S {
                    images.push((gain / square_m2.sqrt(), square_m2.sqrt() / SPEED_OF_SOUND_M_S));
                }
            }
        }
        // A ball of 51.5 m holds 11,500 rooms of 49.7 m³.
        assert!((10_500..12_500).contains(&images.len()), "{}", images.len());
        let all: f64 = images.iter().map(|(strength, _)| strength).sum();
        for hz in [1.0, 33.6, 100.0, 299.0, 450.0, 600.0, 850.0] {
            let sum: Complex64 = images.iter().map(|(strength, s)| strength * Complex64::cis(-TAU * hz * s)).sum();
            let apart = late.at(hz) - spectrum_of_the_sinc(hz) * sum;
            // What the sinc lets through above 1.1 kHz comes back mirrored: −100 dB of the sum of all, were they in step.
            assert!(apart.norm() < 1e-5 * all, "{hz}: {apart} of {sum}");
        }
        for (hz, expected, tolerance) in [(0.0, 1.0, 1e-5), (300.0, 1.0, 1e-5), (600.0, 0.5, 1e-4), (900.0, 0.0, 1e-5)]
        {
            assert!((spectrum_of_the_sinc(hz) - expected).abs() < tolerance, "{hz}");
        }
    }

    /// Two walls that face each other, source and microphone a quarter of the way from each: their images lie at odd
    /// multiples of L/2 and L.
    ///
    /// ```text
    /// Σ_i g_i·e^{−jkr_i}/r_i = 2/L·(artanh(R·e^{−jkL}) + √R/2·(artanh y − arctan y) + 1/(2√R)·(artanh y + arctan y))
    /// y = √R·e^{−jkL/2}
    /// ```
    ///
    /// Derivation: Σ y^m/m over m = 3, 7, 11, … is (artanh y − arctan y)/2, over m = 1, 5, 9, … (artanh y + arctan y)/2.
    #[test]
    fn two_walls_give_the_sum_in_closed_form() {
        let (length_m, factor) = (4.0, 0.7_f64);
        let room = Room {
            size_m: [length_m, 40.0, 40.0],
            source_m: [0.25 * length_m, 20.0, 20.0],
            reflection: [[factor; 2], [0.0; 2], [0.0; 2]],
            wall_corner_hz: NEVER_HZ,
            most_walls: 3,
            late_s: 0.6,
        };
        let radiation = radiation(room, Ends { source_m: [0.0; 3], microphone_m: [0.5 * length_m, 0.0, 0.0] });
        for hz in [10.0, 30.0, 42.9, 85.8, 120.0, 250.0] {
            let turn = Complex64::cis(-TAU * hz / SPEED_OF_SOUND_M_S * length_m);
            let half_turn = Complex64::cis(-0.5 * TAU * hz / SPEED_OF_SOUND_M_S * length_m);
            let (root, y) = (factor.sqrt(), factor.sqrt() * half_turn);
            let even = 0.5 * (root * (y.atanh() - y.atan()) + (y.atanh() + y.atan()) / root);
            let sum = 2.0 / length_m * ((factor * turn).atanh() + even);
            let expected = AIR_DENSITY_KG_M3 / (4.0 * PI) * sum;
            let found = radiation.at(hz);
            // 1e-5: ripple of the sinc and its mirror images; after 0.6 s of 51 walls the rest is 1e-8.
            assert!((found - expected).norm() < 1e-5 * expected.norm(), "{hz}: {found} {expected}");
        }
    }

    /// From one corner to the opposite one every mode is heard.
    #[test]
    fn a_hard_room_peaks_at_its_modes() {
        let size_m = [5.1, 3.9, 2.5];
        let room = Room {
            size_m,
            source_m: [0.01; 3],
            reflection: [[0.93; 2]; 3],
            wall_corner_hz: NEVER_HZ,
            most_walls: 2,
            late_s: 0.5,
        };
        let across_m = size_m.map(|length_m| length_m - 0.02);
        let radiation = radiation(room, Ends { source_m: [0.0; 3], microphone_m: across_m });
        let level = |hz: f64| radiation.at(hz).norm();
        // Those that lie 10 Hz and more from their neighbours.
        for n in [[1, 0, 0], [0, 1, 0], [1, 1, 0]] {
            let square: f64 = n.iter().zip(size_m).map(|(&n, length_m)| (f64::from(n) / length_m).powi(2)).sum();
            let expected_hz = 0.5 * SPEED_OF_SOUND_M_S * square.sqrt();
            let around = (-300..=300).map(|step| expected_hz + 0.01 * f64::from(step));
            let found_hz = around.max_by(|a, b| level(*a).total_cmp(&level(*b))).unwrap();
            // Modes are 2 to 3 Hz wide here; the slope of their neighbours moves a peak by less than a fifth of that.
            assert!((found_hz - expected_hz).abs() < 0.5, "{n:?}: {found_hz} {expected_hz}");
        }
    }

    #[test]
    fn one_frequency_and_all_at_once_agree() {
        let ends = Ends { source_m: [0.0; 3], microphone_m: [3.1, 0.75, 0.05] };
        let radiation = radiation(Room::living_room(), ends);
        let along = radiation.along(2_401, 0.5);
        for bin in [0, 67, 135, 700, 1_799, 1_800, 2_400] {
            let direct = radiation.at(0.5 * bin as f64);
            // 1e-9: as without late images.
            assert!((along[bin] - direct).norm() < 1e-9 * direct.norm().max(0.1), "{bin}");
        }
    }
}
