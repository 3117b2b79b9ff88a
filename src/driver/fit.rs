//! What a fit of a driver's model to its impedance gives.

use super::admission::resonance_of;
use super::candidate::{Fitted, fitted};
use super::choice::{Choice, choose};
use super::parameters::{SHARED, Shape, natural, shapes};
use super::start::{resonance, starts};
use super::three_point::three_point;
use super::verdict::{Blame, findings};
use super::weighting::{Noise, Weighting};
use super::{DriverError, DriverModel};
use crate::impedance::Impedance;
use crate::math::Effort;
use crate::quantity::Finding;
use num_complex::Complex64;

/// How a driver is to be fitted.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct FitSettings {
    /// Which part of the curve counts; absent: all of it.
    pub band_hz: Option<[f64; 2]>,
    /// Which voice-coil model; absent: the best by corrected AIC.
    pub voice_coil: Option<VoiceCoilKind>,
    /// Which suspension; absent: the better by corrected AIC.
    pub suspension: Option<SuspensionKind>,
    /// The voice coil's resistance as a meter shows it, to judge the curve by; it is not used in the fit.
    pub dc_resistance_ohm: Option<f64>,
}

/// The voice-coil models by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // see `VoiceCoil`
pub enum VoiceCoilKind {
    Inductance,
    Ladder,
    SemiInductance,
    PowerLaw,
}

/// The suspensions by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // see `Suspension`
pub enum SuspensionKind {
    Plain,
    Creep,
}

/// A driver found in its impedance.
#[derive(Debug, Clone, PartialEq)]
pub struct DriverFit {
    /// The chosen model with its values.
    pub model: DriverModel,
    /// Names of what was fitted, in the order of the covariance: `re_ohm`, `fs_hz`, `qms`, `qes`, then the voice coil's
    /// and the suspension's.
    pub names: Vec<&'static str>,
    /// Their values, SI.
    pub values: Vec<f64>,
    /// Their covariance, everything counted: noise, misfit, the choice among models, and what is common to all points.
    pub covariance: Vec<Vec<f64>>,
    /// All models that were tried and can be those of a thing: the chosen one, then the others by AICc.
    pub candidates: Vec<Candidate>,
    /// The classic three-point values; absent where the curve has no such points.
    pub three_point: Option<ThreePoint>,
    /// Root mean square of what the model leaves, in percent of |Z|.
    pub residual_percent: f64,
    /// Mean square of the residuals over what the noise explains; absent where the noise is not known.
    pub misfit_ratio: Option<f64>,
    /// By how much the uncertainties were widened because residuals are larger than noise or not white; 1: not at all.
    pub widened_ratio: f64,
    /// What was fitted.
    pub band_hz: [f64; 2],
    /// What there is to say about trust.
    pub findings: Vec<Finding>,
}

/// A model that was tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// The model with its values.
    pub model: DriverModel,
    /// How many numbers it has to fit.
    pub parameters: usize,
    /// Corrected AIC less the best one's.
    pub aicc_above_best: f64,
    /// Root mean square of what it leaves, in percent of |Z|.
    pub residual_percent: f64,
}

/// The classic three-point values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThreePoint {
    /// Frequency of the peak.
    pub fs_hz: f64,
    /// Its height.
    pub zmax_ohm: f64,
    /// Resistance used.
    pub re_ohm: f64,
    /// Where |Z| is √(R_e·Z_max), below and above.
    pub sides_hz: [f64; 2],
    /// Q_ms.
    pub qms: f64,
    /// Q_es.
    pub qes: f64,
    /// Q_ts.
    pub qts: f64,
}

impl DriverFit {
    /// Value and standard uncertainty of what was fitted, by name.
    pub fn value(&self, name: &str) -> Option<(f64, f64)> {
        let at = self.names.iter().position(|&known| known == name)?;
        Some((self.values[at], self.covariance[at][at].max(0.0).sqrt()))
    }
}

/// The driver that explains an impedance in free air.
///
/// Every model of `settings` is brought as near to the curve as it goes, each point counted by its noise; the best by corrected
/// AIC is chosen (`choice.rs`).
///
/// # Errors
/// [`DriverError`] when nothing can be fitted; what can be used with care is a finding instead.
pub fn fit_driver(curve: &Impedance, settings: &FitSettings) -> Result<DriverFit, DriverError> {
    let whole = curve.hz();
    let band_hz = settings.band_hz.unwrap_or([whole[0], whole[whole.len() - 1]]);
    let curve = curve.within(band_hz)?;
    let shapes = shapes(settings.voice_coil, settings.suspension);
    let fewest = shapes.iter().map(|shape| shape.count()).min().unwrap_or(SHARED);
    let peak = resonance_of(&curve, fewest)?;
    let mut weighting = Weighting::of(&curve);
    let first = all_fitted(&curve, &weighting, &resonance(&curve, peak), &shapes);
    let nearest = first.iter().min_by(|a, b| a.chi_square.total_cmp(&b.chi_square)).ok_or(DriverError::NoFit)?;
    if weighting.noise == Noise::Known {
        weighting = weighting.on_model(curve.values(), &nearest.ohm);
    }
    let fitted = first.iter().filter_map(|before| again(&curve, &weighting, before, nearest)).collect();
    let choice = choose(&curve, &weighting, fitted).ok_or(DriverError::NoFit)?;
    told(&curve, &weighting, &choice, settings)
}

/// Every shape near its best. The simplest voice coils, which have one minimum, scout with either suspension for the resonance
/// that the others begin with: a voice coil that turns near the resonance is not seen before the suspension is right.
fn all_fitted(curve: &Impedance, weighting: &Weighting, rough: &DriverModel, shapes: &[Shape]) -> Vec<Fitted> {
    let search = |shape: Shape, starts: &[Vec<f64>]| {
        let is_enough = weighting.numbers() > shape.count() as f64 + 1.0;
        is_enough.then(|| fitted(curve, weighting, shape, starts, Effort::Good)).flatten()
    };
    let mut known: Vec<Fitted> = Vec::new();
    let wanted = |suspension| shapes.iter().filter(move |shape| shape.suspension == suspension);
    for suspension in [SuspensionKind::Plain, SuspensionKind::Creep] {
        if suspension == SuspensionKind::Creep && wanted(suspension).next().is_none() {
            continue;
        }
        for voice_coil in SCOUTS {
            let shape = Shape { voice_coil, suspension };
            known.extend(search(shape, &begins(curve, rough, shape, &known)));
        }
        let scouts = known.iter().filter(|known| known.shape.suspension == suspension);
        let nearest = scouts.min_by(|a, b| a.chi_square.total_cmp(&b.chi_square));
        let driver = nearest.map_or(*rough, |nearest| nearest.model);
        for &shape in wanted(suspension).filter(|shape| !SCOUTS.contains(&shape.voice_coil)) {
            known.extend(search(shape, &begins(curve, &driver, shape, &known)));
        }
    }
    known.retain(|known| shapes.contains(&known.shape));
    known
}

/// The voice coils that have one minimum.
const SCOUTS: [VoiceCoilKind; 2] = [VoiceCoilKind::Inductance, VoiceCoilKind::PowerLaw];

/// Where a shape's search begins: what a driver of about this resonance shows of its voice coil, and what the same voice coil
/// came to with a plain suspension, with no creep, so that it never ends worse, and with a usual one.
fn begins(curve: &Impedance, driver: &DriverModel, shape: Shape, known: &[Fitted]) -> Vec<Vec<f64>> {
    let plain = Shape { suspension: SuspensionKind::Plain, ..shape };
    let before = known.iter().find(|known| known.shape == plain);
    let creeping = |lambda: f64| before.map(|before| [before.searched(), &[lambda]].concat());
    let from_plain = CREEP_STARTS.into_iter().filter_map(creeping);
    match shape.suspension {
        SuspensionKind::Plain => starts(curve, driver, shape),
        SuspensionKind::Creep if SCOUTS.contains(&shape.voice_coil) && before.is_some() => from_plain.collect(),
        SuspensionKind::Creep => from_plain.chain(starts(curve, driver, shape)).collect(),
    }
}

/// λ to search from: none, and as usual.
const CREEP_STARTS: [f64; 2] = [0.0, 0.1];

/// A shape at its best: from where it was, and, where it was left behind by a model that has no more numbers, also from that
/// one's resonance.
fn again(curve: &Impedance, weighting: &Weighting, before: &Fitted, nearest: &Fitted) -> Option<Fitted> {
    let mut begins = vec![before.searched().to_vec()];
    if before.shape.count() >= nearest.shape.count() && before.chi_square > nearest.chi_square + LEFT_BEHIND {
        begins.extend(starts(curve, &nearest.model, before.shape));
    }
    fitted(curve, weighting, before.shape, &begins, Effort::Full)
}

/// Squares that a model of enough numbers leaves more than another by chance.
const LEFT_BEHIND: f64 = 6.0;

/// What the choice says, in the words of the result.
fn told(
    curve: &Impedance,
    weighting: &Weighting,
    choice: &Choice,
    settings: &FitSettings,
) -> Result<DriverFit, DriverError> {
    let chosen = &choice.ranked[0].0;
    let mut covariance = choice.covariance().ok_or(DriverError::NoFit)?;
    add_common(curve, weighting, chosen, &mut covariance);
    let candidate = |(fitted, above): &(Fitted, f64)| Candidate {
        model: fitted.model,
        parameters: fitted.shape.count(),
        aicc_above_best: *above,
        residual_percent: fitted.residual_percent(curve),
    };
    let is_known = weighting.noise == Noise::Known;
    let mut fit = DriverFit {
        model: chosen.model,
        names: chosen.shape.names(),
        values: natural(&chosen.model),
        covariance,
        candidates: choice.ranked.iter().map(candidate).collect(),
        three_point: three_point(curve),
        residual_percent: chosen.residual_percent(curve),
        misfit_ratio: is_known.then_some(choice.misfit),
        widened_ratio: if is_known {
            choice.inflation.sqrt()
        } else {
            (choice.inflation / choice.misfit).max(1.0).sqrt()
        },
        band_hz: [curve.hz()[0], curve.hz()[curve.hz().len() - 1]],
        findings: Vec::new(),
    };
    fit.findings = findings(&fit, settings, chosen.ending, blame(curve, chosen));
    Ok(fit)
}

/// Whether the doubt common to all points is as large as what the model leaves, by their squares.
fn blame(curve: &Impedance, chosen: &Fitted) -> Blame {
    let left: f64 = chosen.ohm.iter().zip(curve.values()).map(|(model, z)| ((model - z) / z).norm_sqr()).sum();
    let common = curve.u_common_ohm().into_iter().flatten().zip(curve.values());
    let common: f64 = common.map(|(u, z)| u * u / z.norm_sqr()).sum();
    if left <= common { Blame::Jig } else { Blame::Driver }
}

/// Adds what is common to all points: they may all be too high or low along Z, and turned, by their common doubt.
fn add_common(curve: &Impedance, weighting: &Weighting, chosen: &Fitted, covariance: &mut [Vec<f64>]) {
    let Some(common) = curve.u_common_ohm() else { return };
    for direction in [Complex64::ONE, Complex64::I] {
        let shift = |(z, u): (&Complex64, &f64)| direction * z / z.norm() * u;
        let shifts: Vec<Complex64> = curve.values().iter().zip(common).map(shift).collect();
        let Some(moved) = chosen.moved(&shifts, weighting) else { continue };
        for (row, values) in covariance.iter_mut().enumerate() {
            values.iter_mut().zip(&moved).for_each(|(value, other)| *value += moved[row] * other);
        }
    }
}
