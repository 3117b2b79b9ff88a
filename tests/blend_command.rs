//! `blend` as its user sees it, from captures on the simulated bench to the check by `compare`.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

mod program;

use num_complex::Complex64;
use program::{json, json_with, said};
use serde_json::Value;
use std::f64::consts::TAU;
use std::fmt::Write;
use std::path::Path;

/// Captures in the living room without noise, and the response of the whole record; the folder of the latter's table.
fn heard(folder: &Path, name: &str, seat: &str, outputs: &str, options: &str) -> String {
    let capture = format!(
        "capture response --output simulated --simulated-room living --simulated-subwoofer --simulated-seat {seat} \
         --output-channels {outputs} --simulated-noise-dbfs none --simulated-drift-ppm 0 --simulated-seed 7 --seconds 3 \
         --out {name}.wav --quiet {options}"
    );
    let done = said(folder, &capture);
    assert_eq!(done.status, 0, "{}", done.err);
    let done = said(folder, &format!("response {name}.wav --gate none --no-pictures --quiet"));
    assert_eq!(done.status, 0, "{}", done.err);
    format!("{name}/response.csv")
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} in {value}"))
}

/// What a person enters, as options of the simulated bench; moved by so many ms and the other polarity.
fn receiver(document: &Value, later_ms: f64, turned: bool) -> String {
    let hz = number(document, "crossover_hz");
    let delay_ms = number(document, "delay_ms") + later_ms;
    let reversed = (document["polarity"] == "-") != turned;
    format!(
        "--simulated-high-pass {}:{hz} --simulated-low-pass {}:{hz} --simulated-satellite-delay {} \
         --simulated-subwoofer-delay {} --simulated-subwoofer-gain-db {} {}",
        document["high_pass"].as_str().unwrap(),
        document["low_pass"].as_str().unwrap(),
        delay_ms.max(0.0),
        (-delay_ms).max(0.0),
        number(document, "gain_db"),
        if reversed { "--simulated-subwoofer-reversed" } else { "" },
    )
}

/// The bench's receiver and loudspeakers share no code with the analysis; its drivers bend a little at −20 dBFS.
#[test]
fn what_is_predicted_is_what_both_playing_do_and_a_wrong_setting_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let curves = |name: &str, outputs: &str| {
        ["sofa", "armchair"].map(|seat| heard(at, &format!("{name}-{seat}"), seat, outputs, "--reference 2")).join(" ")
    };
    let (satellite, subwoofer) = (curves("sat", "1,2"), curves("sub", "2,3"));
    let words = format!(
        "blend --sat {satellite} --sub {subwoofer} --seats sofa,armchair --room 5.1x3.9x2.5 --high-pass BW2,LR4 --lowest 60 --out blend"
    );
    let document = json(at, &words);
    assert_eq!(document["schema"], "boxwright/blend/1");
    assert_eq!(document["settings"]["time_reference"], "loopback");
    assert_eq!(document["seats"].as_array().unwrap().len(), 2);
    // Better than what a person sets without help, and no better than what is proven to be the best, but for a tenth of a decibel.
    let ripple_db = number(&document, "ripple_db");
    assert!(ripple_db < number(&document, "without_help_db") - 1.0, "{ripple_db}");
    let at_least_db = number(&document, "at_least_db");
    assert!((at_least_db..=at_least_db + 0.1).contains(&ripple_db), "{ripple_db} {at_least_db}");
    // The ripple that the document states is that of the curves in it.
    let hz = number(&document, "crossover_hz");
    for seat in document["seats"].as_array().unwrap() {
        let column = |key: &str| -> Vec<f64> {
            seat["curve"][key].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
        };
        let (frequency_hz, level_db) = (column("frequency_hz"), column("level_db"));
        let within = frequency_hz.iter().zip(&level_db).filter(|(f, _)| (hz / 2.0..=hz * 2.0).contains(*f));
        let levels: Vec<f64> = within.map(|(_, db)| *db).collect();
        let most = levels.iter().copied().fold(f64::MIN, f64::max);
        let least = levels.iter().copied().fold(f64::MAX, f64::min);
        // 1e-9: the same numbers.
        assert!((most - least - number(seat, "ripple_db")).abs() < 1e-9 && most - least <= ripple_db + 1e-9);
    }
    // A room of hard walls has its first standing wave at c/(2·5.1 m): 33.65 Hz (343.2 m/s, ISO 9613-1).
    let waves = document["standing_waves"].as_array().unwrap();
    assert!((number(&waves[0], "frequency_hz") - 33.647).abs() < 0.001, "{}", waves[0]);
    assert_eq!((&waves[0]["kind"], &waves[0]["half_waves"]), (&"axial".into(), &serde_json::json!([1, 0, 0])));
    // What a person enters gives what was predicted, at both seats, all over the overlap.
    let band = format!("{}:{}", hz / 2.0, hz * 2.0);
    for seat in ["sofa", "armchair"] {
        let both = heard(
            at,
            &format!("both-{seat}"),
            seat,
            "1,2,3",
            &format!("--reference 2 {}", receiver(&document, 0.0, false)),
        );
        let compared =
            json(at, &format!("compare {both} blend/{seat}-sum.csv --band {band} --align none --no-pictures"));
        // 0.2 dB is what is promised.
        let worst_db = number(&compared["worst"], "level_db").abs();
        assert!(worst_db < 0.2, "{seat}: {worst_db}");
        assert_eq!(compared["causes"], serde_json::json!([]), "{compared}");
    }
    // With the sum of the other seat nothing is judged.
    let other = json_with(at, "compare both-sofa/response.csv blend/armchair-sum.csv --no-pictures", &[0, 3]);
    assert!(other.get("causes").is_none(), "{}", other["causes"]);
    assert!(other["findings"].to_string().contains("no sum of the predicted parts"), "{}", other["findings"]);
    // 1.3 ms too late and the wrong way round.
    let wrong = heard(at, "wrong", "sofa", "1,2,3", &format!("--reference 2 {}", receiver(&document, 1.3, true)));
    let compared = json_with(at, &format!("compare {wrong} blend/sofa-sum.csv --no-pictures"), &[0, 3]);
    let causes = compared["causes"].as_array().unwrap();
    let named = |name: &str| causes.iter().find(|cause| cause["cause"] == name);
    assert_eq!(named("polarity subwoofer").unwrap()["state"], "reversed");
    // The satellite is later, so the subwoofer comes earlier: 0.05 ms is what is promised.
    let off_ms = number(&named("delay").unwrap()["found"], "value") + 1.3;
    assert!(off_ms.abs() < 0.05, "{causes:?}");
    assert!(named("level subwoofer").is_none());
    let finding = compared["findings"].as_array().unwrap().iter().find(|one| one["code"] == "wrong-setting").unwrap();
    assert!(finding["advice"].as_str().unwrap().contains("delay the subwoofer by 1.3"), "{finding}");
}

/// Without a loopback each capture has its own zero of time: the marks from one loudspeaker give a common one, and so does a capture of both.
#[test]
fn without_a_loopback_the_marks_or_a_capture_of_both_tell_the_time() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let loopback =
        [("sat", "1,2"), ("sub", "2,3")].map(|(name, outputs)| heard(at, name, "sofa", outputs, "--reference 2"));
    let marks = [("sat-m", "1"), ("sub-m", "3")]
        .map(|(name, outputs)| heard(at, name, "sofa", outputs, "--reference none --marks-output 1"));
    let alone =
        [("sat-a", "1"), ("sub-a", "3")].map(|(name, outputs)| heard(at, name, "sofa", outputs, "--reference none"));
    let both = heard(at, "both", "sofa", "1,3", "--reference none");
    let fixed = "--crossover 120 --high-pass LR4 --lowest 60 --seats sofa --no-pictures";
    let run = |[sat, sub]: &[String; 2], more: &str, out: &str| {
        json(at, &format!("blend --sat {sat} --sub {sub} {fixed} {more} --out {out}"))
    };
    let by_loopback = run(&loopback, "", "a");
    let by_marks = run(&marks, "", "b");
    let by_both = run(&alone, &format!("--both {both}"), "c");
    assert_eq!(by_marks["settings"]["time_reference"], "mark");
    assert_eq!(by_both["settings"]["time_reference"], "both playing");
    for other in [&by_marks, &by_both] {
        assert_eq!(other["polarity"], by_loopback["polarity"]);
        // 0.05 ms is promised; the same capture but for its zero of time.
        let apart_ms = number(other, "delay_ms") - number(&by_loopback, "delay_ms");
        assert!(apart_ms.abs() < 0.05, "{apart_ms} {}", other["settings"]);
        assert!((number(other, "ripple_db") - number(&by_loopback, "ripple_db")).abs() < 0.2);
    }
    // 20 ms too late at 120 Hz is two periods and more, and said; near the first sounds it is not.
    let later_ms = number(&by_loopback, "delay_ms");
    let far = run(&loopback, &format!("--delay {}:{}", later_ms + 20.0, later_ms + 25.0), "f");
    assert!(far["findings"].to_string().contains("period-off"), "{}", far["findings"]);
    let near = run(&loopback, "--delay 4:6", "g");
    assert!(!near["findings"].to_string().contains("period-off"), "{}", near["findings"]);
    // With nothing of the kind it is refused, and what to do is said.
    // The other way round is noticed, and so is one file twice.
    let codes = |sat: &str, sub: &str| {
        let document = json(at, &format!("blend --sat {sat} --sub {sub} {fixed} --out s"));
        document["findings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|one| one["code"].as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
    };
    let swapped = codes(&loopback[1], &loopback[0]);
    assert!(swapped.contains(&"channels-swapped".to_owned()), "{swapped:?}");
    assert!(codes(&loopback[0], &loopback[0]).contains(&"implausible".to_owned()));
    assert!(!by_loopback["findings"].to_string().contains("channels-swapped"));
    let refused = said(at, &format!("blend --sat {} --sub {} {fixed} --out d", alone[0], alone[1]));
    assert_eq!(refused.status, 1);
    assert!(refused.err.contains("no zero in common") && refused.err.contains("--both"), "{}", refused.err);
    // A capture of something else is no sum of the two.
    let other = said(at, &format!("blend --sat {} --sub {} {fixed} --both {} --out e", alone[0], alone[1], alone[1]));
    assert!(other.status == 1 && other.err.contains("sub-a/response.csv"), "{} {}", other.status, other.err);
    assert!(!at.join("e").exists());
}

fn table(path: &Path, of: impl Fn(f64) -> Complex64) {
    let mut text = String::from("frequency_hz,level_db,phase_deg,u_db\n");
    for k in -290..=0 {
        let hz = 1000.0 * 2f64.powf(f64::from(k) / 48.0);
        let value = of(hz);
        writeln!(text, "{hz},{},{},0.02", 20.0 * value.norm().log10(), value.arg().to_degrees()).unwrap();
    }
    std::fs::write(path, text).unwrap();
}

/// A second-order high-pass of Q 0.707: a closed box.
fn closed_box(hz: f64, fc_hz: f64) -> Complex64 {
    let s = Complex64::new(0.0, hz / fc_hz);
    s * s / (s * s + 2f64.sqrt() * s + 1.0)
}

#[test]
fn how_far_down_the_satellite_reaches_is_told_and_kept_to() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    table(&at.join("sat.csv"), |hz| closed_box(hz, 100.0));
    table(&at.join("sub.csv"), |hz| closed_box(hz, 25.0) * Complex64::cis(-TAU * hz * 2e-3));
    let document = json(at, "blend --sat sat.csv --sub sub.csv --alone sat.csv --out out --no-pictures");
    // −3, −6, −10 dB of a Butterworth high-pass of second order: 100·(10^(x/10) − 1)^(−1/4) Hz.
    for (key, fall_db) in [("f3", 3.0f64), ("f6", 6.0), ("f10", 10.0)] {
        let expected_hz = 100.0 * (10f64.powf(fall_db / 10.0) - 1.0).powf(-0.25);
        let found = &document["satellite"][key];
        // 1 %: the reference, 200 to 800 Hz, lies 0.06 dB below the top, where the curve falls by 6 dB an octave or more.
        assert!((number(found, "value") / expected_hz - 1.0).abs() < 1e-2, "{key}: {found}");
        assert!(number(found, "u") > 0.0 && number(found, "u") < 1.0);
    }
    // F3 is found at 99.6 Hz: the next ten, and with a steeper filter the next ten above twice that.
    let advised = ["second_order_from_hz", "steeper_from_hz"].map(|key| number(&document["satellite"], key));
    assert_eq!(advised, [100.0, 200.0]);
    assert!(number(&document, "crossover_hz") >= 80.0);
    let left_out = document["settings"]["left_out"].to_string();
    assert!(left_out.contains("the satellite does not reach down"), "{left_out}");
    // Foreign curves are believed, and that is said.
    let codes: Vec<&str> =
        document["findings"].as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect();
    assert!(codes.contains(&"assumed") && codes.contains(&"out-of-band"), "{codes:?}");
    // 2 ms late: the distance in metres and in feet, 0.3048 m each.
    let distance = &document["distance_setting"];
    let metres = number(distance, "subwoofer_farther_m");
    assert!((metres / number(distance, "subwoofer_farther_ft") - 0.3048).abs() < 1e-9);
    assert!((1e3 * metres / number(&document, "delay_ms") - 343.2).abs() < 0.01, "{distance}");
    // A filter that was in the way while measuring is taken off: the answer is the same.
    let low_pass = |hz: f64| {
        let s = Complex64::new(0.0, hz / 150.0);
        (s * s + 2f64.sqrt() * s + 1.0).inv().powu(2)
    };
    table(&at.join("sub-f.csv"), |hz| closed_box(hz, 25.0) * Complex64::cis(-TAU * hz * 2e-3) * low_pass(hz));
    let fixed = "--alone sat.csv --highest 400 --no-pictures";
    let plain = json(at, &format!("blend --sat sat.csv --sub sub.csv {fixed} --out p"));
    let taken = json(at, &format!("blend --sat sat.csv --sub sub-f.csv --sub-filtered LR4:150 {fixed} --out q"));
    assert_eq!(plain["crossover_hz"], taken["crossover_hz"]);
    assert!((number(&plain, "delay_ms") - number(&taken, "delay_ms")).abs() < 1e-3);
}

/// A closed box of Q 0.707 at 100 Hz: its cone goes as a second-order Butterworth low-pass, and with a second-order Butterworth high-pass at
/// 100 Hz before it as (f/f_c)²/(1 + (f/f_c)⁴), which is a half at the most: 6.02 dB louder than without.
#[test]
fn the_satellite_plays_as_loud_as_its_cone_allows() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    table(&at.join("sat.csv"), |hz| closed_box(hz, 100.0));
    table(&at.join("sub.csv"), |hz| closed_box(hz, 25.0));
    let hz: Vec<f64> = (-290..=0).map(|k| 1000.0 * 2f64.powf(f64::from(k) / 48.0)).collect();
    let level_db: Vec<f64> = hz.iter().map(|hz| 85.0 + 20.0 * closed_box(*hz, 100.0).norm().log10()).collect();
    // At rest it reaches its limit 12 dB above the simulation's voltage.
    let goes = |hz: f64| closed_box(hz, 100.0).norm() / (hz / 100.0).powi(2);
    let by_excursion_db: Vec<f64> =
        hz.iter().zip(&level_db).map(|(hz, db)| db + 12.0 - 20.0 * goes(*hz).log10()).collect();
    let simulation = serde_json::json!({
        "schema": "boxwright/simulation/1",
        "speakers": { "rear": {
            "response": { "frequency_hz": hz, "level_db": level_db },
            "max_level": { "frequency_hz": hz, "level_db": by_excursion_db, "by_excursion_db": by_excursion_db },
        } },
    });
    std::fs::write(at.join("simulation.json"), simulation.to_string()).unwrap();
    let fixed =
        "blend --sat sat.csv --sub sub.csv --alone sat.csv --simulation simulation.json --high-pass BW2 --no-pictures";
    let document = json(at, &format!("{fixed} --crossover 100 --out a"));
    let loudest_db = number(&document["satellite"], "loudest_db");
    // 0.1 dB: the mean over 200 to 800 Hz lies 0.06 dB below the 85 dB of the top.
    assert!((loudest_db - (85.0 + 12.0 + 6.02)).abs() < 0.1, "{loudest_db}");
    // Lower crossovers allow less; those that allow too little are left out, and it is said.
    let document = json(at, &format!("{fixed} --crossover 80:120 --loud-db 101.8 --out b"));
    assert!(number(&document, "crossover_hz") >= 90.0 && number(&document["satellite"], "loudest_db") >= 101.8);
    assert!(document["settings"]["left_out"].to_string().contains("80 Hz with BW2: the cone goes too far"));
    let refused = said(at, &format!("{fixed} --crossover 80:120 --loud-db 130 --out c"));
    assert!(refused.status == 1 && refused.err.contains("the cone goes too far"), "{}", refused.err);
    std::fs::write(at.join("simulation.json"), "{\"schema\": \"boxwright/response/1\", \"speakers\": {}}").unwrap();
    let refused = said(at, &format!("{fixed} --out d"));
    assert!(refused.status == 1 && refused.err.contains("simulation.json"), "{}", refused.err);
}

#[test]
fn what_can_not_be_is_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    table(&at.join("sat.csv"), |hz| closed_box(hz, 100.0));
    table(&at.join("sub.csv"), |_| Complex64::ONE);
    std::fs::write(at.join("bare.csv"), "20 80\n500 81\n").unwrap();
    std::fs::write(at.join("z.csv"), "frequency_hz,magnitude_ohm\n20,8\n500,8\n").unwrap();
    for (words, status, says) in [
        ("--sat sat.csv --sub sub.csv sub.csv", 2, "curves of the subwoofer: 2, seats: 1"),
        ("--sat sat.csv sat.csv --sub sub.csv sub.csv --seats sofa,Sofa", 2, "two seats are called"),
        ("--sat sat.csv --sub bare.csv", 1, "bare.csv: it has no phase"),
        ("--sat z.csv --sub sub.csv", 1, "z.csv: an impedance in ohm"),
        ("--sat sat.csv --sub sub.csv --high-pass LR3", 2, "\"LR3\" is no filter"),
        ("--sat sat.csv --sub sub.csv --crossover 900", 2, "900 Hz is no crossover"),
        ("--sat sat.csv --sub sub.csv --crossover 25", 1, "no crossover frequency is left"),
        ("--sat sat.csv --sub sub.csv --loud-db 96", 2, "--simulation"),
        ("--sat sat.csv --sub sub.csv --delay 5:1", 2, "does not rise"),
        ("--sat sat.csv --sub sub.csv --boost-db -20", 2, "the range is -6 to 20 dB"),
        ("--sat sat.csv --sub sub.csv --room 510x390x250", 2, "a side of 510 m"),
        ("--sat sat.csv --sub sub.csv --band 500:600", 1, "outside of --band"),
        ("--sat sat.csv --sub gone.csv", 1, "gone.csv"),
    ] {
        let done = said(at, &format!("blend {words} --out out"));
        assert_eq!(done.status, status, "{words}: {}", done.err);
        assert!(done.err.contains(says), "{words}: {}", done.err);
        assert!(!at.join("out").exists(), "{words}");
    }
}
