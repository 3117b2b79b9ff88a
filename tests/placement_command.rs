//! `response --room` as its user sees it: advice without a capture, a bounded gate with one.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

mod systems;

mod program;

use boxwright::files;
use boxwright::signal::SampleFormat;
use program::{json, said};
use serde_json::Value;
use systems::{Noise, recording, rounded};

fn number(document: &Value, path: &str) -> f64 {
    document.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("{path} in {document}"))
}

const ROOM: &str = "response --room 4.3x3.4x2.45 --stands 0.9,1.45,1.0";
const SOUND_M_S: f64 = 343.2;

/// Paths by hand: a mirrored loudspeaker each, 0.5 m from the microphone.
#[test]
fn a_room_without_a_capture_gives_advice() {
    let folder = tempfile::tempdir().unwrap();
    let found = json(folder.path(), ROOM);
    assert_eq!(found["schema"], "boxwright/placement/1");
    assert_eq!((&found["inputs"], &found["files"]), (&serde_json::json!([]), &serde_json::json!([])));
    assert!(found["findings"].as_array().unwrap().is_empty(), "{found}");
    let across = |away_m: f64| (0.25 + 4.0 * away_m * away_m).sqrt() - 0.5;
    let expected = [
        ("floor", across(1.0)),
        ("wall behind", 1.8),
        ("opposite side wall", across(1.95)),
        ("ceiling", across(1.45)),
        ("side wall", across(1.45)),
        ("wall ahead", 2.0 * (4.3 - 0.9 - 0.5)),
    ];
    let reflections = found["reflections"].as_array().unwrap();
    assert_eq!(reflections.len(), 6);
    for (surface, extra_m) in expected {
        let one = reflections.iter().find(|one| one["surface"] == surface).unwrap();
        // 1e-9: a root and a logarithm.
        assert!((number(one, "/later_ms") - 1e3 * extra_m / SOUND_M_S).abs() < 1e-9, "{one}");
        assert!((number(one, "/level_db") - 20.0 * (0.5 / (0.5 + extra_m)).log10()).abs() < 1e-9, "{one}");
    }
    assert!(reflections.windows(2).all(|pair| number(&pair[0], "/later_ms") <= number(&pair[1], "/later_ms")));
    let gate_ms = 1e3 * across(1.0) / SOUND_M_S;
    assert!((number(&found, "/gate_ms") - gate_ms).abs() < 1e-9);
    assert!((number(&found, "/lowest_hz") - 1e3 / gate_ms).abs() < 1e-9);
    assert_eq!(found["limited_by"], serde_json::json!(["floor"]));
    // Lifted until the wall behind comes first, which is before the middle of the height.
    assert_eq!(number(&found, "/best/height_m"), 1.225);
    assert!((number(&found, "/best/gate_ms") - 1e3 * 1.8 / SOUND_M_S).abs() < 1e-9);
    assert!((number(&found, "/move_to/height_m") - 0.5 * (1.8f64 * 2.8).sqrt()).abs() < 1e-9);
    assert!(found.get("far_field_m").is_none());
    let words = said(folder.path(), ROOM).out;
    for part in ["4.55 ms", "220 Hz", "wall behind", "best height", "at 1.12 m"] {
        assert!(words.contains(part), "{part} in {words}");
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "nothing was written");
}

/// In a long hall floor and ceiling alone count: f_min = c/(√(h² + d²) − d).
#[test]
fn the_size_of_the_loudspeaker_asks_for_a_distance_and_says_its_price() {
    let folder = tempfile::tempdir().unwrap();
    let found = json(folder.path(), "response --room 20x15x3 --distance 0.6 --size-mm 400");
    assert_eq!(found["settings"]["stands_m"], serde_json::json!([20.0 / 3.0, 7.5, 1.5]));
    assert!((number(&found, "/far_field_m") - 1.2).abs() < 1e-12);
    let lowest = |distance_m: f64| SOUND_M_S / (3f64.hypot(distance_m) - distance_m);
    assert!((number(&found, "/lowest_hz") - lowest(0.6)).abs() < 1e-9);
    assert!((number(&found, "/at_far_field/lowest_hz") - lowest(1.2)).abs() < 1e-9);
    assert_eq!(found["limited_by"], serde_json::json!(["floor", "ceiling"]));
    assert!(found.get("move_to").is_none(), "it stands at half height already");
    let codes: Vec<&str> =
        found["findings"].as_array().unwrap().iter().map(|finding| finding["code"].as_str().unwrap()).collect();
    assert_eq!(codes, ["near-field", "assumed"]);
    let far = json(folder.path(), "response --room 20x15x3 --distance 1.2 --size-mm 400 --stands 6,7.5,1.5");
    assert!(far["findings"].as_array().unwrap().is_empty(), "{far}");
    std::fs::write(folder.path().join("job.toml"), "[bench]\ndistance_m = 0.8\n").unwrap();
    let of_job = json(folder.path(), "response --room 20x15x3");
    assert_eq!(number(&of_job, "/settings/distance_m"), 0.8);
}

/// A reply without any reflection: what ends the gate is the geometry alone.
#[test]
fn walls_bound_the_gate_of_a_capture_that_shows_none() {
    let folder = tempfile::tempdir().unwrap();
    let sweep = "signal sweep --seconds 1 --pause 0.6 --marks --level-dbfs -6 --out played.wav --quiet";
    assert_eq!(said(folder.path(), sweep).status, 0);
    let played = files::read_wav(&folder.path().join("played.wav")).unwrap().recording.channels.remove(0);
    let mut reply = vec![0.0; 480];
    reply.extend(played);
    let channels = vec![rounded(&Noise::new(3).added(&reply, 1e-4), 24)];
    files::replace_wav(&folder.path().join("capture.wav"), &recording(channels, SampleFormat::Pcm24)).unwrap();
    let capture = "response capture.wav --excitation played.wav --no-pictures";
    let room = ROOM.strip_prefix("response ").unwrap();
    let gate_ms = |words: &str| number(&json(folder.path(), &format!("{capture} {words}")), "/gate/length_ms");
    let due_ms = 1e3 * (4.25f64.sqrt() - 0.5) / SOUND_M_S;
    assert!(gate_ms("") > 100.0);
    let bounded = json(folder.path(), &format!("{capture} {room}"));
    assert!((number(&bounded, "/gate/length_ms") - due_ms).abs() < 1e-9);
    assert!((number(&bounded, "/valid_hz/0") - 1e3 / due_ms).abs() < 1e-6);
    assert!((number(&bounded, "/settings/room/first_reflection_ms") - due_ms).abs() < 1e-9);
    assert_eq!(bounded["settings"]["room"]["limited_by"], serde_json::json!(["floor"]));
    assert!((gate_ms(&format!("{room} --distance 1")) - 1e3 * (5f64.sqrt() - 1.0) / SOUND_M_S).abs() < 1e-9);
    // What is asked for stays, and a wall at the microphone's back leaves at least what any proposal has.
    assert!((gate_ms(&format!("{room} --gate 9")) - 9.0).abs() < 1e-9);
    assert!((gate_ms("--room 4x3x2.5 --stands 0.1,1.5,1.2") - 1.5).abs() < 1e-9);
    let words = said(folder.path(), &format!("{capture} {room}")).out;
    assert!(words.contains("due 4.55 ms after the arrival (floor)"), "{words}");
}

/// The simulated bench's room: what geometry says and what is seen agree.
#[test]
fn the_benchs_floor_is_seen_where_the_geometry_puts_it() {
    let folder = tempfile::tempdir().unwrap();
    let wav = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-captures/room-drift.wav");
    let found = json(folder.path(), &format!("response {wav} --no-pictures --out out {}", &ROOM["response ".len()..]));
    let (due_ms, peak_ms) =
        (number(&found, "/settings/room/first_reflection_ms"), number(&found, "/reflection/peak_ms"));
    // 0.3 ms: the smoothing of the energy-time curve, and where in a loudspeaker the arrival is.
    assert!((peak_ms - due_ms).abs() < 0.3, "{peak_ms} {due_ms}");
    assert!(number(&found, "/gate/length_ms") <= due_ms);
}

#[test]
fn mistakes_are_told() {
    let folder = tempfile::tempdir().unwrap();
    for (words, status, says) in [
        ("response", 2, "WAV"),
        ("response --room 4.3x3.4x2.45 --stands 0.9,1.45,1.0 --distance 3.5", 1, "the microphone would stand outside"),
        ("response --room 4.3x3.4x2.45 --stands 0.9,3.5,1.0", 1, "the loudspeaker would stand outside"),
        ("response --room 4.3x3.4x2.45 --stands 0.9,1.45,-1", 1, "-1.00 m along its height"),
        ("response --room 4.3x3.4", 2, "length x width x height"),
        ("response --room 4.3x3.4x0", 2, "no distance above 0"),
        ("response --room 5000x3.4x2", 1, "the range is 0.1 to 1000 m"),
        ("response --room 4.3x3.4x2.45 --stands 1,2", 2, "three lengths"),
        ("response --stands 1,2,1", 2, "--room"),
        ("response --room 4x3x2 --size-mm 0", 2, "not more than 0"),
    ] {
        let done = said(folder.path(), words);
        assert!(done.status == status && done.err.contains(says), "{words}: {} {}", done.status, done.err);
    }
}
