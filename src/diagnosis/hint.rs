//! What in a box may ring at a frequency: its air or its walls.
//!
//! Standing waves: `enclosure/standing_wave.rs`, within [`AIR_TOLERANCE`]. Walls: `enclosure/panel.rs`, between
//! supported and clamped edges, as a glued wall is, widened by [`WALL_TOLERANCE`] for what the material may differ.

use super::Wrinkle;
use crate::enclosure::{Edges, Material, Panel, standing_waves};
use crate::quantity::Air;

/// What is known of a box's inside and its walls.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Inside {
    /// Inner width, height, depth.
    pub inner_m: Option<[f64; 3]>,
    /// Thickness of the walls.
    pub wall_m: Option<f64>,
    /// What they are made of.
    pub material: Option<Material>,
}

/// Something that may ring at a wrinkle's frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Hint {
    /// Where it would ring, from and to.
    pub band_hz: [f64; 2],
    /// What it is, in a builder's words.
    pub says: String,
}

/// A driver's basket, braces and filling shift standing waves by as much (ours).
const AIR_TOLERANCE: f64 = 0.06;
/// Stiffness of boards and prints differs by a quarter: an eighth in frequency, and a driver's weight lowers it (ours).
const WALL_TOLERANCE: f64 = 0.12;
/// The lowest modes of a wall; higher ones move little air.
const MODES: [[u32; 2]; 3] = [[1, 1], [2, 1], [1, 2]];
/// No more hints than these help.
const MOST: usize = 3;
const SIDES: [&str; 3] = ["width", "height", "depth"];

/// What may ring at a wrinkle, the nearest first.
pub fn hints(wrinkle: &Wrinkle, inside: &Inside, air: &Air) -> Vec<Hint> {
    let Some(inner_m) = inside.inner_m else { return Vec::new() };
    let mut all = air_hints(inner_m, air);
    if let (Some(thickness_m), Some(material)) = (inside.wall_m, inside.material) {
        all.extend(wall_hints(inner_m, thickness_m, material));
    }
    let off = |hint: &Hint| (wrinkle.hz / (hint.band_hz[0] * hint.band_hz[1]).sqrt()).ln().abs();
    all.retain(|hint| (hint.band_hz[0]..=hint.band_hz[1]).contains(&wrinkle.hz));
    all.sort_by(|a, b| off(a).total_cmp(&off(b)));
    all.truncate(MOST);
    all
}

fn air_hints(inner_m: [f64; 3], air: &Air) -> Vec<Hint> {
    standing_waves(inner_m, air)
        .into_iter()
        .map(|wave| {
            let along = |at: usize| {
                let (count, mm) = (wave.half_waves[at], 1e3 * inner_m[at]);
                let waves = if count == 1 { "half a wave" } else { "a whole wave" };
                (count > 0).then(|| format!("{waves} along the inner {} of {mm:.0} mm", SIDES[at]))
            };
            let parts: Vec<String> = (0..3).filter_map(along).collect();
            Hint {
                band_hz: [wave.hz * (1.0 - AIR_TOLERANCE), wave.hz * (1.0 + AIR_TOLERANCE)],
                says: format!("the air: {} ({:.0} Hz)", parts.join(" and "), wave.hz),
            }
        })
        .collect()
}

fn wall_hints(inner_m: [f64; 3], thickness_m: f64, material: Material) -> Vec<Hint> {
    let mut hints = Vec::new();
    for (a, b) in [(0, 1), (0, 2), (1, 2)] {
        let panel = Panel { sides_m: [inner_m[a], inner_m[b]], thickness_m, material };
        for half_waves in MODES {
            let supported_hz = panel.mode_hz(half_waves, Edges::Supported);
            let clamped_hz = panel.mode_hz(half_waves, Edges::Clamped);
            let size = format!(
                "{:.0} x {:.0} mm of {:.1} mm {}",
                1e3 * inner_m[a],
                1e3 * inner_m[b],
                1e3 * thickness_m,
                material.name
            );
            let form = if half_waves == [1, 1] { "as a whole" } else { "in two halves" };
            hints.push(Hint {
                band_hz: [supported_hz * (1.0 - WALL_TOLERANCE), clamped_hz * (1.0 + WALL_TOLERANCE)],
                says: format!(
                    "a wall, {size}, ringing {form} ({supported_hz:.0} to {clamped_hz:.0} Hz as its edges are held)"
                ),
            });
        }
    }
    hints
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;

    fn at(hz: f64) -> Wrinkle {
        Wrinkle { hz, u_hz: 1.0, q: 30.0, u_q: 3.0, height_ohm: Complex64::ONE, u_height_ohm: 0.1, sigmas: 9.0 }
    }

    #[test]
    fn the_nearest_cause_comes_first_and_what_is_far_off_not_at_all() {
        let inside = Inside { inner_m: Some([0.11, 0.18, 0.1]), wall_m: Some(4e-3), material: Material::named("pla") };
        let air = Air::default();
        // 343.2/(2·0.18) = 953 Hz.
        let found = hints(&at(960.0), &inside, &air);
        assert!(
            found[0].says.starts_with("the air: half a wave along the inner height of 180 mm (953 Hz)"),
            "{found:?}"
        );
        let wall = Panel { sides_m: [0.11, 0.18], thickness_m: 4e-3, material: Material::named("pla").unwrap() };
        let between = (wall.mode_hz([1, 1], Edges::Supported) * wall.mode_hz([1, 1], Edges::Clamped)).sqrt();
        let found = hints(&at(between), &inside, &air);
        assert!(found[0].says.starts_with("a wall, 110 x 180 mm of 4.0 mm pla, ringing as a whole"), "{found:?}");
        assert!(hints(&at(90.0), &inside, &air).is_empty());
        assert!(hints(&at(960.0), &Inside::default(), &air).is_empty());
    }
}
