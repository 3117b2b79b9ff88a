//! How the sound dies away: slices in time one over the other, and a map in periods.

use super::axis::{Axis, signed};
use super::map::{cells, shade};
use super::palette::{Colour, Dash, Stroke, VERMILION};
use super::picture::Picture;
use super::range::{Span, frequency_range_hz, level_range_db};
use super::sheet::{Cell, Height, Layer, LegendEntry, Panel, Sample, Sheet, Tint, Trace};

/// Cumulative spectral decay, one curve a slice.
#[derive(Debug, Clone, PartialEq)]
pub struct DecayPicture {
    /// What stands above the picture.
    pub title: String,
    /// What the decibels refer to.
    pub level_reference: String,
    /// Hz.
    pub frequency_hz: Vec<f64>,
    /// Earliest first.
    pub slices: Vec<DecaySlice>,
    /// What rings late, Hz.
    pub ringing_hz: Vec<f64>,
    /// The range that is shown at the least, Hz.
    pub shown_hz: Option<[f64; 2]>,
}

/// A slice of a decay.
#[derive(Debug, Clone, PartialEq)]
pub struct DecaySlice {
    /// ms after the arrival.
    pub time_ms: f64,
    /// dB, one for each frequency; `None` where the gate is too short.
    pub level_db: Vec<Option<f64>>,
}

/// A map of the burst decay.
#[derive(Debug, Clone, PartialEq)]
pub struct BurstsPicture {
    /// What stands above the picture.
    pub title: String,
    /// Hz.
    pub frequency_hz: Vec<f64>,
    /// After the arrival, in even steps.
    pub periods: Vec<f64>,
    /// dB re the burst's maximum, for each frequency as many periods as there are.
    pub level_db: Vec<Vec<f64>>,
    /// What noise alone gives at each frequency, in the same dB.
    pub floor_db: Vec<f64>,
    /// What rings late, Hz.
    pub ringing_hz: Vec<f64>,
    /// The range that is shown at the least, Hz.
    pub shown_hz: Option<[f64; 2]>,
}

const SPAN: Span = Span { least_db: 40.0, most_db: 60.0 };
const RINGS: Stroke =
    Stroke { colour: VERMILION, width: 1.4, dash: Dash::Dashed { stroke: 2.5, gap: 3.5 }, marker: None };
const MAP_UNITS: f64 = 420.0;
/// The map's axis ends at a whole number of these, at least so many.
const PERIODS_STEP: f64 = 5.0;
const LEAST_STEPS: f64 = 2.0;
/// A colour of the map spans so many decibels …
const STEP_DB: f64 = 6.0;
/// … and there are so many.
const STEPS: usize = 7;

impl DecayPicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let frequencies = self.frequency_hz.iter().copied().chain(self.shown_hz.into_iter().flatten());
        let x = Axis::of_frequency(frequency_range_hz(frequencies));
        let top = self.slices.first().into_iter().flat_map(|slice| slice.level_db.iter().flatten().copied());
        let most_db = top.clone().fold(f64::NEG_INFINITY, f64::max);
        let range_db = level_range_db(top.chain([most_db - SPAN.least_db]), SPAN);
        let lead = if self.level_reference.starts_with("dB") { "" } else { "dB, " };
        let y = Axis::with_step(range_db, 10.0, &format!("level ({lead}{})", self.level_reference), |db| signed(db, 0));
        let (mut layers, mut legend) = (ringing(&self.ringing_hz), Vec::new());
        let count = self.slices.len();
        for (place, slice) in self.slices.iter().enumerate().rev() {
            let width = if place == 0 { 2.4 } else { 1.5 };
            let stroke = Stroke::plain(shade(place as f64 / (count.max(2) - 1) as f64), width);
            layers.push(Layer::Line { trace: Trace::with_gaps(&self.frequency_hz, &slice.level_db), stroke });
            let name = if place == 0 { "0 ms: all".to_owned() } else { format!("{} ms", tidy(slice.time_ms)) };
            legend.insert(0, LegendEntry { name, sample: Sample::Stroke(stroke) });
        }
        legend.extend(rings_entry(&self.ringing_hz));
        let panel = Panel { y, height: Height::OfDecibels, right: None, layers };
        let sheet = Sheet { title: self.title.clone(), x, panels: vec![panel], legend, valid: None };
        Picture::new(sheet, "Cumulative spectral decay: what still sounds after each time, against frequency")
    }
}

impl BurstsPicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let frequencies = self.frequency_hz.iter().copied().chain(self.shown_hz.into_iter().flatten());
        let x = Axis::of_frequency(frequency_range_hz(frequencies));
        let cells = self.cells();
        let last = cells.iter().map(|cell| cell.y[1]).fold(0.0, f64::max);
        let most = (last / PERIODS_STEP).ceil().max(LEAST_STEPS) * PERIODS_STEP;
        let y = Axis::linear([0.0, most], 8.0, "periods after the arrival");
        let mut layers = vec![Layer::Cells(cells)];
        layers.extend(ringing(&self.ringing_hz));
        let mut legend: Vec<LegendEntry> = (0..STEPS)
            .map(|step| {
                let [upper, lower] = [step, step + 1].map(|n| signed(-STEP_DB * n as f64, 0));
                let tint = Tint { colour: step_colour(step), opacity: 1.0 };
                LegendEntry { name: format!("{upper} to {lower} dB"), sample: Sample::Patch(tint) }
            })
            .collect();
        legend.extend(rings_entry(&self.ringing_hz));
        let panel = Panel { y, height: Height::Units(MAP_UNITS), right: None, layers };
        let sheet = Sheet { title: self.title.clone(), x, panels: vec![panel], legend, valid: None };
        Picture::new(sheet, "Burst decay: level against frequency and periods after the arrival")
    }

    fn cells(&self) -> Vec<Cell> {
        cells(&self.frequency_hz, &self.periods, |place, row| self.step_at(place, row), step_colour)
    }

    /// Which colour stands there; none below the last, beneath the noise or after the gate.
    fn step_at(&self, place: usize, row: usize) -> Option<usize> {
        let level = *self.level_db[place].get(row)?;
        let step = (-level / STEP_DB).floor().max(0.0) as usize;
        (level > self.floor_db[place] + STEP_DB && step < STEPS).then_some(step)
    }
}

/// Dashed lines where something rings.
fn ringing(hz: &[f64]) -> Vec<Layer> {
    hz.iter().map(|&at| Layer::Upright { at, stroke: RINGS }).collect()
}

fn rings_entry(hz: &[f64]) -> Option<LegendEntry> {
    (!hz.is_empty()).then(|| LegendEntry { name: "rings".to_owned(), sample: Sample::Stroke(RINGS) })
}

fn step_colour(step: usize) -> Colour {
    shade(step as f64 / (STEPS - 1) as f64)
}

/// Without zeros at the end.
fn tidy(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbours_of_one_colour_are_one_cell_and_noise_is_none() {
        let picture = BurstsPicture {
            title: String::new(),
            frequency_hz: vec![100.0, 200.0, 400.0],
            periods: vec![0.0, 1.0],
            level_db: vec![vec![-1.0, -7.0], vec![-2.0, -13.0], vec![-3.0]],
            floor_db: vec![-40.0, -40.0, -5.0],
            ringing_hz: Vec::new(),
            shown_hz: None,
        };
        let cells = picture.cells();
        // The first row: two alike, and one that is not 6 dB above its noise; the second row has no height.
        assert_eq!(cells.len(), 3, "{cells:?}");
        assert_eq!((cells[0].y, cells[0].x[0]), ([0.0, 1.0], 100.0));
        assert!((cells[0].x[1] - (200.0f64 * 400.0).sqrt()).abs() < 1e-9);
        assert_ne!(cells[1].colour, cells[2].colour);
        // Dark to light.
        assert!((1..STEPS).all(|step| step_colour(step).1 > step_colour(step - 1).1));
    }
}
