//! What in a box may ring at a frequency: its air or its walls.

use super::Wrinkle;
use crate::enclosure::Material;
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

/// What may ring at a wrinkle, the nearest first.
pub fn hints(wrinkle: &Wrinkle, inside: &Inside, air: &Air) -> Vec<Hint> {
    let _ = (wrinkle, inside, air);
    Vec::new()
}
