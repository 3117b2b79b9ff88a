//! The fit of a driver's model against curves whose driver is known.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use boxwright::driver::{DriverModel, FitSettings, Suspension, SuspensionKind, VoiceCoil, VoiceCoilKind, fit_driver};
use boxwright::impedance::Impedance;
use boxwright::math::Random;
use boxwright::quantity::FrequencyGrid;
use num_complex::Complex64;
use std::f64::consts::TAU;

const COILS: [(VoiceCoilKind, VoiceCoil); 4] = [
    (VoiceCoilKind::Inductance, VoiceCoil::Inductance { le_h: 0.4e-3 }),
    (VoiceCoilKind::Ladder, VoiceCoil::Ladder { le_h: 0.3e-3, l2_h: 0.5e-3, r2_ohm: 4.0 }),
    (VoiceCoilKind::SemiInductance, VoiceCoil::SemiInductance { leb_h: 50e-6, le_h: 1.2e-3, ke_semih: 0.12 }),
    (VoiceCoilKind::PowerLaw, VoiceCoil::PowerLaw { k: 0.0055, n: 0.68 }),
];
const SUSPENSIONS: [(SuspensionKind, Suspension); 2] =
    [(SuspensionKind::Plain, Suspension::Plain), (SuspensionKind::Creep, Suspension::Creep { lambda: 0.1 })];

fn grid(from_hz: f64, to_hz: f64, per_octave: f64) -> FrequencyGrid {
    let last = ((to_hz / from_hz).log2() * per_octave).floor() as i32;
    FrequencyGrid::new((0..=last).map(|step| from_hz * (f64::from(step) / per_octave).exp2()).collect()).unwrap()
}

fn curve(model: &DriverModel, grid: FrequencyGrid) -> Impedance {
    let values = grid.hz().iter().map(|&hz| model.impedance_ohm(hz)).collect();
    Impedance::new(grid, values).unwrap()
}

fn driver(voice_coil: VoiceCoil, suspension: Suspension) -> DriverModel {
    DriverModel { re_ohm: 5.6, fs_hz: 38.0, qms: 4.2, qes: 0.42, voice_coil, suspension }
}

#[test]
fn without_noise_every_model_gives_its_numbers_back() {
    for (coil_kind, coil) in COILS {
        for (suspension_kind, suspension) in SUSPENSIONS {
            let truth = driver(coil, suspension);
            let curve = curve(&truth, grid(10.0, 20_000.0, 24.0));
            let given = FitSettings {
                voice_coil: Some(coil_kind),
                suspension: Some(suspension_kind),
                ..FitSettings::default()
            };
            for settings in [given, FitSettings::default()] {
                let fit = fit_driver(&curve, &settings).unwrap();
                let what = format!("{} {} {settings:?}", coil.name(), suspension.name());
                assert_eq!(fit.model.voice_coil.name(), coil.name(), "{what}");
                assert_eq!(fit.model.suspension.name(), suspension.name(), "{what}");
                let expected = numbers(&truth);
                assert_eq!(fit.values.len(), expected.len());
                for ((name, found), expected) in fit.names.iter().zip(&fit.values).zip(expected) {
                    // 1e-6: what is asked for; rounding leaves 1e-9 or less.
                    assert!((found / expected - 1.0).abs() < 1e-6, "{what}: {name} {found}, expected {expected}");
                }
                assert!(fit.residual_percent < 1e-6, "{what}: {}", fit.residual_percent);
            }
        }
    }
}

fn numbers(model: &DriverModel) -> Vec<f64> {
    let mut numbers = vec![model.re_ohm, model.fs_hz, model.qms, model.qes];
    match model.voice_coil {
        VoiceCoil::Inductance { le_h } => numbers.push(le_h),
        VoiceCoil::Ladder { le_h, l2_h, r2_ohm } => numbers.extend([le_h, l2_h, r2_ohm]),
        VoiceCoil::SemiInductance { leb_h, le_h, ke_semih } => numbers.extend([leb_h, le_h, ke_semih]),
        VoiceCoil::PowerLaw { k, n } => numbers.extend([k, n]),
    }
    if let Suspension::Creep { lambda } = model.suspension {
        numbers.push(lambda);
    }
    numbers
}

/// Voice coils whose corner lies beside or below the resonance, where the moving cone hides R₂, and a wide split of a
/// semi-inductance, all with creep: a search that begins with the plain suspension's voice coil loses the small part for good.
#[test]
fn a_voice_coil_hidden_by_the_resonance_is_found() {
    let ladder = |le_h, l2_h, r2_ohm| VoiceCoil::Ladder { le_h, l2_h, r2_ohm };
    let creep = |lambda| Suspension::Creep { lambda };
    let driver = |re_ohm, fs_hz, qms, qes, voice_coil, suspension| DriverModel {
        re_ohm,
        fs_hz,
        qms,
        qes,
        voice_coil,
        suspension,
    };
    let split = VoiceCoil::SemiInductance { leb_h: 158e-6, le_h: 8.8e-3, ke_semih: 1.23 };
    for truth in [
        driver(3.06, 1630.0, 4.62, 0.530, ladder(3.1e-6, 8.1e-6, 0.053), creep(0.143)),
        driver(5.83, 783.0, 4.52, 0.956, ladder(2.3e-6, 2.5e-6, 0.0132), creep(0.082)),
        driver(6.11, 31.6, 3.87, 0.373, ladder(95e-6, 307e-6, 0.0228), creep(0.049)),
        driver(2.01, 18.5, 4.53, 0.689, ladder(343e-6, 935e-6, 0.0476), Suspension::Plain),
        driver(3.12, 21.2, 5.34, 0.265, split, creep(0.093)),
    ] {
        let curve = curve(&truth, grid(truth.fs_hz / 4.0, 20_000.0, 48.0));
        let fit = fit_driver(&curve, &FitSettings::default()).unwrap();
        assert_eq!(fit.values.len(), numbers(&truth).len(), "{truth:?} {:?}", fit.model);
        for ((name, found), expected) in fit.names.iter().zip(&fit.values).zip(numbers(&truth)) {
            // 1e-6: what is asked for; the numbers are less well separated here, rounding leaves 1e-8.
            assert!((found / expected - 1.0).abs() < 1e-6, "{truth:?} {name} {found}, expected {expected}");
        }
    }
}

/// `truth` with noise of this part of |Z| on real and imaginary part, told, and off along Z by `error` of the frequency.
fn measured(truth: &DriverModel, noise_ratio: f64, random: &mut Random, error: impl Fn(f64) -> f64) -> Impedance {
    let grid = grid(10.0, 20_000.0, 24.0);
    let mut noisy = |hz: f64| {
        let noise = Complex64::new(random.normal(), random.normal());
        truth.impedance_ohm(hz) * (1.0 + error(hz) + noise_ratio * noise)
    };
    let values: Vec<Complex64> = grid.hz().iter().map(|&hz| noisy(hz)).collect();
    let u = values.iter().map(|z| noise_ratio * z.norm()).collect();
    let nothing = vec![0.0; values.len()];
    Impedance::new(grid, values).unwrap().with_doubt(u, nothing, None).unwrap()
}

/// AICc: a number that the curve does not need is rarely taken for real.
#[test]
fn a_simple_driver_is_rarely_given_a_voice_coil_or_a_creep_it_does_not_have() {
    let truth = driver(VoiceCoil::Inductance { le_h: 0.4e-3 }, Suspension::Plain);
    let mut random = Random::new(2);
    let is_simple = |_: &i32| {
        let fit = fit_driver(&measured(&truth, 1e-3, &mut random, |_| 0.0), &FitSettings::default()).unwrap();
        fit.values.len() == 5
    };
    let simple = (0..40).filter(is_simple).count();
    // Of nested models one number more gains over 4 in χ² by chance in 5 %, and about half of them in a direction that no thing
    // has: some 5 % go wrong. Of 40, 34 or fewer would be one chance in a hundred; without the penalty 25 are left.
    assert!(simple > 34, "{simple}");
}

/// A calibration that is off by 0.05 % of |Z|, smoothly: waves of two to eight octaves, of random size and phase.
#[test]
fn a_smooth_error_of_the_bench_is_within_the_stated_doubt() {
    let truth = driver(VoiceCoil::Ladder { le_h: 0.3e-3, l2_h: 0.5e-3, r2_ohm: 4.0 }, Suspension::Plain);
    let expected = numbers(&truth);
    let mut random = Random::new(3);
    let mut within = [0; 4];
    for _ in 0..100 {
        let waves: Vec<[f64; 3]> = [2.0, 3.0, 4.5, 8.0]
            .iter()
            .map(|octaves| [random.normal(), TAU / octaves, TAU * random.uniform()])
            .collect();
        // Four waves of mean square ½ each.
        let error = |hz: f64| {
            let sum: f64 = waves.iter().map(|[size, per_octave, at]| size * (per_octave * hz.log2() + at).cos()).sum();
            5e-4 * sum / 2f64.sqrt()
        };
        let fit = fit_driver(&measured(&truth, 2e-5, &mut random, error), &FitSettings::default()).unwrap();
        for (at, name) in ["re_ohm", "fs_hz", "qms", "qes"].into_iter().enumerate() {
            let (value, u) = fit.value(name).unwrap();
            within[at] += i32::from((value - expected[at]).abs() <= 2.0 * u);
        }
    }
    assert!(within.iter().all(|count| *count >= 90), "{within:?}");
}
