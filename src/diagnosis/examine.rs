//! The box that explains an impedance.

use super::{BoxKind, DiagnosisError, FoundBox, KnownDriver, NearField};
use crate::impedance::Impedance;
use crate::quantity::Air;

/// How a box is looked for.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxSettings {
    /// Which kind.
    pub kind: BoxKind,
    /// Which part of the curve counts; absent: all of it.
    pub band_hz: Option<[f64; 2]>,
    /// Levels close to the box.
    pub near: NearField,
    /// The air of the measurement.
    pub air: Air,
}

/// The box that explains an impedance.
///
/// # Errors
/// [`DiagnosisError`] when nothing can be found; what can be used with care is a finding instead.
pub fn examine_box(
    curve: &Impedance,
    driver: Option<&KnownDriver>,
    settings: &BoxSettings,
) -> Result<FoundBox, DiagnosisError> {
    let _ = (curve, driver, settings);
    Err(DiagnosisError::NoFit)
}
