//! A shaped burst: some periods of a sine under a raised-cosine hill.
//!
//! ```text
//! x(t) = cos(2πf·(t − T/2))·(1 + cos(2π·(t/T − 1/2)))/2        T = n/f
//! ```
//!
//! f: frequency, Hz; n: number of periods; T: duration, s. Its spectrum is narrow, 4f/n between the first zeros,
//! so that it shows how one narrow band starts and dies away.
//! Source: S. H. Linkwitz, "Shaped Tone-Burst Testing", J. Audio Eng. Soc. 28 (April 1980) 250–258 (from memory).

use super::{Excitation, Kind, SignalError, steady};
use crate::quantity::SampleRate;
use std::f64::consts::{PI, TAU};

/// What a burst is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BurstSettings {
    /// Frames a second.
    pub rate: SampleRate,
    /// Its middle frequency.
    pub at_hz: f64,
    /// Periods under the hill.
    pub cycles: f64,
    /// Peak level.
    pub level_dbfs: f64,
}

const MOST_CYCLES: f64 = 1000.0;

/// A burst between silences.
///
/// # Errors
/// [`SignalError::AboveNyquist`], `Band`, `Cycles` or `Level` for settings out of range.
pub fn burst(settings: BurstSettings) -> Result<Excitation, SignalError> {
    let BurstSettings { rate, at_hz, cycles, level_dbfs } = settings;
    if !(1.0..=MOST_CYCLES).contains(&cycles) {
        return Err(SignalError::Cycles { found: cycles, most: MOST_CYCLES });
    }
    super::excitation::check_band(rate, [at_hz, at_hz])?;
    let duration_s = cycles / at_hz;
    super::excitation::check_length(rate, duration_s)?;
    let middle_s = 0.5 * duration_s;
    let one: Vec<f64> = (0..=rate.frames(duration_s))
        .map(|frame| {
            let off_s = (rate.seconds(frame) - middle_s).clamp(-middle_s, middle_s);
            let hill = 0.5 + 0.5 * (PI * off_s / middle_s).cos();
            hill * (TAU * at_hz * off_s).cos()
        })
        .collect();
    // The main lobe: 2/T to each side.
    let half_width_hz = 2.0 / duration_s;
    steady(rate, Kind::Burst, [(at_hz - half_width_hz).max(0.0), at_hz + half_width_hz], level_dbfs, &one)
}
