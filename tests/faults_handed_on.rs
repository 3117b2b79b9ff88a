//! A fault of a capture is said again by whatever rests on it.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

mod program;
mod systems;

use boxwright::files;
use boxwright::signal::SampleFormat;
use program::{json, json_with, said};
use serde_json::Value;
use std::path::Path;
use systems::{Filter, Noise, recording, rounded};

/// What is said of `clipped`, of those findings that name the file.
fn said_of<'a>(document: &'a Value, file: &str) -> Vec<&'a str> {
    let all = document["findings"].as_array().unwrap();
    let of_file = all.iter().filter(|finding| finding["code"] == "clipped" && finding["severity"] == "fault");
    of_file.map(|finding| finding["says"].as_str().unwrap()).filter(|says| says.contains(file)).collect()
}

/// `good` and `clipped`: two captures of one filter, the second 3 dB beyond full scale.
fn captures(folder: &Path) {
    let words = "signal sweep --seconds 2 --pause 0.5 --marks --level-dbfs -6 --out played.wav --quiet";
    assert_eq!(said(folder, words).status, 0);
    let played = files::read_wav(&folder.join("played.wav")).unwrap().recording.channels.remove(0);
    let mut reply = vec![0.0; 480];
    reply.extend(Filter::satellite(48_000.0).run(&played));
    let reply = Noise::new(5).added(&reply, 1e-5);
    let loudest = reply.iter().fold(0.0f64, |loudest, x| loudest.max(x.abs()));
    for (name, peak) in [("good", 0.5), ("clipped", std::f64::consts::SQRT_2)] {
        let samples: Vec<f64> = reply.iter().map(|x| (x * peak / loudest).clamp(-1.0, 1.0)).collect();
        let recording = recording(vec![rounded(&samples, 24)], SampleFormat::Pcm24);
        files::replace_wav(&folder.join(format!("{name}.wav")), &recording).unwrap();
        json(folder, &format!("response {name}.wav --excitation played.wav --no-pictures"));
    }
}

#[test]
fn what_rests_on_a_clipped_capture_says_so_and_hands_it_on() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    captures(folder);
    let (good, clipped) = ("good/response.csv", "clipped/response.csv");
    let compared = json_with(folder, &format!("compare {clipped} {good} --no-pictures"), &[0, 3]);
    assert_eq!(said_of(&compared, clipped).len(), 1, "{compared}");
    let alone = json_with(folder, &format!("compare {good} {good} --no-pictures --out alone"), &[0, 3]);
    assert!(said_of(&alone, "response.csv").is_empty(), "{alone}");
    let matched = json_with(folder, &format!("match {good} {clipped}"), &[0, 3]);
    assert_eq!(said_of(&matched, clipped).len(), 1, "{matched}");
    // The average's own table hands it on once more.
    let averaged = json(folder, &format!("average {good} {clipped} --no-pictures --out mean"));
    assert_eq!(said_of(&averaged, clipped).len(), 1, "{averaged}");
    let again = json_with(folder, &format!("compare mean/average.csv {good} --no-pictures --out again"), &[0, 3]);
    let says = said_of(&again, clipped);
    assert!(matches!(says[..], [one] if one.starts_with("mean/average.csv: ")), "{says:?}");
}
