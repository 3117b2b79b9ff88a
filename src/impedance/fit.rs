//! What a fit of a driver's model to its impedance gives.

use super::{DriverModel, Impedance, ImpedanceError};
use crate::quantity::Finding;

/// How a driver is to be fitted.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct FitSettings {
    /// Which part of the curve counts; absent: all of it.
    pub band_hz: Option<[f64; 2]>,
    /// Which voice-coil model; absent: the best by corrected AIC.
    pub voice_coil: Option<VoiceCoilKind>,
    /// Which suspension; absent: the better by corrected AIC.
    pub suspension: Option<SuspensionKind>,
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
    /// All models that were tried, best first.
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
/// # Errors
/// [`ImpedanceError`] when nothing can be fitted; what can be used with care is a finding instead.
pub fn fit_driver(curve: &Impedance, settings: &FitSettings) -> Result<DriverFit, ImpedanceError> {
    let band_hz = settings.band_hz.unwrap_or([0.0, f64::INFINITY]);
    let _ = curve.within(band_hz)?;
    unimplemented!()
}
