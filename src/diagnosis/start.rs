//! Where the search for a box begins.
//!
//! ```text
//! closed   α ≈ (f_c/f_s)² − 1
//! open     f_b ≈ f_L·f_H/f_s        α ≈ (f_H² − f_b²)·(f_b² − f_L²)/(f_H²·f_L²)
//! ```
//!
//! f_c, f_L, f_H: peaks of |Z|. Exact without losses (`enclosure/vented.rs`). Without a known driver f_b is where |Z| is lowest between
//! the peaks and f_s follows from it.

use super::unknowns::{Foreknowledge, Loss, Unknowns};
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

/// A driver in a box to begin with, for each of which several losses are tried.
pub(super) fn beginnings(
    curve: &Impedance,
    driver: Option<&KnownDriver>,
    kind: BoxKind,
    peaks: Peaks,
) -> Vec<(Unknowns, Vec<Vec<f64>>)> {
    let drivers = match driver {
        Some(known) => vec![known.model],
        None => drivers_by_curve(curve, kind, peaks),
    };
    let knowledge = if driver.is_some() { Foreknowledge::Measured } else { Foreknowledge::Nothing };
    let mut begun: Vec<(Unknowns, Vec<Vec<f64>>)> = Vec::new();
    for model in drivers {
        let shape = Shape {
            voice_coil: VoiceCoilKind::of(&model.voice_coil),
            suspension: SuspensionKind::of(&model.suspension),
        };
        let unknowns = Unknowns { shape, driver: knowledge, kind, losses: vec![Loss::Leakage] };
        let boxes = enclosures(&model, kind, peaks, knowledge);
        let of_box = |enclosure: Enclosure| {
            LOSSES.map(|leakage| {
                let losses = LossFactors { leakage, ..LossFactors::default() };
                let enclosure = Enclosure { losses, ..enclosure };
                unknowns.searched(&BoxedDriver { driver: model, moved: Moved::NOTHING, enclosure })
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

/// Drivers that a curve suggests where nothing is known of it. Behind a closed box the same resonance, softer by half since α is one.
fn drivers_by_curve(curve: &Impedance, kind: BoxKind, peaks: Peaks) -> Vec<DriverModel> {
    match (kind, peaks) {
        (BoxKind::Closed, _) => {
            fit_driver(curve, &FitSettings { suspension: Some(SuspensionKind::Plain), ..FitSettings::default() })
                .map(|fit| {
                    let softer = std::f64::consts::FRAC_1_SQRT_2;
                    let DriverModel { fs_hz, qms, qes, .. } = fit.model;
                    DriverModel { fs_hz: fs_hz * softer, qms: qms * softer, qes: qes * softer, ..fit.model }
                })
                .into_iter()
                .collect()
        }
        (_, Peaks::Two(peaks_hz)) => by_two_peaks(curve, peaks_hz),
        (_, Peaks::One(_)) => Vec::new(),
    }
}

fn by_two_peaks(curve: &Impedance, [low_hz, high_hz]: [f64; 2]) -> Vec<DriverModel> {
    let magnitude = curve.magnitude_ohm();
    let lowest = |from_hz: f64, to_hz: f64| {
        let within = (0..magnitude.len()).filter(|&at| (from_hz..=to_hz).contains(&curve.hz()[at]));
        within.min_by(|&a, &b| magnitude[a].total_cmp(&magnitude[b]))
    };
    let (Some(between), Some(above)) = (lowest(low_hz, high_hz), lowest(high_hz, 20.0 * high_hz)) else {
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
    use VoiceCoilKind::{Inductance, Ladder, PowerLaw, SemiInductance};
    [Inductance, Ladder, SemiInductance, PowerLaw]
        .into_iter()
        .flat_map(|voice_coil| {
            let shape = Shape { voice_coil, suspension: SuspensionKind::Plain };
            starts(curve, &rough, shape).into_iter().map(move |p| shape.model(&p))
        })
        .collect()
}
