//! The result of a box's diagnosis as a document, `boxwright/box/1`.
//!
//! Numbers with their doubt as `{value, u, unit}`; what can't be had is absent, with a finding that says why. Losses
//! stand twice: as Q, where one can be told, and as loss factor 1/Q, whose doubt is even.

use super::Provenance;
use super::air_result::AirTable;
use super::response_result::{InputFile, WrittenFile};
use crate::quantity::{Finding, Quantity, Unit};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Name and version of this kind of document.
pub const BOX_SCHEMA: &str = "boxwright/box/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BoxDocument {
    /// [`BOX_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What people call the box.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub name: Option<String>,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: BoxSettingsTable,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// What was found.
    #[serde(flatten)]
    pub found: FoundTable,
    /// What was designed beside it.
    pub design: Vec<DesignTable>,
    /// The same box earlier.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub before: Option<FoundTable>,
    /// What changed since then, causes before what follows from them.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub changes: Vec<ChangeTable>,
    /// The air.
    pub air: AirTable,
}

/// A box as it was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // the quantities are what every textbook calls so
pub struct FoundTable {
    /// `closed`, `vented` or `passive-radiator`.
    pub kind: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub re: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fc: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub qmc: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub qec: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub qtc: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fb: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fp: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub f_low: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub f_high: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub alpha: Option<Quantity>,
    /// What the air behaves as.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub volume: Option<Quantity>,
    /// Leakage; of an open box whose losses can't be told apart all of them.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ql: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub qa: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub qp: Option<Quantity>,
    /// The same as loss factors.
    pub loss_factors: LossTable,
    pub leak: LeakTable,
    /// What is different about the driver since its free-air curve, ratios.
    pub driver_moved: MovedTable,
    /// Narrow resonances.
    pub wrinkles: Vec<WrinkleTable>,
    /// Root mean square of what the model leaves, in percent of |Z|.
    pub residual_percent: f64,
    /// Mean square of the residuals over what the noise explains; absent where the noise is not known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub misfit_ratio: Option<f64>,
    /// By how much the uncertainties were widened for what the model leaves.
    pub widened_ratio: f64,
    /// What was fitted.
    pub band_hz: [f64; 2],
}

/// Loss factors 1/Q.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // as they are named
pub struct LossTable {
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub leakage: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub absorption: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub opening: Option<Quantity>,
    /// All together, of a box with an opening.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub total: Option<Quantity>,
}

/// Whether air leaks out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeakTable {
    /// `yes`, `no` or `undecided`.
    pub present: String,
    /// Absent where no leak is seen.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ql: Option<Quantity>,
    /// Q_L is above this with a probability of 95 %; absent where a leak is certain.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ql_above: Option<f64>,
    /// Twice the logarithm of the likelihood ratio of leaky over airtight; beyond 9 is certain.
    pub evidence: f64,
    /// The round hole that leaks as much.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub hole: Option<HoleTable>,
}

/// A round hole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HoleTable {
    /// Its diameter.
    pub diameter_mm: f64,
    /// Thickness of the wall that it goes through.
    pub wall_mm: f64,
    /// What holds the air back: `laminar` or `orifice`.
    pub flow: String,
    /// Reactance of the air in it over its resistance.
    pub mass_over_friction: f64,
}

/// What of the driver differs from free air, ratios.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // as they are named
pub struct MovedTable {
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub mass: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub stiffness: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub friction: Option<Quantity>,
}

/// A narrow resonance on the impedance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WrinkleTable {
    /// Where.
    pub frequency_hz: f64,
    /// Standard uncertainty of that.
    pub u_frequency_hz: f64,
    /// How high.
    pub height_ohm: f64,
    /// Standard uncertainty of that.
    pub u_height_ohm: f64,
    /// How narrow.
    pub q: f64,
    /// Standard uncertainty of that.
    pub u_q: f64,
    /// The height over its noise.
    pub sigmas: f64,
    /// What may ring there, the nearest first.
    pub hints: Vec<String>,
}

/// A designed number beside the found one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DesignTable {
    /// The document's own key: `volume`, `fb`, `ql`, `qa`, `qp`, `fc`, `qtc`.
    pub quantity: String,
    /// As designed, in the unit of `found`.
    pub designed: f64,
    /// As found; absent where a loss is too small to tell its Q.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub found: Option<Quantity>,
    /// By how many standard uncertainties found is more; for a Q of losses, by how many its loss factor is less.
    pub sigmas: f64,
    /// In words.
    pub says: String,
}

/// A change since an earlier curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChangeTable {
    /// The document's own key; losses as `leakage`, `absorption`, `opening`, `losses`; or `wrinkle`.
    pub quantity: String,
    /// Before; absent where there was nothing.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub before: Option<Quantity>,
    /// After; absent where there is nothing.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub after: Option<Quantity>,
    /// After less before; what both lean on drops out of its doubt.
    pub change: Quantity,
    /// Whether it stands out of its doubt.
    pub real: bool,
    /// In words.
    pub says: String,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // each is the option or the job's key of the same name
pub struct BoxSettingsTable {
    pub kind: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub driver: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub before: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cone: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub opening: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub band_hz: Option<[f64; 2]>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub design_l: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub design_fb_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub design_fp_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub design_ql: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub design_qa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub design_qp: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub port: Option<PortTable>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub inner_mm: Option<[f64; 3]>,
    pub wall_mm: f64,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub material: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub load_v: Option<f64>,
    pub temperature_c: f64,
    pub pressure_kpa: f64,
}

/// A vent's tubes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // as they are named
pub struct PortTable {
    pub diameter_mm: f64,
    pub length_mm: f64,
    pub count: u32,
    pub ends: String,
}

/// Q and its doubt of a loss factor; none where the loss is not above its doubt.
pub fn quality_of(loss: Quantity) -> Option<Quantity> {
    let is_told = loss.value > 2.0 * loss.u;
    is_told.then(|| Quantity { value: 1.0 / loss.value, u: loss.u / (loss.value * loss.value), unit: Unit::Pure })
}
