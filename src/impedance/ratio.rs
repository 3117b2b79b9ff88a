//! The load's voltage over the drive's, from a recording of both.
//!
//! ```text
//! h = L/D                H(f) = Σ h[n]·w[n]·e^{−2πifn/f_s} / Σ b[n]·w[n]·e^{−2πifn/f_s}
//! u²(H) = Σw²·N(f)/(2·K·|D(f)|²)
//! ```
//!
//! L, D: spectra of the two channels over one repeat; w: a window from the moment of the drive on, b: the band limiter's
//! own response ([`GatedResponse`]); N: noise of `l − H·d` ([`super::silence`]); K: repeats. Both channels are read by
//! one clock, so neither latency nor the player's clock has a part in H, and nothing is shifted: the time of the drive
//! is time zero. The repeats are averaged as ratios, which needs no alignment between them.
//!
//! The window is as long as what may ring: a resonance of quality Q falls by e in Q/(πf). For a loudspeaker it is
//! 400 periods long, so that of a resonance of Q = 100 less than 10⁻⁵ is cut off, and 2 s at most; a resistor does not
//! ring and gets a quarter. Where the recording ends earlier after the moment at which a sweep passed f, so does the window.
//! Hum of amplitude a at f₀ adds `|a_l − H·a_d|·|W(f − f₀)|/(2·|D|)`, of unknown phase; repeats may lie at the same phase of
//! the mains, so their number does not help against it. W: the window's spectrum. What the silences tell of it is taken off
//! first ([`super::hum`]); the doubt is of what is left.

use super::ImpedanceError;
use super::hum::{Line, without_hum};
use super::silence::{LeastPower, PairNoise};
use crate::math::mean_around;
use crate::quantity::FrequencyGrid;
use crate::response::{
    Cut, Deconvolution, Gate, GatedResponse, Interruption, NoiseDensity, NoiseSource, NoiseThrough, Pattern, Repeats,
    ResponseError, WrappedImpulse, admit, foreign, interruption, locate, silences,
};
use crate::signal::{Excitation, Recording};
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::ops::Range;

/// A recording of a jig, what was played, and which channel is which (from 0).
#[derive(Debug, Clone, Copy)]
pub struct JigCapture<'a> {
    /// What was recorded.
    pub recording: &'a Recording,
    /// What was played.
    pub excitation: &'a Excitation,
    /// The channel before the sense resistor.
    pub drive: usize,
    /// The channel across the load.
    pub load: usize,
}

/// What hangs in the jig, as far as it rings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ringing {
    Loudspeaker,
    Resistor,
}

/// A jig's capture, cut into its repeats.
pub(super) struct Heard {
    pub pattern: Pattern,
    pub deconvolution: Deconvolution,
    pub load: Repeats,
    pub drive: Repeats,
    /// Repeats that lie whole in the recording, disturbed or not.
    pub whole: usize,
    /// What broke into repeats, each with the repeat's number (from 0).
    pub interruptions: Vec<(usize, Interruption)>,
    pub cut: Cut,
    pub offset_frames: i64,
    /// First frame of each repeat in the excitation.
    pub starts: Vec<usize>,
    /// Noise of the silences; absent where there is none.
    pub noise: Option<PairNoise>,
    /// Load and drive channel without the mains' hum; absent where there is none, or nothing tells it well enough.
    pub without_hum: Option<[Vec<f64>; 2]>,
    /// Frames of the recording in which nothing is played.
    pub silences: Vec<Range<usize>>,
    /// From the first to the last frame of the repeats.
    pub sounding: Range<usize>,
}

/// H on a grid.
pub(super) struct ChannelRatio {
    pub values: Vec<Complex64>,
    /// Standard uncertainty of real and imaginary part by noise, or by the repeats' spread where that is larger.
    pub u_noise: Vec<f64>,
    /// The same by the noise of the silences alone.
    pub u_silence: Vec<f64>,
    /// The same by hum.
    pub u_hum: Vec<f64>,
    /// Noise at frequencies closer than this is the same noise.
    pub resolution_hz: Vec<f64>,
    /// H of each repeat.
    pub each: Vec<Vec<Complex64>>,
    /// Where the repeats lie further apart than the noise explains.
    pub disagreement: Option<Disagreement>,
}

/// Where the repeats lie further apart than the noise explains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Disagreement {
    pub worst_hz: f64,
    /// Spread over noise there, as amplitudes.
    pub times: f64,
}

/// A window never needs more …
const LONGEST_S: f64 = 2.0;
/// … than so many periods for a resonance of Q = 100: e^(−400π/100) = 3.5·10⁻⁶.
const PERIODS: f64 = 400.0;
/// What a resistor's window has of it: half a second at 20 Hz, which holds what the inputs' own lower ends do.
const RESISTOR_SHARE: f64 = 0.25;
/// Nor is it shorter than this, however early the recording ends.
const SHORTEST_S: f64 = 0.01;
/// It opens this long before the drive, softly, so that hum does not spread …
const BEFORE_S: f64 = 0.15;
/// … but reaches no more than this share of the way to the second harmonic's own response.
const HARMONIC_SHARE: f64 = 0.4;
/// Points to each side over which the repeats' spread is averaged, a third of an octave in all.
const REACH: usize = 8;
/// The spread counts where it stands so many of its own standard errors above the noise …
const STANDARD_ERRORS: f64 = 5.0;
/// … and above what any converter does to two equal sounds …
const LEAST_SPREAD: f64 = 1e-6;
/// … the noise being told by the silences to a sixth or so.
const NOISE_TOLD_RATIO: f64 = 1.3;

impl Heard {
    /// # Errors
    /// [`ImpedanceError::Response`] when the recording holds no whole repeat of the excitation, `SameChannel`.
    pub(super) fn new(capture: &JigCapture<'_>) -> Result<Self, ImpedanceError> {
        let JigCapture { recording, excitation, drive, load } = *capture;
        if drive == load {
            return Err(ImpedanceError::SameChannel { channel: drive + 1 });
        }
        admit(recording, excitation, &[drive, load])?;
        let pattern = Pattern::of(excitation)?;
        let plan = &excitation.plan;
        let [loaded, driven] = [load, drive].map(|channel| recording.channels[channel].as_slice());
        let offset_frames = locate(driven, drive, plan, &pattern)?.offset_frames;
        if loaded.iter().all(|&sample| sample == 0.0) {
            return Err(ResponseError::Silent { channel: load + 1 }.into());
        }
        let cut = Cut::of(plan, pattern.rate_hz, offset_frames, recording.frames());
        let sounding = sounding_frames(excitation, offset_frames, recording.frames());
        let silences = silences(plan, offset_frames, recording.frames(), pattern.rate_hz);
        let rounding = |samples: &[f64]| recording.format.rounding_power(rms(&samples[sounding.clone()]).max(1e-9));
        let least = LeastPower { load: rounding(loaded), drive: rounding(driven) };
        let mut noise = PairNoise::of([loaded, driven], &silences, pattern.rate_hz, least);
        let without_hum = noise.as_mut().and_then(|noise| {
            let rests = with_pauses(&silences, excitation, offset_frames);
            without_hum([loaded, driven], &rests, &mut noise.lines, pattern.rate_hz)
        });
        let clean = without_hum.as_ref().map_or([loaded, driven], |channels| [&channels[0], &channels[1]]);
        let [all_load, all_drive] = clean.map(|samples| Repeats::cut(samples, plan, offset_frames, cut));
        let whole = all_load.pieces.len();
        if whole == 0 {
            let (recorded_s, sweep_s) = (recording.duration_s(), pattern.samples.len() as f64 / pattern.rate_hz);
            return Err(ResponseError::NoWholeSweep { recorded_s, sweep_s }.into());
        }
        let deconvolution = Deconvolution::new(&pattern, cut.before + cut.after);
        let interruptions = interruptions(&deconvolution, [&all_drive, &all_load], cut);
        let broken: Vec<usize> = (0..whole)
            .filter(|&index| interruptions.iter().any(|(number, _)| *number == all_load.numbers[index]))
            .collect();
        // Where all are broken into, all are used.
        let left_out = if broken.len() < whole { broken } else { Vec::new() };
        let [load, drive] = [all_load, all_drive].map(|repeats| repeats.without(&left_out));
        Ok(Self {
            pattern,
            deconvolution,
            load,
            drive,
            whole,
            interruptions,
            cut,
            offset_frames,
            starts: plan.starts.clone(),
            noise,
            without_hum,
            silences,
            sounding,
        })
    }

    /// H at the frequencies of `grid`, which must lie in the excitation's band.
    pub(super) fn ratio(&mut self, grid: &FrequencyGrid, ringing: Ringing) -> ChannelRatio {
        let hz = grid.hz();
        let windows: Vec<Gate> = hz.iter().map(|&hz| self.window(hz, ringing)).collect();
        let mut each = Vec::new();
        let mut first = None;
        for index in 0..self.load.pieces.len() {
            let (impulse, drive) = self.impulse(index);
            each.push(self.read(&impulse, hz, &windows));
            first.get_or_insert((impulse, drive));
        }
        let (impulse, drive) = first.expect("a whole repeat");
        let count = each.len() as f64;
        let values: Vec<Complex64> =
            (0..hz.len()).map(|point| each.iter().map(|one| one[point]).sum::<Complex64>() / count).collect();
        let mut u_noise = self.u_noise(hz, &values, &windows, (&impulse, &drive));
        let u_silence = u_noise.clone();
        let u_hum = self.u_hum(hz, &values, &windows, &drive);
        let resolution_hz: Vec<f64> =
            windows.iter().map(|window| self.pattern.rate_hz / window.noise_frames()).collect();
        let disagreement = widen_by_spread(&mut u_noise, hz, &values, &each, &resolution_hz);
        ChannelRatio { values, u_noise, u_silence, u_hum, resolution_hz, each, disagreement }
    }

    /// What turns the drive of one repeat into its load, and the spectrum of that drive.
    fn impulse(&mut self, index: usize) -> (WrappedImpulse, Vec<Complex64>) {
        let load = self.deconvolution.spectrum(&self.load.pieces[index]);
        let drive = self.deconvolution.spectrum(&self.drive.pieces[index]);
        (self.deconvolution.impulse(&load, &drive), drive)
    }

    /// w at a frequency: its length is halved from the longest as often as needed, so that few are different.
    fn window(&self, hz: f64, ringing: Ringing) -> Gate {
        let rate_hz = self.pattern.rate_hz;
        let passed_s = match self.pattern.rate_constant_s {
            Some(constant_s) => constant_s * (hz / self.pattern.played_hz[0]).ln(),
            None => self.pattern.samples.len() as f64 / rate_hz,
        };
        let left_s = (self.cut.after as f64 / rate_hz - passed_s).max(SHORTEST_S);
        let share = if ringing == Ringing::Resistor { RESISTOR_SHARE } else { 1.0 };
        let wanted_s = share * LONGEST_S.min(PERIODS / hz);
        let halvings = (LONGEST_S / wanted_s.min(left_s).max(SHORTEST_S)).log2().ceil().max(0.0);
        let after_frames = LONGEST_S * rate_hz / halvings.exp2();
        let to_harmonic_s = self.pattern.rate_constant_s.map_or(f64::MAX, |l| HARMONIC_SHARE * l * 2f64.ln());
        let before_frames = BEFORE_S.min(to_harmonic_s) * rate_hz;
        Gate { before_frames, after_frames, fall_frames: 0.25 * after_frames }
    }

    fn read(&self, impulse: &WrappedImpulse, hz: &[f64], windows: &[Gate]) -> Vec<Complex64> {
        let points: Vec<(f64, Gate)> = hz.iter().copied().zip(windows.iter().copied()).collect();
        let alike = points.chunk_by(|one, other| one.1 == other.1);
        alike
            .flat_map(|points| {
                let gated = GatedResponse::new(impulse, 0.0, points[0].1, &self.deconvolution);
                points.iter().map(|(hz, _)| gated.at(*hz)).collect::<Vec<_>>()
            })
            .collect()
    }

    fn u_noise(
        &self,
        hz: &[f64],
        values: &[Complex64],
        windows: &[Gate],
        (impulse, drive): (&WrappedImpulse, &[Complex64]),
    ) -> Vec<f64> {
        let of_impulse = self.noise_before(impulse);
        let repeats = self.load.pieces.len();
        let one = |((&hz, &value), window): ((&f64, &Complex64), &Gate)| {
            let bandwidth_hz = self.pattern.rate_hz / window.noise_frames();
            let white = self.noise.as_ref().map(|noise| NoiseDensity::white(noise.density(hz, value)));
            let told_by = match &white {
                Some(reply) => NoiseSource::Silences { drive, reply, reference: None },
                None => NoiseSource::Impulse(&of_impulse),
            };
            let through = NoiseThrough { deconvolution: &self.deconvolution, told_by, repeats };
            (0.5 * window.noise_frames() * through.density(hz, bandwidth_hz, 0.0)).sqrt()
        };
        hz.iter().zip(values).zip(windows).map(one).collect()
    }

    /// Noise of the ratio's own impulse response before the drive, for recordings without silence.
    fn noise_before(&self, impulse: &WrappedImpulse) -> NoiseDensity {
        let rate_hz = self.pattern.rate_hz;
        let to_harmonic_s = self.pattern.rate_constant_s.map_or(f64::MAX, |l| 0.8 * l * 2f64.ln());
        let frames = ((to_harmonic_s - BEFORE_S).clamp(0.01, 0.5) * rate_hz) as usize;
        let first = -((BEFORE_S * rate_hz) as i64) - frames as i64;
        let cut = impulse.cut(first, frames);
        let whole = std::slice::from_ref(&(0..frames)).to_vec();
        NoiseDensity::of(&cut, &whole, rate_hz, f64::MIN_POSITIVE).unwrap_or(NoiseDensity::white(f64::MIN_POSITIVE))
    }

    fn u_hum(&self, hz: &[f64], values: &[Complex64], windows: &[Gate], drive: &[Complex64]) -> Vec<f64> {
        let lines = self.noise.as_ref().map_or(&[][..], |noise| noise.lines.as_slice());
        let step_hz = self.deconvolution.bin_hz(1);
        let one = |((&hz, &value), window): ((&f64, &Complex64), &Gate)| {
            let of_line = |line: &Line| {
                let reach = window_spectrum(window, hz - line.hz, self.pattern.rate_hz);
                let amplitude = line.left_ratio * (line.load - value * line.drive).norm();
                let driven = drive[((line.hz / step_hz).round() as usize).min(drive.len() - 1)].norm();
                0.5 * (amplitude * reach / (2.0 * driven.max(f64::MIN_POSITIVE))).powi(2)
            };
            let near = lines.iter().filter(|line| (line.hz - hz).abs() < HUM_REACH_HZ);
            near.map(of_line).sum::<f64>().sqrt()
        };
        hz.iter().zip(values).zip(windows).map(one).collect()
    }
}

/// Beyond this the spectrum of a window that opens in a tenth of a second has faded to nothing.
const HUM_REACH_HZ: f64 = 200.0;

/// |W| at a frequency near zero: a sum in steps of a millisecond, which is fine enough for [`HUM_REACH_HZ`].
fn window_spectrum(window: &Gate, off_hz: f64, rate_hz: f64) -> f64 {
    let step = 1e-3 * rate_hz;
    let count = ((window.before_frames + window.after_frames) / step) as usize;
    let turn = Complex64::cis(-TAU * off_hz * 1e-3);
    let mut turned = Complex64::ONE;
    let mut sum = Complex64::ZERO;
    for n in 0..=count {
        sum += turned * window.weight(n as f64 * step - window.before_frames);
        turned *= turn;
    }
    sum.norm() * step
}

/// What broke into each of the repeats of both channels.
fn interruptions(deconvolution: &Deconvolution, channels: [&Repeats; 2], cut: Cut) -> Vec<(usize, Interruption)> {
    let mut found: Vec<(usize, Interruption)> = Vec::new();
    for repeats in channels {
        for (piece, &number) in repeats.pieces.iter().zip(&repeats.numbers) {
            if found.iter().all(|(known, _)| *known != number)
                && let Some(event) =
                    interruption(deconvolution, piece, &deconvolution.impulse_of(piece), cut.before, cut.before as i64)
            {
                found.push((number, event));
            }
        }
    }
    foreign(found, channels[0].pieces.len())
}

/// The silences, and of each pause between repeats the later part, in which the load has come to rest.
fn with_pauses(silences: &[Range<usize>], excitation: &Excitation, offset_frames: i64) -> Vec<Range<usize>> {
    let plan = &excitation.plan;
    let last = silences.iter().map(|range| range.end).max().unwrap_or(0);
    let pauses = plan.starts.windows(2).map(|pair| {
        let pause = pair[1].saturating_sub(pair[0] + plan.frames);
        let [from, to] = [pair[1] - pause / 2, pair[1] - pause / 20].map(|frame| offset_frames + frame as i64);
        from.max(0) as usize..(to.max(0) as usize).min(last)
    });
    let mut all: Vec<Range<usize>> = silences.iter().cloned().chain(pauses).filter(|range| !range.is_empty()).collect();
    all.sort_by_key(|range| range.start);
    all
}

/// From the first to the last frame of the repeats.
fn sounding_frames(excitation: &Excitation, offset_frames: i64, frames: usize) -> Range<usize> {
    let plan = &excitation.plan;
    let inside = |frame: usize| (offset_frames + frame as i64).clamp(0, frames as i64) as usize;
    let first = plan.starts.first().copied().unwrap_or(0);
    let last = plan.starts.last().copied().unwrap_or(0) + plan.frames;
    inside(first)..inside(last)
}

pub(super) fn rms(samples: &[f64]) -> f64 {
    (samples.iter().map(|x| x * x).sum::<f64>() / samples.len().max(1) as f64).sqrt()
}

/// Puts the repeats' spread in the place of the noise where it is larger; says where it is largest.
fn widen_by_spread(
    u_noise: &mut [f64],
    hz: &[f64],
    values: &[Complex64],
    each: &[Vec<Complex64>],
    resolution_hz: &[f64],
) -> Option<Disagreement> {
    let count = each.len() as f64;
    if each.len() < 2 {
        return None;
    }
    let of_point = |point: usize| {
        let squares: f64 = each.iter().map(|one| (one[point] - values[point]).norm_sqr()).sum();
        squares / (2.0 * count * (count - 1.0))
    };
    let spread: Vec<f64> = (0..hz.len()).map(of_point).collect();
    let spread = mean_around(&spread, |_| REACH);
    let noise = mean_around(&u_noise.iter().map(|u| u * u).collect::<Vec<_>>(), |_| REACH);
    let mut worst: Option<Disagreement> = None;
    for point in 0..hz.len() {
        let [from, to] = [point.saturating_sub(REACH), (point + REACH).min(hz.len() - 1)];
        let independent = ((hz[to] - hz[from]) / resolution_hz[point]).clamp(1.0, (to - from + 1) as f64);
        let scatter = STANDARD_ERRORS / ((count - 1.0) * independent).sqrt();
        let power_ratio = spread[point] / noise[point].max(f64::MIN_POSITIVE);
        let is_seen = spread[point].sqrt() > LEAST_SPREAD * values[point].norm();
        if is_seen && power_ratio > NOISE_TOLD_RATIO * (1.0 + scatter) {
            u_noise[point] = u_noise[point].max(spread[point].sqrt());
            let times = power_ratio.sqrt();
            if worst.is_none_or(|worst| times > worst.times) {
                worst = Some(Disagreement { worst_hz: hz[point], times });
            }
        }
    }
    worst
}
