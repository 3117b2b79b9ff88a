//! Recordings of a jig with a closed form: the excitation filtered exactly, in the frequency domain, with nothing of the
//! analysis.
#![allow(dead_code, missing_docs)] // each test file uses its part
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use boxwright::math::{InverseSpectrum, Random, Spectrum, good_length};
use boxwright::quantity::SampleRate;
use boxwright::signal::{Excitation, Marks, Recording, SampleFormat, Sequence, SweepSettings};
use num_complex::Complex64;
use std::f64::consts::TAU;

pub const RATE_HZ: f64 = 48_000.0;
/// Frames of latency before the excitation.
const LATE: usize = 3_000;

/// A jig as it is built.
#[derive(Debug, Clone, Copy)]
pub struct Twin {
    pub sense_ohm: f64,
    pub lead_ohm: f64,
    /// Gain of the load channel over the drive channel.
    pub gain: Complex64,
    /// Noise of each channel, rms.
    pub noise: f64,
    /// Hum in the load channel: frequency and peak.
    pub hum: Option<(f64, f64)>,
    pub seed: u64,
}

impl Default for Twin {
    fn default() -> Self {
        Self { sense_ohm: 10.0, lead_ohm: 0.0, gain: Complex64::ONE, noise: 0.0, hum: None, seed: 1 }
    }
}

pub fn excitation(repeats: u32, level_dbfs: f64) -> Excitation {
    let rate = SampleRate::new(RATE_HZ as u32).unwrap();
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 3.0 };
    Sequence { sweep, level_dbfs, repeats, marks: Marks::BeforeAndAfter, pause_s: 0.5 }.excitation().unwrap()
}

/// A 5-inch driver with an inductance that falls: R + jωL + motional, in closed form.
pub fn driver_ohm(hz: f64) -> Complex64 {
    driver_of(hz, 42.0, 5.6)
}

pub fn driver_of(hz: f64, fs_hz: f64, re_ohm: f64) -> Complex64 {
    let jx = Complex64::new(0.0, hz / fs_hz);
    let (qms, qes) = (5.0, 0.5);
    re_ohm + Complex64::new(0.0, TAU * hz) * 0.3e-3 + (5.6 / qes) / (1.0 / qms + jx + jx.inv())
}

impl Twin {
    /// The recording of a jig with a load in it: channel 0 drive, channel 1 load.
    pub fn record(&self, excitation: &Excitation, load: impl Fn(f64) -> Complex64) -> Recording {
        self.record_repeats(excitation, |_, hz| load(hz))
    }

    /// The same with a load that differs from repeat to repeat.
    pub fn record_repeats(&self, excitation: &Excitation, load: impl Fn(usize, f64) -> Complex64) -> Recording {
        let frames = excitation.samples.len() + LATE + 12_000;
        let mut drive = vec![0.0; frames];
        drive[LATE..LATE + excitation.samples.len()].copy_from_slice(&excitation.samples);
        let loaded = self.loaded(excitation, &drive, load);
        let mut random = Random::new(self.seed);
        let hum = |n: usize| self.hum.map_or(0.0, |(hz, peak)| peak * (TAU * hz * n as f64 / RATE_HZ + 0.7).sin());
        let noisy = |samples: Vec<f64>, random: &mut Random| -> Vec<f64> {
            samples.into_iter().map(|x| x + self.noise * random.normal()).collect()
        };
        let loaded: Vec<f64> = loaded.into_iter().enumerate().map(|(n, x)| x + hum(n)).collect();
        let channels = vec![noisy(drive, &mut random), noisy(loaded, &mut random)];
        Recording { rate: excitation.rate, channels, format: SampleFormat::Float64 }
    }

    /// Each repeat is filtered by itself, with what lies around it, and all are added.
    fn loaded(&self, excitation: &Excitation, drive: &[f64], load: impl Fn(usize, f64) -> Complex64) -> Vec<f64> {
        let plan = &excitation.plan;
        // Long enough that what wraps around has died away.
        let length = good_length(drive.len() + 96_000);
        let mut sum = vec![0.0; drive.len()];
        for (repeat, &start) in plan.starts.iter().enumerate() {
            let from = if repeat == 0 { 0 } else { start + LATE };
            let end = plan.starts.get(repeat + 1).map_or(drive.len(), |next| next + LATE);
            let mut part = vec![0.0; drive.len()];
            part[from..end].copy_from_slice(&drive[from..end]);
            let mut bins = Spectrum::new(length).bins(&part);
            for (bin, value) in bins.iter_mut().enumerate() {
                let hz = (bin as f64 * RATE_HZ / length as f64).max(1e-3);
                let across = load(repeat, hz) + self.lead_ohm;
                // An open load draws nothing.
                *value *= self.gain * if across.norm() < 1e9 { across / (across + self.sense_ohm) } else { 1.0.into() };
            }
            let filtered = InverseSpectrum::new(length).samples(&bins);
            sum.iter_mut().zip(filtered).for_each(|(sum, x)| *sum += x);
        }
        sum
    }
}
