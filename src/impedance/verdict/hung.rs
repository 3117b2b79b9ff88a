//! What hangs in the jig, where it is not a driver in free sight of its resonance.
//!
//! No equation: thresholds, each with its reason.

use super::Evidence;
use crate::impedance::measure::middle;
use crate::math::weighted_plane;
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

/// What parts the inputs at the lowest frequency, as a share of the impedance there: a voice coil's losses, whose reactance is no polynomial
/// of f, look like up to a tenth.
const PARTED_SHARE: f64 = 0.15;
/// Up to where it moves an impedance by more than this, a third of a decibel, it counts.
const STILL_PARTED_SHARE: f64 = 0.04;
/// The fit needs this ratio between its last and its first frequency, …
const WIDE_RATIO: f64 = 1.5;
/// … ends far enough below the resonance for a cubic to hold, …
const BELOW_PEAK: f64 = 0.4;
/// … and neighbouring points share their noise: twice the usual five standard uncertainties.
const ABOVE_NOISE: f64 = 10.0;

/// A capacitor in series: below the resonance a driver's reactance is positive, that of a capacitor is `−1/(2πfC)`.
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
    // What is in the path is in the whole curve.
    dominates.then(|| {
        Finding::new(
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

/// An input that lets the lowest frequencies through less than the other one.
///
/// ```text
/// Im Z(x) = a·x + b·x³ + s/x·Re(Z·(1 + Z/R_s))        x = f/f_1
/// ```
///
/// Below its resonance the reactance of a driver is odd in f and vanishes towards zero, whatever gain or delay the inputs have between them; a
/// high-pass of one of them multiplies the ratio by `1 ± j·f_c/f` and so adds the last term, s: f_c over the lowest frequency f_1.
pub(super) fn inputs_part(evidence: &Evidence<'_>) -> Option<Finding> {
    let impedance = &evidence.measured.impedance;
    let (hz, values, u_noise) = (evidence.hz(), impedance.values(), impedance.u_noise_ohm()?);
    let sense_ohm = evidence.settings.facts.sense_ohm;
    let peak_hz = evidence.measured.peaks.first()?.hz;
    let low = hz.partition_point(|&hz_of| hz_of < (2.0 * hz[0]).min(BELOW_PEAK * peak_hz));
    if low < FEWEST_LOW || hz[low - 1] < WIDE_RATIO * hz[0] {
        return None;
    }
    let parted = |z: Complex64| z * (1.0 + z / sense_ohm);
    let row = |at: usize| {
        let x = hz[at] / hz[0];
        (vec![x, x.powi(3), parted(values[at]).re / x], values[at].im, u_noise[at].powi(-2))
    };
    let fit = weighted_plane(&(0..low).map(row).collect::<Vec<_>>())?;
    let size = parted(values[0]).norm() / values[0].norm();
    let (share, u_share) = (fit.values[2] * size, fit.variances[2].sqrt() * size);
    // It falls with f, but high impedances feel it more.
    let moved = |at: usize| (fit.values[2] * hz[0] / hz[at] * parted(values[at]) / values[at]).norm();
    let last = (0..hz.len()).rev().find(|&at| moved(at) > STILL_PARTED_SHARE).unwrap_or(0);
    (share.abs() > PARTED_SHARE.max(ABOVE_NOISE * u_share)).then(|| Finding {
        at: Whereabouts { band_hz: Some([hz[0], hz[last]]), ..Whereabouts::default() },
        ..Finding::new(
            Code::InputGain,
            Severity::Caution,
            format!(
                "towards {:.1} Hz the two inputs part, by {:.0} % of the impedance there: one of them lets the bass through \
                 less than the other",
                hz[0],
                100.0 * share.abs()
            ),
            "use two inputs of one kind, without high-pass, or measure a known resistor too: --known WAV --known-ohm R",
        )
    })
}
