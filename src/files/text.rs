//! Text from the encodings that measuring programs use.
//!
//! A byte-order mark decides (UTF-8, UTF-16); without one it is UTF-8 if it can be, else Windows-1252, which holds
//! Latin-1's letters. Source: the encoding standard, encoding.spec.whatwg.org, by the crate `encoding_rs`.

use super::FileError;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// No text table or result is longer than this; more is some other file.
pub(super) const MOST_TEXT_BYTES: u64 = 48 << 20;
/// What people type, and what lies beside a WAV, is shorter: a parsed document takes many times the memory of its text.
pub(super) const MOST_TYPED_BYTES: u64 = 1 << 20;
/// A result with all its curves is a tenth of this; parsed without knowing what is in it, it takes forty times its text.
const MOST_RESULT_BYTES: u64 = 4 << 20;

/// The bytes of a file of text, no more than that.
pub(super) fn read_bounded(path: &Path, most_bytes: u64) -> Result<Vec<u8>, FileError> {
    let io = |source| FileError::Io { path: path.into(), doing: "read it", source };
    let file = File::open(path).map_err(io)?;
    let found_bytes = file.metadata().map_err(io)?.len();
    let too_large = |found_bytes| FileError::TooLarge { path: path.into(), found_bytes, most_bytes };
    if found_bytes > most_bytes {
        return Err(too_large(found_bytes));
    }
    let mut bytes = Vec::new();
    // Once more at the source: a pipe has no length.
    file.take(most_bytes + 1).read_to_end(&mut bytes).map_err(io)?;
    if bytes.len() as u64 > most_bytes { Err(too_large(bytes.len() as u64)) } else { Ok(bytes) }
}

/// The text that the bytes stand for.
pub(super) fn decode(bytes: &[u8], path: &Path) -> Result<String, FileError> {
    let (encoding, mark) = encoding_rs::Encoding::for_bom(bytes).unwrap_or_else(|| {
        let plain = std::str::from_utf8(bytes).is_ok();
        (if plain { encoding_rs::UTF_8 } else { encoding_rs::WINDOWS_1252 }, 0)
    });
    let wide = matches!(encoding.name(), "UTF-16LE" | "UTF-16BE");
    // Text holds no control characters but tab, line ends and form feed; UTF-16 is full of zero bytes.
    let is_control = |byte: u8| byte < 0x20 && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0c | 0x1a);
    if let Some(at) = bytes.iter().position(|&byte| is_control(byte)).filter(|_| !wide) {
        return Err(FileError::NotText { path: path.into(), byte: at, found: bytes[at] });
    }
    Ok(encoding.decode_without_bom_handling(&bytes[mark..]).0.into_owned())
}

/// The text of a file.
///
/// # Errors
/// [`FileError::Io`], `TooLarge`, or `NotText` with the byte at fault.
pub fn read_text(path: &Path) -> Result<String, FileError> {
    decode(&read_bounded(path, MOST_TEXT_BYTES)?, path)
}

/// The text of a file that people type: a netlist, a job.
///
/// # Errors
/// As [`read_text`], `TooLarge` from one mebibyte on.
pub fn read_typed_text(path: &Path) -> Result<String, FileError> {
    decode(&read_bounded(path, MOST_TYPED_BYTES)?, path)
}

/// The text of a result that is to be parsed whole, whatever is in it.
///
/// # Errors
/// As [`read_text`], `TooLarge` from four mebibytes on.
pub fn read_result_text(path: &Path) -> Result<String, FileError> {
    decode(&read_bounded(path, MOST_RESULT_BYTES)?, path)
}
