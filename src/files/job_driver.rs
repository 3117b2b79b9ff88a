//! `[driver.NAME]` of a job: what is known of a driver.

use super::document::needed_of_size;
use schemars::JsonSchema;
use serde::Deserialize;
use std::path::PathBuf;

/// What is known of a driver: a document, parameters, or curves.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct JobDriver {
    /// What `driver --json` printed about it.
    pub from: Option<PathBuf>,
    /// Resistance of the voice coil.
    pub re_ohm: Option<f64>,
    /// Resonance.
    pub fs_hz: Option<f64>,
    /// Mechanical Q.
    pub qms: Option<f64>,
    /// Electrical Q.
    pub qes: Option<f64>,
    /// Equivalent volume.
    pub vas_l: Option<f64>,
    /// Area that moves the air.
    pub sd_cm2: Option<f64>,
    /// Inductance of the voice coil.
    pub le_mh: Option<f64>,
    /// A second inductance, with `re2_ohm` across it: the lossy part.
    pub le2_mh: Option<f64>,
    /// What lies across `le2_mh`.
    pub re2_ohm: Option<f64>,
    /// How far the cone may go to one side.
    pub xmax_mm: Option<f64>,
    /// What the voice coil bears for long.
    pub power_w: Option<f64>,
    /// How far such drivers differ from one to the next; two standard deviations, of all its numbers.
    pub spread_percent: Option<f64>,
    /// Its response: dB at 2.83 V and 1 m, with phase.
    pub response: Option<PathBuf>,
    /// Its impedance.
    pub impedance: Option<PathBuf>,
}

impl JobDriver {
    /// The first key whose value can't be used, with what it is and what is needed.
    pub(super) fn fault(&self) -> Option<(&'static str, String, String)> {
        let numbers = [
            ("re_ohm", self.re_ohm),
            ("fs_hz", self.fs_hz),
            ("qms", self.qms),
            ("qes", self.qes),
            ("vas_l", self.vas_l),
            ("sd_cm2", self.sd_cm2),
            ("le2_mh", self.le2_mh),
            ("re2_ohm", self.re2_ohm),
            ("xmax_mm", self.xmax_mm),
            ("power_w", self.power_w),
            ("spread_percent", self.spread_percent),
        ];
        let not_above = |(key, number): (&'static str, Option<f64>)| {
            number.and_then(|found| Some((key, found.to_string(), needed_of_size(found)?.to_owned())))
        };
        let negative = self.le_mh.filter(|number| *number < 0.0);
        numbers
            .into_iter()
            .find_map(not_above)
            .or_else(|| negative.map(|found| ("le_mh", found.to_string(), "0 or more".to_owned())))
            .or_else(|| match (self.le2_mh, self.re2_ohm) {
                (Some(found), None) => Some(("le2_mh", found.to_string(), "re2_ohm beside it".to_owned())),
                (None, Some(found)) => Some(("re2_ohm", found.to_string(), "le2_mh beside it".to_owned())),
                _ => None,
            })
    }
}
