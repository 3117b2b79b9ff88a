//! What was designed beside what was found.

use super::FoundBox;
use crate::driver::Doubted;
use crate::enclosure::{Port, SmallSignal};

/// What a box was meant to be; SI, what is absent was not said.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Designed {
    /// Volume of its air.
    pub volume_m3: Option<f64>,
    /// Tuning of a vented box or one with a passive radiator.
    pub fb_hz: Option<f64>,
    /// Leakage.
    pub ql: Option<f64>,
    /// Absorption.
    pub qa: Option<f64>,
    /// Vent or passive radiator.
    pub qp: Option<f64>,
    /// The vent, to say by how much to change its length.
    pub port: Option<Port>,
    /// The driver that it was designed with, to say which resonance was promised.
    pub driver: Option<SmallSignal>,
}

/// One designed number beside the found one.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundAgainst {
    /// Its name, as in [`FoundBox::numbers`].
    pub name: &'static str,
    /// As designed, SI.
    pub designed: f64,
    /// As found.
    pub found: Doubted,
    /// By how many standard uncertainties they differ; positive: found is more.
    pub sigmas: f64,
    /// What it means, in a builder's words.
    pub says: String,
}

/// Every designed number that was also found.
pub fn against_design(designed: &Designed, found: &FoundBox) -> Vec<FoundAgainst> {
    let _ = (designed, found);
    Vec::new()
}
