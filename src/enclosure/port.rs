//! A vent: its tuning and its length.

use crate::quantity::Air;

/// Equal tubes in a box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Port {
    /// Inner diameter of one tube.
    pub diameter_m: f64,
    /// Length of one tube.
    pub length_m: f64,
    /// How many there are.
    pub count: u32,
    /// How the tubes end.
    pub ends: PortEnds,
}

/// How a tube ends: flush with a wall, or free in the air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[allow(missing_docs)] // as they are named
pub enum PortEnds {
    #[default]
    FlangedFree,
    FlangedFlanged,
    FreeFree,
}

impl Port {
    /// Tuning of a box of this air volume with it, losses left out.
    pub fn fb_hz(&self, volume_m3: f64, air: &Air) -> f64 {
        let _ = (volume_m3, air);
        f64::NAN
    }
}
