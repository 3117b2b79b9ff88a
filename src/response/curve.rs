//! The curve with its uncertainty, and what makes it a level: smoothing, microphone, reference.
//!
//! No equation of its own: see [`super::frequency`], [`super::truncation`], [`super::smooth`] and [`super::microphone`].

use super::LevelReference;
use super::analysis::Settings;
use super::frequency::{FrequencyResponse, GatedResponse, NoiseSource, NoiseThrough, frequency_response};
use super::hearing::Heard;
use super::timeline::Timeline;
use super::truncation::widen_by_truncation;
use super::view::View;
use num_complex::Complex64;

/// The noise that comes through the deconvolution by the loopback, or by the excitation's file.
pub(super) fn noise_through<'a>(
    heard: &'a Heard,
    timeline: &'a Timeline,
    view: &'a View,
    divided_by: DividedBy,
) -> NoiseThrough<'a> {
    let reply = timeline.noise[timeline.noise.len() - 1].as_ref();
    let (drive, reference) = match divided_by {
        DividedBy::Loopback => (heard.drive.as_slice(), timeline.noise[0].as_ref()),
        DividedBy::File => (heard.deconvolution.played(), None),
    };
    let told_by = match reply {
        Some(reply) => NoiseSource::Silences { drive, reply, reference },
        None => NoiseSource::Impulse(&view.before_arrival),
    };
    NoiseThrough { deconvolution: &heard.deconvolution, told_by, repeats: heard.repeats.pieces.len() }
}

/// What a recording is divided by.
#[derive(Clone, Copy)]
pub(super) enum DividedBy {
    Loopback,
    File,
}

/// The response as the gate shows it, with the doubt that the silences' noise leaves.
pub(super) fn plain_response(
    gated: &GatedResponse,
    heard: &Heard,
    timeline: &Timeline,
    settings: &Settings,
    view: &View,
) -> FrequencyResponse {
    frequency_response(gated, &view.grid, view.gate, &noise_of_response(heard, timeline, settings, view))
}

/// The same with the doubt that the gate's end leaves, smoothed where asked for.
pub(super) fn finished_response(
    mut plain: FrequencyResponse,
    gated: &GatedResponse,
    heard: &Heard,
    timeline: &Timeline,
    settings: &Settings,
    view: &View,
) -> FrequencyResponse {
    let noise = noise_of_response(heard, timeline, settings, view);
    widen_by_truncation(&mut plain, gated, &heard.impulse, view.arrived.frames, view.gate, &noise);
    smoothed(plain, gated, view, settings, heard.deconvolution.rate_hz())
}

/// The noise that comes through the division that the response was made by.
pub(super) fn noise_of_response<'a>(
    heard: &'a Heard,
    timeline: &'a Timeline,
    settings: &Settings,
    view: &'a View,
) -> NoiseThrough<'a> {
    let divided_by = if settings.reference.is_some() { DividedBy::Loopback } else { DividedBy::File };
    noise_through(heard, timeline, view, divided_by)
}

fn smoothed(
    plain: FrequencyResponse,
    gated: &GatedResponse,
    view: &View,
    settings: &Settings,
    rate_hz: f64,
) -> FrequencyResponse {
    let Some(fraction) = settings.smoothing else { return plain };
    let (gate, band_hz) = (view.gate, view.valid_hz);
    let resolution_hz = rate_hz / (gate.before_frames + gate.after_frames);
    let FrequencyResponse { grid, mut values, mut u_ratio } = plain;
    for ((&hz, value), u) in grid.hz().iter().zip(&mut values).zip(&mut u_ratio) {
        let power = fraction.mean_power(hz, band_hz, resolution_hz, |f| gated.at(f).norm_sqr());
        // So many independent values are averaged; the phase stays as it is.
        let cells = (fraction.width_hz(hz) / (rate_hz / gate.noise_frames())).max(1.0);
        let magnitude = value.norm().max(f64::MIN_POSITIVE);
        *u *= power.sqrt() / magnitude / cells.sqrt();
        *value *= power.sqrt() / magnitude;
    }
    FrequencyResponse { grid, values, u_ratio }
}

/// What the loopback cable and its input do to the middle of the band: a pressure is counted from the reply itself, so this
/// comes back in where the response was divided by the loopback. 1 for a plain ratio, and without a loopback.
pub(super) fn loopback_gain(heard: &Heard, settings: &Settings) -> f64 {
    if settings.level == LevelReference::ReplyOverDrive || heard.from_file.is_none() {
        return 1.0;
    }
    let [from_hz, to_hz] = heard.deconvolution.pattern().band_hz;
    let middle_hz = if (from_hz..=to_hz).contains(&1_000.0) { 1_000.0 } else { (from_hz * to_hz).sqrt() };
    let bin = |hz: f64| (hz / heard.deconvolution.bin_hz(1)) as usize;
    // A third of an octave.
    let middle = bin(middle_hz / 1.122)..=bin(middle_hz * 1.122);
    let power = |bins: &[Complex64]| bins[middle.clone()].iter().map(|x| x.norm_sqr()).sum::<f64>();
    (power(&heard.drive) / power(heard.deconvolution.played())).sqrt()
}

/// The microphone taken off and the level reference put on.
pub(super) fn calibrated(response: FrequencyResponse, settings: &Settings, loopback_gain: f64) -> FrequencyResponse {
    let FrequencyResponse { grid, mut values, mut u_ratio } = response;
    for ((&hz, value), u) in grid.hz().iter().zip(&mut values).zip(&mut u_ratio) {
        let factor = settings.calibration(hz, loopback_gain);
        *value *= factor;
        *u *= factor.norm();
    }
    FrequencyResponse { grid, values, u_ratio }
}

impl Settings {
    /// What a ratio at a frequency is multiplied by: microphone off, level reference on.
    pub(super) fn calibration(&self, hz: f64, loopback_gain: f64) -> Complex64 {
        let gain = loopback_gain * 10f64.powf(self.level.offset_db() / 20.0);
        let microphone = self.microphone.as_ref().and_then(|table| table.at(hz)).unwrap_or(1.0.into());
        gain / microphone
    }
}
