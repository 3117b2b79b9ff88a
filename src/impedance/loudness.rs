//! How large the signal was: the voltage across the load, and the harmonics it makes there.
//!
//! ```text
//! V(f) = V_fs·p·|L(f)|/(√2·|X(f)|)
//! ```
//!
//! L, X: spectra of the load channel and of the excitation's file; p: the file's peak; V_fs: peak voltage that a sample value of 1
//! stands for. A sweep passes each frequency with the amplitude p; other signals have no such amplitude.
//!
//! A driver's parameters are those of a small signal. Derivation of the limit: a suspension whose stiffness is `k·(1 + βx²)` has
//! its resonance at `f_s·(1 + ⅜βX²)` for a motion of amplitude X, and the force of its third harmonic, ¼βX²·kX, moves the cone
//! above f_s with the velocity `(3/32)·βX²` of the fundamental's: one percent of f_s comes with a quarter of a percent of third
//! harmonic. A stiffness `k·(1 + αx)` that differs inwards and outwards makes a second harmonic in proportion to αX but moves
//! f_s only by `(5/12)·(αX)²` of it; so the third one is what counts.

use super::ratio::Heard;
use crate::response::{Distortion, NoiseDensity, NoiseSource, NoiseThrough, distortion};
use crate::signal::{Plan, Recording};
use num_complex::Complex64;

/// The voltage across the load, as rms values of a sine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadVoltage {
    /// At the highest peak of the impedance; absent without a peak.
    pub at_peak_v: Option<f64>,
    /// In the middle of all points.
    pub median_v: f64,
    /// At the loudest point.
    pub highest_v: f64,
}

/// Harmonics of the load's voltage around the resonance, the drive's own taken off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LoadHarmonics {
    /// All of them.
    pub ratio: f64,
    /// The largest third harmonic near the resonance; zero where none can be told from the noise.
    pub third_ratio: f64,
    pub at_hz: f64,
}

/// Where the third harmonic stands among those from the second on.
const THIRD: usize = 1;
/// Half of an octave to each side of the resonance.
const REACH_RATIO: f64 = std::f64::consts::SQRT_2;

/// The load channel's amplitude at each frequency, in sample values (peak); `None` for anything but a sweep.
pub(super) fn load_amplitudes(heard: &mut Heard, plan: &Plan, hz: &[f64]) -> Option<Vec<f64>> {
    plan.sweep?;
    let loaded = heard.deconvolution.spectrum(&heard.load.pieces[0]);
    let peak = 10f64.powf(plan.level_dbfs / 20.0);
    let step_hz = heard.deconvolution.bin_hz(1);
    // Over a 48th of an octave, so that a bin's noise does not count.
    let power = |bins: &[Complex64], hz: f64| {
        let first = ((hz * 0.993 / step_hz).round() as usize).min(bins.len() - 1);
        let last = ((hz * 1.007 / step_hz).round() as usize).clamp(first, bins.len() - 1);
        bins[first..=last].iter().map(|bin| bin.norm_sqr()).sum::<f64>()
    };
    let played = heard.deconvolution.played();
    Some(hz.iter().map(|&hz| peak * (power(&loaded, hz) / power(played, hz)).sqrt()).collect())
}

/// The voltages of amplitudes at the points of a curve whose highest peak is at the point `peak`.
pub(super) fn load_voltage(amplitudes: &[f64], peak: Option<usize>, full_scale_v: f64) -> LoadVoltage {
    let volts = |amplitude: f64| full_scale_v * amplitude * std::f64::consts::FRAC_1_SQRT_2;
    let mut sorted = amplitudes.to_vec();
    sorted.sort_by(f64::total_cmp);
    LoadVoltage {
        at_peak_v: peak.map(|at| volts(amplitudes[at])),
        median_v: volts(sorted[sorted.len() / 2]),
        highest_v: volts(sorted[sorted.len() - 1]),
    }
}

/// The largest harmonics around a resonance; `None` where none can be told from the noise.
pub(super) fn load_harmonics(
    heard: &mut Heard,
    recording: &Recording,
    channels: [usize; 2],
    peak_hz: f64,
) -> Option<LoadHarmonics> {
    let [of_load, of_drive] = [0, 1].map(|which| {
        let piece = if which == 0 { heard.load.mean() } else { heard.drive.mean() };
        let quiet = heard.without_hum.as_ref().map(|quiet| quiet[which].clone());
        harmonics(heard, quiet.as_deref().unwrap_or(&recording.channels[channels[which]]), &piece)
    });
    let (load, drive) = (of_load?, of_drive?);
    let near = |hz: f64| (peak_hz / REACH_RATIO..=peak_hz * REACH_RATIO).contains(&hz);
    let points = load.grid.hz().iter().enumerate().filter(|(_, hz)| near(**hz));
    let found = points.filter_map(|(at, &at_hz)| {
        let own = drive.thd_ratio[at].unwrap_or(0.0);
        let ratio = (load.thd_ratio[at]?.powi(2) - own * own).max(0.0).sqrt();
        Some(LoadHarmonics { ratio, third_ratio: 0.0, at_hz })
    });
    let largest = found.max_by(|a, b| a.ratio.total_cmp(&b.ratio))?;
    let third = |of: &Distortion, at: usize| of.harmonics.get(THIRD).and_then(|harmonic| harmonic.ratio[at]);
    let near = load.grid.hz().iter().enumerate().filter(|(_, hz)| near(**hz));
    let thirds = near.filter_map(|(at, _)| {
        Some((third(&load, at)?.powi(2) - third(&drive, at).unwrap_or(0.0).powi(2)).max(0.0).sqrt())
    });
    Some(LoadHarmonics { third_ratio: thirds.fold(0.0, f64::max), ..largest })
}

fn harmonics(heard: &mut Heard, samples: &[f64], piece: &[f64]) -> Option<Distortion> {
    let impulse = heard.deconvolution.impulse_of(piece);
    let rate_hz = heard.pattern.rate_hz;
    let density = NoiseDensity::of(samples, &heard.silences, rate_hz, f64::MIN_POSITIVE)?;
    let noise = NoiseThrough {
        deconvolution: &heard.deconvolution,
        told_by: NoiseSource::Silences { drive: heard.deconvolution.played(), reply: &density, reference: None },
        repeats: heard.load.pieces.len(),
    };
    distortion(&impulse, heard.cut.before as f64, &heard.pattern, &noise, |_| 1.0)
}
