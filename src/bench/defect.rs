//! What may be wrong with the moving parts of a way.
//!
//! No equation: a coil that rubs is in `rub.rs`, a loose part in `loose.rs`. A defect knows no small signals: where it
//! begins the driver is another one, so that the small-signal truth is that of the healthy way.

use super::driver::Driver;
use super::error::BenchError;
use super::loose::LoosePart;
use super::rub::Rub;
use serde::{Deserialize, Serialize};

/// What is wrong with the moving parts of a way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Defect {
    /// The voice coil scrapes in its gap.
    Rub(Rub),
    /// A part of the cone has come loose and knocks.
    Loose(LoosePart),
}

impl Defect {
    /// The fastest rate that it brings, 1/s.
    pub(super) fn fastest_per_s(&self, driver: &Driver) -> f64 {
        match self {
            Self::Rub(rub) => rub.fastest_per_s(driver.mms_kg),
            Self::Loose(part) => part.fastest_per_s(driver.mms_kg),
        }
    }

    pub(super) fn check(&self, driver: &Driver) -> Result<(), BenchError> {
        match self {
            Self::Rub(rub) => rub.check(),
            Self::Loose(part) => part.check(driver.mms_kg),
        }
    }
}
