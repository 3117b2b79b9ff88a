//! The fit of a driver's model against curves whose driver is known.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use boxwright::driver::{DriverModel, FitSettings, Suspension, SuspensionKind, VoiceCoil, VoiceCoilKind, fit_driver};
use boxwright::impedance::Impedance;
use boxwright::quantity::FrequencyGrid;

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
