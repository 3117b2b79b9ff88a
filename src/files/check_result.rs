//! A job judged against its own limits, as a document, `boxwright/check/1`. Paths are relative to the job's folder.

use super::{InputFile, WorstPlace, WrittenFile};
use crate::quantity::Finding;
use schemars::JsonSchema;
use serde::Serialize;

/// Name and version of this kind of document.
pub const CHECK_SCHEMA: &str = "boxwright/check/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CheckDocument {
    /// [`CHECK_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// The limits.
    pub settings: CheckSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// Nothing is written.
    pub files: Vec<WrittenFile>,
    /// What was judged.
    pub verdicts: Vec<VerdictTable>,
    /// Whether nothing is outside its limits.
    pub within: bool,
}

/// The limits by which it is judged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the job's key of the same name
pub struct CheckSettings {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against_design_db: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pair_db: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub band_hz: Option<[f64; 2]>,
}

/// One loudspeaker against its design, or a pair.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct VerdictTable {
    /// The loudspeaker.
    pub of: String,
    /// `design`, or the other loudspeaker of the pair.
    pub against: String,
    /// `within`, `undecided`, `outside`, or `not judged`.
    pub verdict: String,
    /// How far they may differ, dB.
    pub limit_db: f64,
    /// Where it was judged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub band_hz: Option<[f64; 2]>,
    /// Where they differ most.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst: Option<WorstPlace>,
    /// The curves.
    pub curves: Vec<String>,
    /// Why it was not judged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub says: Option<String>,
}
