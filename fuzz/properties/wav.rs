//! A recording from any bytes: no more samples than there are bytes, all finite, and the same again once written.

use crate::refusal::of_file;
use boxwright::files::{Keep, WavFile, read_wav_from, wav_bytes};
use boxwright::signal::{Recording, SampleFormat};
use std::io::Cursor;
use std::path::Path;

/// What our own writer takes.
const MOST_WRITTEN_CHANNELS: usize = 1024;

/// Reads the bytes and checks what came of it.
pub fn check(bytes: &[u8]) {
    let name = Path::new("t.wav");
    let read = |bytes: &[u8], keep: Keep<'_>| read_wav_from(&mut Cursor::new(bytes), name, keep);
    let WavFile { recording, .. } = match read(bytes, Keep::All) {
        Ok(file) => file,
        Err(error) => return of_file(&error),
    };
    let (channels, frames) = (recording.channels.len(), recording.frames());
    // The smallest sample has two bytes.
    assert!(channels >= 1 && frames >= 1 && 2 * channels * frames <= bytes.len(), "{channels} x {frames}");
    assert!(recording.channels.iter().all(|channel| channel.len() == frames));
    let is_float = matches!(recording.format, SampleFormat::Float32 | SampleFormat::Float64);
    assert!(recording.channels.iter().flatten().all(|x| if is_float { x.is_finite() } else { x.abs() <= 1.0 }));

    let kept = [channels - 1, 0];
    let some = read(bytes, Keep::These(&kept)).expect("channels that are there").recording;
    assert!(some.channels[0] == recording.channels[channels - 1] && some.channels[1] == recording.channels[0]);
    let beyond = read(bytes, Keep::These(&[channels])).expect_err("a channel that is not there");
    assert!(beyond.to_string().contains(&format!("channel {} was asked for", channels + 1)), "{beyond}");

    if channels <= MOST_WRITTEN_CHANNELS {
        comes_back(&recording);
    }
}

fn comes_back(recording: &Recording) {
    let name = Path::new("t.wav");
    let (bytes, written) = wav_bytes(name, recording).expect("what was read can be written");
    assert_eq!((written.frames, written.clipped > 0), (recording.frames() as u64, false));
    let again = read_wav_from(&mut Cursor::new(&bytes), name, Keep::All).expect("what was written can be read");
    assert_eq!((again.cut_short, again.recording.rate), (None, recording.rate));
    assert_eq!(again.recording.format, recording.format);
    // Half a step: a container may hold more bits than it calls valid. Floats are exact.
    let most = match recording.format {
        SampleFormat::Float32 | SampleFormat::Float64 => 0.0,
        format => 0.5f64.powi(i32::from(format.bits())),
    };
    // At full scale a whole step: there is no +1.
    let differs = |(was, is): (&f64, &f64)| (was - is).abs() > if *was > 1.0 - most { 2.0 * most } else { most };
    for (was, is) in recording.channels.iter().zip(&again.recording.channels) {
        assert!(was.len() == is.len() && !was.iter().zip(is).any(differs));
    }
}
