//! What follows from a fitted box, each number with its doubt by origin.
//!
//! ```text
//! C = (JᵀJ)⁻¹, the curve's rows divided by √ĉ        s_k = g·J⁺e_k        u_own² = g·C·gᵀ − Σ s_k² + Σ (g·J⁺c)²
//! f_c: Im D = 0      Q_mc = x·μ/Re D      Q_ec = ρ·Q_es·x·μ      1/Q_tc = 1/Q_mc + 1/Q_ec      V_ab = V_as/α
//! ```
//!
//! J: slopes of all residuals; g: slopes of the number; e_k: the driver's k-th residual alone; c: what moves all points
//! of the curve together, along Z and across it, and how a suspension may creep otherwise than by the logarithm. Other
//! symbols: `enclosure/boxed.rs`. f_L, f_H: where |Z| of the model is highest on either side of the tuning.

use super::search::{Evidence, Fitted};
use super::unknowns::{Foreknowledge, Jig, Loss};
use super::{BoxKind, KnownDriver, Traced};
use crate::driver::Suspension;
use crate::enclosure::{BoxedDriver, Opening};
use crate::math::{Linearised, Sensitivity};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// The doubt of a fit's unknowns by origin.
pub(super) struct Doubt {
    /// Shifts of the unknowns by one standard uncertainty of each independent part of what is known of the driver.
    shared: Vec<Vec<f64>>,
    /// Covariance of the unknowns from the rest.
    own: Vec<Vec<f64>>,
}

impl Doubt {
    /// Of a fit whose residuals of the curve are larger than noise by `inflation`; `None` where nothing tells it.
    pub(super) fn of(evidence: &Evidence, fitted: &Fitted, inflation: f64) -> Option<Self> {
        let count = fitted.p.len();
        let rows = fitted.linearised.residuals.len();
        let of_curve = 2 * evidence.curve.hz().len();
        let shrunk = inflation.sqrt().recip();
        let slopes = fitted.linearised.slopes.iter().enumerate();
        let slopes = slopes.map(|(at, slope)| if at % rows < of_curve { slope * shrunk } else { *slope }).collect();
        let linearised = Linearised { residuals: fitted.linearised.residuals.clone(), slopes };
        let sensitivity = Sensitivity::new(&linearised, count)?;
        let prior = evidence.prior.residuals(&fitted.unknowns, &fitted.p).len();
        let of_driver = if prior > 0 { evidence.prior.of_driver() } else { 0 };
        let shared: Vec<Vec<f64>> = (rows - prior..rows - prior + of_driver)
            .map(|row| {
                let mut unit = vec![0.0; rows];
                unit[row] = 1.0;
                sensitivity.shift(&unit)
            })
            .collect();
        let mut own = sensitivity.covariance.clone();
        shared.iter().for_each(|shift| add(&mut own, shift, -1.0));
        for shift in common_shifts(evidence, fitted, rows).into_iter().chain(creep_shifts(evidence, fitted, rows)) {
            let shift: Vec<f64> = shift.into_iter().map(|off| off * shrunk).collect();
            add(&mut own, &sensitivity.shift(&shift), 1.0);
        }
        Some(Self { shared, own })
    }

    /// A number by its value and its slopes along the unknowns.
    fn traced(&self, value: f64, slopes: &[f64]) -> Traced {
        let along = |shift: &Vec<f64>| shift.iter().zip(slopes).map(|(shift, slope)| shift * slope).sum::<f64>();
        let own: f64 = self.own.iter().zip(slopes).map(|(row, slope)| slope * along(row)).sum();
        Traced { value, u_own: own.max(0.0).sqrt(), shared: self.shared.iter().map(along).collect() }
    }

    /// The doubt of one of the unknowns.
    pub(super) fn u(&self, at: usize) -> f64 {
        let mut slopes = vec![0.0; self.own.len()];
        slopes[at] = 1.0;
        self.traced(0.0, &slopes).u()
    }
}

fn add(covariance: &mut [Vec<f64>], shift: &[f64], sign: f64) {
    for (row, values) in covariance.iter_mut().enumerate() {
        values.iter_mut().zip(shift).for_each(|(value, other)| *value += sign * shift[row] * other);
    }
}

/// Shifts of the residuals when all points move together by their common doubt; with a known driver that is searched
/// along (`jig_error.rs`).
fn common_shifts(evidence: &Evidence, fitted: &Fitted, rows: usize) -> Vec<Vec<f64>> {
    let Some(common) = evidence.curve.u_common_ohm().filter(|_| fitted.unknowns.jig == Jig::Trusted) else {
        return Vec::new();
    };
    let along = |at: usize| {
        let z = evidence.curve.values()[at];
        z / z.norm() * common[at]
    };
    [Complex64::ONE, Complex64::I].map(|direction| shifted(evidence, rows, |at| direction * along(at))).to_vec()
}

/// A suspension creeps nearly with the logarithm of frequency; a few springs with dampers, which creep as well, differ
/// from it by waves of a decade and of this part of λ (ours).
const WAVE_OF_CREEP: f64 = 0.06;

/// Shifts of the residuals by such waves of the compliance, in either phase.
fn creep_shifts(evidence: &Evidence, fitted: &Fitted, rows: usize) -> Vec<Vec<f64>> {
    let model = &fitted.model;
    let Suspension::Creep { lambda } = model.driver.suspension else { return Vec::new() };
    let wave = |at: usize| {
        let hz = evidence.curve.hz()[at];
        let turned = Complex64::cis(-TAU * (hz / model.driver.fs_hz).log10());
        model.compliance_slope_ohm(hz) * turned * (WAVE_OF_CREEP * lambda)
    };
    [Complex64::ONE, Complex64::I].map(|direction| shifted(evidence, rows, |at| direction * wave(at))).to_vec()
}

/// The residuals' shift when each point of the curve moves by so much.
fn shifted(evidence: &Evidence, rows: usize, by_ohm: impl Fn(usize) -> Complex64) -> Vec<f64> {
    let mut shift = vec![0.0; rows];
    for at in 0..evidence.curve.hz().len() {
        let off = by_ohm(at) * (evidence.weighting.share[at].sqrt() / evidence.weighting.sigma_ohm[at]);
        (shift[2 * at], shift[2 * at + 1]) = (off.re, off.im);
    }
    shift
}

/// Step of the differences.
const STEP: f64 = 1e-5;

/// Every number that follows, by name; what can't be had is left out.
pub(super) fn numbers(fitted: &Fitted, doubt: &Doubt, known: Option<&KnownDriver>) -> Vec<(&'static str, Traced)> {
    let unknowns = &fitted.unknowns;
    let follow = |p: &[f64]| follows(&unknowns.model(p), unknowns.kind, unknowns.driver);
    let at_best = follow(&fitted.p);
    let mut p = fitted.p.clone();
    let slopes: Vec<Vec<f64>> = (0..p.len())
        .map(|at| {
            p[at] = fitted.p[at] + STEP;
            let above = follow(&p);
            p[at] = fitted.p[at] - STEP;
            let below = follow(&p);
            p[at] = fitted.p[at];
            above.iter().zip(&below).map(|(above, below)| (above.1 - below.1) / (2.0 * STEP)).collect()
        })
        .collect();
    let mut all: Vec<(&'static str, Traced)> = at_best
        .iter()
        .enumerate()
        .map(|(number, (name, value))| {
            let along: Vec<f64> = slopes.iter().map(|slopes| slopes[number]).collect();
            let traced = doubt.traced(*value, &along);
            (*name, Traced { u_own: traced.u_own.hypot(by_level(name) * value), ..traced })
        })
        .filter(|(_, number)| number.value.is_finite() && number.u().is_finite())
        .filter(|(name, number)| is_told(fitted, name, number.value))
        .collect();
    let alpha = all.iter().find(|(name, _)| *name == "alpha").map(|(_, alpha)| alpha.clone());
    if let (Some(alpha), Some(vas)) = (alpha, known.and_then(|known| known.vas_m3)) {
        all.push(("volume_m3", volume(&alpha, vas.value, vas.u)));
    }
    all
}

/// What even a small signal moves: a sweep at 0.1 V shifts the resonance of a simulated driver whose curves bend by 25
/// ppm, and its losses by some 0.02 %, as parts of the number.
fn by_level(name: &str) -> f64 {
    match name {
        "fc_hz" | "fb_hz" | "fp_hz" | "f_low_hz" | "f_high_hz" => 3e-5,
        "qmc" | "qec" | "qtc" | "leakage" | "absorption" | "opening" | "losses" => 2e-4,
        _ => 0.0,
    }
}

/// A loss factor that was not searched, or came out below zero, is no number.
fn is_told(fitted: &Fitted, name: &str, value: f64) -> bool {
    let loss = match name {
        "leakage" => Loss::Leakage,
        "absorption" => Loss::Absorption,
        "opening" => Loss::Opening,
        _ => return true,
    };
    fitted.unknowns.at(loss).is_some() && value > 0.0
}

/// V_as/α; the doubt of V_as is one more that two boxes with one driver share.
fn volume(alpha: &Traced, vas_m3: f64, u_vas_m3: f64) -> Traced {
    let value = vas_m3 / alpha.value;
    let slope = -value / alpha.value;
    let mut shared: Vec<f64> = alpha.shared.iter().map(|shift| slope * shift).collect();
    shared.push(u_vas_m3 / alpha.value);
    Traced { value, u_own: slope.abs() * alpha.u_own, shared }
}

/// The numbers of a model; the same names in the same order for all models of one kind, not a number where there is none.
fn follows(model: &BoxedDriver, kind: BoxKind, driver: Foreknowledge) -> Vec<(&'static str, f64)> {
    let (enclosure, moved) = (&model.enclosure, &model.moved);
    let losses = enclosure.losses;
    let mut all = vec![("re_ohm", model.driver.re_ohm * moved.resistance_ratio), ("leakage", losses.leakage)];
    if driver == Foreknowledge::Measured {
        all.extend([
            ("absorption", losses.absorption),
            ("mass_ratio", moved.mass_ratio),
            ("stiffness_ratio", moved.stiffness_ratio),
            ("friction_ratio", moved.friction_ratio),
            ("alpha", enclosure.alpha),
        ]);
    } else if kind != BoxKind::Closed {
        all.extend([("absorption", losses.absorption), ("alpha", enclosure.alpha)]);
    }
    match enclosure.opening {
        Opening::None => all.extend(resonance(model)),
        Opening::Vent { fb_hz } => all.push(("fb_hz", fb_hz)),
        Opening::PassiveRadiator { fb_hz, fp_hz } => all.extend([("fb_hz", fb_hz), ("fp_hz", fp_hz)]),
    }
    if kind != BoxKind::Closed {
        let [low_hz, high_hz] = outer_peaks(model);
        let total = losses.leakage + losses.absorption + losses.opening;
        all.extend([("opening", losses.opening), ("losses", total), ("f_low_hz", low_hz), ("f_high_hz", high_hz)]);
    }
    all
}

/// f_c, Q_mc, Q_ec, Q_tc.
fn resonance(model: &BoxedDriver) -> [(&'static str, f64); 4] {
    let mut range = [0.1 * model.driver.fs_hz, 10.0 * model.reference_hz().max(model.driver.fs_hz)];
    // The reactance rises; sixty halvings of the octaves between leave rounding.
    for _ in 0..60 {
        let middle_hz = (range[0] * range[1]).sqrt();
        range[usize::from(model.mechanical(middle_hz).im >= 0.0)] = middle_hz;
    }
    let fc_hz = (range[0] * range[1]).sqrt();
    let reactance = fc_hz / model.driver.fs_hz * model.moved.mass_ratio;
    let qmc = reactance / model.mechanical(fc_hz).re;
    let qec = model.moved.resistance_ratio * model.driver.qes * reactance;
    [("fc_hz", fc_hz), ("qmc", qmc), ("qec", qec), ("qtc", qmc * qec / (qmc + qec))]
}

/// Where |Z| is highest below and above the tuning; not a number where it is so at an end.
fn outer_peaks(model: &BoxedDriver) -> [f64; 2] {
    let tuning_hz = model.reference_hz();
    let peak = |from_hz: f64, to_hz: f64| {
        let hz = |step: usize| from_hz * (to_hz / from_hz).powf(step as f64 / PEAK_STEPS as f64);
        let height = |step: usize| model.impedance_ohm(hz(step)).norm();
        let top = (0..=PEAK_STEPS).max_by(|&a, &b| height(a).total_cmp(&height(b))).unwrap_or(0);
        if top == 0 || top == PEAK_STEPS { f64::NAN } else { summit(model, hz(top - 1), hz(top + 1)) }
    };
    [peak(0.1 * tuning_hz, tuning_hz), peak(tuning_hz, tuning_hz * 8.0 * (1.0 + model.enclosure.alpha).sqrt())]
}

/// Steps in which a peak is looked for.
const PEAK_STEPS: usize = 200;
/// A third halving of a golden section's kind leaves 0.618 of the range; sixty leave 3e-13.
const SECTIONS: usize = 60;

/// The maximum of |Z| between two frequencies, by golden section.
fn summit(model: &BoxedDriver, mut low_hz: f64, mut high_hz: f64) -> f64 {
    let golden = (5f64.sqrt() - 1.0) / 2.0;
    let height = |hz: f64| model.impedance_ohm(hz).norm();
    for _ in 0..SECTIONS {
        let (left, right) = (high_hz - golden * (high_hz - low_hz), low_hz + golden * (high_hz - low_hz));
        if height(left) > height(right) { high_hz = right } else { low_hz = left }
    }
    0.5 * (low_hz + high_hz)
}
