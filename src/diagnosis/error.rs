//! Why a box could not be diagnosed.

use crate::driver::DriverError;
use crate::impedance::ImpedanceError;
use crate::quantity::Code;

/// Why a box could not be diagnosed. A message that a finding's code belongs to begins with it.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum DiagnosisError {
    #[error(transparent)]
    Curve(#[from] ImpedanceError),
    #[error(transparent)]
    NotADriver(DriverError),
    #[error("{code}: two resonances, at {first_hz:.1} and {second_hz:.1} Hz, where a driver in a closed box has one", code = Code::Implausible)]
    TwoResonances { first_hz: f64, second_hz: f64 },
    #[error("{code}: one resonance, at {at_hz:.1} Hz, where a driver in a vented box or one with a passive radiator has two", code = Code::Implausible)]
    OneResonance { at_hz: f64 },
    #[error("the driver's covariance is none: its numbers contradict each other")]
    NoCovariance,
    #[error("{code}: no box comes near this curve", code = Code::PoorFit)]
    NoFit,
}

impl DiagnosisError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Curve(error) => error.advice(),
            Self::NotADriver(error) => error.advice(),
            Self::TwoResonances { .. } => {
                "give --kind vented or passive-radiator if it has such; else measure the driver alone, without crossover"
            }
            Self::OneResonance { .. } => {
                "give --kind closed if it is; else start the sweep lower, an octave below the tuning, and look whether the vent is open"
            }
            Self::NoCovariance => {
                "measure the driver again and take the document that boxwright driver wrote, unchanged"
            }
            Self::NoFit => "check that the curve is that of one driver in its box, without crossover",
        }
    }
}
