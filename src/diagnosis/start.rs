//! Where the search for a box begins.
//!
//! ```text
//! closed   α ≈ (f_c/f_s)² − 1
//! vent     f_b ≈ f_L·f_H/f_s        α ≈ (f_H² − f_b²)·(f_b² − f_L²)/(f_H²·f_L²)
//! radiator α ≈ (f_L² + f_H² − f_b²)/f_s² − 1        f_p² ≈ (f_L²·f_H² − f_s²·f_b²)/(α·f_s²)        f_b: |Z| lowest between
//! ```
//!
//! f_c, f_L, f_H: peaks of |Z|. The radiator's: roots of D without losses, `x⁴ − x²·(1 + h² + α) + h² + α·x_p²`. Exact
//! without losses (`enclosure/vented.rs`). Without a known driver f_b is where |Z| is lowest between the peaks and f_s
//! follows from it.

use super::unknowns::{Foreknowledge, Jig, Loss, Unknowns};
use super::{BoxKind, KnownDriver};
use crate::driver::{
    DriverModel, FitSettings, Shape, Suspension, SuspensionKind, VoiceCoil, VoiceCoilKind, fit_driver, starts,
};
use crate::enclosure::{BoxedDriver, Enclosure, LossFactors, Moved, Opening, by_peaks};
use crate::impedance::Impedance;

/// Losses to begin with: little, and much.
const LOSSES: [f64; 2] = [0.02, 0.2];
/// A passive radiator's own resonance over the tuning, to begin with.
const OWN_OVER_TUNING: [f64; 2] = [0.3, 0.6];
/// α is kept within these to begin with.
const ALPHAS: [f64; 2] = [0.05, 50.0];

/// The peaks of |Z| that say what it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Peaks {
    One(f64),
    Two([f64; 2]),
}

/// A driver in a box to begin with, for each of which several losses are tried; the jig is trusted.
pub(super) fn beginnings(
    curve: &Impedance,
    driver: Option<&KnownDriver>,
    kind: BoxKind,
    peaks: Peaks,
) -> Vec<(Unknowns, Vec<Vec<f64>>)> {
    // A passive radiator's spring adds to an unknown driver's: α·(x_p² − x²)/(h² − x²) = α·x_p²/h² − α·(1 −
    // x_p²/h²)·x²/(h² − x²).
    let kind = match (kind, driver) {
        (BoxKind::PassiveRadiator, None) => BoxKind::Vented,
        _ => kind,
    };
    let drivers = match driver {
        Some(known) => vec![known.model],
        None => drivers_by_curve(curve, kind, peaks),
    };
    // With leakage alone a radiator's loss would pass for a softer spring, and the search would lose f_p for good.
    let losses = match (kind, driver) {
        (BoxKind::PassiveRadiator, Some(_)) => vec![Loss::Leakage, Loss::Absorption, Loss::Opening],
        _ => vec![Loss::Leakage],
    };
    let knowledge = if driver.is_some() { Foreknowledge::Measured } else { Foreknowledge::Nothing };
    let mut begun: Vec<(Unknowns, Vec<Vec<f64>>)> = Vec::new();
    for model in drivers {
        let shape = Shape {
            voice_coil: VoiceCoilKind::of(&model.voice_coil),
            suspension: SuspensionKind::of(&model.suspension),
        };
        let unknowns = Unknowns { shape, driver: knowledge, kind, losses: losses.clone(), jig: Jig::Trusted };
        let mut boxes = enclosures(&model, kind, peaks, knowledge);
        if let (BoxKind::PassiveRadiator, Peaks::Two(peaks_hz)) = (kind, peaks) {
            boxes.extend(with_radiator(curve, model.fs_hz, peaks_hz));
        }
        let of_box = |enclosure: Enclosure| {
            LOSSES.map(|leakage| {
                let losses = LossFactors { leakage, ..LossFactors::default() };
                let enclosure = Enclosure { losses, ..enclosure };
                unknowns.searched(&BoxedDriver { driver: model, moved: Moved::NOTHING, enclosure }, &[])
            })
        };
        let starts: Vec<Vec<f64>> = boxes.into_iter().flat_map(of_box).collect();
        match begun.iter_mut().find(|(known, _)| *known == unknowns) {
            Some((_, known)) => known.extend(starts),
            None => begun.push((unknowns, starts)),
        }
    }
    begun
}

fn enclosures(driver: &DriverModel, kind: BoxKind, peaks: Peaks, knowledge: Foreknowledge) -> Vec<Enclosure> {
    let none = LossFactors::default();
    let fs_hz = driver.fs_hz;
    let within = |alpha: f64| alpha.clamp(ALPHAS[0], ALPHAS[1]);
    match (kind, peaks) {
        (BoxKind::Closed, Peaks::One(fc_hz) | Peaks::Two([fc_hz, _])) => {
            let alpha = match knowledge {
                Foreknowledge::Measured => within((fc_hz / fs_hz).powi(2) - 1.0),
                Foreknowledge::Nothing => 1.0,
            };
            vec![Enclosure { alpha, opening: Opening::None, losses: none }]
        }
        (_, Peaks::One(peak_hz)) => [0.5, 1.0, 2.0]
            .into_iter()
            .flat_map(|ratio| tuned(kind, within((peak_hz / fs_hz).powi(2)), ratio * fs_hz))
            .collect(),
        (_, Peaks::Two([low_hz, high_hz])) => {
            let fb_hz = low_hz * high_hz / fs_hz;
            tuned(kind, within(by_peaks([low_hz, high_hz], fb_hz).alpha), fb_hz)
        }
    }
}

fn tuned(kind: BoxKind, alpha: f64, fb_hz: f64) -> Vec<Enclosure> {
    let of = |opening| Enclosure { alpha, opening, losses: LossFactors::default() };
    match kind {
        BoxKind::PassiveRadiator => {
            OWN_OVER_TUNING.map(|ratio| of(Opening::PassiveRadiator { fb_hz, fp_hz: ratio * fb_hz })).to_vec()
        }
        _ => vec![of(Opening::Vent { fb_hz })],
    }
}

/// The box with a passive radiator that peaks and minimum suggest.
fn with_radiator(curve: &Impedance, fs_hz: f64, [low_hz, high_hz]: [f64; 2]) -> Option<Enclosure> {
    let magnitude = curve.magnitude_ohm();
    let fb_hz = curve.hz()[lowest(curve, &magnitude, [low_hz, high_hz])?];
    let [low, high, tuning] = [low_hz, high_hz, fb_hz].map(|hz| (hz / fs_hz).powi(2));
    let alpha = (low + high - tuning - 1.0).clamp(ALPHAS[0], ALPHAS[1]);
    let own = (low * high - tuning) / alpha;
    let fp_hz = fs_hz * own.clamp(0.01 * tuning, 0.9 * tuning).sqrt();
    Some(Enclosure { alpha, opening: Opening::PassiveRadiator { fb_hz, fp_hz }, losses: LossFactors::default() })
}

/// Where |Z| is lowest within a band.
fn lowest(curve: &Impedance, magnitude: &[f64], [from_hz, to_hz]: [f64; 2]) -> Option<usize> {
    let within = (0..magnitude.len()).filter(|&at| (from_hz..=to_hz).contains(&curve.hz()[at]));
    within.min_by(|&a, &b| magnitude[a].total_cmp(&magnitude[b]))
}

/// Which voice coil it is shows only once the box is there, so that each is tried.
const VOICE_COILS: [VoiceCoilKind; 4] =
    [VoiceCoilKind::Inductance, VoiceCoilKind::Ladder, VoiceCoilKind::SemiInductance, VoiceCoilKind::PowerLaw];

/// Drivers that a curve suggests where nothing is known of it. Behind a closed box the same resonance, softer by half
/// since α is one.
fn drivers_by_curve(curve: &Impedance, kind: BoxKind, peaks: Peaks) -> Vec<DriverModel> {
    match (kind, peaks) {
        (BoxKind::Closed, _) => VOICE_COILS
            .into_iter()
            .filter_map(|voice_coil| {
                let suspension = Some(SuspensionKind::Plain);
                let settings = FitSettings { voice_coil: Some(voice_coil), suspension, ..FitSettings::default() };
                let fit = fit_driver(curve, &settings).ok()?;
                let softer = std::f64::consts::FRAC_1_SQRT_2;
                let DriverModel { fs_hz, qms, qes, .. } = fit.model;
                Some(DriverModel { fs_hz: fs_hz * softer, qms: qms * softer, qes: qes * softer, ..fit.model })
            })
            .collect(),
        (_, Peaks::Two(peaks_hz)) => by_two_peaks(curve, peaks_hz),
        (_, Peaks::One(_)) => Vec::new(),
    }
}

fn by_two_peaks(curve: &Impedance, [low_hz, high_hz]: [f64; 2]) -> Vec<DriverModel> {
    let magnitude = curve.magnitude_ohm();
    let lowest = |band_hz| lowest(curve, &magnitude, band_hz);
    let (Some(between), Some(above)) = (lowest([low_hz, high_hz]), lowest([high_hz, 20.0 * high_hz])) else {
        return Vec::new();
    };
    let re_ohm = curve.values()[above].re.min(curve.values()[between].re).max(1e-3);
    let highest = magnitude.iter().copied().fold(0.0, f64::max);
    // Each peak about as high as the driver's own; Q_ms of small drivers (common practice).
    let qms = 4.0;
    let rough = DriverModel {
        re_ohm,
        fs_hz: low_hz * high_hz / curve.hz()[between],
        qms,
        qes: qms / (highest / re_ohm - 1.0).max(0.5),
        voice_coil: VoiceCoil::Inductance { le_h: 1e-4 },
        suspension: Suspension::Plain,
    };
    VOICE_COILS
        .into_iter()
        .flat_map(|voice_coil| {
            let shape = Shape { voice_coil, suspension: SuspensionKind::Plain };
            starts(curve, &rough, shape).into_iter().map(move |p| shape.model(&p))
        })
        .collect()
}
