//! Why an impedance, or a driver's parameters, could not be had.

/// Why an impedance, or a driver's parameters, could not be had.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum ImpedanceError {
    #[error("{values} values and {doubts} uncertainties for {points} frequencies, they must be as many")]
    UnequalColumns { points: usize, values: usize, doubts: usize },
    #[error("{found} at {hz} Hz is no {wanted}")]
    NotANumber { hz: f64, found: String, wanted: &'static str },
    #[error("no point between {from_hz} and {to_hz} Hz")]
    NothingInBand { from_hz: f64, to_hz: f64 },
    #[error("a curve of {found}, an impedance needs ohm and degrees")]
    NotOhmAndDegrees { found: String },
}

impl ImpedanceError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::UnequalColumns { .. } | Self::NotANumber { .. } => "give a table whose every line is complete",
            Self::NothingInBand { .. } => "give a band that the curve covers",
            Self::NotOhmAndDegrees { .. } => {
                "give a table of frequency in Hz, magnitude in ohm and phase in degrees whose heading says ohm, or a \
                 Touchstone file"
            }
        }
    }
}
