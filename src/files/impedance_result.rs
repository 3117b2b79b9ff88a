//! The result of an impedance measurement as a document, `boxwright/impedance/1`.
//!
//! Columns of one length; numbers with their doubt as `{value, u, unit}`; what can't be had is absent.

use super::{InputFile, Provenance, WrittenFile};
use crate::quantity::{Finding, Quantity};
use schemars::JsonSchema;
use serde::Serialize;

/// Name and version of this kind of document.
pub const IMPEDANCE_SCHEMA: &str = "boxwright/impedance/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ImpedanceDocument {
    /// [`IMPEDANCE_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: ImpedanceSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// The curve.
    pub curve: ImpedanceColumns,
    /// Noise at frequencies closer than this is the same noise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resolution_hz: Option<f64>,
    /// Where |Z| is lowest.
    pub minimum: MinimumTable,
    /// Where |Z| has peaks.
    pub peaks: Vec<PeakTable>,
    /// The largest usual value whose 80 % are kept all over the curve (IEC 60268-5 rule).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rated_ohm: Option<f64>,
    /// The band that the rule was applied to: the curve's.
    pub rated_band_hz: [f64; 2],
    /// What was taken off for the leads.
    pub lead: Quantity,
    /// The sense resistor that the captures tell; absent where they don't.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sense: Option<Quantity>,
    /// Gain of the load channel over that of the drive channel; absent where no capture tells it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gain_db: Option<f64>,
    /// The voltage across the load, rms; absent where nothing says what a sample value stands for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub load_voltage: Option<VoltageTable>,
    /// Harmonics of the load's voltage near the resonance; absent where they can't be told from the noise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub harmonics_percent: Option<f64>,
    /// The repeats that were used, counted from 1.
    pub repeats_used: Vec<usize>,
    /// What each of several repeats shows.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub repeats: Vec<RepeatTable>,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the option or key of the same name
pub struct ImpedanceSettings {
    pub excitation: String,
    pub drive_channel: usize,
    pub load_channel: usize,
    pub sense_ohm: f64,
    pub sense_tolerance_percent: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lead_ohm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub open: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub known: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub known_ohm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub known_tolerance_percent: Option<f64>,
    /// Limits of the channels' gain ratio; absent where a capture tells it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gain_limit_db: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub input_full_scale_v: Option<f64>,
    pub points_per_octave: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub band_hz: Option<[f64; 2]>,
}

/// The curve's columns.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct ImpedanceColumns {
    /// Rising.
    pub frequency_hz: Vec<f64>,
    /// |Z|.
    pub magnitude_ohm: Vec<f64>,
    /// Its angle.
    pub phase_deg: Vec<f64>,
    /// Standard uncertainty of the magnitude; the phase is as uncertain.
    pub u_ohm: Vec<f64>,
    /// The part of it that differs from point to point.
    pub u_noise_ohm: Vec<f64>,
}

/// Where |Z| is lowest.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as they are named
pub struct MinimumTable {
    pub ohm: f64,
    pub at_hz: f64,
}

/// Where |Z| has a peak.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as they are named
pub struct PeakTable {
    pub frequency_hz: f64,
    pub magnitude_ohm: f64,
}

/// The voltage across the load, rms.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct VoltageTable {
    /// At the highest peak.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_peak_v: Option<f64>,
    /// In the middle of all points.
    pub median_v: f64,
    /// At the loudest point.
    pub highest_v: f64,
}

/// What one repeat shows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct RepeatTable {
    /// Counted from 1.
    pub repeat: usize,
    /// Its resonance; u is that of the difference to the mean.
    pub peak: Quantity,
    /// By how much its resistance is larger than the mean's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_change: Option<Quantity>,
}
