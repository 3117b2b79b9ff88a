//! Samples of a WAV file, in bulk.
//!
//! ```text
//! x = i / 2^(b−1)        b: bits of the container
//! ```
//!
//! Our own reader, because the general ones refuse or misread files that bench recorders leave: unfinished headers,
//! odd chunks without pad byte, 24 bits in 32, more than 4 GiB. Memory is bounded by the length of the file, never by
//! what the header claims.

use super::FileError;
use super::wav_coding::Container;
use super::wav_header::{CutShort, Header, WavFacts, read_header};
use crate::signal::Recording;
use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::ops::Range;
use std::path::{Path, PathBuf};

/// A recording as it lay on the disk.
#[derive(Debug, Clone, PartialEq)]
pub struct WavFile {
    /// Its samples.
    pub recording: Recording,
    /// Present when the file is shorter than its header promises, or was never completed.
    pub cut_short: Option<CutShort>,
}

/// Which channels to keep.
#[derive(Debug, Clone, Copy)]
pub enum Keep<'a> {
    /// All.
    All,
    /// These, counted from 0, in this order.
    These(&'a [usize]),
}

/// All channels of a WAV file.
///
/// # Errors
/// [`FileError`] with the byte at fault when it is no WAV file, holds no sample or a sample that is no number.
pub fn read_wav(path: &Path) -> Result<WavFile, FileError> {
    read_wav_from(&mut open(path)?, path, Keep::All)
}

/// Some channels of a WAV file, counted from 0; the others take no memory.
///
/// # Errors
/// As [`read_wav`], and [`FileError::NoSuchChannel`].
pub fn read_wav_channels(path: &Path, channels: &[usize]) -> Result<WavFile, FileError> {
    read_wav_from(&mut open(path)?, path, Keep::These(channels))
}

/// Rate, channels, length and format of a WAV file, from its header alone.
///
/// # Errors
/// As [`read_wav`], but no sample is looked at.
pub fn wav_facts(path: &Path) -> Result<WavFacts, FileError> {
    read_header(&mut open(path)?, path).map(|header| header.facts)
}

/// A WAV file from anything that can be read and wound; `path` is only its name in messages.
///
/// # Errors
/// As [`read_wav`].
pub fn read_wav_from(source: &mut (impl Read + Seek), path: &Path, keep: Keep<'_>) -> Result<WavFile, FileError> {
    let header = read_header(source, path)?;
    let all: Vec<usize> = (0..header.facts.channels).collect();
    let kept = match keep {
        Keep::All => &all[..],
        Keep::These(channels) => channels,
    };
    if let Some(&channel) = kept.iter().find(|&&channel| channel >= header.facts.channels) {
        return Err(FileError::NoSuchChannel { path: path.into(), asked: channel + 1, found: header.facts.channels });
    }
    let channels = samples(source, path, &header, kept, 0..header.facts.frames)?;
    let recording = Recording { rate: header.facts.rate, channels, format: header.facts.format };
    Ok(WavFile { recording, cut_short: header.facts.cut_short })
}

fn open(path: &Path) -> Result<BufReader<File>, FileError> {
    File::open(path).map(BufReader::new).map_err(|source| FileError::Io { path: path.into(), doing: "open it", source })
}

/// A WAV file that is read stretch by stretch, for one that is longer than what counts of it.
pub struct WavStretches {
    source: BufReader<File>,
    path: PathBuf,
    header: Header,
}

impl WavStretches {
    /// Opens a file; no sample is read yet.
    ///
    /// # Errors
    /// As [`wav_facts`].
    pub fn open(path: &Path) -> Result<Self, FileError> {
        let mut source = open(path)?;
        let header = read_header(&mut source, path)?;
        Ok(Self { source, path: path.into(), header })
    }

    /// What it says of itself.
    pub fn facts(&self) -> WavFacts {
        self.header.facts
    }

    /// Some channels (from 0) of a range of frames, as far as the file has them.
    ///
    /// # Errors
    /// As [`read_wav_channels`].
    pub fn read(&mut self, channels: &[usize], frames: Range<u64>) -> Result<WavFile, FileError> {
        let facts = self.header.facts;
        if let Some(&channel) = channels.iter().find(|&&channel| channel >= facts.channels) {
            return Err(FileError::NoSuchChannel {
                path: self.path.clone(),
                asked: channel + 1,
                found: facts.channels,
            });
        }
        let there = frames.start.min(facts.frames)..frames.end.min(facts.frames);
        let channels = samples(&mut self.source, &self.path, &self.header, channels, there)?;
        Ok(WavFile {
            recording: Recording { rate: facts.rate, channels, format: facts.format },
            cut_short: facts.cut_short,
        })
    }
}

/// Frames converted at a time: fits the processor's cache at any usual number of channels.
const FRAMES_AT_A_TIME: u64 = 8192;

fn samples(
    source: &mut (impl Read + Seek),
    path: &Path,
    header: &Header,
    kept: &[usize],
    range: Range<u64>,
) -> Result<Vec<Vec<f64>>, FileError> {
    let io = |source| FileError::Io { path: path.into(), doing: "read it", source };
    let (first, frames) = (range.start, range.end.saturating_sub(range.start));
    let block = header.container.bytes() * header.facts.channels;
    let mut channels = vec![Vec::new(); kept.len()];
    for channel in &mut channels {
        let room = usize::try_from(frames).ok().and_then(|frames| channel.try_reserve_exact(frames).ok());
        room.ok_or_else(|| io(std::io::ErrorKind::OutOfMemory.into()))?;
    }
    source.seek(SeekFrom::Start(header.data_at + first * block as u64)).map_err(io)?;
    let mut bytes = vec![0; FRAMES_AT_A_TIME.min(frames) as usize * block];
    let mut done = 0;
    while done < frames {
        let now = (frames - done).min(FRAMES_AT_A_TIME) as usize;
        let piece = &mut bytes[..now * block];
        source.read_exact(piece).map_err(io)?;
        for (samples, &channel) in channels.iter_mut().zip(kept) {
            convert(piece, block, channel, header.container, samples);
            let fresh = &samples[done as usize..];
            if let Some(at) = fresh.iter().position(|sample| !sample.is_finite()) {
                let (frame, found) = (first + done + at as u64, fresh[at]);
                return Err(FileError::NotFinite { path: path.into(), frame, channel: channel + 1, found });
            }
        }
        done += now as u64;
    }
    Ok(channels)
}

fn convert(bytes: &[u8], block: usize, channel: usize, container: Container, samples: &mut Vec<f64>) {
    let at = channel * container.bytes();
    let frames = bytes.chunks_exact(block);
    const STEP_16: f64 = 1.0 / (1u32 << 15) as f64;
    const STEP_32: f64 = 1.0 / (1u32 << 31) as f64;
    match container {
        Container::Int16 => {
            samples.extend(frames.map(|f| f64::from(i16::from_le_bytes([f[at], f[at + 1]])) * STEP_16));
        }
        // Into the high bytes of 32, so that the sign comes right and the full scale is the same.
        Container::Int24 => {
            let wide = |f: &[u8]| i32::from_le_bytes([0, f[at], f[at + 1], f[at + 2]]);
            samples.extend(frames.map(|f| f64::from(wide(f)) * STEP_32));
        }
        Container::Int32 => {
            samples.extend(frames.map(|f| f64::from(i32::from_le_bytes(four(f, at))) * STEP_32));
        }
        Container::Float32 => samples.extend(frames.map(|f| f64::from(f32::from_le_bytes(four(f, at))))),
        Container::Float64 => samples.extend(frames.map(|f| {
            let (low, high) = (four(f, at), four(f, at + 4));
            f64::from_bits(u64::from(u32::from_le_bytes(low)) | u64::from(u32::from_le_bytes(high)) << 32)
        })),
    }
}

fn four(frame: &[u8], at: usize) -> [u8; 4] {
    [frame[at], frame[at + 1], frame[at + 2], frame[at + 3]]
}
