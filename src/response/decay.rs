//! Cumulative spectral decay: what is still sounding after the sound has stopped.
//!
//! ```text
//! D(f, t) = 20·log₁₀|Σ h[n]·w_t[n]·e^{−2πif·n/f_s}| − the same for t = 0
//! w_t = gate·(1 + cos(π·(t − τ)/ρ))/2   t − ρ ≤ τ < t        w_t = gate   τ ≥ t
//! ```
//!
//! h: impulse response, τ: time after the arrival, ρ: half of the first slice's time. What is cut off first is the direct sound; what
//! rings stays, and falls from slice to slice by its own decay. A slice at t sees T − t of the gate's length T, and
//! below 1/(T − t) nothing.
//! Source: D. Fincham, "Refinements in the Impulse Testing of Loudspeakers", J. Audio Eng. Soc. 33 (March 1985) 133–140; J. D. Bunton,
//! R. H. Small, "Cumulative Spectra, Tone Bursts, and Apodization", J. Audio Eng. Soc. 30 (June 1982) 386–395 (both from memory). Times and ρ are ours.

use super::Gate;
use super::analysis::ImpulseResponse;
use crate::math::SpectrumAt;
use crate::quantity::db_from_amplitude;
use crate::signal::rise;

/// Slices of a decay.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Decay {
    /// The frequencies.
    pub hz: Vec<f64>,
    /// The first at t = 0.
    pub slices: Vec<Slice>,
}

/// One slice.
#[derive(Debug, Clone, PartialEq)]
pub struct Slice {
    /// t, s after the arrival.
    pub time_s: f64,
    /// D, one for each frequency, dB re the slice at t = 0; absent below 1/(T − t).
    pub level_db: Vec<Option<f64>>,
}

/// Slices stand at these digits of each decade, s …
const DIGITS: [f64; 5] = [1.0, 1.5, 2.0, 3.0, 5.0];
/// … from this share of the gate …
const FIRST_SHARE: f64 = 1.0 / 60.0;
/// … to this one, where enough of it is left to resolve something.
const LAST_SHARE: f64 = 0.6;

/// The decay of what `gate` lets through, at these frequencies.
pub fn decay(impulse: &ImpulseResponse, rate_hz: f64, gate: Gate, hz: &[f64]) -> Decay {
    let times_s = times_s(gate.after_frames / rate_hz);
    let whole: Vec<f64> = spectrum(impulse, rate_hz, gate, hz, |after| gate.weight(after));
    // The same for all slices, so that what rings falls by its own decay from each to the next.
    let rising = 0.5 * times_s.get(1).copied().unwrap_or(0.0) * rate_hz;
    let slice = |&time_s: &f64| {
        let start = time_s * rate_hz;
        let weight = |after: f64| {
            let opened = if after >= start { 1.0 } else { rise((after - start + rising) / rising) };
            opened * gate.weight(after)
        };
        let lowest_hz = rate_hz / (gate.after_frames - start);
        let levels = spectrum(impulse, rate_hz, gate, hz, weight);
        let level = |((level, whole), hz): ((&f64, &f64), &f64)| {
            (*hz >= lowest_hz && *level > 0.0 && *whole > 0.0).then(|| db_from_amplitude(level / whole))
        };
        Slice { time_s, level_db: levels.iter().zip(&whole).zip(hz).map(level).collect() }
    };
    let lowest_hz = rate_hz / gate.after_frames;
    let all = |(whole, hz): (&f64, &f64)| (*hz >= lowest_hz && *whole > 0.0).then_some(0.0);
    let first = Slice { time_s: 0.0, level_db: whole.iter().zip(hz).map(all).collect() };
    Decay { hz: hz.to_vec(), slices: std::iter::once(first).chain(times_s.iter().skip(1).map(slice)).collect() }
}

fn times_s(gate_s: f64) -> Vec<f64> {
    let decades = -6..=1;
    let all = decades.flat_map(|decade| DIGITS.map(|digit| digit * 10f64.powi(decade)));
    let inside = all.filter(|time_s| (FIRST_SHARE * gate_s..=LAST_SHARE * gate_s).contains(time_s));
    std::iter::once(0.0).chain(inside).collect()
}

/// |X| of the weighed impulse response.
fn spectrum(impulse: &ImpulseResponse, rate_hz: f64, gate: Gate, hz: &[f64], weight: impl Fn(f64) -> f64) -> Vec<f64> {
    let (first, frames) = gate.span(impulse.arrival_index);
    let inside = first.max(0) as usize..((first + frames as i64).max(0) as usize).min(impulse.samples.len());
    let weighed: Vec<f64> = inside
        .map(|index| {
            let weight = weight(index as f64 - impulse.arrival_index);
            if weight > 0.0 { impulse.samples[index] * weight } else { 0.0 }
        })
        .collect();
    let inside = |sample: &f64| *sample != 0.0;
    let first = weighed.iter().position(inside).unwrap_or(0);
    let last = weighed.iter().rposition(inside).unwrap_or(0);
    let spectrum = SpectrumAt::new(&weighed[first..=last.max(first)], rate_hz, 0.0);
    hz.iter().map(|&hz| spectrum.at(hz).norm()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// A resonance of 2 kHz and a decay of 4 ms (Q = π·f·τ = 25) behind a click: its ridge falls by 20/ln 10 dB in each τ.
    #[test]
    fn a_resonance_falls_from_slice_to_slice_by_its_own_decay() {
        let (rate_hz, arrival) = (48_000.0, 480.0);
        let tail_s = 4e-3;
        let samples = (0..4_800).map(|n| {
            let time_s = (f64::from(n) - arrival) / rate_hz;
            if time_s < 0.0 { 0.0 } else { (-time_s / tail_s).exp() * (TAU * 2_000.0 * time_s).sin() }
        });
        let impulse = ImpulseResponse { samples: samples.collect(), arrival_index: arrival };
        let gate = Gate::around(100.0, 0.08 * rate_hz);
        let found = decay(&impulse, rate_hz, gate, &[15.0, 2_000.0]);
        let at = |slice: &Slice| slice.level_db[1].unwrap();
        let told: Vec<&Slice> =
            found.slices.iter().filter(|slice| slice.time_s >= 2e-3 && slice.time_s <= 31e-3).collect();
        assert!(told.len() >= 7, "{}", told.len());
        for pair in told.windows(2) {
            let fallen_db = at(pair[0]) - at(pair[1]);
            let told_s = (pair[1].time_s - pair[0].time_s) * 20.0 / std::f64::consts::LN_10 / fallen_db;
            // 2 % asked for; the gate's end at 60 ms cuts off e^{−10} or less.
            assert!((told_s / tail_s - 1.0).abs() < 0.02, "{}: {told_s}", pair[0].time_s);
        }
        let by = |ms: f64| found.slices.iter().find(|slice| (slice.time_s - 1e-3 * ms).abs() < 1e-9).unwrap();
        assert_eq!(found.slices[0].level_db, [Some(0.0), Some(0.0)]);
        // 70 ms are left after 10 ms, which resolve 14.3 Hz, and 50 ms after 30 ms.
        assert!(by(10.0).level_db[0].is_some() && by(30.0).level_db[0].is_none());
    }
}
