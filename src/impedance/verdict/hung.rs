//! What hangs in the jig, where it is not a driver in free sight of its resonance.
//!
//! No equation: thresholds, each with its reason.

use super::Evidence;
use crate::impedance::measure::middle;
use crate::quantity::{Code, Finding, Severity, Whereabouts};
use num_complex::Complex64;

/// Fewer points than this below the resonance tell no slope.
const FEWEST_LOW: usize = 8;
/// One capacitor has one capacitance: within this ratio, what else is in the path counts little …
const ALIKE: f64 = 1.3;
/// … where its reactance is more than this share of the lowest impedance.
const CAPACITIVE_SHARE: f64 = 0.5;
/// Peaks of drivers rise to ten times their lowest impedance; half an octave above, a third of that is left.
const MORE_THAN_A_MASS: f64 = 10.0;
/// A resonance needs an octave of band below it.
const STARTS_LATE: f64 = 2.0;
/// Six degrees: more than a resistor shows whose inputs have unlike lower ends.
const FALLING_RAD: f64 = 0.1;

/// A capacitor in series: below the resonance a driver's reactance is positive, that of a capacitor is `−1/(2πfC)`.
/// A susceptance that a driver has not, at the lowest frequency, as a share of its admittance: a tenth of it moves |Z| by half a percent …
const COIL_SHARE: f64 = 0.1;
/// … within this ratio the same coil at all points, over a range in which a driver's own f·Im Y more than doubles.
const COIL_ALIKE: f64 = 1.4;
const WIDE_RATIO: f64 = 1.5;
/// So many standard uncertainties of the first point: the fit over an octave has less than one.
const ABOVE_NOISE: f64 = 5.0;

pub(super) fn capacitor(evidence: &Evidence<'_>) -> Option<Finding> {
    let (hz, values) = (evidence.hz(), evidence.measured.impedance.values());
    let peak_hz = evidence.measured.peaks.first().map_or(f64::MAX, |peak| peak.hz);
    let from_hz = hz[0];
    let low: Vec<usize> = (0..hz.len()).filter(|&at| hz[at] < (2.0 * from_hz).min(0.6 * peak_hz)).collect();
    if low.len() < FEWEST_LOW {
        return None;
    }
    // In series with little it is seen in Z, beside inputs that are not alike in 1/Z.
    let of_points = |farad: fn(f64, Complex64) -> f64| -> Option<f64> {
        let farads: Vec<f64> = low.iter().map(|&at| farad(std::f64::consts::TAU * hz[at], values[at])).collect();
        let middle = middle(farads.clone());
        let is_one = farads.iter().all(|farad| (middle / ALIKE..=middle * ALIKE).contains(farad));
        (middle > 0.0 && is_one).then_some(middle)
    };
    let farad = of_points(|omega, z| z.inv().im / omega).or_else(|| of_points(|omega, z| -1.0 / (omega * z.im)))?;
    let at_start = values[0];
    // Without a peak in sight the moving mass above its resonance could look alike, but not that large.
    let least = if evidence.measured.peaks.is_empty() { MORE_THAN_A_MASS } else { CAPACITIVE_SHARE };
    let dominates = -at_start.im > least * evidence.measured.minimum.ohm;
    dominates.then(|| Finding {
        at: Whereabouts { band_hz: Some([from_hz, hz[low[low.len() - 1]]]), ..Whereabouts::default() },
        ..Finding::new(
            Code::NotADriver,
            Severity::Fault,
            format!(
                "at the low end the impedance is that of a capacitor of about {:.2} µF in series (−{:.0} Ω at \
                 {from_hz:.1} Hz): a crossover or a protective capacitor is in the path",
                1e6 * farad,
                -at_start.im
            ),
            "connect the leads to the driver's own terminals, with nothing in between",
        )
    })
}

/// A driver has its resonance in sight.
pub(super) fn no_resonance(evidence: &Evidence<'_>) -> Option<Finding> {
    if let Some(peak) = evidence.measured.peaks.first() {
        let from_hz = evidence.hz()[0];
        return (peak.hz < STARTS_LATE * from_hz).then(|| Finding {
            at: Whereabouts { band_hz: evidence.band_hz(), ..Whereabouts::default() },
            ..Finding::new(
                Code::OutOfBand,
                Severity::Caution,
                format!(
                    "the curve starts at {from_hz:.1} Hz, above half of the resonance at {:.1} Hz: its lower flank is missing",
                    peak.hz
                ),
                "start the sweep two octaves below the resonance (--from); for a treble driver at a level it bears there",
            )
        });
    }
    let band_hz = evidence.band_hz()?;
    let values = evidence.measured.impedance.values();
    // Above its resonance a moving mass looks like a capacitor.
    let falls = values[0].arg() < -FALLING_RAD;
    let why = if falls {
        format!("it falls from {:.1} Hz on, as it does above a resonance: the sweep starts too high", band_hz[0])
    } else {
        "a resistor, a driver whose cone is held, or a resonance out of the band".to_owned()
    };
    Some(Finding {
        at: Whereabouts { band_hz: Some(band_hz), ..Whereabouts::default() },
        ..Finding::new(
            Code::NoResonance,
            if falls { Severity::Caution } else { Severity::Note },
            format!("no peak of the impedance between {:.1} and {:.0} Hz: {why}", band_hz[0], band_hz[1]),
            "for a driver's parameters let the sweep start two octaves below its resonance (--from)",
        )
    })
}

/// An input that lets the lowest frequencies through less than the other one: below the resonance the admittance of a driver tends to `1/R_e`
/// with a susceptance that falls with f; a high-pass of one input adds one that grows, `∓(f_c/f)·(1 + R_s·Y)/R_s`, as a coil beside the
/// load would. It is told where it is more than the driver's own.
pub(super) fn coil_beside(evidence: &Evidence<'_>) -> Option<Finding> {
    let (hz, values) = (evidence.hz(), evidence.measured.impedance.values());
    let peak_hz = evidence.measured.peaks.first()?.hz;
    let low: Vec<usize> = (0..hz.len()).filter(|&at| hz[at] < (2.0 * hz[0]).min(0.4 * peak_hz)).collect();
    if low.len() < FEWEST_LOW {
        return None;
    }
    let last_hz = hz[low[low.len() - 1]];
    // Of a driver's own susceptance f·Im Y grows with f² or faster.
    let products: Vec<f64> = low.iter().map(|&at| hz[at] * values[at].inv().im).collect();
    let middle = middle(products.clone());
    let is_one = products.iter().all(|product| (1.0 / COIL_ALIKE..=COIL_ALIKE).contains(&(product / middle)));
    let at_start = values[low[0]].inv().im / values[low[0]].inv().norm();
    let noise = evidence.measured.impedance.u_noise_ohm().map_or(0.0, |u| u[low[0]] / values[low[0]].norm());
    let is_coil = is_one && last_hz > WIDE_RATIO * hz[0] && at_start.abs() > COIL_SHARE.max(ABOVE_NOISE * noise);
    is_coil.then(|| Finding {
        at: Whereabouts { band_hz: Some([hz[0], 2.0 * hz[0].max(peak_hz / 2.0)]), ..Whereabouts::default() },
        ..Finding::new(
            Code::InputGain,
            Severity::Caution,
            format!(
                "towards {:.1} Hz the two inputs part, as if a coil lay beside the load ({:+.0} % of its admittance there): one of \
                 them lets the bass through less than the other",
                hz[0],
                100.0 * at_start
            ),
            "use two inputs of one kind, without high-pass, or measure a known resistor too: --known WAV --known-ohm R",
        )
    })
}
