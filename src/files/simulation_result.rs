//! What a design promises as a document, `boxwright/simulation/1`.
//!
//! Each curve's columns stand directly in it; a point without value is left out of its curve.

use super::{InputFile, MinimumTable, Provenance, WrittenFile};
use crate::quantity::Finding;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Name and version of this kind of document.
pub const SIMULATION_SCHEMA: &str = "boxwright/simulation/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SimulationDocument {
    /// [`SIMULATION_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: SimulationSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// What 0 dB means.
    pub level_reference: String,
    /// The loudspeakers by name.
    pub speakers: BTreeMap<String, SpeakerTable>,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the option or key of the same name
pub struct SimulationSettings {
    pub band_hz: [f64; 2],
    pub points_per_octave: u32,
    pub drive_v: f64,
    pub distance_m: f64,
    pub angle_deg: f64,
    pub up_deg: f64,
    pub space: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub e_series: Option<String>,
    pub tolerance: bool,
    pub temperature_c: f64,
    pub pressure_kpa: f64,
}

/// A loudspeaker.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SpeakerTable {
    /// Pressure at the ear; phase referred to the arrival.
    pub response: LevelColumns,
    /// What the amplifier sees.
    pub impedance: OhmColumns,
    /// Where that is lowest.
    pub minimum: MinimumTable,
    /// Each way alone.
    pub ways: BTreeMap<String, WayTable>,
    /// Of the cone that goes farthest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub excursion: Option<ExcursionColumns>,
    /// Group delay, the way to the ear left out.
    pub group_delay: DelayColumns,
    /// How loud it gets at the most.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_level: Option<MaxLevelColumns>,
    /// Air in the vent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub port_air_speed: Option<SpeedColumns>,
    /// What the amplifier delivers.
    pub amplifier_current: CurrentColumns,
    /// What each number of the design does to the response, the strongest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub parameters: Vec<ParameterTable>,
    /// What each part of it rests on.
    pub rests_on: Vec<RestsOnTable>,
    /// Parts that were replaced by the nearest of a series.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub replaced: Vec<ReplacedTable>,
}

/// A way.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WayTable {
    /// Pressure at the ear of what it alone moves, through the box as well.
    pub response: LevelColumns,
    /// Voltage across it, dB over the amplifier's.
    pub transfer: TransferColumns,
    /// Of its cone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub excursion: Option<ExcursionColumns>,
}

/// A response.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct LevelColumns {
    pub frequency_hz: Vec<f64>,
    pub level_db: Vec<f64>,
    pub phase_deg: Vec<f64>,
    /// How far it moves with the usual spread of everything, standard deviation.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub u_db: Vec<f64>,
}

/// An impedance.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct OhmColumns {
    pub frequency_hz: Vec<f64>,
    pub magnitude_ohm: Vec<f64>,
    pub phase_deg: Vec<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub u_ohm: Vec<f64>,
}

/// A transfer from the amplifier to a way.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct TransferColumns {
    pub frequency_hz: Vec<f64>,
    pub gain_db: Vec<f64>,
    pub phase_deg: Vec<f64>,
}

/// A cone's excursion to one side.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct ExcursionColumns {
    pub frequency_hz: Vec<f64>,
    pub peak_mm: Vec<f64>,
}

/// Group delay.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct DelayColumns {
    pub frequency_hz: Vec<f64>,
    pub delay_ms: Vec<f64>,
}

/// The loudest level, and what limits it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct MaxLevelColumns {
    pub frequency_hz: Vec<f64>,
    pub level_db: Vec<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_excursion_db: Option<Vec<f64>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_power_db: Option<Vec<f64>>,
}

/// Peak speed of the air.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct SpeedColumns {
    pub frequency_hz: Vec<f64>,
    pub peak_m_s: Vec<f64>,
}

/// Current of the amplifier, rms.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct CurrentColumns {
    pub frequency_hz: Vec<f64>,
    pub current_a: Vec<f64>,
}

/// A number of the design.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ParameterTable {
    /// Its name.
    pub name: String,
    /// How far it usually is off, percent; for losses in units of 1/Q.
    pub spread: f64,
    /// `%` or `1/Q`.
    pub spread_unit: String,
    /// Where that moves the response most, and by how much.
    pub worst_db: f64,
    /// There.
    pub at_hz: f64,
    /// By how much the response moves for it, on the frequencies of the response.
    pub level_db: Vec<f64>,
}

/// What a part of a simulation rests on.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RestsOnTable {
    /// Which part.
    pub of: String,
    /// `measured`, `data sheet` or `drawing`.
    pub rests_on: String,
}

/// A part with the nearest value that can be bought.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ReplacedTable {
    /// Its name.
    pub part: String,
    /// As drawn, SI.
    pub drawn: f64,
    /// Of the series, SI.
    pub nearest: f64,
    /// How far it is off, percent.
    pub off_percent: f64,
}
