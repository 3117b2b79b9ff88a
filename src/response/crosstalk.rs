//! Loopback that leaks into the reply: a sound that arrives with the loopback, before any air could carry it.
//!
//! ```text
//! g = h(0)·f_s/(2·(f₂ − f₁))        h(0): impulse response from loopback to reply at delay zero
//! ```
//!
//! A leak of gain g is a click of all frequencies of the band f₁ to f₂; sampled at f_s its top is 2·g·(f₂ − f₁)/f_s. Nothing else has its place there once
//! the sound needs some periods of the band's upper end to arrive; what noise and the limiter put there is told by the surroundings.
//! A leak counts where it moves the level: g/|H|. Ours, because an input's crosstalk ends as a ripple in the curve.

use super::{Pattern, WrappedImpulse};
use crate::math::median;

/// A leak stands this far above the median of its surroundings.
const ABOVE_SURROUNDINGS: f64 = 10.0;
/// The sound must arrive at least this long after it, and so many periods of the band's upper end.
const EARLIEST_S: f64 = 0.000_4;
const PERIODS: f64 = 6.0;
/// The surroundings end so long ago.
const SURROUNDINGS_S: f64 = 0.003;

/// The gain of a leak; `None` where there is none, or no room for it.
pub(super) fn leak(impulse: &WrappedImpulse, arrival_frames: f64, pattern: &Pattern) -> Option<f64> {
    let [from_hz, to_hz] = pattern.band_hz;
    let clear = (EARLIEST_S.max(PERIODS / to_hz) * pattern.rate_hz) as i64;
    if arrival_frames < clear as f64 {
        return None;
    }
    let half = (0.5 * pattern.rate_hz / to_hz).ceil() as i64;
    let top = (-half..=half)
        .map(|index| impulse.at(index))
        .fold(0.0, |top: f64, x| if x.abs() > top.abs() { x } else { top });
    let long = (SURROUNDINGS_S * pattern.rate_hz) as i64 + clear;
    let before = median_square(impulse, -long..-clear / 2);
    // Between leak and arrival the sound's own rise must not pass for one.
    let between = median_square(impulse, clear / 2..arrival_frames as i64 - clear / 2);
    (top * top > ABOVE_SURROUNDINGS * ABOVE_SURROUNDINGS * before.max(between))
        .then(|| top.abs() * pattern.rate_hz / (2.0 * (to_hz - from_hz)))
}

fn median_square(impulse: &WrappedImpulse, frames: std::ops::Range<i64>) -> f64 {
    median(frames.map(|index| impulse.at(index).powi(2)).collect()).unwrap_or(f64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::response::Deconvolution;
    use crate::signal::{Marks, Sequence, SweepSettings};

    /// A reply 100 frames late at 0.5, and 0.02 of the excitation itself at no delay.
    #[test]
    fn a_leak_of_known_gain_is_found_and_none_where_there_is_none() {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 50.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 1.0 };
        let sequence = Sequence { sweep, level_dbfs: 0.0, repeats: 1, marks: Marks::None, pause_s: 0.5 };
        let pattern = Pattern::of(&sequence.excitation().unwrap()).unwrap();
        let mut random = Random::new(2);
        for gain in [0.0, 0.02] {
            let recorded: Vec<f64> = (0..60_000)
                .map(|n: usize| {
                    let played = |late: usize| n.checked_sub(late).and_then(|n| pattern.samples.get(n)).unwrap_or(&0.0);
                    0.5 * played(100) + gain * played(0) + 1e-4 * random.normal()
                })
                .collect();
            let impulse = Deconvolution::new(&pattern, recorded.len()).impulse_of(&recorded);
            let found = leak(&impulse, 100.0, &pattern);
            // 15 %: the fall above 20 kHz is played too.
            assert!(
                found.is_some() == (gain > 0.0) && found.is_none_or(|g| (g / gain - 1.0).abs() < 0.15),
                "{found:?}"
            );
        }
    }
}
