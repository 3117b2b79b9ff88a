//! Why a loudspeaker can't be simulated.

use crate::network::NetworkError;

/// Why a loudspeaker can't be simulated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum SpeakerError {
    #[error("{way} is at {:.0} x {:.0} mm, which is not on the front", at_mm[0], at_mm[1])]
    BesideFront { way: String, at_mm: [f64; 2] },
    #[error(transparent)]
    Network(#[from] NetworkError),
    #[error("nothing can be simulated from {from_hz:.0} to {to_hz:.0} Hz: {why}")]
    NoPoint { from_hz: f64, to_hz: f64, why: String },
}

impl SpeakerError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::BesideFront { .. } => "give at_mm from the lower left corner of the front, to the right and up",
            Self::Network(error) => error.advice(),
            Self::NoPoint { .. } => "ask for a band in which the drivers' curves have points",
        }
    }
}
