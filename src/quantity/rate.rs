//! A sample rate, and the way from frames to seconds.

use super::QuantityError;

/// Frames (one sample for each channel) in a second: 1,000 to 768,000.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct SampleRate(u32);

/// Below this no loudspeaker measurement makes sense; it also refuses damaged headers.
const LOWEST_HZ: u32 = 1_000;
/// Twice the highest rate that interfaces for sale offer (common practice).
const HIGHEST_HZ: u32 = 768_000;

impl SampleRate {
    /// A rate in hertz.
    ///
    /// # Errors
    /// [`QuantityError::Rate`] outside 1,000 to 768,000 Hz.
    pub fn new(hz: u32) -> Result<Self, QuantityError> {
        if (LOWEST_HZ..=HIGHEST_HZ).contains(&hz) {
            Ok(Self(hz))
        } else {
            Err(QuantityError::Rate { found_hz: f64::from(hz), lowest_hz: LOWEST_HZ, highest_hz: HIGHEST_HZ })
        }
    }

    /// The rate in hertz.
    pub fn hz(self) -> f64 {
        f64::from(self.0)
    }

    /// The rate in hertz, as the whole number that files hold.
    pub fn whole_hz(self) -> u32 {
        self.0
    }

    /// The number of frames nearest to a time; none for a negative one.
    pub fn frames(self, duration_s: f64) -> usize {
        (duration_s * self.hz()).round().max(0.0) as usize
    }

    /// How long so many frames last.
    pub fn seconds(self, frames: usize) -> f64 {
        frames as f64 / self.hz()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_are_the_nearest_whole_number_and_never_negative() {
        let rate = SampleRate::new(44_100).unwrap();
        assert_eq!([rate.frames(0.5), rate.frames(1.6 / 44_100.0), rate.frames(1.4 / 44_100.0)], [22_050, 2, 1]);
        assert_eq!([rate.frames(-3.0), rate.frames(f64::NAN)], [0, 0]);
        assert_eq!((rate.seconds(22_050), rate.hz(), rate.whole_hz()), (0.5, 44_100.0, 44_100));
    }

    #[test]
    fn rates_beyond_what_exists_are_refused() {
        assert!(SampleRate::new(1_000).is_ok() && SampleRate::new(768_000).is_ok());
        for hz in [0, 999, 768_001] {
            assert!(matches!(SampleRate::new(hz), Err(QuantityError::Rate { .. })), "{hz}");
        }
    }
}
