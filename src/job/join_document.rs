//! A joined curve as document, picture and files.

use super::join::{Composed, JoinError, JoinOrder, ends};
use super::join_told::Told;
use super::results_folder::Listing;
use crate::files::{
    self, Curve, JoinDocument, JoinSettings, JoinedColumns, JoinedTable, Measure, SurfaceTable, WrittenFile,
};
use crate::math::wrapped_deg;
use crate::quantity::{Quantity, Unit};
use crate::report::{LevelCurve, Origin, PhasePanel, Picture, ResponsePicture};
use crate::response::{Joined, Sampled};
use crate::speaker::Surface;
use std::path::Path;

pub(super) fn settings(order: &JoinOrder, told: &Told, composed: &Composed) -> JoinSettings {
    let millimetres = |place: [f64; 2]| place.map(|side| 1e3 * side);
    let table = |(at, surface): (usize, &Surface)| SurfaceTable {
        what: if at == 0 { "cone" } else { "port" }.into(),
        area_cm2: 1e4 * std::f64::consts::PI * surface.radius_m * surface.radius_m,
        count: surface.count,
        microphone_mm: 1e3 * surface.away_m,
        at_mm: surface.place_m.map(millimetres),
        delay_ms: (at > 0).then(|| 1e3 * composed.earlier_s[at]),
    };
    JoinSettings {
        surfaces: told.surfaces.iter().enumerate().map(table).collect(),
        front: told.front_is.clone(),
        cone_at_mm: millimetres(told.surround.cone_m),
        axis_at_mm: millimetres(told.surround.axis_m),
        distance_m: told.surround.distance_m,
        distance_from: told.distance_from.into(),
        at_hz: order.at_hz,
        port_delay_from: composed.delay_from.map(str::to_owned),
        points_per_octave: order.points_per_octave,
        temperature_c: told.temperature_c,
        job: order.job.as_ref().map(|asked| asked.job.display().to_string()),
        speaker: order.job.as_ref().and_then(|asked| asked.speaker.clone()),
    }
}

pub(super) fn joined_table(joined: &Joined) -> JoinedTable {
    JoinedTable {
        at_hz: joined.at_hz,
        overlap_hz: joined.overlap_hz,
        level: Quantity { value: joined.level_db[0], u: joined.level_db[1], unit: Unit::Decibel },
        delay_ms: 1e3 * joined.delay_s,
        polarity: if joined.turned { "-" } else { "+" }.into(),
        disagreement_rms_db: joined.rms_db,
        worst_db: joined.worst[0],
        worst_at_hz: joined.worst[1],
        disagreement_rms_deg: joined.rms_rad.to_degrees(),
    }
}

pub(super) fn columns(side: &Sampled) -> JoinedColumns {
    JoinedColumns {
        frequency_hz: side.hz.clone(),
        level_db: side.level_db.clone(),
        phase_deg: side.phase_rad.iter().map(|rad| wrapped_deg(*rad)).collect(),
        u_db: side.u_db.clone(),
    }
}

pub(super) fn picture(order: &JoinOrder, joined: &Joined, far: &Sampled, reference: &str) -> Picture {
    let name = order.far.parent().and_then(Path::file_name).map(|name| name.to_string_lossy().into_owned());
    let curve = |name: &str, side: &Sampled, u: bool| LevelCurve {
        name: name.into(),
        origin: Origin::Measured,
        frequency_hz: side.hz.clone(),
        level_db: side.level_db.clone(),
        u_db: if u { side.u_db.clone() } else { Vec::new() },
        phase_deg: side.phase_rad.iter().map(|rad| rad.to_degrees()).collect(),
    };
    ResponsePicture {
        title: format!(
            "{}: near and far field, joined at {}",
            name.unwrap_or_default(),
            files::frequency_text(joined.at_hz)
        ),
        level_reference: reference.replace("uPa", "µPa"),
        curves: vec![
            curve("joined", &joined.whole, true),
            curve("near field, as far away", &joined.near, false),
            curve("far field", far, false),
        ],
        valid_hz: Some(ends(&joined.whole.hz)),
        shown_hz: None,
        phase: PhasePanel::Absent,
    }
    .picture()
}

/// Writes everything but the document itself, and lists all with it.
pub(super) fn write(
    folder: &Path,
    document: &JoinDocument,
    picture: Option<&Picture>,
) -> Result<Vec<WrittenFile>, JoinError> {
    let mut listing = Listing::new(folder);
    let curve = Curve {
        measure: Measure::LevelDb,
        frequency_hz: document.curve.frequency_hz.clone(),
        values: document.curve.level_db.clone(),
        phase_deg: Some(document.curve.phase_deg.clone()),
        u: Some(document.curve.u_db.clone()),
        u_noise: None,
        header: [
            ("schema".to_owned(), document.schema.clone()),
            ("made_by".to_owned(), document.made_by.clone()),
            ("level_reference".to_owned(), document.level_reference.clone()),
            ("distance_m".to_owned(), document.settings.distance_m.to_string()),
            ("joined_at_hz".to_owned(), document.joined.at_hz.to_string()),
        ]
        .into_iter()
        .chain(files::fault_lines(&document.findings))
        .collect(),
        notes: Vec::new(),
    };
    files::replace_curve(&listing.add("joined.csv", "the whole curve"), &curve)?;
    if let Some(picture) = picture {
        listing.picture::<JoinError>("join", "picture", picture)?;
    }
    listing.add("join.json", "this document");
    Ok(listing.files())
}
