//! The fit of a box against curves whose box is known: tabulated ones, and a circuit in acoustic units that is written
//! out here.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use boxwright::diagnosis::{
    BoxKind, BoxSettings, DiagnosisError, FoundBox, KnownDriver, LeakVerdict, NearField, NearLevel, examine_box,
};
use boxwright::driver::{Doubted, DriverModel, Suspension, VoiceCoil};
use boxwright::impedance::Impedance;
use boxwright::math::Random;
use boxwright::quantity::{Code, FrequencyGrid};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Air of the tables, kg/m³ and m/s.
const DENSITY: f64 = 1.2;
const SPEED: f64 = 343.2;
/// Set A of the tables: R_e, f_s, Q_ms, Q_es, V_as, S_d, and its voice coil K·(jω)ⁿ.
const RE_OHM: f64 = 5.6;
const FS_HZ: f64 = 38.0;
const QMS: f64 = 4.2;
const QES: f64 = 0.42;
const VAS_M3: f64 = 32e-3;
const SD_M2: f64 = 137e-4;
const COIL: [f64; 2] = [0.0055, 0.68];

/// A driver in a box, in mechanical and acoustic units; Q at the box's own resonance, infinite: no loss.
#[derive(Debug, Clone, Copy)]
struct Circuit {
    volume_m3: f64,
    ql: f64,
    qa: f64,
    qp: f64,
    /// Tuning and the passive radiator's own resonance; that of a vent is zero.
    tuned_hz: Option<[f64; 2]>,
    resistance: f64,
    mass: f64,
    stiffness: f64,
    friction: f64,
}

/// Set A as it was in free air, in a box without losses.
fn closed(volume_l: f64) -> Circuit {
    let none = f64::INFINITY;
    Circuit {
        volume_m3: 1e-3 * volume_l,
        ql: none,
        qa: none,
        qp: none,
        tuned_hz: None,
        resistance: 1.0,
        mass: 1.0,
        stiffness: 1.0,
        friction: 1.0,
    }
}

fn vented(volume_l: f64, fb_hz: f64, ql: f64) -> Circuit {
    Circuit { ql, tuned_hz: Some([fb_hz, 0.0]), ..closed(volume_l) }
}

/// Impedance at the terminals, and |f·U| of cone and opening for one volt.
fn terminals(circuit: &Circuit, hz: f64) -> (Complex64, [f64; 2]) {
    let s = Complex64::new(0.0, TAU * hz);
    let free_hz = TAU * FS_HZ;
    let cms_m_n = VAS_M3 / (DENSITY * SPEED * SPEED * SD_M2 * SD_M2);
    let mms_kg = 1.0 / (free_hz * free_hz * cms_m_n);
    let bl_squared = free_hz * mms_kg * RE_OHM / QES;
    // Pa·s/m³: the air's compliance with its loss, the leak, the mass (and spring) of the opening.
    let compliance = circuit.volume_m3 / (DENSITY * SPEED * SPEED);
    let own = match circuit.tuned_hz {
        Some([fb_hz, _]) => TAU * fb_hz,
        None => {
            let air_n_m = SD_M2 * SD_M2 / compliance;
            ((circuit.stiffness / cms_m_n + air_n_m) / (circuit.mass * mms_kg)).sqrt()
        }
    };
    let reactance = 1.0 / (own * compliance);
    let air = 1.0 / (s * compliance) + reactance / circuit.qa;
    let opening = circuit.tuned_hz.map(|[fb_hz, fp_hz]| {
        let [tuned, alone] = [fb_hz, fp_hz].map(|hz| (TAU * hz).powi(2));
        let mass = 1.0 / ((tuned - alone) * compliance);
        mass * (s + TAU * fb_hz / circuit.qp + alone / s)
    });
    let rear = 1.0 / (1.0 / air + 1.0 / (reactance * circuit.ql) + opening.map_or(Complex64::ZERO, |z| 1.0 / z));
    let moving = s * (circuit.mass * mms_kg)
        + circuit.friction * free_hz * mms_kg / QMS
        + circuit.stiffness / (s * cms_m_n)
        + SD_M2 * SD_M2 * rear;
    let coil = RE_OHM * circuit.resistance + COIL[0] * (COIL[1] * s.ln()).exp();
    let ohm = coil + bl_squared / moving;
    let cone = SD_M2 * bl_squared.sqrt() / (moving * ohm);
    let out = opening.map_or(0.0, |z| (cone * rear / z).norm());
    (ohm, [hz * cone.norm(), hz * out])
}

fn frequencies_hz(from_hz: f64, to_hz: f64) -> Vec<f64> {
    let last = (24.0 * (to_hz / from_hz).log2()).floor() as i32;
    (0..=last).map(|step| from_hz * (f64::from(step) / 24.0).exp2()).collect()
}

/// A curve that tells a noise of this part of |Z|, but has none.
fn told(hz: Vec<f64>, values: Vec<Complex64>, part: f64) -> Impedance {
    let u = values.iter().map(|z| part * z.norm()).collect();
    let nothing = vec![0.0; values.len()];
    Impedance::new(FrequencyGrid::new(hz).unwrap(), values).unwrap().with_doubt(u, nothing, None).unwrap()
}

fn curve(circuit: &Circuit) -> Impedance {
    let hz = frequencies_hz(10.0, 20_000.0);
    let values = hz.iter().map(|&hz| terminals(circuit, hz).0).collect();
    told(hz, values, 1e-3)
}

/// The same behind 10 ohm, h = Z/(Z + R) with a noise of 0.1 % on either part.
fn noisy(circuit: &Circuit, random: &mut Random) -> Impedance {
    let (sense_ohm, noise) = (10.0, 1e-3);
    let hz = frequencies_hz(10.0, 20_000.0);
    let mut measured = |hz: f64| {
        let z = terminals(circuit, hz).0;
        let h = z / (z + sense_ohm) * (1.0 + noise * Complex64::new(random.normal(), random.normal()));
        sense_ohm * h / (1.0 - h)
    };
    let values: Vec<Complex64> = hz.iter().map(|&hz| measured(hz)).collect();
    let u = values.iter().map(|z| noise * z.norm() * (1.0 + z / sense_ohm).norm()).collect();
    let nothing = vec![0.0; values.len()];
    Impedance::new(FrequencyGrid::new(hz).unwrap(), values).unwrap().with_doubt(u, nothing, None).unwrap()
}

/// Relative doubt of the driver's numbers; of V_as.
const DRIVER_U: f64 = 1e-3;
const VAS_U: f64 = 0.02;

/// Set A as a measurement told it, off by these many uncertainties.
fn known_off_by(off: [f64; 7]) -> KnownDriver {
    let truth = [RE_OHM, FS_HZ, QMS, QES, COIL[0], COIL[1]];
    let values: Vec<f64> = truth.iter().zip(off).map(|(value, off)| value * (1.0 + DRIVER_U * off)).collect();
    let variance = |row: usize, column: usize| if row == column { (DRIVER_U * truth[row]).powi(2) } else { 0.0 };
    KnownDriver {
        model: DriverModel {
            re_ohm: values[0],
            fs_hz: values[1],
            qms: values[2],
            qes: values[3],
            voice_coil: VoiceCoil::PowerLaw { k: values[4], n: values[5] },
            suspension: Suspension::Plain,
        },
        covariance: (0..6).map(|row| (0..6).map(|column| variance(row, column)).collect()).collect(),
        vas_m3: Some(Doubted { value: VAS_M3 * (1.0 + VAS_U * off[6]), u: VAS_U * VAS_M3 }),
        sd_m2: None,
        mms_kg: None,
        bl_tm: None,
    }
}

fn known() -> KnownDriver {
    known_off_by([0.0; 7])
}

fn settings(kind: BoxKind) -> BoxSettings {
    BoxSettings { kind, band_hz: None, near: NearField::default() }
}

fn found(circuit: &Circuit, kind: BoxKind) -> FoundBox {
    examine_box(&curve(circuit), Some(&known()), &settings(kind)).unwrap()
}

fn assert_close(found: &FoundBox, name: &str, expected: f64, relative: f64) {
    let value = found.number(name).unwrap_or_else(|| panic!("no {name}: {:?}", found.numbers)).value;
    assert!((value / expected - 1.0).abs() < relative, "{name}: {value}, expected {expected}");
}

fn says(found: &FoundBox, code: Code) -> bool {
    found.findings.iter().any(|finding| finding.code == code)
}

/// The more a jig is in doubt, the more of a curve it could explain: not what neither box nor driver have, here a wall that
/// rings at 374 Hz with a Q of 33, a thousand times the noise.
#[test]
fn a_jig_in_doubt_does_not_take_the_place_of_the_driver() {
    let circuit = Circuit { ql: 8.0, ..closed(20.0) };
    let hz = frequencies_hz(10.0, 20_000.0);
    let wall = |hz: f64| 0.1 / (1.0 + Complex64::new(0.0, 33.0) * (hz / 374.0 - 374.0 / hz));
    let values: Vec<Complex64> = hz.iter().map(|&hz| terminals(&circuit, hz).0 + wall(hz)).collect();
    for common in [0.01, 0.05] {
        let magnitudes = values.iter().map(|z| z.norm());
        let [noise, all] = [1e-5, common].map(|part| magnitudes.clone().map(|z| part * z).collect::<Vec<f64>>());
        let grid = FrequencyGrid::new(hz.clone()).unwrap();
        let curve = Impedance::new(grid, values.clone()).unwrap().with_doubt(noise, all, None).unwrap();
        let mut driver = known();
        driver.covariance[0][0] = (common * RE_OHM).powi(2);
        driver.covariance[4][4] = (common * COIL[0]).powi(2);
        let found = examine_box(&curve, Some(&driver), &settings(BoxKind::Closed)).unwrap();
        let resistance = found.number("re_ohm").unwrap();
        assert!((resistance.value - RE_OHM).abs() < 2.0 * resistance.u(), "{common}: {resistance:?}");
        assert!(resistance.u() < 2.0 * common * RE_OHM, "{common}: {resistance:?}");
        // 1 %: what the ringing wall moves before it is taken out.
        assert_close(&found, "leakage", 1.0 / 8.0, 0.01);
    }
}

/// Columns of `box_model_curves.csv`: real part at this place, imaginary part beside it.
fn tabulated(column: usize) -> Impedance {
    let lines = include_str!("reference/box_model_curves.csv").lines().filter(|line| !line.starts_with('#')).skip(1);
    let rows: Vec<Vec<f64>> = lines.map(|line| line.split(',').map(|field| field.parse().unwrap()).collect()).collect();
    let values = rows.iter().map(|row| Complex64::new(row[column], row[column + 1])).collect();
    told(rows.iter().map(|row| row[0]).collect(), values, 1e-3)
}

#[test]
fn the_tabulated_closed_box_is_found() {
    let found = examine_box(&tabulated(1), Some(&known()), &settings(BoxKind::Closed)).unwrap();
    // R. H. Small, "Closed-Box Loudspeaker Systems, Part I", J. Audio Eng. Soc. 20 (December 1972): α = V_as/V_ab, all
    // by √(1 + α).
    let alpha: f64 = 32.0 / 12.0;
    let stiffer = (1.0 + alpha).sqrt();
    let qts = QMS * QES / (QMS + QES);
    // 1e-4: digits of the table are far finer; what the search leaves of a loss factor near zero counts.
    for (name, expected) in [
        ("alpha", alpha),
        ("volume_m3", 12e-3),
        ("fc_hz", FS_HZ * stiffer),
        ("qmc", QMS * stiffer),
        ("qec", QES * stiffer),
        ("qtc", qts * stiffer),
        ("re_ohm", RE_OHM),
        ("mass_ratio", 1.0),
        ("stiffness_ratio", 1.0),
    ] {
        assert_close(&found, name, expected, 1e-4);
    }
    assert_eq!((found.leak.verdict, found.leak.ql), (LeakVerdict::Airtight, None));
    assert!(found.leak.ql_above.unwrap() > 50.0, "{:?}", found.leak);
    assert!(found.number("leakage").is_none() && found.findings.is_empty(), "{:?}", found.findings);
}

#[test]
fn the_tabulated_vented_box_is_found() {
    let found = examine_box(&tabulated(4), Some(&known()), &settings(BoxKind::Vented)).unwrap();
    // 1e-3: the table has Q_L alone, and absorption and opening, hardly told apart from it, are searched too.
    for (name, expected) in [("fb_hz", 42.0), ("alpha", 1.6), ("volume_m3", 20e-3), ("losses", 1.0 / 7.0)] {
        assert_close(&found, name, expected, 1e-3);
    }
}

/// Rows of `impedance_features.csv` by this circuit and by the fit.
#[test]
fn peaks_are_where_the_table_has_them() {
    let mut rows = 0;
    for line in include_str!("reference/impedance_features.csv").lines().filter(|line| !line.starts_with('#')).skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let (circuit, kind) = match cells[0] {
            "closed 12 l" => (closed(12.0), BoxKind::Closed),
            "closed 12 l leaky QL=5 at 72.8 Hz" => (Circuit { ql: 5.0, ..closed(12.0) }, BoxKind::Closed),
            "vented 20 l fb 42 QL=7" => (vented(20.0, 42.0, 7.0), BoxKind::Vented),
            "vented 20 l fb 30 QL=7" => (vented(20.0, 30.0, 7.0), BoxKind::Vented),
            "vented 20 l fb 42 QL=3" => (vented(20.0, 42.0, 3.0), BoxKind::Vented),
            _ => continue,
        };
        let list = |cell: usize| cells[cell].split(';').map(|field| field.parse().unwrap()).collect::<Vec<f64>>();
        let found = found(&circuit, kind);
        for (peak_hz, peak_ohm) in list(1).into_iter().zip(list(2)) {
            // 5e-4: the table's Q_L is at 72.8 Hz, not at 72.76, and its V_as has ten digits.
            for ohm in [terminals(&circuit, peak_hz).0, found.impedance_ohm(peak_hz)] {
                assert!((ohm.norm() / peak_ohm - 1.0).abs() < 5e-4, "{}: {ohm}, expected {peak_ohm}", cells[0]);
            }
        }
        if kind == BoxKind::Vented {
            // 5e-4: peaks are told to five digits.
            assert_close(&found, "f_low_hz", list(1)[0], 5e-4);
            assert_close(&found, "f_high_hz", list(1)[1], 5e-4);
            assert_close(&found, "losses", 1.0 / circuit.ql, 2e-3);
        }
        rows += 1;
    }
    assert_eq!(rows, 5);
}

#[test]
fn a_leak_is_told_from_absorption() {
    for (ql, qa) in [(3.0, 50.0), (5.0, f64::INFINITY), (20.0, 20.0)] {
        let found = found(&Circuit { ql, qa, ..closed(12.0) }, BoxKind::Closed);
        assert_eq!(found.leak.verdict, LeakVerdict::Leaky, "{ql} {qa}: {:?}", found.leak);
        let told = found.leak.ql.unwrap();
        // 1e-3: no noise is in the curve; which of two sets of losses is taken leaves that.
        assert!((told.value / ql - 1.0).abs() < 1e-3, "{told:?}, expected {ql}");
        assert_close(&found, "volume_m3", 12e-3, 1e-3);
    }
    for qa in [5.0, 20.0] {
        let found = found(&Circuit { qa, ..closed(12.0) }, BoxKind::Closed);
        assert_eq!((found.leak.verdict, found.leak.ql), (LeakVerdict::Airtight, None), "{qa}: {:?}", found.leak);
        assert_close(&found, "absorption", 1.0 / qa, 1e-3);
        assert_close(&found, "volume_m3", 12e-3, 1e-3);
    }
}

/// A set of numbers that a builder's evening gives: the driver's off by their doubt, and moved since.
fn evening(circuit: Circuit, random: &mut Random) -> Circuit {
    let mut by = |sigma: f64| 1.0 + sigma * random.normal();
    let (resistance, stiffness, friction, mass) = (by(0.01), by(0.005), by(0.03), by(0.02));
    Circuit { resistance, stiffness, friction, mass, ..circuit }
}

fn drawn(random: &mut Random) -> KnownDriver {
    known_off_by([(); 7].map(|()| random.normal()))
}

#[test]
fn in_noise_tight_boxes_raise_no_alarm_and_leaky_ones_do() {
    let mut random = Random::new(41);
    let mut alarms = 0;
    let mut within = [0; 3];
    for _ in 0..25 {
        let (known, settings) = (drawn(&mut random), settings(BoxKind::Closed));
        let tight = evening(Circuit { qa: 25.0, ..closed(12.0) }, &mut random);
        let found = examine_box(&noisy(&tight, &mut random), Some(&known), &settings).unwrap();
        alarms += i32::from(found.leak.verdict == LeakVerdict::Leaky);
        let leaky = evening(Circuit { ql: 12.0, qa: 60.0, ..closed(12.0) }, &mut random);
        let found = examine_box(&noisy(&leaky, &mut random), Some(&known), &settings).unwrap();
        assert_eq!(found.leak.verdict, LeakVerdict::Leaky, "{:?}", found.leak);
        let ql = found.leak.ql.unwrap();
        let volume = found.doubted("volume_m3").unwrap();
        let mass = found.doubted("mass_ratio").unwrap();
        for (count, number, truth) in [(0, ql, 12.0), (1, volume, 12e-3), (2, mass, leaky.mass)] {
            within[count] += i32::from((number.value - truth).abs() <= 2.0 * number.u);
        }
        // 10 %: what is asked for of Q_L, by three uncertainties.
        assert!(3.0 * ql.u < 0.1 * 12.0 * 1.5 && (ql.value / 12.0 - 1.0).abs() < 0.1, "{ql:?}");
    }
    // A tight box passes the threshold once in 700.
    assert_eq!(alarms, 0);
    // Of 25 with 95 % each, 20 or fewer are one chance in 150.
    assert!(within.iter().all(|count| *count > 20), "{within:?}");
}

/// Two boxes with one driver: what is not known of the driver moves both alike.
#[test]
fn the_difference_of_two_boxes_is_better_known_than_either() {
    let mut random = Random::new(42);
    let mut within = 0;
    for _ in 0..25 {
        let (known, settings) = (drawn(&mut random), settings(BoxKind::Closed));
        let volume = |volume_l: f64, random: &mut Random| {
            let circuit = evening(Circuit { qa: 50.0, ..closed(volume_l) }, random);
            let found = examine_box(&noisy(&circuit, random), Some(&known), &settings).unwrap();
            found.number("volume_m3").unwrap().clone()
        };
        let (before, after) = (volume(12.0, &mut random), volume(11.5, &mut random));
        let less = after.less(&before);
        assert!(less.u < 0.5 * before.u().hypot(after.u()), "{less:?} {before:?} {after:?}");
        // V_as is the last of what is shared: 2 % of the volume.
        let of_vas = before.shared.last().unwrap().abs();
        assert!((of_vas / (VAS_U * before.value) - 1.0).abs() < 0.1, "{before:?}");
        within += i32::from((less.value + 0.5e-3).abs() <= 2.0 * less.u);
    }
    assert!(within > 20, "{within}");
}

#[test]
fn without_a_driver_only_what_the_curve_tells_is_given() {
    let found = examine_box(&tabulated(1), None, &settings(BoxKind::Closed)).unwrap();
    let stiffer = (1.0 + 32.0 / 12.0f64).sqrt();
    // 1e-4: as with the driver.
    assert_close(&found, "fc_hz", FS_HZ * stiffer, 1e-4);
    assert_close(&found, "qtc", QMS * QES / (QMS + QES) * stiffer, 1e-4);
    for name in ["alpha", "volume_m3", "absorption", "leakage", "stiffness_ratio"] {
        assert!(found.number(name).is_none(), "{name}");
    }
    assert!(says(&found, Code::SmallShift), "{:?}", found.findings);
    // Two peaks tell α of an open box, but no litres.
    let found = examine_box(&tabulated(4), None, &settings(BoxKind::Vented)).unwrap();
    assert_close(&found, "fb_hz", 42.0, 2e-3);
    assert_close(&found, "alpha", 1.6, 1e-2);
    assert!(found.number("volume_m3").is_none());
}

/// A large leak passes by the air alone and so tells the air from the suspension; without one they are one spring.
#[test]
fn without_a_driver_a_large_leak_is_still_told() {
    for ql in [3.0, 5.0, 12.0] {
        let leaky = curve(&Circuit { ql, ..closed(12.0) });
        let found = examine_box(&leaky, None, &settings(BoxKind::Closed)).unwrap();
        let told = found.leak.ql.unwrap();
        // 1e-2: without noise only the search's end counts, far from what the curve tells best.
        assert!((told.value / ql - 1.0).abs() < 1e-2, "{told:?}, expected {ql}");
        let with = examine_box(&leaky, Some(&known()), &settings(BoxKind::Closed)).unwrap();
        for name in ["fc_hz", "qtc"] {
            // 2e-3: likewise.
            assert_close(&found, name, with.number(name).unwrap().value, 2e-3);
        }
        assert!(found.number("volume_m3").is_none() && says(&found, Code::SmallShift));
    }
    let tight = examine_box(&curve(&closed(12.0)), None, &settings(BoxKind::Closed)).unwrap();
    assert_eq!((tight.leak.ql, tight.leak.ql_above), (None, None), "{:?}", tight.leak);
}

fn levels(circuit: &Circuit, of: usize, gain_db: f64) -> NearLevel {
    let hz = frequencies_hz(10.0, 500.0);
    let level_db = hz.iter().map(|&hz| gain_db + 20.0 * terminals(circuit, hz).1[of].log10()).collect();
    NearLevel { u_db: Some(vec![0.05; hz.len()]), hz, level_db }
}

#[test]
fn levels_close_to_cone_and_opening_sharpen_the_tuning() {
    let circuit = Circuit { qa: 40.0, qp: 30.0, ..vented(20.0, 42.0, 12.0) };
    let near = |gain_db: f64| NearField {
        cone: Some(levels(&circuit, 0, gain_db)),
        opening: Some(levels(&circuit, 1, 3.0 - gain_db)),
    };
    let measured = curve(&circuit);
    let with = |near: NearField| {
        let settings = BoxSettings { near, ..settings(BoxKind::Vented) };
        examine_box(&measured, Some(&known()), &settings).unwrap()
    };
    let (without, found, louder) = (with(NearField::default()), with(near(0.0)), with(near(17.0)));
    let total = 1.0 / 12.0 + 1.0 / 40.0 + 1.0 / 30.0;
    for (name, expected) in [("fb_hz", 42.0), ("alpha", 1.6), ("losses", total)] {
        // 1e-4: neither curve nor levels have noise.
        assert_close(&found, name, expected, 1e-4);
        assert!(found.doubted(name).unwrap().u < without.doubted(name).unwrap().u, "{name}");
        // How close the microphone was does not matter; 1e-6: where the search ends.
        assert_close(&louder, name, found.number(name).unwrap().value, 1e-6);
    }
}

#[test]
fn a_passive_radiator_is_found_with_its_own_resonance() {
    let circuit = Circuit { qp: 15.0, qa: 40.0, tuned_hz: Some([40.0, 20.0]), ..closed(20.0) };
    let found = found(&circuit, BoxKind::PassiveRadiator);
    // 1e-3: losses are hardly told apart.
    for (name, expected) in [("fb_hz", 40.0), ("fp_hz", 20.0), ("alpha", 1.6)] {
        assert_close(&found, name, expected, 1e-3);
    }
}

/// Without losses such a box is a vented one with a stiffer driver.
#[test]
fn a_passive_radiator_without_a_driver_tells_tuning_and_peaks_only() {
    let circuit = Circuit { ql: 30.0, qp: 100.0, tuned_hz: Some([40.0, 20.0]), ..closed(20.0) };
    let measured = curve(&circuit);
    let found = examine_box(&measured, None, &settings(BoxKind::PassiveRadiator)).unwrap();
    assert_eq!(found.kind, BoxKind::PassiveRadiator);
    let with = examine_box(&measured, Some(&known()), &settings(BoxKind::PassiveRadiator)).unwrap();
    assert_close(&with, "f_low_hz", found.number("f_low_hz").unwrap().value, 1e-2);
    for (name, expected) in [("fb_hz", 40.0), ("f_high_hz", with.number("f_high_hz").unwrap().value)] {
        // 1e-2: with losses it is a vented one only nearly.
        assert_close(&found, name, expected, 1e-2);
        let number = found.doubted(name).unwrap();
        assert!(number.u > 0.0 && number.u < 0.1 * number.value, "{name}: {number:?}");
    }
    for name in ["alpha", "fp_hz", "volume_m3", "leakage", "absorption", "opening", "losses"] {
        assert!(found.number(name).is_none(), "{name}");
    }
    assert!(says(&found, Code::SmallShift), "{:?}", found.findings);
}

fn refused(curve: &Impedance, driver: &KnownDriver, kind: BoxKind) -> DiagnosisError {
    examine_box(curve, Some(driver), &settings(kind)).unwrap_err()
}

#[test]
fn another_kind_of_box_is_refused_by_name() {
    let error = refused(&tabulated(4), &known(), BoxKind::Closed);
    let DiagnosisError::TwoResonances { first_hz, second_hz } = error else { panic!("{error}") };
    // 6 %: peaks are taken at points of the table.
    assert!((first_hz / 22.447 - 1.0).abs() < 0.06 && (second_hz / 71.107 - 1.0).abs() < 0.06, "{error}");
    for kind in [BoxKind::Vented, BoxKind::PassiveRadiator] {
        let error = refused(&tabulated(1), &known(), kind);
        let DiagnosisError::OneResonance { at_hz } = error else { panic!("{error}") };
        assert!((at_hz / 72.744 - 1.0).abs() < 0.06, "{error}");
        assert!(error.advice().contains("closed"), "{}", error.advice());
    }
}

#[test]
fn what_is_no_driver_is_refused() {
    let hz = frequencies_hz(10.0, 20_000.0);
    let of = |z: &dyn Fn(f64) -> Complex64| told(hz.clone(), hz.iter().map(|&hz| z(hz)).collect(), 1e-3);
    let resistor = of(&|_| Complex64::new(8.0, 0.01));
    let capacitor = of(&|hz| 4.0 + 1.0 / Complex64::new(0.0, TAU * hz * 47e-6));
    let without_phase = of(&|hz| terminals(&closed(12.0), hz).0.norm().into());
    let few = told(vec![20.0, 70.0, 200.0], vec![Complex64::new(6.0, 1.0); 3], 1e-3);
    for (what, curve) in
        [("resistor", resistor), ("capacitor", capacitor), ("without phase", without_phase), ("three points", few)]
    {
        for kind in [BoxKind::Closed, BoxKind::Vented] {
            let error = refused(&curve, &known(), kind);
            assert!(matches!(error, DiagnosisError::NotADriver(_)), "{what}, {kind:?}: {error:?}");
            assert!(!error.advice().is_empty());
        }
    }
    let nothing = BoxSettings { band_hz: Some([1.0, 2.0]), ..settings(BoxKind::Closed) };
    let error = examine_box(&tabulated(1), Some(&known()), &nothing).unwrap_err();
    assert!(matches!(error, DiagnosisError::Curve(_)), "{error:?}");
}

#[test]
fn a_covariance_that_is_none_is_refused() {
    let not_a_number = |row: usize| if row == 1 { f64::NAN } else { 1e-6 };
    let covariances = [
        // Correlated beyond one; fewer rows than numbers; none; not a number.
        vec![vec![1e-6, 5e-6], vec![5e-6, 1e-6]],
        vec![vec![1e-6; 3]; 3],
        Vec::new(),
        (0..6).map(|row| vec![not_a_number(row); 6]).collect(),
    ];
    for covariance in covariances {
        let driver = KnownDriver { covariance, ..known() };
        let error = refused(&tabulated(1), &driver, BoxKind::Closed);
        assert!(matches!(error, DiagnosisError::NoCovariance), "{error:?}");
    }
}

#[test]
fn what_needs_care_is_said() {
    let closed_box = closed(12.0);
    let late = BoxSettings { band_hz: Some([50.0, 20_000.0]), ..settings(BoxKind::Closed) };
    let found_late = examine_box(&curve(&closed_box), Some(&known()), &late).unwrap();
    assert!(says(&found_late, Code::OutOfBand), "{:?}", found_late.findings);

    let untold = Impedance::new(
        FrequencyGrid::new(curve(&closed_box).hz().to_vec()).unwrap(),
        curve(&closed_box).values().to_vec(),
    );
    let found_untold = examine_box(&untold.unwrap(), Some(&known()), &settings(BoxKind::Closed)).unwrap();
    assert!(says(&found_untold, Code::UnknownNoise) && found_untold.misfit_ratio.is_none());
    // 1e-3: as with its noise told.
    assert_close(&found_untold, "volume_m3", 12e-3, 1e-3);

    // α of 0.1: a box of ten times V_as.
    let found_large = found(&closed(320.0), BoxKind::Closed);
    assert!(says(&found_large, Code::SmallShift), "{:?}", found_large.findings);

    let found_heavy = found(&Circuit { mass: 1.3, ..closed_box }, BoxKind::Closed);
    assert!(says(&found_heavy, Code::Implausible), "{:?}", found_heavy.numbers);
    // A stiffness that is off by fifteen times what suspensions do within an evening: another driver.
    let found_stiff = found(&Circuit { stiffness: 1.08, ..vented(20.0, 42.0, 7.0) }, BoxKind::Vented);
    assert!(says(&found_stiff, Code::Implausible), "{:?}", found_stiff.numbers);
}
