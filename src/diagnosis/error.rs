//! Why a box could not be diagnosed.

use crate::impedance::ImpedanceError;

/// Why a box could not be diagnosed. A message that a finding's code belongs to begins with it.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum DiagnosisError {
    #[error(transparent)]
    Curve(#[from] ImpedanceError),
    #[error("no box comes near this curve")]
    NoFit,
}

impl DiagnosisError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Curve(error) => error.advice(),
            Self::NoFit => "check that the curve is that of one driver in its box, without crossover",
        }
    }
}
