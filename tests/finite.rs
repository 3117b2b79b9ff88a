//! No number that is none leaves the program: degenerate input of impedances and of all that is built on them gets an error that says what
//! to do, or a document whose every number is finite.
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use serde_json::Value;
use std::fmt::Write as _;
use std::path::Path;

/// Runs a command with `--json`; its document, where it gave one.
fn ran(folder: &Path, line: &str) -> Option<Value> {
    let mut command = assert_cmd::Command::cargo_bin("boxwright").unwrap();
    let output = command.current_dir(folder).env("NO_COLOR", "1").args(line.split(' ')).arg("--json").output().unwrap();
    let says = String::from_utf8_lossy(&output.stderr).into_owned();
    match output.status.code() {
        Some(0 | 3) => Some(serde_json::from_slice(&output.stdout).unwrap()),
        Some(1) => {
            assert!(
                output.stdout.is_empty() && says.starts_with("error: ") && says.contains("try: "),
                "{line}: {says}"
            );
            assert!(!says.contains("NaN") && !says.contains("inf "), "{line}: {says}");
            None
        }
        other => panic!("{line}: {other:?} {says}"),
    }
}

/// JSON has no word for what is no number: it would stand as null, which no column of an impedance may hold, and words must not say it.
fn is_finite(value: &Value, path: &str) {
    match value {
        Value::Null => panic!("null at {path}"),
        Value::Number(number) => assert!(number.as_f64().unwrap().is_finite(), "{path}: {number}"),
        Value::String(text) => {
            let words: Vec<&str> = text.split(|c: char| !c.is_alphanumeric()).collect();
            assert!(!words.contains(&"NaN") && !words.contains(&"inf"), "{path}: {text}");
        }
        Value::Array(all) => all.iter().enumerate().for_each(|(at, one)| is_finite(one, &format!("{path}/{at}"))),
        Value::Object(all) => all.iter().for_each(|(key, one)| is_finite(one, &format!("{path}/{key}"))),
        Value::Bool(_) => (),
    }
}

fn refused(folder: &Path, line: &str) {
    let document = ran(folder, line);
    assert!(document.is_none(), "{line}: {document:?}");
}

fn write(folder: &Path, name: &str, channels: &[Vec<f64>]) {
    use boxwright::quantity::SampleRate;
    use boxwright::signal::{Recording, SampleFormat};
    let rate = SampleRate::new(48_000).unwrap();
    let recording = Recording { rate, channels: channels.to_vec(), format: SampleFormat::Float32 };
    boxwright::files::replace_wav(&folder.join(name), &recording).unwrap();
}

#[test]
fn captures_that_hold_nothing_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let line = "signal sweep --seconds 1 --pause 0.5 --from 20 --to 20000 --level-dbfs -20 --out played.wav";
    ran(folder, line).unwrap();
    let played = boxwright::files::read_wav(&folder.join("played.wav")).unwrap().recording.channels.remove(0);
    let frames = played.len();
    let constant = vec![0.5; frames];
    let cases: [(&str, [Vec<f64>; 2]); 8] = [
        ("silence", [vec![0.0; frames], vec![0.0; frames]]),
        ("one-sample", [vec![0.1], vec![0.05]]),
        ("two-samples", [vec![0.1; 2], vec![0.05; 2]]),
        ("constant", [constant.clone(), constant.clone()]),
        ("silent-load", [played.clone(), vec![0.0; frames]]),
        ("silent-drive", [vec![0.0; frames], played.clone()]),
        ("constant-load", [played.clone(), constant]),
        ("short", [played[..frames / 3].to_vec(), played[..frames / 3].to_vec()]),
    ];
    for (name, channels) in &cases {
        let wav = format!("{name}.wav");
        write(folder, &wav, channels);
        let line = format!("impedance {wav} --excitation played.wav --sense-ohm 10 --no-pictures");
        match *name {
            // Something that does not move with the drive: a curve of what little it holds, and words about it.
            "constant-load" => {
                if let Some(document) = ran(folder, &line) {
                    is_finite(&document, "");
                    let findings = document["findings"].as_array().unwrap();
                    assert!(findings.iter().any(|finding| finding["severity"] != "note"), "{findings:?}");
                }
            }
            _ => refused(folder, &line),
        }
    }
    // Equal channels: an open load, with all numbers finite or none.
    write(folder, "equal.wav", &[played.clone(), played.clone()]);
    let line = "impedance equal.wav --excitation played.wav --sense-ohm 10 --no-pictures";
    if let Some(document) = ran(folder, line) {
        is_finite(&document, "");
        let findings = document["findings"].as_array().unwrap();
        assert!(findings.iter().any(|finding| finding["severity"] == "fault"), "{findings:?}");
    }
    let half: Vec<f64> = played.iter().map(|x| 0.5 * x).collect();
    write(folder, "half.wav", &[played, half]);
    let line = "impedance half.wav --excitation played.wav --sense-ohm 10 --no-pictures";
    is_finite(&ran(folder, line).unwrap(), "");
    for band in ["1:1", "30000:40000", "100:100.1"] {
        if let Some(document) = ran_or_usage(folder, &format!("{line} --band {band}")) {
            is_finite(&document, "");
        }
    }
    for facts in ["--sense-ohm 1e-300", "--sense-ohm 1e300", "--sense-ohm 10 --lead-ohm 1e300"] {
        let line = format!("impedance half.wav --excitation played.wav --no-pictures {facts}");
        if let Some(document) = ran_or_usage(folder, &line) {
            is_finite(&document, "");
        }
    }
}

/// As [`ran`]; a band or a number that is none is wrong usage.
fn ran_or_usage(folder: &Path, line: &str) -> Option<Value> {
    let mut command = assert_cmd::Command::cargo_bin("boxwright").unwrap();
    let output = command.current_dir(folder).env("NO_COLOR", "1").args(line.split(' ')).arg("--json").output().unwrap();
    let says = String::from_utf8_lossy(&output.stderr).into_owned();
    match output.status.code() {
        Some(0) => Some(serde_json::from_slice(&output.stdout).unwrap()),
        Some(1 | 2) => None,
        other => panic!("{line}: {other:?} {says}"),
    }
}

#[test]
fn curves_that_are_none_are_refused_by_all_that_reads_them() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let table = |name: &str, rows: &[(f64, f64, f64)]| {
        let mut text = "frequency_hz,magnitude_ohm,phase_deg\n".to_owned();
        rows.iter().for_each(|(hz, ohm, deg)| writeln!(text, "{hz},{ohm},{deg}").unwrap());
        std::fs::write(folder.join(name), text).unwrap();
    };
    let grid: Vec<f64> = (0..200).map(|n| 20.0 * 1.03f64.powi(n)).collect();
    let flat = |ohm: f64| grid.iter().map(|&hz| (hz, ohm, 0.0)).collect::<Vec<_>>();
    table("one.csv", &[(1.0, 8.0, 0.0)]);
    table("same.csv", &[(1.0, 8.0, 0.0), (1.0, 8.0, 0.0)]);
    table("two.csv", &[(1.0, 8.0, 0.0), (2.0, 8.0, 0.0)]);
    table("zero.csv", &flat(0.0));
    table("flat.csv", &flat(8.0));
    table("tiny.csv", &flat(1e-300));
    table("huge.csv", &flat(1e300));
    table("empty.csv", &[]);
    for name in ["one", "same", "two", "zero", "flat", "tiny", "huge", "empty"] {
        for command in [
            format!("driver {name}.csv --no-pictures"),
            format!("driver {name}.csv --sd-cm2 100 --mms-g 10 --no-pictures"),
            format!("box {name}.csv --kind closed --no-pictures"),
            format!("box {name}.csv --kind vented --no-pictures"),
        ] {
            if let Some(document) = ran(folder, &command) {
                is_finite(&document, "");
            }
        }
    }
}

#[test]
fn networks_and_designs_at_the_edge_give_finite_numbers_or_an_error() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (name, cards) in [
        ("short.cir", "R1 in out 0\nR2 out 0 8\n"),
        ("loop.cir", "L1 in 0 1m\nC1 in 0 1u\n"),
        ("alone.cir", "C1 a b 1u\n"),
        ("tiny.cir", "R1 in out 1e-300\nR2 out 0 1e-300\n"),
        ("huge.cir", "R1 in out 1e300\nR2 out 0 1e300\n"),
        ("empty.cir", "\n"),
    ] {
        std::fs::write(folder.join(name), cards).unwrap();
        if let Some(document) = ran_or_usage(folder, &format!("network {name}")) {
            is_finite(&document, "");
        }
    }
    for (name, driver) in [
        ("zero", "re_ohm = 0\nfs_hz = 0\nqms = 0\nqes = 0\nvas_l = 0\nsd_cm2 = 0"),
        ("tiny", "re_ohm = 1e-300\nfs_hz = 1e-300\nqms = 1e-300\nqes = 1e-300\nvas_l = 1e-300\nsd_cm2 = 1e-300"),
        ("huge", "re_ohm = 1e300\nfs_hz = 1e300\nqms = 1e300\nqes = 1e300\nvas_l = 1e300\nsd_cm2 = 1e300"),
    ] {
        let job = folder.join(name);
        std::fs::create_dir(&job).unwrap();
        let text = format!(
            "[job]\nname = \"edge\"\n[driver.one]\n{driver}\n[box.one]\nkind = \"closed\"\nvolume_l = 10\n\
             [speaker.one]\nbox = \"one\"\nways = [ {{ driver = \"one\", node = \"in\" }} ]\n"
        );
        std::fs::write(job.join("job.toml"), text).unwrap();
        if let Some(document) = ran_or_usage(folder, &format!("simulate {name}")) {
            is_finite(&document, "");
        }
    }
}
