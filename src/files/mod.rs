//! The disk: WAV files, text tables, descriptions of signals and captures, results.

mod error;
mod safe;
mod wav_header;
mod wav_read;
mod wav_write;

pub use error::FileError;
pub use safe::{create_new, fresh_name, replace, sha256_of, sha256_of_bytes};
pub use wav_header::{CutShort, WavFacts};
pub use wav_read::{Keep, WavFile, read_wav, read_wav_channels, read_wav_from, wav_facts};
pub use wav_write::{WavWriter, Written, replace_wav, wav_bytes, write_wav_new};
