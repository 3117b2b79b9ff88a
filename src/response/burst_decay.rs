//! Burst decay: how many periods each note goes on after a short burst of it.
//!
//! ```text
//! e(f, t) = |(2/L)·Σ_k X[k]·G((f_k − f)/f)·e^{2πi·f_k·t}|        G(x) = exp(−x²/(2σ²)),  σ = 1/(2π·m)
//! p = f·t
//! ```
//!
//! X: spectrum of the gated impulse response, f_k its frequencies; G: the spectrum of a burst of f under a Gaussian bell whose
//! standard deviation is m = [`BELL_PERIODS`] periods. e falls with the bell at first (−70 dB after four periods) and then by what rings. Counted in
//! periods the same Q looks the same at all frequencies: 27.3/Q dB a period.
//! Source: S. Linkwitz, "Shaped Tone-Burst Testing", J. Audio Eng. Soc. 28 (April 1980) 250–258, from memory (bursts with a smooth bell); the
//! axis in periods is common practice.

use super::Gate;
use super::analysis::ImpulseResponse;
use crate::math::{Spectrum, good_length};
use crate::quantity::db_from_amplitude;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A map of levels over frequency and periods.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BurstDecay {
    /// The frequencies.
    pub hz: Vec<f64>,
    /// p: periods after the arrival, in even steps from 0.
    pub periods: Vec<f64>,
    /// For each frequency, dB re the burst's own maximum at each p; as many as the gate's flat part holds.
    pub level_db: Vec<Vec<f64>>,
    /// What the noise alone would give at each frequency, in the same dB.
    pub floor_db: Vec<f64>,
}

/// m.
const BELL_PERIODS: f64 = 1.0;
/// What lies further from a place than so many periods does not count there: e^{−4.5} of the bell.
const REACH_PERIODS: f64 = 3.0;
/// The map ends here …
const MOST_PERIODS: f64 = 40.0;
/// … and goes by such steps.
const STEP_PERIODS: f64 = 0.5;
/// A frequency is shown where the gate holds at least so many.
const LEAST_PERIODS: f64 = 3.0;
/// Share of a gate that is flat.
const FLAT_SHARE: f64 = 0.75;
/// The burst's maximum lies within these.
const LOUDEST_PERIODS: f64 = 4.0;

/// The envelopes of bursts at any frequency.
pub(super) struct Bursts {
    lowest_hz: f64,
    octaves: Vec<Octave>,
}

/// The impulse response as the bursts of one octave need it: no longer than their periods.
struct Octave {
    bins: Vec<Complex64>,
    length: usize,
    rate_hz: f64,
    arrival: f64,
    /// Flat part of the gate, s.
    flat_s: f64,
}

/// So many envelopes are summed side by side.
const TOGETHER: usize = 8;
/// Deviations of the bell that are counted to each side.
const BELL_REACH: f64 = 5.0;

impl Bursts {
    /// Of what `gate` lets through, for frequencies from `lowest_hz` up.
    pub fn new(impulse: &ImpulseResponse, rate_hz: f64, gate: Gate, lowest_hz: f64) -> Self {
        let count = ((0.5 * rate_hz / lowest_hz).log2().ceil() as i32).max(1);
        let octave = |n: i32| Octave::new(impulse, rate_hz, gate, lowest_hz * f64::from(n).exp2());
        Self { lowest_hz, octaves: (0..count).map(octave).collect() }
    }

    fn octave(&self, hz: f64) -> &Octave {
        let place = (hz / self.lowest_hz).log2().floor().max(0.0) as usize;
        &self.octaves[place.min(self.octaves.len() - 1)]
    }

    /// Periods of `hz` that the gate shows.
    pub fn shown_periods(&self, hz: f64) -> f64 {
        (self.octave(hz).flat_s * hz - REACH_PERIODS).min(MOST_PERIODS)
    }

    /// The complex envelope at these periods after the arrival, the turning of `hz` itself taken off.
    pub fn envelope(&self, hz: f64, periods: impl Iterator<Item = f64>) -> Vec<Complex64> {
        self.octave(hz).envelope(hz, periods)
    }

    /// Root mean square of the envelope of white noise whose samples have the power `density`.
    pub fn noise(&self, hz: f64, density: f64) -> f64 {
        let octave = self.octave(hz);
        let squares: f64 = octave.bell(hz).1.iter().map(|weight| weight * weight).sum();
        (4.0 * density * squares / octave.length as f64).sqrt()
    }

    /// The burst's own maximum.
    pub fn loudest(&self, hz: f64) -> f64 {
        let periods = steps(LOUDEST_PERIODS.min(self.shown_periods(hz)));
        self.envelope(hz, periods.into_iter()).iter().map(|e| e.norm()).fold(f64::MIN_POSITIVE, f64::max)
    }
}

impl Octave {
    fn new(impulse: &ImpulseResponse, rate_hz: f64, gate: Gate, lowest_hz: f64) -> Self {
        // What comes after the last period that is shown would only make the transform longer.
        let needed =
            Gate::around(gate.before_frames, (MOST_PERIODS + REACH_PERIODS) / (FLAT_SHARE * lowest_hz) * rate_hz);
        let gate = if needed.after_frames < gate.after_frames { needed } else { gate };
        let first = (impulse.arrival_index - gate.before_frames).max(0.0) as usize;
        let end = ((impulse.arrival_index + gate.after_frames).ceil() as usize).min(impulse.samples.len());
        let weighed: Vec<f64> = (first.min(end)..end)
            .map(|index| impulse.samples[index] * gate.weight(index as f64 - impulse.arrival_index))
            .collect();
        let around = (2.0 * REACH_PERIODS * rate_hz / lowest_hz) as usize;
        let length = good_length(weighed.len() + around);
        let flat_s = (gate.after_frames - gate.fall_frames) / rate_hz;
        Self {
            bins: Spectrum::new(length).bins(&weighed),
            length,
            rate_hz,
            arrival: impulse.arrival_index - first as f64,
            flat_s,
        }
    }

    fn envelope(&self, hz: f64, periods: impl Iterator<Item = f64>) -> Vec<Complex64> {
        let (first, weights) = self.bell(hz);
        let weighed: Vec<Complex64> =
            self.bins[first..].iter().zip(&weights).map(|(bin, weight)| bin * *weight).collect();
        let turns: Vec<[Complex64; 2]> = periods
            .map(|periods| {
                // Places in frames of the transform; the turn of the first bin, then from bin to bin.
                let turn_rad = TAU * (self.arrival + periods / hz * self.rate_hz) / self.length as f64;
                let from = Complex64::cis(turn_rad * first as f64 - TAU * periods) * (2.0 / self.length as f64);
                [from, Complex64::cis(turn_rad)]
            })
            .collect();
        turns.chunks(TOGETHER).flat_map(|some| sums(&weighed, some)).collect()
    }

    /// The bell on the bins around `hz`: first bin and weights.
    fn bell(&self, hz: f64) -> (usize, Vec<f64>) {
        let step_hz = self.rate_hz / self.length as f64;
        let width_hz = hz / (TAU * BELL_PERIODS);
        let first = ((hz - BELL_REACH * width_hz) / step_hz).ceil().max(1.0) as usize;
        let last = (((hz + BELL_REACH * width_hz) / step_hz).floor() as usize).min(self.bins.len() - 1);
        let weight = |bin: usize| (-0.5 * ((bin as f64 * step_hz - hz) / width_hz).powi(2)).exp();
        (first.min(last), (first.min(last)..=last).map(weight).collect())
    }
}

/// Σ values[k]·from·turnᵏ for up to [`TOGETHER`] pairs of from and turn, by Horner's rule: each step of it waits for the one before, several
/// side by side do not.
fn sums(values: &[Complex64], pairs: &[[Complex64; 2]]) -> Vec<Complex64> {
    let turn = |index: usize| pairs.get(index).map_or(Complex64::ZERO, |pair| pair[1]);
    let turn_re: [f64; TOGETHER] = std::array::from_fn(|index| turn(index).re);
    let turn_im: [f64; TOGETHER] = std::array::from_fn(|index| turn(index).im);
    let (mut re, mut im) = ([0.0; TOGETHER], [0.0; TOGETHER]);
    for value in values.iter().rev() {
        for at in 0..TOGETHER {
            let turned_re = re[at] * turn_re[at] - im[at] * turn_im[at] + value.re;
            im[at] = re[at] * turn_im[at] + im[at] * turn_re[at] + value.im;
            re[at] = turned_re;
        }
    }
    pairs.iter().enumerate().map(|(at, pair)| pair[0] * Complex64::new(re[at], im[at])).collect()
}

fn steps(most_periods: f64) -> Vec<f64> {
    (0..=(most_periods / STEP_PERIODS).floor().max(0.0) as usize).map(|n| STEP_PERIODS * n as f64).collect()
}

/// The map of what `bursts` hold at the frequencies `hz` that show at least some periods; `density`: power of one sample of noise.
pub(super) fn burst_decay(bursts: &Bursts, hz: &[f64], density: impl Fn(f64) -> f64) -> BurstDecay {
    let hz: Vec<f64> = hz.iter().copied().filter(|&hz| bursts.shown_periods(hz) >= LEAST_PERIODS).collect();
    let mut map = BurstDecay { periods: steps(MOST_PERIODS), ..BurstDecay::default() };
    for &hz in &hz {
        let periods = steps(bursts.shown_periods(hz));
        let envelope = bursts.envelope(hz, periods.iter().copied());
        let loudest = bursts.loudest(hz);
        // −200 dB is rounding.
        map.level_db.push(envelope.iter().map(|e| db_from_amplitude((e.norm() / loudest).max(1e-10))).collect());
        map.floor_db.push(db_from_amplitude((bursts.noise(hz, density(hz)) / loudest).max(1e-10)));
    }
    map.hz = hz;
    map
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    fn impulse(sample: impl Fn(f64) -> f64) -> ImpulseResponse {
        let arrival = 480.3;
        let samples = (0..9_600).map(|n| sample((f64::from(n) - arrival) / 48_000.0)).collect();
        ImpulseResponse { samples, arrival_index: arrival }
    }

    /// A resonance of Q falls by 20·π/ln 10/Q = 27.29/Q dB a period, closed form.
    #[test]
    fn a_resonance_falls_by_27_db_over_q_a_period() {
        for (hz, q) in [(500.0, 12.0), (3_000.0, 25.0)] {
            let rings = |time_s: f64| {
                if time_s < 0.0 {
                    0.0
                } else {
                    (-std::f64::consts::PI * hz / q * time_s).exp() * (TAU * hz * time_s).sin()
                }
            };
            let gate = Gate::around(100.0, 0.15 * 48_000.0);
            let bursts = Bursts::new(&impulse(rings), 48_000.0, gate, 300.0);
            let map = burst_decay(&bursts, &[hz], |_| 1e-30);
            let at = |periods: f64| map.level_db[0][(periods / STEP_PERIODS) as usize];
            // 1 %: the bell is long over.
            let slope = (at(8.0) - at(28.0)) / 20.0;
            assert!((slope * q / 27.2875 - 1.0).abs() < 0.01, "{hz} {q}: {slope}");
            assert!(at(4.0) < 0.0 && map.level_db[0].iter().copied().fold(-999.0, f64::max) <= 1e-9);
        }
    }

    /// A click alone is gone with the bell, e^{−p²/2}: closed form.
    #[test]
    fn a_click_is_gone_with_the_bell() {
        let click = ImpulseResponse {
            samples: (0..4_800).map(|n| f64::from(u8::from(n == 480))).collect(),
            arrival_index: 480.0,
        };
        let bursts = Bursts::new(&click, 48_000.0, Gate::around(100.0, 2_400.0), 500.0);
        let map = burst_decay(&bursts, &[1_000.0], |_| 1e-30);
        let bell = |periods: f64| 20.0 * (-0.5 * periods * periods).exp().log10();
        for periods in [1.0, 2.0, 3.0] {
            // 0.01 dB: the bell is cut at five deviations.
            let found = map.level_db[0][(periods / STEP_PERIODS) as usize];
            assert!((found - bell(periods)).abs() < 0.01, "{periods}: {found}");
        }
    }

    #[test]
    fn the_floor_is_the_noise_of_the_envelope() {
        let mut random = Random::new(5);
        let noise: Vec<f64> = (0..96_000).map(|_| 0.01 * random.normal()).collect();
        let bursts = Bursts::new(
            &ImpulseResponse { samples: noise, arrival_index: 100.0 },
            48_000.0,
            Gate::around(90.0, 90_000.0),
            500.0,
        );
        let envelope = bursts.envelope(1_000.0, (0..1_000).map(f64::from));
        let power = envelope.iter().map(|e| e.norm_sqr()).sum::<f64>() / 1_000.0;
        // 10 %: a thousand periods hold about 280 independent values of two degrees of freedom each.
        assert!((power.sqrt() / bursts.noise(1_000.0, 1e-4) - 1.0).abs() < 0.1);
    }
}
