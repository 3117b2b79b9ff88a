//! What stands before the samples of the WAV files we write.
//!
//! A plain header for one or two channels, WAVEFORMATEXTENSIBLE for more; a `fact` chunk with the number of frames for
//! floats. The format's own text asks for the extensible header above 16 bits too, but plain 24-bit files are what every
//! reader understands (Python's `wave` before 3.12 refuses the other).
//!
//! What may become longer than 4 GiB has a `JUNK` chunk in front, as long as a `ds64`. Once the lengths no longer fit into 32 bits
//! the file becomes RF64: `RIFF` turns into `RF64`, `JUNK` into `ds64` with the lengths in 64 bits, and the old places say 0xFFFFFFFF.
//! Source: as in `wav_header`; EBU Tech 3306, "achieving compatibility between RIFF and RF64".

use super::FileError;
use super::wav_header::UNKNOWN_LENGTH;
use crate::quantity::SampleRate;
use crate::signal::SampleFormat;
use std::path::Path;

/// What is the same in the whole file.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layout {
    pub(super) rate: SampleRate,
    pub(super) channels: u16,
    pub(super) format: SampleFormat,
    pub(super) lengths: Lengths,
}

/// How long the file can become.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lengths {
    /// 4 GiB, with the plainest header.
    Bits32,
    /// Any length: there is room for lengths of 64 bits.
    Bits64,
}

/// More channels than any converter has; keeps a frame within what its 16-bit length can say.
const MOST_CHANNELS: usize = 1024;
/// What lengths of 32 bits in the header can say.
const MOST_FILE_BYTES: u64 = u32::MAX as u64;
/// Lengths of file and data, the number of frames, and a table without entries.
const DS64_BYTES: usize = 28;

impl Layout {
    pub(super) fn new(
        path: &Path,
        rate: SampleRate,
        channels: usize,
        format: SampleFormat,
        lengths: Lengths,
    ) -> Result<Self, FileError> {
        if !(1..=MOST_CHANNELS).contains(&channels) {
            return Err(FileError::ChannelCount { path: path.into(), found: channels, most: MOST_CHANNELS });
        }
        Ok(Self { rate, channels: channels as u16, format, lengths })
    }

    fn is_float(self) -> bool {
        matches!(self.format, SampleFormat::Float32 | SampleFormat::Float64)
    }

    fn is_extensible(self) -> bool {
        self.channels > 2
    }

    pub(super) fn block_bytes(self) -> u64 {
        u64::from(self.format.bits() / 8) * u64::from(self.channels)
    }

    pub(super) fn data_bytes(self, frames: u64) -> u64 {
        frames * self.block_bytes()
    }

    /// With the pad byte.
    pub(super) fn file_bytes(self, frames: u64) -> u64 {
        self.header(0).len() as u64 + self.data_bytes(frames).next_multiple_of(2)
    }

    /// Whether so many frames have room.
    pub(super) fn holds(self, frames: u64) -> bool {
        self.lengths == Lengths::Bits64 || self.file_bytes(frames) <= MOST_FILE_BYTES
    }

    pub(super) fn longest_s(self) -> f64 {
        MOST_FILE_BYTES as f64 / (self.block_bytes() as f64 * self.rate.hz())
    }

    /// Everything before the first sample.
    pub(super) fn header(self, frames: u64) -> Vec<u8> {
        let tag: u16 = if self.is_float() { 3 } else { 1 };
        let (bits, rate_hz) = (self.format.bits(), self.rate.whole_hz());
        let mut fmt = Vec::new();
        fmt.extend(if self.is_extensible() { 0xfffe } else { tag }.to_le_bytes());
        fmt.extend(self.channels.to_le_bytes());
        fmt.extend(rate_hz.to_le_bytes());
        fmt.extend(rate_hz.saturating_mul(self.block_bytes() as u32).to_le_bytes());
        fmt.extend((self.block_bytes() as u16).to_le_bytes());
        fmt.extend(bits.to_le_bytes());
        if self.is_extensible() {
            fmt.extend(22u16.to_le_bytes());
            fmt.extend(bits.to_le_bytes());
            // No loudspeaker positions: these are measuring channels.
            fmt.extend(0u32.to_le_bytes());
            fmt.extend(tag.to_le_bytes());
            fmt.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71]);
        }
        let data_bytes = self.data_bytes(frames);
        let mut rest = Vec::new();
        add_chunk(&mut rest, b"fmt ", &fmt);
        if self.is_float() {
            add_chunk(&mut rest, b"fact", &u32::try_from(frames).unwrap_or(UNKNOWN_LENGTH).to_le_bytes());
        }
        rest.extend(b"data");
        rest.extend(u32::try_from(data_bytes).unwrap_or(UNKNOWN_LENGTH).to_le_bytes());
        let room = if self.lengths == Lengths::Bits64 { 8 + DS64_BYTES } else { 0 };
        let riff_bytes = (b"WAVE".len() + room + rest.len()) as u64 + data_bytes.next_multiple_of(2);
        let is_long = riff_bytes + 8 > MOST_FILE_BYTES;
        let mut header = if is_long { b"RF64" } else { b"RIFF" }.to_vec();
        header.extend(if is_long { UNKNOWN_LENGTH } else { riff_bytes as u32 }.to_le_bytes());
        header.extend(b"WAVE");
        if self.lengths == Lengths::Bits64 {
            let mut lengths = [riff_bytes, data_bytes, frames].map(u64::to_le_bytes).concat();
            lengths.extend(0u32.to_le_bytes());
            let (name, content) = if is_long { (b"ds64", lengths) } else { (b"JUNK", vec![0; DS64_BYTES]) };
            add_chunk(&mut header, name, &content);
        }
        header.extend(rest);
        if is_long {
            // All lengths are where a reader of RF64 looks for them.
            let end = header.len();
            header[end - 4..].copy_from_slice(&UNKNOWN_LENGTH.to_le_bytes());
        }
        header
    }
}

fn add_chunk(chunks: &mut Vec<u8>, name: &[u8; 4], content: &[u8]) {
    chunks.extend(name);
    chunks.extend((content.len() as u32).to_le_bytes());
    chunks.extend(content);
}
