//! `boxwright response` and `demo` as their user and their user's scripts see them.
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

mod systems;

use boxwright::files;
use boxwright::signal::SampleFormat;
use serde_json::Value;
use std::path::Path;
use std::process::Output;
use systems::{Filter, Noise, recording, rounded};

fn run(folder: &Path, words: &[&str]) -> Output {
    let mut command = assert_cmd::Command::cargo_bin("boxwright").unwrap();
    command.current_dir(folder).env("NO_COLOR", "1").args(words).output().unwrap()
}

fn document(folder: &Path, words: &[&str]) -> Value {
    let output = run(folder, words);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// A sweep, and the satellite's reply to it in some noise behind 480 frames, with the sweep itself as second channel.
fn capture(folder: &Path) {
    let words = "signal sweep --seconds 2 --pause 0.5 --marks --level-dbfs -6 --out played.wav --quiet";
    assert!(run(folder, &words.split(' ').collect::<Vec<_>>()).status.success());
    let played = files::read_wav(&folder.join("played.wav")).unwrap().recording.channels.remove(0);
    let mut reply = vec![0.0; 480];
    reply.extend(Filter::satellite(48_000.0).run(&played));
    let mut loopback = played;
    loopback.resize(reply.len(), 0.0);
    let reply = Noise::new(5).added(&reply, 1e-4);
    let channels = [reply, loopback].map(|samples| rounded(&samples, 24)).to_vec();
    files::replace_wav(&folder.join("capture.wav"), &recording(channels, SampleFormat::Pcm24)).unwrap();
}

fn column(document: &Value, path: &str) -> Vec<f64> {
    document.pointer(path).unwrap().as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
}

#[test]
fn the_document_holds_the_fixed_names_and_the_filters_level() {
    let folder = tempfile::tempdir().unwrap();
    capture(folder.path());
    let found = document(folder.path(), &["response", "capture.wav", "--excitation", "played.wav", "--json"]);
    for key in [
        "schema",
        "made_by",
        "inputs",
        "settings",
        "findings",
        "files",
        "sample_rate_hz",
        "arrival",
        "clock_drift",
        "snr_db",
        "peak_dbfs",
        "noise_dbfs",
        "gate",
        "valid_hz",
        "level_reference",
        "curve",
        "distortion",
    ] {
        assert!(found.get(key).is_some(), "{key}");
    }
    assert_eq!(found["schema"], "boxwright/response/1");
    assert_eq!(found["level_reference"], "reply/drive");
    let inputs: Vec<&str> =
        found["inputs"].as_array().unwrap().iter().filter_map(|file| file["path"].as_str()).collect();
    assert_eq!(inputs, ["capture.wav", "played.wav", "played.toml"]);
    assert_eq!(found["arrival"]["unit"], "ms");
    assert_eq!(found["clock_drift"]["unit"], "ppm");
    let (hz, level_db, u_db) =
        (column(&found, "/curve/frequency_hz"), column(&found, "/curve/level_db"), column(&found, "/curve/u_db"));
    // 1000·2^(k/48).
    assert!(hz.iter().all(|hz| ((48.0 * (hz / 1000.0).log2()).round() / 48.0 - (hz / 1000.0).log2()).abs() < 1e-12));
    let filter = Filter::satellite(48_000.0);
    let within = (0..hz.len())
        .filter(|&n| (level_db[n] - 20.0 * filter.response(hz[n], 48_000.0).norm().log10()).abs() <= 2.0 * u_db[n])
        .count() as f64
        / hz.len() as f64;
    // 95 ± 1.2 % for one run, four standard errors.
    assert!((0.90..=1.0).contains(&within), "{within}");
    let harmonics = found["distortion"]["harmonics"].as_object().unwrap();
    assert_eq!(harmonics.keys().collect::<Vec<_>>(), ["2", "3", "4", "5", "6", "7"]);
    for file in found["files"].as_array().unwrap() {
        assert!(folder.path().join(file["path"].as_str().unwrap()).is_file(), "{file}");
    }
    let kept: Value =
        serde_json::from_str(&std::fs::read_to_string(folder.path().join("capture/result.json")).unwrap()).unwrap();
    assert_eq!(kept, found);
    let curve = files::read_curve(&folder.path().join("capture/response.csv")).unwrap();
    assert_eq!((curve.values, curve.u.unwrap()), (level_db, u_db));
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    capture(folder.path());
    let words = ["response", "capture.wav", "--excitation", "played.wav", "--json"];
    let first = run(folder.path(), &words).stdout;
    let curve = std::fs::read(folder.path().join("capture/response.csv")).unwrap();
    assert_eq!(first, run(folder.path(), &words).stdout);
    assert_eq!(curve, std::fs::read(folder.path().join("capture/response.csv")).unwrap());
}

/// A loopback takes the excitation's place; the arrival then counts from it: 480 frames, 10 ms.
#[test]
fn options_shape_the_result_and_stand_in_its_settings() {
    let folder = tempfile::tempdir().unwrap();
    capture(folder.path());
    // A microphone that is 2 dB up from 1 kHz on, and is known from 100 Hz to 10 kHz only.
    std::fs::write(folder.path().join("mic.txt"), "100 0\n999.99 0\n1000 2\n10000 2\n").unwrap();
    let base = ["response", "capture.wav", "--excitation", "played.wav", "--json"];
    let with = |more: &[&str]| document(folder.path(), &[&base[..], more].concat());
    let plain = with(&[]);
    let loopback = with(&["--reference", "2", "--gate", "5 ms"]);
    let arrival_ms = loopback["arrival"]["value"].as_f64().unwrap();
    // 0.01 ms: the filter's own excess delay is a quarter of a frame.
    assert!((arrival_ms - 10.0).abs() < 0.01, "{arrival_ms}");
    assert_eq!(loopback["gate"]["length_ms"], 5.0);
    assert_eq!(loopback["settings"]["gate"], "5 ms");
    assert_eq!(loopback["settings"]["reference_channel"], 2);
    let microphone = with(&["--mic", "mic.txt", "--points-per-octave", "12", "--smooth", "1/6"]);
    let at = |found: &Value, hz: f64| {
        let place = column(found, "/curve/frequency_hz").iter().position(|f| (f / hz - 1.0).abs() < 1e-9).unwrap();
        column(found, "/curve/level_db")[place]
    };
    // 0.05 dB: smoothing over a sixth of an octave, and noise.
    assert!((at(&plain, 4_000.0) - at(&microphone, 4_000.0) - 2.0).abs() < 0.05);
    assert_eq!(microphone["settings"]["smoothing"], "1/6 octave");
    let hz = column(&microphone, "/curve/frequency_hz");
    assert!(hz[0] >= 100.0 && *hz.last().unwrap() <= 10_000.0);
    assert!(microphone["findings"].as_array().unwrap().iter().any(|finding| finding["code"] == "out-of-band"));
    let pressure = with(&["--mic-sensitivity-dbfs", "-30"]);
    assert_eq!(pressure["level_reference"], "dB re 20 uPa");
    // −6 dBFS − (−30 dBFS) + 94 dB above the plain ratio.
    assert!((at(&pressure, 4_000.0) - at(&plain, 4_000.0) - 118.0).abs() < 1e-9);
}

/// The level of the filter itself, whatever channel holds its reply.
#[test]
fn a_reply_in_a_later_channel_needs_no_loopback() {
    let folder = tempfile::tempdir().unwrap();
    capture(folder.path());
    let path = |name: &str| folder.path().join(name);
    let [reply, loopback] =
        <[Vec<f64>; 2]>::try_from(files::read_wav(&path("capture.wav")).unwrap().recording.channels).unwrap();
    let hum = vec![0.25; reply.len()];
    let four = recording(vec![hum.clone(), loopback, hum, reply], SampleFormat::Pcm24);
    files::replace_wav(&path("four.wav"), &four).unwrap();
    let found = |wav: &str, more: &[&str]| {
        document(
            folder.path(),
            &[&["response", wav, "--excitation", "played.wav", "--json", "--no-pictures"], more].concat(),
        )
    };
    let (first, fourth) = (found("capture.wav", &[]), found("four.wav", &["--reply", "4"]));
    assert_eq!(fourth["settings"]["reply_channel"], 4);
    assert_eq!(fourth["curve"], first["curve"], "the other channels play no part");
}

/// What `boxwright capture` wrote names its loopback and its excitation; both can be left aside, and that is said.
#[test]
fn what_a_captures_description_says_can_be_overruled() {
    let folder = tempfile::tempdir().unwrap();
    let words = "capture response --output simulated --reference 2 --seconds 1 --out a.wav --quiet";
    assert!(run(folder.path(), &words.split(' ').collect::<Vec<_>>()).status.success());
    let base = ["response", "a.wav", "--json", "--no-pictures"];
    let with = |more: &[&str]| document(folder.path(), &[&base[..], more].concat());
    let has = |found: &Value, code: &str| found["findings"].as_array().unwrap().iter().any(|one| one["code"] == code);
    let (looped, alone) = (with(&[]), with(&["--reference", "none"]));
    assert_eq!(
        (looped["settings"]["reference_channel"].as_u64(), alone["settings"].get("reference_channel")),
        (Some(2), None)
    );
    // The bench's converters are 30 ms late or more, its sound 1.5 ms.
    let arrival_ms = |found: &Value| found["arrival"]["value"].as_f64().unwrap();
    assert!(arrival_ms(&alone) - arrival_ms(&looped) > 20.0, "{} {}", arrival_ms(&alone), arrival_ms(&looped));
    assert!(!has(&looped, "wrong-excitation"));
    // The same samples in another file: the result stands, and the difference is told.
    let played = files::read_wav(&folder.path().join("a.excitation.wav")).unwrap().recording;
    let played = boxwright::signal::Recording { format: SampleFormat::Float32, ..played };
    files::replace_wav(&folder.path().join("other.wav"), &played).unwrap();
    assert!(has(&with(&["--excitation", "other.wav"]), "wrong-excitation"));
    let refused = |words: &[&str], part: &str| {
        let output = run(folder.path(), words);
        let says = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.code() == Some(1) && says.contains(part), "{part}: {says}");
    };
    // What lies beside a capture is no plan of a signal, and is not taken for a faulty one.
    refused(&["response", "a.wav", "--excitation", "a.wav"], "no whole sweep");
    refused(&["response", "a.wav", "--reply", "2"], "channel 2 is both reply and reference");
    std::fs::rename(folder.path().join("a.excitation.wav"), folder.path().join("b.wav")).unwrap();
    refused(&["response", "a.wav"], "a.excitation.wav: it was played for a.wav");
}

#[test]
fn results_never_take_the_place_of_what_they_come_from() {
    let folder = tempfile::tempdir().unwrap();
    capture(folder.path());
    let path = |name: &str| folder.path().join(name);
    std::fs::rename(path("capture.wav"), path("impulse.wav")).unwrap();
    std::fs::copy(path("impulse.wav"), path("bare")).unwrap();
    let before = std::fs::read(path("impulse.wav")).unwrap();
    for (wav, out, part) in [
        ("impulse.wav", Some("."), "impulse.wav: the results would take its place"),
        ("bare", None, "bare: the results' folder can't be made"),
        ("impulse.wav", Some("played.wav"), "played.wav: the results' folder can't be made"),
    ] {
        let mut words = vec!["response", wav, "--excitation", "played.wav", "--no-pictures"];
        out.into_iter().for_each(|out| words.extend(["--out", out]));
        let output = run(folder.path(), &words);
        let says = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.code() == Some(1) && says.contains(part), "{part}: {says}");
    }
    assert_eq!(std::fs::read(path("impulse.wav")).unwrap(), before);
}

#[test]
fn what_can_not_be_used_is_status_1_with_what_where_and_advice() {
    let folder = tempfile::tempdir().unwrap();
    capture(folder.path());
    let path = |name: &str| folder.path().join(name);
    let silent = recording(vec![vec![0.0; 100_000]], SampleFormat::Pcm24);
    files::replace_wav(&path("silent.wav"), &silent).unwrap();
    std::fs::write(path("empty.wav"), b"").unwrap();
    std::fs::write(path("text.wav"), b"this is no sound").unwrap();
    let cases: [(&[&str], &str); 7] = [
        (&["response", "none.wav", "--excitation", "played.wav"], "none.wav"),
        (&["response", "empty.wav", "--excitation", "played.wav"], "empty.wav"),
        (&["response", "text.wav", "--excitation", "played.wav"], "text.wav"),
        (&["response", "capture.wav"], "--excitation"),
        (&["response", "silent.wav", "--excitation", "played.wav"], "too-quiet"),
        (&["response", "capture.wav", "--excitation", "played.wav", "--reply", "3"], "channel 3"),
        (&["response", "capture.wav", "--excitation", "played.wav", "--gate", "20 s"], "gate"),
    ];
    for (words, part) in cases {
        let output = run(folder.path(), words);
        let says = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{words:?}: {says}");
        assert!(output.stdout.is_empty() && says.starts_with("error: ") && says.contains("\n  try: "), "{says}");
        assert!(says.contains(part), "{part}: {says}");
    }
    for words in
        [&["response"][..], &["response", "capture.wav", "--gate", "soon"], &["response", "x.wav", "--smooth", "7"]]
    {
        assert_eq!(run(folder.path(), words).status.code(), Some(2), "{words:?}");
    }
}

#[test]
fn the_demo_leaves_a_report_and_its_results_and_overwrites_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let made = document(folder.path(), &["demo", "here", "--json"]);
    assert_eq!(made["schema"], "boxwright/demo/1");
    let report = std::fs::read_to_string(folder.path().join("here/report.html")).unwrap();
    for part in [
        "rear left",
        "so the truth is known",
        "What this driver really is",
        "Is the spare",
        "its whole curve from 30 Hz",
        "Are left and right alike",
        "something scrapes or knocks in step",
        "Where do satellite and subwoofer meet",
        "the settings act as predicted",
        "first box airtight",
        "Your ears",
        "<svg",
    ] {
        assert!(report.contains(part), "{part}");
    }
    let results: Vec<&Value> =
        made["files"].as_array().unwrap().iter().filter(|file| file["what"] == "result").collect();
    let mut schemas = Vec::new();
    for result in results {
        let text = std::fs::read_to_string(folder.path().join(result["path"].as_str().unwrap())).unwrap();
        let document: Value = serde_json::from_str(&text).unwrap();
        schemas.push(document["schema"].as_str().unwrap().to_owned());
        match document["schema"].as_str().unwrap() {
            "boxwright/response/1" => {
                // What is heard at a seat is that: two loudspeakers have no one voltage and distance.
                let at_a_seat = document["inputs"][0]["path"].as_str().unwrap().contains("-at-the-");
                let expected = if at_a_seat { "dB re 20 uPa" } else { "dB re 20 uPa at 2.83 V, 1 m" };
                assert_eq!(document["level_reference"], expected, "{}", document["inputs"][0]);
            }
            "boxwright/blend/1" => {
                let [found_db, without_db] =
                    ["ripple_db", "without_help_db"].map(|key| document[key].as_f64().unwrap());
                assert!(found_db < without_db - 1.0, "{found_db} {without_db}");
            }
            "boxwright/driver/1" => {
                // The bench's truth; 3 u so that the fixed seed is no lucky one.
                for (name, truth) in [("fs", 110.354), ("qms", 4.186), ("qes", 0.7055), ("mms", 3.2), ("vas", 2.3056)] {
                    let [value, u] = ["value", "u"].map(|key| document[name][key].as_f64().unwrap());
                    assert!((value - truth).abs() < 3.0 * u && u < 0.05 * truth, "{name}: {value} ± {u}");
                }
            }
            "boxwright/box/1" => {
                // The bench's truth: the first box leaks, the second is sealed, the vented one is tuned to 86.37 Hz.
                match document["name"].as_str().unwrap() {
                    "first box" => assert_eq!(document["leak"]["present"], "yes"),
                    "sealed box" => assert_eq!(document["leak"]["present"], "no"),
                    _ => {
                        // 0.1 %: of what a fixed seed and a small signal may be off.
                        let fb_hz = document["fb"]["value"].as_f64().unwrap();
                        assert!((fb_hz / 86.37 - 1.0).abs() < 1e-3, "{fb_hz}");
                    }
                }
            }
            // The spare is another driver, left and right are alike.
            "boxwright/match/1" => assert_eq!(document["within"], document["of"] == "response"),
            "boxwright/join/1" => {
                // Both were calibrated, so that nothing has to be moved but what the treble adds where they meet.
                let moved_db = document["joined"]["level"]["value"].as_f64().unwrap();
                assert!(moved_db.abs() < 1.0 && document["joined"]["polarity"] == "+", "{}", document["joined"]);
            }
            _ => {}
        }
    }
    schemas.sort();
    let expected = [
        ("blend", 1),
        ("box", 3),
        ("compare", 4),
        ("driver", 1),
        ("impedance", 8),
        ("join", 1),
        ("match", 2),
        ("response", 11),
        ("simulation", 1),
    ]
    .map(|(kind, count)| vec![format!("boxwright/{kind}/1"); count])
    .concat();
    assert_eq!(schemas, expected);
    let again = run(folder.path(), &["demo", "here"]);
    assert_eq!(again.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&again.stderr).contains("not empty"));
}

/// A folder of captures, one of them cut off within its header, one of another sweep.
#[test]
fn one_capture_that_cant_be_used_does_not_stop_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    capture(at);
    std::fs::create_dir(at.join("takes")).unwrap();
    for name in ["a.wav", "b.wav", "d.wav"] {
        std::fs::copy(at.join("capture.wav"), at.join("takes").join(name)).unwrap();
    }
    std::fs::write(at.join("takes/c.wav"), &std::fs::read(at.join("capture.wav")).unwrap()[..20]).unwrap();
    std::fs::write(at.join("takes/notes.txt"), "no capture").unwrap();
    let words = ["response", "takes", "--excitation", "played.wav", "--no-pictures", "--gate", "5 ms"];
    let output = run(at, &words);
    assert_eq!(output.status.code(), Some(1));
    let (out, err) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(out.contains("3 of 4 captures, 1 failed") && out.contains("takes/c.wav  FAILED"), "{out}");
    assert!(err.contains("takes/c.wav: ") && err.matches("error:").count() == 1, "{err}");
    // Each is what it is alone, and the record makes it again alone.
    let alone = ["response", "takes/b.wav", "--excitation", "played.wav", "--no-pictures", "--gate", "5 ms"];
    let of_many: Value = serde_json::from_slice(&std::fs::read(at.join("takes/b/result.json")).unwrap()).unwrap();
    let of_one = document(at, &[alone.as_slice(), &["--json"]].concat());
    assert_eq!(of_many, of_one);
    assert_eq!(of_many.pointer("/command").unwrap(), &serde_json::json!(alone));
    for name in ["a", "d"] {
        assert!(at.join("takes").join(name).join("response.csv").is_file());
    }
    assert!(!at.join("takes/c").exists());
}

#[test]
fn several_captures_have_a_list_of_documents_and_folders_of_their_own() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    capture(at);
    std::fs::copy(at.join("capture.wav"), at.join("other.wav")).unwrap();
    let words = ["response", "capture.wav", "other.wav", "--excitation", "played.wav", "--no-pictures"];
    let found = document(at, &[words.as_slice(), &["--json", "--out", "new"]].concat());
    let first = |n: usize| found.pointer(&format!("/{n}/inputs/0/path")).and_then(Value::as_str).unwrap().to_owned();
    assert_eq!([first(0), first(1)], ["capture.wav", "other.wav"]);
    assert!(at.join("new/capture/result.json").is_file() && at.join("new/other/result.json").is_file());
    let told = found.pointer("/1/command").unwrap().to_string();
    assert!(told.contains(r#""--out","new/other""#) && !told.contains("capture.wav"), "{told}");
    // Two of one name would replace each other: nothing is done.
    std::fs::create_dir(at.join("sub")).unwrap();
    std::fs::copy(at.join("capture.wav"), at.join("sub/capture.wav")).unwrap();
    let output = run(at, &["response", "capture.wav", "sub/capture.wav", "--excitation", "played.wav", "--out", "x"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("one folder") && !at.join("x").exists());
    let output = run(at, &["response", "capture.wav", "./capture.wav", "--excitation", "played.wav"]);
    assert_eq!(output.status.code(), Some(2));
}
