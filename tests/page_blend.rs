//! A setting that is tried on the page does what `blend` with this one setting says.

#![allow(clippy::unwrap_used)] // a test that can't go on may stop

mod page_client;

use page_client::Server;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::Path;

/// A loudspeaker that is `late_ms` late, falls below `from_hz` and above `to_hz`, and whose room puts a dip at `dip_hz`.
fn write(folder: &Path, name: &str, late_ms: f64, [from_hz, to_hz]: [f64; 2], dip_hz: f64) {
    let mut text = String::from("frequency_hz,level_db,phase_deg\n");
    for step in 0..=280 {
        let hz = 15.0 * 2f64.powf(f64::from(step) / 48.0);
        let falls = 1.0 + (from_hz / hz).powi(4) + (hz / to_hz).powi(4);
        let dip_db = 6.0 * (-((hz / dip_hz).log2() * 8.0).powi(2)).exp();
        let level_db = 80.0 - 10.0 * falls.log10() - dip_db;
        let phase_deg = (-360.0 * hz * 1e-3 * late_ms + 180.0).rem_euclid(360.0) - 180.0;
        writeln!(text, "{hz},{level_db},{phase_deg}").unwrap();
    }
    std::fs::write(folder.join(name), text).unwrap();
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

const CURVES: &str = "blend --sat sat-1.csv sat-2.csv --sub sub-1.csv sub-2.csv --seats sofa,rug --no-pictures --lowest 50 --highest 200";

fn started() -> (tempfile::TempDir, Server) {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    write(at, "sat-1.csv", 8.0, [60.0, 1e6], 95.0);
    write(at, "sat-2.csv", 9.5, [60.0, 1e6], 130.0);
    write(at, "sub-1.csv", 12.0, [20.0, 300.0], 60.0);
    write(at, "sub-2.csv", 10.0, [20.0, 300.0], 75.0);
    let server = Server::start(at);
    (folder, server)
}

#[test]
fn a_setting_that_is_tried_has_the_ripple_of_the_command_with_this_setting() {
    let (_folder, server) = started();
    let opened = server.command("/api/blend/open", CURVES).json();
    assert_eq!((&opened["blend"], &opened["seats"]), (&json!(1), &json!(["sofa", "rug"])), "{opened}");
    assert_eq!(opened["crossovers_hz"], json!((5..=20).map(|step| 10.0 * f64::from(step)).collect::<Vec<_>>()));
    assert_eq!(opened["filters"], json!(["none", "BW2", "LR2", "BW4", "LR4"]));
    for (setting, words) in [
        (
            json!({ "crossover_hz": 80, "high_pass": "BW2", "low_pass": "LR4", "low_pass_hz": 80, "delay_ms": 2.3, "polarity": "+", "gain_db": -3 }),
            "--crossover 80 --high-pass BW2 --low-pass LR4 --low-pass-at 80 --delay 2.3 --polarity straight --gain-db -3",
        ),
        (
            json!({ "crossover_hz": 100, "high_pass": "none", "low_pass": "LR4", "low_pass_hz": 120, "delay_ms": -1.7, "polarity": "-", "gain_db": 1.25 }),
            "--crossover 100 --high-pass none --low-pass LR4 --low-pass-at 120 --delay -1.7 --polarity reversed --gain-db 1.25",
        ),
    ] {
        let sum = server.post("/api/blend/sum", &json!({ "blend": 1, "setting": setting })).json();
        let done = server.command("/api/run", &format!("{CURVES} {words}")).json();
        assert_eq!(done["exit"], 0, "{done}");
        let document = &done["document"];
        for key in ["crossover_hz", "high_pass", "polarity", "gain_db"] {
            let same = match document[key].as_f64() {
                Some(found) => found == number(&setting[key]),
                None => document[key] == setting[key],
            };
            assert!(same, "{key} of {}", document);
        }
        // 1e-12: from ms to s and back.
        assert!((number(&document["delay_ms"]) - number(&setting["delay_ms"])).abs() < 1e-12);
        // 1e-9: the search adds up in another order.
        let worst = number(&sum["worst_ripple_db"]);
        assert!((worst - number(&document["ripple_db"])).abs() < 1e-9, "{worst} {document}");
        assert!(worst > 1.0, "something is to be seen: {worst}");
        for (tried, seat) in sum["seats"].as_array().unwrap().iter().zip(document["seats"].as_array().unwrap()) {
            assert_eq!((&tried["name"], &tried["ripple_db"]), (&seat["name"], &seat["ripple_db"]));
            for (live, column) in [("sum_db", "curve"), ("satellite_db", "satellite"), ("subwoofer_db", "subwoofer")] {
                let (live, kept) = (tried[live].as_array().unwrap(), seat[column]["level_db"].as_array().unwrap());
                assert_eq!(live.len(), opened["frequency_hz"].as_array().unwrap().len());
                let off = live.iter().zip(kept).map(|(live, kept)| (number(live) - number(kept)).abs());
                // 1e-9: a level from a power, and from its root.
                let most = off.fold(0.0, f64::max);
                assert!(most < 1e-9, "{column}: {most}");
            }
        }
        assert_eq!(document["settings"]["gain_db"], setting["gain_db"].as_f64().unwrap());
        assert_eq!(document["settings"]["delay_ms"][0], document["settings"]["delay_ms"][1]);
    }
    let helpless = &opened["without_help"];
    let sum = server.post("/api/blend/sum", &json!({ "blend": 1, "setting": helpless })).json();
    let searched = server.command("/api/run", &format!("{CURVES} --crossover 80 --high-pass BW2")).json();
    let searched = &searched["document"];
    assert_eq!((&helpless["crossover_hz"], &helpless["delay_ms"]), (&json!(80.0), &json!(0.0)));
    assert!((number(&sum["worst_ripple_db"]) - number(&searched["without_help_db"])).abs() < 1e-9);
    // The search is at least as good as what was tried, and its own setting tried has its ripple.
    assert!(number(&searched["ripple_db"]) <= number(&sum["worst_ripple_db"]));
}

#[test]
fn what_can_not_be_set_is_refused_with_the_reason() {
    let (_folder, server) = started();
    assert_eq!(server.command("/api/blend/open", CURVES).status, 200);
    let usual = json!({ "crossover_hz": 80, "high_pass": "BW2", "low_pass": "LR4", "low_pass_hz": 80, "delay_ms": 0, "polarity": "+", "gain_db": 0 });
    for (key, value, says) in [
        ("crossover_hz", json!(40), "the satellite does not reach down there"),
        ("low_pass_hz", json!(250), "the subwoofer does not reach up there"),
        ("crossover_hz", json!(5), "crossover"),
        ("high_pass", json!("XX4"), "XX4"),
        ("polarity", json!("?"), "polarity"),
        ("delay_ms", json!(5000), "delay"),
        ("gain_db", json!(1000), "gain"),
    ] {
        let mut setting = usual.clone();
        setting[key] = value;
        let answer = server.post("/api/blend/sum", &json!({ "blend": 1, "setting": setting }));
        assert!(answer.status == 422 && answer.says().contains(says), "{key} {answer:?}");
    }
    for words in ["--delay 101", "--delay 5:2", "--delay x", "--gain-db x"] {
        assert_eq!(server.command("/api/run", &format!("{CURVES} {words}")).status, 422, "{words}");
    }
}
