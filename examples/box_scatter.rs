//! How well boxes are found, and whether their stated uncertainty holds, over random drivers in random boxes behind a
//! noisy divider: `cargo run --release --example box_scatter -- [BOXES] [SEED]`, 400 closed boxes and half as many
//! vented ones unless told.
//!
//! Drivers: f_s 35 to 110 Hz, Q_ms 2.5 to 8, Q_es 0.3 to 1, voice coils of an inductance with a lossy part, creep of
//! the suspension in half of them. Boxes: α 0.5 to 8. Closed ones, a third each: clean (no leak or Q_L above 100, Q_A
//! 50 to 200), leaky (Q_L 3 to 40, Q_A 20 to 100), stuffed (airtight, Q_A 5 to 30, effective volume 1.05 to 1.3 times
//! the empty one). Vented ones: f_b 0.6 to 1.5 f_s, Q_L 5 to 20, Q_A and Q_P 30 to 150.
//!
//! Three curves of 48 points an octave from 10 Hz to 20 kHz, `h = Z/(Z + R)` with noise of σ on real and imaginary part
//! of h, relative to |h|, R = 10 ohm: the driver in free air, in an airtight test box of 2 V (known to 0.5 %), and in
//! the box. From the first two `fit_driver` and `driver_parameters` make the known driver, as a builder would. From
//! these to the curve in the box the driver moves: R_e by 1 %, stiffness by 0.5 %, friction by 3 % (standard
//! deviations), mass by 0 to 5 %; in the test box, minutes later, only the mass, by 2 %.
//!
//! The truth of closed boxes is the simulated bench's, which shares no code with the diagnosis; that of vented boxes is
//! the circuit in acoustic units, written out here.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)] // an experiment may stop, and prints what it finds

use boxwright::bench::{Bend, Driver, Enclosure, HungDriver, Load, LossyInductance};
use boxwright::diagnosis::{BoxKind, BoxSettings, FoundBox, KnownDriver, LeakVerdict, NearField, examine_box};
use boxwright::driver::{
    Doubted, DriverFit, Evidence, FitSettings, SuspensionKind, VoiceCoilKind, driver_parameters, fit_driver,
};
use boxwright::impedance::Impedance;
use boxwright::math::Random;
use boxwright::quantity::{Code, FrequencyGrid};
use num_complex::Complex64;
use std::f64::consts::TAU;

const SENSE_OHM: f64 = 10.0;
/// What the bench takes, kg/m³ and m/s.
const DENSITY: f64 = 1.2041;
const SPEED: f64 = 343.21;
const NOISES: [f64; 3] = [3e-4, 1e-3, 3e-3];
const TEST_BOX_U: f64 = 0.005;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Class {
    Clean,
    Leaky,
    Stuffed,
    Vented,
}

/// A driver and what is behind it; losses at the box's own resonance.
#[derive(Debug, Clone)]
struct Case {
    class: Class,
    driver: Driver,
    creep: f64,
    volume_m3: f64,
    ql: Option<f64>,
    qa: Option<f64>,
    qp: Option<f64>,
    fb_hz: f64,
}

/// Found less true, true, and the stated uncertainty.
type Off = [f64; 3];

#[derive(Debug)]
struct Outcome {
    case: Case,
    verdict: LeakVerdict,
    evidence: f64,
    offs: Vec<(&'static str, Off)>,
}

fn main() {
    let mut numbers = std::env::args().skip(1).filter_map(|word| word.parse::<u64>().ok());
    let (boxes, seed) = (numbers.next().unwrap_or(400), numbers.next().unwrap_or(1));
    println!("{boxes} closed and {} vented boxes a line, seed {seed}; u: standard uncertainty", boxes / 2);
    for noise in NOISES {
        println!("\nnoise {noise:.0e}");
        let classes = [Class::Clean, Class::Leaky, Class::Stuffed];
        let closed = outcomes(boxes, seed, noise, |at| classes[at as usize % classes.len()]);
        tell_leaks(&closed);
        for class in classes {
            tell(&closed, class, &["volume_m3", "alpha", "fc_hz", "qtc", "leakage", "absorption"]);
        }
        let vented = outcomes(boxes / 2, seed + 1, noise, |_| Class::Vented);
        tell(&vented, Class::Vented, &["fb_hz", "volume_m3", "alpha", "losses", "leakage", "absorption", "opening"]);
    }
}

fn outcomes(boxes: u64, seed: u64, noise: f64, class: impl Fn(u64) -> Class + Sync) -> Vec<Outcome> {
    let threads = std::thread::available_parallelism().map_or(1, |count| count.get() as u64);
    let class = &class;
    let part = |first: u64| {
        let mine = (first..boxes).step_by(threads as usize);
        mine.filter_map(|at| outcome(class(at), (seed << 32) + at, noise)).collect::<Vec<_>>()
    };
    std::thread::scope(|scope| {
        let parts: Vec<_> = (0..threads).map(|first| scope.spawn(move || part(first))).collect();
        parts.into_iter().flat_map(|part| part.join().unwrap()).collect()
    })
}

/// Which boxes a line counts.
type Group = Box<dyn Fn(&Case) -> bool>;

fn tell_leaks(all: &[Outcome]) {
    let count = |class: &dyn Fn(&Case) -> bool, verdict: LeakVerdict| {
        all.iter().filter(|outcome| class(&outcome.case) && outcome.verdict == verdict).count()
    };
    let ql = |case: &Case| case.ql.unwrap_or(f64::INFINITY);
    let is_leaky =
        |from: f64, to: f64| move |case: &Case| case.class == Class::Leaky && ql(case) >= from && ql(case) < to;
    let groups: [(&str, Group); 4] = [
        ("clean", Box::new(|case| case.class == Class::Clean)),
        ("stuffed", Box::new(|case| case.class == Class::Stuffed)),
        ("QL 3..20", Box::new(is_leaky(3.0, 20.0))),
        ("QL 20..40", Box::new(is_leaky(20.0, 41.0))),
    ];
    for (name, group) in &groups {
        let [leaky, tight, undecided] =
            [LeakVerdict::Leaky, LeakVerdict::Airtight, LeakVerdict::Undecided].map(|verdict| count(group, verdict));
        println!("  {name:10} leaky {leaky:4}  airtight {tight:4}  undecided {undecided:4}");
    }
}

fn tell(all: &[Outcome], class: Class, names: &[&str]) {
    let of_class: Vec<&Outcome> = all.iter().filter(|outcome| outcome.case.class == class).collect();
    println!("  {class:?}, {} boxes   error %: rms, half below, 95 % below; within 2u", of_class.len());
    for name in names {
        let offs: Vec<Off> = of_class
            .iter()
            .flat_map(|outcome| outcome.offs.iter().filter(|(known, _)| known == name).map(|(_, off)| *off))
            .collect();
        if offs.is_empty() {
            continue;
        }
        let mut percent: Vec<f64> = offs.iter().map(|[off, truth, _]| 100.0 * (off / truth).abs()).collect();
        percent.sort_by(f64::total_cmp);
        let rms = (percent.iter().map(|p| p * p).sum::<f64>() / percent.len() as f64).sqrt();
        let at = |share: f64| percent[((percent.len() - 1) as f64 * share) as usize];
        println!(
            "    {name:10} {rms:7.2} {:7.2} {:7.2}   {} of {}",
            at(0.5),
            at(0.95),
            cover(&of_class, name),
            offs.len()
        );
    }
    let worst = of_class
        .iter()
        .flat_map(|outcome| outcome.offs.iter().map(move |(name, [off, _, u])| ((off / u).abs(), name, outcome)))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((sigmas, name, outcome)) = worst {
        let Case { volume_m3, ql, qa, creep, .. } = &outcome.case;
        println!(
            "    farthest: {name} by {sigmas:.1} u, evidence {:.1}, volume {:.1} l, QL {ql:?}, QA {qa:?}, creep {creep:.3}",
            outcome.evidence,
            1e3 * volume_m3
        );
    }
}

/// How often the truth lies within two uncertainties: of all, of drivers whose suspension does not creep, of those
/// whose does.
fn cover(outcomes: &[&Outcome], name: &str) -> String {
    let share = |wanted: &dyn Fn(&Outcome) -> bool| {
        let of = outcomes.iter().filter(|outcome| wanted(outcome)).flat_map(|outcome| &outcome.offs);
        let of: Vec<Off> = of.filter(|(known, _)| *known == name).map(|(_, off)| *off).collect();
        100.0 * of.iter().filter(|[off, _, u]| off.abs() <= 2.0 * u).count() as f64 / of.len() as f64
    };
    let creeps = |outcome: &Outcome| outcome.case.creep > 0.0;
    format!("{:5.1} ({:5.1} {:5.1}) %", share(&|_| true), share(&|outcome| !creeps(outcome)), share(&creeps))
}

fn outcome(class: Class, seed: u64, noise: f64) -> Option<Outcome> {
    let mut random = Random::new(seed);
    let case = random_case(&mut random, class);
    let known = known_driver(&case, noise, &mut random)?;
    let boxed = moved(&case.driver, &mut random, 1.0 + 0.05 * random_share(seed));
    let hz = frequencies_hz();
    let truth: Vec<Complex64> = hz.iter().map(|&hz| boxed_ohm(&case, &boxed, hz)).collect();
    let kind = if class == Class::Vented { BoxKind::Vented } else { BoxKind::Closed };
    let settings = BoxSettings { kind, band_hz: None, near: NearField::default() };
    let found = examine_box(&measured(&hz, &truth, noise, &mut random), Some(&known), &settings);
    let found = found.map_err(|error| println!("    {class:?} {seed}: {error}")).ok()?;
    let offs = offs(&case, &boxed, &found);
    Some(Outcome { case, verdict: found.leak.verdict, evidence: found.leak.evidence, offs })
}

fn random_share(seed: u64) -> f64 {
    Random::new(seed ^ 0x5555).uniform()
}

fn offs(case: &Case, boxed: &Driver, found: &FoundBox) -> Vec<(&'static str, Off)> {
    let mut offs = Vec::new();
    let mut push = |name: &'static str, truth: f64| {
        if let Some(number) = found.doubted(name) {
            offs.push((name, [number.value - truth, truth, number.u]));
        }
    };
    push("volume_m3", case.volume_m3);
    // α is the air against the suspension; of one that creeps there is no one stiffness.
    if case.creep == 0.0 {
        push("alpha", case.driver.vas_m3() / case.volume_m3);
    }
    if case.class == Class::Vented {
        push("fb_hz", case.fb_hz);
        let total = [case.ql, case.qa, case.qp].into_iter().flatten().map(f64::recip).sum();
        push("losses", total);
        // Alone it stands for all of them.
        let is_lumped = found.findings.iter().any(|finding| finding.code == Code::LossesLumped);
        if !is_lumped {
            push("leakage", 1.0 / case.ql.unwrap());
            push("absorption", 1.0 / case.qa.unwrap());
            push("opening", 1.0 / case.qp.unwrap());
        }
        return offs;
    }
    let hung = HungDriver {
        enclosure: Some(enclosure(case)),
        creep_per_decade: case.creep,
        ..HungDriver::free(boxed.clone())
    };
    let [fc_hz, qtc] = truth_of(&hung);
    push("fc_hz", fc_hz);
    push("qtc", qtc);
    // The bench takes its losses at the resonance of the quick part of a creeping suspension; the resistances are what
    // they are.
    let quick_hz = boxed.fs_hz() * (1.0 + boxed.vas_m3() / case.volume_m3).sqrt();
    let elsewhere = found.model.reference_hz() / quick_hz;
    if let Some(ql) = case.ql {
        push("leakage", 1.0 / ql / elsewhere);
    }
    if let Some(qa) = case.qa {
        push("absorption", elsewhere / qa);
    }
    offs
}

/// f_c and Q_tc in the box.
fn truth_of(hung: &HungDriver) -> [f64; 2] {
    use boxwright::bench::{Jig, JigSettings};
    let settings = JigSettings { load: Load::Driver(Box::new(hung.clone())), ..JigSettings::default() };
    let truth = Jig::new(settings).unwrap().truth(&[100.0], -20.0, 1.0);
    let boxed = truth.at[0].boxed.unwrap().closed.unwrap();
    [boxed.fc_hz, boxed.qtc]
}

fn enclosure(case: &Case) -> Enclosure {
    Enclosure { ql: case.ql, qa: case.qa, ..Enclosure::closed(case.volume_m3) }
}

fn known_driver(case: &Case, noise: f64, random: &mut Random) -> Option<KnownDriver> {
    let hz = frequencies_hz();
    let load = |driver: Driver, enclosure: Option<Enclosure>| {
        Load::Driver(Box::new(HungDriver { enclosure, creep_per_decade: case.creep, ..HungDriver::free(driver) }))
    };
    let curve = |load: &Load, random: &mut Random| {
        let truth: Vec<Complex64> = hz.iter().map(|&hz| load.impedance(hz, 0.0).unwrap()).collect();
        measured(&hz, &truth, noise, random)
    };
    let free = fit_driver(&curve(&load(case.driver.clone(), None), random), &FitSettings::default()).ok()?;
    let volume_m3 = 2.0 * case.volume_m3;
    let test = Driver { mms_kg: 1.02 * case.driver.mms_kg, ..case.driver.clone() };
    let test = load(test, Some(Enclosure::closed(volume_m3)));
    let settings = FitSettings {
        voice_coil: Some(VoiceCoilKind::of(&free.model.voice_coil)),
        suspension: Some(SuspensionKind::of(&free.model.suspension)),
        ..FitSettings::default()
    };
    let in_box = fit_driver(&curve(&test, random), &settings).ok()?;
    let told = volume_m3 * (1.0 + TEST_BOX_U * random.normal());
    let evidence = Evidence {
        in_box: Some((in_box, Doubted { value: told, u: TEST_BOX_U * volume_m3 })),
        sd_m2: Some(Doubted { value: case.driver.sd_m2, u: 0.02 * case.driver.sd_m2 }),
        ..Evidence::default()
    };
    let parameters = driver_parameters(&free, &evidence).ok()?;
    let DriverFit { model, covariance, .. } = free;
    Some(KnownDriver {
        model,
        covariance,
        vas_m3: parameters.value("vas_m3"),
        sd_m2: parameters.value("sd_m2"),
        mms_kg: parameters.value("mms_kg"),
        bl_tm: parameters.value("bl_tm"),
    })
}

/// The same driver at another time, its mass times `mass`.
fn moved(driver: &Driver, random: &mut Random, mass: f64) -> Driver {
    let mut by = |sigma: f64| 1.0 + sigma * random.normal();
    Driver {
        re_ohm: driver.re_ohm * by(0.01),
        cms_m_n: driver.cms_m_n / by(0.005),
        rms_kg_s: driver.rms_kg_s * by(0.03),
        mms_kg: driver.mms_kg * mass,
        ..driver.clone()
    }
}

fn random_case(random: &mut Random, class: Class) -> Case {
    let mut of = |low: f64, high: f64| low * (high / low).powf(random.uniform());
    let (fs_hz, qms, qes, re_ohm, alpha) = (of(35.0, 110.0), of(2.5, 8.0), of(0.3, 1.0), of(3.2, 7.0), of(0.5, 8.0));
    let volume_m3 = of(0.8e-3, 30e-3);
    let sd_m2 = 50e-4 * (volume_m3 / 3e-3).powf(0.5);
    let cms_m_n = alpha * volume_m3 / (DENSITY * SPEED * SPEED * sd_m2 * sd_m2);
    let mms_kg = 1.0 / ((TAU * fs_hz).powi(2) * cms_m_n);
    let le_h = of(0.05e-3, 0.4e-3);
    let l2_h = le_h * of(0.7, 2.0);
    let driver = Driver {
        re_ohm,
        le_h,
        lossy: Some(LossyInductance { l2_h, r2_ohm: TAU * of(800.0, 5000.0) * l2_h }),
        bl_tm: (TAU * fs_hz * mms_kg * re_ohm / qes).sqrt(),
        mms_kg,
        rms_kg_s: TAU * fs_hz * mms_kg / qms,
        cms_m_n,
        sd_m2,
        force_factor: Bend::STRAIGHT,
        stiffness: Bend::STRAIGHT,
        inductance: Bend::STRAIGHT,
        limit_m: 3e-3,
    };
    let creep = if of(1.0, 2.0) < 2f64.sqrt() { 0.0 } else { of(0.03, 0.12) };
    let (ql, qa, qp, gain) = match class {
        Class::Clean => {
            let ql = of(50.0, 1000.0);
            ((ql > 100.0).then_some(ql), Some(of(50.0, 200.0)), None, 1.0)
        }
        Class::Leaky => (Some(of(3.0, 40.0)), Some(of(20.0, 100.0)), None, 1.0),
        Class::Stuffed => (None, Some(of(5.0, 30.0)), None, of(1.05, 1.3)),
        Class::Vented => (Some(of(5.0, 20.0)), Some(of(30.0, 150.0)), Some(of(30.0, 150.0)), 1.0),
    };
    Case { class, driver, creep, volume_m3: volume_m3 * gain, ql, qa, qp, fb_hz: fs_hz * of(0.6, 1.5) }
}

fn boxed_ohm(case: &Case, driver: &Driver, hz: f64) -> Complex64 {
    if case.class != Class::Vented {
        let hung = HungDriver {
            enclosure: Some(enclosure(case)),
            creep_per_decade: case.creep,
            ..HungDriver::free(driver.clone())
        };
        return Load::Driver(Box::new(hung)).impedance(hz, 0.0).unwrap();
    }
    // Acoustic impedances, Pa·s/m³; R_AL across the box, R_AB in series with its compliance, mass and loss of the vent.
    let s = Complex64::new(0.0, TAU * hz);
    let omega_b = TAU * case.fb_hz;
    let compliance = case.volume_m3 / (DENSITY * SPEED * SPEED);
    let reactance = 1.0 / (omega_b * compliance);
    let air = 1.0 / (s * compliance) + reactance / case.qa.unwrap();
    let vent = s * reactance / omega_b + reactance / case.qp.unwrap();
    let leak = reactance * case.ql.unwrap();
    let rear = 1.0 / (1.0 / air + 1.0 / vent + 1.0 / leak);
    // The driver alone, less its box of nothing: what remains of Bl²/(Z − Z_coil) is its mechanical impedance.
    let free = HungDriver { creep_per_decade: case.creep, ..HungDriver::free(driver.clone()) };
    let lossy = driver.lossy.unwrap();
    let coil = driver.re_ohm + s * driver.le_h + s * lossy.l2_h * lossy.r2_ohm / (s * lossy.l2_h + lossy.r2_ohm);
    let alone = Load::Driver(Box::new(free)).impedance(hz, 0.0).unwrap();
    let mechanical = driver.bl_tm.powi(2) / (alone - coil) + driver.sd_m2.powi(2) * rear;
    coil + driver.bl_tm.powi(2) / mechanical
}

fn frequencies_hz() -> Vec<f64> {
    (-318..=207).map(|k| 1000.0 * (f64::from(k) / 48.0).exp2()).collect()
}

fn measured(hz: &[f64], truth: &[Complex64], noise: f64, random: &mut Random) -> Impedance {
    let noisy = |z: &Complex64| {
        let h = z / (z + SENSE_OHM) * (1.0 + noise * Complex64::new(random.normal(), random.normal()));
        SENSE_OHM * h / (1.0 - h)
    };
    let values: Vec<Complex64> = truth.iter().map(noisy).collect();
    let u = values.iter().map(|z| noise * z.norm() * (1.0 + z / SENSE_OHM).norm()).collect();
    let grid = FrequencyGrid::new(hz.to_vec()).unwrap();
    let nothing = vec![0.0; values.len()];
    Impedance::new(grid, values).unwrap().with_doubt(u, nothing, None).unwrap()
}
