//! WAV files that are readable at any moment of their making.
//!
//! ```text
//! i = round(x·2^(b−1)), held within −2^(b−1) … 2^(b−1)−1
//! ```
//!
//! b: bits. Plain rounding without dither, so that the same signal makes the same file; its noise at 24 bits lies
//! 146 dB below full scale. Samples go to `NAME.wav.part`; at least once in a second of audio they and a header that
//! counts them go to the system, which keeps them when the program is killed, and every few seconds to the disk itself, which keeps
//! them when the power fails (`steady`). `finish` gives it its name, and never one that exists. A full disk keeps every whole frame that it took.
//! Whoever writes holds a lock on the `.part`, so that others can tell a recording that goes on from one that broke off. The header is
//! plain for one or two channels, WAVEFORMATEXTENSIBLE for more.
//! Source of the layout: as in `wav_header`.

use super::FileError;
use super::safe::{open_new, part_of, rename_new, replace};
use super::steady::Steady;
use super::wav_layout::{Layout, Lengths};
use crate::quantity::SampleRate;
use crate::signal::{Recording, SampleFormat};
use std::fs::{File, TryLockError};
use std::io::{Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// A WAV file in the making.
#[derive(Debug)]
pub struct WavWriter {
    file: File,
    path: PathBuf,
    part: PathBuf,
    layout: Layout,
    waiting: Vec<u8>,
    written: Written,
    on_disk_bytes: u64,
    counted_frames: u64,
    steady: Steady,
}

/// What was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Written {
    /// Frames.
    pub frames: u64,
    /// Samples that were beyond full scale and were held at it; always 0 for floats.
    pub clipped: u64,
}

impl WavWriter {
    /// A file that will be `path` when it is finished.
    ///
    /// # Errors
    /// [`FileError::Exists`] when `path` or its `.part` exists; [`FileError::ChannelCount`]; [`FileError::Io`].
    pub fn create_new(path: &Path, rate: SampleRate, channels: usize, format: SampleFormat) -> Result<Self, FileError> {
        Self::create_as(path, Layout::new(path, rate, channels, format, Lengths::Bits32)?)
    }

    /// The same for a recording that may have so many frames: beyond 4 GiB it becomes an RF64 file.
    ///
    /// # Errors
    /// As [`Self::create_new`].
    pub fn create_new_of(
        path: &Path,
        rate: SampleRate,
        channels: usize,
        format: SampleFormat,
        frames: u64,
    ) -> Result<Self, FileError> {
        let plain = Layout::new(path, rate, channels, format, Lengths::Bits32)?;
        let lengths = if plain.holds(frames) { Lengths::Bits32 } else { Lengths::Bits64 };
        Self::create_as(path, Layout { lengths, ..plain })
    }

    fn create_as(path: &Path, layout: Layout) -> Result<Self, FileError> {
        if path.symlink_metadata().is_ok() {
            return Err(FileError::Exists { path: path.into() });
        }
        let part = part_of(path);
        let file = open_new(&part)?;
        // Between looking and claiming another recording may have come to its end and to this name.
        if path.symlink_metadata().is_ok() {
            let _ = std::fs::remove_file(&part);
            return Err(FileError::Exists { path: path.into() });
        }
        lock(&file);
        let mut writer = Self {
            file,
            path: path.into(),
            part,
            layout,
            waiting: layout.header(0),
            written: Written::default(),
            on_disk_bytes: 0,
            counted_frames: 0,
            steady: Steady::new(),
        };
        match writer.put() {
            Ok(()) => Ok(writer),
            Err(source) => {
                // It holds nothing, and would keep the name from others.
                let _ = std::fs::remove_file(&writer.part);
                Err(writer.io(source))
            }
        }
    }

    /// Where the samples are until the file is finished.
    pub fn part_path(&self) -> &Path {
        &self.part
    }

    /// What was written so far.
    pub fn written(&self) -> Written {
        self.written
    }

    /// Adds whole frames, the channels of each frame side by side.
    ///
    /// # Errors
    /// [`FileError::HalfFrame`], [`FileError::NotFinite`] and [`FileError::WavTooLong`] before anything of this call
    /// is written, so that the file can still be finished; [`FileError::Io`].
    pub fn write_f32(&mut self, interleaved: &[f32]) -> Result<(), FileError> {
        self.write(interleaved.iter().map(|&sample| f64::from(sample)))
    }

    /// As [`Self::write_f32`], from 64-bit floats.
    ///
    /// # Errors
    /// As [`Self::write_f32`].
    pub fn write_f64(&mut self, interleaved: &[f64]) -> Result<(), FileError> {
        self.write(interleaved.iter().copied())
    }

    fn write(&mut self, samples: impl ExactSizeIterator<Item = f64> + Clone) -> Result<(), FileError> {
        let path = || self.path.clone();
        let channels = usize::from(self.layout.channels);
        if !samples.len().is_multiple_of(channels) {
            return Err(FileError::HalfFrame { path: path(), found: samples.len(), channels });
        }
        let frames = (samples.len() / channels) as u64;
        if !self.layout.holds(self.written.frames + frames) {
            return Err(FileError::WavTooLong { path: path(), longest_s: self.layout.longest_s() });
        }
        if let Some((at, found)) = samples.clone().enumerate().find(|(_, sample)| !sample.is_finite()) {
            let (frame, channel) = (self.written.frames + (at / channels) as u64, at % channels + 1);
            return Err(FileError::NotFinite { path: path(), frame, channel, found });
        }
        self.written.clipped += encode(samples, self.layout.format, &mut self.waiting);
        self.written.frames += frames;
        let is_due = self.written.frames - self.counted_frames >= u64::from(self.layout.rate.whole_hz()) / 2;
        if is_due { self.save().map_err(|source| self.io(source)) } else { Ok(()) }
    }

    /// Brings everything to the system now, the header included.
    fn save(&mut self) -> std::io::Result<()> {
        self.put()?;
        self.count()?;
        self.steady.keep(&self.file);
        Ok(())
    }

    /// Writes the header for the frames that are there.
    fn count(&mut self) -> std::io::Result<()> {
        self.file.seek(SeekFrom::Start(0))?;
        self.file.write_all(&self.layout.header(self.written.frames))?;
        self.counted_frames = self.written.frames;
        Ok(())
    }

    fn put(&mut self) -> std::io::Result<()> {
        // A write that failed half-way has moved the place.
        self.file.seek(SeekFrom::Start(self.on_disk_bytes))?;
        self.file.write_all(&self.waiting)?;
        self.on_disk_bytes += self.waiting.len() as u64;
        self.waiting.clear();
        Ok(())
    }

    /// On a disk that takes no more: the whole frames that are there, counted, and nothing behind them.
    fn keep_what_is_there(&mut self) -> std::io::Result<()> {
        let header_bytes = self.layout.header(0).len() as u64;
        let there_bytes = self.file.metadata()?.len();
        let frames = there_bytes.saturating_sub(header_bytes) / self.layout.block_bytes();
        self.written.frames = frames.min(self.written.frames);
        self.waiting.clear();
        self.on_disk_bytes = header_bytes + self.layout.data_bytes(self.written.frames);
        self.file.set_len(self.on_disk_bytes)?;
        self.count()?;
        self.file.sync_all()
    }

    /// Brings everything to the disk. Where that takes no more, every whole frame that it took stays, and [`Self::written`] counts them; the
    /// file keeps its name of `.part`.
    ///
    /// # Errors
    /// [`FileError::Io`] when something was lost.
    pub fn settle(&mut self) -> Result<(), FileError> {
        self.save().and_then(|()| self.file.sync_all()).map_err(|source| {
            // What this can't do either, nobody can; the header counts what was there half a second before.
            let _ = self.keep_what_is_there();
            self.io(source)
        })
    }

    /// Completes the file and gives it its name.
    ///
    /// # Errors
    /// [`FileError::Exists`] when somebody took the name meanwhile: the recording then stays whole in its `.part`.
    /// [`FileError::Io`].
    pub fn finish(mut self) -> Result<Written, FileError> {
        self.settle()?;
        if self.layout.data_bytes(self.written.frames) % 2 == 1 {
            // The samples are whole without the pad byte.
            let _ = self.file.seek(SeekFrom::Start(self.on_disk_bytes)).and_then(|_| self.file.write_all(&[0]));
            let _ = self.file.sync_all();
        }
        rename_new(&self.part, &self.path)?;
        Ok(self.written)
    }

    fn io(&self, source: std::io::Error) -> FileError {
        FileError::Io { path: self.part.clone(), doing: "write it", source }
    }
}

/// Takes the recorder's lock. Who looks whether it is held holds it for a moment; not every disk knows locks, and a recording is not refused
/// for that.
fn lock(file: &File) {
    const TRIES: usize = 50;
    const BETWEEN: std::time::Duration = std::time::Duration::from_millis(2);
    for _ in 0..TRIES {
        match file.try_lock() {
            Err(TryLockError::WouldBlock) => std::thread::sleep(BETWEEN),
            _ => return,
        }
    }
}

impl Drop for WavWriter {
    /// A writer that is let go of leaves its `.part` complete up to the last sample.
    fn drop(&mut self) {
        if self.counted_frames != self.written.frames {
            let _ = self.save().or_else(|_| self.keep_what_is_there());
        }
    }
}

/// Writes a recording to a file that did not exist.
///
/// # Errors
/// As [`WavWriter::create_new`] and [`WavWriter::write_f32`]; [`FileError::UnequalChannels`].
pub fn write_wav_new(path: &Path, recording: &Recording) -> Result<Written, FileError> {
    let (bytes, written) = wav_bytes(path, recording)?;
    super::safe::create_new(path, &bytes)?;
    Ok(written)
}

/// Writes a recording, a result, in place of what was there.
///
/// # Errors
/// As [`write_wav_new`], but never [`FileError::Exists`].
pub fn replace_wav(path: &Path, recording: &Recording) -> Result<Written, FileError> {
    let (bytes, written) = wav_bytes(path, recording)?;
    replace(path, &bytes)?;
    Ok(written)
}

/// A whole WAV file in memory; `path` is only its name in messages.
///
/// # Errors
/// As [`write_wav_new`], but never [`FileError::Io`] or [`FileError::Exists`].
pub fn wav_bytes(path: &Path, recording: &Recording) -> Result<(Vec<u8>, Written), FileError> {
    let layout = Layout::new(path, recording.rate, recording.channels.len(), recording.format, Lengths::Bits32)?;
    let needed = recording.frames();
    if let Some(odd) = recording.channels.iter().find(|channel| channel.len() != needed) {
        return Err(FileError::UnequalChannels { path: path.into(), found: odd.len(), needed });
    }
    let frames = needed as u64;
    if !layout.holds(frames) {
        return Err(FileError::WavTooLong { path: path.into(), longest_s: layout.longest_s() });
    }
    for (channel, samples) in recording.channels.iter().enumerate() {
        if let Some(at) = samples.iter().position(|sample| !sample.is_finite()) {
            let (frame, channel, found) = (at as u64, channel + 1, samples[at]);
            return Err(FileError::NotFinite { path: path.into(), frame, channel, found });
        }
    }
    let mut bytes = layout.header(frames);
    let mut clipped = 0;
    for frame in 0..needed {
        clipped += encode(recording.channels.iter().map(|channel| channel[frame]), recording.format, &mut bytes);
    }
    if layout.data_bytes(frames) % 2 == 1 {
        bytes.push(0);
    }
    Ok((bytes, Written { frames, clipped }))
}

/// Adds samples in their stored form; the number of those held at full scale.
fn encode(samples: impl Iterator<Item = f64>, format: SampleFormat, bytes: &mut Vec<u8>) -> u64 {
    let mut clipped = 0;
    for sample in samples {
        let mut whole = |bits: i32| {
            clipped += u64::from(sample.abs() > 1.0);
            let full = 2f64.powi(bits - 1);
            (sample * full).round().clamp(-full, full - 1.0) as i32
        };
        match format {
            SampleFormat::Pcm16 => bytes.extend_from_slice(&whole(16).to_le_bytes()[..2]),
            SampleFormat::Pcm24 => bytes.extend_from_slice(&whole(24).to_le_bytes()[..3]),
            SampleFormat::Pcm32 => bytes.extend_from_slice(&whole(32).to_le_bytes()),
            SampleFormat::Float32 => bytes.extend_from_slice(&(sample as f32).to_le_bytes()),
            SampleFormat::Float64 => bytes.extend_from_slice(&sample.to_le_bytes()),
        }
    }
    clipped
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::wav_facts;

    const BLOCK_BYTES: u64 = 32;

    /// As far as a header of 32 bits goes; 8 channels of floats, 32 bytes a frame.
    fn nearly_full(path: &Path, lengths: Lengths) -> (WavWriter, u64) {
        let rate = SampleRate::new(192_000).unwrap();
        let layout = Layout::new(path, rate, 8, SampleFormat::Float32, lengths).unwrap();
        let mut writer = WavWriter::create_as(path, layout).unwrap();
        let header_bytes = writer.layout.header(0).len() as u64;
        let fits = (u64::from(u32::MAX) - header_bytes) / BLOCK_BYTES;
        writer.written.frames = fits - 1;
        writer.counted_frames = fits - 1;
        writer.on_disk_bytes = header_bytes + (fits - 1) * BLOCK_BYTES;
        (writer, fits)
    }

    #[test]
    fn what_does_not_fit_into_four_gigabytes_is_refused_before_it_is_written() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("long.wav");
        let (mut writer, fits) = nearly_full(&path, Lengths::Bits32);
        writer.write_f32(&[0.25; 8]).unwrap();
        assert_eq!(writer.written.frames, fits);
        let error = writer.write_f32(&[0.25; 8]).unwrap_err();
        let expected = format!("{}: longer than 699 s does not fit into 4 GiB", path.display());
        assert_eq!(error.to_string(), expected);
        assert_eq!(writer.written.frames, fits);
        // The lengths in the header still have room.
        let header = writer.layout.header(fits);
        let riff_bytes = u32::from_le_bytes([header[4], header[5], header[6], header[7]]);
        assert_eq!(u64::from(riff_bytes) + 8, header.len() as u64 + fits * BLOCK_BYTES);
        // The disk is spared what was never there.
        std::mem::forget(writer);
    }

    /// The bytes at fixed places are those of EBU Tech 3306: `RF64`, −1, `WAVE`, `ds64`, 28, length of RIFF, of data, frames.
    #[test]
    fn past_four_gigabytes_it_becomes_rf64_without_a_sample_moving() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("long.wav");
        let (mut writer, fits) = nearly_full(&path, Lengths::Bits64);
        writer.write_f32(&[0.25; 8]).unwrap();
        let before = writer.layout.header(fits);
        assert_eq!((&before[..4], &before[12..16]), (&b"RIFF"[..], &b"JUNK"[..]));
        writer.write_f32(&[-0.5; 24]).unwrap();
        // Sparse: what lies before is a hole.
        writer.finish().unwrap();
        let mut file = File::open(&path).unwrap();
        let mut header = vec![0; before.len()];
        std::io::Read::read_exact(&mut file, &mut header).unwrap();
        let number = |at: usize| u64::from_le_bytes(header[at..at + 8].try_into().unwrap());
        let (frames, file_bytes) = (fits + 3, file.metadata().unwrap().len());
        assert_eq!((&header[..8], &header[8..16]), (&b"RF64\xff\xff\xff\xff"[..], &b"WAVEds64"[..]));
        assert_eq!(header[16..20], 28u32.to_le_bytes());
        assert_eq!([number(20), number(28), number(36)], [file_bytes - 8, frames * BLOCK_BYTES, frames]);
        assert_eq!(header[header.len() - 8..], *b"data\xff\xff\xff\xff");
        assert_eq!(file_bytes, header.len() as u64 + frames * BLOCK_BYTES);
        let facts = wav_facts(&path).unwrap();
        assert_eq!((facts.frames, facts.channels, facts.cut_short), (frames, 8, None));
    }
}
