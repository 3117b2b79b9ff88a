//! How a WAV file stores one sample.
//!
//! A format number (1: integers, 3: floats), the bytes of a frame and the bits that are valid say it together.
//! Samples of fewer valid bits than their container has stand in its high bits.
//! Source: as in `wav_header`.

use super::FileError;
use crate::signal::SampleFormat;
use std::path::Path;

/// How one sample lies in its container.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Container {
    Int16,
    Int24,
    Int32,
    Float32,
    Float64,
}

impl Container {
    pub(super) fn bytes(self) -> usize {
        match self {
            Self::Int16 => 2,
            Self::Int24 => 3,
            Self::Int32 | Self::Float32 => 4,
            Self::Float64 => 8,
        }
    }
}

/// The format as it stands in the file.
#[derive(Clone, Copy)]
pub(super) struct Coding {
    pub(super) at: u64,
    pub(super) tag: u16,
    pub(super) channels: u16,
    pub(super) rate_hz: u32,
    pub(super) block_bytes: u16,
    pub(super) valid_bits: u16,
}

impl Coding {
    /// The container of one sample, and how finely it holds it.
    pub(super) fn container(&self, path: &Path) -> Result<(Container, SampleFormat), FileError> {
        let Self { at, tag, channels, block_bytes, valid_bits, .. } = *self;
        let refuse = |byte, found, needed| Err(FileError::WavHeader { path: path.into(), byte, found, needed });
        if channels == 0 {
            return refuse(at + 2, "0 channels".into(), "at least one");
        }
        if block_bytes == 0 || block_bytes % channels != 0 {
            return refuse(
                at + 12,
                format!("{block_bytes} bytes a frame for {channels} channels"),
                "a whole number each",
            );
        }
        let bytes = block_bytes / channels;
        if u32::from(valid_bits) > 8 * u32::from(bytes) {
            return refuse(at + 14, format!("{valid_bits} bits in {bytes} bytes"), "no more bits than the bytes hold");
        }
        match (tag, bytes, valid_bits) {
            (1, 2, 16) => Ok((Container::Int16, SampleFormat::Pcm16)),
            (1, 3, 16) => Ok((Container::Int24, SampleFormat::Pcm16)),
            (1, 3, 17..=24) => Ok((Container::Int24, SampleFormat::Pcm24)),
            (1, 4, 16) => Ok((Container::Int32, SampleFormat::Pcm16)),
            (1, 4, 17..=24) => Ok((Container::Int32, SampleFormat::Pcm24)),
            (1, 4, 25..=32) => Ok((Container::Int32, SampleFormat::Pcm32)),
            (3, 4, 32) => Ok((Container::Float32, SampleFormat::Float32)),
            (3, 8, 64) => Ok((Container::Float64, SampleFormat::Float64)),
            _ => Err(FileError::WavCoding {
                path: path.into(),
                byte: at,
                found: format!("{valid_bits} bits in {bytes} bytes, format number {tag:#06x}"),
            }),
        }
    }
}
