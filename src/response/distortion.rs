//! Harmonic distortion from the sweep that measured the response.
//!
//! ```text
//! h_n lies L·ln n before the linear response;   H_n(n·f)/H₁(f) = harmonic n over fundamental, excited at f
//! THD_F(f) = √(Σ_{n≥2} |H_n(n·f)/H₁(f)|²)
//! ```
//!
//! The response of harmonic n is cut out with a window of its own, between its neighbours, at its exact fraction of a
//! frame; the fundamental with a window of the same kind: the room counts in both. The windows hold some periods of the
//! fundamental and grow shorter, by octaves, as it rises: that keeps noise out, and what a sampled chain folds back. Each has the noise that its window
//! lets through; a harmonic that does not stand [`MEASURABLE_POWER_RATIO`] above it is "not measurable here".
//! Source: A. Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine technique",
//! AES 108th Convention (2000), preprint 5093; A. Novak et al., J. Audio Eng. Soc. 63 (October 2015) 786–798.

use super::frequency::NoiseThrough;
use super::gate::Gate;
use super::{Pattern, WrappedImpulse};
use crate::math::SpectrumAt;
use crate::quantity::FrequencyGrid;

/// Harmonics against the frequency that excited them.
#[derive(Debug, Clone, PartialEq)]
pub struct Distortion {
    /// The excited frequencies.
    pub grid: FrequencyGrid,
    /// One for each harmonic from the second on.
    pub harmonics: Vec<Harmonic>,
    /// THD re the fundamental as a ratio, at each frequency; absent where no harmonic is measurable.
    pub thd_ratio: Vec<Option<f64>>,
}

/// One harmonic.
#[derive(Debug, Clone, PartialEq)]
pub struct Harmonic {
    /// n.
    pub order: u32,
    /// Harmonic over fundamental, a ratio of amplitudes; absent where it is not measurable or lies out of band.
    pub ratio: Vec<Option<f64>>,
    /// Its standard uncertainty, where it is measurable.
    pub u_ratio: Vec<Option<f64>>,
    /// What the noise alone would give, as a ratio to the fundamental; absent out of band.
    pub floor_ratio: Vec<Option<f64>>,
}

/// The highest harmonic.
pub const HIGHEST_ORDER: u32 = 7;
/// Ours, because noise alone exceeds nine times its mean power in one bin of eight thousand (e⁻⁹).
const MEASURABLE_POWER_RATIO: f64 = 9.0;
/// Share of the distance to the next higher harmonic, which lies before, that a window takes.
const BEFORE_SHARE: f64 = 0.3;
/// Share of the distance to the next lower one, which lies behind.
const AFTER_SHARE: f64 = 0.45;
/// A window never needs more …
const LONGEST_S: f64 = 0.4;
/// … and holds at least so many periods of the fundamental …
const PERIODS: f64 = 40.0;
/// … but is halved at most so many times, to 25 ms: a small room's first sound.
const MOST_HALVINGS: u32 = 4;
/// Just above the sweep's own rise, where the harmonics are still rising, nothing is said: a quarter of an octave.
const EDGE_RATIO: f64 = 1.189_207_115_002_721;
/// A window shorter than this many periods of what it is to show does not show it.
const LEAST_PERIODS: f64 = 3.0;

/// The harmonics of a sweep's impulse response; `None` for any other excitation, or one too short to part them.
///
/// `impulse` must come from the excitation itself, not from a loopback channel, with the arrival at `arrival_frames`.
/// `correction` is what the microphone does to an amplitude at a frequency.
pub fn distortion(
    impulse: &WrappedImpulse,
    arrival_frames: f64,
    pattern: &Pattern,
    noise: &NoiseThrough<'_>,
    correction: impl Fn(f64) -> f64,
) -> Option<Distortion> {
    let rate_constant = pattern.rate_constant_s? * pattern.rate_hz;
    let reader = |longest_s: f64| Reader {
        impulse,
        rate_hz: pattern.rate_hz,
        arrival_frames,
        rate_constant,
        longest_frames: longest_s * pattern.rate_hz,
    };
    let lowest_hz = reader(LONGEST_S).order(1).lowest_hz;
    let band_hz = [pattern.band_hz[0].max(lowest_hz), 0.5 * pattern.band_hz[1]];
    let grid = FrequencyGrid::of_octave_fractions(band_hz, crate::quantity::POINTS_PER_OCTAVE).ok()?;
    let mut harmonics: Vec<Harmonic> = (2..=HIGHEST_ORDER).map(Harmonic::empty).collect();
    for alike in grid.hz().chunk_by(|&one, &other| window_s(one) == window_s(other)) {
        let reader = reader(window_s(alike[0]));
        let first = reader.order(1);
        let heard: Vec<Heard> = (2..=HIGHEST_ORDER).map(|order| reader.order(order)).collect();
        for &hz in alike {
            let fundamental = first.spectrum.at(hz).norm() / correction(hz) / pattern.limiter_in_band(hz).norm();
            for (harmonic, heard) in harmonics.iter_mut().zip(&heard) {
                harmonic.push(heard.point(heard.order * hz, fundamental, pattern, noise, &correction));
            }
        }
    }
    let thd_ratio = (0..grid.hz().len())
        .map(|point| {
            let squares: Vec<f64> =
                harmonics.iter().filter_map(|harmonic| harmonic.ratio[point]).map(|ratio| ratio * ratio).collect();
            (!squares.is_empty()).then(|| squares.iter().sum::<f64>().sqrt())
        })
        .collect();
    Some(Distortion { grid, harmonics, thd_ratio })
}

/// How long the windows are for a fundamental.
fn window_s(fundamental_hz: f64) -> f64 {
    let halvings = (LONGEST_S * fundamental_hz / PERIODS).log2().floor().clamp(0.0, f64::from(MOST_HALVINGS));
    LONGEST_S * (-halvings).exp2()
}

impl Harmonic {
    fn empty(order: u32) -> Self {
        Self { order, ratio: Vec::new(), u_ratio: Vec::new(), floor_ratio: Vec::new() }
    }

    fn push(&mut self, point: Point) {
        self.ratio.push(point.ratio);
        self.u_ratio.push(point.u_ratio);
        self.floor_ratio.push(point.floor_ratio);
    }
}

/// Cuts the harmonics out of an impulse response.
struct Reader<'a> {
    impulse: &'a WrappedImpulse,
    rate_hz: f64,
    arrival_frames: f64,
    /// L in frames.
    rate_constant: f64,
    /// No window is longer.
    longest_frames: f64,
}

/// One harmonic's response.
struct Heard {
    spectrum: SpectrumAt,
    gate: Gate,
    rate_hz: f64,
    lowest_hz: f64,
    order: f64,
}

#[derive(Default)]
struct Point {
    ratio: Option<f64>,
    u_ratio: Option<f64>,
    floor_ratio: Option<f64>,
}

impl Reader<'_> {
    fn order(&self, order: u32) -> Heard {
        let n = f64::from(order);
        let longest = self.longest_frames;
        let to_higher = self.rate_constant * ((n + 1.0) / n).ln();
        let to_lower = if order > 1 { self.rate_constant * (n / (n - 1.0)).ln() } else { f64::MAX };
        let before = (BEFORE_SHARE * to_higher).min(0.25 * longest).max(1.0);
        let gate = Gate::around(before, (AFTER_SHARE * to_lower).min(longest).max(1.0));
        let arrival = self.arrival_frames - self.rate_constant * n.ln();
        let (first, _) = gate.span(arrival);
        let spectrum = SpectrumAt::new(&gate.cut(self.impulse, arrival), self.rate_hz, arrival - first as f64);
        let lowest_hz = LEAST_PERIODS * self.rate_hz / (gate.before_frames + gate.after_frames);
        Heard { spectrum, gate, rate_hz: self.rate_hz, lowest_hz, order: n }
    }
}

impl Heard {
    fn point(
        &self,
        heard_hz: f64,
        fundamental: f64,
        pattern: &Pattern,
        noise: &NoiseThrough<'_>,
        correction: impl Fn(f64) -> f64,
    ) -> Point {
        let lowest_hz = self.lowest_hz.max(self.order * EDGE_RATIO * pattern.band_hz[0]);
        if heard_hz > pattern.band_hz[1] || heard_hz < lowest_hz || fundamental <= 0.0 || fundamental.is_nan() {
            return Point::default();
        }
        let corrected = correction(heard_hz);
        let limiter = pattern.limiter_in_band(heard_hz).norm();
        let amplitude = self.spectrum.at(heard_hz).norm() / corrected / limiter;
        let frames = self.gate.noise_frames();
        let power = frames * noise.density(heard_hz, self.rate_hz / frames, 0.0) / (corrected * corrected);
        let measurable = amplitude * amplitude > MEASURABLE_POWER_RATIO * power;
        Point {
            ratio: measurable.then_some(amplitude / fundamental),
            u_ratio: measurable.then_some((0.5 * power).sqrt() / fundamental),
            floor_ratio: Some(power.sqrt() / fundamental),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::response::{Deconvolution, NoiseDensity, NoiseSource};
    use crate::signal::{Marks, Sequence, SweepSettings};
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 24_000.0;
    /// Lead of silence in front of the sweep.
    const DELAY_FRAMES: usize = 24_000;

    fn pattern() -> Pattern {
        let rate = SampleRate::new(24_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 100.0, to_hz: 9_000.0, lowest_hz: None, duration_s: 1.5 };
        let sequence = Sequence { sweep, level_dbfs: 0.0, repeats: 1, marks: Marks::None, pause_s: 0.5 };
        Pattern::of(&sequence.excitation().unwrap()).unwrap()
    }

    /// sin φ + a₂·sin(2φ + 0.7) + a₃·sin 3φ with the sweep's phase φ, in closed form and as loud as `pattern` is.
    fn recorded(pattern: &Pattern, second: f64, third: f64, noise_rms: f64) -> Vec<f64> {
        let mut random = Random::new(4);
        let [first_hz, _] = pattern.played_hz;
        let rate_constant_s = pattern.rate_constant_s.unwrap();
        let frames = pattern.samples.len();
        (0..DELAY_FRAMES + frames + 24_000)
            .map(|frame| {
                let noise = noise_rms * random.normal();
                if !(DELAY_FRAMES..DELAY_FRAMES + frames).contains(&frame) {
                    return noise;
                }
                let time_s = (frame - DELAY_FRAMES) as f64 / RATE_HZ;
                let phase_rad = TAU * first_hz * rate_constant_s * (time_s / rate_constant_s).exp();
                // Harmonics above half the rate would fold back.
                let heard =
                    |order: f64| f64::from(order * first_hz * (time_s / rate_constant_s).exp() < 0.49 * RATE_HZ);
                let harmonics =
                    second * heard(2.0) * (2.0 * phase_rad + 0.7).sin() + third * heard(3.0) * (3.0 * phase_rad).sin();
                // The fades of the sweep belong to the amplifier's input.
                let envelope = if phase_rad.sin().abs() > 1e-3 {
                    pattern.samples[frame - DELAY_FRAMES] / phase_rad.sin()
                } else {
                    1.0
                };
                pattern.samples[frame - DELAY_FRAMES] + envelope.clamp(0.0, 1.0) * harmonics + noise
            })
            .collect()
    }

    fn heard(recorded: &[f64], density: f64, correction: impl Fn(f64) -> f64) -> Distortion {
        let pattern = pattern();
        let deconvolution = Deconvolution::new(&pattern, recorded.len());
        let impulse = deconvolution.impulse_of(recorded);
        let drive = deconvolution.played().to_vec();
        let reply = NoiseDensity::white(density);
        let told_by = NoiseSource::Silences { drive: &drive, reply: &reply, reference: None };
        let noise = NoiseThrough { deconvolution: &deconvolution, told_by, repeats: 1 };
        distortion(&impulse, DELAY_FRAMES as f64, &pattern, &noise, correction).unwrap()
    }

    #[test]
    fn harmonics_put_in_by_hand_come_out_where_and_as_large_as_they_were_put_in() {
        let found = heard(&recorded(&pattern(), 0.01, 0.003, 0.0), 1e-20, |_| 1.0);
        // The second harmonic of half the band's upper end is the last that can be heard.
        let highest_hz = found.grid.hz()[found.grid.hz().len() - 1];
        assert!((4_400.0..=4_500.0 + 1.0).contains(&highest_hz), "{highest_hz}");
        for (point, &hz) in found.grid.hz().iter().enumerate() {
            // A third of an octave inside what is told at each end, where the windows don't see the ends.
            for (harmonic, expected) in [(0, 0.01), (1, 0.003)] {
                let order = (harmonic + 2) as f64;
                let ratio = found.harmonics[harmonic].ratio[point];
                if (400.0..7_000.0 / order).contains(&hz) {
                    // 2 % (0.2 dB): the ends of a sweep of 1.5 s ripple.
                    assert!((ratio.unwrap() / expected - 1.0).abs() < 0.02, "{order} {hz}: {ratio:?}");
                }
                assert_eq!(
                    ratio.is_some(),
                    hz * order <= 9_000.0 && found.harmonics[harmonic].floor_ratio[point].is_some()
                );
            }
            // A quarter of an octave above the rise nothing is said yet.
            let silent = found.harmonics.iter().all(|harmonic| harmonic.floor_ratio[point].is_none());
            assert!(silent || hz >= 118.9, "{hz}");
            if (400.0..2_300.0).contains(&hz) {
                let squares: f64 = found.harmonics.iter().filter_map(|h| h.ratio[point]).map(|r| r * r).sum();
                assert!((found.thd_ratio[point].unwrap() / 0.01f64.hypot(0.003) - 1.0).abs() < 0.02);
                assert!((found.thd_ratio[point].unwrap().powi(2) / squares - 1.0).abs() < 1e-12);
            }
        }
    }

    /// A microphone that makes everything above 3 kHz twice as loud shows harmonics there twice as large, unless corrected.
    #[test]
    fn the_microphone_is_taken_off_the_harmonic_and_the_fundamental_each_at_its_own_frequency() {
        let plain = recorded(&pattern(), 0.01, 0.0, 0.0);
        let step = |hz: f64| if hz > 3_000.0 { 2.0 } else { 1.0 };
        let floors = |found: &Distortion, point: usize| found.harmonics[0].floor_ratio[point];
        let (before_all, after_all) = (heard(&plain, 1e-20, |_| 1.0), heard(&plain, 1e-20, step));
        for (point, &hz) in before_all.grid.hz().iter().enumerate() {
            let ratios = [&before_all, &after_all].map(|found| found.harmonics[0].ratio[point]);
            if let [Some(before), Some(after)] = ratios {
                // 1e-12: two divisions.
                assert!((after / before * step(2.0 * hz) / step(hz) - 1.0).abs() < 1e-12, "{hz}");
                let floor = floors(&after_all, point).unwrap() / floors(&before_all, point).unwrap();
                assert!((floor * step(2.0 * hz) / step(hz) - 1.0).abs() < 1e-12, "{hz}");
            }
        }
    }

    #[test]
    fn what_noise_leaves_is_no_harmonic_and_its_floor_is_its_own_size() {
        // Noise as strong as −40 dB: a third harmonic of −120 dB drowns, a second of −20 dB does not.
        let found = heard(&recorded(&pattern(), 0.1, 1e-6, 0.01), 1e-4, |_| 1.0);
        let (mut squares, mut count, mut told, mut asked) = (0.0, 0.0, 0, 0);
        for (point, &hz) in found.grid.hz().iter().enumerate() {
            if (400.0..3_000.0).contains(&hz) {
                let second = &found.harmonics[0];
                squares += ((second.ratio[point].unwrap() - 0.1) / second.u_ratio[point].unwrap()).powi(2);
                count += 1.0;
            }
            asked += i32::from((400.0..2_500.0).contains(&hz));
            told += i32::from((400.0..2_500.0).contains(&hz) && found.harmonics[1].ratio[point].is_some());
        }
        // 0.6 … 1.4: neighbouring points share a window; about 60 of 140 values are independent, √(1/2/60) is 0.09, and
        // the fundamental's noise and ripple, which u leaves out, add a little.
        let scatter = f64::sqrt(squares / count);
        assert!((0.6..1.4).contains(&scatter), "{scatter}");
        // e⁻⁹ of the points on average; 3 % would be neighbours of one outlier.
        assert!(told * 100 <= 3 * asked, "{told} of {asked}");
        // The floor is the noise's rms, √2 times the scatter of one component.
        let second = &found.harmonics[0];
        let point = found.grid.hz().iter().position(|&hz| hz > 1_000.0).unwrap();
        let ratio = second.floor_ratio[point].unwrap() / second.u_ratio[point].unwrap();
        assert!((ratio - std::f64::consts::SQRT_2).abs() < 1e-12);
    }

    #[test]
    fn only_a_sweep_parts_its_harmonics() {
        let mut pattern = pattern();
        pattern.rate_constant_s = None;
        let deconvolution = Deconvolution::new(&pattern, 1_000);
        let impulse = deconvolution.impulse_of(&[1.0; 1_000]);
        let reply = NoiseDensity::white(1.0);
        let noise = NoiseThrough { deconvolution: &deconvolution, told_by: NoiseSource::Impulse(&reply), repeats: 1 };
        assert!(distortion(&impulse, 0.0, &pattern, &noise, |_| 1.0).is_none());
    }
}
