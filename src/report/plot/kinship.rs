//! Which strokes, bands and entries of the legend are one curve.
//!
//! What looks alike is one: the legend names looks, and whoever reads the picture goes by them. A curve therefore is an
//! entry of the legend with everything in the panels that has its colour, dashes and sign; a band belongs to the entry
//! that shows it, and one that is a curve's doubt to that curve.

use super::palette::{Colour, Stroke};
use super::sheet::{Layer, Panel, Sample, Sheet, Tint};

/// The curves of a sheet.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Kinship {
    /// Names, in the order of the legend; a curve's number is its place here.
    pub names: Vec<String>,
    /// For each entry of the legend the curve that it belongs to, if any is drawn.
    pub entries: Vec<Option<usize>>,
    /// For each panel and each of its layers the curve that it belongs to.
    pub layers: Vec<Vec<Option<usize>>>,
}

/// Finds the curves of a sheet.
pub(super) fn kinship(sheet: &Sheet) -> Kinship {
    let owners: Vec<usize> = (0..sheet.legend.len()).map(|entry| owner(sheet, entry)).collect();
    let owned = |panel: &Panel| -> Vec<Option<usize>> {
        let entries = (0..panel.layers.len()).map(|layer| entry_of(sheet, panel, layer));
        entries.map(|entry| entry.map(|entry| owners[entry])).collect()
    };
    let layers: Vec<Vec<Option<usize>>> = sheet.panels.iter().map(owned).collect();
    let drawn = |entry: usize| layers.iter().flatten().any(|owner| *owner == Some(entry));
    let curves: Vec<usize> = (0..sheet.legend.len()).filter(|&entry| owners[entry] == entry && drawn(entry)).collect();
    let number = |entry: usize| curves.iter().position(|&curve| curve == entry);
    Kinship {
        names: curves.iter().map(|&entry| sheet.legend[entry].name.clone()).collect(),
        entries: owners.iter().map(|&owner| number(owner)).collect(),
        layers: layers.into_iter().map(|all| all.into_iter().map(|owner| owner.and_then(number)).collect()).collect(),
    }
}

/// The entry whose curve this one shows: its own, or, for a doubt, that of the stroke before it.
fn owner(sheet: &Sheet, entry: usize) -> usize {
    let Sample::Doubt(tint) = sheet.legend[entry].sample else { return entry };
    (0..entry).rev().find(|&before| stroke_of(sheet, before, tint.colour).is_some()).unwrap_or(entry)
}

/// The stroke of an entry of this colour.
fn stroke_of(sheet: &Sheet, entry: usize, colour: Colour) -> Option<Stroke> {
    match sheet.legend[entry].sample {
        Sample::Stroke(look) => Some(look).filter(|look| look.colour == colour),
        _ => None,
    }
}

/// The entry that names a layer.
fn entry_of(sheet: &Sheet, panel: &Panel, layer: usize) -> Option<usize> {
    match &panel.layers[layer] {
        Layer::Line { stroke, .. } | Layer::Upright { stroke, .. } | Layer::Level { stroke, .. } => {
            entry_of_look(sheet, *stroke)
        }
        Layer::Band { tint, .. } => {
            let is_like = |other: &Layer| matches!(other, Layer::Band { tint: found, .. } if found == tint);
            let before = panel.layers[..layer].iter().filter(|other| is_like(other)).count();
            entry_of_tint(sheet, *tint, before)
        }
        Layer::Cells(_) => None,
    }
}

/// The entry with this look; panels draw the same look in different widths.
fn entry_of_look(sheet: &Sheet, look: Stroke) -> Option<usize> {
    let found = |wanted: &dyn Fn(Stroke) -> bool| {
        sheet.legend.iter().position(|entry| matches!(entry.sample, Sample::Stroke(stroke) if wanted(stroke)))
    };
    found(&|stroke| stroke == look).or_else(|| found(&|stroke| Stroke { width: look.width, ..stroke } == look))
}

/// The entry for the band of this tint that has so many like it before it; without one, the stroke of its colour.
fn entry_of_tint(sheet: &Sheet, tint: Tint, before: usize) -> Option<usize> {
    let shown = |entry: &usize| matches!(sheet.legend[*entry].sample, Sample::Patch(found) | Sample::Doubt(found) if found == tint);
    let all: Vec<usize> = (0..sheet.legend.len()).filter(shown).collect();
    let by_colour = || (0..sheet.legend.len()).find(|&entry| stroke_of(sheet, entry, tint.colour).is_some());
    all.get(before).or(all.last()).copied().or_else(by_colour)
}

#[cfg(test)]
mod tests {
    use super::super::response::{LevelCurve, Origin, PhasePanel, ResponsePicture};
    use super::super::sheet::LegendEntry;
    use super::*;
    use crate::report::plot::axis::Axis;
    use crate::report::plot::sheet::{Height, Trace};

    fn curve(name: &str) -> LevelCurve {
        LevelCurve {
            name: name.into(),
            origin: Origin::Measured,
            frequency_hz: vec![100.0, 1000.0],
            level_db: vec![80.0, 81.0],
            u_db: vec![0.1, 0.1],
            phase_deg: vec![0.0, 10.0],
        }
    }

    #[test]
    fn a_curve_has_its_band_its_phase_and_both_entries_even_where_colours_come_again() {
        // Nine curves: the eighth has the colour of the first.
        let picture = ResponsePicture {
            title: String::new(),
            level_reference: "dB".into(),
            curves: (0..9).map(|n| curve(&format!("unit {n}"))).collect(),
            valid_hz: Some([200.0, 1000.0]),
            shown_hz: None,
            phase: PhasePanel::Beneath,
        };
        let kin = picture.picture().kinship();
        assert_eq!(kin.names, (0..9).map(|n| format!("unit {n}")).collect::<Vec<_>>());
        // Each has two entries; the last one, of what is not valid, is no curve.
        let expected: Vec<Option<usize>> = (0..9).flat_map(|n| [Some(n), Some(n)]).chain([None]).collect();
        assert_eq!(kin.entries, expected);
        // Bands first, in order; then the lines, the first on top.
        let backwards: Vec<Option<usize>> = (0..9).rev().map(Some).collect();
        assert_eq!(kin.layers[0][..9], (0..9).map(Some).collect::<Vec<_>>());
        assert_eq!(kin.layers[0][9..], backwards);
        assert_eq!(kin.layers[1], backwards);
    }

    #[test]
    fn a_line_that_no_entry_names_is_no_curve() {
        let look = |colour| Stroke::plain(colour, 1.0);
        let panel = Panel {
            y: Axis::linear([0.0, 1.0], 5.0, ""),
            height: Height::Units(100.0),
            right: None,
            layers: vec![
                Layer::Level { at: 0.0, stroke: look((1, 1, 1)) },
                Layer::Line { trace: Trace::new(&[0.0], &[1.0]), stroke: Stroke { width: 3.0, ..look((2, 2, 2)) } },
            ],
        };
        let entry = |name: &str, colour| LegendEntry { name: name.into(), sample: Sample::Stroke(look(colour)) };
        let sheet = Sheet {
            title: String::new(),
            x: Axis::linear([0.0, 1.0], 5.0, ""),
            panels: vec![panel],
            legend: vec![entry("absent", (3, 3, 3)), entry("there", (2, 2, 2))],
            valid: None,
        };
        let kin = kinship(&sheet);
        assert_eq!(
            (kin.names, kin.entries, kin.layers),
            (vec!["there".to_owned()], vec![None, Some(0)], vec![vec![None, Some(0)]])
        );
    }
}
