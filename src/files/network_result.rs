//! What a passive network does as a document, `boxwright/network/1`.

use super::{InputFile, MinimumTable, OhmColumns, Provenance, TransferColumns, WrittenFile};
use crate::quantity::Finding;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Name and version of this kind of document.
pub const NETWORK_SCHEMA: &str = "boxwright/network/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct NetworkDocument {
    /// [`NETWORK_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: NetworkSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    /// What the amplifier sees.
    pub impedance: OhmColumns,
    /// Where that is lowest: the hardest load on the amplifier.
    pub minimum: MinimumTable,
    /// From the amplifier to each way.
    pub ways: BTreeMap<String, TransferColumns>,
    /// What each part turns into heat.
    pub parts: Vec<PartTable>,
}

/// Every setting that shaped the result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // each is the option of the same name
pub struct NetworkSettings {
    pub loads: BTreeMap<String, String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speaker: Option<String>,
    pub band_hz: [f64; 2],
    pub points_per_octave: u32,
    pub drive_v: f64,
}

/// A part of a network.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PartTable {
    /// Its name.
    pub name: String,
    /// `resistor`, `coil` or `capacitor`.
    pub kind: String,
    /// Ohm, henry or farad.
    pub value: f64,
    /// Most heat of a steady tone, W.
    pub most_w: f64,
    /// At this frequency.
    pub at_hz: f64,
    /// Most voltage across it, rms.
    pub most_v: f64,
    /// Heat of pink noise of the same voltage in the band, W.
    pub pink_w: f64,
}
