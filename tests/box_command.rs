//! `box` as its user sees it.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

mod program;

use boxwright::math::Random;
use num_complex::Complex64;
use program::{json, said};
use serde_json::Value;
use std::f64::consts::TAU;
use std::fmt::Write;
use std::path::Path;

/// Set A of `tests/reference/driver_examples.csv` as a mass on a spring and a coil in a magnet; air of 1.2 kg/m³ and
/// 343.2 m/s.
const RE_OHM: f64 = 5.6;
const BL_TM: f64 = 6.804_106_708;
const MMS_KG: f64 = 0.014_542_532_08;
const CMS_M_N: f64 = 1.206_238_094e-3;
const RMS_KG_S: f64 = 0.826_711_930_4;
const SD_M2: f64 = 0.0137;
const BULK_PA: f64 = 1.2 * 343.2 * 343.2;

/// What is behind the cone, Pa·s/m³.
type Rear = Box<dyn Fn(Complex64) -> Complex64>;

fn nothing() -> Rear {
    Box::new(|_| Complex64::ZERO)
}

/// R_AL across V, taken at f_c without losses.
fn closed(volume_m3: f64, ql: Option<f64>) -> Rear {
    let compliance = volume_m3 / BULK_PA;
    let omega_c = ((1.0 / CMS_M_N + SD_M2 * SD_M2 / compliance) / MMS_KG).sqrt();
    let conductance = ql.map_or(0.0, |ql| omega_c * compliance / ql);
    Box::new(move |jw| (jw * compliance + conductance).inv())
}

fn vented(volume_m3: f64, fb_hz: f64, ql: f64) -> Rear {
    let (compliance, omega_b) = (volume_m3 / BULK_PA, TAU * fb_hz);
    let mass = 1.0 / (omega_b * omega_b * compliance);
    Box::new(move |jw| (jw * compliance + omega_b * compliance / ql + (jw * mass).inv()).inv())
}

fn impedance_ohm(rear: &Rear, hz: f64) -> Complex64 {
    let jw = Complex64::new(0.0, TAU * hz);
    let mechanical = RMS_KG_S + jw * MMS_KG + (jw * CMS_M_N).inv() + SD_M2 * SD_M2 * rear(jw);
    RE_OHM + 0.0055 * jw.powf(0.68) + BL_TM * BL_TM / mechanical
}

/// A curve with its noise of 0.1 % as a table.
fn write_curve(folder: &Path, name: &str, rear: &Rear, seed: u64) {
    let mut random = Random::new(seed);
    let mut text = "frequency_hz,magnitude_ohm,phase_deg,u_ohm,u_noise_ohm\n".to_owned();
    for k in -300..=207 {
        let hz = 1000.0 * (f64::from(k) / 48.0).exp2();
        let z = impedance_ohm(rear, hz);
        let noisy = z * (1.0 + 1e-3 * Complex64::new(random.normal(), random.normal()));
        let u = 1e-3 * z.norm();
        writeln!(text, "{hz:.6},{:.8},{:.8},{u:.8},{u:.8}", noisy.norm(), noisy.arg().to_degrees()).unwrap();
    }
    std::fs::write(folder.join(name), text).unwrap();
}

/// Curves of the driver free, in a test box of 20 l, in an airtight box of 12 l, the same with a leak, and vented.
fn prepared() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, rear, seed) in [
        ("free.csv", nothing(), 1),
        ("test.csv", closed(0.020, None), 2),
        ("tight.csv", closed(0.012, None), 3),
        ("leaky.csv", closed(0.012, Some(6.0)), 4),
        ("vented.csv", vented(0.020, 42.0, 7.0), 5),
    ] {
        write_curve(folder.path(), name, &rear, seed);
    }
    let driver = "driver free.csv --sd-cm2 137 --in-box test.csv --test-box-l 20 --u-test-box-l 0.1 --out d";
    assert_eq!(said(folder.path(), driver).status, 0);
    folder
}

fn number(document: &Value, key: &str) -> (f64, f64) {
    (document[key]["value"].as_f64().unwrap(), document[key]["u"].as_f64().unwrap())
}

#[test]
fn a_leak_is_told_from_none_with_all_that_the_document_promises() {
    let folder = prepared();
    let tight = json(folder.path(), "box tight.csv --driver d/driver.json --kind closed --design-l 13");
    assert_eq!((&tight["schema"], &tight["leak"]["present"]), (&"boxwright/box/1".into(), &"no".into()));
    // Set A in 12 l: f_c = 38·√(1 + 32/12) = 72.77 Hz; V_as of the set is 32 l.
    let fc_hz = 38.0 * (1.0 + BULK_PA * SD_M2 * SD_M2 * CMS_M_N / 0.012).sqrt();
    for (key, truth, most) in [("fc", fc_hz, 0.002), ("volume", 12.0, 0.02), ("alpha", 32.0 / 12.0, 0.02)] {
        let (value, u) = number(&tight, key);
        assert!((value - truth).abs() < 4.0 * u && u < most * truth, "{key}: {value} ± {u}, truth {truth}");
    }
    let design = &tight["design"][0];
    assert_eq!(design["quantity"], "volume");
    // 1e-12: litres there and back.
    assert!((design["designed"].as_f64().unwrap() / 13.0 - 1.0).abs() < 1e-12);
    assert!(
        design["sigmas"].as_f64().unwrap() < -3.0 && design["says"].as_str().unwrap().contains("against the design")
    );
    for key in ["qmc", "qec", "qtc", "wrinkles", "settings", "inputs", "files", "findings", "loss_factors", "air"] {
        assert!(!tight[key].is_null(), "{key}");
    }
    let leaky = json(folder.path(), "box leaky.csv --driver d/driver.json --kind closed --wall-mm 18");
    assert_eq!(leaky["leak"]["present"], "yes");
    let (ql, u) = number(&leaky["leak"], "ql");
    assert!((ql - 6.0).abs() < 4.0 * u && u < 0.3, "{ql} ± {u}");
    assert!((leaky["leak"]["hole"]["wall_mm"].as_f64().unwrap() / 18.0 - 1.0).abs() < 1e-12);
    let leak = leaky["findings"].as_array().unwrap().iter().find(|finding| finding["code"] == "leak").unwrap();
    assert!(leak["advice"].as_str().unwrap().contains("no flame"), "{leak}");
}

#[test]
fn sealing_is_seen_as_the_change_it_is() {
    let folder = prepared();
    let words = "box tight.csv --before leaky.csv --driver d/driver.json --kind closed";
    let document = json(folder.path(), words);
    let first = &document["changes"][0];
    assert_eq!((&first["quantity"], &first["real"]), (&"leakage".into(), &true.into()));
    assert!(first["says"].as_str().unwrap().starts_with("sealed: Q_L from 6"), "{first}");
    assert_eq!(document["before"]["leak"]["present"], "yes");
    let volume = document["changes"].as_array().unwrap().iter().find(|change| change["quantity"] == "volume").unwrap();
    assert_eq!(volume["real"], false);
    let people = said(folder.path(), words);
    assert!(people.out.contains("since the curve before") && people.out.contains("± is 2u"), "{}", people.out);
}

#[test]
fn a_vented_box_tells_its_tuning_and_how_much_to_cut() {
    let folder = prepared();
    let words = "box vented.csv --driver d/driver.json --kind vented --design-fb-hz 45 --design-l 20 --port 60x85";
    let document = json(folder.path(), words);
    for (key, truth, most) in [("fb", 42.0, 0.003), ("volume", 20.0, 0.03), ("ql", 7.0, 0.1)] {
        let (value, u) = number(&document, key);
        assert!((value - truth).abs() < 4.0 * u && u < most * truth, "{key}: {value} ± {u}");
    }
    // Peaks of the tabulated model (`impedance_features.csv`: 22.447 and 71.107 Hz).
    assert!(
        (number(&document, "f_low").0 - 22.447).abs() < 0.05 && (number(&document, "f_high").0 - 71.107).abs() < 0.1
    );
    let tuning = document["design"].as_array().unwrap().iter().find(|design| design["quantity"] == "fb").unwrap();
    assert!(tuning["says"].as_str().unwrap().contains("shorten it by"), "{tuning}");
}

#[test]
fn a_job_describes_the_box_and_the_command_line_has_the_last_word() {
    let folder = prepared();
    let job = "[job]\nname = \"shelf\"\n[box.left]\nkind = \"closed\"\nvolume_l = 12\nql = 100\ninner_mm = [200, 300, 200]\n\
               wall_mm = 12\nmaterial = \"mdf\"\n";
    std::fs::write(folder.path().join("job.toml"), job).unwrap();
    let document = json(folder.path(), "box tight.csv --driver d/driver.json");
    assert_eq!((&document["name"], &document["settings"]["material"]), (&"left".into(), &"mdf".into()));
    assert_eq!(document["settings"]["design_l"], 12.0);
    let document = json(folder.path(), "box tight.csv --driver d/driver.json --design-l 11 --material pla");
    assert_eq!((&document["settings"]["design_l"], &document["settings"]["material"]), (&11.0.into(), &"pla".into()));
    assert_eq!(said(folder.path(), "box tight.csv --box right").status, 2);
    std::fs::write(folder.path().join("job.toml"), format!("{job}[box.right]\nkind = \"closed\"\n")).unwrap();
    let several = said(folder.path(), "box tight.csv");
    assert!(several.status == 2 && several.err.contains("left, right"), "{}", several.err);
}

#[test]
fn what_cannot_be_is_refused_with_a_way_out_and_nothing_is_overwritten() {
    let folder = prepared();
    std::fs::write(folder.path().join("empty.csv"), "").unwrap();
    std::fs::write(folder.path().join("sheet.toml"), "fs_hz = 40\n").unwrap();
    std::fs::write(folder.path().join("take.wav"), "RIFF").unwrap();
    for (words, status, expected) in [
        ("box take.wav --kind closed", 1, "boxwright impedance"),
        ("box tight.csv --kind closed --port-ends free-free", 2, "--port"),
        ("box tight.csv", 2, "--kind"),
        ("box tight.csv --kind open", 2, "closed"),
        ("box vented.csv --kind closed", 1, "two resonances"),
        ("box tight.csv --kind vented", 1, "one resonance"),
        ("box empty.csv --kind closed", 1, "empty.csv"),
        ("box nowhere.csv --kind closed", 1, "nowhere.csv"),
        ("box tight.csv --kind closed --driver sheet.toml", 1, "driver.json"),
        ("box tight.csv --kind closed --cone leaky.csv", 1, "dB"),
        ("box tight.csv --kind closed --before tight.csv", 1, "one file"),
        ("box tight.csv --kind closed --inner-mm 1x2", 2, "width x height x depth"),
        ("box tight.csv --kind closed --material cheese", 2, "mdf"),
        ("box tight.csv --kind closed --port 30", 2, "32x85"),
        ("box tight.csv --kind closed --band 2000:9000", 1, "tight.csv"),
    ] {
        let done = said(folder.path(), words);
        assert!(done.status == status && done.err.contains(expected), "{words}: {} {}", done.status, done.err);
        assert!(status == 2 || done.err.contains("try: "), "{words}: {}", done.err);
    }
    let inside = folder.path().join("results");
    std::fs::create_dir(&inside).unwrap();
    std::fs::copy(folder.path().join("tight.csv"), inside.join("fitted.csv")).unwrap();
    let done = said(folder.path(), "box results/fitted.csv --kind closed --out results");
    assert!(done.status == 1 && done.err.contains("take its place"), "{}", done.err);
}
