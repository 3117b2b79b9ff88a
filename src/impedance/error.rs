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
    #[error("{what} of {found} with an uncertainty of {u}: it must be above zero")]
    NotAMeasure { what: &'static str, found: f64, u: f64 },
    #[error("the curves share no band: one ends at {ends_hz:.1} Hz, another begins at {begins_hz:.1} Hz")]
    NothingShared { ends_hz: f64, begins_hz: f64 },
}

impl ImpedanceError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::UnequalColumns { .. } | Self::NotANumber { .. } => "give a table whose every line is complete",
            Self::NotAMeasure { .. } => "give what you measured, in the unit that the option names",
            Self::NothingShared { .. } => "measure the units over one band",
            Self::NothingInBand { .. } => "give a band that the curve covers",
            Self::NotOhmAndDegrees { .. } => {
                "give a table of frequency in Hz, magnitude in ohm and phase in degrees whose heading says ohm, or a \
                 Touchstone file"
            }
        }
    }
}
