//! The circuit of a driver in its box against a circuit simulator and against a table of features.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use boxwright::driver::{DriverModel, Suspension, VoiceCoil};
use boxwright::enclosure::{BoxedDriver, Enclosure, LossFactors, Moved, Opening};
use num_complex::Complex64;

fn set_a(alpha: f64, opening: Opening, [ql, qa, qp]: [f64; 3]) -> BoxedDriver {
    let driver = DriverModel {
        re_ohm: 5.6,
        fs_hz: 38.0,
        qms: 4.2,
        qes: 0.42,
        voice_coil: VoiceCoil::Inductance { le_h: 0.4e-3 },
        suspension: Suspension::Plain,
    };
    let losses = LossFactors { leakage: 1.0 / ql, absorption: 1.0 / qa, opening: 1.0 / qp };
    BoxedDriver { driver, moved: Moved::NOTHING, enclosure: Enclosure { alpha, opening, losses } }
}

/// The netlists in `tests/reference/circuit/boxes`, solved by a circuit simulator.
#[test]
fn boxes_solved_by_a_simulator_agree_with_the_circuit() {
    let none = f64::INFINITY;
    let boxed = |name: &str| match name {
        "closed" => set_a(8.0 / 3.0, Opening::None, [8.0, 30.0, none]),
        "vented" => set_a(1.6, Opening::Vent { fb_hz: 42.0 }, [10.0, 40.0, 60.0]),
        "radiator" => set_a(1.6, Opening::PassiveRadiator { fb_hz: 42.0, fp_hz: 20.0 }, [15.0, 50.0, 25.0]),
        other => panic!("{other}"),
    };
    let (mut worst, mut rows) = (0f64, 0);
    for line in include_str!("reference/circuit/box_circuits.csv").lines().filter(|line| !line.starts_with('#')).skip(1)
    {
        let fields: Vec<&str> = line.split(',').collect();
        let [hz, real, imaginary] = [1, 2, 3].map(|at: usize| fields[at].parse::<f64>().unwrap());
        let expected = Complex64::new(real, imaginary);
        worst = worst.max((boxed(fields[0]).impedance_ohm(hz) - expected).norm() / expected.norm());
        rows += 1;
    }
    assert_eq!(rows, 3 * 44);
    // 1e-7: printed digits leave 1e-8. From below: two programs never agree to the last bit.
    assert!(worst < 1e-7 && worst > 1e-13, "{worst:e}");
}
