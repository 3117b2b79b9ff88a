//! `join` as its user sees it.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

mod program;

use num_complex::Complex64;
use program::{json, said};
use serde_json::Value;
use std::f64::consts::{PI, TAU};
use std::fmt::Write;
use std::path::Path;

/// Radii of cone and port: 50 cm² and 32 mm.
const CONE_M: f64 = 0.039_894_228;
const PORT_M: f64 = 0.016;
/// Speed of sound where nothing else is said: dry air of 20 °C (Cramer 1993).
const SPEED_M_S: f64 = 343.37;

/// Volume acceleration of a cone and of a port tuned to 60 Hz, lossless.
fn flows(hz: f64) -> [Complex64; 2] {
    let s = Complex64::new(0.0, hz / 60.0);
    let cone = s * s / (s * s + 1.0 / 0.7 * s + 1.0);
    [cone, -cone / (s * s + 0.1 * s + 1.0)]
}

/// Keele 1974: the pressure in the middle of a piston in a wall, over jωρ times its volume velocity.
fn near(radius_m: f64, hz: f64) -> Complex64 {
    let k = TAU * hz / SPEED_M_S;
    (1.0 - Complex64::cis(-k * radius_m)) / (Complex64::I * k * PI * radius_m * radius_m)
}

fn write(path: &Path, band_hz: [f64; 2], header: &str, of: impl Fn(f64) -> Complex64) {
    let mut text = format!("{header}frequency_hz,level_db,phase_deg,u_db\n");
    for k in -300..=220 {
        let hz = 1000.0 * 2f64.powf(f64::from(k) / 48.0);
        if (band_hz[0]..=band_hz[1]).contains(&hz) {
            let value = of(hz);
            writeln!(text, "{hz},{},{},0.05", 20.0 * value.norm().log10(), value.arg().to_degrees()).unwrap();
        }
    }
    std::fs::write(path, text).unwrap();
}

/// Near and far curves of a vented loudspeaker in a wall, 2 m away; the port's was referred 3 ms later.
fn curves(folder: &Path) {
    let loopback = |ms: f64| format!("# travelled_m: 0.005\n# arrival_ms: {ms}\n");
    let at = |name: &str| folder.join(name);
    write(&at("cone.csv"), [20.0, 5e3], &loopback(1.0), |hz| 40.0 * flows(hz)[0] * near(CONE_M, hz));
    let port = |hz: f64| 40.0 * flows(hz)[1] * near(PORT_M, hz) * Complex64::cis(TAU * hz * 3e-3);
    write(&at("port.csv"), [20.0, 5e3], &loopback(4.0), port);
    write(&at("port-alone.csv"), [20.0, 5e3], "", port);
    write(&at("far.csv"), [200.0, 18e3], "# distance_m: 2\n# level_reference: reply/drive\n", |hz| {
        (flows(hz)[0] + flows(hz)[1]) / (TAU * 2.0)
    });
}

const WALL: &str = "--sd-cm2 50 --baffle wall --near-mm 0";

#[test]
fn near_and_far_are_one_curve_with_its_port() {
    let folder = tempfile::tempdir().unwrap();
    curves(folder.path());
    for (port, from) in [("port.csv", "the loopback"), ("port-alone.csv", "the resonance of port and box")] {
        let document = json(folder.path(), &format!("join cone.csv {port} far.csv {WALL} --port-mm 32"));
        assert_eq!(document["schema"], "boxwright/join/1");
        let joined = &document["joined"];
        let number = |at: &Value| at.as_f64().unwrap();
        // The near captures are 40 times as loud: 32.04 dB.
        assert!((number(&joined["level"]["value"]) + 20.0 * 40f64.log10()).abs() < 0.02, "{joined}");
        assert_eq!(
            (joined["polarity"].as_str(), document["settings"]["port_delay_from"].as_str()),
            (Some("+"), Some(from))
        );
        assert!((number(&document["near"]["valid_hz"][1]) - SPEED_M_S / (TAU * CONE_M)).abs() < 20.0, "ka = 1");
        let column = |name: &str| {
            document["curve"][name].as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect::<Vec<_>>()
        };
        let (hz, level_db) = (column("frequency_hz"), column("level_db"));
        assert!(hz[0] < 21.0 && hz[hz.len() - 1] > 17e3);
        for (hz, level_db) in hz.iter().zip(&level_db) {
            let expected = 20.0 * ((flows(*hz)[0] + flows(*hz)[1]) / (TAU * 2.0)).norm().log10();
            // 0.1 dB: below the tuning cone and port all but cancel, which makes 0.01 dB of each ten times as large.
            assert!((level_db - expected).abs() < 0.1, "{port} {hz}: {level_db} {expected}");
        }
        let is_told = document["findings"]
            .as_array()
            .unwrap()
            .iter()
            .any(|one| one["says"].as_str().unwrap().contains("no loopback"));
        assert_eq!(is_told, port == "port-alone.csv");
    }
    let files: Vec<bool> = ["joined.csv", "join.json", "join.svg", "join.png"]
        .map(|name| folder.path().join("far/joined").join(name).is_file())
        .to_vec();
    assert_eq!(files, [true; 4]);
    let words = said(folder.path(), &format!("join cone.csv port.csv far.csv {WALL} --port-mm 32"));
    for part in ["joined at", "ka = 1", "disagreement", "near moved by", "2.00 m away (the far curve)"] {
        assert!(words.out.contains(part), "{part}: {}", words.out);
    }
}

#[test]
fn the_front_and_the_polarity_are_told() {
    let folder = tempfile::tempdir().unwrap();
    curves(folder.path());
    // No front: the bass is that of a wall, with a caution.
    let bare = json(folder.path(), "join cone.csv far.csv --sd-cm2 50 --near-mm 0");
    assert!(
        bare["findings"][0]["code"] == "assumed" && bare["findings"][0]["says"].as_str().unwrap().contains("front"),
        "{}",
        bare["findings"]
    );
    write(&folder.path().join("reversed.csv"), [20.0, 5e3], "", |hz| -flows(hz)[0] * near(CONE_M, hz));
    let turned = json(folder.path(), &format!("join reversed.csv far.csv {WALL}"));
    assert_eq!(turned["joined"]["polarity"], "-");
    assert!(turned["findings"].as_array().unwrap().iter().any(|one| one["code"] == "reversed-polarity"));
    // Every front is a front; the bass of a box lies 6 dB below a wall's, 2 m away a little more than that.
    for front in ["140x210 --edge-radius-mm 5 --cone-at-mm 70,80", "disc:200", "ball:200", "step:140"] {
        let document = json(folder.path(), &format!("join cone.csv far.csv --sd-cm2 50 --near-mm 0 --baffle {front}"));
        let moved = document["joined"]["level"]["value"].as_f64().unwrap();
        // Where they are joined the front has begun to help: less than 6 dB more than in a wall.
        assert!((-32.5..-24.0).contains(&moved), "{front}: {moved}");
    }
}

#[test]
fn what_can_not_be_joined_is_refused_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    curves(folder.path());
    std::fs::write(folder.path().join("flat.csv"), "frequency_hz,level_db\n20,80\n20000,80\n").unwrap();
    std::fs::write(folder.path().join("ohm.csv"), "frequency_hz,magnitude_ohm,phase_deg\n20,8,0\n20000,8,0\n").unwrap();
    write(&folder.path().join("treble.csv"), [3e3, 18e3], "", |hz| flows(hz)[0]);
    for (words, status, parts) in [
        (format!("join cone.csv flat.csv {WALL}"), 1, ["flat.csv", "phase"]),
        (format!("join cone.csv ohm.csv {WALL}"), 1, ["ohm.csv", "phase"]),
        (format!("join cone.csv treble.csv {WALL}"), 1, ["no overlap", "gate"]),
        (format!("join cone.csv far.csv {WALL} --at 3000"), 1, ["3000 Hz", "--at"]),
        ("join cone.csv far.csv --baffle wall".into(), 1, ["area", "--sd-cm2"]),
        (format!("join cone.csv port.csv far.csv {WALL}"), 1, ["port.csv", "--port-mm"]),
        (format!("join cone.csv port.csv far.csv {WALL} --port-mm 32,40"), 1, ["2 port sizes", "port"]),
        ("join cone.csv far.csv --sd-cm2 50 --baffle 140x210 --cone-at-mm 300,80".into(), 1, ["300, 80", "corner"]),
        (format!("join cone.csv gone.csv {WALL}"), 1, ["gone.csv", ""]),
        ("join cone.csv".into(), 2, ["", ""]),
        ("join cone.csv far.csv --sd-cm2 50 --baffle round".into(), 2, ["140x210", "ball:200"]),
        ("join cone.csv far.csv --sd-cm2 50 --baffle disc:0".into(), 2, ["disc:0", ""]),
    ] {
        let done = said(folder.path(), &words);
        assert_eq!((done.status, done.out.as_str()), (status, ""), "{words}: {}", done.err);
        assert!(parts.iter().all(|part| done.err.contains(part)), "{words}: {}", done.err);
    }
    // A measured file of the result's name is not replaced.
    std::fs::create_dir(folder.path().join("out")).unwrap();
    std::fs::copy(folder.path().join("far.csv"), folder.path().join("out/joined.csv")).unwrap();
    let done = said(folder.path(), &format!("join cone.csv out/joined.csv {WALL} --out out"));
    assert!(done.status == 1 && done.err.contains("would take its place"), "{}", done.err);
}

#[test]
fn a_job_tells_about_the_loudspeaker() {
    let folder = tempfile::tempdir().unwrap();
    curves(folder.path());
    let job = "[bench]\ndistance_m = 2\n[driver.mid]\nre_ohm = 3.4\nfs_hz = 60\nqms = 4\nqes = 0.7\nvas_l = 4\nsd_cm2 = 50\n\
               [box.b]\nkind = \"vented\"\nvolume_l = 6\nport = { diameter_mm = 32, length_mm = 85 }\n\
               [baffle.b]\nwidth_mm = 200\nheight_mm = 300\n\
               [speaker.s]\nbox = \"b\"\nbaffle = \"b\"\nways = [ { driver = \"mid\", at_mm = [100, 180] } ]\n";
    std::fs::write(folder.path().join("job.toml"), job).unwrap();
    let document = json(folder.path(), "join cone.csv port.csv far.csv --job . --near-mm 0");
    let settings = &document["settings"];
    assert_eq!(settings["front"], "200 × 300 mm, edges of 0 mm");
    assert_eq!(settings["cone_at_mm"], serde_json::json!([100.0, 180.0]));
    let areas: Vec<f64> =
        settings["surfaces"].as_array().unwrap().iter().map(|one| one["area_cm2"].as_f64().unwrap()).collect();
    // π·1.6² cm².
    assert!((areas[0] - 50.0).abs() < 1e-9 && (areas[1] - PI * 2.56).abs() < 1e-9, "{areas:?}");
    assert!(document["inputs"].as_array().unwrap().len() >= 4);
    assert_eq!(said(folder.path(), "join cone.csv far.csv --job . --way treble").status, 1);
}
