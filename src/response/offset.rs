//! A constant that an interface adds, taken off before anything is computed.
//!
//! ```text
//! y − m        where |m| > 0.02·√⟨y²⟩
//! ```
//!
//! m: the median of the whole channel, which a sweep leaves where it is, also one that is bent: its mean is not, since even orders of
//! distortion add a constant while it sounds. A piece of a recording with an offset begins and ends with a step, and a step is
//! bass. Smaller ones do nothing: a recording without an offset stays as it is to the last bit. Ours.

use crate::math::median;
use crate::signal::Recording;
use std::borrow::Cow;

/// Share of the root mean square that a median must have to be an offset.
const WORTH_TAKING: f64 = 0.02;

/// The recording without the offsets of `channels`.
pub(super) fn without_offset<'a>(recording: &'a Recording, channels: &[usize]) -> Cow<'a, Recording> {
    let mut without = Cow::Borrowed(recording);
    for &channel in channels {
        let samples = &recording.channels[channel];
        let square = samples.iter().map(|x| x * x).sum::<f64>() / samples.len() as f64;
        let worth = WORTH_TAKING * square.sqrt();
        // The middle one lies beyond where half of all do: most channels need no more than counting.
        let beyond = |is_beyond: fn(f64, f64) -> bool| {
            2 * samples.iter().filter(|&&x| is_beyond(x, worth)).count() + 2 >= samples.len()
        };
        if !beyond(|x, worth| x > worth) && !beyond(|x, worth| x < -worth) {
            continue;
        }
        let Some(median) = median(samples.clone()) else { continue };
        // All equal: that is silence, and refused as such.
        let sounds = samples.iter().any(|&x| x != median);
        if sounds && median.abs() > worth {
            without.to_mut().channels[channel].iter_mut().for_each(|x| *x -= median);
        }
    }
    without
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::SampleRate;
    use crate::signal::SampleFormat;

    #[test]
    fn an_offset_is_taken_off_and_a_recording_without_one_left_alone() {
        let sine: Vec<f64> = (0..4_800).map(|n| 0.1 * (std::f64::consts::TAU * f64::from(n) / 48.0).sin()).collect();
        let rate = SampleRate::new(48_000).unwrap();
        let moved = sine.iter().map(|x| x + 0.05).collect();
        let recording = Recording { rate, channels: vec![sine.clone(), moved], format: SampleFormat::Float64 };
        assert!(matches!(without_offset(&recording, &[0]), Cow::Borrowed(_)));
        let without = without_offset(&recording, &[0, 1]);
        assert_eq!(without.channels[0], sine);
        // 1e-12: the middle of a hundred periods is zero but for rounding.
        assert!(without.channels[1].iter().zip(&sine).all(|(found, x)| (found - x).abs() < 1e-12));
    }
}
