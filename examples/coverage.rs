//! How often the stated uncertainty holds, over many recordings of a known system: run in release, with the number of runs.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)] // an experiment may stop, and prints what it finds

#[path = "../tests/systems/mod.rs"]
mod systems;

use boxwright::quantity::{SampleRate, Severity};
use boxwright::response::{GateChoice, OctaveFraction, Settings, analyse};
use boxwright::signal::{Marks, Recording, SampleFormat, Sequence, SweepSettings};
use systems::{Filter, Noise, Playing, rounded};

fn main() {
    let runs: u64 = std::env::args().nth(1).and_then(|runs| runs.parse().ok()).unwrap_or(20);
    let gate = |after_s| GateChoice::Length { after_s };
    let twelfth = OctaveFraction::new(1.0 / 12.0).ok();
    // Name, noise of the 0.5 full-scale reply, colour, bits, repeats, gate, smoothing.
    let cases = [
        ("white, 70 dB", 1e-4, "white", 24, 1, GateChoice::Auto, None),
        ("white, 30 dB", 1e-2, "white", 24, 1, GateChoice::Auto, None),
        ("pink, 60 dB", 3e-4, "pink", 24, 1, GateChoice::Auto, None),
        ("mains hum, 60 dB", 3e-5, "hum", 24, 1, GateChoice::Auto, None),
        ("16 bits at -50 dB, no dither", 0.0, "white", 16, 1, GateChoice::Auto, None),
        ("gate of 5 ms", 1e-3, "white", 24, 1, gate(0.005), None),
        ("smoothed 1/12", 1e-3, "white", 24, 1, GateChoice::Auto, twelfth),
        ("two repeats", 3e-4, "white", 24, 2, GateChoice::Auto, None),
        ("four repeats", 3e-4, "white", 24, 4, GateChoice::Auto, None),
    ];
    for (name, level, colour, bits, repeats, gate, smoothing) in cases {
        let rate = SampleRate::new(48_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 1.0 };
        let sequence = Sequence { sweep, level_dbfs: -6.0, repeats, marks: Marks::BeforeAndAfter, pause_s: 0.5 };
        let excitation = sequence.excitation().unwrap();
        let filter = Filter::satellite(48e3);
        let mut reply = Playing { excitation: &excitation, filter: &filter, delay_frames: 300 }.reply();
        let gain = if bits == 16 { 10f64.powf(-2.5) } else { 1.0 };
        reply.iter_mut().for_each(|x| *x *= gain);
        let settings = Settings { gate, smoothing, points_per_octave: 24, ..Settings::of_reply(0) };
        let (mut within, mut points, mut alarms, mut squares) = (0.0, 0.0, 0, 0.0);
        for run in 0..runs {
            let noisy = disturbed(&reply, level, colour, run);
            let format = if bits == 16 { SampleFormat::Pcm16 } else { SampleFormat::Pcm24 };
            let recording = Recording { rate, channels: vec![rounded(&noisy, bits)], format };
            let analysis = analyse(&recording, &excitation, &settings).unwrap();
            alarms += analysis.findings.iter().filter(|f| f.severity == Severity::Fault).count();
            for ((&hz, value), u) in
                analysis.response.grid.hz().iter().zip(&analysis.response.values).zip(analysis.response.u_db())
            {
                let error = 20.0 * (value / (gain * filter.response(hz, 48e3))).norm().log10();
                points += 1.0;
                squares += error * error;
                within += if error.abs() <= 2.0 * u { 1.0 } else { 0.0 };
            }
        }
        println!(
            "{name}: within 2u {:.1} %, rms error {:.4} dB, false faults {alarms} in {runs} runs",
            100.0 * within / points,
            f64::sqrt(squares / points)
        );
    }
}

fn disturbed(reply: &[f64], level: f64, colour: &str, seed: u64) -> Vec<f64> {
    let mut noise = Noise::new(seed);
    let mut slow = [0.0; 3];
    let hum = |n: usize| {
        let turn = std::f64::consts::TAU * 50.0 * n as f64 / 48e3 + seed as f64;
        level * (20.0 * turn.sin() + 10.0 * (3.0 * turn).sin())
    };
    reply
        .iter()
        .enumerate()
        .map(|(n, x)| match colour {
            "hum" => x + level * noise.normal() + hum(n),
            // Three one-pole filters, each an order of frequency above the other, fall by nearly 10 dB a decade.
            "pink" => {
                let white = noise.normal();
                slow[0] = 0.997_65 * slow[0] + white * 0.099_046;
                slow[1] = 0.963 * slow[1] + white * 0.296_516_4;
                slow[2] = 0.57 * slow[2] + white * 1.052_691_3;
                x + level * (slow.iter().sum::<f64>() + 0.184_8 * white)
            }
            _ => x + level * noise.normal(),
        })
        .collect()
}
