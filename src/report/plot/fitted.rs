//! An impedance with the fitted model over it, and what the model leaves.

use super::axis::{Axis, signed};
use super::palette::{BLUE, Dash, GREEN, ORANGE, PREDICTED, SOFT_INK, Stroke};
use super::picture::Picture;
use super::range::{extremes, frequency_range_hz, linear_steps};
use super::sheet::{Height, Layer, LegendEntry, Panel, Sample, Sheet, Tint, Trace};
use num_complex::Complex64;

/// Measured impedance, fitted model, and the difference in percent of |Z|.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedPicture {
    /// What stands above the picture.
    pub title: String,
    /// Hz, of all columns.
    pub frequency_hz: Vec<f64>,
    /// Ohm.
    pub measured: Vec<Complex64>,
    /// Standard uncertainty, ohm; empty if it is not known.
    pub u_ohm: Vec<f64>,
    /// Ohm.
    pub fitted: Vec<Complex64>,
    /// The model's name for the legend.
    pub model: String,
    /// What was fitted; what lies outside is greyed.
    pub band_hz: [f64; 2],
    /// Other curves to compare with, |Z| in ohm on the same frequencies, with their names; two at most.
    pub beside: Vec<(String, Vec<f64>)>,
    /// Frequencies to mark, and what they are, for the legend.
    pub marks: Option<(String, Vec<f64>)>,
}

const MEASURED: Stroke = Stroke { colour: BLUE, width: 2.4, dash: Dash::Solid, marker: None };
const FITTED: Stroke = Stroke { colour: ORANGE, width: 1.8, dash: PREDICTED, marker: None };
const BESIDE: [Stroke; 2] = [
    Stroke { colour: GREEN, width: 1.6, dash: Dash::Solid, marker: None },
    Stroke { colour: SOFT_INK, width: 1.4, dash: PREDICTED, marker: None },
];
const MARK: Stroke = Stroke { colour: SOFT_INK, width: 1.2, dash: PREDICTED, marker: None };
const BAND: Tint = Tint { colour: BLUE, opacity: 0.28 };
const ZERO: Stroke = Stroke { colour: SOFT_INK, width: 1.0, dash: Dash::Solid, marker: None };
const MAGNITUDE_UNITS: f64 = 330.0;
const PHASE_UNITS: f64 = 190.0;
const RESIDUAL_UNITS: f64 = 150.0;
/// The residual's panel spans at least and at most so much.
const RESIDUAL_PERCENT: [f64; 2] = [0.1, 50.0];

impl FittedPicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let x = Axis::of_frequency(frequency_range_hz(self.frequency_hz.iter().copied()));
        let panels = vec![self.magnitude_panel(), self.phase_panel(), self.residual_panel()];
        let mut legend = vec![
            LegendEntry { name: "measured".to_owned(), sample: Sample::Stroke(MEASURED) },
            LegendEntry { name: format!("fitted: {}", self.model), sample: Sample::Stroke(FITTED) },
        ];
        if !self.u_ohm.is_empty() {
            legend.push(LegendEntry { name: "± 2u of measured".to_owned(), sample: Sample::Doubt(BAND) });
        }
        let beside = self.beside.iter().zip(BESIDE);
        legend.extend(
            beside.map(|((name, _), stroke)| LegendEntry { name: name.clone(), sample: Sample::Stroke(stroke) }),
        );
        legend.extend(
            self.marks.iter().map(|(name, _)| LegendEntry { name: name.clone(), sample: Sample::Stroke(MARK) }),
        );
        let whole = extremes(self.frequency_hz.iter().copied());
        let valid = whole.is_some_and(|whole| whole != self.band_hz).then_some(self.band_hz);
        legend
            .extend(valid.map(|_| LegendEntry { name: "not fitted".to_owned(), ..super::response::not_valid_entry() }));
        let description = format!(
            "Impedance against frequency: magnitude and phase, measured and fitted ({}), and the difference in percent",
            self.model
        );
        Picture::new(Sheet { title: self.title.clone(), x, panels, legend, valid }, &description)
    }

    fn magnitude_panel(&self) -> Panel {
        let beside = self.beside.iter().flat_map(|(_, ohm)| ohm.iter().copied());
        let all = self.measured.iter().chain(&self.fitted).map(|z| z.norm()).chain(beside);
        let [_, highest] = extremes(all).unwrap_or([0.0, 10.0]);
        let step = linear_steps([0.0, highest], 7.0);
        let top = (1.03 * highest / step).ceil() * step;
        let y = Axis::linear([0.0, top.max(f64::MIN_POSITIVE)], 7.0, "impedance (Ω)");
        let beside = self.beside.iter().zip(BESIDE);
        let line = |ohm: &[f64], stroke| Layer::Line { trace: Trace::new(&self.frequency_hz, ohm), stroke };
        let mut layers: Vec<Layer> = beside.map(|((_, ohm), stroke)| line(ohm, stroke)).collect();
        layers.extend(self.layers(|z| z.norm(), 1.0));
        Panel { y, height: Height::Units(MAGNITUDE_UNITS), right: None, layers }
    }

    fn phase_panel(&self) -> Panel {
        let y = Axis::with_step([-90.0, 90.0], 45.0, "phase (degrees)", |degrees| signed(degrees, 0));
        // An error across Z turns it: u/|Z| in radians.
        let layers = self.layers(|z| z.arg().to_degrees(), 1f64.to_degrees());
        Panel { y, height: Height::Units(PHASE_UNITS), right: None, layers }
    }

    /// Band, measured, fitted; `u` grows by `scale`, over |Z| where the column is an angle.
    fn layers(&self, column: impl Fn(&Complex64) -> f64, scale: f64) -> Vec<Layer> {
        let values = |all: &[Complex64]| all.iter().map(&column).collect::<Vec<f64>>();
        let measured = values(&self.measured);
        let mut layers = Vec::new();
        if !self.u_ohm.is_empty() {
            let wide = |(z, u): (&Complex64, &f64)| if scale == 1.0 { 2.0 * u } else { 2.0 * scale * u / z.norm() };
            let widths: Vec<f64> = self.measured.iter().zip(&self.u_ohm).map(wide).collect();
            let edge = |sign: f64| {
                let edge: Vec<f64> = measured.iter().zip(&widths).map(|(value, width)| value + sign * width).collect();
                Trace::new(&self.frequency_hz, &edge)
            };
            layers.push(Layer::Band { lower: edge(-1.0), upper: edge(1.0), tint: BAND });
        }
        let line = |values: &[f64], stroke| Layer::Line { trace: Trace::new(&self.frequency_hz, values), stroke };
        layers.extend([line(&measured, MEASURED), line(&values(&self.fitted), FITTED)]);
        layers
    }

    /// |measured| less |fitted| in percent, as high as what was fitted needs.
    fn residual_panel(&self) -> Panel {
        let pairs = self.measured.iter().zip(&self.fitted);
        let percent: Vec<f64> = pairs.map(|(z, model)| 100.0 * (z.norm() / model.norm() - 1.0)).collect();
        let [from, to] = self.band_hz;
        let fitted = self.frequency_hz.iter().zip(&percent).filter(|(hz, _)| (from..=to).contains(*hz));
        let mut sizes: Vec<f64> = fitted.map(|(_, percent)| percent.abs()).filter(|size| size.is_finite()).collect();
        sizes.sort_by(f64::total_cmp);
        let [least, most] = RESIDUAL_PERCENT;
        let reach = linear_steps([0.0, sizes.last().copied().unwrap_or(least).clamp(least, most)], 1.0);
        let y = Axis::linear([-reach, reach], 4.0, "left over (%)");
        let trace = Trace::new(&self.frequency_hz, &percent);
        let marked = self.marks.iter().flat_map(|(_, all)| all);
        let mut layers: Vec<Layer> = marked.map(|&at| Layer::Upright { at, stroke: MARK }).collect();
        layers.extend([
            Layer::Level { at: 0.0, stroke: ZERO },
            Layer::Line { trace, stroke: Stroke { width: 1.6, ..MEASURED } },
        ]);
        Panel { y, height: Height::Units(RESIDUAL_UNITS), right: None, layers }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_panels_hold_what_was_fitted() {
        let frequency_hz: Vec<f64> = (1..=100).map(|n| 10.0 * f64::from(n)).collect();
        let fitted: Vec<Complex64> = frequency_hz.iter().map(|hz| Complex64::new(6.0, 0.01 * hz)).collect();
        // 2 % too much within the band, 40 % outside of it.
        let off = |(hz, z): (&f64, &Complex64)| z * if *hz <= 500.0 { 1.02 } else { 1.4 };
        let measured = frequency_hz.iter().zip(&fitted).map(off).collect();
        let picture = FittedPicture {
            title: "a driver".to_owned(),
            frequency_hz,
            measured,
            u_ohm: Vec::new(),
            fitted,
            model: "inductance, plain".to_owned(),
            band_hz: [10.0, 500.0],
            beside: Vec::new(),
            marks: None,
        };
        let residual = picture.residual_panel().y;
        // 2 % exactly but for rounding: the next 1-2-5 number is 2, or 5 where it rounds up.
        assert!(residual.to >= 1.999 && residual.to <= 5.0 && residual.from == -residual.to, "{residual:?}");
        let magnitude = picture.magnitude_panel().y;
        assert!(magnitude.from == 0.0 && magnitude.to >= 1.4 * 6f64.hypot(10.0), "{magnitude:?}");
        assert!(picture.picture().svg().unwrap().contains("left over (%)"));
    }
}
