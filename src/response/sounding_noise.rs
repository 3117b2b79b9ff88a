//! Noise that is there while the sweep sounds, and not in the silences: a car, a voice, what a limiter or a gate makes.
//!
//! ```text
//! D(f) = ⟨|DFT{w·h}|²⟩/(Σw²·|B(f)|²)        u² = max(u², ½·N·D)
//! ```
//!
//! h: impulse response shortly before the arrival, where no linear system has anything; w: Hann's window; B: band limiter;
//! N: noise frames of the gate. At each frequency h holds there what was recorded a moment after the sweep had passed it: noise of the same time and
//! frequency as that in the response itself. Where D is far above what the silences' noise gives, the silences are the wrong witness, and D takes
//! its place. Between the second harmonic's response and the arrival there is room for bands of some periods; lower ones tell nothing, and are
//! taken to be as much louder as the lowest one that tells.
//! A band speaks where D is [`STANDARD_ERRORS`] above the expected power; with that, none of 200 clean captures of
//! `examples/damage_table` was accused.
//! Derivation: as in [`super::frequency`]. Ours, because a capture tells its own noise best where the sweep is.

use super::frequency::{FrequencyResponse, NoiseThrough};
use super::view::View;
use super::{Pattern, WrappedImpulse};
use crate::math::{Spectrum, good_length, median};
use std::f64::consts::TAU;

/// A stretch of the band that more noise reached than the silences hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Louder {
    pub band_hz: [f64; 2],
    /// Over the noise of the silences at worst, as amplitudes.
    pub times: f64,
    /// The largest standard uncertainty of a level that follows, dB.
    pub worst_u_db: f64,
}

/// Share of the time from the second harmonic to the arrival that is free of both.
const FREE_SHARE: f64 = 0.75;
/// Any other signal has no harmonics there.
const LONGEST_S: f64 = 0.3;
/// A window holds so many periods where there is room …
const PERIODS: f64 = 16.0;
/// … at least so many …
const LEAST_PERIODS: f64 = 4.0;
/// … and is no shorter.
const SHORTEST_S: f64 = 0.012;
const BAND_RATIO: f64 = 1.259_921_049_894_873;
/// The power of n values scatters by √(1/n); the silences' own noise is told to a third.
const STANDARD_ERRORS: f64 = 8.0;
const NOISE_TOLD_RATIO: f64 = 1.5;
/// Less than this of the response in the gate, a power, moves no level by more than 0.02 dB: 52 dB down.
const HARMLESS_POWER: f64 = 6e-6;

/// Puts noise that the silences don't hold into the uncertainty of `response`; says where it counts.
pub(super) fn widen_by_sounding_noise(
    response: &mut FrequencyResponse,
    impulse: &WrappedImpulse,
    view: &View,
    noise: &NoiseThrough<'_>,
) -> Option<Louder> {
    let pattern = noise.deconvolution.pattern();
    let end = view.arrived.frames - view.gate.before_frames;
    let free_s = pattern.rate_constant_s.map_or(LONGEST_S, |l| FREE_SHARE * l * 2f64.ln());
    let room_frames = (free_s.min(LONGEST_S) * pattern.rate_hz - view.gate.before_frames).max(0.0);
    let mut louder: Option<Louder> = None;
    let (mut from, mut untold) = (0, 0);
    while from < response.grid.hz().len() {
        let hz = response.grid.hz()[from];
        let to = response.grid.hz().partition_point(|&other| other < hz * BAND_RATIO).max(from + 1);
        let band_hz = [hz, hz * BAND_RATIO];
        let found = density_before(impulse, end, room_frames, band_hz, pattern);
        if found.is_none() && untold == from {
            untold = to;
        }
        if let Some(found) = found {
            let magnitude = median_magnitude(&response.values[from..to]);
            let expected = noise.density((band_hz[0] * band_hz[1]).sqrt(), band_hz[1] - band_hz[0], magnitude);
            let chance = NOISE_TOLD_RATIO * (1.0 + STANDARD_ERRORS / found.values.sqrt());
            let u_power = 0.5 * view.gate.noise_frames() * found.power;
            if found.power > chance * expected && u_power > HARMLESS_POWER * magnitude * magnitude {
                for u in &mut response.u_ratio[from..to] {
                    *u = u.max(u_power.sqrt());
                }
                let is_lowest = from == untold;
                if is_lowest {
                    // What can't be told lies below, and noise from outside seldom ends there.
                    let times = (found.power / expected.max(f64::MIN_POSITIVE)).sqrt();
                    response.u_ratio[..untold].iter_mut().for_each(|u| *u *= times);
                }
                let now = Louder {
                    band_hz: [if is_lowest { response.grid.hz()[0] } else { band_hz[0] }, band_hz[1]],
                    times: (found.power / expected.max(f64::MIN_POSITIVE)).sqrt(),
                    worst_u_db: 20.0 / std::f64::consts::LN_10 * u_power.sqrt() / magnitude,
                };
                louder = Some(louder.map_or(now, |before| before.joined(now)));
            }
        }
        from = to;
    }
    louder
}

impl Louder {
    fn joined(self, other: Self) -> Self {
        Self {
            band_hz: [self.band_hz[0], other.band_hz[1]],
            times: self.times.max(other.times),
            worst_u_db: self.worst_u_db.max(other.worst_u_db),
        }
    }
}

/// Power of one sample of what lies before an arrival, in a band, and how many independent values told it.
struct Density {
    power: f64,
    values: f64,
}

fn density_before(
    impulse: &WrappedImpulse,
    end: f64,
    room_frames: f64,
    band_hz: [f64; 2],
    pattern: &Pattern,
) -> Option<Density> {
    let period_frames = pattern.rate_hz / band_hz[0];
    let frames = (PERIODS * period_frames).max(SHORTEST_S * pattern.rate_hz).min(room_frames);
    if frames < LEAST_PERIODS * period_frames || frames < 64.0 {
        return None;
    }
    let frames = frames as usize;
    let first = end.floor() as i64 - frames as i64;
    let window = |n: usize| 0.5 - 0.5 * (TAU * (n as f64 + 0.5) / frames as f64).cos();
    let cut: Vec<f64> = impulse.cut(first, frames).iter().enumerate().map(|(n, x)| x * window(n)).collect();
    let length = good_length(2 * frames);
    let bins = Spectrum::new(length).bins(&cut);
    let bin = |hz: f64| ((hz * length as f64 / pattern.rate_hz).round() as usize).min(bins.len() - 1);
    let band = bin(band_hz[0])..=bin(band_hz[1]);
    let count = band.clone().count() as f64;
    let limited = |bin: usize| pattern.limiter_power_in_band(bin as f64 * pattern.rate_hz / length as f64);
    let sum: f64 = band.map(|bin| bins[bin].norm_sqr() / limited(bin).max(f64::MIN_POSITIVE)).sum();
    // Σw² of Hann's window is three eighths; its noise bandwidth is 1.5 bins of its length.
    let values = ((band_hz[1] - band_hz[0]) * frames as f64 / pattern.rate_hz / 1.5).max(1.0);
    Some(Density { power: sum / count / (0.375 * frames as f64), values })
}

fn median_magnitude(values: &[num_complex::Complex64]) -> f64 {
    median(values.iter().map(|value| value.norm()).collect()).unwrap_or(0.0).max(f64::MIN_POSITIVE)
}

#[cfg(test)]
mod tests {
    use crate::math::Random;
    use crate::quantity::{Code, SampleRate};
    use crate::response::{Settings, analyse};
    use crate::signal::{Marks, Recording, SampleFormat, Sequence, SweepSettings};

    /// A sweep through half of its amplitude, in white noise 86 dB below full scale that is `times` as strong while the sweep sounds.
    fn told(times: f64) -> (f64, bool) {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 50.0, to_hz: 18_000.0, lowest_hz: None, duration_s: 2.0 };
        let sequence = Sequence { sweep, level_dbfs: -6.0, repeats: 1, marks: Marks::BeforeAndAfter, pause_s: 0.5 };
        let excitation = sequence.excitation().unwrap();
        let start = excitation.plan.starts[0];
        let sounding = start - 12_000..start + excitation.plan.frames + 12_000;
        let mut random = Random::new(8);
        let noise = |frame: usize| if sounding.contains(&frame) { 5e-5 * times } else { 5e-5 };
        let samples =
            excitation.samples.iter().enumerate().map(|(n, x)| 0.5 * x + noise(n) * random.normal()).collect();
        let recording = Recording { rate, channels: vec![samples], format: SampleFormat::Float64 };
        let found = analyse(&recording, &excitation, &Settings::of_reply(0)).unwrap();
        let place = found.response.grid.hz().partition_point(|&hz| hz < 8_000.0);
        let disturbed = found.findings.iter().any(|finding| finding.code == Code::Disturbed);
        (found.response.u_ratio[place], disturbed)
    }

    #[test]
    fn noise_that_comes_with_the_sweep_is_in_the_uncertainty_and_is_told() {
        let (quiet, none) = told(1.0);
        let (loud, some) = told(200.0);
        assert!(!none && some);
        // Within a half of 200 times: some ten values tell a third of an octave there.
        assert!((0.5..2.0).contains(&(loud / quiet / 200.0)), "{quiet} {loud}");
    }
}
