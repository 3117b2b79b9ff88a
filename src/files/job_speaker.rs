//! `[baffle.NAME]`, `[network.NAME]`, `[speaker.NAME]` and `[unit.NAME]` of a job.

use super::document::needed_of_size;
use schemars::JsonSchema;
use serde::Deserialize;
use std::path::PathBuf;

/// The front of a box.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct JobBaffle {
    /// `rectangle`, `circle`, `sphere` or `polygon`; absent: what the other keys tell.
    pub shape: Option<String>,
    /// Width of a rectangle.
    pub width_mm: Option<f64>,
    /// Height of a rectangle.
    pub height_mm: Option<f64>,
    /// Of a circle or a ball.
    pub diameter_mm: Option<f64>,
    /// Corners of a polygon, one after the other, to the right and up.
    pub outline_mm: Option<Vec<[f64; 2]>>,
    /// How round the edges are.
    pub edge_radius_mm: f64,
}

/// What lies between amplifier and drivers.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct JobNetwork {
    /// The parts with their nodes.
    pub netlist: PathBuf,
    /// How far the parts are off at the most.
    pub tolerance_percent: Option<f64>,
}

/// A loudspeaker.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct JobSpeaker {
    /// Name of its box.
    #[serde(rename = "box")]
    pub enclosure: Option<String>,
    /// Name of its front.
    pub baffle: Option<String>,
    /// Name of its network.
    pub network: Option<String>,
    /// Where the axis of measurement passes through the front.
    pub axis_mm: Option<[f64; 2]>,
    /// Its ways.
    pub ways: Vec<JobWay>,
}

/// A way of a loudspeaker.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct JobWay {
    /// Name of its driver.
    pub driver: String,
    /// Where its plus is in the network.
    pub node: Option<String>,
    /// Where its minus is; absent: ground.
    #[serde(rename = "return")]
    pub back: Option<String>,
    /// Where it sits, from the front's lower left corner.
    pub at_mm: Option<[f64; 2]>,
    /// How far its acoustic centre lies behind the front.
    pub behind_mm: Option<f64>,
    /// `+` or `-`.
    pub polarity: Option<String>,
    /// `none`: its rear is not in the loudspeaker's box.
    #[serde(rename = "box")]
    pub enclosure: Option<String>,
}

/// A loudspeaker that was built.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct JobUnit {
    /// Which it is one of.
    pub speaker: Option<String>,
}

const SHAPES: [&str; 4] = ["rectangle", "circle", "sphere", "polygon"];

type Fault = (&'static str, String, String);

impl JobBaffle {
    /// Its shape by name, as said or as its keys tell.
    pub fn shape(&self) -> &str {
        let told = if self.outline_mm.is_some() {
            "polygon"
        } else if self.diameter_mm.is_some() {
            "circle"
        } else {
            "rectangle"
        };
        self.shape.as_deref().unwrap_or(told)
    }

    pub(super) fn fault(&self) -> Option<Fault> {
        if let Some(found) = self.shape.as_deref().filter(|shape| !SHAPES.contains(shape)) {
            return Some(("shape", format!("{found:?}"), format!("one of {}", SHAPES.join(", "))));
        }
        let needed = match self.shape() {
            "polygon" => [("outline_mm", self.outline_mm.as_ref().map(|corners| corners.len() as f64 - 2.0)); 2],
            "rectangle" => [("width_mm", self.width_mm), ("height_mm", self.height_mm)],
            _ => [("diameter_mm", self.diameter_mm); 2],
        };
        for (key, value) in needed {
            match value {
                None => return Some((key, "absent".into(), format!("for a {}", self.shape()))),
                Some(found) if found <= 0.0 && key == "outline_mm" => {
                    return Some((key, format!("{} corners", found + 2.0), "three corners or more".into()));
                }
                Some(found) => {
                    if let Some(needed) = needed_of_size(found) {
                        return Some((key, found.to_string(), needed.into()));
                    }
                }
            }
        }
        let found = self.edge_radius_mm;
        (found < 0.0).then(|| ("edge_radius_mm", found.to_string(), "0 or more".into()))
    }
}

impl JobNetwork {
    pub(super) fn fault(&self) -> Option<Fault> {
        let found = self.tolerance_percent.filter(|found| !(0.0..100.0).contains(found))?;
        Some(("tolerance_percent", found.to_string(), "0 to below 100".into()))
    }
}

impl JobSpeaker {
    pub(super) fn fault(&self) -> Option<Fault> {
        if self.ways.is_empty() {
            return Some(("ways", "empty or absent".into(), "a list with one way or more".into()));
        }
        self.ways.iter().find_map(JobWay::fault)
    }
}

impl JobWay {
    fn fault(&self) -> Option<Fault> {
        let needed = |says: &str| says.to_owned();
        if self.driver.is_empty() {
            return Some(("ways", "a way without driver".into(), needed("driver = \"NAME\" in each way")));
        }
        if let Some(found) = self.polarity.as_deref().filter(|sign| !["+", "-"].contains(sign)) {
            return Some(("ways", format!("polarity = {found:?}"), needed("\"+\" or \"-\"")));
        }
        let found = self.enclosure.as_deref().filter(|name| *name != "none")?;
        Some(("ways", format!("box = {found:?}"), needed("\"none\", or nothing for the loudspeaker's own box")))
    }
}
