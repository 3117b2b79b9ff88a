//! What can happen to the samples of a channel, each with its size in plain units.
//!
//! ```text
//! y(t) = Σ x[k]·sinc(t − k)·w(t − k)        w: Kaiser's window over ±40 samples, β = 10
//! ```
//!
//! the samples between the samples, for clocks that run otherwise: 100 dB exact up to 0.9 of half the sample rate.
//! Samples are full scale ±1; `at` is a frame.
#![allow(dead_code)] // each table takes what fits its captures

use boxwright::math::{Kaiser, Random};
use boxwright::signal::SampleFormat;
use std::f64::consts::{PI, TAU};

/// Cut at ±limit, as a converter does.
pub fn clip(samples: &mut [f64], limit: f64) {
    samples.iter_mut().for_each(|x| *x = x.clamp(-limit, limit));
}

/// Which halves a limiter bends.
#[derive(Clone, Copy, PartialEq)]
pub enum Halves {
    Both,
    Upper,
}

/// Straight up to the knee, then bent towards the limit: `knee + (limit − knee)·tanh((|x| − knee)/(limit − knee))`.
pub fn limit_softly(samples: &mut [f64], knee: f64, limit: f64, halves: Halves) {
    for x in samples {
        let size = x.abs();
        if size > knee && (halves == Halves::Both || *x > 0.0) {
            *x = x.signum() * (knee + (limit - knee) * ((size - knee) / (limit - knee)).tanh());
        }
    }
}

/// To steps of a converter of so many bits.
pub fn round(samples: &mut [f64], bits: i32) {
    let steps = 2f64.powi(bits - 1);
    samples.iter_mut().for_each(|x| *x = (*x * steps).round().clamp(-steps, steps - 1.0) / steps);
}

/// As a file of that format holds them, clipped at full scale by integers.
pub fn stored(samples: &[f64], format: SampleFormat) -> Vec<f64> {
    let mut stored = samples.to_vec();
    match format {
        SampleFormat::Float32 => stored.iter_mut().for_each(|x| *x = f64::from(*x as f32)),
        SampleFormat::Float64 => (),
        format => round(&mut stored, i32::from(format.bits())),
    }
    stored
}

pub fn gain(samples: &mut [f64], gain_db: f64) {
    let factor = 10f64.powf(gain_db / 20.0);
    samples.iter_mut().for_each(|x| *x *= factor);
}

pub fn white_noise(samples: &mut [f64], rms: f64, random: &mut Random) {
    samples.iter_mut().for_each(|x| *x += rms * random.normal());
}

/// Noise through a pole at `corner_hz`, as rooms and traffic have.
pub fn low_noise(samples: &mut [f64], rms: f64, corner_hz: f64, rate_hz: f64, random: &mut Random) {
    let pole = (-TAU * corner_hz / rate_hz).exp();
    let drive = rms * (1.0 - pole * pole).sqrt();
    let mut state = 0.0;
    for x in samples {
        state = pole * state + drive * random.normal();
        *x += state;
    }
}

/// A mains hum of peak 1·`peak`: the harmonics 1 to 7 fall with their order, odd ones stronger.
pub fn hum(samples: &mut [f64], peak: f64, mains_hz: f64, rate_hz: f64, random: &mut Random) {
    for order in 1..=7 {
        let height = peak / f64::from(order) * if order % 2 == 0 { 0.4 } else { 1.0 };
        tone(samples, height, mains_hz * f64::from(order), rate_hz, TAU * random.uniform());
    }
}

/// A steady sine.
pub fn tone(samples: &mut [f64], peak: f64, hz: f64, rate_hz: f64, phase_rad: f64) {
    for (frame, x) in samples.iter_mut().enumerate() {
        *x += peak * (TAU * hz / rate_hz * frame as f64 + phase_rad).sin();
    }
}

/// A buffer that never came: what follows is earlier.
pub fn lose(samples: &mut Vec<f64>, at: usize, frames: usize) {
    let at = at.min(samples.len());
    samples.drain(at..(at + frames).min(samples.len()));
}

/// A buffer that came as silence.
pub fn silence(samples: &mut [f64], at: usize, frames: usize) {
    let end = (at + frames).min(samples.len());
    samples[at.min(end)..end].fill(0.0);
}

/// A buffer that came twice, in place of the next one.
pub fn repeat(samples: &mut [f64], at: usize, frames: usize) {
    for frame in at..(at + frames).min(samples.len().saturating_sub(frames)) {
        samples[frame + frames] = samples[frame];
    }
}

/// A buffer that was put in twice: what follows is later.
pub fn insert(samples: &mut Vec<f64>, at: usize, frames: usize) {
    let at = at.min(samples.len());
    let copy: Vec<f64> = samples[at.saturating_sub(frames)..at].to_vec();
    samples.splice(at..at, copy);
}

/// One bad sample.
pub fn click(samples: &mut [f64], at: usize, height: f64) {
    if let Some(x) = samples.get_mut(at) {
        *x += height;
    }
}

pub fn cut_begin(samples: &mut Vec<f64>, frames: usize) {
    samples.drain(..frames.min(samples.len()));
}

pub fn cut_end(samples: &mut Vec<f64>, frames: usize) {
    samples.truncate(samples.len().saturating_sub(frames));
}

/// A level that moves from 0 dB at frame `span.start` to `end_db` at `span.end`, and stays there.
pub fn drift_level(samples: &mut [f64], span: std::ops::Range<usize>, end_db: f64) {
    let frames = span.len().max(1) as f64;
    for (frame, x) in samples.iter_mut().enumerate().skip(span.start) {
        let share = ((frame - span.start) as f64 / frames).min(1.0);
        *x *= 10f64.powf(end_db * share / 20.0);
    }
}

pub fn offset(samples: &mut [f64], by: f64) {
    samples.iter_mut().for_each(|x| *x += by);
}

/// An offset that swings: slow noise, below a tenth of `fastest_hz` mostly.
pub fn wander(samples: &mut [f64], rms: f64, fastest_hz: f64, rate_hz: f64, random: &mut Random) {
    low_noise(samples, rms, fastest_hz, rate_hz, random);
}

/// A door: a burst through a pole at 150 Hz that dies away in a quarter of a second.
pub fn slam(samples: &mut [f64], at: usize, peak: f64, rate_hz: f64, random: &mut Random) {
    let pole = (-TAU * 150.0 / rate_hz).exp();
    let drive = 0.4 * peak * (1.0 - pole * pole).sqrt();
    let mut state = 0.0;
    for (frame, x) in samples.iter_mut().skip(at).take(rate_hz as usize).enumerate() {
        state = pole * state + drive * random.normal();
        *x += state * (-(frame as f64) / (0.08 * rate_hz)).exp();
    }
}

/// A voice: 130 Hz with its harmonics to 3 kHz, in syllables of a quarter of a second.
pub fn voice(samples: &mut [f64], span: std::ops::Range<usize>, peak: f64, rate_hz: f64, random: &mut Random) {
    let orders: Vec<(f64, f64, f64)> = (1..=23)
        .map(|order| (f64::from(order), TAU * random.uniform(), 0.4 * peak / f64::from(order).sqrt()))
        .collect();
    let mut phase = 0.0;
    for (frame, x) in samples.iter_mut().enumerate().take(span.end).skip(span.start) {
        let time_s = (frame - span.start) as f64 / rate_hz;
        phase += TAU * (130.0 + 15.0 * (TAU * 1.3 * time_s).sin()) / rate_hz;
        let syllable = (PI * 4.0 * time_s).sin().powi(2);
        *x += syllable * orders.iter().map(|(order, at, height)| height * (order * phase + at).sin()).sum::<f64>();
    }
}

/// A car that passes: noise below 300 Hz that swells and fades over the span.
pub fn car(samples: &mut [f64], span: std::ops::Range<usize>, rms: f64, rate_hz: f64, random: &mut Random) {
    let mut noise = vec![0.0; span.len()];
    low_noise(&mut noise, rms, 300.0, rate_hz, random);
    for (frame, (x, noise)) in samples.iter_mut().skip(span.start).zip(&noise).enumerate() {
        *x += noise * (PI * frame as f64 / span.len() as f64).sin().powi(2);
    }
}

/// A telephone: 2 kHz, three times a tenth of a second.
pub fn beep(samples: &mut [f64], at: usize, peak: f64, rate_hz: f64) {
    for (frame, x) in samples.iter_mut().skip(at).take((0.5 * rate_hz) as usize).enumerate() {
        if ((frame as f64 / rate_hz / 0.1) as usize).is_multiple_of(2) {
            *x += peak * (TAU * 2_000.0 * frame as f64 / rate_hz).sin();
        }
    }
}

/// Silence wherever the last 20 ms were quieter than the threshold (rms): opens at once, closes over 50 ms.
pub fn gate_noise(samples: &mut [f64], threshold: f64, rate_hz: f64) {
    let fall = (-1.0 / (0.02 * rate_hz)).exp();
    let close = (-1.0 / (0.05 * rate_hz)).exp();
    let (mut power, mut open) = (0.0, 1.0);
    for x in samples {
        power = fall * power + (1.0 - fall) * *x * *x;
        open = if power > threshold * threshold { 1.0 } else { close * open };
        *x *= open;
    }
}

/// A gain that brings the mean of `time_s` to `target` (rms) by so much of the way in dB, at most 20 dB up.
pub fn automatic_gain(samples: &mut [f64], target: f64, share: f64, time_s: f64, rate_hz: f64) {
    let fall = (-1.0 / (time_s * rate_hz)).exp();
    let mut power = target * target;
    for x in samples {
        power = fall * power + (1.0 - fall) * *x * *x;
        let wanted = (target * target / power.max(1e-12)).sqrt().powf(share);
        *x *= wanted.min(10.0);
    }
}

/// What a recorder hears whose clock is fast by `ppm`: frame n holds the time n/(1 + δ).
pub fn drift_clock(samples: &[f64], ppm: f64) -> Vec<f64> {
    let ratio = 1.0 + 1e-6 * ppm;
    let frames = (samples.len() as f64 * ratio) as usize;
    read_at(samples, (0..frames).map(|n| n as f64 / ratio))
}

/// The same where the clock swings by ± `swing_s` in `period_s`.
pub fn wander_clock(samples: &[f64], swing_s: f64, period_s: f64, rate_hz: f64) -> Vec<f64> {
    let turn = TAU / (period_s * rate_hz);
    read_at(samples, (0..samples.len()).map(|n| n as f64 + swing_s * rate_hz * (turn * n as f64).sin()))
}

/// Read at the wrong speed: `ratio` times as many frames.
pub fn resample(samples: &[f64], ratio: f64) -> Vec<f64> {
    let frames = (samples.len() as f64 * ratio) as usize;
    read_at(samples, (0..frames).map(|n| n as f64 / ratio))
}

/// Samples between the samples.
fn read_at(samples: &[f64], places: impl Iterator<Item = f64>) -> Vec<f64> {
    const REACH: i64 = 40;
    const STEPS: usize = 2_048;
    let bell = Kaiser::new(10.0);
    let window: Vec<f64> = (0..=STEPS + 1).map(|n| bell.at((n as f64 / STEPS as f64).min(1.0))).collect();
    let count = samples.len() as i64;
    places
        .map(|place| {
            let whole = place.floor();
            let part = place - whole;
            if part == 0.0 {
                return samples.get(whole as usize).copied().unwrap_or(0.0);
            }
            let sine = (PI * part).sin() / PI;
            let near = whole as i64;
            let (first, last) = ((near - REACH + 1).max(0), (near + REACH).min(count - 1));
            let mut sum = 0.0;
            for index in first..=last {
                let off = part + (near - index) as f64;
                let at = off.abs() / REACH as f64 * STEPS as f64;
                let (step, rest) = (at as usize, at.fract());
                let weight = window[step] + rest * (window[step + 1] - window[step]);
                let sign = if (near - index) % 2 == 0 { 1.0 } else { -1.0 };
                sum += samples[index as usize] * sign * sine / off * weight;
            }
            sum
        })
        .collect()
}

/// An echo: `gain` times itself, `frames` later; a comb if it is short, a second path if it is long.
pub fn echo(samples: &mut [f64], frames: usize, gain: f64) {
    for frame in (frames..samples.len()).rev() {
        samples[frame] += gain * samples[frame - frames];
    }
}
