//! The result of a response measurement as a document, `boxwright/response/1`.
//!
//! Columns of one length; numbers with their doubt as `{value, u, unit}`; what can't be had is absent, with a finding that
//! says why. Nothing in it depends on the clock, so that the same input gives the same document to the last digit.

use super::Provenance;
use super::placement_result::GeometryTable;
use crate::quantity::{Finding, Quantity};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Name and version of this kind of document.
pub const RESPONSE_SCHEMA: &str = "boxwright/response/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ResponseDocument {
    /// [`RESPONSE_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
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
    /// When the first sound arrived, ms: after the loopback's, that of marks that go their own way, or the recording's start, less where
    /// each lies in the excitation.
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
    /// Content of high order in step with the cone, where the excitation was a sweep.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub high_order: Option<HighOrderTable>,
    /// Group delay, minimum and excess phase on the frequencies of `curve`.
    pub phase: PhaseColumns,
    /// What rings late, by frequency.
    pub ringing: Vec<RingingTable>,
    /// Where the impulse response lies in `impulse.wav`.
    pub impulse: ImpulseTable,
}

/// What sounds above the twentieth harmonic while a frequency is played.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct HighOrderTable {
    /// What is played.
    pub frequency_hz: Vec<f64>,
    /// When, after the sweep's beginning.
    pub time_s: Vec<f64>,
    /// dB re the fundamental; none where it does not stand out of the noise.
    pub level_db: Vec<Option<f64>>,
    /// The noise in the same band, dB re the fundamental.
    pub floor_db: Vec<f64>,
    /// 1: at one place of the cone only, 0: not in step with it.
    pub synchrony: Vec<f64>,
}

/// The phase taken apart, on the frequencies of the curve.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct PhaseColumns {
    /// After the arrival.
    pub group_delay_ms: Vec<f64>,
    /// Its standard uncertainty.
    pub u_group_delay_ms: Vec<f64>,
    /// What the level alone asks for.
    pub minimum_deg: Vec<f64>,
    /// How far that depends on what the level does outside the band.
    pub u_minimum_deg: Vec<f64>,
    /// The rest of the phase, not wrapped.
    pub excess_deg: Vec<f64>,
    /// Group delay of that.
    pub excess_delay_ms: Vec<f64>,
}

/// Something that goes on after the sound.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct RingingTable {
    /// Its frequency.
    pub frequency: Quantity,
    /// Its Q.
    pub q: Quantity,
    /// How long it takes to fall by 60 dB.
    pub decay: Quantity,
    /// At the arrival, re all that sounds at its frequency.
    pub level_db: f64,
}

/// A file that was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InputFile {
    /// As given, or absolute.
    pub path: String,
    /// Its SHA-256.
    pub sha256: String,
}

/// A file that was written.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WrittenFile {
    /// As given, or absolute.
    pub path: String,
    /// What it holds.
    pub what: String,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the option or key of the same name
pub struct ResponseSettings {
    pub excitation: String,
    pub excitation_plan: String,
    /// From when to when of a long recording was read, s: the stretch around the excitation; absent where that is the whole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub read_s: Option<[f64; 2]>,
    pub reply_channel: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_channel: Option<usize>,
    /// `loopback`, `mark` or `recording`: from when on the arrival counts.
    pub time_reference: String,
    /// The band of marks from which it counts: captures of one zero have the same.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mark_band_hz: Option<[f64; 2]>,
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct ReflectionTable {
    /// When it begins.
    pub starts_ms: f64,
    /// When it is loudest.
    pub peak_ms: f64,
    /// How loud, re the direct sound.
    pub level_db: f64,
}

/// Level and phase by frequency.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct ImpulseTable {
    /// Frames in the file.
    pub frames: usize,
    /// Place of the arrival among them, from 0, fractions included.
    pub arrival_frame: f64,
}

/// A text table: `# key: value` lines, the names of the columns, rows of which an absent number is an empty field.
fn text_table(header: &[(String, String)], names: &str, rows: impl Iterator<Item = Vec<Option<f64>>>) -> String {
    let mut text: String = header.iter().map(|(key, value)| format!("# {key}: {value}\n")).collect();
    text.push_str(&format!("{names}\n"));
    for row in rows {
        let fields: Vec<String> =
            row.into_iter().map(|field| field.map_or_else(String::new, |value| value.to_string())).collect();
        text.push_str(&format!("{}\n", fields.join(",")));
    }
    text
}

/// The distortion as a text table with `# key: value` lines; an empty field is "not measurable here".
pub fn distortion_text(table: &DistortionTable, header: &[(String, String)]) -> String {
    let names =
        |ending: &str| table.harmonics.keys().map(|order| format!("h{order}_{ending}")).collect::<Vec<_>>().join(",");
    let names = format!("frequency_hz,{},thd_percent,{}", names("db"), names("floor_db"));
    let rows = table.frequency_hz.iter().enumerate().map(|(point, hz)| {
        let of = |columns: &BTreeMap<String, Vec<Option<f64>>>| {
            columns.values().map(|column| column[point]).collect::<Vec<_>>()
        };
        [vec![Some(*hz)], of(&table.harmonics), vec![table.thd_percent[point]], of(&table.floor_db)].concat()
    });
    text_table(header, &names, rows)
}

/// Content of high order as a text table; an empty field does not stand out of the noise.
pub fn high_order_text(table: &HighOrderTable, header: &[(String, String)]) -> String {
    let rows = table.frequency_hz.iter().enumerate().map(|(point, hz)| {
        let (time_s, floor_db, synchrony) = (table.time_s[point], table.floor_db[point], table.synchrony[point]);
        vec![Some(*hz), Some(time_s), table.level_db[point], Some(floor_db), Some(synchrony)]
    });
    text_table(header, "frequency_hz,time_s,above_h20_db,floor_db,synchrony", rows)
}

/// The phase taken apart as a text table.
pub fn phase_text(frequency_hz: &[f64], phase: &PhaseColumns, header: &[(String, String)]) -> String {
    let names = "frequency_hz,group_delay_ms,u_group_delay_ms,minimum_deg,u_minimum_deg,excess_deg,excess_delay_ms";
    let columns = [
        frequency_hz,
        &phase.group_delay_ms,
        &phase.u_group_delay_ms,
        &phase.minimum_deg,
        &phase.u_minimum_deg,
        &phase.excess_deg,
        &phase.excess_delay_ms,
    ];
    let rows = (0..frequency_hz.len()).map(|point| columns.iter().map(|column| Some(column[point])).collect());
    text_table(header, names, rows)
}

/// Slices of a decay as a text table: frequency, and for each time the level re the response itself; an empty field where the gate is
/// too short.
pub fn decay_text(frequency_hz: &[f64], slices: &[(f64, &[Option<f64>])], header: &[(String, String)]) -> String {
    let names: Vec<String> = slices.iter().map(|(time_ms, _)| format!("after_{time_ms}_ms_db")).collect();
    let rows = frequency_hz
        .iter()
        .enumerate()
        .map(|(point, hz)| std::iter::once(Some(*hz)).chain(slices.iter().map(|(_, column)| column[point])).collect());
    text_table(header, &format!("frequency_hz,{}", names.join(",")), rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_measurable_is_an_empty_field() {
        let table = DistortionTable {
            frequency_hz: vec![100.0, 200.0],
            harmonics: BTreeMap::from([("2".into(), vec![Some(-40.5), None]), ("3".into(), vec![None, Some(-60.0)])]),
            floor_db: BTreeMap::from([("2".into(), vec![Some(-90.0), None]), ("3".into(), vec![None, Some(-80.0)])]),
            thd_percent: vec![Some(0.94), None],
            ..DistortionTable::default()
        };
        let text = distortion_text(&table, &[("of".into(), "a test".into())]);
        let expected = "# of: a test\nfrequency_hz,h2_db,h3_db,thd_percent,h2_floor_db,h3_floor_db\n100,-40.5,,0.94,-90,\n200,,-60,,,-80\n";
        assert_eq!(text, expected);
    }
}
