//! `boxwright impedance` as its user and their user's scripts see it.
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

#[path = "systems/jig.rs"]
mod systems;

use boxwright::files;
use boxwright::signal::{Excitation, Recording, SampleFormat};
use num_complex::Complex64;
use serde_json::Value;
use std::path::Path;
use std::process::Output;
use systems::{Twin, driver_ohm, excitation};

fn run(folder: &Path, line: &str) -> Output {
    let mut command = assert_cmd::Command::cargo_bin("boxwright").unwrap();
    command.current_dir(folder).env("NO_COLOR", "1").args(line.split(' ')).output().unwrap()
}

fn document(folder: &Path, line: &str) -> Value {
    let output = run(folder, line);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn refused(folder: &Path, line: &str, status: i32) -> String {
    let output = run(folder, line);
    let says = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(status), "{line}: {says}");
    assert!(output.stdout.is_empty());
    says
}

fn column(document: &Value, path: &str) -> Vec<f64> {
    document.pointer(path).unwrap().as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
}

fn codes(document: &Value) -> Vec<String> {
    let findings = document["findings"].as_array().unwrap().iter();
    findings.map(|finding| finding["code"].as_str().unwrap().to_owned()).collect()
}

fn write(folder: &Path, name: &str, recording: Recording) {
    files::replace_wav(&folder.join(name), &Recording { format: SampleFormat::Float32, ..recording }).unwrap();
}

/// Makes a sweep with the program, and captures of it by a twin whose load channel is 1 dB and 3 degrees off.
fn captures(folder: &Path) -> Excitation {
    let line = "signal sweep --seconds 3 --pause 0.5 --marks --level-dbfs -20 --out played.wav --quiet";
    assert!(run(folder, line).status.success());
    let played = files::read_wav(&folder.join("played.wav")).unwrap().recording.channels.remove(0);
    let mut excitation = excitation(1, -20.0);
    assert_eq!(excitation.samples.len(), played.len());
    excitation.samples = played;
    let gain = Complex64::from_polar(10f64.powf(1.0 / 20.0), 3f64.to_radians());
    let twin = Twin { gain, noise: 1e-6, ..Twin::default() };
    write(folder, "woofer.wav", twin.record(&excitation, driver_ohm));
    write(folder, "known.wav", Twin { seed: 2, ..twin }.record(&excitation, |_| 8.2.into()));
    write(folder, "short.wav", Twin { seed: 3, ..twin }.record(&excitation, |_| 0.0.into()));
    write(folder, "open.wav", Twin { seed: 4, ..twin }.record(&excitation, |_| 1e12.into()));
    excitation
}

const CALIBRATED: &str = "impedance woofer.wav --excitation played.wav --drive 1 --load 2 --sense-ohm 10 --known known.wav \
                          --known-ohm 8.2 --known-tolerance 0.1%";

#[test]
fn the_document_and_the_files_hold_the_fixed_names_and_the_loads_impedance() {
    let folder = tempfile::tempdir().unwrap();
    captures(folder.path());
    let line = format!("{CALIBRATED} --short short.wav --open open.wav --input-full-scale-v 2 --json");
    let found = document(folder.path(), &line);
    for key in ["made_by", "inputs", "settings", "findings", "files", "curve", "minimum", "peaks", "rated_ohm"] {
        assert!(!found[key].is_null(), "{key}");
    }
    assert_eq!(found["schema"], "boxwright/impedance/1");
    assert_eq!(codes(&found), Vec::<String>::new(), "{}", found["findings"]);
    let (hz, ohm) = (column(&found, "/curve/frequency_hz"), column(&found, "/curve/magnitude_ohm"));
    let (phase, u) = (column(&found, "/curve/phase_deg"), column(&found, "/curve/u_ohm"));
    for (at, &hz) in hz.iter().enumerate() {
        let expected = driver_ohm(hz);
        // 0.05 %: what is asked of a calibrated jig; 0.05 degrees likewise.
        assert!((ohm[at] / expected.norm() - 1.0).abs() < 5e-4, "{hz}: {} {}", ohm[at], expected.norm());
        assert!((phase[at] - expected.arg().to_degrees()).abs() < 0.05, "{hz}: {}", phase[at]);
        // Nothing but the known resistor and noise is left in doubt.
        assert!((4e-4..2e-3).contains(&(u[at] / ohm[at])), "{hz}: {}", u[at]);
    }
    let peak = found["peaks"][0]["frequency_hz"].as_f64().unwrap();
    assert!((peak / 42.0 - 1.0).abs() < 1e-3, "{peak}");
    // 5.6 Ω and what the coil adds: above 80 % of 6 Ω, below that of 8.
    assert_eq!(found["rated_ohm"], 6.0);
    // −20 dBFS of 2 V are 0.2 V at the peak, 0.141 V rms; 61.6/71.6 of it times the gain of 1.122.
    let volts = found["load_voltage"]["at_peak_v"].as_f64().unwrap();
    assert!((volts / (0.1 * 2f64.sqrt() * 61.6 / 71.6 * 1.122) - 1.0).abs() < 0.01, "{volts}");
    let written: Vec<&str> = found["files"].as_array().unwrap().iter().map(|f| f["path"].as_str().unwrap()).collect();
    let names = ["impedance.csv", "impedance.s1p", "impedance.svg", "impedance.png", "result.json"];
    assert_eq!(written, names.map(|name| format!("woofer/{name}")));
    // CSV and Touchstone say the same as the document.
    for name in ["impedance.csv", "impedance.s1p"] {
        let curve = files::read_curve(&folder.path().join("woofer").join(name)).unwrap();
        let read = files::impedance_of(&curve).unwrap();
        for (at, z) in read.values().iter().enumerate() {
            // 1e-12: printed with all digits.
            assert!(
                (z - Complex64::from_polar(ohm[at], phase[at].to_radians())).norm() < 1e-12 * ohm[at],
                "{name} {at}"
            );
        }
        assert_eq!(read.u_noise_ohm().is_some(), name == "impedance.csv");
    }
}

#[test]
fn a_person_sees_the_peak_the_doubt_and_that_the_voltage_is_not_known() {
    let folder = tempfile::tempdir().unwrap();
    captures(folder.path());
    let output = run(folder.path(), &format!("{CALIBRATED} --no-pictures --lead-ohm 0"));
    let says = String::from_utf8(output.stdout).unwrap();
    for words in
        ["61.6", "Ω at 4", "rated impedance", "IEC 60268-5", "load/drive gain", "+1.00", "not known", "± is 2u"]
    {
        assert!(says.contains(words), "{words}: {says}");
    }
    assert!(
        !folder.path().join("woofer/impedance.png").exists() && folder.path().join("woofer/impedance.s1p").exists()
    );
    let quiet = run(folder.path(), &format!("{CALIBRATED} --no-pictures --quiet --out elsewhere"));
    assert!(quiet.stdout.is_empty() && folder.path().join("elsewhere/result.json").exists());
}

/// What a jig adds and nobody measured is in the doubt: the errors of the raw curve lie within a few u.
#[test]
fn without_calibration_the_job_gives_the_resistor_and_the_doubt_is_stated() {
    let folder = tempfile::tempdir().unwrap();
    let excitation = captures(folder.path());
    write(folder.path(), "plain.wav", Twin { noise: 1e-6, ..Twin::default() }.record(&excitation, driver_ohm));
    let line = "impedance plain.wav --excitation played.wav --json --no-pictures";
    let says = refused(folder.path(), line, 1);
    assert!(says.contains("--sense-ohm"), "{says}");
    std::fs::write(
        folder.path().join("job.toml"),
        "[bench]\nsense_ohm = 10.05\ngain_limit_db = 0.1\ndrive_channel = 1\nload_channel = 2\n",
    )
    .unwrap();
    let found = document(folder.path(), &format!("{line} --band 30:5000 --points-per-octave 12"));
    assert_eq!((&found["settings"]["sense_ohm"], &found["settings"]["gain_limit_db"]), (&10.05.into(), &0.1.into()));
    let (hz, ohm, u) =
        (column(&found, "/curve/frequency_hz"), column(&found, "/curve/magnitude_ohm"), column(&found, "/curve/u_ohm"));
    assert!(hz[0] > 29.9 && hz[hz.len() - 1] < 5000.1 && hz.len() == 88, "{}", hz.len());
    for (at, &hz) in hz.iter().enumerate() {
        // 0.5 % too large a resistor is told as 1 %/√3 and more.
        let off = (ohm[at] - driver_ohm(hz).norm()).abs();
        assert!(off < 2.0 * u[at] && off > 0.2 * 0.005 * ohm[at], "{hz}: {off} {}", u[at]);
    }
    // The band begins above half of the resonance, which is said for whoever wants the driver's parameters.
    assert_eq!(codes(&found), ["out-of-band", "lead-resistance"]);
}

#[test]
fn swapped_channels_are_said_with_what_to_do_and_what_to_take_care_of() {
    let folder = tempfile::tempdir().unwrap();
    captures(folder.path());
    let line = "impedance woofer.wav --excitation played.wav --drive 2 --load 1 --sense-ohm 10 --no-pictures";
    let output = run(folder.path(), line);
    let (says, hints) = (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap());
    assert!(says.contains("channels-swapped") && says.contains("--drive 1 --load 2"), "{says}");
    assert!(hints.contains("Bridge-tied outputs"), "{hints}");
}

#[test]
fn what_can_not_be_used_is_refused_with_its_reason() {
    let folder = tempfile::tempdir().unwrap();
    let excitation = captures(folder.path());
    let base = "impedance woofer.wav --excitation played.wav --sense-ohm 10";
    assert!(refused(folder.path(), &format!("{base} --drive 1 --load 1"), 1).contains("both drive and load"));
    assert!(refused(folder.path(), &format!("{base} --load 3"), 1).contains("channel 3"));
    refused(folder.path(), &format!("{base} --known known.wav"), 2);
    refused(folder.path(), &format!("{base} --sense-tolerance 100%"), 2);
    refused(folder.path(), &format!("{base} --band 500:20"), 2);
    assert!(refused(folder.path(), &format!("{base} --band 1:2"), 1).contains("band"));
    assert!(refused(folder.path(), "impedance nothing.wav --sense-ohm 10", 1).contains("nothing.wav"));
    assert!(refused(folder.path(), "impedance woofer.wav --sense-ohm 10", 1).contains("--excitation"));
    let mut silent = Twin::default().record(&excitation, driver_ohm);
    silent.channels[0].fill(0.0);
    write(folder.path(), "silent.wav", silent);
    let says = refused(folder.path(), "impedance silent.wav --excitation played.wav --sense-ohm 10", 1);
    assert!(says.contains("too-quiet") && says.contains("channel 1"), "{says}");
}
