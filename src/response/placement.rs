//! Where loudspeaker and microphone stand in a room, and which wall is heard first.
//!
//! ```text
//! floor:                    path = √(d² + 4z²)             ceiling, side walls alike, by the distance from each
//! wall behind loudspeaker:  path = d + 2x                  wall ahead:  path = d + 2(L − x − d)
//! later by (path − d)/c, at most 20·log₁₀(d/path) re the direct sound         T: the earliest of them     f_min = 1/T
//! at half of a room's height h:  T = (√(d² + h²) − d)/c    far field from 3·M on
//! ```
//!
//! d: distance, m; x, y, z: place of the loudspeaker from a corner, m; L: length of the room; c: speed of sound, m/s; M:
//! largest dimension of what sounds, m. The loudspeaker faces along the first axis, the microphone stands straight ahead at
//! its height. Each surface mirrors the loudspeaker; a hard one gives back everything, so that only the longer path takes
//! level away. What meets two surfaces comes later than what meets either of them.
//! Holds for a bare rectangular room; a table or a stand is nearer. A point stands for the loudspeaker: the paths from its
//! lower drivers to the floor are shorter than that from its middle.
//! Source: C. J. Struck, S. F. Temme, "Simulated Free Field Measurements", J. Audio Eng. Soc. 42 (June 1994) 467–482
//! (delay of the floor, 1/T, 3·M: from memory); image sources: J. B. Allen, D. A. Berkley, J. Acoust. Soc. Am. 65 (April
//! 1979) 943–950.

use super::ResponseError;
use crate::quantity::Air;

/// A loudspeaker and a microphone in a rectangular room; both are inside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placement {
    room_m: [f64; 3],
    stands_m: [f64; 3],
    distance_m: f64,
}

/// What reflects.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Surface {
    /// Under both.
    Floor,
    /// Over both.
    Ceiling,
    /// Behind the loudspeaker, where the first axis begins.
    Behind,
    /// Ahead of the loudspeaker, behind the microphone.
    Ahead,
    /// The side wall where the second axis begins.
    Side,
    /// The side wall where it ends.
    OtherSide,
}

/// All of them.
const SURFACES: [Surface; 6] =
    [Surface::Floor, Surface::Ceiling, Surface::Behind, Surface::Ahead, Surface::Side, Surface::OtherSide];
const WALLS: [Surface; 4] = [Surface::Behind, Surface::Ahead, Surface::Side, Surface::OtherSide];

impl std::fmt::Display for Surface {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Floor => "floor",
            Self::Ceiling => "ceiling",
            Self::Behind => "wall behind",
            Self::Ahead => "wall ahead",
            Self::Side => "side wall",
            Self::OtherSide => "opposite side wall",
        })
    }
}

/// A sound that met one surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceReflection {
    /// Which one.
    pub surface: Surface,
    /// How much longer its path is than the direct one, m.
    pub extra_m: f64,
    /// How much later it comes, s.
    pub later_s: f64,
    /// How strong it is at most, re the direct sound.
    pub gain: f64,
}

/// How long a gate may be, and whose reflection ends it.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// Where the loudspeaker stands, m.
    pub stands_m: [f64; 3],
    /// From it to the microphone, m.
    pub distance_m: f64,
    /// T, s.
    pub gate_s: f64,
    /// Below this a gate of T tells nothing, Hz.
    pub lowest_hz: f64,
    /// Whose reflections come first: several where they come together.
    pub limited_by: Vec<Surface>,
}

/// Distances from the walls with which floor and ceiling, at half of the room's height, come first, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClearOfWalls {
    /// From the wall behind the loudspeaker.
    pub behind_m: f64,
    /// From the microphone to the wall ahead.
    pub ahead_m: f64,
    /// From the side walls.
    pub aside_m: f64,
}

/// The largest dimension of what sounds, times this, is where its far field begins.
const FAR_FIELD_RATIO: f64 = 3.0;
/// Lengths that differ by less than this are one, m: nobody places a loudspeaker better.
const TOGETHER_M: f64 = 1e-3;
const SIDES_M: [f64; 2] = [0.1, 1000.0];

/// The distance from which on a loudspeaker of this largest dimension, m, looks like a point.
pub fn far_field_m(size_m: f64) -> f64 {
    FAR_FIELD_RATIO * size_m
}

impl Placement {
    /// A loudspeaker that stands at `stands_m` from a corner of a room of length, width, height `room_m`, and a microphone
    /// `distance_m` ahead of it.
    ///
    /// # Errors
    /// [`ResponseError::Room`] for a side outside of 0.1 to 1000 m, `OutsideRoom` unless both stand inside.
    pub fn new(room_m: [f64; 3], stands_m: [f64; 3], distance_m: f64) -> Result<Self, ResponseError> {
        for (axis, side_m) in room_m.into_iter().enumerate() {
            if !(SIDES_M[0]..=SIDES_M[1]).contains(&side_m) {
                return Err(ResponseError::Room { side: AXES[axis], found_m: side_m });
            }
            let microphone_m = stands_m[axis] + if axis == 0 { distance_m } else { 0.0 };
            for (what, found_m) in [("loudspeaker", stands_m[axis]), ("microphone", microphone_m)] {
                if !(found_m > 0.0 && found_m < side_m) {
                    return Err(ResponseError::OutsideRoom { what, side: AXES[axis], found_m, room_m: side_m });
                }
            }
        }
        if distance_m > 0.0 {
            Ok(Self { room_m, stands_m, distance_m })
        } else {
            Err(ResponseError::Distance { found_m: distance_m })
        }
    }

    /// Where a loudspeaker stands unless it is said: a third of the room's length before the wall behind it, half-way
    /// between the side walls, half-way between floor and ceiling.
    pub fn usual_m(room_m: [f64; 3]) -> [f64; 3] {
        [room_m[0] / 3.0, room_m[1] / 2.0, room_m[2] / 2.0]
    }

    /// Length, width, height of the room.
    pub fn room_m(&self) -> [f64; 3] {
        self.room_m
    }

    /// Where the loudspeaker stands.
    pub fn stands_m(&self) -> [f64; 3] {
        self.stands_m
    }

    /// From loudspeaker to microphone.
    pub fn distance_m(&self) -> f64 {
        self.distance_m
    }

    /// The six reflections that meet one surface, the earliest first.
    pub fn reflections(&self, air: &Air) -> Vec<SurfaceReflection> {
        let mut all = SURFACES.map(|surface| {
            let extra_m = self.extra_m(surface);
            SurfaceReflection {
                surface,
                extra_m,
                later_s: extra_m / air.speed_of_sound_m_s(),
                gain: self.distance_m / (self.distance_m + extra_m),
            }
        });
        all.sort_by(|a, b| a.extra_m.total_cmp(&b.extra_m));
        all.to_vec()
    }

    /// How much longer the path over a surface is than the direct one.
    fn extra_m(&self, surface: Surface) -> f64 {
        let [x, y, z] = self.stands_m;
        let [length, width, height] = self.room_m;
        let mirrored = |away_m: f64| self.distance_m.hypot(2.0 * away_m) - self.distance_m;
        match surface {
            Surface::Floor => mirrored(z),
            Surface::Ceiling => mirrored(height - z),
            Surface::Side => mirrored(y),
            Surface::OtherSide => mirrored(width - y),
            Surface::Behind => 2.0 * x,
            Surface::Ahead => 2.0 * (length - x - self.distance_m),
        }
    }

    /// What this place is good for.
    pub fn outlook(&self, air: &Air) -> Outlook {
        let extra_m = SURFACES.map(|surface| self.extra_m(surface)).into_iter().fold(f64::MAX, f64::min);
        let gate_s = extra_m / air.speed_of_sound_m_s();
        let comes_first = |surface: &Surface| self.extra_m(*surface) - extra_m < TOGETHER_M;
        Outlook {
            stands_m: self.stands_m,
            distance_m: self.distance_m,
            gate_s,
            lowest_hz: 1.0 / gate_s,
            limited_by: SURFACES.into_iter().filter(comes_first).collect(),
        }
    }

    fn at_height(&self, height_m: f64) -> Self {
        let [x, y, _] = self.stands_m;
        Self { stands_m: [x, y, height_m], ..*self }
    }

    /// The same at half of the room's height, where the earlier one of floor and ceiling is latest: no height is better.
    pub fn at_middle_height(&self) -> Self {
        self.at_height(0.5 * self.room_m[2])
    }

    /// The same lifted off the floor, or lowered from the ceiling, just until a wall comes before it, or to the middle;
    /// none where a wall comes first already, or nothing is gained.
    pub fn off_floor_and_ceiling(&self) -> Option<Self> {
        let wall_m = WALLS.iter().map(|wall| self.extra_m(*wall)).fold(f64::MAX, f64::min);
        let [floor_m, ceiling_m] = [Surface::Floor, Surface::Ceiling].map(|surface| self.extra_m(surface));
        if floor_m.min(ceiling_m) >= wall_m {
            return None;
        }
        // mirrored(away) = wall, solved for away.
        let away_m = 0.5 * (wall_m * (wall_m + 2.0 * self.distance_m)).sqrt();
        let away_m = away_m.min(0.5 * self.room_m[2]);
        let is_away_m = self.stands_m[2].min(self.room_m[2] - self.stands_m[2]);
        if away_m - is_away_m < TOGETHER_M {
            return None;
        }
        Some(self.at_height(if floor_m <= ceiling_m { away_m } else { self.room_m[2] - away_m }))
    }

    /// The place in this room, for this distance, with the longest gate: both as far from the walls as the other allows.
    pub fn best_place(&self) -> Self {
        let [length, width, height] = self.room_m;
        Self { stands_m: [0.5 * (length - self.distance_m), 0.5 * width, 0.5 * height], ..*self }
    }

    /// How far from the walls no wall comes before floor and ceiling at half of the room's height.
    pub fn clear_of_walls(&self) -> ClearOfWalls {
        let half_m = 0.5 * self.at_middle_height().extra_m(Surface::Floor);
        ClearOfWalls { behind_m: half_m, ahead_m: half_m, aside_m: 0.5 * self.room_m[2] }
    }

    /// Where the far field of a loudspeaker of this largest dimension, m, begins, if the microphone is nearer.
    pub fn nearer_than_far_field(&self, size_m: f64) -> Option<f64> {
        let far_m = far_field_m(size_m);
        (self.distance_m < far_m - TOGETHER_M).then_some(far_m)
    }

    /// The same with the microphone elsewhere on the axis; none where that is outside of the room.
    pub fn with_distance(&self, distance_m: f64) -> Option<Self> {
        Self::new(self.room_m, self.stands_m, distance_m).ok()
    }
}

const AXES: [&str; 3] = ["length", "width", "height"];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench;

    /// Rows of tests/reference/bench.csv: (√(d² + 4h²) − d)/c with c = 343.2 m/s, which is that of our air at 20 °C.
    #[test]
    fn the_floor_comes_as_late_as_the_reference_says() {
        let text = include_str!("../../tests/reference/bench.csv");
        let rows: Vec<Vec<&str>> = text
            .lines()
            .filter(|line| line.starts_with("reflection_delay"))
            .map(|line| line.split(',').collect())
            .collect();
        assert_eq!(rows.len(), 2);
        for row in rows {
            let input = |name: &str| -> f64 {
                row[1].split(' ').find_map(|pair| pair.strip_prefix(name)).unwrap().parse().unwrap()
            };
            let (distance_m, height_m) = (input("d_m="), input("h_m="));
            let placed = Placement::new([100.0; 3], [50.0, 50.0, height_m], distance_m).unwrap();
            let first = placed.reflections(&Air::default())[0];
            let [expected, tolerance]: [f64; 2] = [row[2], row[4]].map(|field| field.parse().unwrap());
            assert_eq!(first.surface, Surface::Floor);
            assert!((first.later_s / expected - 1.0).abs() < tolerance, "{} {expected}", first.later_s);
        }
    }

    /// The simulated bench makes its own images: those that met one wall, with walls that give back all but a hundredth.
    #[test]
    fn all_six_are_those_of_the_simulated_bench() {
        for (stands_m, distance_m) in [([0.9, 1.45, 1.0], 0.5), ([2.1, 0.4, 2.0], 1.7), ([0.2, 1.7, 1.225], 0.05)] {
            let room_m = [4.3, 3.4, 2.45];
            let placed = Placement::new(room_m, stands_m, distance_m).unwrap();
            let room = bench::Room {
                size_m: room_m,
                source_m: stands_m,
                reflection: [[0.99; 2]; 3],
                wall_corner_hz: 1e6,
                most_walls: 2,
                late_s: 0.0,
            };
            let paths = bench::Surroundings::Room(room).paths(distance_m, 0.0);
            let single: Vec<f64> = paths.iter().filter(|path| path.walls == 1).map(|path| path.length_m).collect();
            let found = placed.reflections(&Air::default());
            assert_eq!((found.len(), single.len()), (6, 6));
            for (found, length_m) in found.iter().zip(&single) {
                // 1e-12: a root each.
                assert!((distance_m + found.extra_m - length_m).abs() < 1e-12, "{found:?} {length_m}");
                assert!((found.gain - distance_m / length_m).abs() < 1e-12);
            }
            // Nothing that met two walls is earlier than the first one.
            let earliest_m = paths[1..].iter().map(|path| path.length_m).fold(f64::MAX, f64::min);
            assert!((earliest_m - single[0]).abs() < 1e-12);
        }
    }

    /// f_min = c/(√(h² + d²) − d) at half height, by hand: h = 2.45 m, d = 0.5 m.
    #[test]
    fn half_height_is_best_and_lower_is_enough_where_a_wall_takes_over() {
        let air = Air::default();
        let placed = Placement::new([20.0, 20.0, 2.45], [10.0, 10.0, 0.7], 0.5).unwrap();
        let middle = placed.at_middle_height().outlook(&air);
        assert!((middle.lowest_hz - 343.2 / (2.45f64.hypot(0.5) - 0.5)).abs() < 1e-9);
        assert_eq!(middle.limited_by, [Surface::Floor, Surface::Ceiling]);
        assert_eq!(placed.off_floor_and_ceiling().unwrap(), placed.at_middle_height());
        for height_m in [0.3, 1.1, 1.3, 2.2] {
            assert!(placed.at_height(height_m).outlook(&air).gate_s < middle.gate_s, "{height_m}");
        }
        // With a wall 0.9 m behind it: 1.8 m of extra path, which the floor reaches at ½·√(1.8·2.8) m.
        let near = Placement::new([4.3, 3.4, 2.45], [0.9, 1.45, 1.0], 0.5).unwrap();
        assert_eq!(near.outlook(&air).limited_by, [Surface::Floor]);
        let lifted = near.off_floor_and_ceiling().unwrap();
        assert!((lifted.stands_m()[2] - 0.5 * (1.8f64 * 2.8).sqrt()).abs() < 1e-12);
        let outlook = lifted.outlook(&air);
        assert_eq!(outlook.limited_by, [Surface::Floor, Surface::Behind]);
        assert!((outlook.gate_s - 1.8 / 343.2).abs() < 1e-12);
        assert_eq!(near.at_middle_height().outlook(&air).gate_s, outlook.gate_s, "the middle is no better");
        assert_eq!(near.at_middle_height().off_floor_and_ceiling(), None);
        assert_eq!(lifted.off_floor_and_ceiling(), None, "nothing more to gain");
        assert_eq!(placed.at_middle_height().off_floor_and_ceiling(), None);
        // From above it comes down to the mirrored height.
        let high = near.at_height(2.0).off_floor_and_ceiling().unwrap();
        assert!((high.stands_m()[2] + lifted.stands_m()[2] - 2.45).abs() < 1e-12);
    }

    /// At the distances that are said to be enough, walls come together with floor and ceiling; no place of a fine raster
    /// has a longer gate than the best one.
    #[test]
    fn walls_are_clear_where_it_is_said_and_the_best_place_is_best() {
        let air = Air::default();
        let placed = Placement::new([8.0, 6.0, 2.5], [2.0, 2.0, 1.0], 1.0).unwrap();
        let clear = placed.clear_of_walls();
        let stands_m = [clear.behind_m, clear.aside_m, 1.25];
        let tight_m = [clear.behind_m + 1.0 + clear.ahead_m, 2.0 * clear.aside_m, 2.5];
        let tight = Placement::new(tight_m, stands_m, 1.0).unwrap().outlook(&air);
        assert_eq!(tight.limited_by.len(), 6, "{tight:?}");
        let best = placed.best_place().outlook(&air);
        for n in 0..1000 {
            let [x, y, z] = [n % 10, n / 10 % 10, n / 100].map(|step| (f64::from(step) + 0.5) / 10.0);
            let other = Placement::new([8.0, 6.0, 2.5], [7.0 * x, 6.0 * y, 2.5 * z], 1.0).unwrap();
            assert!(other.outlook(&air).gate_s <= best.gate_s + 1e-12);
        }
        assert!((far_field_m(0.25) - 0.75).abs() < 1e-15);
        // 3·0.4 m is more than 1.2 m by a rounding.
        let far = placed.with_distance(1.2).unwrap();
        assert_eq!([far.nearer_than_far_field(0.4), far.nearer_than_far_field(0.5)], [None, Some(1.5)]);
        assert_eq!(placed.with_distance(6.5), None);
        let near = placed.with_distance(0.5).unwrap().outlook(&air);
        assert!(near.gate_s > placed.outlook(&air).gate_s, "closer is longer before the floor");
    }

    #[test]
    fn what_stands_outside_is_named() {
        let placed = |stands_m, distance_m| Placement::new([4.0, 3.0, 2.5], stands_m, distance_m).unwrap_err();
        let outside = |what, side, found_m, room_m| ResponseError::OutsideRoom { what, side, found_m, room_m };
        assert_eq!(placed([3.0, 1.0, 1.0], 1.0), outside("microphone", "length", 4.0, 4.0));
        assert_eq!(placed([1.0, 3.5, 1.0], 1.0), outside("loudspeaker", "width", 3.5, 3.0));
        assert_eq!(placed([1.0, 1.0, 0.0], 1.0), outside("loudspeaker", "height", 0.0, 2.5));
        assert_eq!(placed([1.0, 1.0, 1.0], 0.0), ResponseError::Distance { found_m: 0.0 });
        assert!(matches!(placed([1.0, f64::NAN, 1.0], 1.0), ResponseError::OutsideRoom { .. }));
        let flat = Placement::new([4.0, 3.0, 0.0], [1.0; 3], 1.0).unwrap_err();
        assert_eq!(flat, ResponseError::Room { side: "height", found_m: 0.0 });
        let usual = Placement::usual_m([4.5, 3.0, 2.4]);
        assert_eq!(usual, [1.5, 1.5, 1.2]);
    }
}
