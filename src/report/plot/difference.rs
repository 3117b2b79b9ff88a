//! A measured curve over an expected one, and the difference between the limits.

use super::axis::{Axis, signed};
use super::palette::{BLUE, Dash, GREEN, ORANGE, PREDICTED, SOFT_INK, Stroke};
use super::picture::Picture;
use super::range::{Span, frequency_range_hz, level_range_db, linear_steps};
use super::sheet::{Height, Layer, LegendEntry, Panel, Sample, Sheet, Tint, Trace};

/// Measured over expected; columns of one length.
#[derive(Debug, Clone, PartialEq)]
pub struct DifferencePicture {
    /// What stands above the picture.
    pub title: String,
    /// What the upper axis says.
    pub unit: String,
    /// Hz.
    pub frequency_hz: Vec<f64>,
    /// Measured, after the alignment.
    pub measured_db: Vec<f64>,
    /// Expected.
    pub expected_db: Vec<f64>,
    /// Measured minus expected.
    pub difference_db: Vec<f64>,
    /// Standard uncertainty of that; empty if it is not known.
    pub u_db: Vec<f64>,
    /// Lower and upper.
    pub limits_db: [f64; 2],
}

const MEASURED: Stroke = Stroke { colour: BLUE, width: 2.4, dash: Dash::Solid, marker: None };
const EXPECTED: Stroke = Stroke { colour: ORANGE, width: 1.8, dash: PREDICTED, marker: None };
const LIMIT: Stroke = Stroke { colour: GREEN, width: 1.4, dash: PREDICTED, marker: None };
const ZERO: Stroke = Stroke { colour: SOFT_INK, width: 1.0, dash: Dash::Solid, marker: None };
const BETWEEN: Tint = Tint { colour: ORANGE, opacity: 0.22 };
const BAND: Tint = Tint { colour: BLUE, opacity: 0.28 };
const SPAN: Span = Span { least_db: 40.0, most_db: 60.0 };
const DIFFERENCE_UNITS: f64 = 220.0;
/// The lower panel shows so much to both sides at the most.
const MOST_DB: f64 = 20.0;

impl DifferencePicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let x = Axis::of_frequency(frequency_range_hz(self.frequency_hz.iter().copied()));
        let panels = vec![self.level_panel(), self.difference_panel()];
        let mut legend = vec![
            LegendEntry { name: "measured".to_owned(), sample: Sample::Stroke(MEASURED) },
            LegendEntry { name: "expected".to_owned(), sample: Sample::Stroke(EXPECTED) },
            LegendEntry { name: "difference".to_owned(), sample: Sample::Patch(BETWEEN) },
            LegendEntry { name: "limits".to_owned(), sample: Sample::Stroke(LIMIT) },
        ];
        if !self.u_db.is_empty() {
            legend.push(LegendEntry { name: "± 2u of the difference".to_owned(), sample: Sample::Doubt(BAND) });
        }
        let description = format!("{}: measured and expected against frequency, and their difference", self.title);
        Picture::new(Sheet { title: self.title.clone(), x, panels, legend, valid: None }, &description)
    }

    fn level_panel(&self) -> Panel {
        let all = self.measured_db.iter().chain(&self.expected_db).copied().filter(|db| db.is_finite());
        let [from, to] = level_range_db(all, SPAN);
        let y = Axis::with_step([from, to], 10.0, &self.unit, |db| signed(db, 0));
        let trace = |values: &[f64]| Trace::new(&self.frequency_hz, values);
        let layers = vec![
            Layer::Band { lower: trace(&self.expected_db), upper: trace(&self.measured_db), tint: BETWEEN },
            Layer::Line { trace: trace(&self.measured_db), stroke: MEASURED },
            Layer::Line { trace: trace(&self.expected_db), stroke: EXPECTED },
        ];
        Panel { y, height: Height::OfDecibels, right: None, layers }
    }

    fn difference_panel(&self) -> Panel {
        let largest = self.difference_db.iter().chain(&self.limits_db).map(|db| db.abs()).filter(|db| db.is_finite());
        let reach = linear_steps([0.0, largest.fold(1.0, f64::max).min(MOST_DB)], 1.0);
        let y = Axis::linear([-reach, reach], 4.0, "difference (dB)");
        let trace = |values: &[f64]| Trace::new(&self.frequency_hz, values);
        let mut layers = Vec::new();
        if !self.u_db.is_empty() {
            let edge = |sign: f64| {
                let all = self.difference_db.iter().zip(&self.u_db).map(|(db, u)| db + sign * 2.0 * u);
                trace(&all.collect::<Vec<f64>>())
            };
            layers.push(Layer::Band { lower: edge(-1.0), upper: edge(1.0), tint: BAND });
        }
        layers.extend([Layer::Level { at: 0.0, stroke: ZERO }]);
        layers.extend(self.limits_db.map(|at| Layer::Level { at, stroke: LIMIT }));
        layers.push(Layer::Line { trace: trace(&self.difference_db), stroke: Stroke { width: 1.8, ..MEASURED } });
        Panel { y, height: Height::Units(DIFFERENCE_UNITS), right: None, layers }
    }
}
