//! From samples to a response in a few lines: `cargo run --example response`.
//!
//! A known system, a one-pole low-pass of 2 kHz behind 100 frames of delay, is played a sweep; what `analyse` finds is
//! compared with its closed form.
#![allow(clippy::print_stdout)] // an example shows what it finds

use boxwright::quantity::SampleRate;
use boxwright::response::{Settings, analyse};
use boxwright::signal::{Marks, Recording, SampleFormat, Sequence, SweepSettings};
use std::error::Error;
use std::f64::consts::TAU;

fn main() -> Result<(), Box<dyn Error>> {
    let rate = SampleRate::new(48_000)?;
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 2.0 };
    let sequence = Sequence { sweep, level_dbfs: -20.0, repeats: 1, marks: Marks::BeforeAndAfter, pause_s: 0.5 };
    let excitation = sequence.excitation()?;

    // y[n] = a·x[n] + (1 − a)·y[n − 1]
    let a = 1.0 - (-TAU * 2_000.0 / rate.hz()).exp();
    let mut reply = vec![0.0; 100];
    let mut state = 0.0;
    reply.extend(excitation.samples.iter().map(|x| {
        state += a * (x - state);
        state
    }));

    let recording = Recording { rate, channels: vec![reply], format: SampleFormat::Float32 };
    let settings = Settings { points_per_octave: 3, ..Settings::of_reply(0) };
    let analysis = analyse(&recording, &excitation, &settings)?;
    for (hz, level_db) in analysis.response.grid.hz().iter().zip(analysis.response.magnitude_db()) {
        let turn = num_complex::Complex64::cis(-TAU * hz / rate.hz());
        let expected_db = 20.0 * (a / (1.0 - (1.0 - a) * turn)).norm().log10();
        println!("{hz:9.1} Hz  {level_db:8.3} dB  (closed form {expected_db:8.3} dB)");
        // 0.002 dB: far below what a microphone tells.
        assert!((level_db - expected_db).abs() < 0.002);
    }
    Ok(())
}
