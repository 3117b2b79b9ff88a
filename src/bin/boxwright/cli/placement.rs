//! The room of `boxwright response --room`: where loudspeaker and microphone stand, and what can be measured there.

use super::{Failure, TellingArgs, tell, typed};
use boxwright::files::{GeometryTable, HeightTable, PlacementDocument};
use boxwright::job::{RoomOrder, place};
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use std::process::ExitCode;

/// Options of the room.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Room")]
pub struct RoomArgs {
    /// Length x width x height of the room in m, the loudspeaker facing along the first: without a capture says what can be
    /// measured there, with one bounds --gate auto by the walls
    #[arg(long, value_name = "LxWxH", value_parser = typed::sides_m)]
    room: Option<[f64; 3]>,
    /// Where the loudspeaker stands, in m: before the wall behind it, from a side wall, above the floor [default: a third of
    /// the length, half of the width, half of the height]
    #[arg(long, value_name = "X,Y,Z", requires = "room", allow_hyphen_values = true, value_parser = typed::place_m)]
    stands: Option<[f64; 3]>,
    /// Largest dimension of the loudspeaker in mm: says where its far field begins
    #[arg(long, value_name = "MM", requires = "room", value_parser = typed::millimetres)]
    size_mm: Option<f64>,
}

impl RoomArgs {
    /// The room, if one was given.
    pub fn order(&self) -> Option<RoomOrder> {
        let size_m = self.size_mm.map(|size_mm| 1e-3 * size_mm);
        self.room.map(|room_m| RoomOrder { room_m, stands_m: self.stands, size_m })
    }
}

/// Says what can be measured in a room.
pub fn advise(room: &RoomOrder, distance_m: Option<f64>, telling: TellingArgs) -> Result<ExitCode, Failure> {
    let document = place(room, distance_m).map_err(|error| Failure::input(&error, error.advice()))?;
    telling.result(&document, || summary(&document))?;
    Ok(ExitCode::SUCCESS)
}

/// What the geometry says of a capture's gate.
pub fn due_words(room: &GeometryTable) -> String {
    format!(
        "the first reflection is due {:.2} ms after the arrival ({})",
        room.first_reflection_ms,
        room.limited_by.join(", ")
    )
}

fn summary(document: &PlacementDocument) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let settings = &document.settings;
    let by = |surfaces: &[String]| surfaces.iter().map(|one| format!("the {one}")).collect::<Vec<_>>().join(" and ");
    let gate = |gate_ms: f64, lowest_hz: f64, limited_by: &[String]| {
        format!("{gate_ms:.2} ms ({lowest_hz:.0} Hz and up), ended by {}", by(limited_by))
    };
    let height = |table: &HeightTable| {
        format!("at {:.2} m: gate {}", table.height_m, gate(table.gate_ms, table.lowest_hz, &table.limited_by))
    };
    let place =
        |[x, y, z]: [f64; 3]| format!("{x:.2} m before the wall behind, {y:.2} m from the side wall, {z:.2} m high");
    let [length, width, high] = settings.room_m;
    let mut entries = vec![
        Entry::text("room", format!("{length} m long, {width} m wide, {high} m high")),
        Entry::text("loudspeaker", place(settings.stands_m)),
        Entry::text("microphone", format!("{:.2} m ahead of it", settings.distance_m)),
        Entry::text("gate", gate(document.gate_ms, document.lowest_hz, &document.limited_by)),
    ];
    let mut text = numbers_text(&entries, layout);
    entries = document
        .reflections
        .iter()
        .map(|one| {
            let says = format!("{:.2} ms later ({:.2} m), at most {:.1} dB", one.later_ms, one.extra_m, one.level_db);
            Entry::text(&one.surface, says)
        })
        .collect();
    text.push_str(&format!("\nreflections, re the direct sound\n{}", numbers_text(&entries, layout)));
    entries = vec![Entry::text("best height", height(&document.best))];
    entries.extend(document.move_to.as_ref().map(|table| Entry::text("enough height", height(table))));
    let clear = document.clear_of_walls_m;
    entries.push(Entry::text(
        "walls",
        format!(
            "at the best height none of them is first from {:.2} m behind, {:.2} m ahead of the microphone, {:.2} m aside on",
            clear.behind, clear.ahead, clear.aside
        ),
    ));
    let best = &document.best_place;
    entries.push(Entry::text("best place", format!("{}:", place(best.stands_m))));
    entries.push(Entry::text("", format!("gate {}", gate(best.gate_ms, best.lowest_hz, &best.limited_by))));
    if let Some(far_m) = document.far_field_m {
        let there = document.at_far_field.as_ref().map_or_else(
            || "the microphone would be outside of the room".to_owned(),
            |far| format!("gate {}", gate(far.gate_ms, far.lowest_hz, &far.limited_by)),
        );
        entries.push(Entry::text("far field", format!("from {far_m:.2} m on; there: {there}")));
    }
    text.push_str(&format!("\nadvice\n{}", numbers_text(&entries, layout)));
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text
}
