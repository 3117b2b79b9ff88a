//! A driver beside its data sheet, in its document.

use super::driver_result::Plain;
use crate::quantity::{Quantity, Unit};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The data sheet beside what was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SheetTable {
    /// Where the promises stand.
    pub path: String,
    /// Each promise of which something was found.
    pub quantities: Vec<PromiseTable>,
    /// What it does to the closed box that the sheet asks for; absent where the sheet or the measurement lacks f_s, Q_ts or V_as.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub closed_box: Option<SheetBoxTable>,
}

/// A promise and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PromiseTable {
    /// By its name in this document.
    pub quantity: String,
    /// The sheet's number.
    pub promised: Plain,
    /// Ours.
    pub found: Quantity,
    /// Found less promised, in percent of the promise (dB for the sensitivity); u counts the sheet's rounding.
    pub difference: Quantity,
    /// The difference over its uncertainty.
    pub over_u: f64,
    /// Whether it is more than twice its uncertainty.
    pub significant: bool,
    /// By how much units of one production usually differ, percent (dB for the sensitivity).
    pub usual_tolerance: f64,
    /// Whether the difference is more than that, its own doubt taken off.
    pub beyond_usual: bool,
}

/// The closed box that the sheet asks for, and what it becomes with this driver.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SheetBoxTable {
    /// Its air.
    pub volume: Plain,
    /// What the sheet promises of it.
    pub promised: PromisedBoxTable,
    /// What this driver makes of it.
    pub found: FoundBoxTable,
    /// The air with which this driver comes to the promised total Q; absent where it never does.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub volume_for_promised_q: Option<Quantity>,
}

/// A box by a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // the symbols of every textbook
pub struct PromisedBoxTable {
    pub fc: Plain,
    pub qtc: Plain,
    pub f3: Plain,
}

/// A box by a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // the symbols of every textbook
pub struct FoundBoxTable {
    pub fc: Quantity,
    pub qtc: Quantity,
    pub f3: Quantity,
    /// How high the response stands above its level, dB.
    pub peak: Quantity,
}

impl Plain {
    /// A number in a unit.
    pub fn new(value: f64, unit: Unit) -> Self {
        Self { value, unit }
    }
}
