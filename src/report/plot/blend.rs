//! Satellite and subwoofer at a seat, with their sum; and how the crossover's hole depends on frequency and delay.

use super::axis::{Axis, Tick, signed};
use super::map::{cells, shade};
use super::palette::{BLUE, Colour, Dash, FRAME, GREEN, ORANGE, PREDICTED, SOFT_INK, Stroke, VERMILION};
use super::picture::Picture;
use super::range::{Span, level_range_db};
use super::response::wrapped;
use super::sheet::{Height, Layer, LegendEntry, Panel, Sample, Sheet, Tint, Trace};

/// What a seat gets; columns of one length.
#[derive(Debug, Clone, PartialEq)]
pub struct BlendSeatPicture {
    /// What stands above the picture.
    pub title: String,
    /// What the decibels refer to.
    pub level_reference: String,
    /// Hz.
    pub frequency_hz: Vec<f64>,
    /// The satellite's part, dB.
    pub satellite_db: Vec<f64>,
    /// The subwoofer's.
    pub subwoofer_db: Vec<f64>,
    /// The sum.
    pub sum_db: Vec<f64>,
    /// Its standard uncertainty; empty if it is not known.
    pub u_db: Vec<f64>,
    /// The sum without help.
    pub without_help_db: Vec<f64>,
    /// Phase of the subwoofer's part against the satellite's, degrees.
    pub apart_deg: Vec<f64>,
    /// Where ripple counts.
    pub overlap_hz: [f64; 2],
    /// What no setting mends.
    pub of_the_room_hz: Vec<f64>,
}

/// The deepest hole of the worst seat over crossover and delay.
#[derive(Debug, Clone, PartialEq)]
pub struct BlendMapPicture {
    /// What stands above the picture.
    pub title: String,
    /// Crossover frequencies, rising.
    pub crossover_hz: Vec<f64>,
    /// Delays of the satellite in even steps, rising.
    pub delay_ms: Vec<f64>,
    /// The lowest level in the overlap of the worst seat against its mean there, dB: for each crossover as many as there are delays.
    pub lowest_db: Vec<Vec<f64>>,
    /// What is recommended: crossover and delay.
    pub chosen: [f64; 2],
}

const SATELLITE: Stroke = Stroke { colour: ORANGE, width: 1.8, dash: PREDICTED, marker: None };
const SUBWOOFER: Stroke = Stroke { colour: GREEN, width: 1.8, dash: PREDICTED, marker: None };
const SUM: Stroke = Stroke { colour: BLUE, width: 2.8, dash: Dash::Solid, marker: None };
const HELPLESS: Stroke = Stroke { colour: SOFT_INK, width: 1.3, dash: Dash::Solid, marker: None };
const ROOM: Stroke =
    Stroke { colour: VERMILION, width: 1.4, dash: Dash::Dashed { stroke: 2.5, gap: 3.5 }, marker: None };
const ZERO: Stroke = Stroke { colour: FRAME, width: 1.0, dash: Dash::Solid, marker: None };
const CHOSEN: Stroke = Stroke { colour: VERMILION, width: 2.0, dash: Dash::Solid, marker: None };
const BAND: Tint = Tint { colour: BLUE, opacity: 0.28 };
const SPAN: Span = Span { least_db: 40.0, most_db: 60.0 };
const PHASE_UNITS: f64 = 190.0;
/// Beyond this nothing has to do with a crossover.
const SHOWN_HZ: [f64; 2] = [20.0, 500.0];
const MAP_UNITS: f64 = 420.0;
/// A colour of the map spans so many decibels, and there are so many.
const STEP_DB: f64 = 3.0;
const STEPS: usize = 7;
/// Crossovers are a multiple of this.
const STEP_HZ: f64 = 10.0;
/// So many labels have room beside each other.
const MOST_LABELS: f64 = 14.0;

impl BlendSeatPicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let [from_hz, to_hz] = SHOWN_HZ;
        let shown: Vec<usize> =
            (0..self.frequency_hz.len()).filter(|at| (from_hz..=to_hz).contains(&self.frequency_hz[*at])).collect();
        let column = |values: &[f64]| shown.iter().filter_map(|at| values.get(*at).copied()).collect::<Vec<f64>>();
        let hz = column(&self.frequency_hz);
        let x = Axis::of_frequency(SHOWN_HZ);
        let sum = column(&self.sum_db);
        let trace = |values: &[f64]| Trace::new(&hz, &column(values));
        let y = {
            let all = sum.iter().copied().chain(column(&self.without_help_db));
            let lead = if self.level_reference.starts_with("dB") { "" } else { "dB, " };
            let title = format!("level ({lead}{})", self.level_reference);
            Axis::with_step(level_range_db(all, SPAN), 10.0, &title, |db| signed(db, 0))
        };
        let mut layers: Vec<Layer> =
            self.of_the_room_hz.iter().map(|&at| Layer::Upright { at, stroke: ROOM }).collect();
        if !self.u_db.is_empty() {
            let edge = |sign: f64| {
                let all = self.sum_db.iter().zip(&self.u_db).map(|(db, u)| db + sign * 2.0 * u);
                trace(&all.collect::<Vec<f64>>())
            };
            layers.push(Layer::Band { lower: edge(-1.0), upper: edge(1.0), tint: BAND });
        }
        let lines = [
            (&self.without_help_db, HELPLESS),
            (&self.satellite_db, SATELLITE),
            (&self.subwoofer_db, SUBWOOFER),
            (&self.sum_db, SUM),
        ];
        layers.extend(lines.map(|(values, stroke)| Layer::Line { trace: trace(values), stroke }));
        let levels = Panel { y, height: Height::OfDecibels, right: None, layers };
        let phase = Panel {
            y: Axis::with_step([-180.0, 180.0], 90.0, "subwoofer against satellite (°)", |deg| signed(deg, 0)),
            height: Height::Units(PHASE_UNITS),
            right: None,
            layers: vec![
                Layer::Level { at: 0.0, stroke: ZERO },
                Layer::Line { trace: wrapped(&hz, &column(&self.apart_deg)), stroke: SUM },
            ],
        };
        let sheet = Sheet {
            title: self.title.clone(),
            x,
            panels: vec![levels, phase],
            legend: self.legend(),
            valid: Some(self.overlap_hz),
        };
        Picture::new(sheet, "Satellite, subwoofer and their sum against frequency, and the phase between them")
    }

    fn legend(&self) -> Vec<LegendEntry> {
        let stroke = |name: &str, stroke| LegendEntry { name: name.to_owned(), sample: Sample::Stroke(stroke) };
        let mut legend = vec![
            stroke("sum", SUM),
            stroke("satellite", SATELLITE),
            stroke("subwoofer", SUBWOOFER),
            stroke("sum without help", HELPLESS),
        ];
        if !self.u_db.is_empty() {
            legend.push(LegendEntry { name: "± 2u of the sum".to_owned(), sample: Sample::Doubt(BAND) });
        }
        if !self.of_the_room_hz.is_empty() {
            legend.push(stroke("the room's, no setting mends it", ROOM));
        }
        let veil = Tint { colour: super::palette::NOT_VALID, opacity: 1.0 };
        legend.push(LegendEntry { name: "outside the overlap".to_owned(), sample: Sample::Patch(veil) });
        legend
    }
}

impl BlendMapPicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let ends = |all: &[f64]| [all.first().copied().unwrap_or(1.0), all.last().copied().unwrap_or(2.0)];
        let x = crossover_axis(ends(&self.crossover_hz));
        let delays = &self.delay_ms;
        let y = Axis::linear(ends(delays), 8.0, "delay of the satellite (ms)");
        // The lightest colour begins where the best of all places lies.
        let best_db = self.lowest_db.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max).min(0.0);
        let top_db = -STEP_DB * (-best_db / STEP_DB).floor();
        let step = |place: usize, row: usize| {
            let db = top_db - *self.lowest_db[place].get(row)?;
            Some(((db / STEP_DB).floor().max(0.0) as usize).min(STEPS - 1))
        };
        let [chosen_hz, chosen_ms] = self.chosen;
        let layers = vec![
            Layer::Cells(cells(&self.crossover_hz, delays, step, step_colour)),
            Layer::Upright { at: chosen_hz, stroke: CHOSEN },
            Layer::Level { at: chosen_ms, stroke: CHOSEN },
        ];
        let mut legend: Vec<LegendEntry> = (0..STEPS)
            .map(|step| {
                let [upper, lower] = [step, step + 1].map(|n| signed(top_db - STEP_DB * n as f64, 0));
                let name =
                    if step + 1 == STEPS { format!("below {upper} dB") } else { format!("{upper} to {lower} dB") };
                LegendEntry { name, sample: Sample::Patch(Tint { colour: step_colour(step), opacity: 1.0 }) }
            })
            .collect();
        legend.push(LegendEntry { name: "recommended".to_owned(), sample: Sample::Stroke(CHOSEN) });
        let panel = Panel { y, height: Height::Units(MAP_UNITS), right: None, layers };
        let sheet = Sheet { title: self.title.clone(), x, panels: vec![panel], legend, valid: None };
        Picture::new(sheet, "Lowest level in the overlap of the worst seat against crossover frequency and delay")
    }
}

/// Lines every ten hertz, as receivers have them; labels where they don't touch.
fn crossover_axis([from, to]: [f64; 2]) -> Axis {
    let first = (from / STEP_HZ).ceil() as u32;
    let all = (first..).map(|n| STEP_HZ * f64::from(n)).take_while(|at| *at <= to * (1.0 + 1e-9));
    let apart = (to / from).ln() / MOST_LABELS;
    let mut labelled = f64::NEG_INFINITY;
    let ticks = all.map(|at| {
        let has_label = at.ln() - labelled >= apart;
        labelled = if has_label { at.ln() } else { labelled };
        Tick { at, label: has_label.then(|| format!("{at:.0}")) }
    });
    Axis { ticks: ticks.collect(), title: "crossover (Hz)".to_owned(), ..Axis::of_frequency([from, to]) }
}

/// Light where there is no hole.
fn step_colour(step: usize) -> Colour {
    shade(1.0 - step as f64 / (STEPS - 1) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_ten_hertz_have_a_line_and_labels_do_not_touch() {
        let axis = crossover_axis([40.0, 200.0]);
        assert_eq!(axis.ticks.len(), 17);
        let labels: Vec<f64> = axis.ticks.iter().filter(|tick| tick.label.is_some()).map(|tick| tick.at).collect();
        assert!(labels.contains(&40.0) && (8..=14).contains(&labels.len()), "{labels:?}");
        // A fourteenth of the axis apart.
        assert!(labels.windows(2).all(|two| (two[1] / two[0]).ln() >= 5f64.ln() / 14.0), "{labels:?}");
        assert!(crossover_axis([130.0, 150.0]).ticks.iter().all(|tick| tick.label.is_some()));
    }

    #[test]
    fn the_lightest_colour_begins_where_the_best_place_lies() {
        let map = BlendMapPicture {
            title: String::new(),
            crossover_hz: vec![80.0, 100.0],
            delay_ms: vec![0.0, 1.0],
            lowest_db: vec![vec![-7.0, -30.0], vec![-11.0, -40.0]],
            chosen: [80.0, 0.0],
        };
        let svg = map.picture().svg().unwrap();
        assert!(svg.contains("−6 to −9 dB") && svg.contains("below −24 dB"), "{svg}");
    }
}
