//! Where satellite and subwoofer meet, as a document, `boxwright/blend/1`.

use super::{InputFile, Provenance, WrittenFile};
use crate::quantity::{Finding, Quantity};
use schemars::JsonSchema;
use serde::Serialize;

/// Name and version of this kind of document.
pub const BLEND_SCHEMA: &str = "boxwright/blend/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct BlendDocument {
    /// [`BLEND_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: BlendSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// The setting that is recommended.
    #[serde(flatten)]
    pub setting: SettingTable,
    /// The delay in the words of a receiver that asks for distances.
    pub distance_setting: DistanceSetting,
    /// What to enter, line by line.
    pub menu: Vec<String>,
    /// Standard uncertainty of the worst seat's ripple.
    pub u_ripple_db: f64,
    /// No setting among the choices has a worst seat with less ripple than this.
    pub at_least_db: f64,
    /// Within these the worst seat's ripple grows by less than half a decibel.
    pub tolerance: ToleranceTable,
    /// What each seat gets.
    pub seats: Vec<BlendSeat>,
    /// Ripple of the worst seat with the setting that a person makes without help.
    pub without_help_db: f64,
    /// That setting.
    pub without_help: SettingTable,
    /// The next best, of other filters.
    pub alternatives: Vec<SettingTable>,
    /// How far down the satellite reaches.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub satellite: Option<SatelliteTable>,
    /// How far up the subwoofer reaches.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub subwoofer: Option<EndTable>,
    /// What no setting mends, or only another one.
    pub unevenness: Vec<UnevennessTable>,
    /// Standing waves of the room, where its sides were given.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub standing_waves: Vec<StandingWaveTable>,
}

/// A setting and what it does.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SettingTable {
    /// The satellite's.
    pub crossover_hz: f64,
    /// `BW2`, `LR4` …, or `none`.
    pub high_pass: String,
    /// The same, with its own frequency where that is another.
    pub low_pass: LowPassTable,
    /// Positive: the satellite is delayed.
    pub delay_ms: f64,
    /// The subwoofer's, `+` or `-`.
    pub polarity: String,
    /// The subwoofer's.
    pub gain_db: f64,
    /// Of the worst seat.
    pub ripple_db: f64,
    /// The same with the delay off by the delay error, to the worse side.
    pub spoiled_db: f64,
}

/// A low-pass by its name, or with its frequency.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(untagged)]
#[allow(missing_docs)] // what it says
pub enum LowPassTable {
    Name(String),
    At { name: String, hz: f64 },
}

impl SettingTable {
    /// Where the subwoofer's low-pass lies.
    pub fn low_pass_hz(&self) -> f64 {
        match self.low_pass {
            LowPassTable::Name(_) => self.crossover_hz,
            LowPassTable::At { hz, .. } => hz,
        }
    }
}

/// The delay as distances.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DistanceSetting {
    /// The subwoofer's distance less the satellites', as it is to be entered: what is nearer gets more delay.
    pub subwoofer_farther_m: f64,
    /// The same.
    pub subwoofer_farther_ft: f64,
    /// The satellite's, where the sound's time of flight tells it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub satellite_m: Option<f64>,
    /// The subwoofer's to go with that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub subwoofer_m: Option<f64>,
}

/// How far a setting may be off.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ToleranceTable {
    /// From and to.
    pub delay_ms: [f64; 2],
    /// From and to.
    pub gain_db: [f64; 2],
}

/// What a seat gets.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct BlendSeat {
    /// What the person calls it.
    pub name: String,
    /// Highest less lowest level of the sum.
    pub ripple_db: f64,
    /// Its standard uncertainty.
    pub u_ripple_db: f64,
    /// The same without help.
    pub without_help_db: f64,
    /// By how much the subwoofer came later than the separate captures say; where a capture of both tells it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub told_by_both: Option<Quantity>,
    /// Levels of the sum that the ripple is taken of, where they are smoothed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub smoothed_db: Option<Vec<f64>>,
    /// The sum.
    pub curve: BlendCurve,
    /// The satellite's part of it.
    pub satellite: BlendCurve,
    /// The subwoofer's.
    pub subwoofer: BlendCurve,
    /// Phase of the subwoofer's part against the satellite's.
    pub phase_difference_deg: Vec<f64>,
}

/// A response on the document's frequencies.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // columns
pub struct BlendCurve {
    pub frequency_hz: Vec<f64>,
    pub level_db: Vec<f64>,
    pub phase_deg: Vec<f64>,
    /// Standard uncertainty of the level; absent where nothing tells it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u_db: Option<Vec<f64>>,
}

/// The end of a band by how much the level has fallen; what the curve does not reach is absent.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // −3, −6, −10 dB
pub struct EndTable {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub f3: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub f6: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub f10: Option<Quantity>,
    /// Against the mean level over this band.
    pub reference_hz: [f64; 2],
    /// Which curve it was read from.
    pub from: String,
}

/// How far down a satellite reaches, and what follows.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SatelliteTable {
    /// Its lower end.
    #[serde(flatten)]
    pub end: EndTable,
    /// The lowest crossover to be recommended with a second-order high-pass; absent without F₃.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub second_order_from_hz: Option<f64>,
    /// With a steeper one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub steeper_from_hz: Option<f64>,
    /// How loud it plays at the most with the chosen high-pass before its cone goes too far; in its pass band, dB re 20 µPa at 1 m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loudest_db: Option<f64>,
}

/// A dip or peak of a seat's sum.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct UnevennessTable {
    /// Which seat.
    pub seat: String,
    /// Where.
    pub at_hz: f64,
    /// Against the overlap's median; less than zero: a dip.
    pub level_db: f64,
    /// The best that delay and polarity could make of it.
    pub bound_db: f64,
    /// `no setting` or `another setting`.
    pub mended_by: String,
    /// The standing wave that lies there, if the room's sides were given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standing_wave: Option<String>,
}

/// A standing wave of the room.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StandingWaveTable {
    /// Where.
    pub frequency_hz: f64,
    /// Half waves along length, width, height.
    pub half_waves: [u32; 3],
    /// `axial`, `tangential`, `oblique`.
    pub kind: String,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the option of the same name
pub struct BlendSettings {
    pub crossovers_hz: Vec<f64>,
    pub high_pass: Vec<String>,
    pub low_pass: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low_pass_hz: Option<Vec<f64>>,
    /// What is looked through, delay of the satellite.
    pub delay_ms: [f64; 2],
    /// What is looked through, over the match of levels.
    pub gain_over_match_db: [f64; 2],
    pub polarity: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub band_hz: Option<[f64; 2]>,
    pub smoothing: String,
    pub delay_error_ms: f64,
    /// What the times of the curves refer to: `loopback`, `mark`, `both playing`, `as given`.
    pub time_reference: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sat_filtered: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sub_filtered: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lowest_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub highest_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loud_db: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub room_m: Option<[f64; 3]>,
    /// Crossovers that were asked for and not looked at, with the reason.
    pub left_out: Vec<String>,
}
