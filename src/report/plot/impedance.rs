//! Impedance against frequency: magnitude on a logarithmic scale, phase beneath.

use super::axis::{Axis, signed};
use super::palette::{Dash, PREDICTED, Stroke};
use super::picture::Picture;
use super::range::frequency_range_hz;
use super::response::{Origin, wrapped};
use super::sheet::{Height, Layer, LegendEntry, Panel, Sample, Sheet, Tint, Trace};

/// A curve of an [`ImpedancePicture`]; its columns are cut to the shortest that is not empty.
#[derive(Debug, Clone, PartialEq)]
pub struct OhmCurve {
    /// Its name in the legend.
    pub name: String,
    /// Solid or dashed.
    pub origin: Origin,
    /// Hz; points that are not positive are left out.
    pub frequency_hz: Vec<f64>,
    /// |Z|; a point that is not positive is a gap.
    pub magnitude_ohm: Vec<f64>,
    /// Degrees; empty if there is none.
    pub phase_deg: Vec<f64>,
    /// Standard uncertainty of |Z| (a band of ± twice this is drawn); empty if it is not known.
    pub u_ohm: Vec<f64>,
}

/// Magnitude and phase of impedances.
#[derive(Debug, Clone, PartialEq)]
pub struct ImpedancePicture {
    /// What stands above the picture.
    pub title: String,
    /// The first is the one the picture is about.
    pub curves: Vec<OhmCurve>,
}

const MAGNITUDE_PANEL_UNITS: f64 = 420.0;
const PHASE_PANEL_UNITS: f64 = 190.0;
/// The edge of a band that would reach zero, against the curve: below every panel.
const FLOOR_RATIO: f64 = 1e-3;

impl ImpedancePicture {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let frequencies = self.curves.iter().flat_map(|curve| curve.frequency_hz.iter().copied());
        let x = Axis::of_frequency(frequency_range_hz(frequencies));
        let panels = vec![self.magnitude_panel(), self.phase_panel()];
        let names: Vec<&str> = self.curves.iter().map(|curve| curve.name.as_str()).collect();
        let sheet = Sheet { title: self.title.clone(), x, panels, legend: self.legend(), valid: None };
        Picture::new(sheet, &format!("Impedance in ohm and degrees against frequency: {}", names.join(", ")))
    }

    fn magnitude_panel(&self) -> Panel {
        // The 1-2-5 ends of frequencies suit ohms as well, with room for a curve that touches one.
        let room = |ohm: &f64| [0.95 * ohm, 1.05 * ohm];
        let ohms = self.curves.iter().flat_map(|curve| curve.magnitude_ohm.iter().flat_map(room));
        let y = Axis { title: "impedance (Ω)".to_owned(), ..Axis::of_frequency(frequency_range_hz(ohms)) };
        let bands = self.curves.iter().enumerate().filter_map(|(n, curve)| curve.band(self.stroke(n)));
        let lines = self.curves.iter().enumerate().rev().map(|(n, curve)| Layer::Line {
            trace: Trace::new(&curve.frequency_hz, &curve.magnitude_ohm),
            stroke: self.stroke(n),
        });
        Panel { y, height: Height::Units(MAGNITUDE_PANEL_UNITS), right: None, layers: bands.chain(lines).collect() }
    }

    /// ±90° is all that a passive load has; a curve that leaves it shows that on the whole circle.
    fn phase_panel(&self) -> Panel {
        let leaves = self.curves.iter().flat_map(|curve| &curve.phase_deg).any(|degrees| degrees.abs() > 90.0);
        let most = if leaves { 180.0 } else { 90.0 };
        let y = Axis::with_step([-most, most], 0.5 * most, "phase (degrees)", |degrees| signed(degrees, 0));
        let lines = self.curves.iter().enumerate().rev().map(|(n, curve)| Layer::Line {
            trace: wrapped(&curve.frequency_hz, &curve.phase_deg),
            stroke: Stroke { width: 1.6, ..self.stroke(n) },
        });
        Panel { y, height: Height::Units(PHASE_PANEL_UNITS), right: None, layers: lines.collect() }
    }

    fn stroke(&self, place: usize) -> Stroke {
        let origin = self.curves[place].origin;
        let before = self.curves[..place].iter().filter(|curve| curve.origin == origin).count();
        Stroke::of_curve(place, before, if origin == Origin::Measured { Dash::Solid } else { PREDICTED })
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
        legend
    }
}

impl OhmCurve {
    fn band(&self, stroke: Stroke) -> Option<Layer> {
        let edges = self.magnitude_ohm.iter().zip(&self.u_ohm);
        let (lower, upper): (Vec<f64>, Vec<f64>) =
            edges.map(|(&ohm, u)| ((ohm - 2.0 * u).max(FLOOR_RATIO * ohm), ohm + 2.0 * u)).unzip();
        let tint = Tint { colour: stroke.colour, opacity: 0.28 };
        let trace = |edge: &[f64]| Trace::new(&self.frequency_hz, edge);
        (!lower.is_empty()).then(|| Layer::Band { lower: trace(&lower), upper: trace(&upper), tint })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(phase_deg: f64) -> ImpedancePicture {
        let curve = OhmCurve {
            name: "woofer".into(),
            origin: Origin::Measured,
            frequency_hz: vec![20.0, 200.0, 2_000.0],
            magnitude_ohm: vec![8.0, 60.0, 6.1],
            phase_deg: vec![20.0, phase_deg, -30.0],
            u_ohm: vec![0.1, 0.5, 4.0],
        };
        ImpedancePicture { title: "woofer: impedance".into(), curves: vec![curve] }
    }

    #[test]
    fn the_magnitude_stands_on_a_logarithmic_scale_in_ohm() {
        let panel = picture(0.0).magnitude_panel();
        assert_eq!((panel.y.from, panel.y.to, panel.y.title.as_str()), (5.0, 100.0, "impedance (Ω)"));
        // √(5·100) stands in the middle.
        assert!((panel.y.fraction(500f64.sqrt()).unwrap() - 0.5).abs() < 1e-12);
        let Layer::Band { lower, upper, .. } = &panel.layers[0] else { panic!("a band") };
        assert_eq!((&lower.y[..2], &upper.y[..2]), (&[7.8, 59.0][..], &[8.2, 61.0][..]));
        // 6.1 − 8 would be no place on this scale.
        assert!(lower.y[2] > 0.0);
    }

    #[test]
    fn the_phase_has_the_whole_circle_only_where_it_leaves_the_half() {
        assert_eq!(picture(89.0).phase_panel().y.to, 90.0);
        assert_eq!(picture(-120.0).phase_panel().y.to, 180.0);
        let svg = picture(0.0).picture().svg().unwrap();
        assert!(svg.contains("woofer") && svg.contains("phase (degrees)"));
    }
}
