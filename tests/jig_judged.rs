//! The simulated jig as the judge: how often curve and driver lie within what is said of their doubt.
#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test that can't go on may stop; figures are for --nocapture

#[path = "systems/simulated.rs"]
mod simulated;

use boxwright::bench::{Jig, JigSettings, Load};
use boxwright::driver::{FitSettings, fit_driver};
use boxwright::impedance::JigCaptures;
use simulated::{alone, capture, facts, hung, measured, noisy, recorded, sweep};

const SEEDS: u64 = 30;

#[test]
fn curve_and_driver_lie_within_their_doubt_as_often_as_they_say() {
    // Leads and known resistor are exact here, so only noise is left: a jig whose inputs draw nothing, and a small signal.
    let settings = |load| {
        let mut settings = JigSettings { load, ..JigSettings::default() };
        settings.wiring.load_input_ohm = None;
        settings.drive_input.noise_dbfs = None;
        settings.load_input.noise_dbfs = None;
        settings
    };
    let excitation = sweep(20.0, 1, -30.0);
    let quiet = |load: Load| recorded(&excitation, load.clone(), |jig| *jig = settings(load));
    let (load, known) = (quiet(hung(|_| ())), quiet(Load::Resistor { ohm: 10.0 }));
    let jig = Jig::new(settings(hung(|_| ()))).unwrap();
    let mut inside = [0.0; 5];
    let (mut points, mut misfits, mut widened) = (0.0, 0.0, 0.0);
    for seed in 0..SEEDS {
        // −90 dBFS re a sine, loud enough to hide what is wrong otherwise.
        let noise = |recording, seed| noisy(recording, 2.2e-5, seed);
        let (load, known) = (noise(&load, 2 * seed), noise(&known, 2 * seed + 1));
        let captures = JigCaptures { known: Some(capture(&known, &excitation)), ..alone(&load, &excitation) };
        let found = measured(&captures, facts());
        let truth = |hz: f64| jig.settings().load.impedance(hz, 0.0).unwrap();
        let u = found.impedance.u_noise_ohm().unwrap();
        for ((z, hz), u) in found.impedance.values().iter().zip(found.impedance.hz()).zip(u) {
            let off = z - truth(*hz);
            for part in [off.re, off.im] {
                inside[0] += f64::from(u8::from(part.abs() < 2.0 * u));
                points += 1.0;
            }
        }
        let fit = fit_driver(&found.impedance, &FitSettings::default()).unwrap();
        misfits += fit.misfit_ratio.unwrap_or(f64::NAN);
        widened += fit.widened_ratio;
        let truth = jig.truth(&[100.0], -30.0, 1.0).at[0].driver.unwrap();
        let expected = [("re_ohm", truth.re_ohm), ("fs_hz", truth.fs_hz), ("qms", truth.qms), ("qes", truth.qes)];
        for (which, (name, expected)) in expected.into_iter().enumerate() {
            let at = fit.names.iter().position(|known| *known == name).unwrap();
            let u = fit.covariance[at][at].sqrt();
            inside[which + 1] += f64::from(u8::from((fit.values[at] - expected).abs() < 2.0 * u));
        }
    }
    let seeds = SEEDS as f64;
    let curve = 100.0 * inside[0] / points;
    let parameters: Vec<f64> = inside[1..].iter().map(|n| 100.0 * n / seeds).collect();
    println!(
        "curve {curve:.1} %, re fs qms qes {parameters:.0?} %; misfit {:.3}, widened {:.2}",
        misfits / seeds,
        widened / seeds
    );
    // 95.4 % is what a normal error has; the points of the lowest octaves share their noise, so that 30 seeds count a few hundred times.
    assert!((92.0..=98.0).contains(&curve), "{curve}");
    // 27 of 30: one case in five hundred has fewer of 95.4 %.
    assert!(parameters.iter().all(|share| *share >= 86.0), "{parameters:?}");
    // Noise is the only error here, and is not overstated.
    assert!((0.8..1.25).contains(&(misfits / seeds)) && widened / seeds < 1.5, "{misfits} {widened}");
}
