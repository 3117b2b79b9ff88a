//! A comparison of curves as a document, `boxwright/compare/1`.

use super::{InputFile, Provenance, WrittenFile};
use crate::quantity::{Finding, Quantity};
use schemars::JsonSchema;
use serde::Serialize;

/// Name and version of this kind of document.
pub const COMPARE_SCHEMA: &str = "boxwright/compare/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CompareDocument {
    /// [`COMPARE_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: CompareSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// What was compared: `response` or `impedance`.
    pub of: String,
    /// Where.
    pub band_hz: [f64; 2],
    /// What was made equal: measured minus expected.
    pub aligned: AlignedTable,
    /// Root mean square of the difference.
    pub rms_db: f64,
    /// Where they differ most.
    pub worst: WorstPlace,
    /// Whether all of it is within the limits.
    pub within: bool,
    /// Measured minus expected, after the alignment.
    pub deviation: DeviationColumns,
    /// The same by third octaves that lie in the band whole.
    pub third_octaves: ThirdColumns,
    /// Where two measurements differ by more than their doubt; absent where one of them has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub changed: Option<Vec<ChangedTable>>,
    /// What is the matter, best first; absent unless it was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub causes: Option<Vec<CauseTable>>,
    /// What is left with the causes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left: Option<LeftTable>,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the option or key of the same name
pub struct CompareSettings {
    pub band_hz: [f64; 2],
    pub align: String,
    pub limits_db: [f64; 2],
    pub points_per_octave: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub explain: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speaker: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub also: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_m: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_is_calibrated: Option<bool>,
}

/// What was made equal.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as named
pub struct AlignedTable {
    pub level_db: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delay_ms: Option<f64>,
}

/// The greatest difference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as named
pub struct WorstPlace {
    pub level_db: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u_db: Option<f64>,
    pub at_hz: f64,
}

/// The difference.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct DeviationColumns {
    pub frequency_hz: Vec<f64>,
    pub level_db: Vec<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub u_db: Vec<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub phase_deg: Vec<f64>,
}

/// The difference by third octaves.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct ThirdColumns {
    pub frequency_hz: Vec<f64>,
    pub level_db: Vec<f64>,
}

/// A stretch in which the curves differ.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as named
pub struct ChangedTable {
    pub band_hz: [f64; 2],
    pub level: Quantity,
}

/// A cause.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CauseTable {
    /// The job's own name of the thing.
    pub cause: String,
    /// What it was meant to be, in the unit of `found`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub designed: Option<f64>,
    /// What it is; absent where it is there or not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub found: Option<Quantity>,
    /// `open`, `shorted`, `reversed`, `swapped`; absent where there is a number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
    /// How much of the difference it explains.
    pub explains_percent: f64,
    /// In words.
    pub says: String,
    /// What would explain as much in its place.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub or: Vec<String>,
    /// Which further measurement would tell them apart.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tell_apart: Option<String>,
}

/// What is left with the causes.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LeftTable {
    /// Of the difference; noise and what is usual belong to it.
    pub unexplained_percent: f64,
    /// Root mean square of the levels.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rms_db: Option<f64>,
    /// Root mean square of |Z|, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rms_ohm_percent: Option<f64>,
    /// In words.
    pub says: String,
}
