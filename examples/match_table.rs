//! How often `match` calls two units different that are not, and misses a difference that is there.
//!
//!     cargo run --release --example match_table -- [PAIRS] [SEED]
//!
//! Each unit is a small closed box as a recursive filter, captured with noise of its own, analysed with a gate of 5 ms or 200 ms, and compared.
//! A quarter of the pairs is alike; in the others the level, a resonance in the treble or the bass differs.
#![allow(clippy::unwrap_used, clippy::print_stdout)] // an example may stop, and prints

use boxwright::driver::{Alike, FALSE_ALARM, UnitCurve, compared};
use boxwright::math::Random;
use boxwright::quantity::SampleRate;
use boxwright::response::{GateChoice, Settings, analyse};
use boxwright::signal::{Excitation, Marks, Recording, SampleFormat, Sequence, SweepSettings};

const RATE_HZ: f64 = 48_000.0;

/// What makes a unit: level, height of a bump of 3 kHz and Q 4, resonance of its box.
#[derive(Clone, Copy)]
struct Unit {
    level_db: f64,
    bump_db: f64,
    fc_hz: f64,
}

fn section(b: [f64; 3], a: [f64; 3], hz: f64) -> [f64; 5] {
    let k = 1.0 / (std::f64::consts::PI * hz / RATE_HZ).tan();
    let expand =
        |c: [f64; 3]| [c[0] * k * k + c[1] * k + c[2], 2.0 * (c[2] - c[0] * k * k), c[0] * k * k - c[1] * k + c[2]];
    let (b, a) = (expand(b), expand(a));
    [b[0] / a[0], b[1] / a[0], b[2] / a[0], a[1] / a[0], a[2] / a[0]]
}

impl Unit {
    fn play(self, samples: &[f64]) -> Vec<f64> {
        let gain = 10f64.powf(self.level_db / 20.0);
        let bump = 10f64.powf(self.bump_db / 20.0);
        let sections = [
            section([1.0, 0.0, 0.0], [1.0, 1.1, 1.0], self.fc_hz),
            section([1.0, 0.25 * bump, 1.0], [1.0, 0.25, 1.0], 3_000.0),
            section([0.0, 0.0, 0.3 * gain], [1.0, 1.4, 1.0], 15_000.0),
        ];
        let mut out = samples.to_vec();
        for [b0, b1, b2, a1, a2] in sections {
            let (mut x1, mut x2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
            for x in &mut out {
                let y = b0 * *x + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2;
                (x2, x1, y2, y1) = (x1, *x, y1, y);
                *x = y;
            }
        }
        out
    }
}

fn curve(excitation: &Excitation, unit: Unit, noise_rms: f64, gate_s: f64, random: &mut Random) -> UnitCurve {
    let mut played = vec![0.0; 200];
    played.extend(unit.play(&excitation.samples));
    played.iter_mut().for_each(|x| *x += noise_rms * random.normal());
    let recording =
        Recording { rate: SampleRate::new(48_000).unwrap(), channels: vec![played], format: SampleFormat::Float32 };
    let settings = Settings { gate: GateChoice::Length { after_s: gate_s }, ..Settings::of_reply(0) };
    let analysis = analyse(&recording, excitation, &settings).unwrap();
    let u_db = analysis.response.u_db();
    UnitCurve {
        hz: analysis.response.grid.hz().to_vec(),
        level_db: analysis.response.magnitude_db(),
        u_noise_db: u_db.clone(),
        u_db,
        resolution_hz: 1.0 / gate_s,
    }
}

fn main() {
    let arguments: Vec<usize> = std::env::args().skip(1).filter_map(|text| text.parse().ok()).collect();
    let (pairs, seed) = (arguments.first().copied().unwrap_or(200), arguments.get(1).copied().unwrap_or(1));
    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz: 40.0, to_hz: 18_000.0, lowest_hz: None, duration_s: 1.0 };
    let sequence = Sequence { sweep, level_dbfs: -6.0, repeats: 2, marks: Marks::None, pause_s: 0.5 };
    let mut excitation = sequence.excitation().unwrap();
    excitation.samples.extend(vec![0.0; 48_000]);
    let mut random = Random::new(seed as u64);
    let plain = Unit { level_db: 0.0, bump_db: 3.0, fc_hz: 110.0 };
    let changed = [
        ("alike", plain),
        ("level +0.2 dB", Unit { level_db: 0.2, ..plain }),
        ("resonance +1 dB", Unit { bump_db: 4.0, ..plain }),
        ("box +8 %", Unit { fc_hz: 119.0, ..plain }),
    ];
    println!("chance of a false alarm asked for: {:.0} %", 100.0 * FALSE_ALARM);
    println!("difference        gate     pairs  called different  by level  by shape  median u");
    for gate_s in [5e-3, 0.2] {
        for (name, other) in changed {
            let (mut called, mut level, mut shape, mut doubts) = (0, 0, 0, Vec::new());
            for _ in 0..pairs {
                let noise_rms = 10f64.powf(-(2.5 + 1.0 * random.uniform()));
                let units = [plain, other].map(|unit| curve(&excitation, unit, noise_rms, gate_s, &mut random));
                let alike = Alike::of(&units, None).unwrap();
                let pair = compared(&alike, [-1.0, 1.0])[0];
                called += usize::from(pair.level_differs || pair.shape_differs);
                level += usize::from(pair.level_differs);
                shape += usize::from(pair.shape_differs);
                let mut u_db = units[0].u_db.clone();
                u_db.sort_by(f64::total_cmp);
                doubts.push(u_db[u_db.len() / 2]);
            }
            doubts.sort_by(f64::total_cmp);
            println!(
                "{name:16} {:4.0} ms  {pairs:6}  {called:16}  {level:8}  {shape:8}  {:.3} dB",
                1e3 * gate_s,
                doubts[doubts.len() / 2]
            );
        }
    }
}
