//! Where a search for a driver's numbers begins.
//!
//! Resonance: the three-point values, or what of them the curve shows. Voice coil: what is left above the resonance,
//!
//! ```text
//! Z − R_e − Z_m ≈ r + jωL + jωL′·g(ω/ω_c)      g = 1/(1 + jω/ω_c) (ladder)   or   1/(1 + √(jω/ω_c)) (semi-inductance)
//! ```
//!
//! is linear in r, L and L′ for each corner ω_c; the corners that leave least are taken, since there can be more than one
//! minimum. R₂ = ω_c·L₂; K_e = L_e·√ω_c. Power law: a straight line of ln|Z − R_e − Z_m| over ln ω. Derivation: ours.

use super::parameters::{Shape, searched};
use super::resonance::Peak;
use super::three_point::{lowest_real_part, three_point};
use super::{DriverModel, Suspension, SuspensionKind, VoiceCoil, VoiceCoilKind};
use crate::impedance::Impedance;
use crate::math::weighted_plane;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Where the creep's search begins: half of what is usual.
const CREEP: f64 = 0.05;
/// Corners tried for a voice coil of two parts.
const CORNERS: usize = 24;
/// Those of them that are tried whatever they leave.
const FAR_APART: [usize; 5] = [2, 4, 6, 9, 12];
/// The lowest corner over the resonance.
const LOWEST_CORNER: f64 = 0.1;
/// From this multiple of the resonance on, the voice coil shows.
const COIL_SHOWS: f64 = 3.0;
/// Points that a voice coil's start is worked out from, at most.
const ENOUGH_POINTS: usize = 80;

/// The driver without its voice coil, roughly.
pub(super) fn resonance(curve: &Impedance, peak: Peak) -> DriverModel {
    let coil = VoiceCoil::Inductance { le_h: 0.0 };
    let of = |[re_ohm, fs_hz, qms, qes]: [f64; 4]| DriverModel {
        re_ohm,
        fs_hz,
        qms,
        qes,
        voice_coil: coil,
        suspension: Suspension::Plain,
    };
    if let Some(found) = three_point(curve) {
        return of([found.re_ohm, found.fs_hz, found.qms, found.qes]);
    }
    let magnitude = curve.magnitude_ohm();
    let (fs_hz, zmax_ohm) = (curve.hz()[peak.at], magnitude[peak.at]);
    let lowest = curve.values()[lowest_real_part(curve, &magnitude, peak.at)].re;
    let re_ohm = lowest.clamp(0.02 * zmax_ohm, 0.9 * zmax_ohm);
    let ratio = zmax_ohm / re_ohm;
    let level = (re_ohm * zmax_ohm).sqrt();
    // One side is enough: the other lies as far off by ratio.
    let side = (peak.at..magnitude.len()).chain((0..peak.at).rev()).find(|&at| magnitude[at] <= level);
    let spread = side.map_or(1.0, |at| (curve.hz()[at] / fs_hz - fs_hz / curve.hz()[at]).abs());
    let qms = ratio.sqrt() / spread;
    of([re_ohm, fs_hz, qms, qms / (ratio - 1.0)])
}

/// Places to search from, as searched numbers.
pub(crate) fn starts(curve: &Impedance, driver: &DriverModel, shape: Shape) -> Vec<Vec<f64>> {
    let left = Left::above_resonance(curve, driver);
    let lowest = LOWEST_CORNER * TAU * driver.fs_hz;
    let suspension = match (shape.suspension, driver.suspension) {
        (SuspensionKind::Plain, _) => Suspension::Plain,
        (SuspensionKind::Creep, Suspension::Plain) => Suspension::Creep { lambda: CREEP },
        (SuspensionKind::Creep, known) => known,
    };
    let coils = match shape.voice_coil {
        VoiceCoilKind::Inductance => vec![VoiceCoil::Inductance { le_h: left.inductance_h() }],
        VoiceCoilKind::PowerLaw => vec![left.power_law()],
        VoiceCoilKind::Ladder => left.two_parts(
            lowest,
            |jw, corner| 1.0 / (1.0 + jw / corner),
            |le_h, l2_h, corner| VoiceCoil::Ladder { le_h, l2_h, r2_ohm: corner * l2_h },
        ),
        VoiceCoilKind::SemiInductance => left.two_parts(
            lowest,
            |jw, corner| 1.0 / (1.0 + (jw / corner).sqrt()),
            |leb_h, le_h, corner| VoiceCoil::SemiInductance { leb_h, le_h, ke_semih: le_h * corner.sqrt() },
        ),
    };
    coils.into_iter().map(|voice_coil| searched(&DriverModel { voice_coil, suspension, ..*driver })).collect()
}

/// What is left for the voice coil.
struct Left {
    omega: Vec<f64>,
    ohm: Vec<Complex64>,
    weight: Vec<f64>,
}

impl Left {
    fn above_resonance(curve: &Impedance, driver: &DriverModel) -> Self {
        let first = curve.hz().partition_point(|&hz| hz < COIL_SHOWS * driver.fs_hz);
        // A curve that ends before: its last quarter.
        let first = first.min(curve.hz().len() * 3 / 4);
        let step = ((curve.hz().len() - first) / ENOUGH_POINTS).max(1);
        let points: Vec<usize> = (first..curve.hz().len()).step_by(step).collect();
        let rest = |&at: &usize| curve.values()[at] - driver.re_ohm - driver.motional_ohm(curve.hz()[at]);
        Self {
            omega: points.iter().map(|&at| TAU * curve.hz()[at]).collect(),
            ohm: points.iter().map(rest).collect(),
            weight: points.iter().map(|&at| curve.values()[at].norm_sqr().recip()).collect(),
        }
    }

    /// L by weighted least squares of the imaginary part; a microhenry where that is not positive.
    fn inductance_h(&self) -> f64 {
        let points = || self.omega.iter().zip(&self.ohm).zip(&self.weight);
        let over: f64 = points().map(|((omega, ohm), weight)| weight * omega * ohm.im).sum();
        let under: f64 = points().map(|((omega, _), weight)| weight * omega * omega).sum();
        (over / under).max(LEAST_H)
    }

    fn power_law(&self) -> VoiceCoil {
        let shown = (0..self.omega.len()).filter(|&at| self.ohm[at].im > 0.0 && self.ohm[at].re > -self.ohm[at].im);
        let rows: Vec<(Vec<f64>, f64, f64)> = shown
            .map(|at| {
                let (ohm, weight) = (self.ohm[at].norm(), self.weight[at]);
                (vec![1.0, self.omega[at].ln()], ohm.ln(), weight * ohm * ohm)
            })
            .collect();
        match weighted_plane(&rows) {
            Some(line) if (0.2..1.0).contains(&line.values[1]) => {
                VoiceCoil::PowerLaw { k: line.values[0].exp(), n: line.values[1] }
            }
            // ωL at the highest point, with a usual exponent.
            _ => {
                let omega = self.omega[self.omega.len() - 1];
                VoiceCoil::PowerLaw { k: self.inductance_h() * omega.powf(1.0 - USUAL_POWER), n: USUAL_POWER }
            }
        }
    }

    /// Voice coils of an inductance and a part with a corner: those that leave least, and some with corners far apart,
    /// since below the resonance (`low` on) the moving cone hides which corner is right.
    fn two_parts(
        &self,
        low: f64,
        shape: impl Fn(Complex64, f64) -> Complex64,
        coil: impl Fn(f64, f64, f64) -> VoiceCoil,
    ) -> Vec<VoiceCoil> {
        let high = self.omega[self.omega.len() - 1] * 10.0;
        let corner = |step: usize| low * (high / low).powf(step as f64 / (CORNERS - 1) as f64);
        let tried: Vec<(f64, VoiceCoil)> = (0..CORNERS)
            .map(corner)
            .map(|corner| {
                let (leaves, [l, part]) = self.with_corner(|jw| shape(jw, corner));
                (leaves, coil(l, part, corner))
            })
            .collect();
        let lowest = |at: usize| {
            let around = at.saturating_sub(1)..(at + 2).min(CORNERS);
            tried[around].iter().all(|other| tried[at].0 <= other.0)
        };
        let mut best: Vec<(f64, VoiceCoil)> = (0..CORNERS).filter(|&at| lowest(at)).map(|at| tried[at]).collect();
        best.sort_by(|a, b| a.0.total_cmp(&b.0));
        let plain = self.inductance_h();
        let far_apart = FAR_APART.map(|at| coil(0.5 * plain, plain, corner(at)));
        best.into_iter().take(2).map(|(_, coil)| coil).chain(far_apart).collect()
    }

    /// What r + jωL + jωL′·g leaves, and L and L′, kept positive.
    fn with_corner(&self, shape: impl Fn(Complex64) -> Complex64) -> (f64, [f64; 2]) {
        let parts = |at: usize| {
            let jw = Complex64::new(0.0, self.omega[at]);
            (jw, jw * shape(jw))
        };
        let rows: Vec<(Vec<f64>, f64, f64)> = (0..self.omega.len())
            .flat_map(|at| {
                let ((coil, part), ohm, weight) = (parts(at), self.ohm[at], self.weight[at]);
                [(vec![1.0, coil.re, part.re], ohm.re, weight), (vec![0.0, coil.im, part.im], ohm.im, weight)]
            })
            .collect();
        let plain = self.inductance_h();
        let free = weighted_plane(&rows).map_or([0.0, plain, plain], |plane| [0, 1, 2].map(|at| plane.values[at]));
        let [offset, l, part] = [free[0], free[1].max(0.01 * plain), free[2].max(0.01 * plain)];
        let leaves = rows.iter().map(|(u, y, weight)| weight * (y - offset * u[0] - l * u[1] - part * u[2]).powi(2));
        (leaves.sum(), [l, part])
    }
}

/// No voice coil has less.
const LEAST_H: f64 = 1e-6;
/// Between an inductance (1) and eddy currents alone (1/2).
const USUAL_POWER: f64 = 0.7;
