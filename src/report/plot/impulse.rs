//! The impulse response around the arrival, with the gate over it.

use super::axis::{Axis, Scale, Tick, signed};
use super::palette::{BLUE, FRAME, PREDICTED, Stroke, VERMILION};
use super::picture::Picture;
use super::range::{extremes, linear_steps};
use super::sheet::{Height, Layer, LegendEntry, Panel, Sample, Sheet, Trace};

/// The gate as it weighs the impulse response: 0 shuts, 1 lets pass.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct GateShape {
    /// ms after the arrival.
    pub time_ms: Vec<f64>,
    /// Between 0 and 1.
    pub weight: Vec<f64>,
}

/// Amplitude against time around the arrival.
#[derive(Debug, Clone, PartialEq)]
pub struct ImpulsePicture {
    /// What the curve is: `impulse response`, `step response`.
    pub name: String,
    /// What stands above the picture.
    pub title: String,
    /// ms after the arrival.
    pub time_ms: Vec<f64>,
    /// In `unit`.
    pub amplitude: Vec<f64>,
    /// The unit of the amplitude; empty for a ratio.
    pub unit: String,
    /// From and to, ms after the arrival; what lies outside is not shown.
    pub view_ms: [f64; 2],
    /// The gate, if there is one.
    pub gate: Option<GateShape>,
}

const PANEL_UNITS: f64 = 380.0;

impl ImpulsePicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let mut legend = vec![LegendEntry { name: self.name.clone(), sample: Sample::Stroke(RESPONSE) }];
        if self.gate.is_some() {
            legend.push(LegendEntry { name: "gate (0 to 1)".to_owned(), sample: Sample::Stroke(gate_look()) });
        }
        let x = time_axis(self.view_ms);
        let panel = self.panel([x.from, x.to]);
        let sheet = Sheet { title: self.title.clone(), x, panels: vec![panel], legend, valid: None };
        let gated = if self.gate.is_some() { ", with the gate drawn over it" } else { "" };
        Picture::new(sheet, &format!("{}: amplitude against time after the arrival{gated}", self.name))
    }

    fn panel(&self, [from, to]: [f64; 2]) -> Panel {
        let in_view = self.time_ms.iter().zip(&self.amplitude).filter(|(time, _)| (from..=to).contains(*time));
        let [least, most] = extremes(in_view.map(|(_, amplitude)| *amplitude)).unwrap_or([-1.0, 1.0]);
        let y = amplitude_axis([least.min(0.0), most.max(0.0)], &self.unit);
        let mut layers = vec![
            Layer::Level { at: 0.0, stroke: Stroke::plain(FRAME, 1.0) },
            Layer::Line { trace: Trace::new(&self.time_ms, &self.amplitude), stroke: RESPONSE },
        ];
        if let Some(gate) = &self.gate {
            layers.push(Layer::Line { trace: gate.trace(y.to), stroke: gate_look() });
        }
        Panel { y, height: Height::Units(PANEL_UNITS), right: None, layers }
    }
}

impl GateShape {
    /// The gate as a curve; where it is shut there is none, so that it does not lie on the curve of the response.
    fn trace(&self, axis_top: f64) -> Trace {
        // A weight of one stands at nine tenths of the upper half, clear of the frame.
        let full = 0.9 * axis_top;
        let is_shut = |n: usize| self.weight.get(n).is_none_or(|weight| *weight <= 0.0);
        let is_inside = |n: usize| !is_shut(n) || !is_shut(n + 1) || (n > 0 && !is_shut(n - 1));
        let height = |n: usize| if is_inside(n) { self.weight[n].clamp(0.0, 1.0) * full } else { f64::NAN };
        let heights: Vec<f64> = (0..self.weight.len()).map(height).collect();
        Trace::new(&self.time_ms, &heights)
    }
}

const RESPONSE: Stroke = Stroke { colour: BLUE, width: 1.8, dash: super::palette::Dash::Solid, marker: None };

fn gate_look() -> Stroke {
    Stroke { dash: PREDICTED, ..Stroke::plain(VERMILION, 2.2) }
}

/// The axis of time after the arrival; a view that is none shows −1 to 10 ms.
pub(super) fn time_axis([from, to]: [f64; 2]) -> Axis {
    let title = "time after the arrival (ms)";
    let is_view = from.is_finite() && to.is_finite() && to - from > 1e-6 && from.abs().max(to.abs()) < 1e9;
    Axis::linear(if is_view { [from, to] } else { [-1.0, 10.0] }, 12.0, title)
}

/// An axis for amplitudes of any size, written as small numbers times a power of a thousand.
fn amplitude_axis([least, most]: [f64; 2], unit: &str) -> Axis {
    // Beyond these a picture of amplitudes shows a fault of the numbers, not a loudspeaker.
    let (least, most) = (least.max(-1e30), most.min(1e30));
    let [least, most] = if most - least > 1e-30 { [least, most] } else { [-1.0, 1.0] };
    let step = linear_steps([least, most], 8.0);
    let from = (least / step - 0.1).floor() * step;
    let to = (most / step + 0.1).ceil() * step;
    let thousands = ((from.abs().max(to.abs()) * 1.001).log10() / 3.0).floor() as i32;
    let size = 1000f64.powi(thousands);
    let decimals = (-(step / size * 1.001).log10().floor()).clamp(0.0, 6.0) as usize;
    let factor = if thousands == 0 { String::new() } else { format!("10{}", superscript(3 * thousands)) };
    let detail = [factor.as_str(), unit].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ");
    let title = if detail.is_empty() { "amplitude".to_owned() } else { format!("amplitude ({detail})") };
    let ticks = ((from / step).round() as i64..=(to / step).round() as i64)
        .map(|k| k as f64 * step)
        .map(|at| Tick { at, label: Some(signed(at / size, decimals)) })
        .collect();
    Axis { scale: Scale::Linear, from, to, size, ticks, title }
}

fn superscript(number: i32) -> String {
    let digit = |c: char| match c {
        '-' => '⁻',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        c => char::from_u32('⁰' as u32 + c.to_digit(10).unwrap_or(0)).unwrap_or(c),
    };
    number.to_string().chars().map(digit).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_amplitudes_are_written_with_a_power_of_a_thousand() {
        let axis = amplitude_axis([-0.0021, 0.0043], "Pa/V");
        assert_eq!(axis.title, "amplitude (10⁻³ Pa/V)");
        let labels: Vec<String> = axis.ticks.iter().filter_map(|tick| tick.label.clone()).collect();
        assert_eq!(labels, ["−3", "−2", "−1", "0", "1", "2", "3", "4", "5"]);
        assert_eq!(amplitude_axis([0.0, 0.0], "").title, "amplitude");
    }

    #[test]
    fn powers_are_written_raised() {
        assert_eq!(superscript(-12), "⁻¹²");
        assert_eq!(superscript(6), "⁶");
    }
}
