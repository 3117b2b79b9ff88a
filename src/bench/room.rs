//! A rectangular room by image sources.
//!
//! ```text
//! image on one axis: (1 − 2p)·s + 2·n·L        walls met there: |n − p| at 0 and |n| at L        p = 0, 1; n = …, −1, 0, 1, …
//! floor reflection, source and microphone at height h, d apart: later by (√(d² + 4h²) − d)/c
//! ```
//!
//! s: place of the source, L: length of the room on that axis, m. Each wall has a reflection factor for low notes; a
//! first-order low-pass for each wall met takes the treble. A loudspeaker faces the far end of the first axis. Places are
//! counted from where the (first) loudspeaker's axis leaves its baffle: ahead, aside, up.
//!
//! Few walls are followed over the whole band; what meets more of them makes the modes of the bass (`late.rs`).
//!
//! Holds for a hard-walled empty box of a room; no diffusion, so that late reverberation is thinner than a real one.
//! Source: J. B. Allen, D. A. Berkley, "Image Method for Efficiently Simulating Small-Room Acoustics",
//! J. Acoust. Soc. Am. 65 (April 1979) 943–950.

use super::error::{BenchError, check};
use super::late::Late;
use serde::{Deserialize, Serialize};

/// What surrounds loudspeaker and microphone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Surroundings {
    /// Nothing reflects.
    Anechoic,
    /// A room.
    Room(Room),
}

/// A rectangular room.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Room {
    /// Length, width, height.
    pub size_m: [f64; 3],
    /// Where the loudspeaker's axis leaves the baffle; it points along the first axis.
    pub source_m: [f64; 3],
    /// Reflection factors of the walls at zero and at full length on each axis (the last two: floor and ceiling).
    pub reflection: [[f64; 2]; 3],
    /// Above this a wall takes the treble.
    pub wall_corner_hz: f64,
    /// The most walls a path may meet, where it is followed over the whole band.
    pub most_walls: u32,
    /// So long the paths that meet more walls are followed in the bass; zero: not at all, and the room has no modes.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub late_s: f64,
}

/// Seats of the living room, from the satellite's place: their names, and ahead, aside, up in m. Ours.
///
/// The sofa faces the loudspeakers, the armchair stands at the side wall, on the rug somebody sits on the floor.
pub const LIVING_ROOM_SEATS: [(&str, [f64; 3]); 3] =
    [("sofa", [3.1, 0.75, 0.05]), ("armchair", [2.3, 2.2, 0.0]), ("rug", [1.7, 0.5, -0.35])];

#[allow(clippy::trivially_copy_pass_by_ref)] // as serde wants it
fn is_zero(number: &f64) -> bool {
    *number == 0.0
}

impl Default for Room {
    /// A small living room, loudspeaker a metre above a hard floor and 0.9 m before the wall.
    fn default() -> Self {
        Self {
            size_m: [4.3, 3.4, 2.45],
            source_m: [0.9, 1.45, 1.0],
            reflection: [[0.75, 0.7], [0.7, 0.75], [0.8, 0.8]],
            wall_corner_hz: 6_000.0,
            most_walls: 4,
            late_s: 0.0,
        }
    }
}

impl Room {
    /// A living room of 50 m³ whose modes stand out in the bass, the satellite near the front wall and left of its middle.
    ///
    /// Ours: no real room. Hard floor and outer walls, a front of furniture at one side.
    pub fn living_room() -> Self {
        Self {
            size_m: [5.1, 3.9, 2.5],
            source_m: [0.7, 1.1, 1.0],
            reflection: [[0.86, 0.8], [0.84, 0.86], [0.88, 0.84]],
            wall_corner_hz: 6_000.0,
            most_walls: 4,
            late_s: 0.5,
        }
    }
}

/// One way from the loudspeaker to the microphone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Path {
    /// Its length.
    pub length_m: f64,
    /// Product of the reflection factors met.
    pub gain: f64,
    /// How many walls it meets.
    pub walls: u32,
    /// Cosine of the angle to the loudspeaker's axis at which it leaves.
    pub cosine: f64,
}

impl Path {
    /// Pressure at low notes for a unit source: gain over length, 1/m.
    pub fn strength(&self) -> f64 {
        self.gain / self.length_m
    }
}

impl Surroundings {
    /// The straight path first, then the others, for a source `above_axis_m` and a microphone `distance_m` away.
    pub fn paths(&self, distance_m: f64, above_axis_m: f64) -> Vec<Path> {
        self.paths_between(Ends { source_m: [0.0, 0.0, above_axis_m], microphone_m: [distance_m, 0.0, 0.0] })
    }

    /// The straight path first, then the others that meet few walls.
    pub fn paths_between(&self, ends: Ends) -> Vec<Path> {
        let [ahead_m, aside_m, up_m] = ends.apart_m();
        let length_m = ahead_m.hypot(aside_m.hypot(up_m));
        let straight = Path { length_m, gain: 1.0, walls: 0, cosine: ahead_m / length_m };
        let mut paths = vec![straight];
        if let Self::Room(room) = self {
            paths.extend(room.reflections(ends));
        }
        paths
    }

    /// What meets more walls, if it is followed.
    pub(super) fn late_between(&self, ends: Ends) -> Option<Late> {
        match self {
            Self::Room(room) if room.late_s > 0.0 => Some(Late::new(room, ends)),
            Self::Anechoic | Self::Room(_) => None,
        }
    }

    pub(super) fn wall_corner_hz(&self) -> f64 {
        match self {
            Self::Anechoic => f64::INFINITY,
            Self::Room(room) => room.wall_corner_hz,
        }
    }

    /// Refuses a room without sense, and what stands outside of it: each with its name, counted from the source.
    pub(super) fn check(&self, places: &[(&'static str, [f64; 3])]) -> Result<(), BenchError> {
        match self {
            Self::Anechoic => Ok(()),
            Self::Room(room) => room.check(places),
        }
    }
}

/// Where a sound begins and where it is heard, counted from the satellite's place: ahead, aside, up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ends {
    /// Where it begins.
    pub source_m: [f64; 3],
    /// Where it is heard.
    pub microphone_m: [f64; 3],
}

impl Ends {
    fn apart_m(&self) -> [f64; 3] {
        std::array::from_fn(|axis| self.microphone_m[axis] - self.source_m[axis])
    }

    /// The straight way.
    pub fn distance_m(&self) -> f64 {
        let [ahead_m, aside_m, up_m] = self.apart_m();
        ahead_m.hypot(aside_m.hypot(up_m))
    }
}

/// One image on one axis.
pub(super) struct AxisImage {
    pub at_m: f64,
    pub gain: f64,
    pub walls: u32,
    mirrored: f64,
}

impl Room {
    /// A place that is counted from the source, in the room.
    pub(super) fn inside_m(&self, place_m: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|axis| self.source_m[axis] + place_m[axis])
    }

    /// All paths that meet at least one wall and at most `most_walls`, earliest first.
    fn reflections(&self, ends: Ends) -> Vec<Path> {
        let [source_m, microphone_m] = [ends.source_m, ends.microphone_m].map(|place_m| self.inside_m(place_m));
        let axes: [_; 3] = std::array::from_fn(|axis| self.axis_images(axis, source_m[axis], self.most_walls));
        let mut paths = Vec::new();
        for along in &axes[0] {
            for across in &axes[1] {
                for up in &axes[2] {
                    let walls = along.walls + across.walls + up.walls;
                    if walls == 0 || walls > self.most_walls {
                        continue;
                    }
                    let ahead_m = microphone_m[0] - along.at_m;
                    let aside_m = (microphone_m[1] - across.at_m).hypot(microphone_m[2] - up.at_m);
                    let length_m = ahead_m.hypot(aside_m);
                    let gain = along.gain * across.gain * up.gain;
                    paths.push(Path { length_m, gain, walls, cosine: along.mirrored * ahead_m / length_m });
                }
            }
        }
        paths.sort_by(|a, b| a.length_m.total_cmp(&b.length_m));
        paths
    }

    /// The images on one axis that meet at most so many walls.
    pub(super) fn axis_images(&self, axis: usize, source_m: f64, most_walls: u32) -> Vec<AxisImage> {
        let most = i64::from(most_walls);
        let [at_zero, at_full] = self.reflection[axis];
        let image = |n: i64, p: i64| {
            let walls = [(n - p).unsigned_abs() as u32, n.unsigned_abs() as u32];
            let mirrored = (1 - 2 * p) as f64;
            AxisImage {
                at_m: mirrored * source_m + 2.0 * n as f64 * self.size_m[axis],
                gain: at_zero.powi(walls[0] as i32) * at_full.powi(walls[1] as i32),
                walls: walls[0] + walls[1],
                mirrored,
            }
        };
        let all = (-most..=most).flat_map(|n| [image(n, 0), image(n, 1)]);
        all.filter(|image| image.walls <= most_walls).collect()
    }

    fn check(&self, places: &[(&'static str, [f64; 3])]) -> Result<(), BenchError> {
        check("upper corner of the walls in Hz", self.wall_corner_hz, [10.0, 1e9])?;
        check("number of walls a path may meet", f64::from(self.most_walls), [0.0, 12.0])?;
        for factor in self.reflection.as_flattened() {
            check("reflection factor of a wall", *factor, [0.0, 0.99])?;
        }
        for (axis, room_m) in self.size_m.into_iter().enumerate() {
            check("length of the room in m", room_m, [0.1, 1000.0])?;
            for &(what, place_m) in places {
                let found_m = self.inside_m(place_m)[axis];
                if !(found_m > 0.0 && found_m < room_m) {
                    return Err(BenchError::OutsideRoom { what, axis: axis + 1, found_m, room_m });
                }
            }
        }
        Late::check(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::air::SPEED_OF_SOUND_M_S;

    /// Rows of tests/reference/bench.csv: the floor's reflection by geometry, exact.
    #[test]
    fn the_floor_reflects_as_late_as_its_geometry_says() {
        for row in crate::bench::reference::rows("reflection_delay") {
            let [distance_m, height_m] = [row.input("d_m"), row.input("h_m")];
            // Walls far away and all but the floor silent: the only path with one wall is the floor's.
            let room = Room {
                size_m: [100.0; 3],
                source_m: [50.0, 50.0, height_m],
                reflection: [[0.0; 2], [0.0; 2], [0.5, 0.0]],
                wall_corner_hz: 1e6,
                most_walls: 1,
                late_s: 0.0,
            };
            let paths = Surroundings::Room(room).paths(distance_m, 0.0);
            let floor = paths.iter().find(|path| path.walls == 1 && path.gain > 0.0).unwrap();
            let delay_s = (floor.length_m - paths[0].length_m) / SPEED_OF_SOUND_M_S;
            assert!((delay_s / row.expected - 1.0).abs() < row.rel_tol, "{delay_s} {}", row.expected);
            assert_eq!(floor.gain, 0.5);
        }
    }

    /// Reciprocity: sound takes the same ways back, and meets the same walls there.
    #[test]
    fn from_the_seat_to_the_loudspeaker_all_paths_are_as_long() {
        let around = Surroundings::Room(Room::living_room());
        let ends = Ends { source_m: [-0.25, 1.75, -0.75], microphone_m: LIVING_ROOM_SEATS[1].1 };
        let back = Ends { source_m: ends.microphone_m, microphone_m: ends.source_m };
        let (there, back) = (around.paths_between(ends), around.paths_between(back));
        assert_eq!((there.len(), back.len()), (129, 129));
        for (one, other) in there.iter().zip(&back) {
            // 1e-12: sums of a few lengths of a few metres.
            assert!((one.length_m - other.length_m).abs() < 1e-12 && (one.gain - other.gain).abs() < 1e-12);
        }
        // √(2.55² + 0.45² + 0.75²), by hand; straight ahead by 2.55 of it.
        assert!((there[0].length_m - 7.2675_f64.sqrt()).abs() < 1e-12);
        assert!((there[0].cosine - 2.55 / 7.2675_f64.sqrt()).abs() < 1e-12);
        // By way of the floor: from 0.25 m and 1 m above it.
        let floor_m = 7.2675 - 0.75 * 0.75 + 1.25 * 1.25;
        assert!(there.iter().any(|path| path.walls == 1 && (path.length_m - f64::sqrt(floor_m)).abs() < 1e-12));
    }

    /// A room has 6 images of one wall, 18 of two and 4·n² + 2 of n (an octahedral count).
    #[test]
    fn a_room_has_as_many_images_as_geometry_allows() {
        let paths = Surroundings::Room(Room::default()).paths(0.5, 0.0);
        for walls in 1..=4_u32 {
            let found = paths.iter().filter(|path| path.walls == walls).count();
            assert_eq!(found as u32, 4 * walls * walls + 2);
        }
        assert!(paths.iter().all(|path| path.cosine.abs() <= 1.0 && path.length_m >= 0.5));
    }
}
