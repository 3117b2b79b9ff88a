//! Recordings of an hour and beyond 4 GiB, in bounded memory. The files are sparse: what lies around the sound are holes that read as zeros.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

mod program;

use boxwright::files;
use program::said;
use serde_json::Value;
use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::process::{Command, Stdio};

const RATE_HZ: u64 = 48_000;
const CHANNELS: u64 = 8;
const FRAME_BYTES: u64 = 4 * CHANNELS;

/// The header of EBU Tech 3306 for floats, written here by hand: `RF64`, `ds64`, `fmt `, `data`.
fn rf64_header(frames: u64) -> Vec<u8> {
    let mut all = b"RF64\xff\xff\xff\xffWAVEds64\x1c\0\0\0".to_vec();
    all.extend((72 + frames * FRAME_BYTES).to_le_bytes());
    all.extend((frames * FRAME_BYTES).to_le_bytes());
    all.extend(frames.to_le_bytes());
    all.extend(0u32.to_le_bytes());
    all.extend(b"fmt \x10\0\0\0\x03\0");
    all.extend((CHANNELS as u16).to_le_bytes());
    all.extend((RATE_HZ as u32).to_le_bytes());
    all.extend(((RATE_HZ * FRAME_BYTES) as u32).to_le_bytes());
    all.extend((FRAME_BYTES as u16).to_le_bytes());
    all.extend(32u16.to_le_bytes());
    all.extend(b"data\xff\xff\xff\xff");
    all
}

/// A recording in which `samples` sound in channel 3 from frame `at` on, and faint noise around them.
fn write_long(path: &Path, frames: u64, at: u64, samples: &[f64]) {
    let mut file = File::create(path).unwrap();
    let header = rf64_header(frames);
    file.set_len(header.len() as u64 + frames * FRAME_BYTES).unwrap();
    file.write_all(&header).unwrap();
    let mut random = boxwright::math::Random::new(1);
    let around = 20 * RATE_HZ;
    let mut bytes = Vec::new();
    for n in 0..samples.len() as u64 + 2 * around {
        let sound = n.checked_sub(around).and_then(|n| samples.get(n as usize)).copied().unwrap_or(0.0);
        let mut frame = [0u8; FRAME_BYTES as usize];
        frame[8..12].copy_from_slice(&((sound + 1e-6 * random.normal()) as f32).to_le_bytes());
        bytes.extend(frame);
    }
    file.seek(SeekFrom::Start(header.len() as u64 + (at - around) * FRAME_BYTES)).unwrap();
    file.write_all(&bytes).unwrap();
}

/// Runs it and looks how much memory it held at most: its high-water mark, as the system tells it while it runs.
fn watched(folder: &Path, words: &str) -> (i32, String, String, u64) {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("boxwright"));
    command.current_dir(folder).args(words.split_whitespace()).stdin(Stdio::null());
    let [out, err] = ["out", "err"].map(|name| folder.join(name));
    command.stdout(File::create(&out).unwrap()).stderr(File::create(&err).unwrap());
    let mut child = command.spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut most_kib = 0u64;
    let code = loop {
        let text = std::fs::read_to_string(&status).unwrap_or_default();
        let now = text.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB")?.parse().ok());
        most_kib = most_kib.max(now.unwrap_or(0));
        if let Some(ended) = child.try_wait().unwrap() {
            break ended.code().unwrap();
        }
        std::thread::sleep(std::time::Duration::from_millis(2));
    };
    let read = |path| std::fs::read_to_string(path).unwrap();
    (code, read(&out), read(&err), most_kib * 1024)
}

/// An hour of 8 channels has 5.5 GB; one channel of it as 64-bit floats 1.4 GB, and each transform over it 2.7 GB.
const MOST_BYTES: u64 = 600 << 20;

#[test]
fn an_hour_of_eight_channels_is_analysed_in_bounded_memory() {
    let folder = tempfile::tempdir().unwrap();
    let made = said(folder.path(), "signal sweep --seconds 3 --from 50 --marks --out sweep.wav");
    assert_eq!(made.status, 0, "{}", made.err);
    let excitation = files::read_wav(&folder.path().join("sweep.wav")).unwrap().recording.channels.remove(0);
    let (frames, place_s) = (3_600 * RATE_HZ, 2_717.25);
    let half: Vec<f64> = excitation.iter().map(|sample| 0.5 * sample).collect();
    write_long(&folder.path().join("hour.wav"), frames, (place_s * RATE_HZ as f64) as u64, &half);
    assert!(folder.path().join("hour.wav").metadata().unwrap().len() > 5 << 30);
    let facts = files::wav_facts(&folder.path().join("hour.wav")).unwrap();
    assert_eq!((facts.frames, facts.channels, facts.cut_short), (frames, 8, None));
    let words = "response hour.wav --excitation sweep.wav --reply 3 --no-pictures --json";
    let (status, out, err, most_bytes) = watched(folder.path(), words);
    assert_eq!(status, 0, "{err}");
    assert!(most_bytes < MOST_BYTES, "{} MiB", most_bytes >> 20);
    let document: Value = serde_json::from_str(&out).unwrap();
    let read_s = document["settings"]["read_s"].as_array().unwrap();
    let [from_s, to_s] = [0, 1].map(|at| read_s[at].as_f64().unwrap());
    let length_s = excitation.len() as f64 / RATE_HZ as f64;
    assert!(from_s < place_s && to_s > place_s + length_s && to_s - from_s < length_s + 25.0, "{from_s} to {to_s}");
    // The excitation itself came back, half as loud: −6.02 dB, and the time it was put at. 0.01 dB: noise 100 dB below, and the gate.
    let arrival_ms = document["arrival"]["value"].as_f64().unwrap();
    assert!((arrival_ms - 1e3 * place_s).abs() < 0.02, "{arrival_ms}");
    let column = |key: &str| document["curve"][key].as_array().unwrap().iter().map(|x| x.as_f64().unwrap());
    let inner = column("frequency_hz").zip(column("level_db")).filter(|(hz, _)| (200.0..15_000.0).contains(hz));
    let worst = inner.map(|(_, db)| (db + 6.0206).abs()).fold(0.0, f64::max);
    assert!(worst < 0.01, "{worst} dB");
}

#[test]
fn what_is_too_long_is_refused_before_a_sound_or_a_transform_with_the_limit() {
    let folder = tempfile::tempdir().unwrap();
    // 2²⁶ frames at 48 kHz.
    let done = said(folder.path(), "capture response --output simulated --seconds 600 --repeats 6 --quiet");
    assert!(done.status == 2 && done.err.contains("the longest at this rate is 1398 s"), "{}", done.err);
    assert!(!folder.path().join("captures").exists());
    let excitation = [0.0, 0.5, -0.5];
    write_long(&folder.path().join("hour.wav"), 3_600 * RATE_HZ, 30 * RATE_HZ, &excitation);
    let (status, _, err, most_bytes) = watched(folder.path(), "response hour.wav --excitation hour.wav");
    assert!(status == 1 && err.contains("an excitation of 3600 s, the longest at this rate is 1398 s"), "{err}");
    assert!(most_bytes < 64 << 20, "{} MiB", most_bytes >> 20);
}
