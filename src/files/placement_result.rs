//! Where a loudspeaker and a microphone stand in a room, and what that is good for, as a document, `boxwright/placement/1`.

use super::{InputFile, WrittenFile};
use crate::quantity::Finding;
use schemars::JsonSchema;
use serde::Serialize;

/// Name and version of this kind of document.
pub const PLACEMENT_SCHEMA: &str = "boxwright/placement/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PlacementDocument {
    /// [`PLACEMENT_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// Nothing: it is geometry.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: PlacementSettings,
    /// What there is to say about it, the worst first.
    pub findings: Vec<Finding>,
    /// Nothing.
    pub files: Vec<WrittenFile>,
    /// One for each surface, the earliest first.
    pub reflections: Vec<ReflectingTable>,
    /// The longest gate without a reflection.
    pub gate_ms: f64,
    /// Below this it tells nothing.
    pub lowest_hz: f64,
    /// Whose reflection ends it; several where they come together.
    pub limited_by: Vec<String>,
    /// The best height, half of the room's.
    pub best: HeightTable,
    /// Where floor or ceiling come first: to which height to lift or lower the loudspeaker until a wall does, or to the best
    /// height.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub move_to: Option<HeightTable>,
    /// With these distances from the walls, floor and ceiling limit the gate at the best height, and no wall.
    pub clear_of_walls_m: ClearTable,
    /// The best place in this room for this distance.
    pub best_place: PlaceTable,
    /// Where the far field of the loudspeaker begins, if its size is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub far_field_m: Option<f64>,
    /// The gate from there, the loudspeaker where it is; absent where that is outside of the room.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_far_field: Option<DistanceTable>,
}

/// Room, place and distance.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PlacementSettings {
    /// Length, width, height; the loudspeaker faces along the first.
    pub room_m: [f64; 3],
    /// Place of the loudspeaker from a corner.
    pub stands_m: [f64; 3],
    /// From it to the microphone.
    pub distance_m: f64,
    /// Largest dimension of the loudspeaker.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size_mm: Option<f64>,
    /// Of sound.
    pub speed_m_s: f64,
}

/// The geometry that bounds the gate of a capture.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GeometryTable {
    /// Room, place and distance.
    #[serde(flatten)]
    pub settings: PlacementSettings,
    /// When the first reflection comes.
    pub first_reflection_ms: f64,
    /// Whose it is.
    pub limited_by: Vec<String>,
}

/// What comes by way of a surface.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ReflectingTable {
    /// `floor`, `ceiling`, `wall behind`, `wall ahead`, `side wall`, `opposite side wall`.
    pub surface: String,
    /// How much longer its path is.
    pub extra_m: f64,
    /// How much later it comes than the direct sound.
    pub later_ms: f64,
    /// How loud it is at most, re the direct sound.
    pub level_db: f64,
}

/// What a height is good for.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as in the document
pub struct HeightTable {
    pub height_m: f64,
    pub gate_ms: f64,
    pub lowest_hz: f64,
    pub limited_by: Vec<String>,
}

/// What a place is good for.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as in the document
pub struct PlaceTable {
    pub stands_m: [f64; 3],
    pub gate_ms: f64,
    pub lowest_hz: f64,
    pub limited_by: Vec<String>,
}

/// What a distance is good for.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[allow(missing_docs)] // as in the document
pub struct DistanceTable {
    pub distance_m: f64,
    pub gate_ms: f64,
    pub lowest_hz: f64,
    pub limited_by: Vec<String>,
}

/// Distances from the walls.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct ClearTable {
    /// From the wall behind the loudspeaker to it.
    pub behind: f64,
    /// From the microphone to the wall ahead.
    pub ahead: f64,
    /// From the axis to each side wall.
    pub aside: f64,
}
