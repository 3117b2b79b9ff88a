//! The program as a test runs it.
#![allow(dead_code, missing_docs)] // each test file uses its part
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use assert_cmd::Command;
use serde_json::Value;
use std::path::Path;

/// How a run ended and what it said.
pub struct Said {
    pub status: i32,
    pub out: String,
    pub err: String,
}

/// Runs the program in a folder; `words` are parted by blanks.
pub fn said(folder: &Path, words: &str) -> Said {
    let mut command = Command::cargo_bin("boxwright").unwrap();
    let output = command.current_dir(folder).args(words.split_whitespace()).output().unwrap();
    Said {
        status: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// The document that the program prints, with one of these exit statuses and nothing on stderr.
pub fn json_with(folder: &Path, words: &str, statuses: &[i32]) -> Value {
    let done = said(folder, &format!("{words} --json"));
    assert!(done.err.is_empty() && statuses.contains(&done.status), "{words}: {} {}", done.status, done.err);
    serde_json::from_str(&done.out).unwrap()
}

/// The same with exit status 0.
pub fn json(folder: &Path, words: &str) -> Value {
    json_with(folder, words, &[0])
}
