//! The terminal closes, or whoever reads the output goes away: what was recorded is kept and named, and nothing breaks.

#![cfg(unix)]
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

mod page_client;
mod program;

use boxwright::files::{self, Ended};
use page_client::Server;
use program::said;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

fn start(folder: &Path, words: &str) -> Child {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("boxwright"));
    command.current_dir(folder).args(words.split_whitespace()).stdin(Stdio::null());
    command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

fn signal(child: u32, name: &str) {
    assert!(Command::new("kill").args([name, &child.to_string()]).status().unwrap().success());
}

const LONG: &str = "capture response --output simulated --simulated-room none --seconds 5 --repeats 2 --unit left";

/// Each of the signals a terminal or a system sends; standard output and error are gone before they come.
#[test]
fn a_capture_whose_terminal_closes_is_kept_and_named() {
    for name in ["-HUP", "-TERM", "-INT"] {
        let folder = tempfile::tempdir().unwrap();
        let mut child = start(folder.path(), LONG);
        let (began, begun) = (Instant::now(), folder.path().join("captures/left-response.toml.part"));
        while !begun.exists() {
            assert!(began.elapsed() < Duration::from_secs(60), "the capture never began");
        }
        drop((child.stdout.take(), child.stderr.take()));
        // Twice, as the shell and the system both do.
        signal(child.id(), name);
        std::thread::sleep(Duration::from_millis(20));
        let _ = Command::new("kill").args([name, &child.id().to_string()]).stderr(Stdio::null()).status();
        let status = child.wait().unwrap();
        assert!(status.code().is_some(), "{name}: ended by {status:?}, not by itself");
        let wav = folder.path().join("captures/left-response.wav");
        let description = files::read_capture_description(&wav.with_extension("toml")).unwrap();
        assert_eq!(description.stream.ended, Ended::Stopped, "{name}");
        let heard = files::read_wav(&wav).unwrap();
        // Asked for before the first sample: the fade of 0.03 s, the latency, the tail of 0.5 s.
        assert!(heard.cut_short.is_none() && heard.recording.duration_s() > 0.5, "{name}");
        assert_eq!(description.stream.frames, heard.recording.frames() as u64);
        let left = std::fs::read_dir(folder.path().join("captures")).unwrap().flatten();
        assert!(left.map(|entry| entry.file_name()).all(|name| !name.to_string_lossy().ends_with(".part")));
    }
}

#[test]
#[ignore = "fails: a take that has not yet begun to sound when the terminal closes leaves nothing but a .part"]
fn a_page_whose_terminal_closes_in_the_midst_of_a_take_keeps_it() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(folder.path());
    let mut events = server.events();
    assert_eq!(server.command("/api/sound", LONG).status, 202);
    events.of("news");
    server.signal("-HUP");
    server.signal("-HUP");
    let (took, is_well) = server.ends();
    assert!(is_well && took < Duration::from_secs(8), "{took:?}");
    let wav = folder.path().join("captures/left-response.wav");
    let description = files::read_capture_description(&wav.with_extension("toml")).unwrap();
    assert_eq!(description.stream.ended, Ended::Stopped);
    assert!(files::read_wav(&wav).unwrap().cut_short.is_none());
}

/// Standard output is a pipe that nobody reads, as with `| head -1`, or a full device; standard error is gone as well.
#[test]
fn no_command_breaks_when_nobody_reads_what_it_says() {
    let folder = tempfile::tempdir().unwrap();
    let capture = "capture response --output simulated --simulated-room none --seconds 0.3 --pause 0.5 --from 100";
    assert_eq!(said(folder.path(), &format!("{capture} --out x.wav --quiet")).status, 0);
    assert_eq!(said(folder.path(), "new job").status, 0);
    std::fs::write(folder.path().join("a.csv"), "100 80\n200 80\n400 80\n800 80\n").unwrap();
    let commands = [
        "response x.wav --no-pictures",
        "response x.wav --no-pictures --json",
        &format!("{capture} --out y.wav"),
        &format!("{capture} --out z.wav --json"),
        "status",
        "status --json",
        "status --do --all",
        "match a.csv a.csv --limits 1",
        "devices",
        "level --output simulated --seconds 0.5",
        "signal sweep --seconds 0.5 --out s.wav",
        "report",
        "check job",
        "new other",
        "completions bash",
        "man",
        "--help",
        "capture --help",
    ];
    for words in commands {
        let mut child = start(folder.path(), words);
        drop((child.stdout.take(), child.stderr.take()));
        let status = child.wait().unwrap();
        // 101 is a panic, none a signal.
        assert!(matches!(status.code(), Some(0..=3)), "{words}: {status:?}");
    }
    for name in ["y", "z"] {
        let description = files::read_capture_description(&folder.path().join(format!("{name}.toml"))).unwrap();
        assert_eq!(description.stream.ended, Ended::Complete, "{name}");
        assert!(files::read_wav(&folder.path().join(format!("{name}.wav"))).unwrap().cut_short.is_none());
    }
    assert!(folder.path().join("x/result.json").is_file() && folder.path().join("s.wav").is_file());
    // A device that takes nothing is told of, and the result is on the disk all the same.
    #[cfg(target_os = "linux")]
    for (words, kept) in [
        ("response x.wav --no-pictures --out again", "again/result.json"),
        (&format!("{capture} --out full.wav")[..], "full.toml"),
    ] {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin("boxwright"));
        command.current_dir(folder.path()).args(words.split_whitespace());
        let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
        let output = command.stdout(full).stderr(Stdio::piped()).output().unwrap();
        let err = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.code() == Some(1) && err.contains("standard output"), "{words}: {err}");
        assert!(folder.path().join(kept).is_file(), "{words}");
    }
}
