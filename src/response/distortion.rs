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
