//! A mean of responses as a document, `boxwright/average/1`.

use super::{InputFile, Provenance, ThirdColumns, WrittenFile};
use crate::quantity::Finding;
use schemars::JsonSchema;
use serde::Serialize;

/// Name and version of this kind of document.
pub const AVERAGE_SCHEMA: &str = "boxwright/average/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AverageDocument {
    /// [`AVERAGE_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: AverageSettingsTable,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// What it is: `listening window`, `average over angles`, `average over 5 places`.
    pub what: String,
    /// How many curves went into it.
    pub of: usize,
    /// As many equal weights tell as much.
    pub effective_of: f64,
    /// Where.
    pub band_hz: [f64; 2],
    /// What 0 dB means; absent for relative curves.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_reference: Option<String>,
    /// The mean.
    pub curve: AverageCurve,
    /// Standard deviation among the curves' levels.
    pub spread: LevelByFrequency,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the option of the same name
pub struct AverageSettingsTable {
    pub by: String,
    pub weights: Vec<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub angles: Option<Vec<String>>,
    pub points_per_octave: u32,
    /// What the phases that were averaged are referred to; absent where none were.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub phase_reference: Option<String>,
    /// What `u_db` comes from.
    pub u_from: String,
}

/// Level and phase by frequency.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AverageCurve {
    /// Rising.
    pub frequency_hz: Vec<f64>,
    /// In the document's level reference.
    pub level_db: Vec<f64>,
    /// Wrapped; only of a complex average.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub phase_deg: Option<Vec<f64>>,
    /// Standard uncertainty of the level; absent where nothing tells it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u_db: Option<Vec<f64>>,
}

/// A number of decibels by frequency.
pub type LevelByFrequency = ThirdColumns;
