//! Two programs at once in one folder: neither overwrites what the other one wrote, and no result is a mixture of both.

#![allow(clippy::unwrap_used)] // a test that can't go on may stop

mod program;

use boxwright::files;
use program::{json, said};
use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// Starts all of them, and then waits for each.
fn at_once(folder: &Path, all: &[&str]) -> Vec<Output> {
    let start = |words: &&str| {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin("boxwright"));
        command.current_dir(folder).args(words.split_whitespace()).stdin(Stdio::null());
        command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
    };
    let children: Vec<_> = all.iter().map(start).collect();
    children.into_iter().map(|child| child.wait_with_output().unwrap()).collect()
}

fn statuses(outputs: &[Output]) -> Vec<i32> {
    let mut all: Vec<i32> = outputs.iter().map(|output| output.status.code().unwrap()).collect();
    all.sort_unstable();
    all
}

const CAPTURE: &str =
    "capture response --output simulated --simulated-room none --seconds 0.3 --pause 0.5 --from 100 --quiet";

#[test]
fn captures_of_one_unit_take_different_names_and_one_name_is_taken_once() {
    let folder = tempfile::tempdir().unwrap();
    let words = format!("{CAPTURE} --unit left");
    let seeds = [1, 2, 3].map(|seed| format!("{words} --simulated-seed {seed}"));
    let outputs = at_once(folder.path(), &seeds.each_ref().map(String::as_str));
    assert_eq!(statuses(&outputs), [0, 0, 0], "{outputs:?}");
    let paths: BTreeSet<String> =
        outputs.iter().map(|output| String::from_utf8_lossy(&output.stdout).trim().to_owned()).collect();
    assert_eq!(paths.len(), 3, "{paths:?}");
    for (output, seed) in outputs.iter().zip(&seeds) {
        let wav = folder.path().join(String::from_utf8_lossy(&output.stdout).trim());
        let alone = tempfile::tempdir().unwrap();
        assert_eq!(said(alone.path(), &format!("{seed} --out alone.wav")).status, 0);
        assert_eq!(
            files::sha256_of(&wav).unwrap(),
            files::sha256_of(&alone.path().join("alone.wav")).unwrap(),
            "{seed}"
        );
        let description = files::read_capture_description(&wav.with_extension("toml")).unwrap();
        assert_eq!(description.stream.ended, files::Ended::Complete);
    }
    let given = at_once(folder.path(), &[&format!("{CAPTURE} --out one.wav"), &format!("{CAPTURE} --out one.wav")]);
    assert_eq!(statuses(&given), [0, 1], "{given:?}");
    let refused = given.iter().find(|output| !output.status.success()).unwrap();
    assert!(String::from_utf8_lossy(&refused.stderr).contains("exists already"), "{refused:?}");
    assert!(files::read_wav(&folder.path().join("one.wav")).unwrap().cut_short.is_none());
    assert_eq!(json(folder.path(), "status")["unfinished"], serde_json::json!([]));
}

#[test]
fn two_responses_into_one_folder_leave_one_of_them() {
    let folder = tempfile::tempdir().unwrap();
    for (name, more) in [("a", "--simulated-seed 1"), ("b", "--simulated-seed 2 --distance 300mm")] {
        assert_eq!(said(folder.path(), &format!("{CAPTURE} {more} --out {name}.wav")).status, 0);
        assert_eq!(
            said(folder.path(), &format!("response {name}.wav --quiet --no-pictures --out {name}-alone")).status,
            0
        );
    }
    for _ in 0..4 {
        let words = ["a", "b"].map(|name| format!("response {name}.wav --quiet --no-pictures --out both"));
        let outputs = at_once(folder.path(), &words.each_ref().map(String::as_str));
        assert_eq!(statuses(&outputs), [0, 0], "{outputs:?}");
        let bytes = |folder_name: &str, file: &str| std::fs::read(folder.path().join(folder_name).join(file)).unwrap();
        let same = |name: &str| {
            let alone = format!("{name}-alone");
            ["impulse.wav", "response.csv", "phase.csv", "decay.csv"]
                .map(|file| bytes("both", file) == bytes(&alone, file))
        };
        let document: serde_json::Value = serde_json::from_slice(&bytes("both", "result.json")).unwrap();
        let of = document["inputs"][0]["path"].as_str().unwrap().trim_end_matches(".wav").to_owned();
        assert_eq!(same(&of), [true; 4], "all files are those of {of}");
    }
}

#[test]
fn status_do_and_new_twice_at_once_do_no_harm() {
    let folder = tempfile::tempdir().unwrap();
    let made = at_once(folder.path(), &["new job", "new job", "new job"]);
    assert_eq!(statuses(&made), [0, 1, 1], "{made:?}");
    let job = folder.path().join("job");
    files::read_job(&job.join("job.toml")).unwrap();
    assert_eq!(said(&job, &format!("{CAPTURE} --unit left")).status, 0);
    assert_eq!(said(&job, "response captures/left-response.wav --quiet --no-pictures").status, 0);
    let before = json(&job, "status");
    assert_eq!(before["results"][0]["state"], "current");
    let outputs = at_once(&job, &["status --do --all --quiet", "status --do --all --quiet"]);
    assert_eq!(statuses(&outputs), [0, 0], "{outputs:?}");
    let after = json(&job, "status");
    assert_eq!((&after["results"], &after["todo"]), (&before["results"], &serde_json::json!([])));
}
