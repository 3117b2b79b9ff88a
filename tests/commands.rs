//! The program as people and scripts meet it.

#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use assert_cmd::Command;
use boxwright::files;
use std::path::Path;

fn boxwright(folder: &Path, words: &str) -> Command {
    let mut command = Command::cargo_bin("boxwright").unwrap();
    command.current_dir(folder).args(words.split_whitespace());
    command
}

struct Said {
    status: i32,
    out: String,
    err: String,
}

fn said(folder: &Path, words: &str) -> Said {
    let output = boxwright(folder, words).output().unwrap();
    Said {
        status: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

#[test]
fn a_sweep_is_written_with_a_description_that_fits_it() {
    let folder = tempfile::tempdir().unwrap();
    let done = said(
        folder.path(),
        "signal sweep --from 100 --to 10kHz --seconds 500ms --repeats 2 --marks --level-dbfs -30 --out s.wav",
    );
    assert_eq!(done.status, 0, "{}", done.err);
    for part in ["s.wav", "100 Hz to 10 kHz", "0.500 s", "2 times", "-30 dBFS", "48 kHz", "24 bits", "50 Hz"] {
        assert!(done.out.contains(part), "{part} in {}", done.out);
    }
    assert!(done.err.contains("turn the amplifier down"), "{}", done.err);
    let wav = folder.path().join("s.wav");
    let description = files::read_signal_description(&folder.path().join("s.toml")).unwrap();
    assert_eq!(description.sha256, files::sha256_of(&wav).unwrap());
    let recording = files::read_wav(&wav).unwrap().recording;
    assert_eq!((recording.channels.len(), recording.frames()), (1, description.layout.total_frames));
    let plan = description.plan();
    let loud = |at: usize| recording.channels[0][at..at + 24_000].iter().fold(0f64, |high, x| high.max(x.abs()));
    // −30 dBFS = 0.031623; half a step of 24 bits, and 0.01 dB for where the samples meet the crests.
    for start in plan.starts {
        assert!((0.03158..=0.031623 + 2f64.powi(-24)).contains(&loud(start)), "{}", loud(start));
    }
}

#[test]
fn the_command_in_a_description_makes_the_same_samples_again() {
    let folder = tempfile::tempdir().unwrap();
    for words in [
        "signal sweep --from 1.5k --lowest 1.2k --seconds 0.3 --pause 0.6 --format 16 --rate 44.1k",
        "signal pink --seconds 0.7 --seed 18446744073709551615 --format float --level-dbfs -33.3",
        "signal tone --at 997 --seconds 0.25 --rate 96kHz",
        "signal burst --at 2k --cycles 6.5",
    ] {
        assert_eq!(said(folder.path(), &format!("{words} --out a.wav --quiet --replace")).status, 0, "{words}");
        let first = files::read_signal_description(&folder.path().join("a.toml")).unwrap();
        let again = first.command.strip_prefix("boxwright ").unwrap();
        let done = said(folder.path(), &format!("{again} --out b.wav --quiet --replace"));
        assert_eq!(done.status, 0, "{again}: {}", done.err);
        assert_eq!(files::read_signal_description(&folder.path().join("b.toml")).unwrap(), first, "{again}");
    }
}

#[test]
fn json_is_one_document_with_the_fixed_keys() {
    let folder = tempfile::tempdir().unwrap();
    let done = said(folder.path(), "signal sweep --from 500 --lowest 800 --seconds 0.2 --json");
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    let document: serde_json::Value = serde_json::from_str(&done.out).unwrap();
    assert_eq!(document["schema"], "boxwright/signal/1");
    assert_eq!(document["made_by"], boxwright::MADE_BY);
    assert_eq!(document["inputs"], serde_json::json!([]));
    assert_eq!(document["settings"]["level_dbfs"], -20.0);
    assert_eq!(document["settings"]["format"], "24");
    assert_eq!(document["findings"][0]["code"], "out-of-band");
    let paths: Vec<_> =
        document["files"].as_array().unwrap().iter().map(|file| file["path"].as_str().unwrap()).collect();
    assert_eq!(paths, ["./sweep.wav", "./sweep.toml"]);
    assert!(paths.iter().all(|path| folder.path().join(path).is_file()));
}

#[test]
fn what_exists_is_kept_unless_it_is_to_be_replaced() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["tone.wav", "tone.toml"] {
        let path = folder.path().join(name);
        std::fs::write(&path, "mine").unwrap();
        let done = said(folder.path(), "signal tone --seconds 0.1");
        assert_eq!((done.status, done.out.as_str()), (1, ""));
        let expected = format!(
            "error: ./{name}: exists already\n  try: give --replace to put the new one in its place, or another --out\n"
        );
        assert_eq!(done.err, expected);
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "mine");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing else was written");
        std::fs::remove_file(&path).unwrap();
    }
    std::fs::write(folder.path().join("tone.wav"), "mine").unwrap();
    let done = said(folder.path(), "signal tone --seconds 0.1 --replace --quiet");
    assert_eq!((done.status, done.out.as_str(), done.err.as_str()), (0, "", ""));
    assert!(files::read_wav(&folder.path().join("tone.wav")).is_ok());
}

#[test]
fn wrong_usage_is_status_2_and_says_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    for (words, part) in [
        ("signal tone --at 30k", "30000 Hz can't be played at 48000 Hz"),
        ("signal tone --at fast", "is no frequency (Hz)"),
        ("signal tone --at 30k", "--at"),
        ("signal burst --cycles many", "is no plain number"),
        ("signal sweep --pause 0.1", "a room needs 0.5 s or more"),
        ("signal tone --level-dbfs 3", "a level of 3 dBFS"),
        ("signal tone --at -5", "-5 Hz"),
        ("signal sweep --from 5k --to 500", "it must rise"),
        ("signal sweep --lowest 19k", "leaves no band up to 20000 Hz"),
        ("signal sweep --seconds 0", "the range is 0.05 to 600 s"),
        ("signal sweep --repeats 0", "0 repeats"),
        ("signal sweep --rate 5", "the range is 1000 to 768000 Hz"),
        ("signal sweep --seed 3", "unexpected argument '--seed'"),
        ("signal whistle", "unrecognized subcommand"),
        ("signal sweep --seconds 600 --repeats 64", "the longest at this rate is 1398 s"),
    ] {
        let done = said(folder.path(), words);
        assert_eq!((done.status, done.out.as_str()), (2, ""), "{words}: {}", done.err);
        assert!(done.err.starts_with("error: ") && done.err.contains(part), "{words}: {}", done.err);
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "nothing was written");
}

#[test]
fn a_place_that_can_not_be_written_is_status_1() {
    let folder = tempfile::tempdir().unwrap();
    for (out, part) in [("missing/a.wav", "no such file"), ("missing", "neither a folder nor a name that ends in .wav")]
    {
        let done = said(folder.path(), &format!("signal tone --seconds 0.1 --out {out}"));
        assert_eq!(done.status, 1);
        assert!(done.err.contains(part) && done.err.contains("\n  try: "), "{}", done.err);
    }
}

#[test]
fn help_names_only_commands_that_work() {
    let folder = tempfile::tempdir().unwrap();
    let help = said(folder.path(), "--help").out;
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.strip_prefix("  ").filter(|rest| !rest.starts_with(' ')))
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    for command in ["signal", "response", "man"] {
        assert!(commands.contains(&command), "{command}: {help}");
    }
    for command in commands.iter().filter(|command| **command != "help") {
        let own = said(folder.path(), &format!("{command} --help"));
        assert!(own.status == 0 && own.out.contains("Usage: boxwright"), "{command}: {}", own.err);
    }
    assert_eq!(said(folder.path(), "--version").out, format!("{}\n", boxwright::MADE_BY));
}

#[test]
fn completions_and_manual_pages_know_the_commands() {
    let folder = tempfile::tempdir().unwrap();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        assert!(said(folder.path(), &format!("completions {shell}")).out.contains("level-dbfs"), "{shell}");
    }
    assert_eq!(said(folder.path(), "man .").status, 0);
    let page = std::fs::read_to_string(folder.path().join("boxwright-signal-sweep.1")).unwrap();
    assert!(page.contains(".SH NAME") && page.contains("lowest"), "{page}");
}

/// `boxwright completions bash | head -1` is no error.
#[cfg(unix)]
#[test]
fn a_reader_that_goes_away_is_no_error() {
    use std::process::{Command as Plain, Stdio};
    let mut child = Plain::new(env!("CARGO_BIN_EXE_boxwright"))
        .args(["completions", "bash"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!((output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned()), (Some(0), String::new()));
}

#[test]
fn the_ready_signals_are_made_again_bit_for_bit() {
    let signals = Path::new(env!("CARGO_MANIFEST_DIR")).join("signals");
    let manifest = std::fs::read_to_string(signals.join("MANIFEST.md")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let mut named = Vec::new();
    for row in manifest.lines().filter(|line| line.starts_with("| `")) {
        let cells: Vec<&str> = row.split('|').map(|cell| cell.trim().trim_matches('`')).collect();
        let (name, level_dbfs, sha256) = (cells[1], cells[3].strip_suffix(" dBFS").unwrap(), cells[4]);
        let words = cells[2].strip_prefix("boxwright ").unwrap();
        assert_eq!(said(folder.path(), words).status, 0, "{words}");
        let text = Path::new(name).with_extension("toml");
        for file in [Path::new(name), &text] {
            let (ready, again) = (signals.join(file), folder.path().join(file));
            assert!(std::fs::read(ready).unwrap() == std::fs::read(again).unwrap(), "{}", file.display());
        }
        let description = files::read_signal_description(&signals.join(&text)).unwrap();
        assert_eq!((description.sha256.as_str(), description.level_dbfs), (sha256, level_dbfs.parse().unwrap()));
        assert_eq!(files::sha256_of(&signals.join(name)).unwrap(), sha256);
        named.push(name.to_owned());
    }
    let mut there: Vec<String> = std::fs::read_dir(&signals)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".wav"))
        .collect();
    there.sort_unstable();
    named.sort_unstable();
    assert_eq!(there, named, "every file is in the manifest");
}
