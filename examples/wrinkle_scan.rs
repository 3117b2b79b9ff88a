//! How surely narrow resonances are found, and how often one is told that is not there:
//! `cargo run --release --example wrinkle_scan -- [CURVES] [SEED]`, 1000 curves a line unless told.
//!
//! Curves: drivers in closed boxes, 48 points an octave from 10 Hz to 20 kHz behind 10 ohm, noise of 0.1 % on the ratio
//! of the voltages; the residual against the true model, and against one whose voice coil is 0.5 % off. Bumps: `A/(1 +
//! jQ(f/f₀ − f₀/f))` anywhere from 60 to 3000 Hz, of a height in units of the noise of a point there, at any angle.
//! Found is one within half a bandwidth.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)] // an experiment may stop, and prints what it finds

use boxwright::diagnosis::{Residual, Wrinkle, wrinkles};
use boxwright::driver::{DriverModel, Suspension, VoiceCoil};
use boxwright::enclosure::{BoxedDriver, Enclosure, LossFactors, Moved, Opening};
use boxwright::math::Random;
use num_complex::Complex64;
use std::f64::consts::TAU;

const NOISE: f64 = 1e-3;
const SENSE_OHM: f64 = 10.0;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Model {
    True,
    CoilOff,
}

#[derive(Debug, Clone, Copy)]
struct Bump {
    sigmas: f64,
    q: [f64; 2],
}

fn main() {
    let mut numbers = std::env::args().skip(1).filter_map(|word| word.parse::<u64>().ok());
    let (curves, seed) = (numbers.next().unwrap_or(1000), numbers.next().unwrap_or(1));
    println!("{curves} curves a line, seed {seed}");
    for model in [Model::True, Model::CoilOff] {
        println!("\nmodel {model:?}: bumps found, and wrinkles told that are not there");
        let (_, invented) = count(curves, seed, model, None);
        println!("  none                    invented {invented}");
        for sigmas in [2.0, 3.0, 4.0, 5.0, 7.0, 10.0] {
            for q in [[8.0, 15.0], [15.0, 30.0], [30.0, 60.0], [60.0, 120.0]] {
                let (found, invented) = count(curves, seed, model, Some(Bump { sigmas, q }));
                let percent = 100.0 * found as f64 / curves as f64;
                println!(
                    "  {sigmas:4.0} sigma, Q {:3.0} to {:3.0}   found {percent:5.1} %   invented {invented}",
                    q[0], q[1]
                );
            }
        }
    }
}

fn count(curves: u64, seed: u64, model: Model, bump: Option<Bump>) -> (u64, usize) {
    let threads = std::thread::available_parallelism().map_or(1, |count| count.get() as u64);
    std::thread::scope(|scope| {
        let parts: Vec<_> = (0..threads)
            .map(|first| {
                scope.spawn(move || {
                    let mine = (first..curves).step_by(threads as usize);
                    mine.map(|at| one((seed << 32) + at, model, bump))
                        .fold((0, 0), |sum, (found, invented)| (sum.0 + u64::from(found), sum.1 + invented))
                })
            })
            .collect();
        parts.into_iter().map(|part| part.join().unwrap()).fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1))
    })
}

/// Whether the bump was found, and how many others.
fn one(seed: u64, model: Model, bump: Option<Bump>) -> (bool, usize) {
    let mut random = Random::new(seed);
    let boxed = random_box(&mut random);
    let hz: Vec<f64> = (-318..=207).map(|k| 1000.0 * (f64::from(k) / 48.0).exp2()).collect();
    let sigma: Vec<f64> = hz
        .iter()
        .map(|&hz| {
            let z = boxed.impedance_ohm(hz);
            NOISE * z.norm() * (1.0 + z / SENSE_OHM).norm()
        })
        .collect();
    let placed = bump.map(|bump| {
        let at_hz = 60.0 * 50f64.powf(random.uniform());
        let place = hz.partition_point(|&other| other < at_hz);
        let q = bump.q[0] * (bump.q[1] / bump.q[0]).powf(random.uniform());
        let height_ohm = Complex64::from_polar(bump.sigmas * sigma[place], TAU * random.uniform());
        Wrinkle { hz: at_hz, u_hz: 0.0, q, u_q: 0.0, height_ohm, u_height_ohm: 0.0, sigmas: 0.0 }
    });
    let ohm: Vec<Complex64> = hz
        .iter()
        .zip(&sigma)
        .map(|(&hz, sigma)| {
            let noise = sigma * Complex64::new(random.normal(), random.normal());
            let coil = boxed.driver.voice_coil.impedance_ohm(TAU * hz);
            let off = if model == Model::CoilOff { 0.005 * coil } else { Complex64::ZERO };
            noise + off + placed.map_or(Complex64::ZERO, |wrinkle| wrinkle.ohm(hz))
        })
        .collect();
    let found = wrinkles(&Residual { hz: &hz, ohm: &ohm, sigma_ohm: Some(&sigma), resolution_hz: None });
    let Some(placed) = placed else { return (false, found.len()) };
    let is_it = |wrinkle: &&Wrinkle| (wrinkle.hz / placed.hz).ln().abs() < 0.5 / placed.q;
    let hits = found.iter().filter(is_it).count();
    (hits > 0, found.len() - hits)
}

fn random_box(random: &mut Random) -> BoxedDriver {
    let mut of = |low: f64, high: f64| low * (high / low).powf(random.uniform());
    let le_h = of(0.1e-3, 0.5e-3);
    let driver = DriverModel {
        re_ohm: of(3.2, 7.0),
        fs_hz: of(35.0, 110.0),
        qms: of(2.5, 8.0),
        qes: of(0.3, 1.0),
        voice_coil: VoiceCoil::Ladder { le_h, l2_h: le_h, r2_ohm: TAU * of(800.0, 5000.0) * le_h },
        suspension: Suspension::Plain,
    };
    let losses = LossFactors { leakage: 0.0, absorption: 1.0 / of(20.0, 200.0), opening: 0.0 };
    BoxedDriver {
        driver,
        moved: Moved::NOTHING,
        enclosure: Enclosure { alpha: of(0.5, 8.0), opening: Opening::None, losses },
    }
}
