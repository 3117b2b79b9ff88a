//! Why an impedance could not be had.

use crate::response::ResponseError;

/// Why an impedance could not be had.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum ImpedanceError {
    #[error("{values} values and {doubts} uncertainties for {points} frequencies, they must be as many")]
    UnequalColumns { points: usize, values: usize, doubts: usize },
    #[error("{found} stands at {hz:.1} Hz, where an {wanted} is needed")]
    NotANumber { hz: f64, found: String, wanted: &'static str },
    #[error("no point between {from_hz} and {to_hz} Hz")]
    NothingInBand { from_hz: f64, to_hz: f64 },
    #[error("a curve of {found}, an impedance needs ohm and degrees")]
    NotOhmAndDegrees { found: String },
    #[error(transparent)]
    Response(#[from] ResponseError),
    #[error("channel {channel} is both drive and load, they are two channels")]
    SameChannel { channel: usize },
    #[error("a capture with a known resistor, and nothing says its value")]
    NoKnownValue,
    #[error("{what} is {found}, needed {needed}")]
    Setting { what: &'static str, found: f64, needed: &'static str },
    #[error(
        "the captures have no band in common: {from_hz:.1} Hz is the highest lower end, {to_hz:.1} Hz the lowest upper end"
    )]
    NoCommonBand { from_hz: f64, to_hz: f64 },
}

impl ImpedanceError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::UnequalColumns { .. } | Self::NotANumber { .. } => {
                "give a table whose every line is complete, or a capture with a signal and a load"
            }
            Self::NothingInBand { .. } => "give a band that the curve covers",
            Self::NotOhmAndDegrees { .. } => {
                "give a table of frequency in Hz, magnitude in ohm and phase in degrees whose heading says ohm, or a \
                 Touchstone file"
            }
            Self::Response(error) => response_advice(error),
            Self::SameChannel { .. } => "give --drive and --load different channels",
            Self::NoKnownValue => "give its value with --known-ohm",
            Self::Setting { .. } => "correct that value",
            Self::NoCommonBand { .. } => "make all captures with the same excitation",
        }
    }
}

/// What is another thing to do at a jig than in front of a microphone.
fn response_advice(error: &ResponseError) -> &'static str {
    match error {
        ResponseError::Silent { .. } => "check the jig's wires and the two inputs, and the permission to record",
        ResponseError::TooQuiet { .. } => "raise the input gain of both channels alike, or use more repeats",
        _ => error.advice(),
    }
}
