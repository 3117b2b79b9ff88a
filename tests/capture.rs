//! Captures on the simulated bench, as people and scripts meet them; no sound card is needed.

#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use assert_cmd::Command;
use boxwright::audio::{AudioError, CardFacts, Ended, Hear, Lost, Order, Side, Simulated, SoundCard, Take, Tell};
use boxwright::bench::{BenchSettings, Truth};
use boxwright::files::{self, JobBench};
use boxwright::job::{CaptureError, CaptureOrder, Known, Loudness, capture, chain};
use boxwright::quantity::{Code, SampleRate};
use boxwright::response::{Analysis, Settings, analyse};
use boxwright::signal::{Excitation, Marks, SampleFormat, Sequence, SweepSettings};
use serde_json::Value;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

struct Said {
    status: i32,
    out: String,
    err: String,
}

fn said(folder: &Path, words: &str) -> Said {
    let output =
        Command::cargo_bin("boxwright").unwrap().current_dir(folder).args(words.split_whitespace()).output().unwrap();
    Said {
        status: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

fn peak(samples: &[f64]) -> f64 {
    samples.iter().fold(0.0, |high, sample| high.max(sample.abs()))
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = entries.collect();
    names.sort();
    names
}

const SHORT: &str = "capture response --output simulated --seconds 0.3 --from 100 --pause 0.5";

#[test]
fn a_capture_leaves_recording_description_excitation_and_truth_and_a_second_one_takes_new_names() {
    let folder = tempfile::tempdir().unwrap();
    let words = format!("{SHORT} --reference 2 --level-dbfs -26 --unit rear-left --stage raw --distance 400mm");
    let done = said(folder.path(), &words);
    assert_eq!(done.status, 0, "{}", done.err);
    assert_eq!(done.out.lines().next(), Some("captures/rear-left-response.wav"), "a script reads the first line");
    for part in ["-26 dBFS", "nothing below 50 Hz", "outputs 1 and 2", "Your ears", "Any driver", "Treble drivers"] {
        assert!(done.err.contains(part), "{part} in {}", done.err);
    }
    let captures = folder.path().join("captures");
    let stem = |number: &str| {
        ["excitation.toml", "excitation.wav", "toml", "truth.json", "wav"]
            .map(|ending| format!("rear-left-response{number}.{ending}"))
    };
    assert_eq!(names(&captures), stem(""));

    let description = files::read_capture_description(&captures.join("rear-left-response.toml")).unwrap();
    assert_eq!(description.unit.as_deref(), Some("rear-left"));
    assert_eq!(description.stage.as_deref(), Some("raw"));
    assert_eq!(description.stream.ended, files::Ended::Complete);
    let bench = &description.bench;
    assert_eq!((bench.level_dbfs, bench.distance_m, bench.rate_hz), (Some(-26.0), Some(0.4), Some(48_000)));
    assert_eq!(
        (bench.reply_channel, bench.reference_channel, bench.output_channels.as_slice()),
        (Some(1), Some(2), &[1, 2][..])
    );
    let excitation_path = captures.join(&description.excitation.path);
    assert_eq!(description.excitation.sha256, files::sha256_of(&excitation_path).unwrap());
    let signal = files::read_signal_description(&excitation_path.with_extension("toml")).unwrap();
    assert_eq!((signal.sha256, signal.layout.mark_starts.len()), (description.excitation.sha256, 2));

    let excitation = files::read_wav(&excitation_path).unwrap().recording;
    // −26 dBFS; 24 bits round up by half a step at most, and the crests are met within 0.01 dB.
    let asked = 10f64.powf(-26.0 / 20.0);
    let played = peak(&excitation.channels[0]);
    assert!((0.9988 * asked..=asked + 2f64.powi(-24)).contains(&played), "{played} of {asked}");
    let recording = files::read_wav(&captures.join("rear-left-response.wav")).unwrap().recording;
    assert_eq!((recording.channels.len(), recording.format), (2, SampleFormat::Float32));
    assert_eq!(recording.frames() as u64, description.stream.frames);
    // The cable has a gain of −6 dB; converters and AC coupling move a crest of the sweep by less than 0.5 dB.
    let looped = peak(&recording.channels[1]) / (asked * 10f64.powf(-6.0 / 20.0));
    assert!((0.95..1.06).contains(&looped), "{looped}");

    let truth = |name: &str| -> Value { serde_json::from_slice(&std::fs::read(captures.join(name)).unwrap()).unwrap() };
    assert_eq!(description.truth.as_deref(), Some(Path::new("rear-left-response.truth.json")));
    let first = truth("rear-left-response.truth.json");
    assert_eq!((&first["distance_m"], &first["clock_drift_ppm"]), (&0.4.into(), &12.0.into()));
    assert_eq!(first["harmonics"]["level_dbfs"], -26.0);

    let before = std::fs::read(captures.join("rear-left-response.wav")).unwrap();
    let again = said(folder.path(), &format!("{words} --quiet"));
    assert_eq!((again.status, again.out.as_str()), (0, "captures/rear-left-response-2.wav\n"));
    assert_eq!(again.err.lines().count(), 1, "the level is said all the same: {}", again.err);
    assert_eq!(names(&captures), [stem("-2"), stem("")].concat());
    assert_eq!(std::fs::read(captures.join("rear-left-response.wav")).unwrap(), before);
    let second = truth("rear-left-response-2.truth.json");
    assert_ne!(first["seed"], second["seed"]);
    let given = said(folder.path(), &format!("{words} --out captures/rear-left-response.wav"));
    assert_eq!((given.status, given.out.as_str()), (1, ""));
    assert!(given.err.contains("exists already") && given.err.contains("never overwrites"), "{}", given.err);
}

/// On the simulated bench the microphone hears output 1 alone: marks that sound there only change nothing of what is recorded.
#[test]
fn marks_with_an_output_of_their_own_are_the_zero_of_time_where_there_is_no_loopback() {
    let folder = tempfile::tempdir().unwrap();
    let same = "--simulated-seed 7 --simulated-room none --output-channels 1,2 --quiet";
    let captured = |words: &str| said(folder.path(), &format!("{SHORT} {same} {words}"));
    for words in [
        "--out plain.wav",
        "--marks-output 1 --out own.wav",
        "--marks-output 1 --reference 2 --out looped.wav",
        "--marks-output 2 --out elsewhere.wav",
    ] {
        let done = captured(words);
        assert_eq!(done.status, 0, "{words}: {}", done.err);
        assert_eq!(done.err.contains("time marks on output"), words.contains("marks"), "{}", done.err);
    }
    let bytes = |name: &str| std::fs::read(folder.path().join(name)).unwrap();
    assert!(bytes("own.wav") == bytes("plain.wav") && bytes("elsewhere.wav") != bytes("plain.wav"));
    assert_eq!(bytes("own.excitation.wav"), bytes("plain.excitation.wav"));
    let description =
        |name: &str| files::read_capture_description(&folder.path().join(name)).unwrap().bench.marks_output;
    assert_eq!(["plain.toml", "own.toml", "elsewhere.toml"].map(description), [None, Some(1), Some(2)]);

    let analysed = |name: &str| -> (Value, String) {
        let done = said(folder.path(), &format!("response {name}.wav --no-pictures --json"));
        assert_eq!(done.status, 0, "{name}: {}", done.err);
        let csv = std::fs::read_to_string(folder.path().join(name).join("response.csv")).unwrap();
        let header = csv.lines().filter_map(|line| line.strip_prefix("# ")).collect::<Vec<_>>().join("\n");
        (serde_json::from_str(&done.out).unwrap(), header)
    };
    for (name, reference, has_travelled, is_missed) in [
        ("plain", "recording", false, false),
        ("own", "mark", false, false),
        ("looped", "loopback", true, false),
        ("elsewhere", "recording", false, true),
    ] {
        let (document, header) = analysed(name);
        assert_eq!(document["settings"]["time_reference"], reference, "{name}");
        let keys: Vec<&str> = header.lines().filter_map(|line| line.split(':').next()).collect();
        let arrival = keys.iter().position(|key| *key == "arrival_ms").unwrap();
        assert!(
            keys[arrival + 1] == "time_reference" && header.contains(&format!("time_reference: {reference}")),
            "{header}"
        );
        assert_eq!(keys.contains(&"travelled_m"), has_travelled, "{name}");
        assert_eq!(keys.contains(&"mark_band_hz"), reference == "mark", "{name}");
        let missed = document["findings"].as_array().unwrap().iter().find(|found| found["code"] == "marks-unheard");
        assert_eq!(missed.map(|found| &found["severity"]), is_missed.then_some(&"caution".into()), "{name}");
        if name == "own" {
            let told = said(folder.path(), "response own.wav --no-pictures");
            assert!(told.out.contains("ms after that of the time marks"), "{}", told.out);
            let plain = std::fs::read(folder.path().join("plain/result.json")).unwrap();
            assert_eq!(document["curve"], serde_json::from_slice::<Value>(&plain).unwrap()["curve"]);
            // Marks and sweeps go one way: what is left is the way from the first sound to the strongest, here less than 0.2 ms.
            assert!(document["arrival"]["value"].as_f64().unwrap().abs() < 0.2, "{}", document["arrival"]);
        }
    }

    let refused = captured("--marks-output 9 --out no.wav");
    assert_eq!(refused.status, 1);
    assert!(refused.err.contains("channel 9") && !folder.path().join("no.wav").exists(), "{}", refused.err);
    std::fs::write(folder.path().join("job.toml"), "[bench]\nmarks_output = 1\n").unwrap();
    for (words, expected) in [("--out by-job.wav", Some(1)), ("--marks-output none --out by-none.wav", None)] {
        assert_eq!(captured(words).status, 0);
        let name = words.rsplit(' ').next().unwrap().replace(".wav", ".toml");
        assert_eq!(description(name.as_str()), expected);
    }
}

#[test]
fn a_seed_makes_the_same_recording_again_and_json_is_one_document_with_the_fixed_keys() {
    let folder = tempfile::tempdir().unwrap();
    let words = format!(
        "{SHORT} --simulated-seed 5 --simulated-room none --simulated-drift-ppm -50 --format 24 --json --quiet"
    );
    let done = said(folder.path(), &format!("{words} --out a.wav"));
    assert_eq!(done.status, 0, "{}", done.err);
    let document: Value = serde_json::from_str(&done.out).unwrap();
    assert_eq!(document["schema"], "boxwright/capture/1");
    assert_eq!(document["made_by"], boxwright::MADE_BY);
    assert_eq!((&document["inputs"], &document["findings"]), (&serde_json::json!([]), &serde_json::json!([])));
    let settings = &document["settings"];
    assert_eq!(
        (&settings["level_dbfs"], &settings["marks"], &settings["repeats"]),
        (&(-20.0).into(), &true.into(), &1.into())
    );
    assert_eq!((&settings["simulated"]["seed"], &settings["simulated"]["room"]), (&5.into(), &"none".into()));
    assert_eq!((&settings["output_channels"], &settings["format"]), (&serde_json::json!([1]), &"24".into()));
    let paths: Vec<&str> =
        document["files"].as_array().unwrap().iter().map(|file| file["path"].as_str().unwrap()).collect();
    assert_eq!(paths, ["a.wav", "a.toml", "a.excitation.wav", "a.excitation.toml", "a.truth.json"]);
    assert!(paths.iter().all(|path| folder.path().join(path).is_file()));
    assert_eq!(document["excitation"]["path"], "a.excitation.wav");
    assert_eq!(document["stream"]["ended"], "complete");
    let recording = files::read_wav(&folder.path().join("a.wav")).unwrap().recording;
    assert_eq!((recording.channels.len(), recording.format), (1, SampleFormat::Pcm24), "only the reply is kept");
    let truth: Value = serde_json::from_slice(&std::fs::read(folder.path().join("a.truth.json")).unwrap()).unwrap();
    assert_eq!((&truth["seed"], &truth["clock_drift_ppm"]), (&5.into(), &(-50.0).into()));
    assert_eq!(truth["reflections"], serde_json::json!([]));

    assert_eq!(said(folder.path(), &format!("{words} --out b.wav")).status, 0);
    let sum = |name: &str| files::sha256_of(&folder.path().join(name)).unwrap();
    assert_eq!(sum("a.wav"), sum("b.wav"));
}

#[test]
fn the_job_supplies_what_is_not_said() {
    let folder = tempfile::tempdir().unwrap();
    let job = "[bench]\noutput = \"simulated\"\ninput = \"simulated\"\nreply_channel = 1\nreference_channel = 2\n\
               rate_hz = 44100\nlevel_dbfs = -40\nmic = \"mic.txt\"\ndistance_m = 0.3\nmic_sensitivity_dbfs_at_94db = -31.2\n";
    std::fs::create_dir(folder.path().join("job")).unwrap();
    std::fs::write(folder.path().join("job/job.toml"), job).unwrap();
    let words = "capture response --job job --seconds 0.3 --from 100 --pause 0.5 --json --quiet";
    let refused = said(folder.path(), words);
    assert_eq!(refused.status, 1, "a microphone's table that is not there is found out before the sound");
    assert!(refused.err.contains("job/mic.txt"), "{}", refused.err);
    assert_eq!(names(&folder.path().join("job")), ["job.toml"]);
    std::fs::write(folder.path().join("job/mic.txt"), "20 0.1\n20000 -0.5\n").unwrap();

    let done = said(folder.path(), &format!("{words} --level-dbfs -30"));
    assert_eq!(done.status, 0, "{}", done.err);
    let document: Value = serde_json::from_str(&done.out).unwrap();
    let bench = &document["bench"];
    assert_eq!(
        (&bench["rate_hz"], &bench["level_dbfs"], &bench["distance_m"]),
        (&44_100.into(), &(-30.0).into(), &0.3.into())
    );
    assert_eq!((&bench["reference_channel"], &bench["mic_sensitivity_dbfs_at_94db"]), (&2.into(), &(-31.2).into()));
    // As seen from the captures, so that the job can be moved.
    assert_eq!(bench["mic"], "../mic.txt");
    assert_eq!(document["files"][0]["path"], "job/captures/response.wav");

    std::fs::write(folder.path().join("job/job.toml"), "[bench]\noutptu = \"x\"\n").unwrap();
    let broken = said(folder.path(), words);
    assert_eq!(broken.status, 1);
    assert!(broken.err.contains("did you mean \"output\"?"), "{}", broken.err);
}

#[test]
fn what_can_not_be_meant_is_wrong_usage_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    for (more, expected) in [
        ("--treble", "no lower limit was given"),
        ("--treble --from 50", "no lower limit for a treble driver"),
        ("--level-dbfs -9", "add --loud"),
        ("--level-dbfs 1 --loud", "full scale"),
        ("--reply 2 --reference 2", "both reply and reference"),
        ("--reply 0", "channels count from 1"),
        ("--output-channels 1,1", "named twice"),
        ("--to 30k", "can't be played"),
        ("--input other", "can't go with it"),
        ("--seconds 0", "s long"),
        ("--repeats 0", "repeats"),
        ("--distance 0", "above 0"),
    ] {
        let done = said(folder.path(), &format!("capture response --output simulated {more}"));
        assert_eq!((done.status, done.out.as_str()), (2, ""), "{more}: {}", done.err);
        assert!(done.err.contains(expected), "{expected} in {}", done.err);
        assert!(
            !done.err.contains("Playing") || more.contains("twice") || more.contains("1,1"),
            "{more}: {}",
            done.err
        );
    }
    for (more, expected) in [
        ("--reply 3", "no input channel 3; it has 2"),
        ("--rate 50k", "no output rate of 50000 Hz; it has 44100, 48000"),
    ] {
        let done = said(folder.path(), &format!("capture response --output simulated {more}"));
        assert_eq!((done.status, done.out.as_str()), (1, ""), "{more}: {}", done.err);
        assert!(done.err.contains(expected), "{expected} in {}", done.err);
    }
    let left = folder.path().join("captures");
    assert!(!left.exists() || names(&left).is_empty(), "{:?}", names(&left));
}

#[test]
fn nobody_is_told_of_a_sound_that_will_not_be_played() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("taken.wav"), "mine").unwrap();
    for (words, status) in [
        (format!("{SHORT} --mic none.txt"), 1),
        (format!("{SHORT} --reply 3"), 1),
        (format!("{SHORT} --output-channels 1,1"), 2),
        (format!("{SHORT} --out taken.wav"), 1),
        ("level --output simulated --reply 3".to_owned(), 1),
        ("level --output simulated --at 30k".to_owned(), 2),
        ("level --output simulated --seconds 99".to_owned(), 2),
        ("level --output simulated --tone-dbfs -10".to_owned(), 2),
    ] {
        let done = said(folder.path(), &words);
        assert_eq!(done.status, status, "{words}: {}", done.err);
        assert!(done.err.starts_with("error: "), "{words}: {}", done.err);
    }
    assert_eq!(names(folder.path()), ["taken.wav"], "nothing else was written");
}

#[test]
fn a_treble_sweep_never_reaches_below_its_limit() {
    let folder = tempfile::tempdir().unwrap();
    let words = "capture response --input simulated --treble --lowest 2k --seconds 0.3 --pause 0.5 --out t --json";
    let done = said(folder.path(), words);
    assert_eq!(done.status, 0, "{}", done.err);
    assert!(done.err.contains("nothing below 2 kHz"), "{}", done.err);
    let signal = files::read_signal_description(&folder.path().join("t/response.excitation.toml")).unwrap();
    assert_eq!(signal.sweep.unwrap().played_from_hz, 2000.0);
    let [first, ..] = signal.layout.mark_starts[..] else { panic!("no mark") };
    assert!(signal.band.from_hz >= 2000.0 && first > 0);
}

#[test]
fn the_proposed_level_is_never_above_the_limit() {
    let folder = tempfile::tempdir().unwrap();
    for limit_dbfs in [-20.0, -37.3] {
        let words =
            format!("level --output simulated --reference 2 --level-dbfs {limit_dbfs} --json --quiet --seconds 1");
        let done = said(folder.path(), &words);
        assert_eq!(done.status, 0, "{}", done.err);
        let document: Value = serde_json::from_str(&done.out).unwrap();
        assert_eq!(document["schema"], "boxwright/level/1");
        assert!(document["proposed_level_dbfs"].as_f64().unwrap() <= limit_dbfs);
        assert_eq!(document["settings"]["tone_dbfs"], limit_dbfs - 20.0);
        // The cable: −6 dB, noise of −105 dBFS. 0.1 dB: AC coupling and filter of the interface at 1 kHz.
        let cable = &document["channels"][1];
        assert!((cable["tone_dbfs"].as_f64().unwrap() - (limit_dbfs - 26.0)).abs() < 0.1, "{cable}");
        assert!((cable["noise_dbfs"].as_f64().unwrap() + 105.0).abs() < 0.5, "{cable}");
    }
    let loud = said(folder.path(), "level --output simulated --tone-dbfs -15");
    assert_eq!(loud.status, 2, "{}", loud.err);
    let silent = said(folder.path(), "level --output simulated --level-dbfs -90 --json --quiet --seconds 1");
    assert_eq!(silent.status, 1, "{}", silent.err);
    let document: Value = serde_json::from_str(&silent.out).unwrap();
    assert_eq!(document["findings"][0]["code"], "too-quiet");
    assert!(document.get("proposed_level_dbfs").is_none() && silent.err.contains("too-quiet"));
}

/// Without a room and a filter what the seat hears is two distances and two delays; each option is seen in the truth.
#[test]
fn a_subwoofer_plays_on_the_third_output_behind_its_receiver() {
    let folder = tempfile::tempdir().unwrap();
    let words = format!(
        "{SHORT} --simulated-seed 5 --simulated-room none --reference 2 --json --quiet --simulated-seat sofa \
         --simulated-subwoofer --simulated-subwoofer-place -0.2,1,0 --simulated-subwoofer-latency 3 \
         --simulated-low-pass LR4:90 --simulated-high-pass bw2:0.1k --simulated-satellite-delay 2.5 \
         --simulated-subwoofer-delay 1.25ms --simulated-subwoofer-gain-db -3 --simulated-subwoofer-reversed"
    );
    let truth = |outputs: &str, name: &str| -> Value {
        let done = said(folder.path(), &format!("{words} --output-channels {outputs} --out {name}.wav"));
        assert_eq!(done.status, 0, "{}", done.err);
        let document: Value = serde_json::from_str(&done.out).unwrap();
        let simulated = &document["settings"]["simulated"];
        assert_eq!(simulated["seat_m"], serde_json::json!([3.1, 0.75, 0.05]));
        assert_eq!(simulated["subwoofer"]["latency_ms"], 3.0);
        assert_eq!(simulated["receiver"]["low_pass"], serde_json::json!({ "slope": "LR4", "corner_hz": 90.0 }));
        let text = std::fs::read_to_string(folder.path().join(format!("{name}.truth.json"))).unwrap();
        serde_json::from_str(&text).unwrap()
    };
    let told = truth("2,3", "subwoofer");
    let receiver = &told["receiver"];
    assert_eq!((&receiver["high_pass"]["slope"], &receiver["high_pass"]["corner_hz"]), (&"BW2".into(), &100.0.into()));
    assert_eq!((&receiver["subwoofer_gain_db"], &receiver["subwoofer_polarity"]), (&(-3.0).into(), &"-".into()));
    let seat = &told["at_seat"];
    // √(3.1² + 0.75² + 0.05²) and √(3.3² + 0.25² + 0.05²) over 343.2 m/s; 2.5 ms, 1.25 + 3 ms.
    let arrival = |key: &str, path_m2: f64, delay_s: f64| {
        let expected_s = path_m2.sqrt() / 343.2 + delay_s;
        assert!((seat[key].as_f64().unwrap() - expected_s).abs() < 1e-12, "{key} {}", seat[key]);
    };
    arrival("satellite_arrival_s", 10.175, 2.5e-3);
    arrival("subwoofer_arrival_s", 10.955, 4.25e-3);
    let heard = |name: &str| files::read_wav(&folder.path().join(format!("{name}.wav"))).unwrap().recording.channels;
    truth("1,2", "satellite");
    let [low, high] = ["subwoofer", "satellite"].map(heard);
    // The same cable, another loudspeaker.
    assert_eq!(low[1], high[1]);
    assert_ne!(low[0], high[0]);
    for (more, status) in [
        ("--simulated-low-pass LR4:80", 2),
        ("--simulated-subwoofer-reversed", 2),
        ("--simulated-high-pass LR3:80", 2),
        ("--simulated-seat 3.5,0,0", 2),
        ("--simulated-room living --simulated-seat balcony", 2),
        ("--simulated-seat 1,0,0 --distance 1", 2),
        ("--output-channels 3", 1),
    ] {
        let refused = said(folder.path(), &format!("{SHORT} {more}"));
        assert_eq!(refused.status, status, "{more}: {}", refused.err);
    }
}

#[test]
fn devices_always_lists_the_simulated_bench() {
    let folder = tempfile::tempdir().unwrap();
    let done = said(folder.path(), "devices --json");
    assert_eq!(done.status, 0, "{}", done.err);
    let document: Value = serde_json::from_str(&done.out).unwrap();
    assert_eq!(document["schema"], "boxwright/devices/1");
    let last = document["devices"].as_array().unwrap().last().unwrap();
    assert_eq!(
        (&last["id"], &last["output"]["channels"], &last["input"]["channels"]),
        (&"simulated".into(), &2.into(), &2.into())
    );
    assert!(said(folder.path(), "devices").out.contains("simulated\n"));
    let unknown = said(folder.path(), "capture response --output no-such-card --input no-such-card");
    assert_eq!((unknown.status, unknown.out.as_str()), (1, ""));
    assert!(unknown.err.contains("error: "), "{}", unknown.err);
    if cfg!(not(feature = "audio")) {
        assert!(
            unknown.err.contains("built without sound card support") && unknown.err.contains("simulated"),
            "{}",
            unknown.err
        );
    }
}

/// A disk that takes no more: the limit stands for it, because writing beyond it is refused in the same way.
#[cfg(unix)]
#[test]
fn when_the_disk_refuses_what_was_written_is_kept_and_named() {
    let folder = tempfile::tempdir().unwrap();
    // 1,800 blocks of 512 bytes, 0.92 MB: more than the excitation's 0.76 MB, less than the recording's 1.12 MB.
    let script = format!("trap '' XFSZ; ulimit -f 1800; exec \"$0\" {SHORT} --out full.wav");
    let program = assert_cmd::cargo::cargo_bin("boxwright");
    let output = std::process::Command::new("sh")
        .current_dir(folder.path())
        .args(["-c", &script])
        .arg(program)
        .output()
        .unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!((output.status.code(), output.stdout.as_slice()), (Some(1), &b""[..]), "{err}");
    assert!(err.contains("could not be kept") && err.contains("recorded are in full.wav"), "{err}");
    let kept = files::read_wav(&folder.path().join("full.wav")).unwrap();
    // All but the last frame that has room: 921,600 bytes of 4 a frame, less the header.
    let frames = kept.recording.frames();
    assert!((230_380..230_400).contains(&frames) && kept.cut_short.is_none(), "{frames}");
    let description = files::read_capture_description(&folder.path().join("full.toml")).unwrap();
    assert_eq!((description.stream.ended, description.stream.frames), (files::Ended::BrokenOff, frames as u64));
}

fn order(folder: &Path) -> CaptureOrder {
    let chain = chain(&JobBench::default(), &JobBench::default(), Loudness::Usual).unwrap();
    let (rate, level_dbfs) = (chain.rate, chain.level_dbfs);
    let sweep = SweepSettings { rate, from_hz: 100.0, to_hz: 10_000.0, lowest_hz: None, duration_s: 0.5 };
    CaptureOrder {
        sequence: Sequence { sweep, level_dbfs, repeats: 1, marks: Marks::BeforeAndAfter, pause_s: 0.5 },
        chain,
        format: SampleFormat::Float32,
        out: folder.to_owned(),
        when: "2026-01-31T18:05:00+01:00".into(),
        known: Known::default(),
    }
}

#[test]
fn a_stopped_capture_is_kept_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = Simulated::new(BenchSettings::default()).unwrap();
    let stop = AtomicBool::new(false);
    let captured = capture(&mut bench, &order(folder.path()), &stop, &mut |news| {
        stop.store(news.done_s > 1.5, Ordering::Relaxed);
    })
    .unwrap();
    let description = files::read_capture_description(&captured.toml).unwrap();
    assert_eq!(description.stream.ended, files::Ended::Stopped);
    assert_eq!(captured.findings[0].code, Code::Truncated);
    let kept = files::read_wav(&captured.wav).unwrap().recording;
    // Stopped after the piece that ends at 1.6 s; fade 0.03 s, latency 0.043 s, tail 0.5 s.
    assert!((kept.duration_s() - 2.173).abs() < 0.001, "{}", kept.duration_s());
}

/// A card that plays for a while, and then something happens.
struct Failing {
    bench: Simulated,
    after_s: f64,
    vanishes: bool,
}

impl SoundCard for Failing {
    fn describe(&self) -> CardFacts {
        self.bench.describe()
    }

    fn take(
        &mut self,
        order: &Order,
        stop: &AtomicBool,
        hear: &mut Hear<'_>,
        tell: &mut Tell<'_>,
    ) -> Result<Take, AudioError> {
        let most = (self.after_s * order.rate().hz()) as usize;
        let mut heard = 0;
        let mut some = |piece: &[f32]| {
            if heard >= most {
                return Err("gone".into());
            }
            heard += piece.len();
            hear(piece)
        };
        let taken = self.bench.take(order, stop, &mut some, tell);
        match taken {
            Err(_) if self.vanishes => {
                let ended = Ended::DeviceLost { side: Side::Input, how: Lost::Reported };
                let rate: SampleRate = order.rate();
                let trouble = boxwright::audio::Trouble { input_overruns: 2, ..Default::default() };
                let remarks = vec!["7 frames fewer came".to_owned()];
                Ok(Take {
                    frames: heard,
                    wall_clock_s: rate.seconds(heard),
                    trouble,
                    ended,
                    channels: Vec::new(),
                    remarks,
                })
            }
            other => other,
        }
    }
}

#[test]
fn what_was_recorded_before_a_device_vanished_is_kept_with_its_counts() {
    let folder = tempfile::tempdir().unwrap();
    let bench = Simulated::new(BenchSettings::default()).unwrap();
    let mut card = Failing { bench, after_s: 2.0, vanishes: true };
    let captured = capture(&mut card, &order(folder.path()), &AtomicBool::new(false), &mut |_| {}).unwrap();
    let description = files::read_capture_description(&captured.toml).unwrap();
    assert_eq!(description.stream.ended, files::Ended::DeviceLost);
    assert_eq!(
        (description.stream.dropouts, description.stream.remarks.as_slice()),
        (2, &["7 frames fewer came".to_owned()][..])
    );
    assert_eq!(description.truth, None);
    let codes: Vec<Code> = captured.findings.iter().map(|finding| finding.code).collect();
    assert_eq!(codes, [Code::Truncated, Code::Dropout, Code::Dropout]);
    // Pieces of 0.1 s.
    assert_eq!(files::read_wav(&captured.wav).unwrap().recording.frames(), 96_000);
}

#[test]
fn a_take_that_fails_leaves_what_sounded_and_nothing_if_nothing_did() {
    let folder = tempfile::tempdir().unwrap();
    let fails = |after_s| {
        let bench = Simulated::new(BenchSettings::default()).unwrap();
        let mut card = Failing { bench, after_s, vanishes: false };
        capture(&mut card, &order(folder.path()), &AtomicBool::new(false), &mut |_| {}).unwrap_err()
    };
    assert!(matches!(fails(0.0), CaptureError::Audio(AudioError::NotKept(_))));
    assert!(names(folder.path()).is_empty(), "{:?}", names(folder.path()));
    let error = fails(1.0);
    let CaptureError::CutOff { ref kept, kept_s, .. } = error else { panic!("{error}") };
    assert_eq!((kept.as_path(), kept_s), (folder.path().join("response.wav").as_path(), 1.0));
    assert_eq!(files::read_wav(kept).unwrap().recording.frames(), 48_000);
    let stream = files::read_capture_description(&kept.with_extension("toml")).unwrap().stream;
    assert_eq!((stream.ended, stream.frames), (files::Ended::BrokenOff, 48_000));
}

/// The analysis of a sample capture, and the truth beside it.
fn sample(name: &str, reference: Option<usize>) -> (Analysis, Truth) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-captures");
    let description = files::read_capture_description(&folder.join(name).with_extension("toml")).unwrap();
    let played = folder.join(&description.excitation.path);
    assert_eq!(description.excitation.sha256, files::sha256_of(&played).unwrap());
    let samples = files::read_wav(&played).unwrap().recording;
    let plan = files::read_signal_description(&played.with_extension("toml")).unwrap().plan();
    let excitation = Excitation { rate: samples.rate, samples: samples.channels[0].clone(), plan };
    let recording = files::read_wav(&folder.join(name).with_extension("wav")).unwrap().recording;
    let settings = Settings { reference, ..Settings::of_reply(0) };
    let analysis = analyse(&recording, &excitation, &settings).unwrap();
    let truth = std::fs::read(folder.join(description.truth.unwrap())).unwrap();
    (analysis, serde_json::from_slice(&truth).unwrap())
}

/// Worst difference in dB of an analysis to a curve on the same frequencies, from 300 Hz to 10 kHz, and the share of the
/// points that lie within 2u.
fn judged(analysis: &Analysis, expected_db: impl Fn(usize) -> f64, truth: &Truth) -> (f64, f64) {
    let (found_db, u_db) = (analysis.response.magnitude_db(), analysis.response.u_db());
    let (mut compared, mut within, mut worst_db) = (0.0, 0.0, 0.0f64);
    for (at, &hz) in truth.direct.frequency_hz.iter().enumerate().filter(|(_, hz)| (300.0..10_000.0).contains(*hz)) {
        let near = analysis.response.grid.hz().iter().position(|found| (found / hz - 1.0).abs() < 1e-6).unwrap();
        let error_db = (found_db[near] - expected_db(at)).abs();
        worst_db = worst_db.max(error_db);
        compared += 1.0;
        within += if error_db <= 2.0 * u_db[near] { 1.0 } else { 0.0 };
    }
    assert!(compared > 200.0, "{compared}");
    (worst_db, within / compared)
}

/// The bench shares nothing with the analysis, so that its truth can judge it.
#[test]
fn an_analysis_of_the_sample_captures_finds_their_truth() {
    let (analysis, truth) = sample("anechoic-loopback", Some(1));
    let over_cable = |at: usize| truth.direct.level_db[at] - truth.loopback.level_db[at];
    let (worst, _) = judged(&analysis, over_cable, &truth);
    // Noise: 88 dB below full scale, some 60 dB below the reply at these frequencies; distortion and compression at this
    // level are less than that.
    assert!(worst < 0.3, "{worst:.3} dB without a room");
    let drift = |analysis: &Analysis| analysis.drift.map(|drift| 1e6 * drift.ratio).unwrap_or_default();
    assert!((drift(&analysis) - 12.0).abs() < 0.5, "{}", drift(&analysis));

    let (analysis, truth) = sample("room-drift", None);
    assert!((drift(&analysis) - 40.0).abs() < 0.5, "{}", drift(&analysis));
    let (worst, within) = judged(&analysis, |at| truth.direct.level_db[at], &truth);
    // The gate ends before the first reflection and cuts off the woofer's tail; the doubt grows with what it cuts off. The
    // interface's own colour is in both. 95 % less four standard errors of some 150 independent points.
    assert!(within > 0.88 && worst < 2.0, "{within} within 2u, {worst:.3} dB in a room");
}
