//! All units at a glance: responses over each other, and impedances, stage by stage.

use super::told::curve_name;
use crate::files::{self, Curve, Measure, ResultStanding, StatusDocument};
use crate::job::Stage;
use crate::math::RisingTable;
use crate::report::{
    Chapter, Figure, ImpedancePicture, LevelCurve, OhmCurve, Origin, PhasePanel, ReportError, ResponsePicture,
};
use crate::response::OctaveFraction;
use std::path::Path;

/// Curves of one kind that can stand on one axis.
struct Group {
    title: String,
    reference: Option<String>,
    curves: Vec<(String, Curve)>,
}

/// More curves than these don't help in one picture.
const MOST_CURVES: usize = 10;
/// A microphone as near as this hears one cone, not the loudspeaker.
const NEAR_M: f64 = 0.05;

/// The chapter, if there is more than one curve of a kind.
///
/// # Errors
/// [`ReportError`] if a picture can't be drawn.
pub(super) fn overview(folder: &Path, status: &StatusDocument) -> Result<Option<Chapter>, ReportError> {
    let mut figures = Vec::new();
    for group in groups(folder, status).into_iter().filter(|group| group.curves.len() > 1) {
        for curves in group.curves.chunks(MOST_CURVES) {
            figures.push(figure(&group, curves)?);
        }
    }
    Ok((!figures.is_empty()).then(|| Chapter {
        heading: "All units at a glance".into(),
        prose: vec!["Curves are switched on and off in the legend.".into()],
        figures,
        ..Chapter::default()
    }))
}

fn groups(folder: &Path, status: &StatusDocument) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    let mut results: Vec<&ResultStanding> = status.results.iter().collect();
    let stage = |result: &ResultStanding| result.stage.as_deref().and_then(Stage::named);
    results.sort_by_key(|result| (stage(result).is_none(), stage(result)));
    for standing in results {
        let name = match standing.kind.as_str() {
            "response" => "response.csv",
            "impedance" => "impedance.csv",
            _ => continue,
        };
        let path = Path::new(&standing.path).with_file_name(name);
        let Ok(curve) = files::read_curve(&folder.join(&path)) else { continue };
        let (title, reference) = axis(standing, &curve);
        let entry = (called(status, standing, &path), curve);
        match groups.iter_mut().find(|group| group.title == title && group.reference == reference) {
            Some(group) => group.curves.push(entry),
            None => groups.push(Group { title, reference, curves: vec![entry] }),
        }
    }
    groups
}

/// What stands above a curve's picture, and what its decibels refer to.
fn axis(standing: &ResultStanding, curve: &Curve) -> (String, Option<String>) {
    let stage = standing.stage.as_deref().map_or(String::new(), |stage| format!("{stage}: "));
    match curve.measure {
        Measure::MagnitudeOhm => (format!("{stage}impedances"), None),
        Measure::LevelDb => {
            let is_near = curve.header_number("distance_m").is_some_and(|metres| metres <= NEAR_M);
            let reference = curve.header_value("level_reference").unwrap_or("reply/drive").replace("uPa", "µPa");
            (format!("{stage}responses{}", if is_near { " from close by" } else { "" }), Some(reference))
        }
    }
}

/// The unit, with the curve's own name where the unit has several of the kind.
fn called(status: &StatusDocument, standing: &ResultStanding, path: &Path) -> String {
    let own = curve_name(&path.display().to_string().replace('\\', "/"));
    let Some(unit) = &standing.unit else { return own };
    let is_same = |other: &&ResultStanding| {
        other.kind == standing.kind && other.unit == standing.unit && other.stage == standing.stage
    };
    if status.results.iter().filter(is_same).count() == 1 { unit.clone() } else { format!("{unit} ({own})") }
}

fn figure(group: &Group, curves: &[(String, Curve)]) -> Result<Figure, ReportError> {
    let picture = match &group.reference {
        Some(reference) => ResponsePicture {
            title: group.title.clone(),
            level_reference: reference.clone(),
            curves: curves.iter().map(|(name, curve)| level(name, curve)).collect(),
            valid_hz: None,
            shown_hz: Some([20.0, 20_000.0]),
            phase: PhasePanel::Absent,
        }
        .picture(),
        None => ImpedancePicture {
            title: group.title.clone(),
            curves: curves.iter().map(|(name, curve)| ohm(name, curve)).collect(),
        }
        .picture(),
    };
    let caption = match &group.reference {
        Some(_) => "Each as measured, smoothed to 1/12 octave.",
        None => "Each as measured; magnitude and phase.",
    };
    Ok(Figure { picture: picture.in_page()?, caption: caption.into() })
}

fn level(name: &str, curve: &Curve) -> LevelCurve {
    LevelCurve {
        name: name.to_owned(),
        origin: Origin::Measured,
        frequency_hz: curve.frequency_hz.clone(),
        level_db: smoothed_db(curve),
        u_db: Vec::new(),
        phase_deg: Vec::new(),
    }
}

/// As the pictures of single responses are smoothed.
const SMOOTHED_OCTAVES: f64 = 1.0 / 12.0;

/// The level, by mean power over a twelfth of an octave.
fn smoothed_db(curve: &Curve) -> Vec<f64> {
    let logarithms: Vec<f64> = curve.frequency_hz.iter().map(|hz| hz.ln()).collect();
    let powers = curve.values.iter().map(|db| 10f64.powf(0.1 * db)).collect();
    let whole = || curve.values.clone();
    let Ok(fraction) = OctaveFraction::new(SMOOTHED_OCTAVES) else { return whole() };
    let Some(table) = RisingTable::new(logarithms, powers) else { return whole() };
    let [first, last] = table.range();
    let power = |hz: f64| table.at(hz.ln().clamp(first, last)).unwrap_or(0.0);
    let mean = |&hz: &f64| 10.0 * fraction.mean_power(hz, [first.exp(), last.exp()], hz, power).log10();
    curve.frequency_hz.iter().map(mean).collect()
}

fn ohm(name: &str, curve: &Curve) -> OhmCurve {
    OhmCurve {
        name: name.to_owned(),
        origin: Origin::Measured,
        frequency_hz: curve.frequency_hz.clone(),
        magnitude_ohm: curve.values.clone(),
        phase_deg: curve.phase_deg.clone().unwrap_or_default(),
        u_ohm: Vec::new(),
    }
}
