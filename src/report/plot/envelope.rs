//! The energy-time curve: how the sound dies away, where the gate ends, where the first reflection arrives.

use super::axis::{Axis, signed};
use super::impulse::time_axis;
use super::palette::{BLACK, BLUE, Dash, Stroke, VERMILION};
use super::picture::Picture;
use super::range::{Span, level_range_db};
use super::sheet::{Height, Layer, LegendEntry, Panel, Sample, Sheet, Trace};

/// Envelope of the impulse response in dB against time.
#[derive(Debug, Clone, PartialEq)]
pub struct EnvelopePicture {
    /// What stands above the picture.
    pub title: String,
    /// ms after the arrival.
    pub time_ms: Vec<f64>,
    /// dB re the strongest moment; a point that is not finite is a gap.
    pub level_db: Vec<f64>,
    /// From and to, ms after the arrival; what lies outside is not shown.
    pub view_ms: [f64; 2],
    /// Where the gate ends, ms after the arrival.
    pub gate_end_ms: Option<f64>,
    /// Where the first reflection is believed to arrive, ms after the direct sound.
    pub first_reflection_ms: Option<f64>,
}

const PANEL_UNITS: f64 = 380.0;
const SPAN: Span = Span { least_db: 40.0, most_db: 90.0 };
const GATE_END: Stroke =
    Stroke { colour: VERMILION, width: 2.2, dash: Dash::Dashed { stroke: 9.0, gap: 5.0 }, marker: None };
const REFLECTION: Stroke =
    Stroke { colour: BLACK, width: 2.0, dash: Dash::Dashed { stroke: 2.5, gap: 3.5 }, marker: None };

impl EnvelopePicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let x = time_axis(self.view_ms);
        let in_view = self.time_ms.iter().zip(&self.level_db).filter(|(time, _)| (x.from..=x.to).contains(*time));
        let range_db = level_range_db(in_view.map(|(_, level)| *level), SPAN);
        let y = Axis::with_step(range_db, 10.0, "level (dB re the strongest moment)", |db| signed(db, 0));
        let curve = Stroke::plain(BLUE, 1.8);
        let mut layers = vec![Layer::Line { trace: Trace::new(&self.time_ms, &self.level_db), stroke: curve }];
        let mut legend = vec![LegendEntry { name: "envelope".to_owned(), sample: Sample::Stroke(curve) }];
        let marks = [
            (self.gate_end_ms, "end of the gate", GATE_END),
            (self.first_reflection_ms, "first reflection", REFLECTION),
        ];
        let mut description = "Envelope of the impulse response against time after the arrival".to_owned();
        for (at, name, stroke) in marks {
            let Some(at) = at.filter(|at| at.is_finite()) else { continue };
            let name = format!("{name}, {at:.2} ms");
            description.push_str("; ");
            description.push_str(&name);
            layers.push(Layer::Upright { at, stroke });
            legend.push(LegendEntry { name, sample: Sample::Stroke(stroke) });
        }
        let panel = Panel { y, height: Height::Units(PANEL_UNITS), right: None, layers };
        let sheet = Sheet { title: self.title.clone(), x, panels: vec![panel], legend, valid: None };
        Picture::new(sheet, &description)
    }
}
