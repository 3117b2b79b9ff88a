//! A steady sine that begins and ends softly.
//!
//! `x(t) = sin 2πft` between raised-cosine ramps. No equation beyond that, the definition of a tone.

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_is_a_sine_between_two_ramps_of_20_ms() {
        let rate = SampleRate::new(48_000).unwrap();
        let excitation = tone(ToneSettings { rate, at_hz: 997.0, duration_s: 0.2, level_dbfs: -6.0 }).unwrap();
        let plan = &excitation.plan;
        assert_eq!((plan.frames, plan.kind, plan.band_hz), (9_600, Kind::Tone, [997.0, 997.0]));
        for frame in 0..9_600 {
            let full = 10f64.powf(-0.3) * (TAU * 997.0 * frame as f64 / 48_000.0).sin();
            let found = excitation.samples[plan.starts[0] + frame];
            let ramp = frame.min(9_599 - frame);
            // Hann ramp of 960 frames, half a step in.
            let share =
                if ramp < 960 { (0.5 * (ramp as f64 + 0.5) / 960.0 * std::f64::consts::PI).sin().powi(2) } else { 1.0 };
            // 1e-12: a sine of a thousand radians.
            assert!((found - share * full).abs() < 1e-12, "{frame}");
        }
    }
}
