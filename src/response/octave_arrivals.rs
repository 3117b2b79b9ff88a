//! Octaves that arrive one after the other: another sweep was played than the one that was given.
//!
//! ```text
//! Δt = ΔL·ln 2 for each octave        w(f) = cos²(π·log₂(f/f_c)),  |log₂(f/f_c)| < 1/2
//! ```
//!
//! L: rate constant of a sweep, s. Deconvolved by a sweep of another L, an impulse becomes a slow chirp, in which each octave comes by the same
//! time after the one below. Rooms shift single octaves, and filters delay an octave by its own period, twice as long as the next one: neither
//! makes equal steps.
//! The arrival of an octave is the top of its envelope through w. Ours; the rate constant: A. Farina, "Simultaneous Measurement of Impulse
//! Response and Distortion with a Swept-Sine Technique", 108th AES Convention (2000), preprint 5093.

use super::Pattern;
use super::deconvolve::WrappedImpulse;
use crate::math::{Spectrum, envelope, good_length_within};
use crate::quantity::{Code, Finding, Severity, Whereabouts};
use std::f64::consts::PI;

/// Frames to each side of the arrival, s: what is smeared further than this is no arrival at all.
const REACH_S: f64 = 0.17;
/// Fewer frames than this hold no octaves.
const SHORTEST: usize = 256;
/// Octaves that are looked at, from the highest down.
const OCTAVES: usize = 5;
/// Fewer steps than this could be equal by chance.
const FEWEST_STEPS: usize = 3;
/// A step is one from so many periods of the lower octave on: the envelope of an octave is as wide.
const LEAST_PERIODS: f64 = 1.5;
/// Equal steps differ by less than this.
const ALIKE: f64 = 1.5;

/// By how many seconds each octave comes after the one below it (negative: before it); `None` where they come together or without order.
pub fn octaves_apart_s(impulse: &WrappedImpulse, arrival_frames: f64, pattern: &Pattern) -> Option<f64> {
    pattern.rate_constant_s?;
    let rate_hz = pattern.rate_hz;
    let length = good_length_within(((2.0 * REACH_S * rate_hz) as usize).min(impulse.samples.len()));
    if length < SHORTEST {
        return None;
    }
    let bins = Spectrum::new(length).bins(&impulse.cut(arrival_frames as i64 - length as i64 / 2, length));
    let step_hz = rate_hz / length as f64;
    let highest_hz = pattern.band_hz[1] / 2f64.sqrt();
    let middles_hz = (0..OCTAVES).map(|down| highest_hz / (down as f64).exp2());
    let middles_hz: Vec<f64> = middles_hz.take_while(|hz| *hz > pattern.band_hz[0] * 2f64.sqrt()).collect();
    let arrival_s = |middle_hz: f64| {
        let weighted = bins.iter().enumerate().map(|(bin, value)| {
            let octaves = (bin as f64 * step_hz / middle_hz).log2();
            if octaves.abs() < 0.5 { value * (PI * octaves).cos().powi(2) } else { 0.0.into() }
        });
        let heard = envelope(&weighted.collect::<Vec<_>>(), length);
        let top = (0..length).max_by(|&a, &b| heard[a].total_cmp(&heard[b])).unwrap_or(0);
        top as f64 / rate_hz
    };
    let arrivals_s: Vec<f64> = middles_hz.iter().map(|&hz| arrival_s(hz)).collect();
    let steps_s: Vec<f64> = arrivals_s.windows(2).map(|pair| pair[0] - pair[1]).collect();
    let clear =
        steps_s.iter().zip(middles_hz.iter().skip(1)).take_while(|(step_s, hz)| step_s.abs() * *hz > LEAST_PERIODS);
    let clear: Vec<f64> = clear.map(|(step_s, _)| *step_s).collect();
    let [least, most] = clear.iter().fold([f64::MAX, f64::MIN], |[a, b], &step_s| [a.min(step_s), b.max(step_s)]);
    let is_alike = least * most > 0.0 && (least / most).max(most / least) < ALIKE;
    (clear.len() >= FEWEST_STEPS && is_alike).then(|| clear.iter().sum::<f64>() / clear.len() as f64)
}

/// What there is to say of it.
pub fn another_sweep(apart_s: f64, channel: usize) -> Finding {
    let order = if apart_s > 0.0 { "after" } else { "before" };
    let says = format!(
        "each octave arrives {:.1} ms {order} the one below it, as after a sweep of another length or band than the one that was given, or a \
         recording of another rate than its header says",
        1e3 * apart_s.abs()
    );
    let at = Whereabouts { channel: Some(channel + 1), ..Whereabouts::default() };
    let advice = "give the excitation that was played: its file is named in the capture's description";
    Finding { at, ..Finding::new(Code::WrongExcitation, Severity::Fault, says, advice) }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // a test that can't go on may stop
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::response::Deconvolution;
    use crate::response::locate::strongest;
    use crate::signal::{Sweep, SweepSettings};

    fn sweep(from_hz: f64, duration_s: f64) -> Sweep {
        let rate = SampleRate::new(48_000).unwrap();
        Sweep::new(SweepSettings { rate, from_hz, to_hz: 20_000.0, lowest_hz: None, duration_s }).unwrap()
    }

    /// In noise and a room of decaying noise; L is T/ln(f₂/f₁) by definition.
    #[test]
    fn another_sweep_is_told_by_octaves_that_come_one_after_the_other() {
        let given = sweep(20.0, 1.0);
        let pattern = Pattern {
            samples: given.samples(),
            rate_hz: 48_000.0,
            band_hz: given.band_hz(),
            played_hz: given.played_hz(),
            rate_constant_s: Some(given.rate_constant_s()),
        };
        let mut random = Random::new(5);
        let tail: Vec<f64> = (0..9_600).map(|n| 0.01 * random.normal() * (-f64::from(n) / 3_000.0).exp()).collect();
        for (from_hz, duration_s) in [(20.0, 1.0), (20.0, 1.06), (40.0, 1.0), (20.0, 0.94)] {
            let played = sweep(from_hz, duration_s);
            let sounds = played.samples();
            let mut recorded = vec![0.0; 80_000];
            for (delay, gain) in std::iter::once((0, 1.0)).chain(tail.iter().copied().enumerate().step_by(7)) {
                sounds.iter().zip(&mut recorded[3_000 + delay..]).for_each(|(x, sum)| *sum += gain * x);
            }
            recorded.iter_mut().for_each(|x| *x += 1e-3 * random.normal());
            let impulse = Deconvolution::new(&pattern, recorded.len()).impulse_of(&recorded);
            let peak = strongest(&impulse, 3_000, 6_000);
            let found = octaves_apart_s(&impulse, peak as f64, &pattern);
            let expected = 2f64.ln() * (played.rate_constant_s() - given.rate_constant_s());
            match found {
                None => assert_eq!((from_hz, duration_s), (20.0, 1.0)),
                // A fifth: the envelopes' tops within the tail.
                Some(found) => assert!((found / expected - 1.0).abs() < 0.2, "{found} {expected}"),
            }
        }
    }
}
