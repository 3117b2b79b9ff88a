//! How often the right cause is named: `cargo run --release --example explain_table -- [FAULTS] [PAIRS] [HEALTHY] [SEED]`.
//!
//! Random loudspeakers (closed, vented, with a passive radiator, one way and two; drivers known by data sheet or measured),
//! built with the usual spread of everything, measured with noise, and with an error of the model that is made
//! otherwise than the one that the explanation allows for. Then one fault, or two, or none. Prints the confusion table.

#![allow(clippy::print_stdout)] // an example that prints its table

use boxwright::baffle::{FlatBaffle, Outline};
use boxwright::driver::{DriverModel, Suspension, VoiceCoil};
use boxwright::enclosure::{LossFactors, Port, PortEnds};
use boxwright::explanation::{Cause, Evidence, Explanation, MeasuredLevel, MeasuredOhm, explain};
use boxwright::math::Random;
use boxwright::network::{Condition, Netlist};
use boxwright::quantity::{Air, FrequencyGrid};
use boxwright::speaker::{
    Cabinet, CabinetOpening, Cone, Design, DriverNumber, DriverSpread, Ear, Front, Knob, Polarity, Rear, Source, Space,
    Way, level_db, simulate,
};
use num_complex::Complex64;
use std::collections::BTreeMap;
use std::f64::consts::TAU;

fn cone(random: &mut Random, low: bool, spread: DriverSpread) -> Cone {
    let scale = |random: &mut Random, from: f64, to: f64| from * (to / from).powf(random.uniform());
    let model = DriverModel {
        re_ohm: scale(random, 3.3, 6.5),
        fs_hz: if low { scale(random, 55.0, 120.0) } else { scale(random, 700.0, 1300.0) },
        qms: scale(random, 2.5, 6.0),
        qes: if low { scale(random, 0.4, 0.8) } else { scale(random, 0.8, 1.5) },
        voice_coil: VoiceCoil::Ladder {
            le_h: if low { 0.15e-3 } else { 0.02e-3 },
            l2_h: if low { 0.25e-3 } else { 0.03e-3 },
            r2_ohm: 2.0,
        },
        suspension: Suspension::Plain,
    };
    let sd_m2 = if low { scale(random, 40e-4, 90e-4) } else { 6e-4 };
    let vas_m3 = if low { scale(random, 1.8e-3, 5e-3) } else { 12e-6 };
    Cone { model, vas_m3, sd_m2: Some(sd_m2), xmax_m: None, power_w: None, spread }
}

fn loudspeaker(random: &mut Random) -> Design {
    let spread = if random.uniform() < 0.5 { DriverSpread::OF_DATA_SHEET } else { DriverSpread::OF_MEASURED };
    let mid = cone(random, true, spread);
    let volume_m3 = mid.vas_m3 / (0.6 + 1.6 * random.uniform());
    let kind = (random.uniform() * 3.0) as usize;
    let (opening, volume_m3) = match kind {
        0 => (CabinetOpening::None, volume_m3),
        1 => {
            let port = Port { diameter_m: 0.035, length_m: 0.08, count: 1, ends: PortEnds::FlangedFree };
            let tuned = port.tuned_to(0.85 * mid.model.fs_hz, 2.0 * volume_m3, &Air::default()).unwrap_or(port);
            (CabinetOpening::Port(tuned), 2.0 * volume_m3)
        }
        _ => {
            let fb_hz = 0.85 * mid.model.fs_hz;
            (CabinetOpening::PassiveRadiator { fb_hz, fp_hz: 0.45 * fb_hz }, 2.0 * volume_m3)
        }
    };
    let losses = LossFactors { leakage: 0.02, absorption: 0.03, opening: if kind == 0 { 0.0 } else { 0.02 } };
    let mut ways = vec![Way { at_m: Some([0.07, 0.08]), ..Way::plain("mid", Source::Cone(mid)) }];
    let mut network = Netlist::wire();
    if random.uniform() < 0.75 {
        let treble = cone(random, false, spread);
        let text = "L1 in w 0.5m dcr=0.3\nC1 w 0 10u esr=0.1\nC2 in t1 5.6u esr=0.05\nL2 t1 0 0.33m dcr=0.25\nR1 t1 t 1.5\nR2 t 0 12\n";
        network = Netlist::of_text(text).unwrap_or_else(|_| Netlist::wire());
        let node = |name: &str| network.node(name).unwrap_or(0);
        ways[0].nodes = [node("w"), 0];
        ways.push(Way {
            nodes: [node("t"), 0],
            polarity: Polarity::Reversed,
            at_m: Some([0.07, 0.16]),
            rear: Rear::OnItsOwn,
            ..Way::plain("treble", Source::Cone(treble))
        });
    }
    Design {
        air: Air::default(),
        ways,
        cabinet: Some(Cabinet { volume_m3, opening, losses }),
        front: Some(Front::Flat(FlatBaffle { outline: Outline::rectangle(0.14, 0.22), edge_radius_m: 6e-3 })),
        network,
        part_spread: None,
        axis_m: None,
        ear: Ear { distance_m: 0.5, ..Ear::USUAL },
        space: Space::AsDesigned,
        drive_v: 2.83,
    }
}

/// The loudspeaker as it was built, and how its measurement is off: level in dB, and the sense resistor's ratio.
struct Built {
    design: Design,
    level_db: f64,
    sense_ratio: f64,
}

fn built(design: &Design, random: &mut Random) -> Built {
    let mut built = design.clone();
    for knob in Knob::all(design) {
        let spread = knob.spread(design);
        let by = spread * random.normal();
        let by = if matches!(knob, Knob::Leak | Knob::Absorption | Knob::OpeningLoss) {
            by.max(-knob.value(design))
        } else {
            by
        };
        knob.turn(&mut built, by);
    }
    built.ear.distance_m *= (0.01 * random.normal()).exp();
    Built { design: built, level_db: 0.5 * random.normal(), sense_ratio: (0.005 * random.normal()).exp() }
}

fn sided(random: &mut Random, from: f64, to: f64) -> f64 {
    let size = from + (to - from) * random.uniform();
    if random.uniform() < 0.5 { -size } else { size }
}

/// Puts a random fault into what was built; gives its cause and the true value, where it has one.
fn fault(design: &Design, built: &mut Built, random: &mut Random, avoid: Option<Cause>) -> (Cause, Option<f64>) {
    loop {
        let mut kinds = vec!["volume", "leak", "absorption", "driver", "level", "distance", "sense", "polarity"];
        match design.cabinet.map(|cabinet| cabinet.opening) {
            Some(CabinetOpening::Port(_)) => kinds.extend(["port", "port"]),
            Some(CabinetOpening::PassiveRadiator { .. }) => kinds.extend(["tuning", "radiator"]),
            _ => {}
        }
        if !design.network.parts.is_empty() {
            kinds.extend(["part", "part", "part", "open", "short", "swapped"]);
        }
        let pick = |random: &mut Random, count: usize| ((random.uniform() * count as f64) as usize).min(count - 1);
        let kind = kinds[pick(random, kinds.len())];
        let knob = |knob: Knob, built: &mut Built, by: f64| {
            // A fault takes the place of the usual deviation.
            let was = (knob.value(&built.design) / knob.value(design)).ln();
            knob.turn(&mut built.design, by - was);
            (Cause::Number(knob), Some(knob.value(&built.design)))
        };
        let loss = |knob: Knob, built: &mut Built, factor: f64| {
            let was = knob.value(&built.design);
            knob.turn(&mut built.design, factor - was);
            (Cause::Number(knob), Some(factor))
        };
        let before = (built.design.clone(), built.level_db, built.sense_ratio);
        let (cause, truth) = match kind {
            "volume" => knob(Knob::Volume, built, sided(random, 0.2, 0.45)),
            "port" => knob(Knob::PortLength, built, sided(random, 0.25, 0.6)),
            "tuning" => knob(Knob::Tuning, built, sided(random, 0.12, 0.3)),
            "radiator" => knob(Knob::RadiatorResonance, built, sided(random, 0.25, 0.4)),
            "leak" => loss(Knob::Leak, built, 1.0 / (2.0 + 6.0 * random.uniform())),
            "absorption" => loss(Knob::Absorption, built, 1.0 / (2.0 + 4.0 * random.uniform())),
            "part" => {
                let far = random.uniform() < 0.2;
                let by = if far { sided(random, 10f64.ln(), 10f64.ln()) } else { sided(random, 0.3, 0.8) };
                knob(Knob::Part(pick(random, design.network.parts.len())), built, by)
            }
            "driver" => {
                let way = pick(random, design.ways.len());
                let numbers =
                    [DriverNumber::Re, DriverNumber::Fs, DriverNumber::Qms, DriverNumber::Qes, DriverNumber::Vas];
                let number = Knob::Driver(way, numbers[pick(random, 5)]);
                let least = (4.0 * number.spread(design)).max(0.15);
                knob(number, built, sided(random, least, 1.7 * least))
            }
            "level" => {
                built.level_db = sided(random, 3.0, 9.0);
                (Cause::Level, Some(built.level_db))
            }
            "distance" => {
                built.design.ear.distance_m = design.ear.distance_m * sided(random, 0.3, 0.7).exp();
                (Cause::Distance, Some(built.design.ear.distance_m))
            }
            "sense" => {
                built.sense_ratio = sided(random, 0.1, 0.6).exp();
                (Cause::SenseResistor, Some(built.sense_ratio))
            }
            "polarity" => {
                let way = pick(random, design.ways.len());
                built.design.ways[way].polarity = built.design.ways[way].polarity.turned();
                (Cause::Polarity(way), None)
            }
            "swapped" => {
                let nodes = [built.design.ways[0].nodes, built.design.ways[1].nodes];
                (built.design.ways[0].nodes, built.design.ways[1].nodes) = (nodes[1], nodes[0]);
                (Cause::Swapped(0, 1), None)
            }
            _ => {
                let part = pick(random, design.network.parts.len());
                let condition = if kind == "open" { Condition::Open } else { Condition::Shorted };
                built.design.network.parts[part].condition = condition;
                (Cause::Broken(part, condition), None)
            }
        };
        let seen = matches!(cause, Cause::Polarity(_) | Cause::Level | Cause::SenseResistor | Cause::Distance)
            || shows(&before.0, &built.design);
        let twice = avoid.is_some_and(|avoid| {
            avoid.name(design) == cause.name(design)
                || matches!(avoid, Cause::Swapped(..)) && matches!(cause, Cause::Polarity(_))
                || matches!(cause, Cause::Swapped(..)) && matches!(avoid, Cause::Polarity(_))
        });
        if seen && !twice {
            return (cause, truth);
        }
        (built.design, built.level_db, built.sense_ratio) = before;
    }
}

fn grid() -> Vec<f64> {
    FrequencyGrid::of_octave_fractions([20.0, 20e3], 48).map(|grid| grid.hz().to_vec()).unwrap_or_default()
}

/// Whether a fault moves the response by 0.7 dB or the impedance by 5 % (rms), twice what a healthy build does: what does nothing can't be found.
fn shows(before: &Design, after: &Design) -> bool {
    let hz: Vec<f64> = grid().into_iter().step_by(8).collect();
    let (Ok(one), Ok(other)) = (simulate(before, &hz), simulate(after, &hz)) else { return true };
    let rms = |all: Vec<f64>| (all.iter().map(|one| one * one).sum::<f64>() / all.len() as f64).sqrt();
    let level =
        one.pressure_pa.iter().zip(&other.pressure_pa).skip(15).map(|(a, b)| level_db(*a) - level_db(*b)).collect();
    let ohm =
        one.impedance_ohm(before).iter().zip(other.impedance_ohm(after)).map(|(a, b)| (a / b).ln().norm()).collect();
    rms(level) > 0.7 || rms(ohm) > 0.05
}

/// Waves over the octaves of random period and phase, rms as given.
fn waves(hz: &[f64], rms: f64, random: &mut Random) -> Vec<f64> {
    let many: Vec<[f64; 2]> = (0..6).map(|_| [0.6 * (6.0f64).powf(random.uniform()), TAU * random.uniform()]).collect();
    let one = |hz: &f64| many.iter().map(|[period, phase]| (TAU * hz.log2() / period + phase).sin()).sum::<f64>();
    hz.iter().map(|hz| rms * (2.0f64 / 6.0).sqrt() * one(hz)).collect()
}

fn measured(built: &Built, random: &mut Random) -> Option<Evidence> {
    let hz = grid();
    let simulation = simulate(&built.design, &hz).ok()?;
    let delay_s = 40e-6 * random.normal();
    let travelled_m = built.design.ear.distance_m + 0.015 * random.normal();
    let bent = waves(&hz, 0.33, random);
    let turned = waves(&hz, 0.04, random);
    let level: Vec<f64> = simulation
        .pressure_pa
        .iter()
        .zip(&bent)
        .map(|(pressure, bent)| level_db(*pressure) + built.level_db + bent + 0.1 * random.normal())
        .collect();
    let phase = simulation
        .pressure_pa
        .iter()
        .zip(&hz)
        .zip(&turned)
        .map(|((pressure, hz), turned)| pressure.arg() - TAU * hz * delay_s + turned);
    let phase_rad: Vec<f64> = phase.collect();
    let (real, imaginary) = (waves(&hz, 0.004, random), waves(&hz, 0.004, random));
    let ohm = simulation.impedance_ohm(&built.design);
    let ohm: Vec<Complex64> = ohm
        .iter()
        .zip(real.iter().zip(&imaginary))
        .map(|(z, (re, im))| {
            let noise = Complex64::new(0.001 * random.normal() + re, 0.001 * random.normal() + im);
            // Z = R·H/(1 − H) with the R that was said.
            z / built.sense_ratio * (1.0 + noise)
        })
        .collect();
    let u_ohm = ohm.iter().map(|z| 0.001 * z.norm()).collect();
    let level = MeasuredLevel {
        u_db: vec![0.1; hz.len()],
        hz: hz.clone(),
        level_db: level,
        phase_rad,
        calibrated: true,
        travelled_m: Some(travelled_m),
    };
    let ohm = MeasuredOhm { hz, ohm, u_ohm };
    Evidence::new(Some((&level, [60.0, 18e3])), Some((&ohm, [20.0, 20e3])))
}

fn kind(cause: Cause, design: &Design) -> String {
    let name = cause.name(design);
    match cause {
        Cause::Number(Knob::Driver(_, number)) => format!("driver {}", number.name()),
        Cause::Number(Knob::Part(_)) => "part value".into(),
        Cause::Broken(_, Condition::Open) => "part open".into(),
        Cause::Broken(..) => "part shorted".into(),
        Cause::Polarity(_) => "polarity".into(),
        _ => name,
    }
}

fn explained(design: &Design, built: &Built, random: &mut Random) -> Option<Explanation> {
    explain(design, &measured(built, random)?).ok()
}

fn main() {
    let number = |at: usize, usual: u64| std::env::args().nth(at).and_then(|text| text.parse().ok()).unwrap_or(usual);
    let [faults, pairs, healthy, seed] = [number(1, 300), number(2, 100), number(3, 100), number(4, 1)];
    let verbose = std::env::args().nth(5).is_some();
    let mut table: BTreeMap<String, BTreeMap<String, usize>> = BTreeMap::new();
    let (mut right, mut declared, mut more, mut values, mut within) = (0, 0, 0, 0, 0);
    let only: Option<u64> = std::env::var("ONLY").ok().and_then(|text| text.parse().ok());
    for n in 0..faults {
        if only.is_some_and(|only| only != n) {
            continue;
        }
        let mut random = Random::new(seed * 100_000 + n);
        let design = loudspeaker(&mut random);
        let mut one = built(&design, &mut random);
        let (cause, truth) = fault(&design, &mut one, &mut random, None);
        let Some(found) = explained(&design, &one, &mut random) else { continue };
        let first = found.causes.first();
        let named = first.map_or("nothing".into(), |first| kind(first.cause, &design));
        *table.entry(kind(cause, &design)).or_default().entry(named.clone()).or_default() += 1;
        let is_right = first.is_some_and(|first| first.name == cause.name(&design));
        right += u64::from(is_right);
        more += u64::from(is_right && found.causes.len() > 1);
        declared += u64::from(!is_right && first.is_some_and(|first| first.instead.contains(&cause)));
        if let (true, Some(truth), Some([value, u])) = (is_right, truth, first.and_then(|first| first.found)) {
            values += 1;
            within += u64::from((value - truth).abs() <= 2.0 * u);
        }
        if verbose && !is_right {
            let all: Vec<String> = found.causes.iter().map(|one| format!("{} {:?}", one.name, one.found)).collect();
            println!(
                "seed {n}: {} {truth:?} in {} ways; named {all:?}, {:?}",
                cause.name(&design),
                design.ways.len(),
                found.model_error
            );
        }
    }
    println!(
        "{faults} single faults: first cause right {right} ({:.1} %), right one among its equals {declared}, more than one named {more}",
        100.0 * right as f64 / faults as f64
    );
    println!("values within 2u: {within} of {values} ({:.1} %)", 100.0 * within as f64 / values.max(1) as f64);
    for (of, named) in &table {
        let named: Vec<String> = named.iter().map(|(name, count)| format!("{name} {count}")).collect();
        println!("  {of:20} -> {}", named.join(", "));
    }
    let mut both = 0;
    for n in 0..pairs {
        let mut random = Random::new(seed * 100_000 + 50_000 + n);
        let design = loudspeaker(&mut random);
        let mut one = built(&design, &mut random);
        let (first, _) = fault(&design, &mut one, &mut random, None);
        let (second, _) = fault(&design, &mut one, &mut random, Some(first));
        let Some(found) = explained(&design, &one, &mut random) else { continue };
        let names: Vec<&str> = found.causes.iter().map(|one| one.name.as_str()).collect();
        let found_both = [first, second].iter().all(|cause| names.contains(&cause.name(&design).as_str()));
        both += u64::from(found_both);
        if verbose && !found_both {
            println!("pair {n}: {} and {}; named {names:?}", first.name(&design), second.name(&design));
        }
    }
    println!("{pairs} pairs of faults: both named {both} ({:.0} %)", 100.0 * both as f64 / pairs.max(1) as f64);
    let mut accused = 0;
    for n in 0..healthy {
        let mut random = Random::new(seed * 100_000 + 70_000 + n);
        let design = loudspeaker(&mut random);
        let one = built(&design, &mut random);
        let Some(found) = explained(&design, &one, &mut random) else { continue };
        accused += u64::from(!found.causes.is_empty());
        if verbose && !found.causes.is_empty() {
            let all: Vec<String> =
                found.causes.iter().map(|one| format!("{} {:?} of {:?}", one.name, one.found, one.designed)).collect();
            println!("healthy {n}: {all:?}");
        }
    }
    println!("{healthy} healthy builds: accused {accused}");
}
