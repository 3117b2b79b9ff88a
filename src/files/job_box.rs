//! `[box.NAME]` of a job: a box as it was designed.

use super::document::needed_of_size;
use crate::diagnosis::{Designed, Inside};
use crate::enclosure::{Material, Port, PortEnds};
use schemars::JsonSchema;
use serde::Deserialize;

/// A box as it was designed.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct JobBox {
    /// `closed`, `vented`, `passive-radiator` or `open-back`.
    pub kind: Option<String>,
    /// Volume of its air.
    pub volume_l: Option<f64>,
    /// Q of its leakage.
    pub ql: Option<f64>,
    /// Q of its absorption.
    pub qa: Option<f64>,
    /// Q of its vent or passive radiator.
    pub qp: Option<f64>,
    /// Its tuning.
    pub fb_hz: Option<f64>,
    /// The passive radiator's own resonance.
    pub fp_hz: Option<f64>,
    /// Area of what is open in an open back.
    pub opening_cm2: Option<f64>,
    /// Its vent.
    pub port: Option<JobPort>,
    /// Inner width, height, depth.
    pub inner_mm: Option<[f64; 3]>,
    /// Thickness of its walls.
    pub wall_mm: Option<f64>,
    /// What they are made of.
    pub material: Option<String>,
}

/// A vent's tubes.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct JobPort {
    /// Inner diameter.
    pub diameter_mm: f64,
    /// Length.
    pub length_mm: f64,
    /// How many.
    #[serde(default = "one")]
    pub count: u32,
    /// How they end.
    #[serde(default)]
    pub ends: Option<String>,
}

fn one() -> u32 {
    1
}

const KINDS: [&str; 4] = ["closed", "vented", "passive-radiator", "open-back"];

impl JobBox {
    /// The first key whose value can't be used, with what it is and what is needed.
    pub(super) fn fault(&self) -> Option<(&'static str, String, String)> {
        let words = [
            ("kind", self.kind.as_deref().filter(|kind| !KINDS.contains(kind)), KINDS.join(", ")),
            ("material", self.material.as_deref().filter(|name| Material::named(name).is_none()), material_names()),
        ];
        if let Some((key, found, needed)) =
            words.into_iter().find_map(|(key, found, needed)| Some((key, found?, needed)))
        {
            return Some((key, format!("{found:?}"), format!("one of {needed}")));
        }
        let inner = self.inner_mm.into_iter().flatten().map(|side| ("inner_mm", Some(side)));
        [
            ("volume_l", self.volume_l),
            ("ql", self.ql),
            ("qa", self.qa),
            ("qp", self.qp),
            ("fb_hz", self.fb_hz),
            ("fp_hz", self.fp_hz),
            ("wall_mm", self.wall_mm),
            ("opening_cm2", self.opening_cm2),
        ]
        .into_iter()
        .chain(inner)
        .find_map(|(key, number)| {
            number.and_then(|found| Some((key, found.to_string(), needed_of_size(found)?.into())))
        })
        .or_else(|| self.port.as_ref().and_then(JobPort::fault))
    }
}

impl JobBox {
    /// What it was meant to be, SI.
    pub fn designed(&self) -> Designed {
        Designed {
            volume_m3: self.volume_l.map(|litres| 1e-3 * litres),
            fb_hz: self.fb_hz,
            fp_hz: self.fp_hz,
            ql: self.ql,
            qa: self.qa,
            qp: self.qp,
            port: self.port.as_ref().map(JobPort::port),
            ..Designed::default()
        }
    }

    /// Its inside and its walls, SI.
    pub fn inside(&self) -> Inside {
        Inside {
            inner_m: self.inner_mm.map(|sides| sides.map(|side| 1e-3 * side)),
            wall_m: self.wall_mm.map(|wall| 1e-3 * wall),
            material: self.material.as_deref().and_then(Material::named),
        }
    }
}

impl JobPort {
    fn fault(&self) -> Option<(&'static str, String, String)> {
        let more = |found: f64| {
            (
                "port",
                found.to_string(),
                "a diameter above 0, a length of 0 or more, and a count of 1 or more".to_owned(),
            )
        };
        if needed_of_size(self.diameter_mm).is_some() {
            return Some(more(self.diameter_mm));
        }
        if self.length_mm < 0.0 {
            return Some(more(self.length_mm));
        }
        if self.count == 0 {
            return Some(more(0.0));
        }
        let ends = self.ends.as_deref().filter(|name| !PortEnds::NAMES.iter().any(|(known, _)| known == name))?;
        let names: Vec<&str> = PortEnds::NAMES.iter().map(|(name, _)| *name).collect();
        Some(("port", format!("ends = {ends:?}"), format!("ends of {}", names.join(", "))))
    }

    /// The tubes in SI.
    pub fn port(&self) -> Port {
        let ends = PortEnds::NAMES.iter().find(|(name, _)| Some(*name) == self.ends.as_deref());
        Port {
            diameter_m: 1e-3 * self.diameter_mm,
            length_m: 1e-3 * self.length_mm,
            count: self.count,
            ends: ends.map_or(PortEnds::default(), |(_, ends)| *ends),
        }
    }
}

/// The materials that are known by name.
pub fn material_names() -> String {
    crate::enclosure::MATERIALS.map(|material| material.name).join(", ")
}
