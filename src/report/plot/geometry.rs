//! Where everything stands on the sheet.
//!
//! ```text
//! decade = width / log₁₀(to/from)        height = range_db / ratio_db · decade
//! ```
//!
//! decade, width, height: lengths on paper. ratio_db: how many decibels are as long as a decade, 50 or 25 dB, the
//! proportions of IEC 60263, "Scales and sizes for plotting frequency characteristics and polar diagrams".
//! One unit of the sheet is one pixel of an SVG shown at its own size.

use super::axis::{Axis, Scale};
use super::font::text_width;
use super::sheet::{Height, LegendEntry, Panel, Sheet};

/// Longest and shortest width of the field of curves.
const PLOT_WIDTH: f64 = 880.0;
/// The tallest field; one that would be taller is narrowed, so that the proportion stays.
const TALLEST: f64 = 600.0;
/// A range up to this is drawn with 25 dB to the decade, a larger one with 50 dB.
const SMALL_RANGE_DB: f64 = 40.0;
const LEFT: f64 = 62.0;
const RIGHT: f64 = 22.0;
const RIGHT_WITH_SCALE: f64 = 70.0;
const LEAST_SHEET_WIDTH: f64 = 520.0;

pub(super) const TITLE_EM: f64 = 17.0;
pub(super) const TEXT_EM: f64 = 13.0;
pub(super) const LABEL_EM: f64 = 12.5;
const LEGEND_ROW: f64 = 23.0;
pub(super) const SAMPLE_WIDTH: f64 = 34.0;
pub(super) const SAMPLE_GAP: f64 = 8.0;
const BETWEEN_ENTRIES: f64 = 26.0;

/// The field in which curves are drawn, in units of the sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Frame {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

/// The places of all parts, in units of the sheet.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Geometry {
    pub width: f64,
    pub height: f64,
    pub left: f64,
    pub title_baseline: f64,
    /// Left end and baseline of each entry of the legend.
    pub legend: Vec<(f64, f64)>,
    pub frames: Vec<Frame>,
}

/// The places of everything on a sheet.
pub(super) fn geometry(sheet: &Sheet) -> Geometry {
    let plot_width = plot_width(sheet);
    let has_right_scale = sheet.panels.iter().any(|panel| panel.right.is_some());
    let right = if has_right_scale { RIGHT_WITH_SCALE } else { RIGHT };
    let width = (LEFT + plot_width + right).max(LEAST_SHEET_WIDTH).ceil();
    let title_baseline = 30.0;
    let (legend, legend_bottom) = legend_places(&sheet.legend, width - RIGHT, title_baseline + 28.0);
    let mut top = legend_bottom + 14.0;
    let mut frames = Vec::new();
    for panel in &sheet.panels {
        top += 16.0; // what the axis means stands above its panel
        let bottom = top + panel_height(panel, &sheet.x, plot_width);
        frames.push(Frame { left: LEFT, top, right: LEFT + plot_width, bottom });
        top = bottom + 18.0;
    }
    let height = (top + 40.0).ceil();
    Geometry { width, height, left: LEFT, title_baseline, legend, frames }
}

/// The width of all fields: as wide as can be while the tallest stays on the sheet.
fn plot_width(sheet: &Sheet) -> f64 {
    sheet.panels.iter().fold(PLOT_WIDTH, |width, panel| {
        let height = panel_height(panel, &sheet.x, PLOT_WIDTH);
        if panel.height == Height::OfDecibels && height > TALLEST {
            width.min(PLOT_WIDTH * TALLEST / height)
        } else {
            width
        }
    })
}

fn panel_height(panel: &Panel, x: &Axis, plot_width: f64) -> f64 {
    match panel.height {
        Height::Units(units) => units,
        Height::OfDecibels => {
            debug_assert_eq!(x.scale, Scale::Logarithmic);
            let range_db = panel.y.to - panel.y.from;
            let ratio_db = if range_db <= SMALL_RANGE_DB { 25.0 } else { 50.0 };
            range_db / ratio_db * plot_width / x.decades()
        }
    }
}

/// Left ends and baselines of the legend's entries, row by row, and the last baseline.
fn legend_places(entries: &[LegendEntry], right: f64, first_baseline: f64) -> (Vec<(f64, f64)>, f64) {
    let (mut x, mut baseline) = (LEFT, first_baseline);
    let mut places = Vec::new();
    for entry in entries {
        let entry_width = SAMPLE_WIDTH + SAMPLE_GAP + text_width(&entry.name, TEXT_EM);
        if x > LEFT && x + entry_width > right {
            x = LEFT;
            baseline += LEGEND_ROW;
        }
        places.push((x, baseline));
        x += entry_width + BETWEEN_ENTRIES;
    }
    if places.is_empty() { (places, first_baseline - LEGEND_ROW) } else { (places, baseline) }
}

/// The text, shortened until it fits.
pub(super) fn fitted(text: &str, em: f64, width: f64) -> String {
    if text_width(text, em) <= width {
        return text.to_owned();
    }
    // No character is wider than an em, few are narrower than a fifth: a first cut spares measuring long texts.
    let mut letters: Vec<char> = text.chars().take((5.0 * width / em) as usize).collect();
    while letters.pop().is_some() {
        let shortened = format!("{}…", letters.iter().collect::<String>().trim_end());
        if text_width(&shortened, em) <= width {
            return shortened;
        }
    }
    String::new()
}

#[cfg(test)]
mod tests {
    use super::super::axis::signed;
    use super::*;

    fn sheet(band_hz: [f64; 2], range_db: [f64; 2]) -> Sheet {
        let y = Axis::with_step(range_db, 10.0, "dB", |db| signed(db, 0));
        let panel = Panel { y, height: Height::OfDecibels, right: None, layers: Vec::new() };
        let x = Axis::of_frequency(band_hz);
        Sheet { title: String::new(), x, panels: vec![panel], legend: Vec::new(), valid: None }
    }

    /// IEC 60263: the length of a decade equals that of 50 dB, or 25 dB.
    #[test]
    fn a_decade_is_as_long_as_50_db_or_25_db() {
        let cases = [
            ([20.0, 20_000.0], [40.0, 100.0], 50.0),
            ([20.0, 20_000.0], [50.0, 90.0], 25.0),
            ([20.0, 20_000.0], [-120.0, 0.0], 50.0),
            ([100.0, 1_000.0], [50.0, 90.0], 25.0),
            ([1.0, 1e6], [0.0, 50.0], 50.0),
        ];
        for (band_hz, range_db, ratio_db) in cases {
            let sheet = sheet(band_hz, range_db);
            let frame = geometry(&sheet).frames[0];
            let x = |hz: f64| frame.left + (frame.right - frame.left) * sheet.x.fraction(hz).unwrap();
            let y = |db: f64| frame.bottom - (frame.bottom - frame.top) * sheet.panels[0].y.fraction(db).unwrap();
            let decade = x(band_hz[0] * 10.0) - x(band_hz[0]);
            let decibels = y(range_db[0]) - y(range_db[0] + ratio_db);
            // 1e-9 units: rounding in a handful of multiplications of numbers below 1000.
            assert!((decade - decibels).abs() < 1e-9, "{band_hz:?} {range_db:?}: {decade} against {decibels}");
            assert!(frame.bottom - frame.top <= TALLEST + 1e-9);
        }
    }

    #[test]
    fn a_text_that_is_too_long_ends_in_an_ellipsis_and_fits() {
        let long = "reply of the left rear loudspeaker ".repeat(30);
        let shown = fitted(&long, TITLE_EM, 400.0);
        let width = text_width(&shown, TITLE_EM);
        // Not wider than allowed, and not shortened by more than the widest letter and the ellipsis.
        assert!((360.0..=400.0).contains(&width) && shown.ends_with('…'), "{width}: {shown}");
        assert_eq!(fitted("short", TITLE_EM, 400.0), "short");
        assert_eq!(fitted("any", TITLE_EM, 0.0), "");
    }

    #[test]
    fn no_entry_of_the_legend_stands_on_another_or_on_a_curve() {
        let mut sheet = sheet([20.0, 20_000.0], [0.0, 60.0]);
        let stroke = super::super::palette::Stroke::of_curve(0, 0, super::super::palette::Dash::Solid);
        let sample = super::super::sheet::Sample::Stroke(stroke);
        sheet.legend = (0..9).map(|n| LegendEntry { name: "loudspeaker".repeat(1 + n % 4), sample }).collect();
        let geometry = geometry(&sheet);
        for (n, pair) in geometry.legend.windows(2).enumerate() {
            let end = pair[0].0 + SAMPLE_WIDTH + SAMPLE_GAP + text_width(&sheet.legend[n].name, TEXT_EM);
            assert!(pair[1].1 > pair[0].1 || pair[1].0 > end, "{pair:?} ends at {end}");
            assert!(end <= geometry.width);
        }
        assert!(geometry.legend.iter().all(|(_, baseline)| *baseline < geometry.frames[0].top - 16.0));
    }
}
