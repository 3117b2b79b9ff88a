//! What can't be a driver in free air is refused by name.
//!
//! A driver's |Z| has one resonance, falls to its plateau on both sides, and its phase stays above that of a capacitor:
//! with r₀ = Z_max/R_e the phase of a driver without inductance is at least −arcsin((r₀ − 1)/(r₀ + 1)), −76° for r₀ =
//! 65.

use super::DriverError;
use super::resonance::{Peak, peaks};
use crate::impedance::Impedance;

/// A phase below this at the low end is a capacitor's.
const CAPACITOR_DEG: f64 = -78.0;
/// |Z| at the low end over the lowest below the peak, and phase there, that only a capacitor in series gives.
const CAPACITOR_RISE: f64 = 1.5;
const CAPACITOR_BEFORE_PEAK_DEG: f64 = -40.0;
/// A peak stands out by this part of its height, and by this many times its noise.
const LEAST_PEAK: f64 = 0.05;
const LEAST_PEAK_NOISES: f64 = 5.0;
/// A second peak is a resonance of its own, not a wrinkle of the cone, when it stands out by these parts of the first
/// and of the lowest |Z|.
const SECOND_OF_FIRST: f64 = 0.15;
const SECOND_OF_LOWEST: f64 = 0.25;
/// A real part below zero by this part of |Z|, or by as many noises, at more than this part of the points.
const NEGATIVE: f64 = 0.02;
const NEGATIVE_POINTS: f64 = 0.02;
/// The low end of the curve, in octaves, over which phase is averaged.
const LOW_END_OCTAVES: f64 = 0.5;

/// The resonance.
///
/// # Errors
/// [`DriverError`]: too few points, no phase, a negative resistance, a capacitor or several resonances, no resonance.
pub(crate) fn resonance_of(curve: &Impedance, numbers: usize) -> Result<Peak, DriverError> {
    let points = curve.hz().len();
    if points <= numbers {
        return Err(DriverError::TooFewPoints { found: points, needed: numbers + 1 });
    }
    if curve.values().iter().all(|z| z.im == 0.0) {
        return Err(DriverError::WithoutPhase);
    }
    refuse_negative(curve)?;
    let magnitude = curve.magnitude_ohm();
    let all = peaks(&magnitude);
    let stands_out =
        |peak: &&Peak| peak.prominence_ohm > LEAST_PEAK * magnitude[peak.at] && is_not_noise(curve, &magnitude, peak);
    let first = all.iter().find(stands_out);
    refuse_capacitor(curve, &magnitude, first)?;
    let Some(&first) = first else { return Err(without_peak(curve, &magnitude)) };
    let lowest = magnitude.iter().copied().fold(f64::INFINITY, f64::min);
    let least = (SECOND_OF_FIRST * first.prominence_ohm).max(SECOND_OF_LOWEST * lowest);
    let second = all
        .iter()
        .find(|peak| peak.at != first.at && peak.prominence_ohm > least && is_not_noise(curve, &magnitude, peak));
    if let Some(second) = second {
        let (a, b) = (curve.hz()[first.at], curve.hz()[second.at]);
        return Err(DriverError::SeveralResonances { first_hz: a.min(b), second_hz: a.max(b) });
    }
    Ok(first)
}

/// A second peak beside the first that a vented box may have: it need only stand out as the first must.
pub(crate) fn smaller_resonance(curve: &Impedance, first: Peak) -> Option<Peak> {
    let magnitude = curve.magnitude_ohm();
    let stands_out =
        |peak: &Peak| peak.prominence_ohm > LEAST_PEAK * magnitude[peak.at] && is_not_noise(curve, &magnitude, peak);
    peaks(&magnitude).into_iter().find(|peak| peak.at != first.at && stands_out(peak))
}

/// Whether any point of the peak, its flanks included, lies above its foot by more than noise: behind a sense resistor
/// the top itself is the noisiest.
fn is_not_noise(curve: &Impedance, magnitude: &[f64], peak: &Peak) -> bool {
    let Some(u) = curve.u_noise_ohm() else { return true };
    let foot = magnitude[peak.at] - peak.prominence_ohm;
    let stands = |at: &usize| magnitude[*at] - foot > LEAST_PEAK_NOISES * u[*at];
    let is_above = |at: &usize| magnitude[*at] > foot;
    (0..=peak.at)
        .rev()
        .take_while(is_above)
        .chain((peak.at..magnitude.len()).take_while(is_above))
        .any(|at| stands(&at))
}

fn refuse_negative(curve: &Impedance) -> Result<(), DriverError> {
    let u = |at: usize| curve.u_noise_ohm().map_or(0.0, |u| u[at]);
    let is_below = |at: &usize| {
        let z = curve.values()[*at];
        z.re < -(NEGATIVE * z.norm()).max(LEAST_PEAK_NOISES * u(*at))
    };
    let below: Vec<usize> = (0..curve.hz().len()).filter(is_below).collect();
    match below.first() {
        Some(&at) if below.len() as f64 > NEGATIVE_POINTS * curve.hz().len() as f64 => {
            Err(DriverError::NegativeResistance { hz: curve.hz()[at], found_ohm: curve.values()[at].re })
        }
        _ => Ok(()),
    }
}

/// Mean phase of the curve's low end, in degrees.
fn low_end_deg(curve: &Impedance) -> f64 {
    let end_hz = curve.hz()[0] * LOW_END_OCTAVES.exp2();
    let low = curve.hz().iter().zip(curve.values()).take_while(|(hz, _)| **hz <= end_hz);
    let sum: num_complex::Complex64 = low.map(|(_, z)| z / z.norm()).sum();
    sum.arg().to_degrees()
}

fn refuse_capacitor(curve: &Impedance, magnitude: &[f64], first: Option<&Peak>) -> Result<(), DriverError> {
    let phase_deg = low_end_deg(curve);
    let before = first.map(|peak| magnitude[..peak.at].iter().copied().fold(f64::INFINITY, f64::min));
    let rises = before.is_some_and(|lowest| magnitude[0] > CAPACITOR_RISE * lowest);
    if phase_deg < CAPACITOR_DEG || (rises && phase_deg < CAPACITOR_BEFORE_PEAK_DEG) {
        return Err(DriverError::Capacitor { hz: curve.hz()[0], phase_deg, ohm: magnitude[0] });
    }
    Ok(())
}

/// Why there is no peak: the curve begins above it, or there is none.
fn without_peak(curve: &Impedance, magnitude: &[f64]) -> DriverError {
    let lowest = magnitude.iter().copied().fold(f64::INFINITY, f64::min);
    let (from_hz, to_hz) = (curve.hz()[0], curve.hz()[curve.hz().len() - 1]);
    if magnitude[0] > (1.0 + LEAST_PEAK) * lowest && low_end_deg(curve) < -3.0 {
        return DriverError::StartsAboveResonance { from_hz };
    }
    DriverError::NoResonance { from_hz, to_hz, needed_percent: 100.0 * LEAST_PEAK }
}
