//! The lower limit that a treble driver without its crossover must have.
//!
//! No equation: a rule. Bass moves a treble driver's dome beyond its travel and heats its coil, so that a person who says
//! that one is connected has to say how low it may be driven; nothing is then played below.

use crate::signal::PROTECTED_ABOVE_HZ;

/// Why a treble driver is not driven.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum TrebleError {
    #[error("a treble driver without its crossover can be destroyed by bass, and no lower limit was given")]
    NoLimit,
    #[error("{found_hz} Hz is no lower limit for a treble driver, bass can destroy it")]
    TooLow { found_hz: f64 },
}

impl TrebleError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        "give --lowest (or --from): at least twice the driver's resonance, for example --lowest 2kHz"
    }
}

/// The frequency below which nothing is played: the limit that was given, else the lowest frequency to be reported.
///
/// # Errors
/// [`TrebleError::NoLimit`] when neither was given, `TooLow` below [`PROTECTED_ABOVE_HZ`], where no treble driver works.
pub fn treble_limit_hz(lowest_hz: Option<f64>, from_hz: Option<f64>) -> Result<f64, TrebleError> {
    match lowest_hz.or(from_hz) {
        None => Err(TrebleError::NoLimit),
        Some(found_hz) if found_hz < PROTECTED_ABOVE_HZ => Err(TrebleError::TooLow { found_hz }),
        Some(limit_hz) => Ok(limit_hz),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_treble_driver_has_a_limit_or_is_not_driven() {
        assert_eq!(treble_limit_hz(None, None), Err(TrebleError::NoLimit));
        assert_eq!(treble_limit_hz(None, Some(20.0)), Err(TrebleError::TooLow { found_hz: 20.0 }));
        assert_eq!(treble_limit_hz(Some(50.0), Some(3e3)), Err(TrebleError::TooLow { found_hz: 50.0 }));
        assert_eq!(treble_limit_hz(None, Some(3e3)), Ok(3e3), "never an octave below what was asked for");
        assert_eq!(treble_limit_hz(Some(2e3), Some(3e3)), Ok(2e3));
    }
}
