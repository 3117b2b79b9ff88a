//! What the steps of an integer format leave in doubt where nothing blurs them.
//!
//! ```text
//! u²(|H|) += (0.3·Δ/A)²        where σ < Δ/2
//! ```
//!
//! Δ: step of the format; A: amplitude of the sweep in the file; σ: noise of the silences. Noise of half a step or more turns rounding into noise of
//! power Δ²/12, which the silences tell. Without it a sweep is drawn in stairs: its amplitude is wrong by up to a good third of a step, and
//! a reply that is smaller than half a step is not there at all.
//! Source: B. Widrow, I. Kollár, "Quantization Noise", Cambridge 2008 (from memory), for when rounding is noise; the share is ours: the worst error of a sine's
//! fundamental over amplitudes above one step is less than that (the test below).

use super::frequency::FrequencyResponse;
use crate::signal::{Recording, SampleFormat};

/// Worst error of a rounded sine's amplitude, in steps.
const WORST_STEPS: f64 = 0.3;
/// Noise of so many steps blurs them.
const BLURRING_STEPS: f64 = 0.5;

/// Adds the doubt of a sweep drawn in stairs; `drive_peak` is what the response was divided by, `noise_power` that of a sample.
pub(super) fn widen_by_steps(
    response: &mut FrequencyResponse,
    recording: &Recording,
    drive_peak: f64,
    noise_power: Option<f64>,
) {
    if matches!(recording.format, SampleFormat::Float32 | SampleFormat::Float64) {
        return;
    }
    let step = 2f64.powi(1 - i32::from(recording.format.bits()));
    if noise_power.is_some_and(|power| power > (BLURRING_STEPS * step).powi(2)) {
        return;
    }
    let u = WORST_STEPS * step / drive_peak.max(f64::MIN_POSITIVE);
    response.u_ratio.iter_mut().for_each(|old| *old = old.hypot(u));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The amplitude of the fundamental of a rounded sine, by correlation over a thousand places of one period.
    #[test]
    fn a_rounded_sines_amplitude_is_wrong_by_less_than_the_share() {
        let mut worst: f64 = 0.0;
        for tenth in 10..400 {
            let amplitude = f64::from(tenth) * 0.1;
            let found: f64 = (0..1_000)
                .map(|n| (std::f64::consts::TAU * (f64::from(n) + 0.5) / 1_000.0).sin())
                .map(|sine| (amplitude * sine).round() * sine)
                .sum::<f64>()
                / 500.0;
            worst = worst.max((found - amplitude).abs());
        }
        assert!(worst < WORST_STEPS && worst > 0.5 * WORST_STEPS, "{worst}");
    }
}
