//! `average` as its user sees it.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

mod program;

use boxwright::files;
use program::{json, said};
use serde_json::Value;
use std::f64::consts::PI;
use std::fmt::Write;
use std::path::Path;

fn column(document: &Value, path: &str) -> Vec<f64> {
    document.pointer(path).unwrap().as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
}

fn codes(document: &Value) -> Vec<&str> {
    document["findings"].as_array().unwrap().iter().map(|finding| finding["code"].as_str().unwrap()).collect()
}

const HEADER: &str = "# level_reference: dB re 20 uPa\n# phase: the arrival's delay is removed\n";

/// Our own table, 60 Hz to 15 kHz and 12 points an octave: level, phase in degrees and u by frequency.
fn write(folder: &Path, name: &str, header: &str, of: impl Fn(f64) -> [f64; 3]) {
    let mut text = format!("{header}frequency_hz,level_db,phase_deg,u_db\n");
    for k in -48..=46 {
        let hz = 1000.0 * 2f64.powf(f64::from(k) / 12.0);
        let [level_db, phase_deg, u_db] = of(hz);
        writeln!(text, "{hz},{level_db},{phase_deg},{u_db}").unwrap();
    }
    std::fs::write(folder.join(name), text).unwrap();
}

#[test]
fn places_are_averaged_by_power_with_their_scatter_as_doubt() {
    let folder = tempfile::tempdir().unwrap();
    let levels_db = [80.0, 83.0, 78.0, 81.5, 79.0, 82.0];
    for (n, level_db) in levels_db.into_iter().enumerate() {
        write(folder.path(), &format!("p{n}.csv"), HEADER, |_| [level_db, 0.0, 0.1]);
    }
    let words = "average p0.csv p1.csv p2.csv p3.csv p4.csv p5.csv";
    let found = json(folder.path(), words);
    assert_eq!(found["schema"], "boxwright/average/1");
    assert_eq!((&found["what"], &found["of"]), (&Value::from("average over 6 places"), &Value::from(6)));
    assert_eq!(found["level_reference"], "dB re 20 uPa");
    assert_eq!(found["settings"]["by"], "power");
    assert_eq!(column(&found, "/settings/weights"), [1.0; 6]);
    assert!(codes(&found).is_empty(), "{found}");
    let powers = levels_db.map(|db: f64| 10f64.powf(0.1 * db));
    let mean = powers.iter().sum::<f64>() / 6.0;
    let s = (powers.iter().map(|power| (power - mean).powi(2)).sum::<f64>() / 5.0).sqrt();
    let u_db = 10.0 / std::f64::consts::LN_10 * s / 6f64.sqrt() / mean;
    let mean_db = levels_db.iter().sum::<f64>() / 6.0;
    let spread_db = (levels_db.iter().map(|db| (db - mean_db).powi(2)).sum::<f64>() / 5.0).sqrt();
    let hz = column(&found, "/curve/frequency_hz");
    assert_eq!((hz.len(), hz[0]), (377, 62.5), "48 an octave from 62.5 Hz");
    for (path, expected) in
        [("/curve/level_db", 10.0 * mean.log10()), ("/curve/u_db", u_db), ("/spread/level_db", spread_db)]
    {
        let found = column(&found, path);
        // 1e-9: powers and logarithms.
        assert!(found.len() == hz.len() && found.iter().all(|db| (db - expected).abs() < 1e-9), "{path}");
    }
    assert!(found["curve"].get("phase_deg").is_none());
    let listed: Vec<&str> =
        found["files"].as_array().unwrap().iter().map(|file| file["path"].as_str().unwrap()).collect();
    let named = ["average.csv", "average.svg", "average.png", "average.json"];
    assert_eq!(listed, named.map(|name| format!("averaged/{name}")));
    assert!(listed.iter().all(|path| folder.path().join(path).is_file()));
    let curve = files::read_curve(&folder.path().join("averaged/average.csv")).unwrap();
    assert_eq!(curve.values, column(&found, "/curve/level_db"));
    assert_eq!(curve.header_value("level_reference"), Some("dB re 20 uPa"));
    assert_eq!(curve.header_value("what"), Some("average over 6 places, by power"));
    let kept = std::fs::read_to_string(folder.path().join("averaged/average.json")).unwrap();
    assert_eq!(serde_json::from_str::<Value>(&kept).unwrap(), found);
    let words = said(folder.path(), &format!("{words} --no-pictures")).out;
    assert!(words.contains("average over 6 places") && words.contains("spread"), "{words}");
    // What was averaged can be averaged again, elsewhere; never in its own place.
    let again = "average averaged/average.csv p0.csv --no-pictures --weights 6,1";
    let done = said(folder.path(), &format!("{again} --out averaged"));
    assert!(done.status == 1 && done.err.contains("take its place"), "{}", done.err);
    let found = json(folder.path(), &format!("{again} --out again --points-per-octave 3"));
    let expected = 10.0 * ((6.0 * mean + powers[0]) / 7.0).log10();
    assert!((column(&found, "/curve/level_db")[5] - expected).abs() < 1e-9);
    assert!(codes(&found).contains(&"incomplete"), "two places tell little: {found}");
}

/// The nine directions with levels by angle: the listening window by name, and what another set lacks.
#[test]
fn angles_make_a_listening_window_or_say_what_is_missing() {
    let folder = tempfile::tempdir().unwrap();
    let angles = ["0", "v10", "v-10", "10", "-10", "20", "-20", "30", "-30"];
    let level_db = |n: usize, angle: &str| {
        let degrees: f64 = angle.trim_start_matches('v').parse().unwrap();
        80.0 - 0.1 * degrees.abs() - 0.01 * n as f64
    };
    for (n, angle) in angles.iter().enumerate() {
        write(folder.path(), &format!("{angle}.csv"), HEADER, |_| [level_db(n, angle), 0.0, 0.2]);
    }
    let all: Vec<String> = angles.iter().map(|angle| format!("./{angle}.csv")).collect();
    let words = |count: usize| format!("average {} --angles {}", all[..count].join(" "), angles[..count].join(","));
    let found = json(folder.path(), &format!("{} --no-pictures", words(9)));
    assert_eq!(found["what"], "listening window");
    assert_eq!(found["settings"]["angles"], serde_json::json!(angles));
    assert!(codes(&found).is_empty(), "{found}");
    // The directions are meant: u is that of nine independent 0.2 dB, not what the directions differ by.
    let levels_db = angles.iter().enumerate().map(|(n, angle)| level_db(n, angle));
    let powers: Vec<f64> = levels_db.map(|db| 10f64.powf(0.1 * db)).collect();
    let expected = 0.2 * powers.iter().map(|power| power * power).sum::<f64>().sqrt() / powers.iter().sum::<f64>();
    assert!(column(&found, "/curve/u_db").iter().all(|u_db| (u_db - expected).abs() < 1e-9), "{expected}");
    assert!(column(&found, "/spread/level_db")[0] > 1.0);
    let less = json(folder.path(), &format!("{} --no-pictures", words(7)));
    assert_eq!(less["what"], "average over angles");
    let finding = &less["findings"][0];
    assert_eq!((&finding["code"], &finding["severity"]), (&Value::from("incomplete"), &Value::from("note")));
    assert!(finding["says"].as_str().unwrap().contains("lacks 30, -30"), "{finding}");
    let complex = json(folder.path(), &format!("{} --no-pictures --by complex", words(9)));
    assert_eq!(complex["what"], "average over angles", "the window is a mean of powers");
}

/// A curve and the same turned by 120 degrees: cos 60° of the level, turned by 60; turned by 180 it cancels.
#[test]
fn complex_averages_add_phases_and_say_where_they_cancel() {
    let folder = tempfile::tempdir().unwrap();
    for (name, turn) in [("a.csv", 0.0), ("b.csv", 120.0), ("c.csv", 180.0)] {
        write(folder.path(), name, HEADER, |hz| [80.0, -hz / 1000.0 + turn, 0.1]);
    }
    let found = json(folder.path(), "average a.csv b.csv --by complex --no-pictures");
    assert!((column(&found, "/curve/level_db")[9] - 80.0 - 20.0 * (PI / 3.0).cos().log10()).abs() < 1e-9);
    let (hz, phase) = (column(&found, "/curve/frequency_hz")[9], column(&found, "/curve/phase_deg")[9]);
    // 0.01°: straight between the table's points over the logarithm of the frequency.
    assert!((phase - 60.0 + hz / 1000.0).abs() < 0.01, "{phase} at {hz}");
    assert!(found["settings"]["phase_reference"].as_str().unwrap().contains("own arrival"));
    assert!(codes(&found).contains(&"disagreement"), "{found}");
    let none = said(folder.path(), "average a.csv c.csv --by complex");
    assert!(none.status == 1 && none.err.contains("cancel"), "{}", none.err);
    std::fs::write(folder.path().join("d.txt"), "20 0\n20000 0\n").unwrap();
    std::fs::write(folder.path().join("e.txt"), "20 1 5\n20000 1 5\n").unwrap();
    std::fs::write(folder.path().join("f.txt"), "30 2 5\n30000 1 5\n").unwrap();
    let silent = said(folder.path(), "average e.txt d.txt --by complex");
    assert!(silent.status == 1 && silent.err.contains("d.txt: it has no phase"), "{}", silent.err);
    // Relative curves without a header go together; what their phases refer to is not said.
    let relative = json(folder.path(), "average e.txt f.txt --by complex --no-pictures");
    assert!(relative.get("level_reference").is_none() && codes(&relative).contains(&"assumed"), "{relative}");
}

#[test]
fn mistakes_are_told() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "a.csv", HEADER, |_| [80.0, 0.0, 0.1]);
    write(folder.path(), "b.csv", HEADER, |_| [81.0, 0.0, 0.1]);
    write(folder.path(), "drive.csv", "# level_reference: reply/drive\n", |_| [-20.0, 0.0, 0.1]);
    std::fs::write(folder.path().join("bare.txt"), "20 80\n20000 80\n").unwrap();
    std::fs::write(folder.path().join("treble.csv"), format!("{HEADER}frequency_hz,level_db\n20000,80\n30000,80\n"))
        .unwrap();
    std::fs::write(folder.path().join("z.csv"), "frequency_hz,magnitude_ohm,phase_deg\n20,8,0\n200,8,0\n").unwrap();
    for (words, status, says) in [
        ("average a.csv", 2, "one curve, an average needs two or more"),
        ("average a.csv z.csv", 1, "z.csv: an impedance"),
        ("average a.csv drive.csv", 1, "a.csv has \"dB re 20 uPa\", drive.csv has \"reply/drive\""),
        ("average a.csv bare.txt", 1, "bare.txt has no level reference"),
        ("average a.csv treble.csv", 1, "no point in common"),
        ("average a.csv none.csv", 1, "none.csv"),
        ("average a.csv b.csv --weights 1,2,3", 2, "3 weights for 2 curves"),
        ("average a.csv b.csv --weights 1,-2", 2, "not more than 0"),
        ("average a.csv b.csv --weights 1,1e-30", 2, "a weight of 1"),
        ("average a.csv b.csv --angles 0", 2, "1 angles for 2 curves"),
        ("average a.csv b.csv --angles 0,200", 2, "an angle of 200 degrees"),
        ("average a.csv b.csv --angles 0,up", 2, "up"),
        ("average a.csv b.csv --by loudness", 2, "loudness"),
    ] {
        let done = said(folder.path(), words);
        assert!(done.status == status && done.err.contains(says), "{words}: {} {}", done.status, done.err);
        assert!(!folder.path().join("averaged").exists(), "{words} wrote something");
    }
    let twice = json(folder.path(), "average a.csv a.csv b.csv --no-pictures --out out");
    assert_eq!(twice["findings"][0]["code"], "implausible");
    let quiet = said(folder.path(), "average a.csv b.csv --no-pictures --quiet --out out");
    assert_eq!((quiet.status, quiet.out.as_str(), quiet.err.as_str()), (0, "", ""));
}
