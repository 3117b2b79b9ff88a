//! Why a signal can't be made.

/// Why a signal can't be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum SignalError {
    #[error("a band from {from_hz} Hz to {to_hz} Hz, it must rise and start above 0 Hz")]
    Band { from_hz: f64, to_hz: f64 },
    #[error("{to_hz} Hz can't be played at {rate_hz} Hz, the limit there is {limit_hz:.0} Hz")]
    AboveNyquist { to_hz: f64, rate_hz: f64, limit_hz: f64 },
    #[error("nothing below {lowest_hz} Hz leaves no band up to {to_hz} Hz")]
    LowestTooHigh { lowest_hz: f64, to_hz: f64 },
    #[error("{found_s} s long, the range is {shortest_s} to {longest_s} s")]
    Duration { found_s: f64, shortest_s: f64, longest_s: f64 },
    #[error("{found_s:.0} s in all, the longest at this rate is {longest_s:.0} s")]
    TooLong { found_s: f64, longest_s: f64 },
    #[error("a level of {found_dbfs} dBFS, the range is {quietest_dbfs} to 0 dBFS")]
    Level { found_dbfs: f64, quietest_dbfs: f64 },
    #[error("{found} repeats, the range is 1 to {most}")]
    Repeats { found: u32, most: u32 },
    #[error("{found} cycles, the range is 1 to {most}")]
    Cycles { found: f64, most: f64 },
}

impl SignalError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Band { .. } => "give --from below --to",
            Self::AboveNyquist { .. } => {
                "lower that frequency (--to, --at), or raise --rate if the sound card has a higher one"
            }
            Self::LowestTooHigh { .. } => "give --lowest at least a third of an octave below --to",
            Self::Duration { .. } => "give --seconds within that range; 5 s suit most rooms",
            Self::TooLong { .. } => "give fewer --repeats, a shorter --pause or --seconds, or a lower --rate",
            Self::Level { .. } => "give a level below full scale, for example --level-dbfs -20",
            Self::Repeats { .. } => "give --repeats within that range",
            Self::Cycles { .. } => "give --cycles within that range",
        }
    }
}
