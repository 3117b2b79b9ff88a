//! The time window that keeps the direct sound and leaves the room out.
//!
//! ```text
//! w(t) = 1                              0 ≤ t ≤ ¾T
//!        (1 + cos(π·(t − ¾T)/(¼T)))/2   ¾T < t ≤ T
//! ```
//!
//! t: time after the arrival, T: the gate's length, s. Before the arrival it is open for half a period of the lowest
//! frequency; that part rises by a half cosine over its first half. It need not be longer, since the band's lower end is
//! limited causally ([`Pattern`]): a symmetric limit would ring there for many periods. A gate of length T resolves 1/T: below that frequency nothing is valid.
//! Source: C. J. Struck, S. F. Temme, "Simulated Free Field Measurements", J. Audio Eng. Soc. 42 (June 1994) 467–482 (lowest
//! frequency and resolution); the shape is ours.

use super::deconvolve::WrappedImpulse;
use super::{Pattern, ResponseError};
use crate::signal::{fall, rise};

/// What the person asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GateChoice {
    /// Ended before the first reflection that can be seen, or that the geometry of the room puts there.
    Auto,
    /// All that was recorded after the arrival.
    None,
    /// This long after the arrival.
    Length {
        /// Seconds.
        after_s: f64,
    },
}

/// A gate around an arrival, in frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    /// Open for so long before the arrival.
    pub before_frames: f64,
    /// T.
    pub after_frames: f64,
    /// The falling part of T.
    pub fall_frames: f64,
}

/// How long the gate may be on both sides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sides {
    pub before_s: f64,
}

/// The falling part of the gate.
const FALL_SHARE: f64 = 0.25;
/// Periods of the lowest frequency that are kept before the arrival: a causal response has nothing there but the
/// little that the limiter's upper end and a fraction of a frame put there.
const PERIODS_BEFORE: f64 = 0.5;
/// No need for more than this before the arrival, which is enough for 20 Hz.
const LONGEST_BEFORE_S: f64 = 0.025;
/// Nor for less.
const SHORTEST_BEFORE_S: f64 = 0.002;
/// Share of the distance to the second harmonic's response that the gate may take before the arrival.
const HARMONIC_SHARE: f64 = 0.4;
/// The limiter's upper end rings for so many periods of its own width: of some weight for a woofer's narrow band only …
const UPPER_END_PERIODS: f64 = 2.5;
/// … and cut here.
const LONGEST_UPPER_END_S: f64 = 0.1;
pub(super) const SHORTEST_S: f64 = 0.0005;

impl Sides {
    /// How long the gate is open before an arrival.
    pub(super) fn of(pattern: &Pattern) -> Self {
        let periods_s = PERIODS_BEFORE / pattern.band_hz[0];
        let to_harmonic_s = pattern.rate_constant_s.map_or(f64::MAX, |l| HARMONIC_SHARE * l * 2f64.ln());
        let upper_end_s = (UPPER_END_PERIODS / (pattern.played_hz[1] - pattern.band_hz[1])).min(LONGEST_UPPER_END_S);
        let before_s = periods_s.clamp(SHORTEST_BEFORE_S, LONGEST_BEFORE_S).max(upper_end_s);
        Self { before_s: before_s.min(to_harmonic_s) }
    }
}

impl Gate {
    /// The gate of a length, for an excitation.
    ///
    /// # Errors
    /// [`ResponseError::Gate`] outside 0.5 ms to `longest_s`, which the recording allows.
    pub fn of(after_s: f64, longest_s: f64, pattern: &Pattern) -> Result<Self, ResponseError> {
        if !(SHORTEST_S..=longest_s).contains(&after_s) {
            return Err(ResponseError::Gate {
                found_ms: 1e3 * after_s,
                shortest_ms: 1e3 * SHORTEST_S,
                longest_ms: 1e3 * longest_s,
            });
        }
        let rate_hz = pattern.rate_hz;
        Ok(Self::around(Sides::of(pattern).before_s * rate_hz, after_s * rate_hz))
    }

    /// The gate with the usual fall over its last quarter.
    pub(super) fn around(before_frames: f64, after_frames: f64) -> Self {
        Self { before_frames, after_frames, fall_frames: FALL_SHARE * after_frames }
    }

    /// The gate that keeps all there is.
    pub(super) fn open(after_s: f64, pattern: &Pattern) -> Self {
        let rate_hz = pattern.rate_hz;
        let before_frames = Sides::of(pattern).before_s * rate_hz;
        Self { before_frames, after_frames: after_s * rate_hz, fall_frames: 0.0 }
    }

    /// w at a place, in frames after the arrival.
    pub fn weight(&self, after_frames: f64) -> f64 {
        if after_frames < 0.0 {
            rise(2.0 * (after_frames + self.before_frames) / self.before_frames)
        } else if after_frames > self.after_frames {
            0.0
        } else {
            let falling = after_frames - (self.after_frames - self.fall_frames);
            if falling > 0.0 { fall(falling / self.fall_frames) } else { 1.0 }
        }
    }

    /// First whole frame inside, and how many there are, around an arrival.
    pub fn span(&self, arrival_frames: f64) -> (i64, usize) {
        let first = (arrival_frames - self.before_frames).ceil() as i64;
        let last = (arrival_frames + self.after_frames).floor() as i64;
        (first, (last - first + 1).max(1) as usize)
    }

    /// The gated samples around an arrival; the first one's index is that of [`Gate::span`].
    pub fn cut(&self, impulse: &WrappedImpulse, arrival_frames: f64) -> Vec<f64> {
        let (first, frames) = self.span(arrival_frames);
        (first..first + frames as i64)
            .map(|index| impulse.at(index) * self.weight(index as f64 - arrival_frames))
            .collect()
    }

    /// Σw², which is how many frames of noise come through.
    pub fn noise_frames(&self) -> f64 {
        // ∫ of a half cosine squared is 3/8 of its length.
        self.after_frames - 0.625 * self.fall_frames + self.before_frames * (0.5 + 0.5 * 0.375)
    }

    /// The same gate, shorter after the arrival.
    pub(super) fn shortened(&self, ratio: f64) -> Self {
        Self { after_frames: ratio * self.after_frames, fall_frames: ratio * self.fall_frames, ..*self }
    }

    /// Σ(w − v)² against a shorter gate v: how many frames of noise the difference of the two lets through.
    pub(super) fn noise_frames_beyond(&self, shorter: Self) -> f64 {
        let last = self.after_frames as usize;
        (0..=last).map(|frame| (self.weight(frame as f64) - shorter.weight(frame as f64)).powi(2)).sum()
    }

    /// The gated samples, turned so that the arrival's whole frame lies at index 0 of a buffer of `length`.
    pub(super) fn cut_to_zero(&self, impulse: &WrappedImpulse, arrival_frames: f64, length: usize) -> Vec<f64> {
        let (first, frames) = self.span(arrival_frames);
        let zero = arrival_frames.round() as i64;
        let mut turned = vec![0.0; length];
        for index in first..first + frames as i64 {
            let place = (index - zero).rem_euclid(length as i64) as usize;
            turned[place] += impulse.at(index) * self.weight(index as f64 - arrival_frames);
        }
        turned
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pattern() -> Pattern {
        Pattern {
            samples: vec![1.0],
            rate_hz: 48_000.0,
            band_hz: [20.0, 20_000.0],
            played_hz: [14.0, 22_000.0],
            rate_constant_s: Some(1.0),
        }
    }

    #[test]
    fn the_gate_is_flat_over_three_quarters_and_falls_by_a_half_cosine() {
        let gate = Gate::of(0.005, 1.0, &pattern()).unwrap();
        assert_eq!(gate.after_frames, 240.0);
        assert_eq!([gate.weight(0.0), gate.weight(180.0)], [1.0, 1.0]);
        // Half way down: (1 + cos(π/2))/2.
        assert!((gate.weight(210.0) - 0.5).abs() < 1e-12);
        assert!(gate.weight(240.0).abs() < 1e-12 && gate.weight(500.0) == 0.0);
        // Half a period of 20 Hz before the arrival.
        assert_eq!(gate.before_frames, 1_200.0);
        assert!((gate.weight(-600.0) - 1.0).abs() < 1e-12 && (gate.weight(-900.0) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn as_much_noise_comes_through_as_the_squared_weights_add_up_to() {
        let gate = Gate::of(0.005, 1.0, &pattern()).unwrap();
        let sum: f64 = (-6_000..6_000).map(|n| gate.weight(f64::from(n)).powi(2)).sum();
        // 0.1 %: the sum over frames against the integral.
        assert!((gate.noise_frames() / sum - 1.0).abs() < 1e-3);
    }

    #[test]
    fn a_gate_longer_than_the_recording_is_refused() {
        assert!(matches!(Gate::of(2.0, 1.0, &pattern()), Err(ResponseError::Gate { .. })));
        assert!(Gate::of(f64::NAN, 1.0, &pattern()).is_err());
    }
}
