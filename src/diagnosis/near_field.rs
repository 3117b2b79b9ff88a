//! Levels close to cone and opening, which are fitted together with the impedance.

/// A level over frequency whose absolute height does not matter.
#[derive(Debug, Clone, PartialEq)]
pub struct NearLevel {
    /// Frequencies, rising.
    pub hz: Vec<f64>,
    /// Level of the pressure for a constant voltage at the terminals.
    pub level_db: Vec<f64>,
    /// Its standard uncertainty; absent where nothing tells it.
    pub u_db: Option<Vec<f64>>,
}

/// What was measured close to the box.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct NearField {
    /// In front of the cone.
    pub cone: Option<NearLevel>,
    /// In the mouth of the vent, or in front of the passive radiator.
    pub opening: Option<NearLevel>,
}
