//! A near and a far field made one, as a document, `boxwright/join/1`.

use super::{InputFile, Provenance, WrittenFile};
use crate::quantity::{Finding, Quantity};
use schemars::JsonSchema;
use serde::Serialize;

/// Name and version of this kind of document.
pub const JOIN_SCHEMA: &str = "boxwright/join/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct JoinDocument {
    /// [`JOIN_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: JoinSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// What 0 dB means: that of the far curve.
    pub level_reference: String,
    /// Where near gives way to far.
    pub joined: JoinedTable,
    /// The near side.
    pub near: SideTable,
    /// The far side.
    pub far: SideTable,
    /// The whole curve.
    pub curve: JoinedColumns,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the option or key of the same name
pub struct JoinSettings {
    pub surfaces: Vec<SurfaceTable>,
    pub front: String,
    pub cone_at_mm: [f64; 2],
    pub axis_at_mm: [f64; 2],
    pub distance_m: f64,
    pub distance_from: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub port_delay_from: Option<String>,
    pub points_per_octave: u32,
    pub temperature_c: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speaker: Option<String>,
}

/// A cone or a port.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as named
pub struct SurfaceTable {
    pub what: String,
    pub area_cm2: f64,
    pub count: u32,
    pub microphone_mm: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_mm: Option<[f64; 2]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delay_ms: Option<f64>,
}

/// Where and how well they meet.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as named
pub struct JoinedTable {
    pub at_hz: f64,
    pub overlap_hz: [f64; 2],
    /// Added to the near field, which is computed for the distance of the far one: 0 dB if both had one gain.
    pub level: Quantity,
    pub delay_ms: f64,
    /// `+`, or `-` where the near field had to be turned over.
    pub polarity: String,
    pub disagreement_rms_db: f64,
    pub worst_db: f64,
    pub worst_at_hz: f64,
    pub disagreement_rms_deg: f64,
}

/// One side.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as named
pub struct SideTable {
    pub valid_hz: [f64; 2],
    /// What ends it: `ka = 1`, the curve, the gate.
    pub limited_by: String,
    /// Standard uncertainty where they meet.
    pub u_db: f64,
}

/// The whole curve.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct JoinedColumns {
    pub frequency_hz: Vec<f64>,
    pub level_db: Vec<f64>,
    pub phase_deg: Vec<f64>,
    pub u_db: Vec<f64>,
}
