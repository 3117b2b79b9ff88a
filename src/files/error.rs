//! Why a file could not be used.

use std::path::PathBuf;

/// Why a file could not be read or written.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum FileError {
    #[error("{}: can't {doing}: {}", path.display(), source.to_string().to_lowercase())]
    Io { path: PathBuf, doing: &'static str, source: std::io::Error },
    #[error("{}: exists already", path.display())]
    Exists { path: PathBuf },
    #[error("{}: needs {}, {} are free there", path.display(), bytes_text(*needed_bytes), bytes_text(*free_bytes))]
    NoRoom { path: PathBuf, needed_bytes: u64, free_bytes: u64 },
    #[error("{}: an excitation of {found_s:.0} s, the longest at this rate is {longest_s:.0} s", path.display())]
    ExcitationTooLong { path: PathBuf, found_s: f64, longest_s: f64 },
    #[error("{}: {found_bytes} bytes, the limit for this kind of file is {most_bytes}", path.display())]
    TooLarge { path: PathBuf, found_bytes: u64, most_bytes: u64 },

    #[error("{}: byte {byte}: found {found}, needed {needed}", path.display())]
    WavHeader { path: PathBuf, byte: u64, found: String, needed: &'static str },
    #[error("{}: byte {byte}: samples stored as {found}", path.display())]
    WavCoding { path: PathBuf, byte: u64, found: String },
    #[error("{}: byte {byte}: {source}", path.display())]
    WavRate { path: PathBuf, byte: u64, source: crate::quantity::QuantityError },
    #[error("{}: truncated: holds no sample", path.display())]
    NoSamples { path: PathBuf },
    #[error("{}: frame {frame}, channel {channel}: the sample is {found}, not a finite number", path.display())]
    NotFinite { path: PathBuf, frame: u64, channel: usize, found: f64 },
    #[error("{}: channel {asked} was asked for, the file has {found}", path.display())]
    NoSuchChannel { path: PathBuf, asked: usize, found: usize },
    #[error("{}: channels of {found} and {needed} frames in one recording", path.display())]
    UnequalChannels { path: PathBuf, found: usize, needed: usize },
    #[error("{}: {found} samples are no whole frames of {channels} channels", path.display())]
    HalfFrame { path: PathBuf, found: usize, channels: usize },
    #[error("{}: {found} channels, a file holds 1 to {most}", path.display())]
    ChannelCount { path: PathBuf, found: usize, most: usize },
    #[error("{}: longer than {longest_s:.0} s does not fit into 4 GiB", path.display())]
    WavTooLong { path: PathBuf, longest_s: f64 },

    #[error("{}: line {line}: found {found}, needed {needed}", path.display())]
    Table { path: PathBuf, line: usize, found: String, needed: String },
    #[error("{}: line {line}: found {found}, needed {needed}", path.display())]
    Touchstone { path: PathBuf, line: usize, found: String, needed: String },
    #[error("{}: not text: byte {byte} is {found:#04x}", path.display())]
    NotText { path: PathBuf, byte: usize, found: u8 },
    #[error("{}: a curve needs at least one line of two numbers, found none in {lines} lines", path.display())]
    NoPoints { path: PathBuf, lines: usize },

    #[error("{}: can't be written as text: {says}", path.display())]
    NotWritable { path: PathBuf, says: String },
    #[error("{}: line {line}, column {column}: {says}", path.display())]
    Document { path: PathBuf, line: usize, column: usize, says: String },
    #[error("{}: line {line}, column {column}: {found:?} is not known here{}", path.display(), nearest_text(nearest))]
    UnknownName { path: PathBuf, line: usize, column: usize, found: String, nearest: Option<String> },
    #[error("{}: line {line}: {key} is {found}, needed {needed}", path.display())]
    Value { path: PathBuf, line: usize, key: String, found: String, needed: String },
}

fn nearest_text(nearest: &Option<String>) -> String {
    nearest.as_ref().map_or_else(String::new, |name| format!(", did you mean {name:?}?"))
}

/// Bytes as people say them.
fn bytes_text(bytes: u64) -> String {
    match bytes as f64 {
        bytes if bytes >= 1e9 => format!("{:.1} GB", bytes / 1e9),
        bytes => format!("{:.1} MB", bytes / 1e6),
    }
}

impl FileError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Io { source, .. } => io_advice(source.kind()),
            Self::Exists { .. } => "choose another name, or move the old file away",
            Self::NoRoom { .. } => "make room on the disk, or choose another folder",
            Self::ExcitationTooLong { .. } => "play a shorter sweep, several times if the noise asks for it",
            Self::TooLarge { .. } => "check that this is the file you meant",
            Self::WavHeader { .. } => "check that this is a WAV file and that it was copied whole",
            Self::WavCoding { .. } => "store it as WAV with 16, 24 or 32-bit integers or as floating point",
            Self::WavRate { .. } => "record it again at a rate that sound cards have, 44.1 to 192 kHz",
            Self::NoSamples { .. } => "record again; the recorder stopped before the first sample was stored",
            Self::NotFinite { .. } => "find out which program wrote this file, and export it again as 24-bit integers",
            Self::NoSuchChannel { .. } => "give a channel that the file has; channels count from 1",
            Self::UnequalChannels { .. } | Self::HalfFrame { .. } => "give every channel the same number of samples",
            Self::ChannelCount { .. } => "choose the channels that carry the measurement",
            Self::WavTooLong { .. } => "record in several files, or at a lower rate or with fewer channels",
            Self::Table { .. } => "correct that line; a curve has two or three columns: frequency, level, phase",
            Self::Touchstone { .. } => {
                "correct that line; a one-port file has an option line such as # Hz Z RI R 1 and three numbers a line"
            }
            Self::NotText { .. } => "export the curve as a text table, one line for each frequency",
            Self::NoPoints { .. } => "export the curve as a text table: frequency in Hz, level in dB, phase in degrees",
            Self::NotWritable { .. } => "give files and folders names of plain letters",
            Self::Document { .. } => "correct that line, or let the program write the file anew",
            Self::UnknownName { .. } => "correct the name, or take it out",
            Self::Value { .. } => "correct that value",
        }
    }
}

fn io_advice(kind: std::io::ErrorKind) -> &'static str {
    use std::io::ErrorKind;
    match kind {
        ErrorKind::NotFound => "check the name and the folder",
        ErrorKind::PermissionDenied => "check who may read and write there, or choose another folder",
        ErrorKind::StorageFull => "make room on the disk, or choose another folder",
        ErrorKind::IsADirectory => "give a file, not a folder",
        ErrorKind::AlreadyExists | ErrorKind::NotADirectory => "choose another folder; a file has that name",
        _ => "check the disk and the path",
    }
}
