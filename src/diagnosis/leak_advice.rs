//! What a leak means to a builder: how large the hole is, where such holes are, how to find them.

use super::FoundBox;
use crate::enclosure::Hole;
use crate::quantity::{Air, Finding};

/// A leak in a builder's words.
#[derive(Debug, Clone, PartialEq)]
pub struct LeakAdvice {
    /// The hole that would leak as much; absent without a volume or where no round hole does.
    pub hole: Option<Hole>,
    /// With what to do.
    pub finding: Finding,
}

/// What a leak means; `None` where none is seen and none can hide. `wall_m`: how thick the walls are; `load_v`: voltage across
/// the loudspeaker at its resonance, rms.
pub fn leak_advice(found: &FoundBox, wall_m: f64, load_v: Option<f64>, air: &Air) -> Option<LeakAdvice> {
    let _ = (found, wall_m, load_v, air);
    None
}
