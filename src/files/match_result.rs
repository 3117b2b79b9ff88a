//! The comparison of units as a document, `boxwright/match/1`.

use super::Provenance;
use super::response_result::{InputFile, WrittenFile};
use crate::quantity::{Finding, Quantity};
use schemars::JsonSchema;
use serde::Serialize;

/// Name and version of this kind of document.
pub const MATCH_SCHEMA: &str = "boxwright/match/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct MatchDocument {
    /// [`MATCH_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: MatchSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// What was compared: `impedance`, `response` or `response and impedance`.
    pub of: String,
    /// Where; of both kinds that of the responses.
    pub band_hz: [f64; 2],
    /// The units, in the order given.
    pub units: Vec<UnitTable>,
    /// Each with each.
    pub pairs: Vec<PairTable>,
    /// The one that differs from all others, of three or more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub odd_one_out: Option<String>,
    /// Whether all pairs are.
    pub within: bool,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the option of the same name
pub struct MatchSettings {
    /// Lower and upper, dB.
    pub limits_db: [f64; 2],
    #[serde(skip_serializing_if = "Option::is_none")]
    pub band_hz: Option<[f64; 2]>,
    pub align: String,
    pub points_per_octave: u32,
    /// Chance of calling units different that are not.
    pub false_alarm: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub again: Option<String>,
}

/// A unit, with its driver's numbers where its curve is an impedance that a driver explains.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // the symbols of every textbook
pub struct UnitTable {
    pub name: String,
    pub path: String,
    /// Its impedance, where `path` is its response.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub impedance_path: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub re: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fs: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub qms: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub qes: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub qts: Option<Quantity>,
}

/// Two units side by side; differences are `a` less `b`.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PairTable {
    /// What was compared: `impedance` or `response`.
    pub of: String,
    /// Where.
    pub band_hz: [f64; 2],
    /// The one.
    pub a: String,
    /// The other.
    pub b: String,
    /// Mean difference.
    pub level_db: f64,
    /// Its standard uncertainty; absent where a curve tells none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_u_db: Option<f64>,
    /// Root mean square of the difference once the mean is taken off.
    pub shape_db: f64,
    /// Which of `level` and `shape` differ by more than their doubt.
    pub differs: Vec<String>,
    /// Root mean square of the difference.
    pub rms_db: f64,
    /// Where they differ most.
    pub worst: WorstTable,
    /// Whether no difference is shown to be beyond the limits.
    pub within: bool,
    /// `within`, `undecided` (beyond the limits by no more than the doubt) or `outside`.
    pub verdict: String,
    /// What differs in the drivers' numbers more than chance explains, in words.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub says: Vec<String>,
}

/// The greatest difference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct WorstTable {
    /// How much.
    pub level_db: f64,
    /// Its standard uncertainty where each curve was measured on a jig of its own; absent where a curve tells none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u_db: Option<f64>,
    /// The same where both were measured on one jig; absent where a curve doesn't tell its noise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u_one_jig_db: Option<f64>,
    /// Where.
    pub at_hz: f64,
}
