//! Captures whose program is killed at random moments: what was recorded is there, readable, and under no false name.
//!
//! Eight kills in a usual run; `BOXWRIGHT_KILLS=100 cargo test --test kills -- --nocapture` for as many as wanted, with a table. What each one
//! has left is compared, sample by sample, with the whole recording of the same seed; how much had been streamed is what the file system
//! said a moment before the kill.

#![cfg(unix)]
#![allow(clippy::unwrap_used)] // a test that can't go on may stop
#![allow(clippy::print_stdout)] // the table is for the person who asked for many kills

mod program;

use boxwright::files;
use boxwright::math::Random;
use program::{json, said};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const CAPTURE: &str = "capture response --output simulated --simulated-seed 7 --simulated-room none --seconds 0.3 --repeats 3 --pause 0.5 \
                       --from 100 --unit left --note evening --quiet";
const STEM: &str = "left-response";
/// Half a second at 48 kHz: what may be on its way to the file.
const ON_ITS_WAY_FRAMES: usize = 24_000;

/// When a capture is killed.
#[derive(Debug, Clone, Copy)]
enum Moment {
    /// So long after it was started.
    AfterStart(Duration),
    /// So long after its first file came.
    AfterFirstFile(Duration),
    /// Once its recording has so many bytes.
    AtBytes(u64),
    /// So long after the last byte of its recording.
    AfterLastByte(Duration),
}

/// A whole capture of the same seed, and how long each part of its life takes.
struct Whole {
    samples: Vec<f64>,
    excitation_sha256: String,
    wav_bytes: u64,
    life: Duration,
    before_sound: Duration,
    closing: Duration,
}

struct Numbers {
    random: Random,
}

impl Numbers {
    fn part_of(&mut self, longest: Duration) -> Duration {
        longest.mul_f64(self.random.uniform())
    }
}

fn started(folder: &Path) -> Child {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("boxwright"));
    command.current_dir(folder).args(CAPTURE.split_whitespace());
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

fn files_in(folder: &Path) -> BTreeSet<String> {
    let entries = std::fs::read_dir(folder.join("captures")).into_iter().flatten().flatten();
    let names = entries.map(|entry| entry.file_name().into_string().unwrap());
    // What nobody reads: a file that had not got its name.
    names.filter(|name| !name.starts_with('.')).collect()
}

/// The recording that is being made: one that was not there before.
fn new_part(folder: &Path, before: &BTreeSet<String>) -> Option<PathBuf> {
    let name = files_in(folder).into_iter().find(|name| name.ends_with(".wav.part") && !before.contains(name))?;
    Some(folder.join("captures").join(name))
}

fn bytes(path: &Path) -> u64 {
    path.metadata().map_or(0, |facts| facts.len())
}

impl Whole {
    /// Makes one, looking on.
    fn taken(folder: &Path) -> Self {
        let began = Instant::now();
        let mut child = started(folder);
        let (mut first, mut sound, mut last, mut most) = (None, None, None, 0);
        while child.try_wait().unwrap().is_none() {
            let Some(part) = new_part(folder, &BTreeSet::new()) else { continue };
            first.get_or_insert_with(Instant::now);
            let now = bytes(&part);
            if now > 1_000 {
                sound.get_or_insert_with(Instant::now);
            }
            if now > most {
                (most, last) = (now, Some(Instant::now()));
            }
        }
        let ended = Instant::now();
        let wav = folder.join("captures").join(format!("{STEM}.wav"));
        Self {
            samples: files::read_wav(&wav).unwrap().recording.channels.remove(0),
            excitation_sha256: files::sha256_of(&wav.with_extension("excitation.wav")).unwrap(),
            wav_bytes: bytes(&wav),
            life: ended - began,
            before_sound: sound.unwrap() - first.unwrap(),
            closing: ended - last.unwrap(),
        }
    }

    /// The whole life, from before the first file to after the last, its short parts as well as its long ones.
    fn moment(&self, number: usize, numbers: &mut Numbers) -> Moment {
        match number % 8 {
            0 => Moment::AfterStart(numbers.part_of(self.life.mul_f64(1.1))),
            1 | 2 => Moment::AfterFirstFile(numbers.part_of(self.before_sound.mul_f64(1.1))),
            7 | 6 => Moment::AfterLastByte(numbers.part_of(self.closing.mul_f64(1.2))),
            _ => Moment::AtBytes(1 + (numbers.random.uniform() * self.wav_bytes as f64) as u64),
        }
    }
}

/// Lets a capture live until its moment; how many bytes its recording had just before.
fn killed(folder: &Path, moment: Moment, whole: &Whole) -> u64 {
    let before = files_in(folder);
    let began = Instant::now();
    let mut child = started(folder);
    let (mut part, mut first, mut last, mut most) = (None, None, None, 0);
    while child.try_wait().unwrap().is_none() {
        if part.is_none() {
            part = new_part(folder, &before);
        }
        if let Some(part) = &part {
            first.get_or_insert_with(Instant::now);
            most = most.max(bytes(part));
            if most >= whole.wav_bytes {
                last.get_or_insert_with(Instant::now);
            }
        }
        let is_due = |since: Option<Instant>, wait: Duration| since.is_some_and(|since| since.elapsed() >= wait);
        let now = match moment {
            Moment::AfterStart(wait) => is_due(Some(began), wait),
            Moment::AfterFirstFile(wait) => is_due(first, wait),
            Moment::AtBytes(wanted) => most >= wanted,
            Moment::AfterLastByte(wait) => is_due(last, wait),
        };
        if now {
            break;
        }
    }
    let _ = child.kill();
    child.wait().unwrap();
    most
}

/// What a kill has left.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Left {
    NoFile,
    NothingHeard,
    BrokenOff,
    AllButTheName,
    Whole,
}

impl Left {
    fn words(self) -> &'static str {
        match self {
            Self::NoFile => "before its first file",
            Self::NothingHeard => "before the first sound",
            Self::BrokenOff => "while it recorded",
            Self::AllButTheName => "while it got its name",
            Self::Whole => "after that",
        }
    }
}

/// Judges the new files; fails where anything is lost or under a false name.
fn judged(folder: &Path, before: &BTreeSet<String>, streamed_bytes: u64, whole: &Whole) -> (Left, usize) {
    let captures = folder.join("captures");
    let new: Vec<String> = files_in(folder).difference(before).cloned().collect();
    let (mut left, mut frames) = (Left::NoFile, 0);
    for name in &new {
        let path = captures.join(name);
        if name.ends_with(".excitation.wav") {
            assert_eq!(files::sha256_of(&path).unwrap(), whole.excitation_sha256, "{name}");
        } else if name.ends_with(".excitation.toml") {
            files::read_signal_description(&path).unwrap();
        } else if name.ends_with(".toml") || name.ends_with(".toml.part") {
            let description = files::read_capture_description(&path).unwrap();
            assert_eq!((description.unit.as_deref(), description.note.as_deref()), (Some("left"), Some("evening")));
            let is_whole = description.stream.ended == files::Ended::Complete;
            assert!(is_whole || name.ends_with(".part"), "{name} says {:?}", description.stream);
        } else if name.ends_with(".truth.json") {
            serde_json::from_slice::<Value>(&std::fs::read(&path).unwrap()).unwrap();
        } else if name.ends_with(".wav") {
            let heard = files::read_wav(&path).unwrap();
            assert!(heard.cut_short.is_none() && heard.recording.channels[0] == whole.samples, "{name}");
            assert!(path.with_extension("toml").is_file() && path.with_extension("excitation.wav").is_file());
            (left, frames) = (Left::Whole, whole.samples.len());
        } else {
            assert!(name.ends_with(".wav.part"), "{name}");
            left = Left::NothingHeard;
            if let Ok(heard) = files::read_wav(&path) {
                let samples = &heard.recording.channels[0];
                frames = samples.len();
                assert_eq!(samples[..], whole.samples[..frames], "{name}");
                let is_all = captures.join(name.replace(".wav.part", ".toml")).exists();
                left = if is_all { Left::AllButTheName } else { Left::BrokenOff };
            }
        }
    }
    // One channel of floats.
    let streamed = (streamed_bytes / 4) as usize;
    assert!(frames + ON_ITS_WAY_FRAMES >= streamed.min(whole.samples.len()), "{frames} of {streamed} frames, {new:?}");
    (left, frames)
}

/// `status` ends well and says what became of it.
fn told(folder: &Path, before: &BTreeSet<String>, left: Left) {
    let document = json(folder, "status");
    let is_new = |path: &Value| !before.contains(path.as_str().unwrap().trim_start_matches("captures/"));
    let unfinished: Vec<&Value> =
        document["unfinished"].as_array().unwrap().iter().filter(|one| is_new(&one["path"])).collect();
    let states: Vec<&str> = unfinished.iter().map(|one| one["state"].as_str().unwrap()).collect();
    match left {
        Left::NoFile | Left::Whole => assert!(states.is_empty(), "{states:?}"),
        Left::NothingHeard => assert_eq!(states, ["empty"]),
        Left::BrokenOff => assert!(matches!(states[..], ["broken-off" | "unnamed"]), "{states:?}"),
        Left::AllButTheName => assert_eq!(states, ["unnamed"]),
    }
    for one in unfinished {
        let told = document["findings"].as_array().unwrap().iter().any(|finding| finding["says"] == one["says"]);
        assert!(told, "{one}");
    }
    let whole = document["captures"].as_array().unwrap().iter().filter(|one| is_new(&one["path"]));
    assert_eq!(whole.count(), usize::from(left == Left::Whole));
}

#[test]
fn nothing_that_was_streamed_is_lost_by_a_kill_at_any_moment() {
    let kills: usize = std::env::var("BOXWRIGHT_KILLS").map_or(8, |count| count.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let whole = Whole::taken(folder.path());
    let mut numbers = Numbers { random: Random::new(2026) };
    let mut sums: BTreeMap<String, String> = BTreeMap::new();
    let mut table: BTreeMap<Left, [usize; 3]> = BTreeMap::new();
    let mut most_lost_s = 0.0f64;
    for number in 0..kills {
        let before = files_in(folder.path());
        for name in &before {
            let sum = || files::sha256_of(&folder.path().join("captures").join(name)).unwrap();
            sums.entry(name.clone()).or_insert_with(sum);
        }
        let moment = whole.moment(number, &mut numbers);
        let streamed = killed(folder.path(), moment, &whole);
        let (left, frames) = judged(folder.path(), &before, streamed, &whole);
        told(folder.path(), &before, left);
        let row = table.entry(left).or_default();
        row[0] += 1;
        row[1] += usize::from(streamed > 1_000);
        row[2] += usize::from(frames > 0);
        most_lost_s = most_lost_s.max((streamed as f64 / 4.0 - frames as f64) / 48_000.0);
    }
    // Nobody has touched what was there before.
    for (name, sum) in &sums {
        assert_eq!(files::sha256_of(&folder.path().join("captures").join(name)).unwrap(), *sum, "{name}");
    }
    // The next one works, and takes a name of its own.
    let before = files_in(folder.path());
    let next = said(folder.path(), CAPTURE);
    assert_eq!(next.status, 0, "{}", next.err);
    let name = next.out.trim().trim_start_matches("captures/");
    assert!(!before.contains(name) && !before.contains(&format!("{name}.part")), "{name}");
    // What broke off gets its name, and can be used as far as it goes.
    let parts = |folder: &Path| files_in(folder).into_iter().filter(|name| name.ends_with(".wav.part")).count();
    let empty = table.get(&Left::NothingHeard).map_or(0, |row| row[0]);
    assert_eq!(said(folder.path(), "status --do --quiet").status, 0);
    assert_eq!(parts(folder.path()), empty);
    let document = json(folder.path(), "status");
    let captures = document["captures"].as_array().unwrap();
    assert_eq!(
        captures.len(),
        2 + table.iter().filter(|(left, _)| **left > Left::NothingHeard).map(|(_, row)| row[0]).sum::<usize>()
    );
    for capture in captures {
        let path = folder.path().join(capture["path"].as_str().unwrap());
        let heard = files::read_wav(&path).unwrap().recording;
        assert_eq!(heard.channels[0][..], whole.samples[..heard.frames()], "{path:?}");
        let description = files::read_capture_description(&path.with_extension("toml")).unwrap();
        assert_eq!(description.stream.frames, heard.frames() as u64);
    }
    println!("killed                    kills  heard before  readable");
    for (left, [kills, heard, readable]) in &table {
        println!("{:24}  {kills:5}  {heard:12}  {readable:8}", left.words());
    }
    let sum = |at: usize| table.values().map(|row| row[at]).sum::<usize>();
    println!("{:24}  {:5}  {:12}  {:8}", "all", sum(0), sum(1), sum(2));
    println!("most that was in the file and not yet counted: {most_lost_s:.3} s");
    assert_eq!(sum(1), table.values().map(|row| row[1].min(row[2])).sum::<usize>(), "all that was heard can be read");
}

/// A capture that broke off after two of three sweeps gives the curve of these two; one without a whole sweep says that it has none.
#[test]
fn what_broke_off_is_analysed_as_far_as_it_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let whole = Whole::taken(folder.path());
    let curve = |words: &str| -> Value { json(folder.path(), &format!("response {words} --no-pictures")) };
    let expected = curve("captures/left-response.wav");
    let excitation =
        files::read_signal_description(&folder.path().join("captures/left-response.excitation.toml")).unwrap().plan();
    let end = |sweep: usize| excitation.starts[sweep] + excitation.frames;
    for (number, (frames, used)) in
        [(end(0) / 2, 0), (end(0) + 30_000, 1), (end(1) + 30_000, 2)].into_iter().enumerate()
    {
        killed(folder.path(), Moment::AtBytes(4 * frames as u64), &whole);
        let part = format!("captures/left-response-{}.wav.part", number + 2);
        let at = folder.path().join(&part);
        // The moment may come late; what is asked for here is a file of that length.
        let heard = files::read_wav(&at).unwrap().recording;
        let kept = heard.frames().min(frames);
        assert!(kept + ON_ITS_WAY_FRAMES >= frames, "{kept} of {frames}");
        if used == 0 {
            let cut = std::fs::read(&at).unwrap();
            std::fs::write(&at, &cut[..cut.len().min(4 * frames + 60)]).unwrap();
            let refused = said(folder.path(), &format!("response {part}"));
            assert!(refused.status == 1 && refused.err.contains("no whole sweep"), "{}", refused.err);
            continue;
        }
        let cut = std::fs::read(&at).unwrap();
        std::fs::write(&at, &cut[..cut.len().min(4 * frames + 60)]).unwrap();
        let document = curve(&part);
        let told = document["findings"]
            .as_array()
            .unwrap()
            .iter()
            .find(|one| one["code"] == "truncated" && one["says"].as_str().unwrap().contains("broke off"));
        let says = told.unwrap()["says"].as_str().unwrap();
        assert!(says.contains(&format!("{used} of 3 sweeps")), "{says}");
        let level = |document: &Value| -> Vec<(f64, f64)> {
            let column = |key: &str| {
                document["curve"][key].as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect::<Vec<_>>()
            };
            // Where one sweep tells the level to half a decibel, at k = 3.
            let sure = column("u_db").into_iter().map(|u_db| u_db < 0.17);
            let points = column("frequency_hz").into_iter().zip(column("level_db")).zip(sure);
            points.filter(|(_, sure)| *sure).map(|(point, _)| point).collect()
        };
        let [found, expected] = [&document, &expected].map(level);
        let differ =
            found.iter().filter_map(|(hz, db)| Some((db - expected.iter().find(|(other, _)| other == hz)?.1).abs()));
        let (count, worst) = differ.fold((0, 0.0f64), |(count, worst), db| (count + 1, worst.max(db)));
        // The noise of one sweep instead of three, at a signal 45 dB above it, and another gate's end.
        assert!(count > 100 && worst < 0.5, "{count} points, {worst} dB");
    }
}
