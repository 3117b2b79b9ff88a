//! `simulate`, `network` and `compare` as their user sees them.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

mod program;

use program::{json_with, said};
use serde_json::Value;
use std::fmt::Write;
use std::path::Path;

fn json(folder: &Path, words: &str, status: i32) -> Value {
    json_with(folder, words, &[status])
}

const JOB: &str = r#"
[job]
name = "rear pair"
[driver.mid]
re_ohm = 3.4
fs_hz = 110
qms = 4.2
qes = 0.71
vas_l = 2.3
sd_cm2 = 50
le_mh = 0.22
xmax_mm = 2.5
spread_percent = 3
power_w = 20
[driver.treble]
re_ohm = 3.6
fs_hz = 1100
qms = 2.5
qes = 1.6
vas_l = 0.004
sd_cm2 = 5.5
le_mh = 0.03
[box.rear]
kind = "closed"
volume_l = 1.9
ql = 60
qa = 30
[baffle.rear]
width_mm = 140
height_mm = 210
edge_radius_mm = 6
[network.rear]
netlist = "rear.cir"
[speaker.rear]
box = "rear"
baffle = "rear"
network = "rear"
ways = [ { driver = "mid", node = "w", at_mm = [70, 80] },
         { driver = "treble", node = "t", at_mm = [70, 160], polarity = "-", box = "none" } ]
[limits]
against_design_db = 2.0
"#;
const NET: &str = "* rear\nL1 in w 0.39m dcr=0.25\nC1 w 0 6.8u esr=0.05\nC2 in t1 5.6u esr=0.05\nL2 t1 0 0.33m dcr=0.25\nR1 t1 t 1.5\n";

/// A job folder, and one of a loudspeaker that was built otherwise: its design simulated is what is measured.
fn jobs(folder: &Path, netlist: &str, change: impl Fn(&str) -> String) {
    for (name, job, net) in [("design", JOB.to_owned(), NET), ("built", change(JOB), netlist)] {
        std::fs::create_dir_all(folder.join(name)).unwrap();
        std::fs::write(folder.join(name).join("job.toml"), job).unwrap();
        std::fs::write(folder.join(name).join("rear.cir"), net).unwrap();
        json(folder, &format!("simulate {name} --no-pictures --no-tolerance"), 0);
    }
}

const COMPARED: &str =
    "compare built/simulation/rear-response.csv design/simulation/rear-response.csv --no-pictures --out out";

#[test]
fn a_simulation_has_its_curves_and_its_pictures() {
    let folder = tempfile::tempdir().unwrap();
    jobs(folder.path(), NET, str::to_owned);
    let document = json(folder.path(), "simulate design", 0);
    assert_eq!(document["schema"], "boxwright/simulation/1");
    let rear = &document["speakers"]["rear"];
    let length = |columns: &Value, column: &str| columns[column].as_array().unwrap().len();
    for (columns, column) in [
        (&rear["response"], "level_db"),
        (&rear["response"], "u_db"),
        (&rear["impedance"], "magnitude_ohm"),
        (&rear["impedance"], "u_ohm"),
        (&rear["ways"]["mid"]["response"], "level_db"),
        (&rear["ways"]["treble"]["transfer"], "gain_db"),
        (&rear["excursion"], "peak_mm"),
        (&rear["group_delay"], "delay_ms"),
        (&rear["amplifier_current"], "current_a"),
    ] {
        assert_eq!(length(columns, column), length(columns, "frequency_hz"), "{column}");
    }
    assert_eq!(length(&rear["response"], "level_db"), 478, "20 Hz to 20 kHz, 48 an octave");
    assert!(rear["parameters"].as_array().unwrap().len() > 12);
    for file in document["files"].as_array().unwrap() {
        assert!(folder.path().join(file["path"].as_str().unwrap()).is_file());
    }
    let words = said(folder.path(), "simulate design --e-series E6 --no-pictures").out;
    assert!(words.contains("parts that can be bought") && words.contains("lowest impedance"), "{words}");
    let half = json(folder.path(), "simulate design --space half --no-tolerance --no-pictures", 0);
    let full = json(folder.path(), "simulate design --space full --no-tolerance --no-pictures", 0);
    let first = |document: &Value| document["speakers"]["rear"]["response"]["level_db"][0].as_f64().unwrap();
    // 20·log₁₀ 2 between half and whole space.
    assert!((first(&half) - first(&full) - 6.0206).abs() < 1e-4);
    // The bass of the box comes from some 5 cm in front of it: 20·log₁₀(1/0.95) = 0.45 dB at 1 m (`box_near_field.csv` has 0.5 dB for such a box).
    let forward_db = first(&document) - first(&full);
    assert!((0.35..0.6).contains(&forward_db), "{forward_db}");
}

#[test]
fn a_network_into_resistors_is_what_its_parts_say() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("net.cir"), "L1 in w 1m\nC1 w 0 20u\n").unwrap();
    let document = json(folder.path(), "network net.cir --load w=8 --band 20:20000", 0);
    assert_eq!(document["schema"], "boxwright/network/1");
    let way = &document["ways"]["w"];
    let at = way["frequency_hz"].as_array().unwrap().iter().position(|hz| hz.as_f64() == Some(1000.0)).unwrap();
    // H = 1/(1 − ω²LC + jωL/R) at 1 kHz.
    let (omega, l, c, r) = (std::f64::consts::TAU * 1000.0, 1e-3, 20e-6, 8.0);
    let expected_db = -10.0 * ((1.0 - omega * omega * l * c).powi(2) + (omega * l / r).powi(2)).log10();
    assert!((way["gain_db"][at].as_f64().unwrap() - expected_db).abs() < 1e-6);
    let wrong = said(folder.path(), "network net.cir --load treble=8");
    assert!(wrong.status == 1 && wrong.err.contains("treble"), "{}", wrong.err);
    let none = said(folder.path(), "network none.cir");
    assert_eq!(none.status, 1);
}

#[test]
fn a_wrong_capacitor_and_a_small_box_are_both_named() {
    let folder = tempfile::tempdir().unwrap();
    let net = NET.replace("5.6u", "3.3u");
    jobs(folder.path(), &net, |job| job.replace("volume_l = 1.9", "volume_l = 1.4"));
    let also = "--explain design --also built/simulation/rear-impedance.csv";
    let document = json(folder.path(), &format!("{COMPARED} {also}"), 3);
    let causes = document["causes"].as_array().unwrap();
    let found = |name: &str| causes.iter().find(|cause| cause["cause"] == name).unwrap_or_else(|| panic!("{causes:?}"));
    let close = |cause: &Value, value: f64| {
        let [found, u] = ["value", "u"].map(|key| cause["found"][key].as_f64().unwrap());
        // Both measurements are without error; what is usual may still have shifted it.
        assert!((found - value).abs() < 2.0 * u && u < 0.2 * value, "{cause}");
    };
    assert_eq!(causes.len(), 2, "{causes:?}");
    close(found("volume"), 1.4);
    close(found("C2"), 3.3);
    let words = said(folder.path(), &format!("{COMPARED} {also}")).out;
    assert!(words.contains("volume acts like 1.4") && words.contains("not within the limits"), "{words}");
}

#[test]
fn events_are_told_by_name_and_a_healthy_build_is_not_accused() {
    let folder = tempfile::tempdir().unwrap();
    let also = "--explain design --also built/simulation/rear-impedance.csv";
    let cause = |net: &str, from: &str, to: &str, status| {
        jobs(folder.path(), net, |job| job.replace(from, to));
        let document = json(folder.path(), &format!("{COMPARED} {also}"), status);
        let causes = document["causes"].as_array().unwrap().clone();
        (causes.iter().map(|cause| cause["cause"].as_str().unwrap().to_owned()).collect::<Vec<_>>(), document)
    };
    assert_eq!(cause(NET, "polarity = \"-\"", "polarity = \"+\"", 3).0, ["polarity treble"]);
    let open = NET.replace("C1 w 0 6.8u esr=0.05\n", "");
    assert_eq!(cause(&open, "-", "-", 3).0, ["C1"]);
    let (none, document) = cause(NET, "volume_l = 1.9", "volume_l = 1.87", 0);
    assert!(none.is_empty() && document["within"] == true, "{none:?}");
    assert!(document["left"]["says"].as_str().unwrap().starts_with("nothing significant"));
}

#[test]
fn any_curves_can_be_compared_and_mistakes_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let table = |offset_db: f64, tilt_db: f64| {
        let mut text = String::from("f;dB\n");
        for n in 0..=100 {
            let hz = 20.0 * 1000f64.powf(f64::from(n) / 100.0);
            writeln!(text, "{hz:.3};{:.4}", 80.0 + offset_db + tilt_db * (hz / 632.4555).log2()).unwrap();
        }
        text
    };
    std::fs::write(folder.path().join("a.txt"), table(4.0, 0.5)).unwrap();
    std::fs::write(folder.path().join("b.txt"), table(0.0, 0.0)).unwrap();
    std::fs::write(folder.path().join("z.csv"), "frequency_hz,magnitude_ohm,phase_deg\n20,8,0\n200,8,0\n").unwrap();
    let document = json(folder.path(), "compare a.txt b.txt --limits 3 --no-pictures", 0);
    assert!((document["aligned"]["level_db"].as_f64().unwrap() - 4.0).abs() < 0.02, "{document}");
    // A straight tilt of t dB an octave over n octaves has the rms t·n/√12.
    let expected_db = 0.5 * 1000f64.log2() / 12f64.sqrt();
    assert!((document["rms_db"].as_f64().unwrap() - expected_db).abs() < 0.02);
    assert!(document.get("causes").is_none());
    json(folder.path(), "compare a.txt b.txt --limits 3 --align none --no-pictures", 3);
    for (words, status, says) in [
        ("compare a.txt z.csv", 1, "compare two responses, or two impedances"),
        ("compare a.txt none.txt", 1, "none.txt"),
        ("compare a.txt b.txt --align delay", 1, "the delay can't be aligned"),
        ("compare a.txt b.txt --align phase", 2, "none of level, delay"),
        ("compare a.txt b.txt --band 30000:40000", 1, "no frequency in common"),
        ("compare a.txt b.txt --also z.csv", 2, "--explain"),
        ("simulate nowhere", 1, "nowhere"),
    ] {
        let done = said(folder.path(), words);
        assert!(done.status == status && done.err.contains(says), "{words}: {} {}", done.status, done.err);
    }
    std::fs::create_dir(folder.path().join("job")).unwrap();
    for (text, says) in [
        ("[speaker.a]\nways = [{ driver = \"mid\" }]\n", "speaker.a names driver \"mid\", which is not there"),
        ("[driver.mid]\nre_ohm = 4\n", "driver.mid has no fs_hz"),
        ("[job]\nname = \"x\"\n", "it has no [speaker.NAME]"),
    ] {
        std::fs::write(folder.path().join("job/job.toml"), text).unwrap();
        let done = said(folder.path(), "simulate job");
        assert!(done.status == 1 && done.err.contains(says), "{text}: {}", done.err);
    }
}

/// A cloth before the treble, both measured with a doubt of 0.05 dB: told with its band and size; the same twice: nothing.
#[test]
fn what_changed_between_two_measurements_is_told_with_its_doubt() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, seed: i64, cloth_db: f64| {
        let mut rows = String::from("frequency_hz,level_db,u_db\n");
        for k in -200..=190 {
            let hz = 1000.0 * 2f64.powf(f64::from(k) / 48.0);
            // Chance of the doubt's size: a linear congruence, twelve terms.
            let mut state = seed * 1000 + i64::from(k) + 500;
            let chance: f64 = (0..12)
                .map(|_| {
                    state = (state * 1_103_515_245 + 12_345) % 2_147_483_648;
                    state as f64 / 2_147_483_648.0
                })
                .sum::<f64>()
                - 6.0;
            let level_db = 80.0 + 0.05 * chance + if hz > 5_000.0 { cloth_db } else { 0.0 };
            writeln!(rows, "{hz},{level_db},0.05").unwrap();
        }
        std::fs::write(folder.path().join(name), rows).unwrap();
    };
    write("without.csv", 1, 0.0);
    write("again.csv", 2, 0.0);
    write("cloth.csv", 3, -0.8);
    let document = json(folder.path(), "compare cloth.csv without.csv --align none", 0);
    let changed = document["changed"].as_array().unwrap();
    assert_eq!(changed.len(), 1, "{changed:?}");
    let [from_hz, to_hz] = [0, 1].map(|end| changed[0]["band_hz"][end].as_f64().unwrap());
    let (level_db, u_db) = (changed[0]["level"]["value"].as_f64().unwrap(), changed[0]["level"]["u"].as_f64().unwrap());
    // 0.01 dB: 0.07 dB over 78 points, and the chance of this one draw.
    assert!(
        (5_000.0..5_200.0).contains(&from_hz)
            && to_hz > 15_000.0
            && (level_db + 0.8).abs() < 0.04
            && (u_db - 0.008).abs() < 0.001
    );
    assert_eq!(
        json(folder.path(), "compare again.csv without.csv --align none", 0)["changed"].as_array().unwrap().len(),
        0
    );
    let words = said(folder.path(), "compare cloth.csv without.csv --align none").out;
    assert!(words.contains("changed") && words.contains("dB from 5"), "{words}");
    // A simulation's band is no measurement's doubt, and a drawing tells none: nothing is called changed.
    let simulated = std::fs::read_to_string(folder.path().join("without.csv")).unwrap();
    std::fs::write(folder.path().join("simulated.csv"), format!("# schema: boxwright/simulation/1\n{simulated}"))
        .unwrap();
    assert!(json(folder.path(), "compare cloth.csv simulated.csv", 0).get("changed").is_none());
    std::fs::write(folder.path().join("drawn.csv"), "frequency_hz,level_db\n100,80\n15000,80\n").unwrap();
    assert!(json(folder.path(), "compare cloth.csv drawn.csv", 0).get("changed").is_none());
}
