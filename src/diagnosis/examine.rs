//! The box that explains an impedance.

use super::jig_error::JigError;
use super::losses::Losses;
use super::numbers::{Doubt, numbers};
use super::prior::Prior;
use super::search::{Evidence, Fitted};
use super::start::{Peaks, beginnings};
use super::unknowns::{Foreknowledge, Jig, Loss, Unknowns};
use super::verdict::findings;
use super::wrinkle::{Residual, Wrinkle, wrinkles};
use super::{BoxKind, DiagnosisError, FoundBox, KnownDriver, NearField};
use crate::driver::{DriverError, Noise, Weighting, resonance_of, smaller_resonance};
use crate::impedance::Impedance;
use crate::math::Effort;
use num_complex::Complex64;

/// How a box is looked for.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxSettings {
    /// Which kind.
    pub kind: BoxKind,
    /// Which part of the curve counts; absent: all of it.
    pub band_hz: Option<[f64; 2]>,
    /// Levels close to the box.
    pub near: NearField,
}

/// A curve without these many points tells nothing of a box.
const FEWEST_POINTS: usize = 24;
/// How often wrinkles are looked for, taken out, and the box fitted again.
const ROUNDS: usize = 4;

/// The box that explains an impedance.
///
/// The model of `enclosure/boxed.rs` is brought as near to the curve as it goes, together with what is known of the
/// driver; with every set of losses; narrow resonances taken out. Then it is decided which losses there are
/// (`losses.rs`).
///
/// # Errors
/// [`DiagnosisError`] when nothing can be found; what can be used with care is a finding instead.
pub fn examine_box(
    curve: &Impedance,
    driver: Option<&KnownDriver>,
    settings: &BoxSettings,
) -> Result<FoundBox, DiagnosisError> {
    let whole = curve.hz();
    let band_hz = settings.band_hz.unwrap_or([whole[0], whole[whole.len() - 1]]);
    let curve = curve.within(band_hz)?;
    let peaks = peaks_of(&curve, settings.kind)?;
    let prior = Prior::new(driver).ok_or(DiagnosisError::NoCovariance)?;
    let tuning_hz = match peaks {
        Peaks::One(hz) => hz,
        Peaks::Two([low_hz, high_hz]) => (low_hz * high_hz).sqrt(),
    };
    let weighting = Weighting::of(&curve);
    let jig_error = JigError::of(&curve);
    let mut evidence = Evidence { curve, weighting, near: settings.near.within_reach(tuning_hz), prior, jig_error };
    let begun = beginnings(&evidence.curve, driver, settings.kind, peaks);
    let near = near(&evidence, begun).ok_or(DiagnosisError::NoFit)?;
    if evidence.weighting.noise == Noise::Known {
        evidence.weighting = evidence.weighted_on(&near.model);
    }
    let (mut losses, mut fitted) = decided(&evidence, &near)?;
    let mut found: Vec<Wrinkle> = Vec::new();
    let measured = evidence.curve.clone();
    for round in 0..ROUNDS {
        let mut again = wrinkles_of(&evidence, &measured, &fitted);
        // A strong one bends the whole fit: what else there seems to be is looked for when it is out of the way.
        if round == 0 {
            let strongest = again.iter().map(|wrinkle| wrinkle.sigmas).fold(0.0, f64::max);
            again.retain(|wrinkle| wrinkle.sigmas >= strongest);
        }
        if again.len() == found.len() && again.iter().zip(&found).all(|(now, then)| now.is_as(then)) {
            break;
        }
        found = again;
        evidence.curve = without(&measured, &found)?;
        (losses, fitted) = decided(&evidence, &fitted)?;
    }
    told(&evidence, &losses, fitted, found, driver, settings.kind)
}

/// The peaks that the kind of box must have.
fn peaks_of(curve: &Impedance, kind: BoxKind) -> Result<Peaks, DiagnosisError> {
    match (kind, resonance_of(curve, FEWEST_POINTS)) {
        (BoxKind::Closed, Ok(peak)) => Ok(Peaks::One(curve.hz()[peak.at])),
        (BoxKind::Closed, Err(DriverError::SeveralResonances { first_hz, second_hz })) => {
            Err(DiagnosisError::TwoResonances { first_hz, second_hz })
        }
        (_, Err(DriverError::SeveralResonances { first_hz, second_hz })) => Ok(Peaks::Two([first_hz, second_hz])),
        (_, Ok(peak)) => match smaller_resonance(curve, peak) {
            Some(other) => {
                let (one, two) = (curve.hz()[peak.at], curve.hz()[other.at]);
                Ok(Peaks::Two([one.min(two), one.max(two)]))
            }
            None => Err(DiagnosisError::OneResonance { at_hz: curve.hz()[peak.at] }),
        },
        (_, Err(error)) => Err(DiagnosisError::NotADriver(error)),
    }
}

/// The nearest of all beginnings: where each leads is sketched, and the best is followed, from then on with a jig that
/// may be off where its doubt is known. A jig in doubt from the start could take the place of the driver: far away from
/// both, a smaller Z by a jig that shows too much is downhill, and the valley back is long and bent.
fn near(evidence: &Evidence, begun: Vec<(Unknowns, Vec<Vec<f64>>)>) -> Option<Fitted> {
    let sketched = begun.iter().filter_map(|(unknowns, starts)| evidence.nearest(unknowns, starts, Effort::Coarse));
    let counted = |fit: &Fitted| fit.chi_square + 2.0 * fit.p.len() as f64;
    let best = sketched.min_by(|a, b| counted(a).total_cmp(&counted(b)))?;
    let is_doubted = best.unknowns.driver == Foreknowledge::Measured && evidence.jig_error.is_some();
    let jig = if is_doubted { Jig::Doubted } else { Jig::Trusted };
    let unknowns = Unknowns { jig, ..best.unknowns };
    evidence.nearest(&unknowns, &[unknowns.searched(&best.model, &[])], Effort::Good)
}

fn decided(evidence: &Evidence, near: &Fitted) -> Result<(Losses, Fitted), DiagnosisError> {
    let losses = Losses::tried(evidence, near).ok_or(DiagnosisError::NoFit)?;
    let chosen = losses.chosen().ok_or(DiagnosisError::NoFit)?.clone();
    Ok((losses, chosen))
}

fn wrinkles_of(evidence: &Evidence, measured: &Impedance, fitted: &Fitted) -> Vec<Wrinkle> {
    // The evidence's curve is without the wrinkles that were found already.
    let taken = measured.values().iter().zip(evidence.curve.values()).map(|(whole, without)| whole - without);
    let left: Vec<Complex64> = evidence.left_ohm(fitted).iter().zip(taken).map(|(left, taken)| left + taken).collect();
    let is_known = evidence.weighting.noise == Noise::Known;
    wrinkles(&Residual {
        hz: measured.hz(),
        ohm: &left,
        sigma_ohm: is_known.then_some(&evidence.weighting.sigma_ohm[..]),
        resolution_hz: measured.resolution_hz(),
    })
}

/// The curve without its wrinkles.
fn without(measured: &Impedance, found: &[Wrinkle]) -> Result<Impedance, DiagnosisError> {
    let added = |hz: f64| found.iter().map(|wrinkle| wrinkle.ohm(hz)).sum::<Complex64>();
    Ok(measured.shifted(|hz, z| z - added(hz))?)
}

/// What was found, in the words of the result.
fn told(
    evidence: &Evidence,
    losses: &Losses,
    fitted: Fitted,
    found: Vec<Wrinkle>,
    driver: Option<&KnownDriver>,
    kind: BoxKind,
) -> Result<FoundBox, DiagnosisError> {
    let doubt = Doubt::of(evidence, &fitted, losses.inflation).ok_or(DiagnosisError::NoFit)?;
    let mut numbers = numbers(&fitted, &doubt, driver);
    let are_apart = losses.are_apart(&doubt);
    if !are_apart {
        numbers.retain(|(name, _)| !["leakage", "absorption", "opening"].contains(name));
    }
    if fitted.unknowns.kind != kind {
        // What a vent with another driver would have.
        numbers.retain(|(name, _)| !["alpha", "losses"].contains(name));
    }
    let free = losses.free();
    let u_free = free.unknowns.at(Loss::Leakage).and_then(|at| {
        let doubt = Doubt::of(evidence, free, losses.inflation)?;
        Some(doubt.u(at))
    });
    let leakage = numbers.iter().find(|(name, _)| *name == "leakage").map(|(_, leakage)| leakage.doubted());
    let left_ohm = evidence.left_ohm(&fitted);
    let squares: f64 =
        left_ohm.iter().zip(evidence.curve.values()).map(|(left, z)| left.norm_sqr() / z.norm_sqr()).sum();
    let is_known = evidence.weighting.noise == Noise::Known;
    let hz = evidence.curve.hz();
    let mut found = FoundBox {
        kind,
        model: fitted.model,
        numbers,
        leak: losses.verdict(leakage, u_free),
        wrinkles: found,
        residual_percent: 100.0 * (squares / left_ohm.len() as f64).sqrt(),
        left_ohm,
        misfit_ratio: is_known.then_some(losses.misfit),
        widened_ratio: match is_known {
            true => losses.inflation.sqrt(),
            false => (losses.inflation / losses.misfit).max(1.0).sqrt(),
        },
        band_hz: [hz[0], hz[hz.len() - 1]],
        findings: Vec::new(),
    };
    found.findings = findings(&found, driver, &fitted, are_apart);
    Ok(found)
}
