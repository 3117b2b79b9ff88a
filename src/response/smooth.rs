//! Smoothing of a level over a fraction of an octave.
//!
//! ```text
//! P(f) = ∫|H|² d(ln f) / ∫d(ln f)      from f·G^(−1/2n) to f·G^(+1/2n),   G = 10^0.3
//! ```
//!
//! The power is averaged, each octave weighing alike; at an end of the band the window is cut there on both sides alike
//! (in ln f), so that a flat level stays flat and a slope is not bent.
//! Source: the band edges of IEC 61260-1:2014, equations 1 to 5; the framework of P. D. Hatziantoniou, J. N. Mourjopoulos,
//! "Generalized Fractional-Octave Smoothing of Audio and Acoustic Responses", J. Audio Eng. Soc. 48 (April 2000)
//! 259–280 (from memory).

use super::ResponseError;

/// One over n: the width of the smoothing in octaves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OctaveFraction(f64);

/// log₁₀ of the octave ratio G of IEC 61260-1.
const OCTAVE_DECADES: f64 = 0.3;
/// Points in which a window is sampled, at the least.
const LEAST_POINTS: f64 = 24.0;

impl OctaveFraction {
    /// A fraction of an octave.
    ///
    /// # Errors
    /// [`ResponseError::Smoothing`] outside 1/96 to 1.
    pub fn new(octaves: f64) -> Result<Self, ResponseError> {
        if (1.0 / 96.5..=1.0).contains(&octaves) {
            Ok(Self(octaves))
        } else {
            Err(ResponseError::Smoothing { found: octaves })
        }
    }

    /// The fraction, in octaves.
    pub fn octaves(self) -> f64 {
        self.0
    }

    /// Half the width in ln f.
    fn half_width(self) -> f64 {
        0.5 * self.0 * OCTAVE_DECADES * std::f64::consts::LN_10
    }

    /// The width at a frequency, Hz.
    pub fn width_hz(self, frequency_hz: f64) -> f64 {
        2.0 * frequency_hz * self.half_width().sinh()
    }

    /// The mean power around `frequency_hz` of what `power` says, inside a band, resolved to `resolution_hz`.
    pub fn mean_power(
        self,
        frequency_hz: f64,
        band_hz: [f64; 2],
        resolution_hz: f64,
        power: impl Fn(f64) -> f64,
    ) -> f64 {
        let to_ends = (frequency_hz / band_hz[0]).ln().min((band_hz[1] / frequency_hz).ln());
        let half = self.half_width().min(to_ends.max(0.0));
        let points = (2.0 * half * frequency_hz / resolution_hz * 2.0).clamp(LEAST_POINTS, 2_000.0) as usize;
        // Midpoints of equal steps in ln f.
        let sum: f64 = (0..points)
            .map(|n| {
                let place = (n as f64 + 0.5) / points as f64 * 2.0 - 1.0;
                power(frequency_hz * (place * half).exp())
            })
            .sum();
        sum / points as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form for |H|² = f^p: sinh(p·a)/(p·a) with a = ln(G)/(2n).
    #[test]
    fn a_power_law_is_smoothed_as_its_closed_form_says() {
        for n in [1.0, 3.0, 6.0, 12.0, 24.0] {
            let fraction = OctaveFraction::new(1.0 / n).unwrap();
            let a = OCTAVE_DECADES * std::f64::consts::LN_10 / (2.0 * n);
            for p in [-4.0, -2.0, -1.0, 1.0, 2.0, 4.0] {
                let mean = fraction.mean_power(1_000.0, [10.0, 20_000.0], 10.0, |f| (f / 1_000.0).powf(p));
                let expected = f64::sinh(p * a) / (p * a);
                // 1e-3 (0.004 dB): the midpoint rule with 24 points or more, error (pa)²/(6·24²).
                assert!((mean / expected - 1.0).abs() < 1e-3, "{n} {p}: {mean} {expected}");
            }
        }
    }

    #[test]
    fn a_flat_level_stays_flat_up_to_both_ends() {
        let fraction = OctaveFraction::new(1.0 / 3.0).unwrap();
        for hz in [20.0, 20.5, 1_000.0, 19_999.0, 20_000.0] {
            let mean = fraction.mean_power(hz, [20.0, 20_000.0], 1.0, |_| 0.37);
            // 2e-10: 1e-9 dB.
            assert!((mean / 0.37 - 1.0).abs() < 2e-10, "{hz}");
        }
        assert!(OctaveFraction::new(2.0).is_err() && OctaveFraction::new(0.0).is_err());
    }

    /// IEC 61260-1:2014: a third of an octave at 1 kHz runs from 10^2.95 to 10^3.05 Hz, 891.25 to 1122.02 Hz.
    #[test]
    fn a_third_of_an_octave_at_1_khz_is_231_hz_wide() {
        let fraction = OctaveFraction::new(1.0 / 3.0).unwrap();
        // 0.02: two edges with two decimals each.
        assert!((fraction.width_hz(1_000.0) - (1_122.02 - 891.25)).abs() < 0.02);
        assert_eq!((fraction.octaves(), fraction.width_hz(2_000.0)), (1.0 / 3.0, 2.0 * fraction.width_hz(1_000.0)));
        assert!(OctaveFraction::new(1.0 / 96.0).is_ok() && OctaveFraction::new(1.0 / 97.0).is_err());
    }

    /// At an end the window is as wide as the way to it, on both sides: sinh(p·a)/(p·a) with a = ln(f/f₁).
    #[test]
    fn a_slope_is_not_bent_at_the_ends() {
        let fraction = OctaveFraction::new(1.0).unwrap();
        for (hz, way) in [(22.0, 22.0f64 / 20.0), (18_000.0, 20_000.0 / 18_000.0)] {
            let mean = fraction.mean_power(hz, [20.0, 20_000.0], 1.0, |f| (f / hz).powi(3));
            let a = 3.0 * way.ln();
            // 1e-4: the midpoint rule with 24 points, error a²/(6·24²).
            assert!((mean / (a.sinh() / a) - 1.0).abs() < 1e-4, "{hz}: {mean}");
        }
    }

    /// Ripples of 2 Hz, as from an echo half a second later, average out when they are looked at finely enough.
    #[test]
    fn ripples_as_fine_as_the_resolution_are_averaged_not_missed() {
        let fraction = OctaveFraction::new(1.0).unwrap();
        let mean = fraction.mean_power(500.0, [20.0, 20_000.0], 1.0, |f| 1.0 + (std::f64::consts::PI * f).cos());
        // 0.02: the window holds 176 ripples.
        assert!((mean - 1.0).abs() < 0.02, "{mean}");
    }
}
