//! What stands before the samples of a WAV file.
//!
//! A RIFF file is a list of chunks: four letters, a length, so many bytes, and a pad byte after an odd length. The
//! chunk `fmt ` says how samples are stored, `data` holds them; in RF64 and BW64 files `ds64` holds the lengths that
//! do not fit into 32 bits. All numbers are little-endian. Samples of fewer valid bits than their container has stand
//! in its high bits.
//!
//! Taken as they come: a missing pad byte; a `data` length of 0 or 0xFFFFFFFF, or beyond the end of the file, as a
//! recorder leaves it that lost its power. Then all that is there counts, and [`CutShort`] says so.
//! Source: "Multimedia Programming Interface and Data Specifications 1.0", IBM and Microsoft 1991; Microsoft's
//! reference of WAVEFORMATEXTENSIBLE; EBU Tech 3306 (RF64); ITU-R BS.2088 (BW64).

use super::FileError;
use super::wav_coding::{Coding, Container};
use crate::quantity::SampleRate;
use crate::signal::SampleFormat;
use std::io::{ErrorKind, Read, Seek, SeekFrom};
use std::path::Path;

/// What a WAV file says of itself, without its samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WavFacts {
    /// Frames a second.
    pub rate: SampleRate,
    /// Samples in a frame.
    pub channels: usize,
    /// Frames that are there.
    pub frames: u64,
    /// How finely samples are stored.
    pub format: SampleFormat,
    /// Present when the header promises another length than the file has.
    pub cut_short: Option<CutShort>,
}

/// How a file differs from what its header promises.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CutShort {
    /// Frames the header promises; absent where it holds no length.
    pub promised_frames: Option<u64>,
    /// Frames that are there.
    pub found_frames: u64,
    /// Bytes at the end that are no whole frame and were left out.
    pub stray_bytes: u64,
}

impl std::fmt::Display for CutShort {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.promised_frames {
            Some(promised) => write!(f, "the header promises {promised} frames, the file holds {}", self.found_frames)?,
            None => write!(f, "the header was never completed, the file holds {} frames", self.found_frames)?,
        }
        if self.stray_bytes > 0 { write!(f, " and {} bytes of a broken one", self.stray_bytes) } else { Ok(()) }
    }
}

/// A header with what the reader needs beside the facts.
#[derive(Debug)]
pub(super) struct Header {
    pub(super) facts: WavFacts,
    pub(super) container: Container,
    pub(super) data_at: u64,
}

/// More chunks than this before the samples are no recording.
const MOST_CHUNKS: usize = 10_000;
/// Stands for a length that is not known or does not fit.
pub(super) const UNKNOWN_LENGTH: u32 = u32::MAX;

/// The header, up to the first sample.
pub(super) fn read_header(source: &mut (impl Read + Seek), path: &Path) -> Result<Header, FileError> {
    Walk::new(source, path)?.header()
}

/// A way through the chunks.
struct Walk<'a, R> {
    source: &'a mut R,
    path: &'a Path,
    file_bytes: u64,
    riff_bytes: u32,
    is_64_bit: bool,
    data_bytes_64: Option<u64>,
}

impl<'a, R: Read + Seek> Walk<'a, R> {
    fn new(source: &'a mut R, path: &'a Path) -> Result<Self, FileError> {
        let file_bytes = source.seek(SeekFrom::End(0)).map_err(|source| io(path, source))?;
        let mut walk = Self { source, path, file_bytes, riff_bytes: 0, is_64_bit: false, data_bytes_64: None };
        let start: [u8; 12] = walk.bytes_at(0, "RIFF and WAVE at the start")?;
        walk.riff_bytes = u32_at(&start, 4);
        walk.is_64_bit = matches!(&start[..4], b"RF64" | b"BW64");
        if !(walk.is_64_bit || &start[..4] == b"RIFF") {
            return Err(walk.refuse(0, letters(&start[..4]), "RIFF, RF64 or BW64"));
        }
        if &start[8..] != b"WAVE" {
            return Err(walk.refuse(8, letters(&start[8..]), "WAVE"));
        }
        Ok(walk)
    }

    fn header(mut self) -> Result<Header, FileError> {
        let mut at = 12;
        let mut coding = None;
        for _ in 0..MOST_CHUNKS {
            let needed = if coding.is_some() { "a data chunk" } else { "a fmt chunk, then a data chunk" };
            let head: [u8; 8] = self.bytes_at(at, needed)?;
            let length = u32_at(&head, 4);
            match &head[..4] {
                b"fmt " => coding = Some(self.coding(at + 8, length)?),
                b"ds64" if self.is_64_bit => {
                    let sizes: [u8; 16] = self.bytes_at(at + 8, "the lengths of a 64-bit file")?;
                    self.data_bytes_64 = Some(u64_at(&sizes, 8));
                }
                b"data" => {
                    let coding = coding.ok_or_else(|| self.refuse(at, "data".into(), "a fmt chunk before it"))?;
                    return self.with_data(coding, at + 8, length);
                }
                _ => {}
            }
            at = self.next_chunk(at + 8 + u64::from(length), length)?;
        }
        Err(self.refuse(at, format!("{MOST_CHUNKS} chunks"), "a data chunk among them"))
    }

    /// Where the chunk after one that ends at `end` begins: behind the pad byte, unless the writer forgot it.
    fn next_chunk(&mut self, end: u64, length: u32) -> Result<u64, FileError> {
        if length.is_multiple_of(2) || end + 9 > self.file_bytes {
            return Ok(end + u64::from(length % 2));
        }
        let seen: [u8; 5] = self.bytes_at(end, "a chunk")?;
        let (unpadded, padded) = (&seen[..4], &seen[1..]);
        let wanted = |id: &[u8]| matches!(id, b"data" | b"fmt ");
        let forgot = !wanted(padded) && (wanted(unpadded) || unpadded.iter().all(|b| (0x20..0x7f).contains(b)));
        Ok(if forgot { end } else { end + 1 })
    }

    fn coding(&mut self, at: u64, length: u32) -> Result<Coding, FileError> {
        if length < 16 {
            return Err(self.refuse(at - 4, format!("a fmt chunk of {length} bytes"), "at least 16"));
        }
        let fmt: [u8; 16] = self.bytes_at(at, "16 bytes of format")?;
        let mut coding = Coding {
            at,
            tag: u16_at(&fmt, 0),
            channels: u16_at(&fmt, 2),
            rate_hz: u32_at(&fmt, 4),
            block_bytes: u16_at(&fmt, 12),
            valid_bits: u16_at(&fmt, 14),
        };
        const EXTENSIBLE: u16 = 0xfffe;
        if coding.tag == EXTENSIBLE {
            if length < 40 {
                return Err(self.refuse(at - 4, format!("an extensible fmt chunk of {length} bytes"), "at least 40"));
            }
            let more: [u8; 24] = self.bytes_at(at + 16, "24 bytes of extensible format")?;
            // Everything after the first two bytes is the same for all plain formats.
            const PLAIN: [u8; 14] = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71];
            if more[10..] != PLAIN {
                return Err(FileError::WavCoding {
                    path: self.path.into(),
                    byte: at + 24,
                    found: "an extensible format of its own".into(),
                });
            }
            coding.tag = u16_at(&more, 8);
            // 0 is written by some programs for "all of them".
            if u16_at(&more, 2) != 0 {
                coding.valid_bits = u16_at(&more, 2);
            }
        }
        Ok(coding)
    }

    fn with_data(&self, coding: Coding, data_at: u64, length: u32) -> Result<Header, FileError> {
        let rate = SampleRate::new(coding.rate_hz).map_err(|source| FileError::WavRate {
            path: self.path.into(),
            byte: coding.at + 4,
            source,
        })?;
        let (container, format) = coding.container(self.path)?;
        let available = self.file_bytes - data_at;
        let block = u64::from(coding.block_bytes);
        let promised = match (length, self.data_bytes_64) {
            (UNKNOWN_LENGTH, None | Some(0)) => None,
            (UNKNOWN_LENGTH, Some(bytes)) => Some(bytes),
            // A closed file without samples names its own length; a file that was never closed does not.
            (0, _) if u64::from(self.riff_bytes) + 8 != self.file_bytes => None,
            (bytes, _) => Some(u64::from(bytes)),
        };
        let present = promised.unwrap_or(available).min(available);
        let frames = present / block;
        let stray_bytes = present % block;
        if frames == 0 {
            return Err(FileError::NoSamples { path: self.path.into() });
        }
        let is_whole = promised.is_some_and(|bytes| bytes <= available) && stray_bytes == 0;
        let cut_short = (!is_whole).then(|| CutShort {
            promised_frames: promised.map(|bytes| bytes / block),
            found_frames: frames,
            stray_bytes,
        });
        let channels = usize::from(coding.channels);
        Ok(Header { facts: WavFacts { rate, channels, frames, format, cut_short }, container, data_at })
    }

    fn bytes_at<const N: usize>(&mut self, at: u64, needed: &'static str) -> Result<[u8; N], FileError> {
        let mut bytes = [0; N];
        let read = self.source.seek(SeekFrom::Start(at)).and_then(|_| self.source.read_exact(&mut bytes));
        match read {
            Ok(()) => Ok(bytes),
            Err(error) if error.kind() == ErrorKind::UnexpectedEof => {
                Err(self.refuse(at, format!("the end of the file ({} bytes, truncated)", self.file_bytes), needed))
            }
            Err(error) => Err(io(self.path, error)),
        }
    }

    fn refuse(&self, byte: u64, found: String, needed: &'static str) -> FileError {
        FileError::WavHeader { path: self.path.into(), byte, found, needed }
    }
}

fn io(path: &Path, source: std::io::Error) -> FileError {
    FileError::Io { path: path.into(), doing: "read it", source }
}

fn letters(bytes: &[u8]) -> String {
    format!("\"{}\"", bytes.escape_ascii())
}

fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([bytes[at], bytes[at + 1]])
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from(u16_at(bytes, at)) | u32::from(u16_at(bytes, at + 2)) << 16
}

fn u64_at(bytes: &[u8], at: usize) -> u64 {
    u64::from(u32_at(bytes, at)) | u64::from(u32_at(bytes, at + 4)) << 32
}
