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

#[cfg(test)]
mod tests {
    use super::*;

    fn settings() -> BurstSettings {
        let rate = SampleRate::new(48_000).unwrap();
        BurstSettings { rate, at_hz: 1_000.0, cycles: 6.0, level_dbfs: -20.0 }
    }

    /// The product of the two cosines, written as the sum of three.
    #[test]
    fn a_burst_is_a_line_with_two_half_as_strong_beside_it() {
        let excitation = burst(settings()).unwrap();
        let plan = &excitation.plan;
        assert_eq!(plan.frames, 288 + 1);
        for frame in 0..plan.frames {
            let off_s = (frame as f64 - 144.0) / 48_000.0;
            let line = |hz: f64| (TAU * hz * off_s).cos();
            let expected =
                0.1 * (0.5 * line(1_000.0) + 0.25 * line(1_000.0 - 1e3 / 6.0) + 0.25 * line(1_000.0 + 1e3 / 6.0));
            // 1e-14: three cosines of some tens of radians.
            assert!((excitation.samples[plan.starts[0] + frame] - expected).abs() < 1e-14, "{frame}");
        }
    }

    /// The head's claim: 4f/n between the first zeros of the spectrum, and that is the band of the plan.
    #[test]
    fn the_band_of_a_burst_ends_at_the_first_zeros_of_its_spectrum() {
        let excitation = burst(settings()).unwrap();
        let [from_hz, to_hz] = excitation.plan.band_hz;
        // 1e-9 relative: a handful of operations.
        assert!(((to_hz - from_hz) / (4.0 * 1_000.0 / 6.0) - 1.0).abs() < 1e-9);
        let at = |hz: f64| -> f64 {
            let turn = |n: usize| num_complex::Complex64::cis(-TAU * hz * n as f64 / 48_000.0);
            excitation.samples.iter().enumerate().map(|(n, &x)| x * turn(n)).sum::<num_complex::Complex64>().norm()
        };
        // 2 %: the mirror image at −f, whose side lobes fall by 18 dB an octave, reaches into the zeros.
        let middle = at(1_000.0);
        assert!(at(from_hz) < 0.02 * middle && at(to_hz) < 0.02 * middle);
        // Half way the Hann window's spectrum is 0.5 of its middle, exactly, but for the same image.
        assert!((at(0.5 * (1_000.0 + to_hz)) / middle - 0.5).abs() < 0.02);
    }

    #[test]
    fn a_burst_of_no_period_or_too_many_is_refused() {
        for cycles in [0.9, 1_001.0, f64::NAN] {
            assert!(matches!(burst(BurstSettings { cycles, ..settings() }), Err(SignalError::Cycles { .. })));
        }
        assert!(burst(BurstSettings { cycles: 1.0, ..settings() }).is_ok());
    }
}
