//! The classic hand method: height and width of the resonance.
//!
//! ```text
//! r₀ = Z_max/R_e     |Z|(f₁) = |Z|(f₂) = √(R_e·Z_max)
//! Q_ms = f_s·√r₀/(f₂ − f₁)     Q_es = Q_ms/(r₀ − 1)     Q_ts = Q_ms/r₀
//! ```
//!
//! f_s: frequency of the peak, by a parabola through the highest point and its neighbours over log f. R_e: lowest real part of
//! Z from the curve's low end to the minimum above the peak, less what the moving cone still adds there by the Q just
//! found, a few times over. f₁, f₂: between points by cubics over log f. Exact for a coil without inductance; with one, some
//! tenths of a percent off in Q_ms. Source: R. H. Small, "Direct-Radiator Loudspeaker System Analysis", J. Audio Eng.
//! Soc. 20 (June 1972) 383–395; the correction of R_e is ours.

use super::resonance::peaks;
use super::{DriverModel, Suspension, ThreePoint, VoiceCoil};
use crate::impedance::Impedance;

/// How often R_e and the Q are found in turn; each time the error falls to a hundredth or less.
const TURNS: usize = 8;

/// The three-point values; `None` where the curve has no peak or does not reach both sides of it.
pub(super) fn three_point(curve: &Impedance) -> Option<ThreePoint> {
    let magnitude = curve.magnitude_ohm();
    let top = peaks(&magnitude).first()?.at;
    let logs: Vec<f64> = curve.hz().iter().map(|hz| hz.ln()).collect();
    let (fs_hz, zmax_ohm) = summit(&logs, &magnitude, top);
    let plateau = lowest_real_part(curve, &magnitude, top);
    let mut re_ohm = curve.values()[plateau].re;
    let mut found = None;
    for _ in 0..TURNS {
        if !(re_ohm > 0.0 && re_ohm < zmax_ohm) {
            return None;
        }
        let point = with_resistance(&logs, &magnitude, top, [fs_hz, zmax_ohm, re_ohm])?;
        let moving = DriverModel {
            re_ohm,
            fs_hz,
            qms: point.qms,
            qes: point.qes,
            voice_coil: VoiceCoil::Inductance { le_h: 0.0 },
            suspension: Suspension::Plain,
        };
        re_ohm = curve.values()[plateau].re - moving.motional_ohm(curve.hz()[plateau]).re;
        found = Some(point);
    }
    found
}

/// Point of the lowest real part from the low end to the minimum of |Z| above the peak; noise counts against a point.
pub(super) fn lowest_real_part(curve: &Impedance, magnitude: &[f64], top: usize) -> usize {
    let past = (top..magnitude.len()).min_by(|&a, &b| magnitude[a].total_cmp(&magnitude[b])).unwrap_or(top);
    let at_most = |at: usize| curve.values()[at].re + curve.u_noise_ohm().map_or(0.0, |u| SURE * u[at]);
    (0..=past).min_by(|&a, &b| at_most(a).total_cmp(&at_most(b))).unwrap_or(top)
}

/// A value is this many of its uncertainties away at most.
const SURE: f64 = 3.0;

/// Frequency and height of the parabola through three points.
fn summit(logs: &[f64], magnitude: &[f64], top: usize) -> (f64, f64) {
    let (left, right) = (logs[top - 1] - logs[top], logs[top + 1] - logs[top]);
    let (below, above) = (magnitude[top - 1] - magnitude[top], magnitude[top + 1] - magnitude[top]);
    let curvature = (above / right - below / left) / (right - left);
    if curvature >= 0.0 {
        return (logs[top].exp(), magnitude[top]);
    }
    let slope = below / left - curvature * left;
    let offset = (-slope / (2.0 * curvature)).clamp(left, right);
    ((logs[top] + offset).exp(), magnitude[top] + offset * (slope + curvature * offset))
}

/// The values for a given f_s, Z_max and R_e.
fn with_resistance(
    logs: &[f64],
    magnitude: &[f64],
    top: usize,
    [fs_hz, zmax_ohm, re_ohm]: [f64; 3],
) -> Option<ThreePoint> {
    let level = (re_ohm * zmax_ohm).sqrt();
    let below = (1..=top).rev().find(|&at| magnitude[at - 1] <= level && magnitude[at] > level)?;
    let above = (top + 1..magnitude.len()).find(|&at| magnitude[at] <= level && magnitude[at - 1] > level)?;
    let sides_hz = [below, above].map(|at| crossing(logs, magnitude, at, level).exp());
    let ratio = zmax_ohm / re_ohm;
    let qms = fs_hz * ratio.sqrt() / (sides_hz[1] - sides_hz[0]);
    Some(ThreePoint { fs_hz, zmax_ohm, re_ohm, sides_hz, qms, qes: qms / (ratio - 1.0), qts: qms / ratio })
}

/// Where |Z| passes `level` between the points `at − 1` and `at`: log f as a polynomial of log |Z| through up to four points
/// that rise or fall all the way, so that the straight line's error of the second order is gone.
fn crossing(logs: &[f64], magnitude: &[f64], at: usize, level: f64) -> f64 {
    let rising = magnitude[at] > magnitude[at - 1];
    let monotone = |from: usize, to: usize| (from..to).all(|k| (magnitude[k + 1] > magnitude[k]) == rising);
    let from = if at >= 2 && monotone(at - 2, at) { at - 2 } else { at - 1 };
    let to = if at + 1 < logs.len() && monotone(at, at + 1) { at + 1 } else { at };
    let wanted = level.ln();
    let polynomial: f64 = (from..=to)
        .map(|i| {
            let weight = (from..=to).filter(|&k| k != i).map(|k| {
                let (own, other) = (magnitude[i].ln(), magnitude[k].ln());
                (wanted - other) / (own - other)
            });
            logs[i] * weight.product::<f64>()
        })
        .sum();
    // Noise can throw the polynomial far off.
    polynomial.clamp(logs[at - 1], logs[at])
}
