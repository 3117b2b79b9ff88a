//! The phase taken apart, and the group delay beneath.

use super::axis::{Axis, signed};
use super::palette::{BLACK, BLUE, Dash, ORANGE, PREDICTED, SOFT_INK, Stroke};
use super::picture::Picture;
use super::range::{extremes, frequency_range_hz, linear_steps};
use super::response::{not_valid_entry, wrapped};
use super::sheet::{Height, Layer, LegendEntry, Panel, Sample, Sheet, Tint, Trace};

/// Phase, minimum phase and excess phase; columns of one length.
#[derive(Debug, Clone, PartialEq)]
pub struct PhasesPicture {
    /// What stands above the picture.
    pub title: String,
    /// Hz.
    pub frequency_hz: Vec<f64>,
    /// Measured, degrees.
    pub phase_deg: Vec<f64>,
    /// What the level alone asks for, degrees.
    pub minimum_deg: Vec<f64>,
    /// The rest, degrees.
    pub excess_deg: Vec<f64>,
    /// ms after the arrival.
    pub group_delay_ms: Vec<f64>,
    /// Its standard uncertainty, ms.
    pub u_group_delay_ms: Vec<f64>,
    /// Group delay of the excess phase, ms.
    pub excess_delay_ms: Vec<f64>,
    /// The range to be believed, Hz; what lies outside is greyed.
    pub valid_hz: Option<[f64; 2]>,
    /// The range that is shown at the least, Hz.
    pub shown_hz: Option<[f64; 2]>,
}

const MEASURED: Stroke = Stroke { colour: BLUE, width: 2.4, dash: Dash::Solid, marker: None };
const MINIMUM: Stroke = Stroke { colour: ORANGE, width: 1.8, dash: PREDICTED, marker: None };
const EXCESS: Stroke = Stroke { colour: BLACK, width: 1.6, dash: Dash::Solid, marker: None };
const ZERO: Stroke = Stroke { colour: SOFT_INK, width: 1.0, dash: Dash::Solid, marker: None };
const BAND: Tint = Tint { colour: BLUE, opacity: 0.28 };
const PHASE_UNITS: f64 = 260.0;
const DELAY_UNITS: f64 = 240.0;
/// The delay's axis leaves out so much of the band at either end, where it is steepest and least sure.
const LEFT_OUT: f64 = 0.06;

impl PhasesPicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let frequencies = self.frequency_hz.iter().copied().chain(self.shown_hz.into_iter().flatten());
        let x = Axis::of_frequency(frequency_range_hz(frequencies));
        let entry = |name: &str, stroke| LegendEntry { name: name.to_owned(), sample: Sample::Stroke(stroke) };
        let mut legend = vec![
            entry("measured", MEASURED),
            LegendEntry { name: "± 2u".to_owned(), sample: Sample::Doubt(BAND) },
            entry("minimum phase", MINIMUM),
            entry("excess", EXCESS),
        ];
        if self.valid_hz.is_some() {
            legend.push(not_valid_entry());
        }
        let panels = vec![self.phase_panel(), self.delay_panel()];
        let sheet = Sheet { title: self.title.clone(), x, panels, legend, valid: self.valid_hz };
        Picture::new(sheet, "Phase, minimum phase and excess phase against frequency, and the group delay beneath")
    }

    fn phase_panel(&self) -> Panel {
        let y = Axis::with_step([-180.0, 180.0], 90.0, "phase (degrees)", |degrees| signed(degrees, 0));
        let line = |degrees: &[f64], stroke| Layer::Line { trace: wrapped(&self.frequency_hz, degrees), stroke };
        let layers =
            vec![line(&self.phase_deg, MEASURED), line(&self.excess_deg, EXCESS), line(&self.minimum_deg, MINIMUM)];
        Panel { y, height: Height::Units(PHASE_UNITS), right: None, layers }
    }

    fn delay_panel(&self) -> Panel {
        let points = self.group_delay_ms.len();
        let left_out = (LEFT_OUT * points as f64) as usize;
        let shown =
            self.group_delay_ms[left_out.min(points)..points.saturating_sub(left_out).max(left_out.min(points))].iter();
        let [least, most] = extremes(shown.copied().chain([0.0])).unwrap_or([0.0, 1.0]);
        let range = if most - least > 1e-3 { [least, most] } else { [least, least + 1.0] };
        let step = linear_steps(range, 6.0);
        let ends = [(range[0] / step).floor() * step, (range[1] / step).ceil() * step];
        let y = Axis::linear(ends, 6.0, "group delay (ms after the arrival)");
        let widths = self.group_delay_ms.iter().zip(&self.u_group_delay_ms);
        let (lower, upper): (Vec<f64>, Vec<f64>) = widths.map(|(ms, u)| (ms - 2.0 * u, ms + 2.0 * u)).unzip();
        let trace = |column: &[f64]| Trace::new(&self.frequency_hz, column);
        let layers = vec![
            Layer::Level { at: 0.0, stroke: ZERO },
            Layer::Band { lower: trace(&lower), upper: trace(&upper), tint: BAND },
            Layer::Line { trace: trace(&self.group_delay_ms), stroke: MEASURED },
            Layer::Line { trace: trace(&self.excess_delay_ms), stroke: EXCESS },
        ];
        Panel { y, height: Height::Units(DELAY_UNITS), right: None, layers }
    }
}
