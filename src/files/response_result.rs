//! The result of a response measurement as a document, `boxwright/response/1`.
//!
//! Columns of one length; numbers with their doubt as `{value, u, unit}`; what can't be had is absent, with a finding that
//! says why. Nothing in it depends on the clock, so that the same input gives the same document to the last digit.

use super::placement_result::GeometryTable;
use crate::quantity::{Finding, Quantity};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Name and version of this kind of document.
pub const RESPONSE_SCHEMA: &str = "boxwright/response/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ResponseDocument {
    /// [`RESPONSE_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: ResponseSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// Frames a second.
    pub sample_rate_hz: u32,
    /// When the first sound arrived, ms: after the loopback's, or after the recording's start less the excitation's.
    pub arrival: Quantity,
    /// The recorder's clock against the player's, positive when the recording is too long, ppm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_drift: Option<Quantity>,
    /// Reply over noise, dB.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub snr_db: Option<f64>,
    /// Highest sample of the reply.
    pub peak_dbfs: f64,
    /// Its noise, as the level of a sine of the same power.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noise_dbfs: Option<f64>,
    /// The repeats that were used, counted from 1.
    pub repeats_used: Vec<usize>,
    /// Which part of the impulse response counts.
    pub gate: GateTable,
    /// The first reflection, where one can be seen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reflection: Option<ReflectionTable>,
    /// Where the curve may be believed.
    pub valid_hz: [f64; 2],
    /// What 0 dB means.
    pub level_reference: String,
    /// The response.
    pub curve: ResponseCurve,
    /// Harmonics, where the excitation was a sweep.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distortion: Option<DistortionTable>,
    /// Where the impulse response lies in `impulse.wav`.
    pub impulse: ImpulseTable,
}

/// A file that was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InputFile {
    /// As given, or absolute.
    pub path: String,
    /// Its SHA-256.
    pub sha256: String,
}

/// A file that was written.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WrittenFile {
    /// As given, or absolute.
    pub path: String,
    /// What it holds.
    pub what: String,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[allow(missing_docs)] // each is the option or key of the same name
pub struct ResponseSettings {
    pub excitation: String,
    pub excitation_plan: String,
    pub reply_channel: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_channel: Option<usize>,
    pub gate: String,
    pub smoothing: String,
    pub points_per_octave: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mic: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mic_table_is: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mic_sensitivity_dbfs_at_94db: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub excitation_dbfs: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drive_v: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_m: Option<f64>,
    /// The room by which a proposed gate was bounded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub room: Option<GeometryTable>,
    pub clock_corrected: bool,
    pub thd_reference: String,
    pub phase_reference: String,
}

/// The gate, on the time axis of `arrival`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GateTable {
    /// Where its length begins: the arrival.
    pub start_ms: f64,
    /// Its length after the arrival.
    pub length_ms: f64,
    /// How long it is open before the arrival.
    pub before_ms: f64,
    /// Its falling end, a part of the length.
    pub fall_ms: f64,
}

/// A reflection, after the arrival.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ReflectionTable {
    /// When it begins.
    pub starts_ms: f64,
    /// When it is loudest.
    pub peak_ms: f64,
    /// How loud, re the direct sound.
    pub level_db: f64,
}

/// Level and phase by frequency.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct ResponseCurve {
    /// Rising.
    pub frequency_hz: Vec<f64>,
    /// In the document's level reference.
    pub level_db: Vec<f64>,
    /// Wrapped, referred to the arrival.
    pub phase_deg: Vec<f64>,
    /// Standard uncertainty of the level.
    pub u_db: Vec<f64>,
    /// Standard uncertainty of the phase.
    pub u_deg: Vec<f64>,
}

/// Harmonics by the frequency that excited them.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct DistortionTable {
    /// Rising.
    pub frequency_hz: Vec<f64>,
    /// dB re the fundamental by order; none where it is not measurable.
    pub harmonics: BTreeMap<String, Vec<Option<f64>>>,
    /// Their standard uncertainties, dB.
    pub u_db: BTreeMap<String, Vec<Option<f64>>>,
    /// What the noise alone would give, dB re the fundamental.
    pub floor_db: BTreeMap<String, Vec<Option<f64>>>,
    /// Total harmonic distortion re the fundamental.
    pub thd_percent: Vec<Option<f64>>,
}

/// Where the impulse response lies in its file.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ImpulseTable {
    /// Frames in the file.
    pub frames: usize,
    /// Place of the arrival among them, from 0, fractions included.
    pub arrival_frame: f64,
}

/// The distortion as a text table with `# key: value` lines; an empty field is "not measurable here".
pub fn distortion_text(table: &DistortionTable, header: &[(String, String)]) -> String {
    let mut text: String = header.iter().map(|(key, value)| format!("# {key}: {value}\n")).collect();
    let names: Vec<String> = table.harmonics.keys().map(|order| format!("h{order}_db")).collect();
    text.push_str(&format!("frequency_hz,{},thd_percent\n", names.join(",")));
    let field = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    for (point, frequency_hz) in table.frequency_hz.iter().enumerate() {
        let harmonics: Vec<String> = table.harmonics.values().map(|column| field(column[point])).collect();
        text.push_str(&format!("{frequency_hz},{},{}\n", harmonics.join(","), field(table.thd_percent[point])));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_measurable_is_an_empty_field() {
        let table = DistortionTable {
            frequency_hz: vec![100.0, 200.0],
            harmonics: BTreeMap::from([("2".into(), vec![Some(-40.5), None]), ("3".into(), vec![None, Some(-60.0)])]),
            thd_percent: vec![Some(0.94), None],
            ..DistortionTable::default()
        };
        let text = distortion_text(&table, &[("of".into(), "a test".into())]);
        assert_eq!(text, "# of: a test\nfrequency_hz,h2_db,h3_db,thd_percent\n100,-40.5,,0.94\n200,,-60,\n");
    }
}
