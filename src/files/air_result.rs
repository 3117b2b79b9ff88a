//! The air in documents.

use crate::quantity::Air;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The air that a result was worked out for, dry.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // each says it with its unit
pub struct AirTable {
    pub temperature_c: f64,
    pub pressure_kpa: f64,
    pub density_kg_m3: f64,
    pub speed_of_sound_m_s: f64,
}

impl From<Air> for AirTable {
    fn from(air: Air) -> Self {
        Self {
            temperature_c: air.temperature_c(),
            pressure_kpa: air.pressure_kpa(),
            density_kg_m3: air.density_kg_m3(),
            speed_of_sound_m_s: air.speed_of_sound_m_s(),
        }
    }
}
