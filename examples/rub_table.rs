//! How often rubbing coils and loose parts are found, and invented, on the simulated bench.
//!
//!     cargo run --release --example rub_table -- [DEFECTS] [HEALTHY] [SEED]
//!
//! Each unit is the small satellite in a room, swept at a level of its own. Defects: a coil that scrapes from a place within its stroke on, or a part that
//! is lifted within it; then so much noise is added that what it does stands 10 dB out of it where it is loudest. Healthy units
//! have the same noises and levels.
#![allow(clippy::unwrap_used, clippy::print_stdout)] // an example may stop, and prints

use boxwright::bench::{Bench, BenchSettings, Defect, LoosePart, Rub};
use boxwright::math::Random;
use boxwright::quantity::SampleRate;
use boxwright::response::{Analysis, Settings, analyse};
use boxwright::signal::{Excitation, Marks, Recording, SampleFormat, Sequence, SweepSettings};

const REPEATS: u32 = 2;

fn excitation(level_dbfs: f64) -> Excitation {
    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 2.0 };
    Sequence { sweep, level_dbfs, repeats: REPEATS, marks: Marks::None, pause_s: 0.6 }.excitation().unwrap()
}

/// A silence, the excitation, a silence.
fn played(excitation: &Excitation) -> Vec<f64> {
    let silence = vec![0.0; 24_000];
    [silence.clone(), excitation.samples.clone(), silence.clone(), silence.clone(), silence].concat()
}

fn recorded(settings: BenchSettings, play: &[f64]) -> Vec<f64> {
    let bench = Bench::new(settings).unwrap();
    bench.record(play, bench.frames_needed(play.len())).swap_remove(0)
}

fn analysed(reply: &[f64], noise_rms: f64, random: &mut Random, excitation: &Excitation) -> Analysis {
    let noisy = reply.iter().map(|x| x + noise_rms * random.normal()).collect();
    let recording =
        Recording { rate: SampleRate::new(48_000).unwrap(), channels: vec![noisy], format: SampleFormat::Float32 };
    analyse(&recording, excitation, &Settings::of_reply(0)).unwrap()
}

fn bench(random: &mut Random) -> BenchSettings {
    let mut settings = BenchSettings::default();
    settings.microphone.noise_dbfs = None;
    settings.interface.drift_ppm = 0.0;
    settings.distance_m = 0.3 + 0.5 * random.uniform();
    settings
}

/// The level at which the coil's stroke is used to a share, and that stroke, m.
fn stroke_m(settings: &BenchSettings, play: &[f64]) -> f64 {
    let bench = Bench::new(settings.clone()).unwrap();
    bench.excursion_m(0, play).iter().fold(0.0, |most: f64, x| most.max(x.abs()))
}

fn main() {
    let arguments: Vec<usize> = std::env::args().skip(1).filter_map(|text| text.parse().ok()).collect();
    let ask = |at: usize, usual: usize| arguments.get(at).copied().unwrap_or(usual);
    let (defects, healthy, seed) = (ask(0, 100), ask(1, 100), ask(2, 1));
    let mut random = Random::new(seed as u64);
    let mut found = [[0usize; 2]; 2];
    let mut quiet = 0;
    for unit in 0..defects {
        let excitation = excitation(-20.0 + 10.0 * random.uniform());
        let play = played(&excitation);
        let mut settings = bench(&mut random);
        let stroke_m = stroke_m(&settings, &play);
        let kind = unit % 2;
        // Somewhere within the stroke, on either side; a part that the middle of the sweep's acceleration lifts.
        let side = if random.uniform() < 0.5 { -1.0 } else { 1.0 };
        let share = 0.3 + 0.5 * random.uniform();
        settings.speaker.ways[0].defect = Some(match kind {
            0 => Defect::Rub(Rub {
                friction_n: 0.03 * 10f64.powf(random.uniform()),
                seed: random.bits(),
                ..Rub::light(side * share * stroke_m)
            }),
            _ => Defect::Loose(LoosePart::lead(share * stroke_m * (std::f64::consts::TAU * 110.0).powi(2))),
        });
        let reply = recorded(settings, &play);
        // Without noise: how loud it is beside the fundamental; with a little: how the floor scales.
        let bare = analysed(&reply, 1e-9, &mut random, &excitation).high_order.unwrap();
        let little = analysed(&reply, 1e-5, &mut random, &excitation).high_order.unwrap();
        let over = |at: usize| bare.ratio[at].map_or(0.0, |ratio| ratio / little.floor_ratio[at]);
        let loudest = (0..bare.hz.len()).max_by(|a, b| over(*a).total_cmp(&over(*b))).unwrap();
        let noise_rms = 1e-5 * over(loudest) / 10f64.sqrt();
        let fundamental_db = 20.0 * bare.ratio[loudest].unwrap_or(0.0).max(1e-12).log10();
        // Nobody hears what lies 80 dB below the note.
        if fundamental_db < -80.0 {
            quiet += 1;
            continue;
        }
        let rubbing = analysed(&reply, noise_rms, &mut random, &excitation).high_order.unwrap().rubbing;
        found[kind][0] += 1;
        found[kind][1] += usize::from(rubbing.is_some());
        if rubbing.is_none() {
            println!(
                "missed: {} at {:.0} Hz, {fundamental_db:.0} dB re the fundamental",
                ["rub", "loose part"][kind],
                bare.hz[loudest]
            );
        }
    }
    let mut invented = 0;
    for _ in 0..healthy {
        let excitation = excitation(-20.0 + 14.0 * random.uniform());
        let reply = recorded(bench(&mut random), &played(&excitation));
        let noise_rms = 10f64.powf(-5.5 + 2.5 * random.uniform());
        if let Some(rubbing) = analysed(&reply, noise_rms, &mut random, &excitation).high_order.unwrap().rubbing {
            invented += 1;
            println!("invented: {rubbing:?}, noise {:.0} dBFS", 20.0 * noise_rms.log10());
        }
    }
    println!("coils that scrape: {} of {} found", found[0][1], found[0][0]);
    println!("loose parts: {} of {} found", found[1][1], found[1][0]);
    println!("left out, below -80 dB re the fundamental: {quiet}");
    println!("healthy: {invented} of {healthy} accused");
}
