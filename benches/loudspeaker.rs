//! What a simulation of 1000 points costs, and an explanation: `cargo bench --bench loudspeaker`.
#![allow(clippy::unwrap_used)] // a benchmark that can't go on may stop
#![allow(missing_docs)]

use boxwright::baffle::{FlatBaffle, Outline};
use boxwright::explanation::{Evidence, MeasuredLevel, MeasuredOhm, explain};
use boxwright::files;
use boxwright::job::designs;
use boxwright::speaker::{Design, Front, level_db, simulate, tolerance};
use divan::Bencher;
use std::path::Path;

fn main() {
    divan::main();
}

/// A closed two-way with a third-order filter, on a front with rounded edges.
fn two_way() -> Design {
    let path = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/circuit/speakers/closed_two_way.toml"));
    let mut design = designs(&files::read_job(path).unwrap(), path, None).unwrap().swap_remove(0).design;
    design.front = Some(Front::Flat(FlatBaffle { outline: Outline::rectangle(0.14, 0.21), edge_radius_m: 6e-3 }));
    design
}

fn points(count: usize) -> Vec<f64> {
    (0..count).map(|n| 20.0 * 1000f64.powf(n as f64 / (count - 1) as f64)).collect()
}

#[divan::bench]
fn simulation_of_1000_points(bencher: Bencher<'_, '_>) {
    let (design, hz) = (two_way(), points(1000));
    bencher.bench(|| simulate(&design, &hz).unwrap());
}

#[divan::bench]
fn its_band_by_all_numbers(bencher: Bencher<'_, '_>) {
    let (design, hz) = (two_way(), points(1000));
    bencher.bench(|| tolerance(&design, &hz).unwrap());
}

#[divan::bench]
fn explanation_of_a_wrong_capacitor(bencher: Bencher<'_, '_>) {
    let design = two_way();
    let hz = points(480);
    let mut built = design.clone();
    built.network.parts.iter_mut().find(|part| part.name == "C2").unwrap().value *= 0.6;
    let found = simulate(&built, &hz).unwrap();
    let level = MeasuredLevel {
        hz: hz.clone(),
        level_db: found.pressure_pa.iter().map(|pressure| level_db(*pressure)).collect(),
        phase_rad: found.pressure_pa.iter().map(|pressure| pressure.arg()).collect(),
        u_db: Vec::new(),
        calibrated: true,
        travelled_m: None,
    };
    let ohm = MeasuredOhm { hz, ohm: found.impedance_ohm(&built), u_ohm: Vec::new() };
    let evidence = Evidence::new(Some((&level, [50.0, 18e3])), Some((&ohm, [20.0, 20e3]))).unwrap();
    bencher.bench(|| {
        let found = explain(&design, &evidence).unwrap();
        assert_eq!(found.causes[0].name, "C2");
        found
    });
}
