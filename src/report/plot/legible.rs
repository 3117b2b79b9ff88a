//! What makes a picture legible to a script: where its panels lie, and what their axes and curves mean.
//!
//! Values are not told a second time: a tenth of a pixel, to which curves are drawn, is about a hundredth of a decibel.

use super::axis::{Axis, Scale};
use super::geometry::{Frame, Geometry};
use super::kinship::Kinship;
use super::sheet::{Layer, Sample, Sheet};
use super::vector::{escaped, fine, hex};
use serde_json::{Value, json};

/// An SVG `metadata` element with a JSON object: `x`, `panels` (`frame` as left, top, right, bottom in units of the view
/// box, and `y`), `curves` by name, and what the colours of a map mean.
pub(super) fn metadata(sheet: &Sheet, places: &Geometry, kin: &Kinship) -> String {
    let panels: Vec<Value> = sheet
        .panels
        .iter()
        .zip(&places.frames)
        .map(|(panel, frame)| json!({ "frame": corners(*frame), "y": axis(&panel.y) }))
        .collect();
    let mut about = json!({ "x": axis(&sheet.x), "panels": panels, "curves": kin.names });
    let shades = shades(sheet);
    if !shades.is_empty() {
        about["shades"] = json!(shades);
    }
    format!("<metadata>{}</metadata>\n", escaped(&about.to_string()))
}

fn corners(frame: Frame) -> [i32; 4] {
    [frame.left, frame.top, frame.right, frame.bottom].map(fine)
}

fn axis(axis: &Axis) -> Value {
    let scale = match axis.scale {
        Scale::Linear => "linear",
        Scale::Logarithmic => "log",
    };
    json!({ "scale": scale, "from": axis.from, "to": axis.to, "size": axis.size, "title": axis.title, "unit": axis.unit() })
}

/// Colours of a map's cells with their names.
fn shades(sheet: &Sheet) -> Vec<[String; 2]> {
    let has_cells = |layer: &Layer| matches!(layer, Layer::Cells(_));
    if !sheet.panels.iter().flat_map(|panel| &panel.layers).any(has_cells) {
        return Vec::new();
    }
    let shade = |entry: &super::sheet::LegendEntry| match entry.sample {
        Sample::Patch(tint) => Some([hex(tint.colour), entry.name.clone()]),
        _ => None,
    };
    sheet.legend.iter().filter_map(shade).collect()
}
