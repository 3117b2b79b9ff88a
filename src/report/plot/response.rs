//! Level against frequency, several curves if need be, and their phase beneath.

use super::axis::{Axis, signed};
use super::palette::{Dash, PREDICTED, Stroke};
use super::picture::Picture;
use super::range::{Span, frequency_range_hz, level_range_db};
use super::render::VEIL;
use super::sheet::{Height, Layer, LegendEntry, Panel, Sample, Sheet, Tint, Trace};

/// Whether a curve was measured (drawn solid) or computed (drawn dashed).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// From a capture.
    Measured,
    /// From a simulation, or a design.
    Predicted,
}

/// Whether the phase has a panel beneath the level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhasePanel {
    /// Level only.
    Absent,
    /// Wrapped phase beneath, of all curves that have one.
    Beneath,
}

/// A curve of a [`ResponsePicture`]; its columns are cut to the shortest that is not empty.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelCurve {
    /// Its name in the legend.
    pub name: String,
    /// Solid or dashed.
    pub origin: Origin,
    /// Hz; points that are not positive are left out.
    pub frequency_hz: Vec<f64>,
    /// dB; a point that is not finite is a gap.
    pub level_db: Vec<f64>,
    /// Standard uncertainty in dB (a band of ± twice this is drawn); empty if it is not known.
    pub u_db: Vec<f64>,
    /// Degrees, wrapped or not; empty if there is none.
    pub phase_deg: Vec<f64>,
}

/// Level against frequency in the proportions of IEC 60263, with phase if wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponsePicture {
    /// What stands above the picture.
    pub title: String,
    /// What the decibels refer to, as `dB re 20 µPa at 2.83 V, 1 m` or `reply/drive`.
    pub level_reference: String,
    /// The first is the one the picture is about.
    pub curves: Vec<LevelCurve>,
    /// The range to be believed, Hz; what lies outside is greyed.
    pub valid_hz: Option<[f64; 2]>,
    /// The range that is shown at the least, Hz, be there a curve or not.
    pub shown_hz: Option<[f64; 2]>,
    /// With or without phase.
    pub phase: PhasePanel,
}

/// Levels less than this span, or more than that, do not help a loudspeaker builder.
const SPAN: Span = Span { least_db: 40.0, most_db: 60.0 };
const PHASE_PANEL_UNITS: f64 = 190.0;

impl ResponsePicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let of_curves = self.curves.iter().flat_map(|curve| curve.frequency_hz.iter().copied());
        let frequencies = of_curves.chain(self.shown_hz.into_iter().flatten());
        let x = Axis::of_frequency(frequency_range_hz(frequencies));
        let mut panels = vec![self.level_panel()];
        if self.phase == PhasePanel::Beneath {
            panels.push(self.phase_panel());
        }
        let sheet = Sheet { title: self.title.clone(), x, panels, legend: self.legend(), valid: self.valid_hz };
        Picture::new(sheet, &self.description())
    }

    fn level_panel(&self) -> Panel {
        let [from, to] = level_range_db(self.levels_to_show(), SPAN);
        let reference = self.level_reference.as_str();
        let lead = if reference.starts_with("dB") { "" } else { "dB, " };
        let y = Axis::with_step([from, to], 10.0, &format!("level ({lead}{reference})"), |db| signed(db, 0));
        let bands = self.curves.iter().enumerate().filter_map(|(n, curve)| curve.band(self.stroke(n)));
        let lines = self.curves.iter().enumerate().map(|(n, curve)| Layer::Line {
            trace: Trace::new(&curve.frequency_hz, &curve.level_db),
            stroke: self.stroke(n),
        });
        let layers = bands.chain(self.on_top(lines)).collect();
        Panel { y, height: Height::OfDecibels, right: None, layers }
    }

    /// The levels that the axis must hold: those in the valid range, or all if none is there.
    fn levels_to_show(&self) -> impl Iterator<Item = f64> {
        let all: Vec<(f64, f64)> = self
            .curves
            .iter()
            .flat_map(|curve| curve.frequency_hz.iter().copied().zip(curve.level_db.iter().copied()))
            .collect();
        let [from, to] = self.valid_hz.unwrap_or([0.0, f64::INFINITY]);
        let usable = move |(hz, level): &(f64, f64)| level.is_finite() && (from..=to).contains(hz);
        let has_valid = all.iter().any(usable);
        all.into_iter().filter(move |point| !has_valid || usable(point)).map(|(_, level)| level)
    }

    fn phase_panel(&self) -> Panel {
        let y = Axis::with_step([-180.0, 180.0], 90.0, "phase (degrees)", |degrees| signed(degrees, 0));
        let lines = self.curves.iter().enumerate().map(|(n, curve)| Layer::Line {
            trace: wrapped(&curve.frequency_hz, &curve.phase_deg),
            stroke: Stroke { width: 1.6, ..self.stroke(n) },
        });
        Panel { y, height: Height::Units(PHASE_PANEL_UNITS), right: None, layers: self.on_top(lines) }
    }

    /// The curves in the order of drawing: the first measured one above the other measured ones, and the predicted ones
    /// above all, because what lies beneath is seen between their dashes.
    fn on_top(&self, lines: impl Iterator<Item = Layer>) -> Vec<Layer> {
        let of = |origin| move |(_, curve): &(Layer, &LevelCurve)| curve.origin == origin;
        let lines: Vec<(Layer, &LevelCurve)> = lines.zip(&self.curves).collect();
        let measured = lines.iter().filter(|line| of(Origin::Measured)(line)).rev();
        let predicted = lines.iter().filter(|line| of(Origin::Predicted)(line)).rev();
        measured.chain(predicted).map(|(layer, _)| layer.clone()).collect()
    }

    /// The look of a curve: its colour tells its place, its sign (none for the first) its place among those of its origin.
    fn stroke(&self, place: usize) -> Stroke {
        let origin = self.curves[place].origin;
        let before = self.curves[..place].iter().filter(|curve| curve.origin == origin).count();
        let dash = if origin == Origin::Measured { Dash::Solid } else { PREDICTED };
        Stroke::of_curve(place, before, dash)
    }

    fn legend(&self) -> Vec<LegendEntry> {
        let mut legend = Vec::new();
        for (n, curve) in self.curves.iter().enumerate() {
            let stroke = self.stroke(n);
            legend.push(LegendEntry { name: curve.name.clone(), sample: Sample::Stroke(stroke) });
            if let Some(Layer::Band { tint, .. }) = curve.band(stroke) {
                let name = if self.curves.len() == 1 { "± 2u".to_owned() } else { format!("± 2u of {}", curve.name) };
                legend.push(LegendEntry { name, sample: Sample::Doubt(tint) });
            }
        }
        if self.valid_hz.is_some() {
            legend.push(not_valid_entry());
        }
        legend
    }

    fn description(&self) -> String {
        let names: Vec<&str> = self.curves.iter().map(|curve| curve.name.as_str()).collect();
        let valid = self.valid_hz.map_or(String::new(), |[from, to]| format!("; valid from {from:.0} to {to:.0} Hz"));
        format!("Level against frequency, {}: {}{valid}", self.level_reference, names.join(", "))
    }
}

/// What the grey means.
pub(super) fn not_valid_entry() -> LegendEntry {
    LegendEntry { name: "not valid here".to_owned(), sample: Sample::Patch(VEIL) }
}

impl LevelCurve {
    fn band(&self, stroke: Stroke) -> Option<Layer> {
        // A negative uncertainty is none.
        let widths =
            self.level_db.iter().zip(&self.u_db).map(|(&level, &u)| (level, if u >= 0.0 { u } else { f64::NAN }));
        let (lower, upper): (Vec<f64>, Vec<f64>) = widths.map(|(level, u)| (level - 2.0 * u, level + 2.0 * u)).unzip();
        let tint = Tint { colour: stroke.colour, opacity: 0.28 };
        let band = |edge: &[f64]| Trace::new(&self.frequency_hz, edge);
        (!lower.is_empty()).then(|| Layer::Band { lower: band(&lower), upper: band(&upper), tint })
    }
}

/// Phase in (−180°, 180°]; where it leaves at one edge it comes back at the other, with a gap between.
pub(super) fn wrapped(frequency_hz: &[f64], phase_deg: &[f64]) -> Trace {
    let mut trace = Trace::default();
    let mut before: Option<(f64, f64)> = None;
    for (&hz, &degrees) in frequency_hz.iter().zip(phase_deg) {
        let degrees = 180.0 - (180.0 - degrees).rem_euclid(360.0);
        if let Some((before_hz, before_deg)) = before {
            let turn: f64 = if degrees - before_deg > 180.0 { -360.0 } else { 360.0 };
            if (degrees - before_deg).abs() > 180.0 {
                let edge = turn.signum() * 180.0;
                let t = (edge - before_deg) / (degrees + turn - before_deg);
                // Between neighbours a straight line on the logarithmic axis.
                let crossing_hz = before_hz * (hz / before_hz).powf(t);
                trace.x.extend([crossing_hz, f64::NAN, crossing_hz]);
                trace.y.extend([edge, f64::NAN, -edge]);
            }
        }
        trace.x.push(hz);
        trace.y.push(degrees);
        before = Some((hz, degrees)).filter(|(_, degrees)| degrees.is_finite());
    }
    trace
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_phase_that_passes_180_degrees_leaves_at_one_edge_and_returns_at_the_other() {
        let trace = wrapped(&[100.0, 200.0, 400.0], &[-90.0, -170.0, -190.0]);
        // Half way from −170° to −190° on the logarithmic axis: √(200·400) Hz.
        let expected = [(100.0, -90.0), (200.0, -170.0), (282.842_712_474_619, -180.0)];
        for (found, expected) in trace.points().zip(expected) {
            // 1e-9: one power.
            assert!((found.0 - expected.0).abs() < 1e-9 && (found.1 - expected.1).abs() < 1e-9, "{found:?}");
        }
        assert!(trace.y[3].is_nan());
        assert_eq!(&trace.y[4..], &[180.0, 170.0]);
    }

    #[test]
    fn no_stroke_of_a_wrapped_phase_is_steeper_than_half_the_panel() {
        let hz: Vec<f64> = (0..400).map(|n| 20.0 * 1.0175f64.powi(n)).collect();
        let phase: Vec<f64> = hz.iter().map(|hz| -hz * 0.31).collect();
        let trace = wrapped(&hz, &phase);
        let jumps: Vec<f64> =
            trace.y.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|j| j.is_finite()).collect();
        let (least, most) = (jumps.iter().copied().fold(f64::MAX, f64::min), jumps.iter().copied().fold(0.0, f64::max));
        assert!(least >= 0.0 && most <= 180.0, "{least} to {most}");
        assert!(trace.y.iter().filter(|y| y.is_nan()).count() > 10);
    }

    #[test]
    fn what_is_not_valid_does_not_stretch_the_axis() {
        let curve = LevelCurve {
            name: "rear left".to_owned(),
            origin: Origin::Measured,
            frequency_hz: vec![20.0, 200.0, 2_000.0, 20_000.0],
            level_db: vec![-70.0, 80.0, 84.0, 82.0],
            u_db: Vec::new(),
            phase_deg: Vec::new(),
        };
        let valid_hz = Some([100.0, 20_000.0]);
        let picture = ResponsePicture {
            title: String::new(),
            level_reference: "dB re 20 µPa".to_owned(),
            curves: vec![curve],
            valid_hz,
            shown_hz: None,
            phase: PhasePanel::Absent,
        };
        let y = picture.level_panel().y;
        assert_eq!([y.from, y.to], [50.0, 90.0]);
    }
}
