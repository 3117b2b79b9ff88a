//! From a room and a place to what can be measured there, and to the bound of a capture's gate.

use crate::MADE_BY;
use crate::files::{
    ClearTable, DistanceTable, GeometryTable, HeightTable, PLACEMENT_SCHEMA, PlaceTable, PlacementDocument,
    PlacementSettings, ReflectingTable,
};
use crate::quantity::{Air, Code, Finding, Severity, db_from_amplitude};
use crate::response::{Outlook, Placement, ResponseError, Surface, far_field_m};

/// A room, and where a loudspeaker stands in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomOrder {
    /// Length, width, height; the loudspeaker faces along the first.
    pub room_m: [f64; 3],
    /// From the corner behind it; absent: a third of the length, half of the width, half of the height.
    pub stands_m: Option<[f64; 3]>,
    /// Largest dimension of the loudspeaker.
    pub size_m: Option<f64>,
}

/// A near measurement of a small loudspeaker, where no distance is given.
const USUAL_DISTANCE_M: f64 = 0.5;

/// Loudspeaker and microphone as ordered.
pub(super) fn placement(room: &RoomOrder, distance_m: Option<f64>) -> Result<Placement, ResponseError> {
    let stands_m = room.stands_m.unwrap_or_else(|| Placement::usual_m(room.room_m));
    Placement::new(room.room_m, stands_m, distance_m.unwrap_or(USUAL_DISTANCE_M))
}

/// What can be measured in a room, as a document; nothing is read or written.
///
/// # Errors
/// [`ResponseError::OutsideRoom`], `Room`, `Distance`.
pub fn place(room: &RoomOrder, distance_m: Option<f64>) -> Result<PlacementDocument, ResponseError> {
    let (placed, air) = (placement(room, distance_m)?, Air::default());
    let here = placed.outlook(&air);
    let height = |there: &Placement| {
        let outlook = there.outlook(&air);
        HeightTable {
            height_m: outlook.stands_m[2],
            gate_ms: 1e3 * outlook.gate_s,
            lowest_hz: outlook.lowest_hz,
            limited_by: surfaces(&outlook),
        }
    };
    let best_place = placed.best_place().outlook(&air);
    let clear = placed.clear_of_walls();
    let far = room.size_m.and_then(|size_m| placed.with_distance(far_field_m(size_m)));
    Ok(PlacementDocument {
        schema: PLACEMENT_SCHEMA.into(),
        made_by: MADE_BY.into(),
        inputs: Vec::new(),
        settings: settings(&placed, room, &air),
        findings: placed_findings(&placed, room, &air),
        files: Vec::new(),
        reflections: placed
            .reflections(&air)
            .iter()
            .map(|reflection| ReflectingTable {
                surface: reflection.surface.to_string(),
                extra_m: reflection.extra_m,
                later_ms: 1e3 * reflection.later_s,
                level_db: db_from_amplitude(reflection.gain),
            })
            .collect(),
        gate_ms: 1e3 * here.gate_s,
        lowest_hz: here.lowest_hz,
        limited_by: surfaces(&here),
        best: height(&placed.at_middle_height()),
        move_to: placed.off_floor_and_ceiling().as_ref().map(height),
        clear_of_walls_m: ClearTable { behind: clear.behind_m, ahead: clear.ahead_m, aside: clear.aside_m },
        best_place: PlaceTable {
            stands_m: best_place.stands_m,
            gate_ms: 1e3 * best_place.gate_s,
            lowest_hz: best_place.lowest_hz,
            limited_by: surfaces(&best_place),
        },
        far_field_m: room.size_m.map(far_field_m),
        at_far_field: far.map(|far| far.outlook(&air)).map(|outlook| DistanceTable {
            distance_m: outlook.distance_m,
            gate_ms: 1e3 * outlook.gate_s,
            lowest_hz: outlook.lowest_hz,
            limited_by: surfaces(&outlook),
        }),
    })
}

fn surfaces(outlook: &Outlook) -> Vec<String> {
    outlook.limited_by.iter().map(Surface::to_string).collect()
}

fn settings(placed: &Placement, room: &RoomOrder, air: &Air) -> PlacementSettings {
    PlacementSettings {
        room_m: placed.room_m(),
        stands_m: placed.stands_m(),
        distance_m: placed.distance_m(),
        size_mm: room.size_m.map(|size_m| 1e3 * size_m),
        speed_m_s: air.speed_of_sound_m_s(),
    }
}

/// The geometry as part of a response's settings.
pub(super) fn geometry(placed: &Placement, room: &RoomOrder) -> GeometryTable {
    let air = Air::default();
    let outlook = placed.outlook(&air);
    GeometryTable {
        settings: settings(placed, room, &air),
        first_reflection_ms: 1e3 * outlook.gate_s,
        limited_by: surfaces(&outlook),
    }
}

/// When the first reflection is due after the direct sound, s.
pub(super) fn first_reflection_s(placed: &Placement) -> f64 {
    placed.outlook(&Air::default()).gate_s
}

/// What there is to say about the place, the worst first.
pub(super) fn placed_findings(placed: &Placement, room: &RoomOrder, air: &Air) -> Vec<Finding> {
    let mut all = Vec::new();
    if let Some(far_m) = room.size_m.and_then(|size_m| placed.nearer_than_far_field(size_m)) {
        all.push(near_field(placed, far_m, air));
    }
    if room.stands_m.is_none() {
        let [x, y, z] = placed.stands_m();
        let says = format!(
            "the loudspeaker is taken to stand {x:.2} m before the wall behind it, {y:.2} m from the side walls, {z:.2} m above the floor"
        );
        all.push(Finding::new(Code::Assumed, Severity::Note, says, "say where it stands with --stands X,Y,Z"));
    }
    all
}

/// Further away is more honest about the whole loudspeaker, and costs the gate.
fn near_field(placed: &Placement, far_m: f64, air: &Air) -> Finding {
    let says = format!(
        "{:.2} m is nearer than the far field, which begins at {far_m:.2} m (three times the largest dimension): levels of parts that are apart don't add as they do further away",
        placed.distance_m()
    );
    let advice = match placed.with_distance(far_m).map(|far| far.outlook(air)) {
        Some(far) => format!(
            "go to {far_m:.2} m, which leaves a gate of {:.2} ms and {:.0} Hz and up instead of {:.0} Hz; or stay here to look at one driver alone",
            1e3 * far.gate_s,
            far.lowest_hz,
            placed.outlook(air).lowest_hz
        ),
        None => "move the loudspeaker back or take a longer room, where that distance fits; or stay here to look at one driver alone".into(),
    };
    Finding::new(Code::NearField, Severity::Caution, says, &advice)
}
