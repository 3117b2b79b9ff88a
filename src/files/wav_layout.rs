//! What stands before the samples of the WAV files we write.
//!
//! A plain header for one or two channels, WAVEFORMATEXTENSIBLE for more; a `fact` chunk with the number of frames for
//! floats. The format's own text asks for the extensible header above 16 bits too, but plain 24-bit files are what every
//! reader understands (Python's `wave` before 3.12 refuses the other).
//! Source: as in `wav_header`.

use super::FileError;
use crate::quantity::SampleRate;
use crate::signal::SampleFormat;
use std::path::Path;

/// What is the same in the whole file.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layout {
    pub(super) rate: SampleRate,
    pub(super) channels: u16,
    pub(super) format: SampleFormat,
}

/// More channels than any converter has; keeps a frame within what its 16-bit length can say.
const MOST_CHANNELS: usize = 1024;
/// Lengths in the header have 32 bits.
pub(super) const MOST_FILE_BYTES: u64 = u32::MAX as u64;

impl Layout {
    pub(super) fn new(path: &Path, rate: SampleRate, channels: usize, format: SampleFormat) -> Result<Self, FileError> {
        if !(1..=MOST_CHANNELS).contains(&channels) {
            return Err(FileError::ChannelCount { path: path.into(), found: channels, most: MOST_CHANNELS });
        }
        Ok(Self { rate, channels: channels as u16, format })
    }

    fn is_float(self) -> bool {
        matches!(self.format, SampleFormat::Float32 | SampleFormat::Float64)
    }

    fn is_extensible(self) -> bool {
        self.channels > 2
    }

    fn block_bytes(self) -> u64 {
        u64::from(self.format.bits() / 8) * u64::from(self.channels)
    }

    pub(super) fn data_bytes(self, frames: u64) -> u64 {
        frames * self.block_bytes()
    }

    /// With the pad byte.
    pub(super) fn file_bytes(self, frames: u64) -> u64 {
        self.header(0).len() as u64 + self.data_bytes(frames).next_multiple_of(2)
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
        let mut chunks = b"WAVE".to_vec();
        add_chunk(&mut chunks, b"fmt ", &fmt);
        if self.is_float() {
            add_chunk(&mut chunks, b"fact", &(frames as u32).to_le_bytes());
        }
        let data_bytes = self.data_bytes(frames);
        chunks.extend(b"data");
        chunks.extend((data_bytes as u32).to_le_bytes());
        let mut header = b"RIFF".to_vec();
        header.extend((chunks.len() as u32 + data_bytes.next_multiple_of(2) as u32).to_le_bytes());
        header.extend(chunks);
        header
    }
}

fn add_chunk(chunks: &mut Vec<u8>, name: &[u8; 4], content: &[u8]) {
    chunks.extend(name);
    chunks.extend((content.len() as u32).to_le_bytes());
    chunks.extend(content);
}
