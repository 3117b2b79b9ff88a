//! Harmonics, their sum and the noise beneath them, against the frequency that was played.

use super::axis::{Axis, Tick, signed};
use super::palette::{BLACK, BLUE, Colour, Dash, GREEN, Marker, ORANGE, PURPLE, SKY, SOFT_INK, Stroke, VERMILION};
use super::picture::Picture;
use super::range::{Span, frequency_range_hz, level_range_db};
use super::response::not_valid_entry;
use super::sheet::{Height, Layer, LegendEntry, Panel, Sample, Sheet, Tint, Trace};

/// One harmonic against the frequency that was played.
#[derive(Debug, Clone, PartialEq)]
pub struct HarmonicCurve {
    /// 2 for the second harmonic, and so on.
    pub order: u32,
    /// dB re the fundamental; `None` where it cannot be measured.
    pub level_db: Vec<Option<f64>>,
}

/// What sounds above the twentieth harmonic while a frequency is played; columns of one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct HighOrderCurve {
    /// Hz, of the fundamental.
    pub frequency_hz: Vec<f64>,
    /// dB re the fundamental; `None` where it does not stand out of the noise.
    pub level_db: Vec<Option<f64>>,
}

/// Distortion against the frequency that was played, in the proportions of IEC 60263.
#[derive(Debug, Clone, PartialEq)]
pub struct DistortionPicture {
    /// What stands above the picture.
    pub title: String,
    /// Hz, of the fundamental.
    pub frequency_hz: Vec<f64>,
    /// As many as there are.
    pub harmonics: Vec<HarmonicCurve>,
    /// Per cent of the fundamental; empty if there is none.
    pub thd_percent: Vec<Option<f64>>,
    /// What a harmonic must exceed to be measurable, dB re the fundamental; empty if it is not known.
    pub noise_floor_db: Vec<Option<f64>>,
    /// What sounds far above; where there is any.
    pub high_order: Option<HighOrderCurve>,
    /// The range to be believed, Hz; what lies outside is greyed.
    pub valid_hz: Option<[f64; 2]>,
}

const SPAN: Span = Span { least_db: 50.0, most_db: 110.0 };
const THD: Stroke = Stroke { colour: BLACK, width: 3.0, dash: Dash::Solid, marker: None };
const ABOVE: Stroke = Stroke { colour: PURPLE, width: 2.4, dash: Dash::Dashed { stroke: 9.0, gap: 5.0 }, marker: None };
const NOISE: Stroke =
    Stroke { colour: SOFT_INK, width: 1.4, dash: Dash::Dashed { stroke: 2.0, gap: 3.0 }, marker: None };
const NOISE_AREA: Tint = Tint { colour: SOFT_INK, opacity: 0.09 };

impl DistortionPicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let x = Axis::of_frequency(frequency_range_hz(self.frequency_hz.iter().copied()));
        let thd_db: Vec<Option<f64>> = self.thd_percent.iter().map(|percent| percent.map(db_from_percent)).collect();
        let (panel, mut legend) = self.panel(&thd_db);
        if self.valid_hz.is_some() {
            legend.push(not_valid_entry());
        }
        let orders: Vec<String> = self.harmonics.iter().map(|harmonic| format!("H{}", harmonic.order)).collect();
        let description =
            format!("Harmonic distortion against frequency, dB re the fundamental: {}", orders.join(", "));
        let sheet = Sheet { title: self.title.clone(), x, panels: vec![panel], legend, valid: self.valid_hz };
        Picture::new(sheet, &description)
    }

    fn panel(&self, thd_db: &[Option<f64>]) -> (Panel, Vec<LegendEntry>) {
        let levels = self.harmonics.iter().flat_map(|harmonic| &harmonic.level_db);
        let levels = levels.chain(thd_db).chain(&self.noise_floor_db).filter_map(|level| *level);
        let [from, to] = level_range_db(levels, SPAN);
        let y = Axis::with_step([from, to], 10.0, "level (dB re the fundamental)", |db| signed(db, 0));
        let (mut layers, mut legend) = self.noise_layers(from);
        for harmonic in self.harmonics.iter().rev() {
            let trace = Trace::with_gaps(&self.frequency_hz, &harmonic.level_db);
            layers.push(Layer::Line { trace, stroke: harmonic_look(harmonic.order) });
        }
        let above = self.high_order.iter().filter(|above| above.level_db.iter().any(Option::is_some));
        for above in above {
            let trace = Trace::with_gaps(&above.frequency_hz, &above.level_db);
            layers.push(Layer::Line { trace, stroke: ABOVE });
            legend.insert(0, LegendEntry { name: "above H20".to_owned(), sample: Sample::Stroke(ABOVE) });
        }
        if thd_db.iter().any(Option::is_some) {
            layers.push(Layer::Line { trace: Trace::with_gaps(&self.frequency_hz, thd_db), stroke: THD });
            legend.insert(0, LegendEntry { name: "THD".to_owned(), sample: Sample::Stroke(THD) });
        }
        let harmonics = self.harmonics.iter().map(|harmonic| LegendEntry {
            name: format!("H{}", harmonic.order),
            sample: Sample::Stroke(harmonic_look(harmonic.order)),
        });
        let after_thd = legend.iter().take_while(|entry| entry.name == "THD").count();
        legend.splice(after_thd..after_thd, harmonics);
        let right = Some(("%".to_owned(), percent_ticks([from, to])));
        (Panel { y, height: Height::OfDecibels, right, layers }, legend)
    }

    /// The noise floor as a line on a grey area, which reaches down to the edge.
    fn noise_layers(&self, bottom_db: f64) -> (Vec<Layer>, Vec<LegendEntry>) {
        if self.noise_floor_db.iter().all(Option::is_none) {
            return (Vec::new(), Vec::new());
        }
        let floor = Trace::with_gaps(&self.frequency_hz, &self.noise_floor_db);
        let bottom = Trace { x: floor.x.clone(), y: vec![bottom_db; floor.x.len()] };
        let area = Layer::Band { lower: bottom, upper: floor.clone(), tint: NOISE_AREA };
        let entry = LegendEntry { name: "noise floor".to_owned(), sample: Sample::Stroke(NOISE) };
        (vec![area, Layer::Line { trace: floor, stroke: NOISE }], vec![entry])
    }
}

fn db_from_percent(percent: f64) -> f64 {
    crate::quantity::db_from_amplitude(percent / 100.0)
}

/// Whole powers of ten of a per cent: 100, 10, 1, 0.1 … at 0, −20, −40, −60 … dB.
fn percent_ticks([from_db, to_db]: [f64; 2]) -> Vec<Tick> {
    let power = |db: f64| (db / 20.0) as i32;
    (power(from_db) - 1..=power(to_db) + 1)
        .map(|power| (f64::from(power) * 20.0, power + 2))
        .filter(|(at, _)| (from_db..=to_db).contains(at))
        .map(|(at, power)| (at, 10f64.powi(power), (-power).max(0) as usize))
        .map(|(at, percent, decimals)| Tick { at, label: Some(format!("{percent:.decimals$}")) })
        .collect()
}

/// Each order has its colour and sign in every picture; the low ones, which matter most, are strongest.
fn harmonic_look(order: u32) -> Stroke {
    let (colour, marker): (Colour, Option<Marker>) = match order {
        2 => (BLUE, Some(Marker::Circle)),
        3 => (VERMILION, Some(Marker::Square)),
        4 => (SKY, Some(Marker::Triangle)),
        5 => (ORANGE, Some(Marker::Diamond)),
        6 => (GREEN, Some(Marker::TriangleDown)),
        7 => (PURPLE, Some(Marker::Bar)),
        _ => (SOFT_INK, None),
    };
    let width = if order <= 3 { 2.2 } else { 1.5 };
    Stroke { colour, width, dash: Dash::Solid, marker }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_per_cent_stands_at_minus_40_db() {
        let ticks = percent_ticks([-100.0, 0.0]);
        let found: Vec<(f64, &str)> = ticks.iter().map(|tick| (tick.at, tick.label.as_deref().unwrap())).collect();
        let expected = [(-100.0, "0.001"), (-80.0, "0.01"), (-60.0, "0.1"), (-40.0, "1"), (-20.0, "10"), (0.0, "100")];
        assert_eq!(found, expected);
        // 20·log10(0.01) = −40 exactly in decimal; 1e-12: one logarithm.
        assert!((db_from_percent(1.0) + 40.0).abs() < 1e-12);
    }
}
