//! Why satellite and subwoofer could not be blended.

/// Why satellite and subwoofer could not be blended.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum BlendError {
    #[error("{found:?} is no filter such as BW2 or LR4")]
    Filter { found: String },
    #[error(
        "the curves have nothing in common: {from_hz:.0} Hz is the highest lower end, {to_hz:.0} Hz the lowest upper end"
    )]
    NoCommonBand { from_hz: f64, to_hz: f64 },
    #[error("no crossover frequency is left: {why}")]
    NoCrossover { why: String },
    #[error("the capture with both playing does not tell how much later one comes: {why}")]
    NotTold { why: String },
}

impl BlendError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Filter { .. } => "give BW1 to BW8, LR2, LR4, LR6, LR8 or none",
            Self::NoCommonBand { .. } => "measure both from 20 Hz to 500 Hz at least, without a gate (--gate none)",
            Self::NoCrossover { .. } => {
                "widen --crossover, or measure lower and higher; a gate takes the bass away, boxwright response --gate none keeps it"
            }
            Self::NotTold { .. } => {
                "capture both playing with nothing changed since each played alone, from the same place"
            }
        }
    }
}
