//! The program itself in real time: what a person starts, interrupts, and finds on the disk.

use super::content::place;
use boxwright::files::{self, CaptureDescription, Ended};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

const CARD: &str = "alsa:virtual";

/// An error as text.
pub fn says(error: impl std::fmt::Display) -> String {
    error.to_string()
}

/// The program with these words.
pub fn boxwright(words: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_boxwright"));
    command.args(words.split_whitespace()).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn capture(folder: &Path, more: &str) -> Command {
    let mut command =
        boxwright(&format!("capture response --output {CARD} --input {CARD} --reference 2 --quiet {more}"));
    command.arg("--out").arg(folder);
    command
}

/// `devices --json` lists the card.
pub fn devices() -> Result<String, String> {
    let output = boxwright("devices --json").output().map_err(says)?;
    let document: Value = serde_json::from_slice(&output.stdout).map_err(says)?;
    let listed = document["devices"].as_array().ok_or("no list")?;
    let card = listed.iter().find(|device| device["id"] == CARD).ok_or(format!("{CARD} is not in {document}"))?;
    if card["output"]["channels"] != 2 || card["input"]["rates"][0]["from_hz"] != 48_000 {
        return Err(format!("listed as {card}"));
    }
    Ok(format!("{CARD} is one of {} devices", listed.len()))
}

/// What a capture left.
struct Left {
    heard: [Vec<f32>; 2],
    excitation: Vec<f64>,
    description: CaptureDescription,
    /// Where the excitation's first sample that is not zero lies in both.
    at: [usize; 2],
}

fn left(output: &Output) -> Result<Left, String> {
    let out = String::from_utf8_lossy(&output.stdout).into_owned();
    let wav = PathBuf::from(out.trim());
    let recording = files::read_wav(&wav).map_err(says)?.recording;
    let description = files::read_capture_description(&wav.with_extension("toml")).map_err(says)?;
    let played = wav.with_file_name(&description.excitation.path);
    let excitation = files::read_wav(&played).map_err(says)?.recording.channels.remove(0);
    let first = excitation.iter().position(|sample| *sample != 0.0).ok_or("nothing was played")?;
    let [one, two] = recording.channels.as_slice() else { return Err("not two channels".to_owned()) };
    let heard = [one, two].map(|channel| channel.iter().map(|sample| *sample as f32).collect::<Vec<f32>>());
    let at = place(&heard[0], &excitation[first..], 0.0).ok_or("the excitation is not in the recording")?;
    Ok(Left { heard, excitation, description, at: [at, first] })
}

impl Left {
    /// Frames of the excitation from its first sound on, and how many of them were heard exactly on both channels.
    fn exact(&self) -> (usize, usize) {
        let [at, first] = self.at;
        let played = &self.excitation[first..];
        let same = |(frame, played): &(usize, &f64)| {
            self.heard.iter().all(|heard| heard.get(at + frame).is_some_and(|heard| f64::from(*heard) == **played))
        };
        (played.len(), played.iter().enumerate().take_while(same).count())
    }
}

/// Captures, one after another into one folder: each holds its excitation in every sample. The tolerance is zero: the
/// card is float from end to end.
pub fn captures(times: &str) -> Result<String, String> {
    let times: usize = times.parse().map_err(|_| "how many times?".to_owned())?;
    let folder = tempfile::tempdir().map_err(says)?;
    let mut starts = Vec::new();
    for _ in 0..times {
        let output = capture(folder.path(), "--seconds 1").output().map_err(says)?;
        let left = left(&output).map_err(|error| format!("{error}; {output:?}"))?;
        let (all, exact) = left.exact();
        if exact < all || left.description.stream.ended != Ended::Complete || !output.status.success() {
            return Err(format!("{exact} of {all} frames are exact; {:?}; {output:?}", left.description.stream));
        }
        starts.push(left.at[0]);
    }
    Ok(format!("{times} captures hold their excitation in every sample of both channels (first sound at {starts:?})"))
}

fn started(folder: &Path) -> Result<Child, String> {
    let child = capture(folder, "--seconds 12").spawn().map_err(says)?;
    // Into the sweep: it starts about 3 s after the program.
    std::thread::sleep(Duration::from_secs(6));
    Ok(child)
}

/// A card that is unplugged in the middle: exit status 1, a message, and what was heard until then.
pub fn unplugged(script: &str) -> Result<String, String> {
    let folder = tempfile::tempdir().map_err(says)?;
    let child = started(folder.path())?;
    let status = Command::new(script).arg("unplug").status().map_err(says)?;
    let began = Instant::now();
    let output = child.wait_with_output().map_err(says)?;
    let ended_s = began.elapsed().as_secs_f64();
    let left = left(&output).map_err(|error| format!("{error}; {output:?}"))?;
    let (_, exact) = left.exact();
    let (exact_s, err) = (exact as f64 / 48_000.0, String::from_utf8_lossy(&output.stderr).into_owned());
    let text =
        format!("ended {ended_s:.2} s after it was unplugged, {exact_s:.2} s of sound kept exactly; {}", last(&err));
    let is_right = status.success()
        && output.status.code() == Some(1)
        && left.description.stream.ended == Ended::DeviceLost
        && err.contains("went away");
    if is_right && ended_s < 5.0 && exact_s > 2.0 { Ok(text) } else { Err(format!("{text}; {output:?}")) }
}

/// Ctrl-C, and once more while it saves: the sound fades, and all of it is kept.
pub fn interrupted() -> Result<String, String> {
    let folder = tempfile::tempdir().map_err(says)?;
    let child = started(folder.path())?;
    let began = Instant::now();
    for _ in 0..2 {
        Command::new("kill").args(["-INT", &child.id().to_string()]).status().map_err(says)?;
        std::thread::sleep(Duration::from_millis(300));
    }
    let output = child.wait_with_output().map_err(says)?;
    let ended_s = began.elapsed().as_secs_f64();
    let left = left(&output).map_err(|error| format!("{error}; {output:?}"))?;
    let (_, exact) = left.exact();
    let last_sound = left.heard[0].iter().rposition(|sample| *sample != 0.0).unwrap_or(0) - left.at[0];
    let [exact_s, fade_s] = [exact, last_sound.saturating_sub(exact)].map(|frames| frames as f64 / 48_000.0);
    let err = String::from_utf8_lossy(&output.stderr).into_owned();
    let text = format!(
        "{exact_s:.2} s of sound exact, then faded in {:.1} ms, ended after {ended_s:.2} s; {}",
        1e3 * fade_s,
        last(&err)
    );
    let is_right =
        output.status.code() == Some(1) && left.description.stream.ended == Ended::Stopped && err.contains("stopped");
    if is_right && exact_s > 2.0 && (0.025..0.05).contains(&fade_s) {
        Ok(text)
    } else {
        Err(format!("{text}; {output:?}"))
    }
}

/// `kill -9` in the midst of the sound: all but the last half second is in the `.part`, exactly, and `status` says so.
pub fn killed() -> Result<String, String> {
    let folder = tempfile::tempdir().map_err(says)?;
    let mut child = capture(&folder.path().join("captures"), "--seconds 12").spawn().map_err(says)?;
    // The same as of any capture: the sound begins about 3 s after the program.
    std::thread::sleep(Duration::from_secs(7));
    let status = |folder: &Path| -> Result<Value, String> {
        let output = boxwright("status --json").arg(folder).output().map_err(says)?;
        serde_json::from_slice(&output.stdout).map_err(says)
    };
    let during = status(folder.path())?["unfinished"][0]["state"].clone();
    let part = folder.path().join("captures/response.wav.part");
    let began = Instant::now();
    let in_file = |part: &Path| part.metadata().map_or(0, |facts| facts.len() / 8);
    // Just before a save is due the file is as far behind as it ever is.
    let first = in_file(&part);
    while in_file(&part) == first && began.elapsed() < Duration::from_secs(2) {
        std::thread::sleep(Duration::from_millis(1));
    }
    std::thread::sleep(Duration::from_millis(480));
    child.kill().and_then(|()| child.wait()).map_err(says)?;
    let streamed = in_file(&part);
    let recording = files::read_wav(&part).map_err(says)?.recording;
    let played = files::read_wav(&part.with_file_name("response.excitation.wav")).map_err(says)?.recording;
    let excitation = &played.channels[0];
    let first = excitation.iter().position(|sample| *sample != 0.0).ok_or("nothing was played")?;
    let heard: Vec<f32> = recording.channels[0].iter().map(|sample| *sample as f32).collect();
    let at = place(&heard, &excitation[first..], 0.0).ok_or("the excitation is not in what is left")?;
    let pairs = heard[at..].iter().zip(&excitation[first..]);
    let sound = pairs.clone().count();
    let exact = pairs.take_while(|(heard, played)| f64::from(**heard) == **played).count();
    let after = status(folder.path())?["unfinished"][0]["state"].clone();
    let text = format!(
        "{:.2} s recorded of which {:.2} s are sound, {exact} of {sound} frames exact; status said {during}, then {after}",
        recording.duration_s(),
        sound as f64 / 48_000.0
    );
    let is_right = exact == sound
        && sound > 48_000
        && recording.frames() as u64 + 24_000 >= streamed
        && during == "being-recorded"
        && after == "broken-off";
    if is_right { Ok(text) } else { Err(text) }
}

fn last(err: &str) -> String {
    err.lines().filter(|line| line.starts_with("error")).next_back().unwrap_or("no message").to_owned()
}
