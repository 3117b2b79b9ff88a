//! The driver's model and its fit against published numbers, constructed sets, and a circuit simulator.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use boxwright::driver::{
    DriverModel, FitSettings, Suspension, SuspensionKind, ThreePoint, VoiceCoil, VoiceCoilKind, fit_driver,
};
use boxwright::impedance::Impedance;
use boxwright::quantity::FrequencyGrid;
use num_complex::Complex64;
use std::collections::BTreeMap;
use std::f64::consts::TAU;

fn curve(model: &DriverModel, per_octave: f64, octaves: [f64; 2]) -> Impedance {
    let steps = ((octaves[1] - octaves[0]) * per_octave) as i32;
    let hz = (0..=steps).map(|step| model.fs_hz * (octaves[0] + f64::from(step) / per_octave).exp2()).collect();
    let grid = FrequencyGrid::new(hz).unwrap();
    let values = grid.hz().iter().map(|&hz| model.impedance_ohm(hz)).collect();
    Impedance::new(grid, values).unwrap()
}

fn assert_close(found: f64, expected: f64, relative: f64, what: &str) {
    assert!((found / expected - 1.0).abs() <= relative, "{what}: {found}, expected {expected}");
}

type Row = BTreeMap<String, String>;

/// Rows of a table whose fields may be quoted.
fn rows(text: &str) -> Vec<Row> {
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    let names = fields(lines.next().unwrap());
    lines.map(|line| names.iter().cloned().zip(fields(line)).collect()).collect()
}

fn fields(line: &str) -> Vec<String> {
    let doubled = line.replace("\"\"", "\u{1}");
    let mut fields = vec![String::new()];
    let mut is_quoted = false;
    for c in doubled.chars() {
        match c {
            '"' => is_quoted = !is_quoted,
            ',' if !is_quoted => fields.push(String::new()),
            '\u{1}' => fields.last_mut().unwrap().push('"'),
            _ => fields.last_mut().unwrap().push(c),
        }
    }
    fields
}

fn number(row: &Row, name: &str) -> f64 {
    row[name].parse().unwrap()
}

fn three_point(model: &DriverModel) -> ThreePoint {
    // Fine enough that a parabola and a cubic are as good as the curve itself.
    let settings = FitSettings {
        voice_coil: Some(VoiceCoilKind::Inductance),
        suspension: Some(SuspensionKind::Plain),
        ..FitSettings::default()
    };
    fit_driver(&curve(model, 192.0, [-4.0, 4.0]), &settings).unwrap().three_point.unwrap()
}

fn sets() -> Vec<Row> {
    let mut sets = rows(include_str!("reference/driver_examples.csv"));
    sets.retain(|set| !set["zmax_ohm"].is_empty());
    assert_eq!(sets.len(), 4);
    sets
}

fn set_model(set: &Row, voice_coil: VoiceCoil) -> DriverModel {
    let of = |name| number(set, name);
    DriverModel {
        re_ohm: of("re_ohm"),
        fs_hz: of("fs_hz"),
        qms: of("qms"),
        qes: of("qes"),
        voice_coil,
        suspension: Suspension::Plain,
    }
}

#[test]
fn the_constructed_sets_come_back_by_the_hand_method_from_a_coil_without_inductance() {
    for set in sets().iter().take(3) {
        let found = three_point(&set_model(set, VoiceCoil::Inductance { le_h: 0.0 }));
        let pairs = [
            ("fs_hz", found.fs_hz),
            ("zmax_ohm", found.zmax_ohm),
            ("re_ohm", found.re_ohm),
            ("f1_hz", found.sides_hz[0]),
            ("f2_hz", found.sides_hz[1]),
            ("qms", found.qms),
            ("qes", found.qes),
            ("qts", found.qts),
        ];
        for (name, value) in pairs {
            // 1e-6: what is asked for; interpolation on 192 points an octave leaves 1e-7.
            assert_close(value, number(set, name), 1e-6, &format!("{} {name}", set["set"]));
        }
    }
}

#[test]
fn the_constructed_sets_come_back_by_the_fit_with_their_voice_coils() {
    for set in sets().iter().take(3) {
        let coil = VoiceCoil::PowerLaw { k: number(set, "leach_k"), n: number(set, "leach_n") };
        let fit = fit_driver(&curve(&set_model(set, coil), 24.0, [-3.0, 8.0]), &FitSettings::default()).unwrap();
        for name in ["re_ohm", "fs_hz", "qms", "qes"] {
            assert_close(fit.value(name).unwrap().0, number(set, name), 1e-6, &format!("{} {name}", set["set"]));
        }
        assert_close(fit.model.qts(), number(set, "qts"), 1e-6, "qts");
        assert_close(fit.value("k").unwrap().0, number(set, "leach_k"), 1e-6, "k");
        assert_close(fit.value("n").unwrap().0, number(set, "leach_n"), 1e-6, "n");
    }
}

/// The lecture's driver from its mechanical numbers; what the notes print of its impedance.
#[test]
fn the_printed_set_comes_back_to_its_printed_digits() {
    let set = &sets()[3];
    let of = |name| number(set, name);
    let column = |name: &str| {
        let name = BTreeMap::from([("cms", "cms_m_per_n"), ("bl", "bl_tm")]).get(name).copied().unwrap_or(name);
        set.get(name)?.parse().ok()
    };
    let model = mechanical(&column, VoiceCoil::Inductance { le_h: 0.0 });
    let found = three_point(&model);
    let printed = [
        (found.fs_hz, of("fs_hz"), 0.05),
        (found.zmax_ohm, of("zmax_ohm"), 0.005),
        (found.sides_hz[0], of("f1_hz"), 0.005),
        (found.sides_hz[1], of("f2_hz"), 0.05),
        (found.qms, of("qms"), 0.05),
        (found.qes, of("qes"), 0.0015),
        (found.qts, of("qts"), 0.001),
    ];
    for (found, printed, half_a_digit) in printed {
        // Half a digit of the last place; the notes' Q_es and Q_ts come from rounded numbers (3.9/7.58): one and a half, one.
        assert!((found - printed).abs() <= half_a_digit, "{found}, printed {printed}");
    }
    let with_coil = DriverModel { voice_coil: VoiceCoil::PowerLaw { k: of("leach_k"), n: of("leach_n") }, ..model };
    let fit = fit_driver(&curve(&with_coil, 24.0, [-3.0, 9.0]), &FitSettings::default()).unwrap();
    assert_close(fit.model.impedance_ohm(1000.0).norm(), 11.2, 0.005, "|Z| at 1 kHz");
}

/// ω_s = 1/√(M·C), Q_ms = ω_s·M/R (and what creep takes), Q_es = ω_s·M·R_e/Bl².
fn mechanical(of: &dyn Fn(&str) -> Option<f64>, voice_coil: VoiceCoil) -> DriverModel {
    let [mms_kg, cms, rms, bl, re_ohm] =
        ["mms_kg", "cms", "rms_kg_s", "bl", "re_ohm"].map(|name| of(name).unwrap_or(f64::NAN));
    let ws = (mms_kg * cms).sqrt().recip();
    let suspension = of("creep").map_or(Suspension::Plain, |lambda| Suspension::Creep { lambda });
    DriverModel {
        re_ohm,
        fs_hz: ws / TAU,
        qms: (rms / (ws * mms_kg) + suspension.loss_at_resonance()).recip(),
        qes: ws * mms_kg * re_ohm / (bl * bl),
        voice_coil,
        suspension,
    }
}

#[test]
fn voice_coils_creep_and_impedance_have_their_reference_values() {
    let mut seen = BTreeMap::new();
    for row in rows(include_str!("reference/driver_cases.csv")) {
        let inputs: BTreeMap<String, f64> = serde_json::from_str(&row["inputs"]).unwrap();
        let of = |name: &str| inputs.get(name).copied();
        let Some(found) = quantity(&row["quantity"], &of) else { panic!("{row:?}") };
        assert_close(found, number(&row, "expected"), number(&row, "rel_tol"), &row["id"]);
        *seen.entry(row["quantity"].clone()).or_insert(0) += 1;
    }
    assert_eq!(seen.values().sum::<i32>(), 39, "{seen:?}");
}

fn quantity(name: &str, of: &dyn Fn(&str) -> Option<f64>) -> Option<f64> {
    let coil = |name: &str| match name {
        _ if name.starts_with("leach") => Some(VoiceCoil::PowerLaw { k: of("k")?, n: of("n")? }),
        _ if name.starts_with("lr2") => {
            Some(VoiceCoil::Ladder { le_h: of("le_h")?, l2_h: of("l2_h")?, r2_ohm: of("r2_ohm")? })
        }
        _ => Some(VoiceCoil::SemiInductance { leb_h: of("leb_h")?, le_h: of("le_h")?, ke_semih: of("ke_semih")? }),
    };
    let coil_ohm = || Some(coil(name)?.impedance_ohm(TAU * of("f_hz")?));
    let whole = || {
        let model = mechanical(of, VoiceCoil::PowerLaw { k: of("k_leach")?, n: of("n_leach")? });
        Some(model.impedance_ohm(of("f_hz")?))
    };
    let creep = || {
        let ratio = of("f_hz").zip(of("fs_hz")).map_or(1.0, |(hz, fs_hz)| hz / fs_hz);
        Some(Suspension::Creep { lambda: of("lam")? }.compliance_ratio(ratio))
    };
    let point = |qms: f64, qes: f64| {
        let coil = VoiceCoil::Inductance { le_h: 0.0 };
        let (re_ohm, fs_hz) = (of("re_ohm").unwrap_or(1.0), of("fs_hz").unwrap_or(100.0));
        three_point(&DriverModel { re_ohm, fs_hz, qms, qes, voice_coil: coil, suspension: Suspension::Plain })
    };
    match name {
        "leach_re" => Some(coil_ohm()?.re),
        "leach_im" => Some(coil_ohm()?.im),
        "lr2_mag" | "semi_ind_mag" => Some(coil_ohm()?.norm()),
        "lr2_phase" | "semi_ind_phase" => Some(coil_ohm()?.arg().to_degrees()),
        "creep_c_re" => Some(creep()?.re),
        "creep_c_im" => Some(creep()?.im),
        "z_mag" => Some(whole()?.norm()),
        "z_phase" => Some(whole()?.arg().to_degrees()),
        // The hand method on a curve that has these marks: Q_ms and Q_es that put Z_max and f₁, f₂ there.
        "qms_from_peak" => {
            let (fs_hz, ratio) = (of("fs_hz")?, of("zmax_ohm")? / of("re_ohm")?);
            let qms = fs_hz * ratio.sqrt() / (of("f2_hz")? - of("f1_hz")?);
            Some(point(qms, qms / (ratio - 1.0)).qms)
        }
        "qms_general" => {
            let (r0, r1) = (of("r0")?, of("r1")?);
            let width = (of("f2_hz")? - of("f1_hz")?) / of("fs_hz")?;
            let qms = ((r0 * r0 - r1 * r1) / (r1 * r1 - 1.0)).sqrt() / width;
            Some(point(qms, qms / (r0 - 1.0)).qms)
        }
        "qes_from_qms" => Some(point(of("qms")?, of("qms")? / (of("r0")? - 1.0)).qes),
        "qts_from_q" => {
            let found = point(of("qms")?, of("qes")?);
            assert_close(found.qts, found.qms * found.qes / (found.qms + found.qes), 1e-12, "qts");
            let model = DriverModel {
                re_ohm: 1.0,
                fs_hz: 1.0,
                qms: of("qms")?,
                qes: of("qes")?,
                voice_coil: VoiceCoil::Inductance { le_h: 0.0 },
                suspension: Suspension::Plain,
            };
            Some(model.qts())
        }
        _ => None,
    }
}

/// The netlists' drivers; their results by a circuit simulator lie beside them.
#[test]
fn equivalent_circuits_solved_by_a_simulator_agree_with_the_model() {
    let driver = |[re_ohm, fs_hz, qms, qes]: [f64; 4], voice_coil| DriverModel {
        re_ohm,
        fs_hz,
        qms,
        qes,
        voice_coil,
        suspension: Suspension::Plain,
    };
    let ladder = |le_h, l2_h, r2_ohm| VoiceCoil::Ladder { le_h, l2_h, r2_ohm };
    let models = BTreeMap::from([
        ("inductance", driver([5.6, 38.0, 4.2, 0.42], VoiceCoil::Inductance { le_h: 0.4e-3 })),
        ("ladder", driver([3.4, 24.0, 5.5, 0.46], ladder(0.3e-3, 0.5e-3, 4.0))),
        ("ladder_dome", driver([5.9, 950.0, 2.1, 0.95], ladder(0.02e-3, 0.03e-3, 1.2))),
    ]);
    let mut worst = 0f64;
    let rows = rows(include_str!("reference/circuit/driver_circuits.csv"));
    assert_eq!(rows.len(), 3 * 44);
    for row in &rows {
        let expected = Complex64::new(number(row, "real_ohm"), number(row, "imaginary_ohm"));
        let found = models[row["circuit"].as_str()].impedance_ohm(number(row, "frequency_hz"));
        worst = worst.max((found - expected).norm() / expected.norm());
    }
    // 0.01 %: what is asked for; printed digits leave 1e-8. From below: two programs never agree to the last bit.
    assert!(worst < 1e-7 && worst > 1e-13, "{worst:e}");
}
