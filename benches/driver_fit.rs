//! What the fit of a driver costs: 400 complex points, one given model and the whole choice: `cargo bench --bench driver_fit`.
//!
//! The points are written to `target/driver_fit_points.csv`, where `docs/driver_fit_time.py` reads them to time a
//! general-purpose routine on the same problem.
#![allow(clippy::unwrap_used)] // a benchmark that can't go on may stop
#![allow(missing_docs)]

use boxwright::driver::{DriverModel, FitSettings, Suspension, SuspensionKind, VoiceCoil, VoiceCoilKind, fit_driver};
use boxwright::impedance::Impedance;
use boxwright::math::Random;
use boxwright::quantity::FrequencyGrid;
use divan::Bencher;
use num_complex::Complex64;
use std::fmt::Write;

fn main() {
    let curve = curve();
    let mut text = "frequency_hz,real_ohm,imaginary_ohm,u_ohm\n".to_owned();
    let u = curve.u_noise_ohm().unwrap();
    for (at, (hz, z)) in curve.hz().iter().zip(curve.values()).enumerate() {
        writeln!(text, "{hz:?},{:?},{:?},{:?}", z.re, z.im, u[at]).unwrap();
    }
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/target/driver_fit_points.csv"), text).unwrap();
    divan::main();
}

/// 400 points from 10 Hz to 20 kHz, noise of 0.1 % of |Z|.
fn curve() -> Impedance {
    let voice_coil = VoiceCoil::Ladder { le_h: 0.3e-3, l2_h: 0.5e-3, r2_ohm: 4.0 };
    let model =
        DriverModel { re_ohm: 5.6, fs_hz: 38.0, qms: 4.2, qes: 0.42, voice_coil, suspension: Suspension::Plain };
    let hz: Vec<f64> = (0..400).map(|at| 10.0 * 2000f64.powf(f64::from(at) / 399.0)).collect();
    let mut random = Random::new(1);
    let mut noisy =
        |hz: &f64| model.impedance_ohm(*hz) * (1.0 + 1e-3 * Complex64::new(random.normal(), random.normal()));
    let values: Vec<Complex64> = hz.iter().map(&mut noisy).collect();
    let u = values.iter().map(|z| 1e-3 * z.norm()).collect();
    let curve = Impedance::new(FrequencyGrid::new(hz).unwrap(), values).unwrap();
    let nothing = vec![0.0; 400];
    curve.with_doubt(u, nothing, None).unwrap()
}

#[divan::bench]
fn one_model(bencher: Bencher) {
    let curve = curve();
    let settings = FitSettings {
        voice_coil: Some(VoiceCoilKind::Ladder),
        suspension: Some(SuspensionKind::Plain),
        ..FitSettings::default()
    };
    bencher.bench(|| fit_driver(divan::black_box(&curve), &settings).unwrap());
}

#[divan::bench]
fn whole_choice(bencher: Bencher) {
    let curve = curve();
    bencher.bench(|| fit_driver(divan::black_box(&curve), &FitSettings::default()).unwrap());
}
