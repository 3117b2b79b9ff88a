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
