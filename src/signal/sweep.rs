//! The exponential sine sweep whose harmonics stay in phase with it.
//!
//! ```text
//! x(t) = sin(2π·f₁·L·e^{t/L})        L = T/ln(f₂/f₁)        f(t) = f₁·e^{t/L}
//! ```
//!
//! f₁, f₂: first and last frequency, Hz. T: duration, s. L: rate constant, s. Because the phase is proportional to
//! f(t), harmonic n is the sweep itself, earlier by `L·ln n`: n·φ(t) = φ(t + L·ln n). No rounding of L is needed in
//! this form. It rises and falls by a raised cosine outside the band that is reported; where a limit protects a driver
//! (`lowest_hz`) nothing is played below it, and the reported band begins where the rise is over.
//!
//! Holds while f₁·L is large against 1: else the first octave holds too few periods.
//! Source: A. Novak, P. Lotton, L. Simon, "Synchronized Swept-Sine: Theory, Application, and Implementation",
//! J. Audio Eng. Soc. 63 (October 2015) 786–798.

use super::{SignalError, fall, rise};
use crate::quantity::SampleRate;
use std::f64::consts::TAU;

/// What a sweep is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SweepSettings {
    /// Frames a second.
    pub rate: SampleRate,
    /// Lowest frequency that is to be reported.
    pub from_hz: f64,
    /// Highest frequency that is to be reported.
    pub to_hz: f64,
    /// Nothing is played below this, for a driver's sake. Where it is absent, a sweep from above
    /// [`PROTECTED_ABOVE_HZ`] starts at `from_hz` all the same.
    pub lowest_hz: Option<f64>,
    /// From the first to the last sample.
    pub duration_s: f64,
}

/// A sweep that starts above this is taken for one that protects a driver, so that it never reaches below the
/// frequency that was asked for. Ours, because no treble driver stands a sweep from below 100 Hz.
pub const PROTECTED_ABOVE_HZ: f64 = 100.0;
/// The rise lies in the octave below the reported band …
const RISE_RATIO: f64 = 2.0;
/// … or, above a limit, takes a sixth of an octave.
const PROTECTED_RISE_RATIO: f64 = 1.122_462_048_309_373;
/// The fall takes up to a sixth of an octave above the reported band …
const FALL_RATIO: f64 = PROTECTED_RISE_RATIO;
/// … and at least a 24th of an octave.
const SHORTEST_FALL_RATIO: f64 = 1.029_302_236_643_492;
/// The sweep ends this far below half the sample rate, where converters still pass it (common practice).
const HIGHEST_SHARE_OF_RATE: f64 = 0.49;
const SHORTEST_S: f64 = 0.05;
const LONGEST_S: f64 = 600.0;

/// A sweep: all that follows from its settings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sweep {
    settings: SweepSettings,
    first_hz: f64,
    last_hz: f64,
    full_from_hz: f64,
    full_to_hz: f64,
}

impl Sweep {
    /// A sweep from its settings.
    ///
    /// # Errors
    /// [`SignalError::Band`], `AboveNyquist`, `LowestTooHigh` or `Duration` for settings that make no sweep.
    pub fn new(settings: SweepSettings) -> Result<Self, SignalError> {
        let SweepSettings { rate, from_hz, to_hz, lowest_hz, duration_s } = settings;
        if !(from_hz > 0.0 && to_hz > from_hz && to_hz.is_finite()) {
            return Err(SignalError::Band { from_hz, to_hz });
        }
        let limit_hz = rate.hz() * HIGHEST_SHARE_OF_RATE / SHORTEST_FALL_RATIO;
        if to_hz > limit_hz {
            return Err(SignalError::AboveNyquist { to_hz, rate_hz: rate.hz(), limit_hz });
        }
        if !(SHORTEST_S..=LONGEST_S).contains(&duration_s) {
            return Err(SignalError::Duration { found_s: duration_s, shortest_s: SHORTEST_S, longest_s: LONGEST_S });
        }
        let protected = lowest_hz.or((from_hz > PROTECTED_ABOVE_HZ).then_some(from_hz));
        let first_hz = (from_hz / RISE_RATIO).max(protected.unwrap_or(0.0));
        let full_from_hz = from_hz.max(first_hz * PROTECTED_RISE_RATIO);
        if full_from_hz >= to_hz {
            return Err(SignalError::LowestTooHigh { lowest_hz: first_hz, to_hz });
        }
        let last_hz = (to_hz * FALL_RATIO).min(rate.hz() * HIGHEST_SHARE_OF_RATE);
        Ok(Self { settings, first_hz, last_hz, full_from_hz, full_to_hz: to_hz })
    }

    /// The settings it was made from.
    pub fn settings(&self) -> SweepSettings {
        self.settings
    }

    /// First and last frequency that is played at all.
    pub fn played_hz(&self) -> [f64; 2] {
        [self.first_hz, self.last_hz]
    }

    /// The band at full level, which can be reported.
    pub fn band_hz(&self) -> [f64; 2] {
        [self.full_from_hz, self.full_to_hz]
    }

    /// L, the time in which the frequency grows by e.
    pub fn rate_constant_s(&self) -> f64 {
        self.settings.duration_s / (self.last_hz / self.first_hz).ln()
    }

    /// How much earlier than the linear response the response of harmonic `order` appears.
    pub fn harmonic_lead_s(&self, order: u32) -> f64 {
        self.rate_constant_s() * f64::from(order).ln()
    }

    /// The frequency that sounds at a time.
    pub fn frequency_hz_at(&self, time_s: f64) -> f64 {
        self.first_hz * (time_s / self.rate_constant_s()).exp()
    }

    /// The time at which a frequency sounds.
    pub fn time_s_at(&self, frequency_hz: f64) -> f64 {
        self.rate_constant_s() * (frequency_hz / self.first_hz).ln()
    }

    /// The sweep at any time, with peak 1; zero before and after it.
    pub fn value_at(&self, time_s: f64) -> f64 {
        if !(0.0..=self.settings.duration_s).contains(&time_s) {
            return 0.0;
        }
        let rate_constant_s = self.rate_constant_s();
        let phase_rad = TAU * self.first_hz * rate_constant_s * (time_s / rate_constant_s).exp();
        self.envelope_at(time_s) * phase_rad.sin()
    }

    fn envelope_at(&self, time_s: f64) -> f64 {
        let full_from_s = self.time_s_at(self.full_from_hz);
        let full_to_s = self.time_s_at(self.full_to_hz);
        rise(time_s / full_from_s) * fall((time_s - full_to_s) / (self.settings.duration_s - full_to_s))
    }

    /// The samples, with peak 1.
    pub fn samples(&self) -> Vec<f64> {
        let rate = self.settings.rate;
        (0..rate.frames(self.settings.duration_s)).map(|frame| self.value_at(rate.seconds(frame))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sweep(from_hz: f64, lowest_hz: Option<f64>) -> Sweep {
        let rate = SampleRate::new(48_000).unwrap();
        Sweep::new(SweepSettings { rate, from_hz, to_hz: 12_000.0, lowest_hz, duration_s: 0.5 }).unwrap()
    }

    /// The slow twin: the frequency rises by equal ratios in equal times, and its integral is the phase.
    #[test]
    fn a_sweep_runs_up_by_equal_ratios_in_equal_times() {
        let sweep = sweep(40.0, None);
        let samples = sweep.samples();
        assert_eq!(samples.len(), 24_000);
        let [first_hz, last_hz] = sweep.played_hz();
        // An octave below the band, a sixth of an octave above it.
        assert_eq!(first_hz, 20.0);
        assert!((last_hz / 12_000.0).log2().mul_add(6.0, -1.0).abs() < 1e-12);
        let frequency_hz = |ratio: f64| first_hz * (last_hz / first_hz).powf(ratio);
        // The phase of time zero is 2π·f₁·L, so that harmonics stay in phase.
        let mut turns = first_hz * 0.5 / (last_hz / first_hz).ln();
        let steps = 8;
        for (frame, sample) in samples.iter().enumerate() {
            let hz = frequency_hz(frame as f64 / 24_000.0);
            let expected = (TAU * turns).sin();
            if (40.0..=12_000.0).contains(&hz) {
                // 1e-6: the midpoint rule over the whole sweep, h²/24 times the change of the derivative.
                assert!((sample - expected).abs() < 1e-6, "{frame}");
            } else {
                assert!(sample.abs() <= expected.abs() + 1e-6, "{frame}");
            }
            for step in 0..steps {
                let place = frame as f64 + (f64::from(step) + 0.5) / f64::from(steps);
                turns += frequency_hz(place / 24_000.0) / 48_000.0 / f64::from(steps);
            }
        }
        assert_eq!([sweep.value_at(-1e-9), sweep.value_at(0.5 + 1e-9)], [0.0, 0.0]);
    }

    #[test]
    fn the_rise_is_half_done_half_way_through_its_octave() {
        let sweep = sweep(40.0, None);
        // 1e-12: an exponential and a logarithm.
        assert!((sweep.envelope_at(sweep.time_s_at(20.0 * 2f64.sqrt())) - 0.5).abs() < 1e-12);
        let middle_hz = (12_000.0 * sweep.played_hz()[1]).sqrt();
        assert!((sweep.envelope_at(sweep.time_s_at(middle_hz)) - 0.5).abs() < 1e-12);
        assert_eq!(sweep.envelope_at(sweep.time_s_at(1_000.0)), 1.0);
    }

    #[test]
    fn time_and_frequency_are_each_others_inverse_and_a_harmonic_leads_by_its_interval() {
        let sweep = sweep(40.0, None);
        for hz in [20.0, 40.0, 997.0, 12_000.0] {
            // 1e-12: an exponential and a logarithm.
            assert!((sweep.frequency_hz_at(sweep.time_s_at(hz)) / hz - 1.0).abs() < 1e-12);
            let later_s = sweep.time_s_at(3.0 * hz) - sweep.time_s_at(hz);
            assert!((sweep.harmonic_lead_s(3) / later_s - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_limit_moves_the_band_up_by_a_sixth_of_an_octave_and_nothing_is_played_below_it() {
        let limited = sweep(40.0, Some(60.0));
        assert_eq!(limited.played_hz()[0], 60.0);
        assert!((limited.band_hz()[0] / 60.0).log2().mul_add(6.0, -1.0).abs() < 1e-12);
        // From above 100 Hz the same happens unasked; at 100 Hz not yet.
        assert_eq!([sweep(101.0, None).played_hz()[0], sweep(100.0, None).played_hz()[0]], [101.0, 50.0]);
        // A limit below what would be played anyway changes nothing.
        assert_eq!(sweep(40.0, Some(10.0)).played_hz()[0], 20.0);
    }
}
