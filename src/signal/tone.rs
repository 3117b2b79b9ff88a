//! A steady sine that begins and ends softly.
//!
//! `x(t) = sin 2πft` between raised-cosine ramps. No source needed: the definition of a tone.

use super::{Excitation, Kind, SignalError, steady, with_ramps};
use crate::quantity::SampleRate;
use std::f64::consts::TAU;

/// What a tone is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToneSettings {
    /// Frames a second.
    pub rate: SampleRate,
    /// Its frequency.
    pub at_hz: f64,
    /// From its first to its last sample.
    pub duration_s: f64,
    /// Peak level.
    pub level_dbfs: f64,
}

/// Ramps of 20 ms, too slow to click (common practice).
const RAMP_S: f64 = 0.02;

/// A tone between silences.
///
/// # Errors
/// [`SignalError::AboveNyquist`], `Band`, `Duration` or `Level` for settings out of range.
pub fn tone(settings: ToneSettings) -> Result<Excitation, SignalError> {
    let ToneSettings { rate, at_hz, duration_s, level_dbfs } = settings;
    super::excitation::check_band(rate, [at_hz, at_hz])?;
    super::excitation::check_duration(rate, duration_s)?;
    let sine = (0..rate.frames(duration_s)).map(|frame| (TAU * at_hz * rate.seconds(frame)).sin()).collect();
    steady(rate, Kind::Tone, [at_hz, at_hz], level_dbfs, &with_ramps(sine, rate.frames(RAMP_S)))
}
