//! How far fitted drivers scatter, and whether their stated uncertainty holds, over random drivers behind a noisy divider:
//! `cargo run --release --example driver_scatter -- [DRIVERS] [SEED] [--wide]`, 200 drivers a line unless told.
//!
//! Drivers: drawn from the ranges of `tests/reference/driver_parameter_ranges.csv`, half of them with a creeping suspension.
//! Voice coils of two parts turn from one to the other at a corner: at some hundred to some thousand hertz, above the resonance;
//! with `--wide` anywhere from a third of the resonance to 10 kHz, and with parts of any proportion.
//! Curve: 48 points an octave from a quarter of the resonance to 20 kHz, of `h = Z/(Z + R)` with noise of σ on real and imaginary
//! part of h, relative to |h|; R = 10 ohm. Its stated noise is worked out from the noisy Z, as a measurement has to.
//!
//! Scatter: root mean square of (found − truth)/CRB, CRB the Cramér–Rao bound of each driver for its true model, from
//! differences of the model and a plain inversion. Cover: how often truth lies within ± 2u; a normal error would in 95.45 %.
//! Both come from as many drivers as there are: what chance allows (19 times of 20) is printed first. Where a bound is no longer
//! small (a driver's bound beyond 10 % of the number) the model is curved across the noise, and no unbiased estimate need exist:
//! how many drivers that is stands in the column `blind`, and they count in cover but not in scatter.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)] // an experiment may stop, and prints what it finds

use boxwright::driver::{DriverModel, FitSettings, Suspension, SuspensionKind, VoiceCoil, VoiceCoilKind, fit_driver};
use boxwright::impedance::Impedance;
use boxwright::math::Random;
use boxwright::quantity::FrequencyGrid;
use num_complex::Complex64;
use std::f64::consts::{FRAC_PI_2, TAU};

const SENSE_OHM: f64 = 10.0;
const COILS: [VoiceCoilKind; 4] =
    [VoiceCoilKind::Inductance, VoiceCoilKind::Ladder, VoiceCoilKind::SemiInductance, VoiceCoilKind::PowerLaw];
const SHARED: [&str; 4] = ["fs_hz", "qms", "qes", "re_ohm"];

/// How drivers are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Population {
    Usual,
    Wide,
}

/// One line of the table.
#[derive(Debug, Clone, Copy)]
struct Line {
    coil: VoiceCoilKind,
    noise_ratio: f64,
    is_given: bool,
    population: Population,
    seed: u64,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let population = if arguments.iter().any(|word| word == "--wide") { Population::Wide } else { Population::Usual };
    let mut numbers = arguments.iter().filter_map(|word| word.parse::<u64>().ok());
    let (drivers, seed) = (numbers.next().unwrap_or(200), numbers.next().unwrap_or(1));
    let of_cover = 196.0 * (0.9545 * 0.0455 / drivers as f64).sqrt();
    let of_scatter = 1.96 / (2.0 * drivers as f64).sqrt();
    println!(
        "{drivers} drivers a line, {population:?} ones, seed {seed}; for fs, Qms, Qes, Re: scatter over the bound, percent in 2u"
    );
    println!(
        "chance allows {:.3} to {:.3}, and {:.1} % to {:.1} %",
        1.0 - of_scatter,
        1.0 + of_scatter,
        95.45 - of_cover,
        (95.45 + of_cover).min(100.0)
    );
    for (what, is_given) in [("model given", true), ("model chosen", false)] {
        println!(
            "\n{what}\nvoice coil        noise     fs            Qms           Qes           Re          right   worst (driver)  blind"
        );
        for coil in COILS {
            for noise_ratio in [1e-4, 1e-3, 1e-2] {
                let line = Line { coil, noise_ratio, is_given, population, seed };
                tell(&line, &outcomes(&line, drivers), drivers);
            }
        }
    }
}

/// Of all drivers, by as many threads as there are processors.
fn outcomes(line: &Line, drivers: u64) -> Vec<(u64, Outcome)> {
    let threads = std::thread::available_parallelism().map_or(1, |count| count.get() as u64);
    let part = |first: u64| {
        let mine = (first..drivers).step_by(threads as usize);
        mine.filter_map(|driver| Some((driver, outcome(line, driver)?))).collect::<Vec<_>>()
    };
    std::thread::scope(|scope| {
        let parts: Vec<_> = (0..threads).map(|first| scope.spawn(move || part(first))).collect();
        parts.into_iter().flat_map(|part| part.join().unwrap()).collect()
    })
}

struct Outcome {
    over_bound: [f64; 4],
    over_u: [f64; 4],
    is_right: bool,
    /// Whether no bound is beyond a tenth of its number.
    is_seen: bool,
}

fn tell(line: &Line, outcomes: &[(u64, Outcome)], drivers: u64) {
    let count = outcomes.len() as f64;
    let mut text = format!("{:16}  {:.0e} ", format!("{:?}", line.coil), line.noise_ratio);
    let seen: Vec<&(u64, Outcome)> = outcomes.iter().filter(|(_, outcome)| outcome.is_seen).collect();
    let mut worst = (0, 0f64);
    for at in 0..4 {
        let squares: f64 = seen.iter().map(|(_, outcome)| outcome.over_bound[at].powi(2)).sum();
        let scatter = (squares / seen.len() as f64).sqrt();
        let within = outcomes.iter().filter(|(_, outcome)| outcome.over_u[at].abs() <= 2.0).count() as f64 / count;
        for (driver, outcome) in &seen {
            let off = outcome.over_bound[at].abs();
            worst = if off > worst.1 { (*driver, off) } else { worst };
        }
        text += &format!("  {scatter:5.3} {:5.1} %", 100.0 * within);
    }
    let right = outcomes.iter().filter(|(_, outcome)| outcome.is_right).count() as f64 / count;
    text += &format!("  {:5.1} %  {:5.1} ({})  {}", 100.0 * right, worst.1, worst.0, outcomes.len() - seen.len());
    let refused = drivers - outcomes.len() as u64;
    println!("{text}{}", if refused > 0 { format!("  {refused} refused") } else { String::new() });
}

fn outcome(line: &Line, driver: u64) -> Option<Outcome> {
    let Line { coil, noise_ratio, is_given, population, seed } = *line;
    let mut random = Random::new((seed << 32) + driver * 4 + coil as u64);
    let truth = random_driver(&mut random, coil, population);
    let hz = frequencies_hz(truth.fs_hz / 4.0);
    let curve = measured(&truth, &hz, noise_ratio, &mut random);
    let suspension = match truth.suspension {
        Suspension::Plain => SuspensionKind::Plain,
        Suspension::Creep { .. } => SuspensionKind::Creep,
    };
    let settings = match is_given {
        true => FitSettings { voice_coil: Some(coil), suspension: Some(suspension), ..FitSettings::default() },
        false => FitSettings::default(),
    };
    let fit = fit_driver(&curve, &settings).map_err(|error| println!("driver {driver}: {error}")).ok()?;
    let bound = bounds(&truth, &hz, noise_ratio);
    let expected = [truth.fs_hz, truth.qms, truth.qes, truth.re_ohm];
    let found = SHARED.map(|name| fit.value(name).unwrap());
    let off = [0, 1, 2, 3].map(|at: usize| found[at].0 - expected[at]);
    let is_right = fit.model.voice_coil.name() == truth.voice_coil.name()
        && fit.model.suspension.name() == truth.suspension.name();
    Some(Outcome {
        over_bound: [0, 1, 2, 3].map(|at| off[at] / (bound[at] * expected[at])),
        over_u: [0, 1, 2, 3].map(|at| off[at] / found[at].1),
        is_right,
        is_seen: bound.iter().all(|bound| *bound <= 0.1),
    })
}

fn frequencies_hz(from_hz: f64) -> Vec<f64> {
    (-500..=207).map(|k| 1000.0 * (f64::from(k) / 48.0).exp2()).filter(|hz| *hz >= from_hz).collect()
}

fn random_driver(random: &mut Random, coil: VoiceCoilKind, population: Population) -> DriverModel {
    let text = include_str!("../tests/reference/driver_parameter_ranges.csv");
    let classes: Vec<&str> = text.lines().filter(|line| !line.starts_with('#')).skip(1).collect();
    let class = classes[(random.uniform() * classes.len() as f64) as usize];
    let mut ranges = class.split(',').skip(1).map(|range| {
        let (low, high) = range.split_once('-').unwrap();
        (low.parse::<f64>().unwrap(), high.parse::<f64>().unwrap())
    });
    let [fs_hz, qms, qes, re_ohm, le_mh] = [0; 5].map(|_| between(random, ranges.next().unwrap()));
    let voice_coil = match population {
        Population::Usual => usual_coil(random, coil, [1e-3 * le_mh, fs_hz]),
        Population::Wide => wide_coil(random, coil, [1e-3 * le_mh, fs_hz]),
    };
    let suspension = match random.uniform() {
        chance if chance < 0.5 => Suspension::Plain,
        _ => Suspension::Creep { lambda: between(random, (0.03, 0.2)) },
    };
    // Creep alone may not take more than there is.
    match suspension.loss_at_resonance() < 0.9 / qms {
        true => DriverModel { re_ohm, fs_hz, qms, qes, voice_coil, suspension },
        false => random_driver(random, coil, population),
    }
}

/// Evenly over the logarithm.
fn between(random: &mut Random, (low, high): (f64, f64)) -> f64 {
    low * (high / low).powf(random.uniform())
}

/// A voice coil that has about `le_h` at 1 kHz. Eddy currents turn at some hundred to some thousand hertz, in small coils of
/// domes higher, and above the resonance.
fn usual_coil(random: &mut Random, coil: VoiceCoilKind, [le_h, fs_hz]: [f64; 2]) -> VoiceCoil {
    let mut of = |low, high| between(random, (low, high));
    match coil {
        VoiceCoilKind::Inductance => VoiceCoil::Inductance { le_h },
        VoiceCoilKind::Ladder => {
            let l2_h = le_h * of(0.5, 2.0);
            VoiceCoil::Ladder {
                le_h: le_h * of(0.3, 0.7),
                l2_h,
                r2_ohm: TAU * of(500f64.max(fs_hz), 5000f64.max(10.0 * fs_hz)) * l2_h,
            }
        }
        VoiceCoilKind::SemiInductance => {
            let part_h = le_h * of(1.5, 4.0);
            let ke_semih = part_h * (TAU * of(200.0, 3000.0)).sqrt();
            VoiceCoil::SemiInductance { leb_h: le_h * of(0.05, 0.4), le_h: part_h, ke_semih }
        }
        VoiceCoilKind::PowerLaw => {
            let n = of(0.55, 0.8);
            VoiceCoil::PowerLaw { k: le_h * (TAU * 1000.0).powf(1.0 - n) / (FRAC_PI_2 * n).sin(), n }
        }
    }
}

/// A voice coil of about `le_h`, with a corner and a proportion of its parts that may hide one of them.
fn wide_coil(random: &mut Random, coil: VoiceCoilKind, [le_h, fs_hz]: [f64; 2]) -> VoiceCoil {
    let mut of = |low, high| between(random, (low, high));
    let corner = TAU * of(fs_hz / 3.0, 10_000.0);
    match coil {
        VoiceCoilKind::Inductance => VoiceCoil::Inductance { le_h },
        VoiceCoilKind::Ladder => {
            let l2_h = le_h * of(0.2, 3.0);
            VoiceCoil::Ladder { le_h: le_h * of(0.1, 1.0), l2_h, r2_ohm: corner * l2_h }
        }
        VoiceCoilKind::SemiInductance => {
            let part_h = le_h * of(1.0, 6.0);
            VoiceCoil::SemiInductance { leb_h: le_h * of(0.02, 0.6), le_h: part_h, ke_semih: part_h * corner.sqrt() }
        }
        VoiceCoilKind::PowerLaw => {
            let n = of(0.5, 0.95);
            VoiceCoil::PowerLaw { k: le_h * (TAU * 1000.0).powf(1.0 - n) / (FRAC_PI_2 * n).sin(), n }
        }
    }
}

/// |dZ| for a noise of 1 on h, relative to |h|.
fn noise_gain_ohm(z: Complex64) -> f64 {
    z.norm() * (1.0 + z / SENSE_OHM).norm()
}

fn measured(truth: &DriverModel, hz: &[f64], noise_ratio: f64, random: &mut Random) -> Impedance {
    let noisy = |&hz: &f64| {
        let z = truth.impedance_ohm(hz);
        let h = z / (z + SENSE_OHM) * (1.0 + noise_ratio * Complex64::new(random.normal(), random.normal()));
        SENSE_OHM * h / (1.0 - h)
    };
    let values: Vec<Complex64> = hz.iter().map(noisy).collect();
    let u = values.iter().map(|&z| noise_ratio * noise_gain_ohm(z)).collect();
    let grid = FrequencyGrid::new(hz.to_vec()).unwrap();
    let nothing = vec![0.0; values.len()];
    Impedance::new(grid, values).unwrap().with_doubt(u, nothing, None).unwrap()
}

type Numbers = Vec<f64>;

/// fs, Qms, Qes, Re and the rest as multiples of `truth`'s, all 1 for the truth itself.
fn scaled(truth: &DriverModel, factors: &Numbers) -> DriverModel {
    let mut rest = factors[4..].iter();
    let mut next = |value: f64| value * rest.next().unwrap();
    let voice_coil = match truth.voice_coil {
        VoiceCoil::Inductance { le_h } => VoiceCoil::Inductance { le_h: next(le_h) },
        VoiceCoil::Ladder { le_h, l2_h, r2_ohm } => {
            VoiceCoil::Ladder { le_h: next(le_h), l2_h: next(l2_h), r2_ohm: next(r2_ohm) }
        }
        VoiceCoil::SemiInductance { leb_h, le_h, ke_semih } => {
            VoiceCoil::SemiInductance { leb_h: next(leb_h), le_h: next(le_h), ke_semih: next(ke_semih) }
        }
        VoiceCoil::PowerLaw { k, n } => VoiceCoil::PowerLaw { k: next(k), n: next(n) },
    };
    let suspension = match truth.suspension {
        Suspension::Plain => Suspension::Plain,
        Suspension::Creep { lambda } => Suspension::Creep { lambda: next(lambda) },
    };
    DriverModel {
        fs_hz: truth.fs_hz * factors[0],
        qms: truth.qms * factors[1],
        qes: truth.qes * factors[2],
        re_ohm: truth.re_ohm * factors[3],
        voice_coil,
        suspension,
    }
}

/// Cramér–Rao bounds of fs, Qms, Qes, Re, relative: roots of the diagonal of (Σ Re(dZ*·dZᵀ)/σ²)⁻¹.
fn bounds(truth: &DriverModel, hz: &[f64], noise_ratio: f64) -> [f64; 4] {
    let coil = match truth.voice_coil {
        VoiceCoil::Inductance { .. } => 1,
        VoiceCoil::PowerLaw { .. } => 2,
        _ => 3,
    };
    let count = 4 + coil + usize::from(truth.suspension != Suspension::Plain);
    let step = 1e-5;
    let slope = |hz: f64, number: usize| {
        let moved = |by: f64| {
            let mut factors = vec![1.0; count];
            factors[number] += by;
            scaled(truth, &factors).impedance_ohm(hz)
        };
        (moved(step) - moved(-step)) / (2.0 * step)
    };
    let mut information = vec![vec![0.0; count]; count];
    for &hz in hz {
        let sigma = noise_ratio * noise_gain_ohm(truth.impedance_ohm(hz));
        let slopes: Vec<Complex64> = (0..count).map(|number| slope(hz, number) / sigma).collect();
        for row in 0..count {
            for column in 0..count {
                information[row][column] += (slopes[row].conj() * slopes[column]).re;
            }
        }
    }
    let inverse = inverted(information);
    [0, 1, 2, 3].map(|at| inverse[at][at].sqrt())
}

/// By Gauss and Jordan.
fn inverted(mut matrix: Vec<Numbers>) -> Vec<Numbers> {
    let count = matrix.len();
    for (at, row) in matrix.iter_mut().enumerate() {
        row.extend((0..count).map(|column| f64::from(u8::from(column == at))));
    }
    for pivot in 0..count {
        let scale = matrix[pivot][pivot];
        matrix[pivot].iter_mut().for_each(|value| *value /= scale);
        let pivots = matrix[pivot].clone();
        for (_, row) in matrix.iter_mut().enumerate().filter(|(row, _)| *row != pivot) {
            let factor = row[pivot];
            row.iter_mut().zip(&pivots).for_each(|(value, other)| *value -= factor * other);
        }
    }
    matrix.into_iter().map(|row| row[count..].to_vec()).collect()
}
