//! The disk: WAV files, text tables, descriptions of signals and captures, results.

mod capture_description;
mod curve;
mod curve_write;
mod document;
mod error;
mod impedance_curve;
mod impedance_result;
mod job;
mod response_result;
mod safe;
mod signal_description;
mod table;
mod text;
mod touchstone;
mod wav_coding;
mod wav_header;
mod wav_layout;
mod wav_read;
mod wav_write;

pub use capture_description::{
    BenchUsed, CAPTURE_SCHEMA, CaptureDescription, CaptureKind, Ended, Played, Stream, capture_description_from,
    read_capture_description,
};
pub use curve::{Curve, Measure, curve_from, frequency_text, read_curve};
pub use curve_write::{curve_text, replace_curve};
pub use error::FileError;
pub use impedance_curve::{curve_of, impedance_of};
pub use impedance_result::{
    IMPEDANCE_SCHEMA, ImpedanceColumns, ImpedanceDocument, ImpedanceSettings, MinimumTable, PeakTable, RepeatTable,
    VoltageTable,
};
pub use job::{Job, JobBench, JobTable, job_from, read_job};
pub use response_result::{
    DistortionTable, GateTable, ImpulseTable, InputFile, RESPONSE_SCHEMA, ReflectionTable, ResponseCurve,
    ResponseDocument, ResponseSettings, WrittenFile, distortion_text,
};
pub use safe::{create_new, fresh_name, replace, sha256_of, sha256_of_bytes};
pub use signal_description::{
    Band, Layout, SIGNAL_SCHEMA, SignalDescription, SignalKind, SweepTable, read_signal_description,
    signal_description_from,
};
pub use touchstone::touchstone_text;
pub use wav_header::{CutShort, WavFacts};
pub use wav_read::{Keep, WavFile, read_wav, read_wav_channels, read_wav_from, wav_facts};
pub use wav_write::{WavWriter, Written, replace_wav, wav_bytes, write_wav_new};
