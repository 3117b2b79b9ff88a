//! The time mark: a short chirp before and after the sweep.
//!
//! ```text
//! m(t) = sin(2π·f₂·L·(1 − e^{−t/L}))        L = T/ln(f₂/f₁)        f(t) = f₂·e^{−t/L}
//! ```
//!
//! It runs downwards through the band of the sweep, so that nothing in the sweep looks like it. f₁, f₂: ends of the
//! band, Hz; T: duration, s. The distance of two marks in a recording, against that of the same two when played, is
//! the ratio of the clocks.
//! Ours, because a mark of equal energy in each octave is heard by a woofer and by a treble driver alike.

use super::with_ramps;
use crate::quantity::SampleRate;
use std::f64::consts::TAU;

/// A time mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Frames a second.
    pub rate: SampleRate,
    /// Lowest and highest frequency.
    pub band_hz: [f64; 2],
    /// From its first to its last sample.
    pub duration_s: f64,
}

/// A tenth of the mark at each end rises and falls.
const RAMP_SHARE: f64 = 0.1;

impl Mark {
    /// The samples, with peak 1.
    pub fn samples(&self) -> Vec<f64> {
        let [from_hz, to_hz] = self.band_hz;
        let rate_constant_s = self.duration_s / (to_hz / from_hz).ln();
        let frames = self.rate.frames(self.duration_s);
        let chirp = (0..frames).map(|frame| {
            let fallen = -(-self.rate.seconds(frame) / rate_constant_s).exp_m1();
            (TAU * to_hz * rate_constant_s * fallen).sin()
        });
        with_ramps(chirp.collect(), (frames as f64 * RAMP_SHARE) as usize)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The slow twin: the frequency falls by equal ratios in equal times, and its integral is the phase.
    #[test]
    fn a_mark_runs_down_through_its_band_by_equal_ratios_in_equal_times() {
        let rate = SampleRate::new(48_000).unwrap();
        let mark = Mark { rate, band_hz: [100.0, 6_400.0], duration_s: 0.25 };
        let samples = mark.samples();
        assert_eq!(samples.len(), 12_000);
        let frequency_hz = |ratio: f64| 6_400.0 * (100.0f64 / 6_400.0).powf(ratio);
        let steps = 8;
        let mut turns = 0.0;
        for (frame, sample) in samples.iter().enumerate() {
            // A tenth at each end is ramp.
            if (1_200..10_800).contains(&frame) {
                // 1e-6: the midpoint rule over the whole mark, h²/24 times the change of the derivative.
                assert!((sample - (TAU * turns).sin()).abs() < 1e-6, "{frame}");
            } else {
                assert!(sample.abs() <= (TAU * turns).sin().abs() + 1e-6);
            }
            for step in 0..steps {
                let place = frame as f64 + (f64::from(step) + 0.5) / f64::from(steps);
                turns += frequency_hz(place / 12_000.0) / 48_000.0 / f64::from(steps);
            }
        }
        // Half way up the first ramp, and half way down the last, the height is one half; there is no click at the ends.
        let largest = |frames: std::ops::Range<usize>| frames.map(|n| samples[n].abs()).fold(0.0, f64::max);
        // 0.05: the ramp moves by that over the frames looked at.
        assert!((largest(590..610) - 0.5).abs() < 0.05);
        assert!(largest(0..20) < 1e-3 && largest(11_980..12_000) < 1e-3);
    }
}
